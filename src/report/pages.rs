//! What stands on which page.

pub mod comparison;
pub mod life;
pub mod loads;
pub mod lot;
pub mod record;
pub mod rig;
mod shared;
pub mod take_home;
pub mod wax;

pub use shared::Told;
