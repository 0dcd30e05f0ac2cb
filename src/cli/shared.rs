//! Options that several commands take.

use std::path::{Path, PathBuf};

use clap::Args;

use super::inputs::{LoadArg, load_arg};
use super::value::{OhmsRead, Said, celsius, channels, line, of, one_of, read_ohms, stage};
use crate::capture::wav::Channels;
use crate::quantity::Unit;
use crate::record::stage::Stage;
use crate::stimulus::{Shape, Tilt};

/// How results are shown.
#[derive(Debug, Clone, Copy, Args, Default)]
pub struct Shown {
    /// Print one JSON document on standard output, everything else on standard error
    #[arg(long)]
    pub json: bool,
    #[arg(skip)]
    pub details: bool,
}

/// The same, of readings.
#[derive(Debug, Clone, Copy, Args, Default)]
pub struct Detailed {
    #[command(flatten)]
    pub shown: Shown,
    /// Show also how the numbers came about: noise, fit, uncertainty
    #[arg(long, conflicts_with = "json")]
    pub details: bool,
}

impl From<Detailed> for Shown {
    fn from(d: Detailed) -> Self {
        Shown {
            details: d.details,
            ..d.shown
        }
    }
}

/// A rig file, bare or as an option.
#[derive(Debug, Clone, Args)]
#[group(multiple = false)]
pub struct RigFile {
    /// Rig file
    #[arg(value_name = "RIG")]
    bare: Option<PathBuf>,
    /// The rig file, as an option
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
}

impl RigFile {
    pub fn given(&self) -> Option<&PathBuf> {
        self.bare.as_ref().or(self.rig.as_ref())
    }
}

/// A pickup's name, bare or as an option.
#[derive(Debug, Clone, Args)]
#[group(required = true, multiple = false)]
pub struct Named {
    /// The pickup's name
    #[arg(value_name = "NAME", value_parser = line)]
    bare: Option<String>,
    /// The pickup's name, as an option
    #[arg(long, value_name = "NAME", value_parser = line)]
    pickup: Option<String>,
}

impl Named {
    /// Where it stands bare, it may be a slip of the fingers.
    pub fn bare(&self) -> Option<&str> {
        self.bare.as_deref()
    }

    pub fn given(self) -> String {
        self.bare.or(self.pickup).unwrap_or_default()
    }
}

/// On what a pickup is measured.
#[derive(Debug, Clone, Args, Default)]
pub struct Surroundings {
    /// Rig file
    #[arg(long, value_name = "FILE")]
    pub rig: Option<PathBuf>,
    /// What hangs on the pickup besides the rig's own input, such as "vol=250k cable=5m@100p/m", or a wiring
    #[arg(long, value_name = "LOAD", value_parser = load_arg)]
    pub load: Option<LoadArg>,
    /// Over which coil the exciter lies
    #[arg(long, value_name = "TEXT", value_parser = line)]
    pub over: Option<String>,
    /// The room's temperature, such as 21C or 70F
    #[arg(long, value_name = "TEMP", value_parser = celsius, allow_hyphen_values = true)]
    pub room: Option<f64>,
}

/// How far a pickup is, and whose it is.
#[derive(Debug, Clone, Args, Default)]
pub struct Life {
    /// How far the work is, such as "before wax", "after wax", finished, or any other word
    #[arg(long, value_name = "STAGE", value_parser = stage)]
    pub stage: Option<Stage>,
    /// Whose hands made it
    #[arg(long, value_name = "NAME", value_parser = line)]
    pub by: Option<String>,
}

/// What is known of the pickup and its surroundings.
#[derive(Debug, Clone, Args, Default)]
pub struct About {
    #[command(flatten)]
    pub on: Surroundings,
    /// The ohmmeter's reading, such as 6.05k or "6.05k by meter A"
    #[arg(long, value_name = "OHM", value_parser = read_ohms, allow_hyphen_values = true)]
    pub ohms: Option<OhmsRead>,
    /// A remark for the record
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    #[command(flatten)]
    pub life: Life,
    /// Which input channel is which, such as pickup=1,reference=2 or pickup=1
    #[arg(long, value_name = "LIST", value_parser = channels)]
    pub channels: Option<Channels>,
}

