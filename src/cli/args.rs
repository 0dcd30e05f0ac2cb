//! The command line as clap reads it. Parsing validates; nothing here touches devices or files.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use super::inputs::{self, LoadArg, ToleranceArg, Vary};
pub use super::lot_args::*;
pub use super::rig_args::*;
use crate::analysis::Choice;
use crate::capture::wav::Channels;
use crate::network::reach::Goal;
use crate::network::{Eddy, Knob};
use crate::quantity::{self, Unit};
use crate::record::meters::{self, Column};
use crate::stimulus::{Shape, Tilt};

const TOP_EXAMPLES: &str = "\
First look, without any hardware:
  coilwright demo --out demo

At the bench:
  coilwright devices
  coilwright use --rig north.toml --load \"vol=250k tone=250k+22n cable=5m@100p/m\" --folder notebook
  coilwright measure --pickup neck-7 --ohms 6.05k --room 21C

From recordings:
  coilwright analyze take.wav --rig north.toml --out result

What pots and cables do:
  coilwright coil notebook/neck-7/* --ohms 6.05k --room 21C --out neck-7.toml
  coilwright loads --coil neck-7.toml --load one-pickup --vary cable=1m...10m --out cables
";

/// Measures the resonant frequency and Q of guitar pickups with a sound card and an exciter coil.
#[derive(Debug, Parser)]
#[command(name = "coilwright", version, after_help = TOP_EXAMPLES)]
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
    Measure(MeasureArgs),
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
    /// The shop's own standard, from good ones
    Standard(StandardArgs),
    /// Wax before and after: what changed, and whether it is what wax does
    Potting(PottingArgs),
    /// Keep a rig the same rig: what it is, whether it still is, what belongs to it
    Rig(RigCommand),
}

/// How results are shown.
#[derive(Debug, Clone, Copy, Args, Default)]
pub struct Shown {
    /// Print one JSON document on standard output, everything else on standard error
    #[arg(long)]
    pub json: bool,
    /// Show also how the numbers came about: noise, fit, uncertainty
    #[arg(long, conflicts_with = "json")]
    pub details: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilwright demo --out demo\n")]
pub struct DemoArgs {
    /// Folder for plots and records
    #[arg(long, value_name = "DIR", default_value = "demo")]
    pub out: PathBuf,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
pub struct DevicesArgs {
    #[command(flatten)]
    pub devices: Devices,
    #[command(flatten)]
    pub shown: Shown,
}

/// Which sound devices and channels.
#[derive(Debug, Clone, Args, Default)]
pub struct Devices {
    /// Output device: its name as `coilwright devices` lists it, or a part that fits one only
    #[arg(long, value_name = "DEV", value_parser = line)]
    pub output: Option<String>,
    /// Input device, likewise
    #[arg(long, value_name = "DEV", value_parser = line)]
    pub input: Option<String>,
}

/// The test signal. Left out: a sweep from 20 Hz to 20 kHz, twice, 3 s together, peak at -12 dBFS.
#[derive(Debug, Clone, Args, Default)]
pub struct DriveArgs {
    /// A sweep played twice, or periodic noise
    #[arg(long, value_enum)]
    pub shape: Option<ShapeArg>,
    /// Sampling rate, such as 48k or 96k
    #[arg(long, value_name = "HZ", value_parser = hertz, allow_hyphen_values = true)]
    pub rate: Option<f64>,
    /// Length of the active signal, silences not counted
    #[arg(long, value_name = "S", value_parser = seconds, allow_hyphen_values = true)]
    pub seconds: Option<f64>,
    /// Lowest frequency
    #[arg(long, value_name = "HZ", value_parser = hertz, allow_hyphen_values = true)]
    pub from: Option<f64>,
    /// Highest frequency
    #[arg(long, value_name = "HZ", value_parser = hertz, allow_hyphen_values = true)]
    pub to: Option<f64>,
    /// Peak of the signal against full scale, such as -12dBFS
    #[arg(long, value_name = "DBFS", value_parser = dbfs, allow_hyphen_values = true)]
    pub level: Option<f64>,
    /// Which noise: the same seed gives the same samples
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Spectrum of the noise: equal power per hertz, or falling as 1/f
    #[arg(long, value_enum)]
    pub tilt: Option<TiltArg>,
}

impl Devices {
    /// The first option given, by its name.
    pub fn first_given(&self) -> Option<&'static str> {
        let given = [("--output", self.output.is_some()), ("--input", self.input.is_some())];
        given.into_iter().find(|g| g.1).map(|g| g.0)
    }
}

impl DriveArgs {
    /// The first option given, by its name.
    pub fn first_given(&self) -> Option<&'static str> {
        let given = [
            ("--shape", self.shape.is_some()),
            ("--rate", self.rate.is_some()),
            ("--seconds", self.seconds.is_some()),
            ("--from", self.from.is_some()),
            ("--to", self.to.is_some()),
            ("--level", self.level.is_some()),
            ("--seed", self.seed.is_some()),
            ("--tilt", self.tilt.is_some()),
        ];
        given.into_iter().find(|g| g.1).map(|g| g.0)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ShapeArg {
    Sweep,
    Noise,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum TiltArg {
    Flat,
    Pink,
}

impl From<ShapeArg> for Shape {
    fn from(s: ShapeArg) -> Self {
        match s {
            ShapeArg::Sweep => Shape::Sweep,
            ShapeArg::Noise => Shape::Noise,
        }
    }
}

impl From<TiltArg> for Tilt {
    fn from(t: TiltArg) -> Self {
        match t {
            TiltArg::Flat => Tilt::Flat,
            TiltArg::Pink => Tilt::Pink,
        }
    }
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright drive --rate 96k --out drive.wav
  coilwright drive --shape noise --seconds 4 --level -20dBFS --out noise.wav
")]
pub struct DriveCommand {
    #[command(flatten)]
    pub drive: DriveArgs,
    /// The WAV file to write; its description goes beside it as .json
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright use --rig north.toml --folder notebook
  coilwright use --load \"vol=250k cable=5m@100p/m\"
  coilwright use            shows what is remembered
")]
pub struct UseArgs {
    /// Rig file
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m", or a wiring
    #[arg(long, value_name = "LOAD", value_parser = load_or_wiring)]
    pub load: Option<LoadArg>,
    /// Where `measure` keeps its records
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    #[command(flatten)]
    pub devices: Devices,
    /// Which input channel is which, such as pickup=1,reference=2
    #[arg(long, value_name = "LIST")]
    pub channels: Option<String>,
    /// The room's temperature, such as 21C
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// Over which coil the exciter lies
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub over: Option<String>,
    /// What other meters are asked at the tray, such as "ohms by meter A, lcr at 120Hz by bridge B, gauss by probe C"
    #[arg(long, value_name = "LIST", value_parser = columns)]
    pub columns: Option<ColumnsArg>,
    /// Forget one of the defaults, by its name
    #[arg(long, value_name = "NAME")]
    pub forget: Vec<String>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Clone, PartialEq)]
pub struct ColumnsArg(pub Vec<Column>);

pub(super) fn columns(s: &str) -> Result<ColumnsArg, String> {
    Column::list(s).map(ColumnsArg).map_err(words)
}

#[derive(Debug, Args)]
#[command(
    after_help = "Each note is a new file beside the record; nothing that is there is changed. A figure is of one meter: two meters of one kind are never put into one average. Magnets strong enough to be measured are strong enough to hurt implants, cards and watches (docs/safety.md).

Examples:
  coilwright note takes/neck-7/0001 --ohms \"6.05k by meter A\" --room 21C
  coilwright note takes/neck-7/0001 --lcr \"2.43H at 120Hz by bridge B\"
  coilwright note takes/neck-7/0001 --gauss \"412 430 428 431 425 405 by probe C\"
  coilwright note takes/neck-7/0001 takes/neck-8/0001 --text \"same reel of wire\"
  coilwright note takes/neck-7/0001                         shows what has been noted
  coilwright note takes/neck-7/0001 --withdraw 2            note 2 holds no more; its file stays
"
)]
pub struct NoteArgs {
    /// Records (files or their folders)
    #[arg(value_name = "RECORD", required = true, num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// Anything in words
    #[arg(long, value_name = "TEXT")]
    pub text: Option<String>,
    /// An ohmmeter's reading, such as "6.05k by meter A"
    #[arg(long, value_name = "READING")]
    pub ohms: Vec<String>,
    /// An LCR meter's inductance with its test frequency, such as "2.43H at 120Hz by bridge B"
    #[arg(long, value_name = "READING")]
    pub lcr: Vec<String>,
    /// A gauss meter's figure at each pole, in the order of the row; the sign is the polarity
    #[arg(long, value_name = "READING", allow_hyphen_values = true)]
    pub gauss: Vec<String>,
    /// Take back an earlier note, by its number
    #[arg(long, value_name = "NUMBER")]
    pub withdraw: Option<u32>,
    /// The room's temperature when it was read, such as 21C
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    #[command(flatten)]
    pub shown: Shown,
}

/// What is known of the pickup and its surroundings.
#[derive(Debug, Clone, Args, Default)]
pub struct About {
    /// Rig file
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m", or a wiring
    #[arg(long, value_name = "LOAD", value_parser = load_or_wiring)]
    pub load: Option<LoadArg>,
    /// Over which coil the exciter lies
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub over: Option<String>,
    /// The ohmmeter's reading, such as 6.05k or "6.05k by meter A"
    #[arg(long, value_name = "OHM", value_parser = read_ohms, allow_hyphen_values = true)]
    pub ohms: Option<OhmsRead>,
    /// The room's temperature, such as 21C or 70F
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// A remark for the record
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Which input channel is which, such as pickup=1,reference=2 or pickup=1
    #[arg(long, value_name = "LIST", value_parser = channels)]
    pub channels: Option<ChannelsArg>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChannelsArg(pub Channels);

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright measure --pickup neck-7
  coilwright measure --pickup bridge-2 --over \"second coil\" --ohms 8.2k --room 21C
  coilwright measure --pickup trial --source sim --load \"res=200k cap=500p\"
  coilwright measure --pickup neck-7 --rig north.toml --knock 8

Headphones off your ears, loudspeakers off, phantom power off. With --knock, tap with a light rod, never on the windings. docs/safety.md has the usual cautions; local rules come first.
")]
pub struct MeasureArgs {
    /// The pickup's name
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub pickup: String,
    /// Where the take comes from: live, sim (the built-in bench) or a WAV file
    #[arg(long, value_name = "SOURCE", default_value = "live")]
    pub source: String,
    #[command(flatten)]
    pub about: About,
    /// How many takes in a row, nothing touched in between
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100))]
    pub repeats: u32,
    /// Record so many taps with a light rod after the take, exciter silent: microphonics
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(3..=50))]
    pub knock: Option<u32>,
    /// Recording of taps that belongs to a WAV source
    #[arg(long, value_name = "FILE", conflicts_with = "knock")]
    pub knock_take: Option<PathBuf>,
    #[command(flatten)]
    pub devices: Devices,
    #[command(flatten)]
    pub drive: DriveArgs,
    /// What the built-in bench holds: a TOML file, or words such as "r=6k l=2.4H cs=120p hum=-50dB"
    #[arg(long, value_name = "SPEC")]
    pub sim: Option<String>,
    /// Drive file of a WAV source with one channel
    #[arg(long = "drive", value_name = "FILE")]
    pub drive_file: Option<PathBuf>,
    /// Which model plot and peak are taken from; left out, the better one
    #[arg(long, value_enum)]
    pub model: Option<ModelArg>,
    /// Folder for the record; left out, FOLDER/NAME/0001 and so on
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ModelArg {
    SecondOrder,
    Eddy,
}

impl From<Option<ModelArg>> for Choice {
    fn from(m: Option<ModelArg>) -> Self {
        match m {
            None => Choice::Better,
            Some(ModelArg::SecondOrder) => Choice::SecondOrder,
            Some(ModelArg::Eddy) => Choice::Eddy,
        }
    }
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright analyze take.wav --rig north.toml
  coilwright analyze mono.wav --drive drive.wav --out result
  coilwright analyze lot/*.wav --rig north.toml --out results
  coilwright analyze takes                finishes measurements that were cut off, and draws missing pictures
")]
pub struct AnalyzeArgs {
    /// Recordings (WAV); or folders of `measure`, to finish in their place what was cut off
    #[arg(value_name = "TAKE", required = true)]
    pub takes: Vec<PathBuf>,
    /// The file that was played; needed where the take has one channel
    #[arg(long, value_name = "FILE")]
    pub drive: Option<PathBuf>,
    /// The pickup's name; left out, that of the take's file
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub pickup: Option<String>,
    /// Recording of taps that belongs to the take: microphonics
    #[arg(long, value_name = "FILE")]
    pub knock_take: Option<PathBuf>,
    #[command(flatten)]
    pub about: About,
    /// Which model plot and peak are taken from; left out, the better one
    #[arg(long, value_enum)]
    pub model: Option<ModelArg>,
    /// Folder for record and plots; left out, nothing is written
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:
  coilwright compare before/record.json after/record.json --out comparison
")]
pub struct CompareArgs {
    /// Records, the first being what the others are compared with (files or their folders)
    #[arg(value_name = "RECORD", required = true, num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// Folder for the overlay plot and the table
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Keep the curves' levels apart; left out, all lie on each other at low frequency
    #[arg(long)]
    pub levels: bool,
    /// Sort by load, least capacitance first, compare within each pickup, and say what the loads did
    #[arg(long)]
    pub by_load: bool,
    #[command(flatten)]
    pub shown: Shown,
}

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
    #[arg(long, value_name = "HENRY", value_parser = henries, requires = "r", allow_hyphen_values = true)]
    pub l: Option<f64>,
    /// Its own capacitance
    #[arg(long, value_name = "FARAD", value_parser = farads, requires = "r", allow_hyphen_values = true)]
    pub cs: Option<f64>,
    /// Losses as a resistance parallel to L
    #[arg(long, value_name = "OHM", value_parser = ohms, requires = "r", allow_hyphen_values = true)]
    pub loss: Option<f64>,
    /// Metal as a shorted turn, such as k=0.4,tau=33u,emf=0.1
    #[arg(long, value_name = "METAL", value_parser = eddy, requires = "r")]
    pub eddy: Option<Eddy>,
    /// A load, the name of a wiring (--list) or a wiring file; may be given again
    #[arg(long, value_name = "LOAD", value_parser = load_or_wiring)]
    pub load: Vec<LoadArg>,
    /// A rig file, whose input and lead are to hang on every load: what a take on that rig would show
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// Frequencies of the curve, such as 100,1k,5k; left out, 512 from 20 Hz to 20 kHz
    #[arg(long, value_name = "LIST", value_parser = frequencies)]
    pub freq: Option<Frequencies>,
    /// Run through one quantity, such as cable=1m...10m, vol=1...0 or tone-cap=10n,22n,47n
    #[arg(long, value_name = "SWEEP", value_parser = sweep)]
    pub vary: Option<Vary>,
    /// Steps of a sweep from...to
    #[arg(long, value_name = "N", requires = "vary", value_parser = clap::value_parser!(u8).range(2..=12))]
    pub steps: Option<u8>,
    /// Draw the parts from within their tolerances: "usual", or such as "pots=20% caps=10%"
    #[arg(long, value_name = "LIST", value_parser = tolerances)]
    pub tolerance: Option<ToleranceArg>,
    /// Draws
    #[arg(long, value_name = "N", default_value_t = 1000, value_parser = clap::value_parser!(u32).range(100..=100_000))]
    pub runs: u32,
    /// Which draws: the same seed gives the same
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Where the peak should be: "3.2kHz", "6dB" above the lows, or "3.2kHz 6dB"
    #[arg(long, value_name = "PEAK", value_parser = wish, requires = "by")]
    pub reach: Option<Goal>,
    /// Which quantities may be changed for it, such as cap or cap,vol-pot
    #[arg(long, value_name = "LIST", value_parser = quantities, requires = "reach")]
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
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright coil bench/neck-7/0001 bench/neck-7/0002 bench/neck-7/0003 --ohms 6.05k --room 21C --tolerance cap=1%
  coilwright coil bench/neck-7/* --ohms 6.05k --out neck-7.toml --spice neck-7.sub
")]
pub struct CoilArgs {
    /// Records of one pickup under different known loads (files or their folders)
    #[arg(value_name = "RECORD", required = true, num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// The ohmmeter's reading; left out, the records' own
    #[arg(long, value_name = "OHM", value_parser = ohms, allow_hyphen_values = true)]
    pub ohms: Option<f64>,
    /// The temperature at which it was read, such as 23C
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// How far the known parts may be from what is printed on them, such as "cap=1% ohms=0.5%"
    #[arg(long, value_name = "LIST", value_parser = tolerances)]
    pub tolerance: Option<ToleranceArg>,
    /// A coil file to write (.toml), or a folder for coil file, plot and table
    #[arg(long, value_name = "FILE or DIR")]
    pub out: Option<PathBuf>,
    /// Write the coil as a subcircuit for circuit simulators
    #[arg(long, value_name = "FILE")]
    pub spice: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

/// A list, so that it is one value to the parser.
#[derive(Debug, Clone, PartialEq)]
pub struct Frequencies(pub Vec<f64>);

#[derive(Debug, Clone, PartialEq)]
pub struct Quantities(pub Vec<Knob>);

pub(super) fn henries(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Henry).map_err(words)
}

pub(super) fn farads(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Farad).map_err(words)
}

fn eddy(s: &str) -> Result<Eddy, String> {
    Eddy::parse("eddy", s).map_err(words)
}

pub(super) fn load_or_wiring(s: &str) -> Result<LoadArg, String> {
    inputs::load_arg(s).map_err(words)
}

fn frequencies(s: &str) -> Result<Frequencies, String> {
    inputs::frequencies(s).map(Frequencies).map_err(words)
}

fn sweep(s: &str) -> Result<Vary, String> {
    inputs::vary(s).map_err(words)
}

fn tolerances(s: &str) -> Result<ToleranceArg, String> {
    inputs::tolerance(s).map_err(words)
}

fn wish(s: &str) -> Result<Goal, String> {
    inputs::goal(s).map_err(words)
}

fn quantities(s: &str) -> Result<Quantities, String> {
    inputs::by(s).map(Quantities).map_err(words)
}

/// A name, or a few words: what has a control character in it is a slip of the keys, or meant for somebody's terminal.
pub(super) fn line(s: &str) -> Result<String, String> {
    match s.chars().any(char::is_control) {
        true => Err("it has a control character in it; write it on one line, in letters".into()),
        false => Ok(s.to_owned()),
    }
}

pub(super) fn words(e: crate::failure::Failure) -> String {
    e.to_string()
}

pub(super) fn hertz(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Hertz).map_err(words)
}

pub(super) fn seconds(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Second).map_err(words)
}

pub(super) fn dbfs(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Dbfs).map_err(words)
}

/// What an ohmmeter read, and its name where it is told.
#[derive(Debug, Clone, PartialEq)]
pub struct OhmsRead {
    pub ohm: f64,
    pub meter: Option<String>,
}

fn read_ohms(s: &str) -> Result<OhmsRead, String> {
    let (figure, meter) = meters::parted(s);
    Ok(OhmsRead {
        ohm: ohms(figure)?,
        meter: meter.map(meters::meter_name).transpose().map_err(words)?,
    })
}

pub(super) fn ohms(s: &str) -> Result<f64, String> {
    let v = quantity::parse(s, Unit::Ohm).map_err(words)?;
    if v > 0.0 {
        Ok(v)
    } else {
        Err("a winding's resistance is above zero".into())
    }
}

pub(super) fn celsius(s: &str) -> Result<f64, String> {
    let v = quantity::parse(s, Unit::Celsius).map_err(words)?;
    if (-60.0..=150.0).contains(&v) {
        Ok(v)
    } else {
        Err("no room is that cold or warm; write 21C or 70F".into())
    }
}

/// `pickup=1,reference=2` or `pickup=1`.
pub fn channels(s: &str) -> Result<ChannelsArg, String> {
    let hint = "write pickup=1,reference=2, or pickup=1 for one channel";
    let (mut pickup, mut reference) = (None, None);
    for part in s.split(',') {
        let (name, number) = part.split_once('=').ok_or(hint)?;
        let slot = match name.trim() {
            "pickup" => &mut pickup,
            "reference" => &mut reference,
            _ => return Err(hint.into()),
        };
        let n: usize = number.trim().parse().map_err(|_| hint)?;
        if n == 0 || n > 64 || slot.replace(n).is_some() {
            return Err(hint.into());
        }
    }
    let pickup = pickup.ok_or(hint)?;
    if reference == Some(pickup) {
        return Err(format!("pickup and reference cannot be the same channel; {hint}"));
    }
    Ok(ChannelsArg(Channels { pickup, reference }))
}
