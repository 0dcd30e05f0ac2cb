//! The options of what measures, reads takes and lays records side by side.

use std::path::PathBuf;

use clap::Args;

use super::defaults::Defaults;
use super::inputs::{LoadArg, load_arg};
use super::shared::{About, Detailed, Devices, DriveArgs, Named, RigFile, Shown, Source};
use super::value::{line, one_of};
use crate::analysis::Choice;
use crate::network::Wiring;

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  coilwright demo --out demo\n")]
pub struct DemoArgs {
    /// Folder for plots and records
    #[arg(long, value_name = "DIR", default_value = "demo")]
    pub out: PathBuf,
    #[command(flatten)]
    pub shown: Detailed,
}

#[derive(Debug, Args)]
pub struct DevicesArgs {
    #[command(flatten)]
    pub devices: Devices,
    #[command(flatten)]
    pub shown: Shown,
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
  coilwright use north.toml --folder notebook
  coilwright use --load \"vol=250k cable=5m@100p/m\"
  coilwright use --matters \"peak=1% q=5%\"
  coilwright use            shows what is remembered
")]
pub struct UseArgs {
    #[command(flatten)]
    pub rig: RigFile,
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m", or a wiring
    #[arg(long, value_name = "LOAD", value_parser = load_arg)]
    pub load: Option<LoadArg>,
    #[command(flatten)]
    pub defaults: Defaults,
    /// Forget one of the defaults, by its name
    #[arg(long, value_name = "NAME")]
    pub forget: Vec<String>,
    #[command(flatten)]
    pub shown: Shown,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  coilwright measure neck-7
  coilwright measure bridge-2 --over \"second coil\" --ohms 8.2k --room 21C
  coilwright measure trial --source sim --load \"res=200k cap=500p\"
  coilwright measure neck-7 --rig north.toml --knock 8

Headphones off your ears, loudspeakers off, phantom power off. With --knock, tap with a light rod, never on the windings. docs/safety.md has the usual cautions; local rules come first.
")]
pub struct MeasureArgs {
    #[command(flatten)]
    pub pickup: Named,
    #[command(flatten)]
    pub job: Job,
    #[command(flatten)]
    pub shown: Detailed,
}

/// What is to be measured of a pickup, whoever asks for it.
#[derive(Debug, Clone, Args)]
pub struct Job {
    #[command(flatten)]
    pub source: Source,
    #[command(flatten)]
    pub about: About,
    /// How many takes in a row, nothing touched in between
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=100))]
    pub repeats: u32,
    /// Record so many taps with a light rod after the take, exciter silent: microphonics
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(3..=50))]
    pub knock: Option<u32>,
    #[command(flatten)]
    pub drive: DriveArgs,
    /// Which model the reading is taken from; left out, the plainest that follows the take
    #[arg(long, value_parser = one_of(MODELS))]
    pub model: Option<Choice>,
    /// Folder for the record; left out, FOLDER/NAME/0001 and so on
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// It is measured in a guitar, at its jack: what stands between pickup and rig, for the built-in bench.
    #[arg(skip)]
    pub guitar: Option<Wiring>,
}

impl Default for Job {
    /// One live take without anything besides.
    fn default() -> Self {
        Job {
            source: Source::default(),
            about: About::default(),
            repeats: 1,
            knock: None,
            drive: DriveArgs::default(),
            model: None,
            out: None,
            guitar: None,
        }
    }
}

const MODELS: &[(&str, Choice)] = &[
    ("second-order", Choice::SecondOrder),
    ("turn", Choice::Turn),
    ("eddy", Choice::Turn),
    ("metal", Choice::Metal),
    ("metal+loop", Choice::MetalLoop),
];

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
    /// Which model the reading is taken from; left out, the plainest that follows the take
    #[arg(long, value_parser = one_of(MODELS))]
    pub model: Option<Choice>,
    /// Folder for record and plots; left out, nothing is written
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub shown: Detailed,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:
  coilwright compare before/record.json after/record.json --out comparison
")]
pub struct CompareArgs {
    /// Records, the first being what the others are compared with (files, folders or names)
    #[arg(value_name = "RECORD", required = true, num_args = 1..)]
    pub records: Vec<PathBuf>,
    /// Folder for the overlay plot and the table
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Keep the curves' levels apart; left out, all lie on each other at low frequency
    #[arg(long)]
    pub levels: bool,
    /// The pickup was not touched between the takes: loads were changed on it, or it was read again
    #[arg(long)]
    pub in_place: bool,
    /// Sort by load, least capacitance first, compare within each pickup, and say what the loads did
    #[arg(long)]
    pub by_load: bool,
    #[command(flatten)]
    pub shown: Detailed,
}
