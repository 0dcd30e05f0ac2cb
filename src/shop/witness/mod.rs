//! The witness: a pickup that stays in the shop, and what its checks say of the rig.

pub mod checks;
pub mod eras;
pub mod history;
pub mod judging;
pub mod repeat;
#[cfg(test)]
mod tests;
pub mod warmth;
