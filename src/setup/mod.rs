//! Setting a rig up: a new file, its level, its inputs, and changes that leave remarks alone.

pub mod edit;
pub mod inputs;
pub mod interface;
pub mod level;
mod ratio;
pub mod template;
pub mod tone;
