//! A pickup that left and came back: is it what was sent, and if not, what does the change look like?
//!
//! Whether it changed, the yardstick says of both readings. What the change looks like is asked of the network: a plain coil
//! stands in for the pickup as it left ([`stand_in`]), one thing at a time happens to it, and what explains all that was seen is
//! named ([`signs`]). An exciter does not hear the magnet: of that only a gauss meter tells.

mod document;
mod free;
mod judged;
mod meters;
mod signs;
mod stand_in;
#[cfg(test)]
mod tests;

pub use document::*;
pub use judged::{Question, judge, nearest};
pub use meters::pole;
