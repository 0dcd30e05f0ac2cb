//! The options of `rig`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::shared::{Devices, DriveArgs, Shown, Source};
use super::value::{Said, celsius, channels, line, of, ohms, one_of, told};
use crate::capture::wav::Channels;
use crate::quantity::{self, Unit};
use crate::rig::Reference;
use crate::setup::inputs::Part;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright rig new north.toml
  coilwright rig level --rig north.toml
  coilwright rig inputs --rig north.toml
  coilwright rig show north.toml
  coilwright rig check north.toml --room 21C
  coilwright rig changed \"new lead\"
  coilwright rig repeat --rig north.toml takes/neck-1/* takes/neck-2/* takes/neck-3/*
  coilwright rig polarity takes/known/0001 --is +1
  coilwright rig pack north.toml
")]
pub struct RigCommand {
    #[command(subcommand)]
    pub action: RigAction,
}

#[derive(Debug, Subcommand)]
pub enum RigAction {
    /// Make a rig file from a few questions, or from options
    New(Box<NewArgs>),
    /// Find the strongest clean drive, step by step from silence; the rig file keeps it
    Level(LevelArgs),
    /// Measure how the two inputs differ, and how the pickup's input loads it
    Inputs(Box<InputsArgs>),
    /// Say in words what the rig is, and what its input does to a typical pickup
    Show(RigFileArgs),
    /// Measure the witness and say whether the rig is still the rig: go or no-go
    Check(Box<CheckArgs>),
    /// Note a change on the bench; checks are counted anew from here
    Changed(ChangedArgs),
    /// How small a difference can this rig tell? From pickups laid down again and again
    Repeat(RepeatArgs),
    /// Find the rig's sign, from a pickup whose winding you know
    Polarity(PolarityArgs),
    /// List what belongs to the rig, for packing it
    Pack(RigFileArgs),
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright rig changed \"new lead\"
  coilwright rig changed \"exciter wound anew\" --rig north.toml
")]
pub struct ChangedArgs {
    /// What was changed, in a few words
    #[arg(value_name = "TEXT", value_parser = told)]
    pub what: String,
    /// Rig file; left out, the one that `use` remembers
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
pub struct RigFileArgs {
    /// The rig file; left out, the one that `use` remembers
    #[arg(value_name = "FILE")]
    pub rig: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(
    after_help = "The rig file names the witness, a pickup or a coil that is kept for this:
  [witness]
  name = \"witness one\"
Headphones off your ears, loudspeakers off, phantom power off: it plays the test signal.

Examples:
  coilwright rig check --rig north.toml
  coilwright rig check --rig north.toml --record takes/witness-one/0021
  coilwright rig check --rig north.toml --begin-again     after a change that was meant
"
)]
pub struct CheckArgs {
    /// Rig file; left out, the one that `use` remembers
    #[arg(value_name = "FILE", conflicts_with = "rig")]
    pub file: Option<PathBuf>,
    /// The same, by name
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// A record of the witness that was measured already; left out, it is measured now
    #[arg(long, value_name = "RECORD", conflicts_with_all = ["source", "sim", "out"])]
    pub record: Option<PathBuf>,
    /// Put the old checks aside and begin a new baseline
    #[arg(long)]
    pub begin_again: bool,
    #[command(flatten)]
    pub source: Source,
    /// Away from home, such as "the class": what did the journey change? The limits of home stay as they are
    #[arg(long, value_name = "PLACE", value_parser = line)]
    pub at: Option<String>,
    /// The room's temperature, such as 21C
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
    /// Over which coil the exciter lies
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub over: Option<String>,
    #[command(flatten)]
    pub drive: DriveArgs,
    /// Folder for the witness's record; left out, as for `measure`
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
pub struct RepeatArgs {
    /// Rig file; left out, the one that `use` remembers
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// Records of a few pickups, each taken out and laid back two or three times (files, folders or names)
    #[arg(value_name = "RECORD", required = true, num_args = 2..)]
    pub records: Vec<PathBuf>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
pub struct PolarityArgs {
    /// A record of a pickup whose winding is known
    #[arg(value_name = "RECORD")]
    pub record: PathBuf,
    /// Write the sign into this rig file; left out, it is only said
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What that winding is in your shop: +1 or -1
    #[arg(long, value_name = "SIGN", allow_hyphen_values = true, value_parser = ["+1", "1", "-1"])]
    pub is: String,
    #[command(flatten)]
    pub shown: Shown,
}

/// What the mains hum at, what channel 2 reads and the like; what is left out is asked for, unless the three that every rig
/// needs are given.
#[derive(Debug, Args)]
#[command(
    after_help = "Given --reference, --series and --inductance, nothing is asked. Nothing is played. Mains, valve amplifiers and phantom power: docs/safety.md before anything is wired; local codes come first.

Examples:
  coilwright rig new north.toml
  coilwright rig new north.toml --reference current --series 123.8 --sense 22 --inductance 217u --lead 50p
  coilwright rig new desk.toml --source sim     of the built-in bench, to try `level`, `inputs` and `check` on
"
)]
pub struct NewArgs {
    /// The rig file to make
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// What the rig is of: live (sound devices) or sim (the built-in bench, to try things on)
    #[arg(long, value_name = "SOURCE", default_value = "live", value_parser = ["live", "sim"])]
    pub source: String,
    /// The rig's name; left out, that of the file
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub name: Option<String>,
    /// What is on the interface's label, to tell two of one model apart
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub unit: Option<String>,
    /// What channel 2 reads
    #[arg(long, value_parser = one_of(REFERENCES))]
    pub reference: Option<Reference>,
    /// From channel 2's tap to ground: resistors and exciter together
    #[arg(long, value_name = "OHM", value_parser = ohms)]
    pub series: Option<f64>,
    /// What channel 2 reads the current across
    #[arg(long, value_name = "OHM", value_parser = ohms)]
    pub sense: Option<f64>,
    /// The exciter's inductance
    #[arg(long, value_name = "HENRY", value_parser = of(Unit::Henry))]
    pub inductance: Option<f64>,
    /// The output's own resistance, before the tap
    #[arg(long, value_name = "OHM", value_parser = ohms)]
    pub source_ohm: Option<f64>,
    /// How well series and inductance are known, as standard uncertainties, such as 0.4%,3%
    #[arg(long, value_name = "PERCENT,PERCENT", value_parser = two_percent)]
    pub known: Option<(f64, f64)>,
    /// Resistance of the pickup's input
    #[arg(long, value_name = "OHM", value_parser = ohms)]
    pub input_ohm: Option<f64>,
    /// Capacitance of the pickup's input
    #[arg(long, value_name = "FARAD", value_parser = of(Unit::Farad))]
    pub input_farad: Option<f64>,
    /// Capacitance of the test lead
    #[arg(long, value_name = "FARAD", value_parser = of(Unit::Farad))]
    pub lead: Option<f64>,
    /// Mains frequency: 50 or 60
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz))]
    pub mains: Option<f64>,
    /// The pickup, or the dummy in its tin, that is kept for checking
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub witness: Option<String>,
    /// Where the knobs stand, in words
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub knobs: Option<String>,
    /// Say that phantom power, monitoring, automatic gain, enhancement, pads and low-cuts are all off
    #[arg(long)]
    pub all_off: bool,
    /// Bind the rig to these devices: a take on others is refused
    #[command(flatten)]
    pub devices: Devices,
    /// ... and to this rate
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz))]
    pub rate: Option<f64>,
    #[command(flatten)]
    pub shown: Shown,
}

const REFERENCES: &[(&str, Reference)] = &[("voltage", Reference::Voltage), ("current", Reference::Current)];

fn two_percent(s: &str) -> Said<(f64, f64)> {
    two_shares(s).ok_or("write two shares in per cent, as 0.4%,3%".into())
}

/// Shares of one.
pub fn two_shares(s: &str) -> Option<(f64, f64)> {
    let (a, b) = s.split_once(',')?;
    Some((share(a)?, share(b)?))
}

/// Where a rig is set up: on what, and at which rate.
#[derive(Debug, Args)]
pub struct SoundArgs {
    #[command(flatten)]
    pub source: Source,
    /// Sampling rate; left out, the rig's or the device's own
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz))]
    pub rate: Option<f64>,
    /// Which input channel is which, such as pickup=1,reference=2
    #[arg(long, value_name = "LIST", value_parser = channels)]
    pub channels: Option<Channels>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Before the first sound: headphones off your ears, loudspeakers off, phantom power off, a pickup in its place. The current through the exciter grows with the level: nothing on the bench may get warm to the touch (docs/safety.md). Ctrl-C stops the sound at once.

Example:
  coilwright rig level --rig north.toml --limit -12dBFS
"
)]
pub struct LevelArgs {
    /// Rig file; left out, the one that `use` remembers
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// The drive goes no higher than this
    #[arg(long, value_name = "DBFS", value_parser = of(Unit::Dbfs), allow_hyphen_values = true, default_value = "-12dBFS")]
    pub limit: f64,
    #[command(flatten)]
    pub sound: SoundArgs,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(
    after_help = "First the wire alone: one plug's signal on both inputs, no pickup. Then, for what the input puts on a pickup, the same with a known part right at the pickup's end of the test lead. Headphones off your ears, loudspeakers off, phantom power off before anything is plugged in.

Examples:
  coilwright rig inputs --rig north.toml --range \"instrument, gain at one third\"
  coilwright rig inputs --rig north.toml --through 1M --tolerance 1%
"
)]
pub struct InputsArgs {
    /// Rig file; left out, the one that `use` remembers
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// The known part in line with the pickup's input, such as 1M or 100p; left out, the wire alone
    #[arg(long, value_name = "PART", value_parser = part)]
    pub through: Option<Part>,
    /// How far that part may be from what is printed on it
    #[arg(long, value_name = "PERCENT", value_parser = percent, default_value = "1%", requires = "through")]
    pub tolerance: f64,
    /// How the inputs' knobs and switches stand, in words
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub range: Option<String>,
    /// Put this device, rate and channels in place of those the file was measured with; what was measured with those goes
    #[arg(long, conflicts_with = "through")]
    pub replace: bool,
    #[command(flatten)]
    pub sound: SoundArgs,
    /// Peak of the signal: both inputs get it straight from the output
    #[arg(long, value_name = "DBFS", value_parser = of(Unit::Dbfs), allow_hyphen_values = true, default_value = "-20dBFS")]
    pub level: f64,
    #[command(flatten)]
    pub shown: Shown,
}

/// "1M" is a resistor, "100p" or "2.2nF" a capacitor.
fn part(s: &str) -> Said<Part> {
    let text = s.trim();
    let part = if quantity::names_farads(text) {
        of(Unit::Farad)(text).map(Part::Capacitor).map_err(|e| e.to_string())?
    } else {
        ohms(text).map(Part::Resistor)?
    };
    match part {
        Part::Resistor(ohm) if (1e3..=1e8).contains(&ohm) => Ok(part),
        Part::Capacitor(farad) if (1e-12..=1e-7).contains(&farad) => Ok(part),
        _ => Err("a resistor of 1k to 100M or a capacitor of 1p to 100n tells something; 1M is usual".into()),
    }
}

fn percent(s: &str) -> Said<f64> {
    share(s).ok_or("write the tolerance as 1% or 5%".into())
}

fn share(s: &str) -> Option<f64> {
    let share = quantity::parse(s, Unit::Relative).ok();
    share.filter(|v| (0.0..=0.5).contains(v))
}
