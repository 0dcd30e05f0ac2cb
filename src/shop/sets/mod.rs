//! Sets: which pickups go together. A set is not alike, it has targets: each of its pickups is held against its first, and is to be
//! so much off in peak, Q, level and ohms.
//!
//! What is best: as many sets as can be, none with a deviation beyond its limit; of those choices the one whose deviations, each in
//! units of what matters to the shop, squared and weighted, have the least sum. Sets of two, and of three whose places are named, are
//! exact by matching ([`matching`]) whatever their number; others are searched through up to 24 pickups of one kind ([`search`]), and
//! beyond that made good bit by bit, with a bound that none betters ([`large`], [`bound`]).

mod bound;
mod candidate;
mod choose;
mod document;
mod figure;
mod group;
mod large;
mod matching;
mod next;
mod plan;
mod search;
mod solve;
mod stars;

pub use candidate::Pool;
pub use choose::choose;
pub use document::{Deviation, Member, Next, Out, PlaceAsked, Proof, Range, Set, Sets, WhyOut};
pub use figure::Terms;
pub use plan::Plan;
