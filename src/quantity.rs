//! Engineering notation both ways: "250k", "4k7", "22n" <-> SI.
//!
//! Letter marks in place of the decimal point follow IEC 60062 ("4k7", "R47", "2n2"). Reading is exact: the digits are
//! shifted as text and rounded to binary once, so "22n", "0.022u" and "2.2e-8" are the same number.

pub mod preferred;
mod reading;
#[cfg(test)]
mod tests;
mod unit;
mod writing;

pub use reading::{names_farads, parse, parse_at, quoted};
pub use unit::Unit;
pub use writing::{compact, show, signed, toml_number};
