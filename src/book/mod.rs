//! The notebook: the folder in which readings are kept, by pickup.

pub mod entries;
pub mod entry;
pub mod index;
pub mod life;
pub mod look;
pub mod row;
pub mod seen;
mod table;
pub mod word;
