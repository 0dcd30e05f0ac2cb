//! The options of what leaves the shop and what comes back.

use std::path::PathBuf;

use clap::Args;

use super::inputs::{self, LoadArg, ToleranceArg, load_arg};
use super::shared::Shown;
use super::take_args::MeasureArgs;
use super::value::line;

#[derive(Debug, Args)]
#[command(
    after_help = "To whom it went stands in the notebook alone: no page, list, export or pack says it.

Examples:
  coilwright book sent neck-7 --to \"the shop by the bridge\"
  coilwright book sent neck-7 neck-8 --record neck-7/0002
"
)]
pub struct SentArgs {
    /// The pickups
    #[arg(value_name = "NAME", required = true, num_args = 1.., value_parser = line)]
    pub names: Vec<String>,
    /// To whom; kept in the notebook alone
    #[arg(long, value_name = "CUSTOMER", value_parser = line)]
    pub to: Option<String>,
    /// The reading it leaves with; left out, its latest
    #[arg(long, value_name = "RECORD")]
    pub record: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Sold over the counter, or sent as well (`book sent`), in whatever order. One that comes back to be mended stays sold.

Examples:
  coilwright book sold neck-7 bridge-3
  coilwright book sold neck-7 --back          it is the shop's again
"
)]
pub struct SoldArgs {
    /// The pickups
    #[arg(value_name = "NAME", required = true, num_args = 1.., value_parser = line)]
    pub names: Vec<String>,
    /// They are the shop's again
    #[arg(long)]
    pub back: bool,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Lay it down as it lay when it left: the same load, the same rig, the exciter over the same coil. An exciter does not hear the magnet. In a guitar: its jack on the rig's input, never an amplifier that is on; headphones off your ears.

Examples:
  coilwright book returned neck-7
  coilwright book returned neck-7 --record neck-7/0004
  coilwright book returned neck-7 --load none --coil neck-7.toml
  coilwright book returned neck-7 --in-guitar two-pickups --coil neck-7.toml
"
)]
pub struct ReturnedArgs {
    #[command(flatten)]
    pub measure: MeasureArgs,
    /// Today's reading, where it was made already; left out, it is measured now
    #[arg(long, value_name = "RECORD", conflicts_with_all = ["out", "repeats", "knock", "sim", "in_guitar"])]
    pub record: Option<PathBuf>,
    /// The coil behind the pickup, as `coilwright coil` writes it: frees a reading of another load or rig
    #[arg(long, value_name = "FILE")]
    pub coil: Option<PathBuf>,
    /// It is in its guitar, measured at the jack: a wiring by its name or file
    #[arg(long, value_name = "WIRING", value_parser = load_arg)]
    pub in_guitar: Option<LoadArg>,
    /// Positions of the guitar's switch, such as "neck, neck+bridge, bridge"; left out, as they usually are
    #[arg(long, value_name = "LIST", requires = "in_guitar")]
    pub positions: Option<String>,
    /// What the guitar's parts may be off by, such as "pots=1%"; left out, as they are sold
    #[arg(long, value_name = "LIST", value_parser = inputs::tolerance, requires = "in_guitar")]
    pub tolerance: Option<ToleranceArg>,
}
