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
mod page_args;
mod rig_args;
mod shared;
mod take_args;
mod value;
pub mod wirings;
