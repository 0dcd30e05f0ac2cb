//! One file per command: wiring only.

pub mod analyze;
pub mod compare;
pub mod demo;
pub mod devices;
pub mod drive;
pub mod measure;
pub mod outcome;
pub mod progress;
pub mod remember;
