//! Pickups in their guitar, measured at its jack: one position of the switch after the other, each pickup under the exciter in turn,
//! against what its coil should read there.

mod document;
mod expected;
mod judged;
mod steps;
#[cfg(test)]
mod tests;

pub use document::*;
pub use expected::{Bench, expected};
pub use judged::{Took, conclude, step};
pub use steps::{Step, positions, steps};
