//! What a shop does with records: are two of them different, is a lot within its limits, what did the wax do, is the rig still the same.

mod alike;
pub mod difference;
pub mod down;
pub mod knock;
pub mod known;
pub mod lot;
pub mod predicted;
pub mod reading;
pub mod sets;
pub mod standard;
pub mod wax;
pub mod witness;
pub mod yardstick;
