//! Measures the resonance of electric-guitar pickups: plays a test signal through an exciter coil, records the pickup's
//! answer, fits a second-order model and keeps the record.

pub mod analysis;
pub mod capture;
pub mod cli;
pub mod commands;
pub mod estimate;
pub mod failure;
pub mod fileio;
pub mod fit;
pub mod network;
pub mod quantity;
pub mod record;
pub mod report;
pub mod rig;
pub mod stats;
pub mod stimulus;
pub mod transfer;
pub mod wrap;
