//! The coil behind several takes, and what it predicts: prediction against measurement, a take freed of its input.

pub mod against;
pub mod basis;
pub mod behind;
pub mod loads;
mod told;
