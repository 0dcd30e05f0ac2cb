//! The record of one measurement: the schema types, as published in docs/record.schema.json.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;

pub mod about;
mod finding;
mod fit;
pub mod identity;
pub mod knock;
pub mod meters;
pub mod notes;
pub mod ohms;
pub mod stage;
pub mod store;
pub mod unknown;
pub mod when;

pub use finding::{Code, Cure, Finding, Level, Verdict};
pub use fit::{Budget, Eddy, Fit, Model, Nuisance, Parts, Plain};

pub const SCHEMA: &str = "coilwright/record/1";

/// One measurement of one pickup. SI units, as the names say; null where something is not known.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend(
    "if" = {"properties": {"verdict": {"const": "rejected"}}},
    "then" = {"properties": {"resonance": {"type": "null"}}},
    "else" = {"properties": {"resonance": {"type": "object"}}}
))]
pub struct Record {
    /// Kind and version of this document.
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    /// The same take under the same name has the same one.
    pub id: String,
    /// When the take was made, RFC 3339 with offset; of a recording, when its file was last changed.
    pub taken_at: String,
    /// Version of the program that wrote the record.
    pub tool_version: String,
    /// What was measured, as far as it was told.
    pub pickup: Pickup,
    /// What it was measured with.
    pub rig: RigSummary,
    /// What hung on the pickup besides the rig's own input; null where it was not told.
    pub load: Option<LoadSummary>,
    /// The test signal; null where its description is not known.
    pub drive: Option<Drive>,
    /// The recording, and what it says of signal, noise and clocks.
    pub capture: CaptureSummary,
    /// The reading; null where the take was rejected.
    pub resonance: Option<Resonance>,
    /// How well the models explain the take.
    pub fit: Option<Fit>,
    /// Parts of the uncertainties; null in a rejected take, in means of several and in records of old.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<Budget>,
    /// The response, for plots.
    pub curve: Option<Curve>,
    /// Follows from the gravest finding.
    pub verdict: Verdict,
    /// What the take itself showed, the gravest first.
    pub findings: Vec<Finding>,
    /// Every other remark: "simulated", no rig given, a tolerance taken as exact...
    pub notes: Vec<String>,
    /// Single readings of repeats, in order of taking; empty for one take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repeats: Vec<Repeat>,
    /// What was noted beside it later, each in a file of its own.
    #[serde(skip)]
    pub noted: Vec<notes::Note>,
    /// What taps made it say; left out where nobody tapped, or the taps could not be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub knock: Option<knock::Knock>,
}

/// Ends `over` where a pickup was heard through its guitar: under controls, so that its other readings are none to hold it against.
pub const AT_THE_JACK: &str = "at the jack of the guitar";

/// Of what a record has as `over`.
pub fn is_at_the_jack(over: Option<&str>) -> bool {
    over.is_some_and(|o| o.ends_with(AT_THE_JACK))
}

/// The pickup, in the words and figures that were typed in.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pickup {
    /// As given; of a recording without a name, the file's.
    pub name: String,
    /// Over which coil the exciter lay.
    pub over: Option<String>,
    /// The ohmmeter's reading in ohms, as typed in.
    pub r_ohm: Option<f64>,
    /// The ohmmeter, where its name was typed in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohmmeter: Option<String>,
    /// The room's temperature in degrees Celsius, as typed in.
    pub temperature_c: Option<f64>,
    /// `r_ohm` brought to 20 degC with copper's 0.00393 /K (IEC 60028); null unless both are known.
    #[serde(default)]
    pub r20_ohm: Option<f64>,
    /// A remark that was typed in.
    pub note: Option<String>,
    /// How far it was: "before wax", "finished" or any other word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<stage::Stage>,
    /// Whose hands made it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// The rig; `{"given": false}` without one.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RigSummary {
    /// Whether a rig file was used.
    pub given: bool,
    /// As in the rig file, else the file's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// First 16 hex digits of the SHA-256 of the rig file's content.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hash: Option<String>,
    /// The rig's values as used in the analysis, keyed "table.key".
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<String, serde_json::Value>,
    /// What the rig file leaves open, as far as it matters for such a take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub open: Vec<Open>,
}

/// A key that the rig file does not state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Open {
    /// As "table.key".
    pub key: String,
    /// What is assumed instead, in words.
    pub assumed: String,
}

impl Open {
    /// As people call it: the input's own loading by the input's name, all else by the key.
    pub fn name(&self) -> String {
        match self.key.split_once('.') {
            Some(("input", key)) if key.ends_with("resistance_ohm") || key.ends_with("capacitance_f") => {
                format!("input {key}")
            }
            Some((_, key)) => key.to_owned(),
            None => self.key.clone(),
        }
    }

    /// As it stands in the notes.
    pub fn note(&self) -> String {
        format!("rig: {} not stated: {}", self.name(), self.assumed)
    }

