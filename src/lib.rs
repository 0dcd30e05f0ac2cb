//! Measures the resonance of electric-guitar pickups: plays a test signal through an exciter coil, records the pickup's
//! answer, fits a second-order model and keeps the record.

pub mod analysis;
pub mod book;
pub mod capture;
pub mod cli;
pub mod coil;
pub mod commands;
pub mod copper;
pub mod estimate;
pub mod failure;
pub mod fft;
pub mod fileio;
pub mod fit;
pub mod network;
pub mod parallel;
pub mod quantity;
pub mod record;
pub mod report;
pub mod rig;
pub mod run;
pub mod setup;
pub mod shop;
pub mod stats;
pub mod stimulus;
pub mod transfer;
pub mod watch;
pub mod wrap;
