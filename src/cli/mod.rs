//! What a person types, and what of it a command is handed.

pub mod args;
mod book_args;
mod book_returned_args;
mod book_sets_args;
mod book_shop_args;
pub mod brief;
mod coil_args;
pub mod console;
pub mod context;
pub mod defaults;
pub mod inputs;
pub mod keys;
mod lot_args;
mod note_args;
mod page_args;
pub mod picture;
mod rig_args;
mod shared;
pub mod strokes;
mod take_args;
mod value;
mod watch_args;
mod which_args;
pub mod wirings;
