//! The notebook: the folder in which readings are kept, by pickup.

pub mod lookup;
