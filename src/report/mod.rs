//! All presentation: what a person reads on the screen, and the plots. Nothing here computes a result or prints.

mod axis;
mod chart;
pub mod checks_plot;
mod closer;
pub mod coil_words;
pub mod difference_words;
pub mod entry_words;
pub mod family;
pub mod judged_words;
pub mod knock_plot;
mod lay;
pub mod loads_plot;
pub mod number;
pub mod order_plot;
pub mod overlay;
pub mod page;
pub mod pages;
mod palette;
pub mod plot;
pub mod potting_plot;
mod reads;
pub mod returned_words;
pub mod rig_words;
mod sheet;
pub mod text;
pub mod tray_plot;
pub mod watch;
mod words;

#[cfg(test)]
mod odd;
#[cfg(test)]
pub(crate) mod samples;
