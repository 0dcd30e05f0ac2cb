//! The notebook: the folder in which readings are kept, by pickup.

pub mod add;
pub mod carry;
pub mod check;
pub mod entries;
pub mod entry;
pub mod fill;
pub mod index;
pub mod life;
pub mod look;
pub mod paper;
pub mod row;
pub mod seen;
pub mod thin;
pub mod word;
