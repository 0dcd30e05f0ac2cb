//! What a command shows on the screen, as text for the caller to print.
//!
//! The normal screen has no statistics on it beyond "± ... (95 %)"; [`Style::details`] adds what a metrologist asks for.

mod book;
mod book_lot;
mod coil;
mod compare;
mod experiment;
mod grid;
mod in_guitar;
mod keeping;
mod knock;
mod loads;
mod measure;
mod notes;
pub(super) mod potting;
mod returned;
mod rig;
mod screen;
mod sets;
mod setup;
mod sitting;
#[cfg(test)]
mod tests;
pub(super) mod tray;

pub use super::words::shell;
pub use book::{LifeStep, Lived, Read, book_text, life_text};
pub use book_lot::lot_text;
pub use coil::coil_text;
pub use compare::{batch_text, compare_text};
pub use experiment::experiment_text;
pub use in_guitar::{guitar_keys, guitar_prompt, guitar_step, guitar_text, put_guitar_words};
pub use keeping::{added_text, checked_text, imported_text, proof_text, thinned_text};
pub use loads::{loads_text, wirings_text};
pub use measure::{measure_text, measure_text_after, said_of};
pub use notes::notes_text;
pub use potting::{potting_text, put_words};
pub use returned::{returned_text, sent_text, sold_text};
pub use rig::{changed_text, check_text, pack_text, polarity_text, repeat_text, rig_text};
pub use screen::{Style, written_text};
pub use sets::sets_text;
pub use setup::{inputs_text, level_step, level_text, rig_new_text};
pub use sitting::{sitting_keys, sitting_left, sitting_prompt, sitting_step};
pub use tray::{
    standard_text, tray_ask, tray_before_stands, tray_keys, tray_prompt, tray_step, tray_summary, tray_taken_in,
    tray_undone,
};