    /// What a record of version 0.1.0 says in its notes only.
    fn of_note(note: &str) -> Option<Open> {
        const EXCITER: [&str; 5] = [
            "series_tolerance",
            "inductance_tolerance",
            "source_ohm",
            "sense_ohm",
            "sign",
        ];
        let (name, assumed) = note.strip_prefix("rig: ")?.split_once(" not stated: ")?;
        let name = name.strip_prefix("input ").unwrap_or(name);
        let table = if EXCITER.contains(&name) { "exciter" } else { "input" };
        Some(Open {
            key: format!("{table}.{name}"),
            assumed: assumed.to_owned(),
        })
    }
}

/// What hung on the pickup.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadSummary {
    /// In the command line's notation, normalised.
    pub text: String,
}

/// The test signal as it was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Drive {
    #[schemars(extend("enum" = ["sweep", "noise"]))]
    pub shape: String,
    /// Sampling rate.
    pub rate_hz: u32,
    /// Both sweeps or all periods together, silences not counted.
    pub seconds: f64,
    pub from_hz: f64,
    pub to_hz: f64,
    /// Peak of the file against full scale.
    pub level_dbfs: f64,
    /// Which noise it was; left out for sweeps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<u64>,
}

/// The recording.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaptureSummary {
    /// Sampling rate.
    pub rate_hz: u32,
    /// 2: pickup and reference; 1: the pickup alone.
    #[schemars(range(min = 1, max = 2))]
    pub channels: u32,
    /// Samples of each channel.
    pub frames: u64,
    /// The larger of the channels' peaks against full scale; null for digital silence.
    pub peak_dbfs: Option<f64>,
    /// Samples on flat tops, both channels together.
    pub clipped_samples: u64,
    /// Places where samples are missing or repeated.
    pub dropouts: u64,
    /// When the drive file's first sample arrives; null for two channels without a drive file.
    pub latency_s: Option<f64>,
    /// How fast the output's clock runs against the input's, + is fast; null as above.
    pub clock_ppm: Option<f64>,
    /// Energy of the answer over energy of the noise in the octave around f0, hum left out.
    pub snr_db: Option<f64>,
    /// All mains lines together against the pickup's signal.
    pub hum_db: Option<f64>,
    /// Noise of the pickup's channel from 100 Hz to 10 kHz (or the ends of the drive within), hum left out, against a full-scale
    /// sine: whatever the answer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub noise_dbfs: Option<f64>,
    /// All mains lines together, likewise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hum_dbfs: Option<f64>,
    /// Measured mains frequency, where hum was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mains_hz: Option<f64>,
    /// "live", "sim" or "file".
    #[serde(default)]
    pub source: String,
    /// The sound devices, as the system calls them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<String>,
    /// File name of the take, beside the record or as given to analyze.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub take: Option<String>,
    /// Played and recorded by the built-in bench, or a recording of that: no real pickup.
    #[serde(default)]
    pub simulated: bool,
}

/// The reading: of the pickup as it was loaded, the rig's input counted in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Resonance {
    /// Frequency of the natural resonance of the model; that of the second-order model where no metal is in it.
    pub f0_hz: Estimate,
    /// Quality factor of the same resonance.
    pub q: Estimate,
    /// Whether f0 and Q are of the neighbourhood of the resonance alone: one so damped that it has no natural frequency.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub local: bool,
    /// Correlation of the uncertainties of f0 and Q.
    #[schemars(range(min = -1, max = 1))]
    pub corr_f0_q: f64,
    /// Where the response is highest; null where it has no peak.
    pub peak_hz: Option<Estimate>,
    /// Height of the peak above the level at low frequency; null where there is none.
    pub peak_db: Option<Estimate>,
    pub peak_from: PeakFrom,
    /// Mutual inductance of exciter and pickup, load included; null for one channel or without a rig.
    pub mutual_h: Option<Estimate>,
    /// +1 or -1: the sign of the mutual inductance times the rig's sign.
    #[schemars(extend("enum" = [-1, 1]))]
    pub polarity: i8,
    /// Whether the rig states its sign; without it the polarity says nothing by itself.
    pub polarity_referenced: bool,
    /// Level of the low-frequency response, answer over reference and angular frequency, in dB re 1 s: coupling from the exciter,
    /// not loudness.
    #[serde(default)]
    pub level_db: Option<Estimate>,
    /// What f0, Q and the zero of the peak's height mean; absent in records of old: plain.
    #[serde(default)]
    pub definition: Definition,
    /// What laying the pickup down anew does on this rig; null where nobody measured it.
    #[serde(default)]
    pub u_lay: Option<Scatters>,
    /// What the rig does from day to day; null where its checks do not tell it yet.
    #[serde(default)]
    pub u_day: Option<Scatters>,
}

