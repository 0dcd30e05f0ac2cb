//! What is watched, for terminal, page and lines.

mod braille;
mod digits;
pub mod page;
mod terminal;
mod view;

pub use terminal::frame;
pub use view::{Seen, View, ended, kept, line, view};

#[cfg(test)]
mod tests;
