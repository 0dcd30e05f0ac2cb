//! The command line as clap reads it. Parsing validates; nothing here touches devices or files.

use clap::{Parser, Subcommand};

pub use super::book_args::*;
pub use super::book_returned_args::*;
pub use super::book_sets_args::*;
pub use super::book_shop_args::*;
pub use super::coil_args::*;
pub use super::lot_args::*;
pub use super::note_args::*;
pub use super::page_args::*;
pub use super::rig_args::*;
pub use super::shared::*;
pub use super::take_args::*;
pub use super::value::*;
pub use super::watch_args::*;

const TOP_EXAMPLES: &str = "\
First look, without any hardware:
  coilwright demo --out demo

At the bench:
  coilwright devices
  coilwright use north.toml --load \"vol=250k tone=250k+22n cable=5m@100p/m\" --folder notebook
  coilwright measure neck-7 --ohms 6.05k --room 21C

From recordings:
  coilwright analyze take.wav --rig north.toml --out result

What pots and cables do:
  coilwright coil notebook/neck-7/* --ohms 6.05k --room 21C --out neck-7.toml
  coilwright loads --coil neck-7.toml --load one-pickup --vary cable=1m...10m --out cables
";

/// Measures the resonant frequency and Q of guitar pickups with a sound card and an exciter coil.
#[derive(Debug, Parser)]
#[command(name = "coilwright", version = env!("COILWRIGHT_VERSION"), after_help = TOP_EXAMPLES)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Do the whole job on the built-in bench, from signal to plots and records
    Demo(DemoArgs),
    /// List the sound devices, and the pair that would be used
    Devices(DevicesArgs),
    /// Write a test signal as a WAV file, with its description beside it
    Drive(DriveCommand),
    /// Remember defaults for this working folder, or show them
    Use(UseArgs),
    /// Measure one pickup: play, record, fit, keep the record
    Measure(Box<MeasureArgs>),
    /// Watch a pickup's curve while it is handled
    Watch(Box<WatchArgs>),
    /// Read takes recorded earlier or elsewhere, and keep the records
    Analyze(AnalyzeArgs),
    /// Lay records over each other and list the differences
    Compare(CompareArgs),
    /// Predict what pots, cable and amplifier do to a pickup
    Loads(Box<LoadsArgs>),
    /// Find L, C and losses of the coil behind takes under several loads
    Coil(CoilArgs),
    /// Note something beside a record: words, or what other meters read
    Note(NoteArgs),
    /// A lot on the bench: Enter for the next, verdict in large words
    Tray(Box<TrayArgs>),
    /// Make the shop's own standard from good pickups
    Standard(StandardArgs),
    /// Wax before and after: what changed, and whether it is what wax does
    Potting(PottingArgs),
    /// The notebook: every pickup in a list, or the life of one
    Book(Box<BookArgs>),
    /// One page for a browser or a printer, and sheets to take home
    Page(Box<PageArgs>),
    /// Set up the rig, check that it is still the same, pack it
    Rig(RigCommand),
}
