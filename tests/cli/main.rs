//! The program as its users meet it: the real binary in folders of its own.

mod again;
mod bench;
mod contract;
mod faulty;
mod folders;
mod schema;
mod screens;
