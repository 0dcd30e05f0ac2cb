//! What a shop does with records: are two of them different, is a lot within its limits, what did the wax do, is the rig still the same.

mod alike;
pub mod difference;
pub mod down;
pub mod experiment;
pub(crate) mod figures;
pub mod in_guitar;
pub mod knock;
pub mod known;
pub mod lot;
pub mod order;
pub mod predicted;
pub mod reading;
pub mod returned;
pub mod sets;
pub mod standard;
pub mod wax;
pub mod witness;
pub mod yardstick;
