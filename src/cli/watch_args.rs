//! The options of `watch`.

use std::path::PathBuf;

use clap::Args;

use super::inputs::{LoadArg, load_arg};
use super::shared::{Shown, Source};
use super::value::{celsius, line, of};
use crate::quantity::Unit;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright watch neck-7
  coilwright watch neck-7 --page
  coilwright watch class --source sim
  coilwright watch trial --source sim --load \"vol=500k tone=500k+22n cable=6m@100p/m\"

Keys: space holds the curve that stands, n gives it a name, c lets all go, k keeps a record, q ends. On the built-in bench the arrows turn the volume pot (left, right) and change the cable (up, down).

It sounds all the time: headphones off your ears, loudspeakers off, phantom power off. docs/safety.md has the usual cautions; local rules come first.
")]
pub struct WatchArgs {
    /// The pickup's name, for the records that are kept
    #[arg(value_name = "NAME", value_parser = line)]
    pub name: Option<String>,
    #[command(flatten)]
    pub source: Source,
    /// Seconds that a reading is averaged over
    #[arg(long, value_name = "S", value_parser = of(Unit::Second), default_value = "1s", allow_hyphen_values = true)]
    pub over: f64,
    /// Show it on a page in a browser too, on this computer only
    #[arg(long)]
    pub page: bool,
    /// Port of the page; left out, one that is free
    #[arg(long, value_name = "PORT", requires = "page")]
    pub port: Option<u16>,
    /// End after so many seconds; left out, with q
    #[arg(long = "for", value_name = "S", value_parser = of(Unit::Second), allow_hyphen_values = true)]
    pub for_s: Option<f64>,
    /// Rig file
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m", or a wiring
    #[arg(long, value_name = "LOAD", value_parser = load_arg)]
    pub load: Option<LoadArg>,
    /// The room's temperature, such as 21C or 70F
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// Sampling rate, such as 48k or 96k
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz), allow_hyphen_values = true)]
    pub rate: Option<f64>,
    /// Peak of the signal against full scale, such as -12dBFS
    #[arg(long, value_name = "DBFS", value_parser = of(Unit::Dbfs), allow_hyphen_values = true)]
    pub level: Option<f64>,
    #[command(flatten)]
    pub shown: Shown,
}
