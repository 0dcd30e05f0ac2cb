//! The program as its users meet it: the real binary in folders of its own.

mod again;
mod batch;
mod bench;
mod book_keep;
mod book_killed;
mod coils;
mod contract;
mod demo;
mod difference;
mod drawn;
mod earlier;
mod faulty;
mod folders;
mod kept;
mod kill;
mod killed;
mod knock;
mod lot;
mod names;
mod notebooks;
mod notes;
mod plots;
mod potting;
mod rig;
mod same_rig;
mod schema;
mod screens;
#[cfg(unix)]
mod stopped;
#[cfg(unix)]
mod terminal;
mod tray;
mod width;
