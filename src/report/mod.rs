//! All presentation: what a person reads on the screen, and the plots. Nothing here computes a result or prints.

pub mod number;
