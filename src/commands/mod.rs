//! One file per command: wiring only.

pub mod analyze;
mod anew;
pub mod asked;
pub mod book;
pub mod coil;
pub mod compare;
pub mod complete;
pub mod demo;
pub mod devices;
pub mod drive;
pub mod kept;
pub mod knock;
mod known;
pub mod loads;
pub mod measure;
pub mod note;
pub mod outcome;
pub mod page;
pub mod potting;
pub mod progress;
mod readings;
pub mod remember;
pub mod rig;
pub mod sound;
pub mod standard;
pub mod tray;
mod wanted;
