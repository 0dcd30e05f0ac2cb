//! What `book lot` and `book experiment` are given.

use std::path::PathBuf;

use clap::Args;

use super::shared::Detailed;
use super::value::line;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book lot neck-12                  which to look at first, and why
  coilwright book lot neck-12 --out lot-12     the same with its picture
  coilwright book lot neck-12 --csv            a table for a spreadsheet
")]
pub struct LotArgs {
    /// The lot's name, as the tray was given it
    #[arg(value_name = "LOT", value_parser = line)]
    pub lot: String,
    /// A table for a spreadsheet, on standard output
    #[arg(long, conflicts_with_all = ["json", "out"])]
    pub csv: bool,
    /// Folder for the picture and the document
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Detailed,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright book experiment neck-1 neck-2 neck-3 --with neck-4 neck-5 neck-6
  coilwright book experiment \"neck-*@before-wax\" --with \"neck-*@after-wax\"
  coilwright book experiment --word turns
")]
pub struct ExperimentArgs {
    /// The first group: pickups, readings or patterns of names
    #[arg(value_name = "NAME", required_unless_present = "word", requires = "with")]
    pub first: Vec<PathBuf>,
    /// The second one
    #[arg(long, value_name = "NAME", num_args = 1.., requires = "first")]
    pub with: Vec<PathBuf>,
    /// A word of the recipe: all pickups that differ in nothing else
    #[arg(long, value_name = "WORD", value_parser = line, conflicts_with_all = ["first", "with"])]
    pub word: Option<String>,
    #[command(flatten)]
    pub shown: Detailed,
}
