//! The program as its users meet it: the real binary in folders of its own.

mod bench;
mod contract;
mod schema;
mod screens;
