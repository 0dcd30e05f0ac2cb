//! What `book` is given.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::book_returned_args::{ReturnedArgs, SentArgs, SoldArgs};
use super::book_shop_args::{ExperimentArgs, LotArgs};
use super::shared::Detailed;
use super::value::{line, one_of};
use super::which_args::WhichArgs;
use crate::book::paper::DayFirst;
use crate::book::row::Sort;

#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "Examples:
  coilwright book                             every pickup, the newest first
  coilwright book \"neck-*\" --sort peak        which of them is highest
  coilwright book --stage finished --since 2026-01
  coilwright book neck-7                      its life, stage by stage
"
)]
pub struct BookArgs {
    #[command(subcommand)]
    pub action: Option<BookAction>,
    #[command(flatten)]
    pub list: ListArgs,
}

#[derive(Debug, Subcommand)]
pub enum BookAction {
    /// Give a pickup, or one of its readings, another name
    Rename(RenameArgs),
    /// Mark pickups as sent, each with the reading it left with
    Sent(SentArgs),
    /// Mark pickups as sold: sets leave them out
    Sold(SoldArgs),
    /// One came back: is it what was sent?
    Returned(Box<ReturnedArgs>),
    /// One lot in the order of making: odd ones, drift, where to look first
    Lot(LotArgs),
    /// Two groups that differ in one thing: what did it do?
    Experiment(ExperimentArgs),
    /// Which pickups go together in a set
    Sets(Box<super::book_sets_args::SetsArgs>),
    /// Take back the last entry
    Undo(UndoArgs),
    /// Merge another notebook into this one, such as that of a class
    Add(AddArgs),
    /// Does every file still read, and is the backup complete?
    Check(BookCheckArgs),
    /// Move old takes to another disk; the readings stay
    Thin(ThinArgs),
    /// Bring in an old paper notebook, typed as a table
    Import(ImportArgs),
}

#[derive(Debug, Args)]
pub struct ListArgs {
    /// Pickups; `*` stands for anything. One name alone tells its life
    #[arg(value_name = "NAME", value_parser = line)]
    pub names: Vec<String>,
    #[command(flatten)]
    pub which: WhichArgs,
    /// What is highest first; left out, the newest
    #[arg(long, value_name = "WHAT", value_parser = one_of(&Sort::NAMES))]
    pub sort: Option<Sort>,
    /// Every reading, rejected ones too, instead of each pickup's latest
    #[arg(long)]
    pub all: bool,
    /// Look through all folders now, though it was done within the last minute
    #[arg(long)]
    pub look: bool,
    /// A table for a spreadsheet, on standard output
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// The recipe too, in --json: else it stays on this screen
    #[arg(long, requires = "json")]
    pub with_recipe: bool,
    /// Folder for the plot of a life
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Detailed,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book rename neck-7 neck-70
  coilwright book rename neck-7#0003 neck-8      that reading was of another pickup
")]
pub struct RenameArgs {
    /// The name up to now, or one reading of it
    #[arg(value_name = "OLD", value_parser = line)]
    pub old: String,
    /// The name from now on
    #[arg(value_name = "NEW", value_parser = line)]
    pub new: String,
    #[command(flatten)]
    pub shown: super::shared::Shown,
}

#[derive(Debug, Args)]
pub struct UndoArgs {
    #[command(flatten)]
    pub shown: super::shared::Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book add /media/stick/notebook

Readings and entries that are here already are left out; what is here is not changed.
")]
pub struct AddArgs {
    /// The folder of the other notebook
    #[arg(value_name = "OTHER")]
    pub other: PathBuf,
    #[command(flatten)]
    pub shown: super::shared::Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book check                            does everything hold together?
  coilwright book check /media/stick/notebook      and is all of it in this copy?

Exit status 0 where nothing is wrong and the backup is proven, else 3.
")]
pub struct BookCheckArgs {
    /// A copy of the notebook, held against it byte for byte
    #[arg(value_name = "BACKUP")]
    pub backup: Option<PathBuf>,
    #[command(flatten)]
    pub shown: super::shared::Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book thin --older 2y --to /media/disk/takes --dry     how much is it?
  coilwright book thin --older 2y --to /media/disk/takes
  coilwright book thin --back --to /media/disk/takes               all of it back
")]
pub struct ThinArgs {
    /// Of readings older than this: 2y, 18mo, 6w, 90d
    #[arg(long, value_name = "AGE", required_unless_present = "back", conflicts_with = "back")]
    pub older: Option<String>,
    /// The folder to which the takes go, or in which they are
    #[arg(long, value_name = "DIR")]
    pub to: PathBuf,
    /// Bring the takes in that folder back
    #[arg(long)]
    pub back: bool,
    /// Only say how much it is
    #[arg(long, conflicts_with = "back")]
    pub dry: bool,
    #[command(flatten)]
    pub shown: super::shared::Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book import old.csv --dry      how is it understood?
  coilwright book import old.csv
  coilwright book import old.csv --day dmy  3/4/2006 is the 3rd of April

Headings: day, name, ohms, henries, stage; all other columns become words. The unit of plain numbers may stand in the heading: ohms (k).
")]
pub struct ImportArgs {
    /// The table, parted by commas, semicolons or tabs
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// What comes first in days such as 3/4/2006
    #[arg(long, value_name = "ORDER", value_parser = one_of(&[("dmy", DayFirst::Day), ("mdy", DayFirst::Month)]))]
    pub day: Option<DayFirst>,
    /// Only show how it is understood
    #[arg(long)]
    pub dry: bool,
    #[command(flatten)]
    pub shown: super::shared::Shown,
}
