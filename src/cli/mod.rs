//! What a person types, and what of it a command is handed.

pub mod args;
mod book_args;
mod coil_args;
pub mod console;
pub mod context;
pub mod defaults;
pub mod inputs;
pub mod keys;
mod lot_args;
pub mod picture;
mod rig_args;
mod shared;
pub mod strokes;
mod take_args;
mod value;
mod watch_args;
pub mod wirings;
