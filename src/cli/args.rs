//! The command line as clap reads it. Parsing validates; nothing here touches devices or files.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::analysis::Choice;
use crate::capture::wav::Channels;
use crate::network::Load;
use crate::quantity::{self, Unit};
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
    #[arg(long, value_name = "DEV")]
    pub output: Option<String>,
    /// Input device, likewise
    #[arg(long, value_name = "DEV")]
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
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m"
    #[arg(long, value_name = "LOAD", value_parser = load)]
    pub load: Option<Load>,
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
    #[arg(long, value_name = "TEXT")]
    pub over: Option<String>,
    /// Forget one of the defaults, by its name
    #[arg(long, value_name = "NAME")]
    pub forget: Vec<String>,
    #[command(flatten)]
    pub shown: Shown,
}

/// What is known of the pickup and its surroundings.
#[derive(Debug, Clone, Args, Default)]
pub struct About {
    /// Rig file
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m"
    #[arg(long, value_name = "LOAD", value_parser = load)]
    pub load: Option<Load>,
    /// Over which coil the exciter lies
    #[arg(long, value_name = "TEXT")]
    pub over: Option<String>,
    /// The ohmmeter's reading
    #[arg(long, value_name = "OHM", value_parser = ohms, allow_hyphen_values = true)]
    pub ohms: Option<f64>,
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
")]
pub struct MeasureArgs {
    /// The pickup's name
    #[arg(long, value_name = "NAME")]
    pub pickup: String,
    /// Where the take comes from: live, sim (the built-in bench) or a WAV file
    #[arg(long, value_name = "SOURCE", default_value = "live")]
    pub source: String,
    #[command(flatten)]
    pub about: About,
    /// How many takes in a row, nothing touched in between
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100))]
    pub repeats: u32,
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
")]
pub struct AnalyzeArgs {
    /// Recordings (WAV)
    #[arg(value_name = "TAKE", required = true)]
    pub takes: Vec<PathBuf>,
    /// The file that was played; needed where the take has one channel
    #[arg(long, value_name = "FILE")]
    pub drive: Option<PathBuf>,
    /// The pickup's name; left out, that of the take's file
    #[arg(long, value_name = "NAME")]
    pub pickup: Option<String>,
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
    #[command(flatten)]
    pub shown: Shown,
}

fn words(e: crate::failure::Failure) -> String {
    e.to_string()
}

fn hertz(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Hertz).map_err(words)
}

fn seconds(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Second).map_err(words)
}

fn dbfs(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Dbfs).map_err(words)
}

fn ohms(s: &str) -> Result<f64, String> {
    let v = quantity::parse(s, Unit::Ohm).map_err(words)?;
    if v > 0.0 {
        Ok(v)
    } else {
        Err("a winding's resistance is above zero".into())
    }
}

fn celsius(s: &str) -> Result<f64, String> {
    let v = quantity::parse(s, Unit::Celsius).map_err(words)?;
    if (-60.0..=150.0).contains(&v) {
        Ok(v)
    } else {
        Err("no room is that cold or warm; write 21C or 70F".into())
    }
}

fn load(s: &str) -> Result<Load, String> {
    s.parse::<Load>().map_err(words)
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
