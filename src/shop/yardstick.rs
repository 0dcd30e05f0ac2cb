//! Do two readings differ, by how much, and how sure is that? The one place where it is answered.
//!
//! What a reading is uncertain by has parts ([`Parts`]): the noise of its takes, laying the pickup down, the rig's days, and the
//! measuring chain. Which of them enter depends on what is held against what ([`Question`]). They add as variances, and their
//! degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.4).
//!
//! With d the difference, U the half-width of its 95 % interval and m what matters ([`Matters`]), [`judge`] says of each quantity:
//! different where |d| - U > m, U being that of all quantities of the question jointly; the same where |d| + U < m, U of this
//! quantity alone; else nobody can tell, and [`Said::leaves_open`] says what would. Two readings are different if any quantity is,
//! and the same if all are ([`whole`]).

mod limit;
mod matters;
mod more;
mod open;
mod parts;
mod rule;
mod scatter;

pub use limit::Held;
pub use matters::{Matters, Quantity};
pub use more::More;
pub use open::Open;
pub use parts::{Between, DB_PER_LN_Q, Parts, Question, Repeatability, USUAL_WINDING_F, Witness};
pub use rule::{Answer, Asked, Said, judge, whole};
pub use scatter::{Scatter, Usual};
