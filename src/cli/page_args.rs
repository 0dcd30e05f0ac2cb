//! What `page` is given.

use std::path::PathBuf;

use clap::Args;

use super::inputs::{LoadArg, load_arg};
use super::lot_args::{hours, lot_name};
use super::shared::Shown;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright page neck-7                          its life
  coilwright page neck-7 --sheet                  a sheet to take home
  coilwright page --sheet --lot class-3           one for each of a class
  coilwright page neck-7@finished neck-9          two laid over each other
  coilwright page --lot class-3                   a lot
  coilwright page before --after after --rested 14h
  coilwright page north.toml                      a rig and its checks
  coilwright page neck.toml --load none --load one-pickup
")]
pub struct PageArgs {
    /// A record, several, a pickup's name, a lot's folder, a rig file, a coil file, or the records before the wax
    #[arg(value_name = "WHAT", required_unless_present = "lot", num_args = 1..)]
    pub what: Vec<PathBuf>,
    /// Records after the wax
    #[arg(long, value_name = "AFTER", num_args = 1.., requires = "what", conflicts_with_all = ["sheet", "with_recipe"])]
    pub after: Vec<PathBuf>,
    /// A pickup that stayed out of the wax, as for `potting`; give it again for more
    #[arg(long, value_name = "PICKUP", requires = "after")]
    pub stays: Vec<PathBuf>,
    /// A lot of the notebook
    #[arg(long, value_name = "LOT", value_parser = lot_name, conflicts_with = "what")]
    pub lot: Option<String>,
    /// One side to hand out for each pickup: its curve, what it means, room to sign
    #[arg(long)]
    pub sheet: bool,
    /// Show what went into the pickup as well
    #[arg(long)]
    pub with_recipe: bool,
    /// What hangs on the coil of a coil file, as for `loads`; give it again for more
    #[arg(long, value_name = "LOAD", value_parser = load_arg, conflicts_with_all = ["sheet", "with_recipe", "after"])]
    pub load: Vec<LoadArg>,
    /// How long the coils have rested since the wax, such as 14h
    #[arg(long, value_name = "TIME", value_parser = hours, requires = "after", allow_hyphen_values = true)]
    pub rested: Option<f64>,
    /// The rig file whose checks tell what the rig does from day to day; left out, the one that `use` remembers
    #[arg(long, value_name = "FILE", requires = "after")]
    pub rig: Option<PathBuf>,
    /// Folder for the page; left out, the working folder
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}
