//! The program as its users meet it: the real binary in folders of its own.

mod again;
mod batch;
mod bench;
mod book;
mod book_experiment;
mod book_keep;
mod book_killed;
mod book_lot;
mod book_returned;
mod book_sets;
mod coils;
mod contract;
mod demo;
mod difference;
mod docs;
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
mod page;
mod page_made;
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
mod watch;
mod width;