/// Which sound devices and channels.
#[derive(Debug, Clone, PartialEq, Args, Default)]
pub struct Devices {
    /// Output device: its name as `coilwright devices` lists it, or a part that fits one only
    #[arg(long, value_name = "DEV", value_parser = line)]
    pub output: Option<String>,
    /// Input device, likewise
    #[arg(long, value_name = "DEV", value_parser = line)]
    pub input: Option<String>,
}

/// Where takes come from.
#[derive(Debug, Clone, Args)]
pub struct Source {
    /// Where takes come from: live, or sim (the built-in bench)
    #[arg(long, value_name = "SOURCE", default_value = LIVE, value_parser = live_or_sim)]
    pub source: String,
    /// What the built-in bench holds: a TOML file, or words such as "r=6k l=2.4H cs=120p hum=-50dB"
    #[arg(long, value_name = "SPEC")]
    pub sim: Option<String>,
    #[command(flatten)]
    pub devices: Devices,
}

impl Source {
    pub fn is_sim(&self) -> bool {
        self.source == SIM
    }
}

impl Default for Source {
    fn default() -> Self {
        Source {
            source: LIVE.into(),
            sim: None,
            devices: Devices::default(),
        }
    }
}

const LIVE: &str = "live";
const SIM: &str = "sim";

fn live_or_sim(s: &str) -> Said<String> {
    match s {
        LIVE | SIM => Ok(s.to_owned()),
        file if Path::new(file).extension().is_some() => Err(format!(
            "{file} is a file; read a recording with `coilwright analyze {file}`"
        )),
        _ => Err("it is neither live nor sim; give one of them".into()),
    }
}

/// The test signal. Left out: a sweep from 20 Hz to 20 kHz, twice, 3 s together, peak at -12 dBFS.
#[derive(Debug, Clone, Args, Default)]
pub struct DriveArgs {
    /// A sweep played twice, or periodic noise
    #[arg(long, value_parser = one_of(&[("sweep", Shape::Sweep), ("noise", Shape::Noise)]))]
    pub shape: Option<Shape>,
    /// Sampling rate, such as 48k or 96k
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz), allow_hyphen_values = true)]
    pub rate: Option<f64>,
    /// Length of the active signal, silences not counted
    #[arg(long, value_name = "S", value_parser = of(Unit::Second), allow_hyphen_values = true)]
    pub seconds: Option<f64>,
    /// Lowest frequency
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz), allow_hyphen_values = true)]
    pub from: Option<f64>,
    /// Highest frequency
    #[arg(long, value_name = "HZ", value_parser = of(Unit::Hertz), allow_hyphen_values = true)]
    pub to: Option<f64>,
    /// Peak of the signal against full scale, such as -12dBFS
    #[arg(long, value_name = "DBFS", value_parser = of(Unit::Dbfs), allow_hyphen_values = true)]
    pub level: Option<f64>,
    /// Which noise: the same seed gives the same samples
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Spectrum of the noise: equal power per hertz, or falling as 1/f
    #[arg(long, value_parser = one_of(&[("flat", Tilt::Flat), ("pink", Tilt::Pink)]))]
    pub tilt: Option<Tilt>,
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
        first_of(&given)
    }
}

impl Devices {
    /// The first option given, by its name.
    pub fn first_given(&self) -> Option<&'static str> {
        first_of(&[("--output", self.output.is_some()), ("--input", self.input.is_some())])
    }
}

/// The first of these options that is given.
pub fn first_of(given: &[(&'static str, bool)]) -> Option<&'static str> {
    given.iter().find(|g| g.1).map(|g| g.0)
}
