//! The options of `loads` and `coil`.

use std::path::PathBuf;

use clap::Args;

use super::inputs::{self, LoadArg, ToleranceArg, Vary, load_arg};
use super::shared::Detailed;
use super::value::{Frequencies, Quantities, celsius, eddy, of, ohms};
use crate::network::Eddy;
use crate::network::reach::Goal;
use crate::quantity::Unit;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright loads --r 6k --l 2.4H --cs 120p --load \"vol=250k cable=5m@100p/m amp=1M\"
  coilwright loads --coil neck-7.toml --load none --load one-pickup --load coil-split --out pots
  coilwright loads --coil neck-7.toml --load one-pickup --vary cable=1m...10m --out cables
  coilwright loads --coil neck-7.toml --load one-pickup --tolerance usual
  coilwright loads --coil neck-7.toml --load \"vol=250k amp=1M\" --reach \"3.2kHz 6dB\" --by cap,vol-pot
  coilwright loads --coil neck-7.toml --against bench/neck-7/0004
  coilwright loads --coil neck-7.toml --undo bench/neck-7/0004
  coilwright loads --list
")]
pub struct LoadsArgs {
    /// Coil file, as `coilwright coil` writes it
    #[arg(long, value_name = "FILE", conflicts_with_all = ["r", "l", "cs", "loss", "eddy"])]
    pub coil: Option<PathBuf>,
    /// The winding's resistance, with --l and --cs in place of a coil file
    #[arg(long, value_name = "OHM", value_parser = ohms, requires = "l", requires = "cs", allow_hyphen_values = true)]
    pub r: Option<f64>,
    /// Its inductance
    #[arg(long, value_name = "HENRY", value_parser = of(Unit::Henry), requires = "r", allow_hyphen_values = true)]
    pub l: Option<f64>,
    /// Its own capacitance
    #[arg(long, value_name = "FARAD", value_parser = of(Unit::Farad), requires = "r", allow_hyphen_values = true)]
    pub cs: Option<f64>,
    /// Losses as a resistance parallel to L
    #[arg(long, value_name = "OHM", value_parser = ohms, requires = "r", allow_hyphen_values = true)]
    pub loss: Option<f64>,
    /// Metal as a shorted turn, such as k=0.4,tau=33u,emf=0.1, or as a core, with a=6,b=0.6 besides
    #[arg(long, value_name = "METAL", value_parser = eddy, requires = "r")]
    pub eddy: Option<Eddy>,
    /// A load, the name of a wiring (--list) or a wiring file; may be given again
    #[arg(long, value_name = "LOAD", value_parser = load_arg)]
    pub load: Vec<LoadArg>,
    /// A rig file, whose input and lead are to hang on every load: what a take on that rig would show
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// Frequencies of the curve, such as 100,1k,5k; left out, 512 from 20 Hz to 20 kHz
    #[arg(long, value_name = "LIST", value_parser = inputs::frequencies)]
    pub freq: Option<Frequencies>,
    /// Run through one quantity, such as cable=1m...10m, vol=1...0 or tone-cap=10n,22n,47n
    #[arg(long, value_name = "SWEEP", value_parser = inputs::vary)]
    pub vary: Option<Vary>,
    /// Steps of a sweep from...to
    #[arg(long, value_name = "N", requires = "vary", value_parser = clap::value_parser!(u8).range(2..=12))]
    pub steps: Option<u8>,
    /// Draw the parts from within their tolerances: "usual", or such as "pots=20% caps=10%"
    #[arg(long, value_name = "LIST", value_parser = inputs::tolerance)]
    pub tolerance: Option<ToleranceArg>,
    /// Where the peak should be: "3.2kHz", "6dB" above the lows, or "3.2kHz 6dB"
    #[arg(long, value_name = "PEAK", value_parser = inputs::goal, requires = "by")]
    pub reach: Option<Goal>,
    /// Which quantities may be changed for it, such as cap or cap,vol-pot
    #[arg(long, value_name = "LIST", value_parser = inputs::by, requires = "reach")]
    pub by: Option<Quantities>,
    /// Records to lay over what the coil predicts for their loads
    #[arg(long, value_name = "RECORD", num_args = 1..)]
    pub against: Vec<PathBuf>,
    /// A record to free from its load and the sound card's input (with --load: and to put that load on)
    #[arg(long, value_name = "RECORD")]
    pub undo: Option<PathBuf>,
    /// Write the coil as a subcircuit for circuit simulators
    #[arg(long, value_name = "FILE")]
    pub spice: Option<PathBuf>,
    /// List the wirings that can be named
    #[arg(long, exclusive = true)]
    pub list: bool,
    /// Folder for plots and tables
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Detailed,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright coil bench/neck-7/0001 bench/neck-7/0002 bench/neck-7/0003 --ohms 6.05k --room 21C --tolerance cap=1%
  coilwright coil bench/neck-7/* --ohms 6.05k --out neck-7.toml --spice neck-7.sub
")]
pub struct CoilArgs {
    /// Records of one pickup under different known loads (files, folders or names)
    #[arg(value_name = "RECORD", required = true, num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// The ohmmeter's reading; left out, the records' own
    #[arg(long, value_name = "OHM", value_parser = ohms, allow_hyphen_values = true)]
    pub ohms: Option<f64>,
    /// The temperature at which it was read, such as 23C
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// How far the known parts may be from what is printed on them, such as "cap=1% ohms=0.5%"
    #[arg(long, value_name = "LIST", value_parser = inputs::tolerance)]
    pub tolerance: Option<ToleranceArg>,
    /// A coil file to write (.toml), or a folder for coil file, plot and table
    #[arg(long, value_name = "FILE or DIR")]
    pub out: Option<PathBuf>,
    /// Write the coil as a subcircuit for circuit simulators
    #[arg(long, value_name = "FILE")]
    pub spice: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Detailed,
}
