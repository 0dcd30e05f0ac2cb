//! From a take to spectra: where the drive is, what noise there is, hum, clock and latency, and what went wrong.

pub mod align;
pub mod bins;
pub mod faults;
mod gain;
pub mod hear;
pub mod lines;
pub mod looks;
pub mod noise;
pub mod search;
mod short;
pub mod span;
mod stretch;
pub mod sums;
pub mod timeline;
