//! From a take to spectra: where the drive is, what noise there is, hum, clock and latency, and what went wrong.

pub mod bins;
pub mod fft;
pub mod noise;
pub mod span;
pub mod faults;
pub mod lines;
pub mod align;
