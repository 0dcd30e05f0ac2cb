//! The record of one measurement: the schema types, as published in docs/record.schema.json.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;

pub mod compose;
pub mod difference;
pub mod repeats;
pub mod store;

pub const SCHEMA: &str = "coilwright/record/1";

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Record {
    pub schema: String,
    pub id: String,
    /// RFC 3339 with offset.
    pub taken_at: String,
    pub tool_version: String,
    pub pickup: Pickup,
    pub rig: RigSummary,
    pub load: Option<LoadSummary>,
    pub drive: Option<Drive>,
    pub capture: CaptureSummary,
    pub resonance: Option<Resonance>,
    pub fit: Option<Fit>,
    pub curve: Option<Curve>,
    pub verdict: Verdict,
    pub findings: Vec<Finding>,
    pub notes: Vec<String>,
    /// Single readings of repeats, in order of taking; empty for one take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repeats: Vec<Repeat>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pickup {
    pub name: String,
    /// Over which coil the exciter lay.
    pub over: Option<String>,
    /// The ohmmeter's reading, as typed in.
    pub r_ohm: Option<f64>,
    /// The room's temperature in degrees Celsius, as typed in.
    pub temperature_c: Option<f64>,
    /// `r_ohm` brought to 20 degC with copper's 0.00393 /K (IEC 60028); null unless both are known.
    #[serde(default)]
    pub r20_ohm: Option<f64>,
    pub note: Option<String>,
}

/// `{"given": false}` without a rig.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RigSummary {
    pub given: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// First 16 hex digits of the SHA-256 of the rig file's content.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hash: Option<String>,
    /// The rig's values as used in the analysis, keyed "table.key".
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub values: BTreeMap<String, serde_json::Value>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadSummary {
    /// In the command line's notation, normalised.
    pub text: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Drive {
    /// "sweep" or "noise".
    pub shape: String,
    pub rate_hz: u32,
    pub seconds: f64,
    pub from_hz: f64,
    pub to_hz: f64,
    pub level_dbfs: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seed: Option<u64>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaptureSummary {
    pub rate_hz: u32,
    pub channels: u32,
    pub frames: u64,
    /// The larger of the channels' peaks.
    pub peak_dbfs: Option<f64>,
    pub clipped_samples: u64,
    pub dropouts: u64,
    pub latency_s: Option<f64>,
    pub clock_ppm: Option<f64>,
    pub snr_db: Option<f64>,
    pub hum_db: Option<f64>,
    /// Measured mains frequency, where hum was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mains_hz: Option<f64>,
    /// "live", "sim" or "file".
    #[serde(default)]
    pub source: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<String>,
    /// File name of the take, beside the record or as given to analyze.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub take: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Resonance {
    pub f0_hz: Estimate,
    pub q: Estimate,
    pub corr_f0_q: f64,
    pub peak_hz: Option<Estimate>,
    pub peak_db: Option<Estimate>,
    pub peak_from: PeakFrom,
    pub mutual_h: Option<Estimate>,
    /// +1 or -1: the sign of the mutual inductance times the rig's sign.
    pub polarity: i8,
    pub polarity_referenced: bool,
    /// Level of the low-frequency response in dB re 1 V/(A s) resp. 1 s (no rig): coupling from the exciter, not loudness.
    #[serde(default)]
    pub level_db: Option<Estimate>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PeakFrom {
    Model,
    Curve,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Model {
    SecondOrder,
    Eddy,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fit {
    /// The better model: what `curve.model_db` and the peak come from.
    pub model: Model,
    pub band_hz: [f64; 2],
    pub bins: u64,
    /// Of the second-order model.
    pub reduced_chi2: f64,
    /// Of the second-order model against the smoothed curve.
    pub rms_residual_db: f64,
    pub eddy: Option<Eddy>,
    /// AC-coupling corners, exciter corner and delay as fitted or taken from the rig, by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub nuisance: BTreeMap<String, Nuisance>,
    /// How the noise was measured: "silence" or "residuals".
    #[serde(default)]
    pub noise_from: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Nuisance {
    pub value: f64,
    /// Standard uncertainty after the fit; null where the value was taken as exact.
    pub u: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Eddy {
    pub f0_hz: Estimate,
    pub q: Estimate,
    pub pole_s: Estimate,
    pub zero_s: Estimate,
    /// BIC(eddy) - BIC(second order): negative where the eddy model is the better one.
    pub delta_bic: f64,
    #[serde(default)]
    pub reduced_chi2: f64,
}

/// Normalised response at log-spaced frequencies; 0 dB is the low-frequency level of the better model.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Curve {
    pub freq_hz: Vec<f64>,
    pub mag_db: Vec<f64>,
    pub phase_deg: Vec<f64>,
    pub u_db: Vec<f64>,
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

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    Ok,
    Suspect,
    Rejected,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    Note,
    Warning,
    Reject,
}

/// The whole list of findings; every other remark goes into `notes`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Code {
    Clipped,
    Dropout,
    Transient,
    NoSignal,
    ReferenceMissing,
    LowSnr,
    Hum,
    NoPeak,
    PoorFit,
    CoilsCancel,
    PeakOutsideDrive,
    ChannelsSwapped,
    OpenWinding,
    ClockDrift,
    RateMismatch,
    InputLoading,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    pub code: Code,
    pub level: Level,
    pub text: String,
}

impl Verdict {
    /// Any `reject` rejects, else any `warning` makes suspect.
    pub fn from_findings(findings: &[Finding]) -> Self {
        match findings.iter().map(|f| f.level).max() {
            Some(Level::Reject) => Verdict::Rejected,
            Some(Level::Warning) => Verdict::Suspect,
            _ => Verdict::Ok,
        }
    }
}