/// What the reading's f0 and Q are of. Readings of two definitions are never subtracted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Definition {
    /// The second-order model.
    #[default]
    Plain,
    /// The natural resonance of a coil with metal about it.
    Pole,
    /// The neighbourhood of the peak alone.
    Local,
}

impl Definition {
    /// As records have it.
    pub fn code(self) -> &'static str {
        match self {
            Definition::Plain => "plain",
            Definition::Pole => "pole",
            Definition::Local => "local",
        }
    }
}

/// What one cause does to single readings of this pickup: standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Scatters {
    /// Of f0.
    pub f0_hz: f64,
    /// Of Q.
    pub q: f64,
    /// Of the peak's frequency, from those of f0 and Q; null, as the next, where there is no peak.
    pub peak_hz: Option<f64>,
    /// Of the peak's height.
    pub peak_db: Option<f64>,
    /// Of the coupling from the exciter; null where nobody knows it.
    pub level_db: Option<f64>,
    /// Degrees of freedom of the study behind them.
    pub freedom: f64,
}

/// Where the peak was read: off the better model, or off the measured curve where no model fits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PeakFrom {
    Model,
    Curve,
}

/// Normalised response at log-spaced frequencies; 0 dB is the low-frequency level, of the better model or,
/// where none follows the curve, of the curve's lows.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    pub freq_hz: Vec<f64>,
    pub mag_db: Vec<f64>,
    pub phase_deg: Vec<f64>,
    /// Standard uncertainty of `mag_db`.
    pub u_db: Vec<f64>,
    /// The better model at the same frequencies.
    pub model_db: Vec<f64>,
}

/// One reading of several under unchanged conditions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Repeat {
    pub f0_hz: Estimate,
    pub q: Estimate,
    pub peak_hz: Option<Estimate>,
    pub peak_db: Option<Estimate>,
    pub mutual_h: Option<Estimate>,
}

/// Whether a remark says that the take is of the built-in bench.
pub fn is_simulated_note(note: &str) -> bool {
    note.trim_start().to_lowercase().starts_with("simulated")
}

impl Record {
    /// What records of version 0.1.0 say in their notes only, in the fields of today.
    pub(crate) fn with_fields_of_today(mut self) -> Record {
        self.capture.simulated |= self.capture.source == "sim" || self.notes.iter().any(|n| is_simulated_note(n));
        if self.rig.open.is_empty() {
            self.rig.open = self.notes.iter().filter_map(|n| Open::of_note(n)).collect();
        }
        self
    }

    /// Made by the built-in bench: no real pickup.
    pub fn is_simulated(&self) -> bool {
        self.capture.simulated
    }

    /// Remarks that no field holds.
    pub fn other_notes(&self) -> impl Iterator<Item = &String> {
        let open: Vec<String> = self.rig.open.iter().map(Open::note).collect();
        let marked = |n: &str| self.capture.simulated && is_simulated_note(n);
        self.notes.iter().filter(move |n| !marked(n) && !open.contains(n))
    }

    /// What it reads; of a rejected take nothing.
    pub fn reading(&self) -> Option<&Resonance> {
        self.resonance.as_ref().filter(|_| self.verdict != Verdict::Rejected)
    }

    /// The reading with f0 and Q as the definition has them: a coil without metal has one resonance by any of them, and the
    /// second-order model's are kept beside others. `None` where they are not known so. Level and peak's height are then left
    /// out: both go by the model's level at low frequency, and with steel those of two models lie up to 2.4 dB apart.
    pub fn read_as(&self, definition: Definition) -> Option<Resonance> {
        let r = self.reading()?;
        let plain = self.fit.as_ref().and_then(|f| f.plain);
        match (definition, r.definition) {
            (a, b) if a == b => Some(r.clone()),
            (Definition::Plain, _) => plain.map(|p| Resonance {
                f0_hz: p.f0_hz,
                q: p.q,
                local: false,
                peak_db: None,
                level_db: None,
                definition,
                ..r.clone()
            }),
            (Definition::Pole, Definition::Plain) => plain.map(|_| Resonance {
                definition,
                ..r.clone()
            }),
            _ => None,
        }
    }

    /// The record with its reading so.
    pub fn defined_as(&self, definition: Definition) -> Option<Record> {
        Some(Record {
            resonance: Some(self.read_as(definition)?),
            ..self.clone()
        })
    }

    /// What is to be known of a reading that stands.
    pub fn warnings(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|f| f.level == Level::Warning)
    }

    /// The first warning that another take may be rid of.
    pub fn curable(&self) -> Option<&Finding> {
        self.warnings().find(|f| f.code.cure() == Cure::AnotherTake)
    }

    /// What rejected it first.
    pub fn rejected_for(&self) -> Option<&Finding> {
        self.findings.iter().find(|f| f.level == Level::Reject)
    }
}
