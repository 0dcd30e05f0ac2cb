//! How well the models explain a take, and what the uncertainties of its reading are made of.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;

/// The model that curve, peak, f0 and Q come from: the plainest that follows the take, or the one that was asked for. "turn": metal
/// about the coil acts as one shorted turn; "metal": as a core that flux diffuses into; "metal+loop": a cover or baseplate besides;
/// "+other": another coil in series, with a capacitance of its own. "eddy" in records of old.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Model {
    SecondOrder,
    Eddy,
    Turn,
    Metal,
    #[serde(rename = "metal+loop")]
    MetalLoop,
    #[serde(rename = "second-order+other")]
    SecondOrderOther,
    #[serde(rename = "turn+other")]
    TurnOther,
    #[serde(rename = "metal+other")]
    MetalOther,
    #[serde(rename = "metal+loop+other")]
    MetalLoopOther,
}

/// The models and how well they explain the take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fit {
    /// What `curve.model_db`, the peak, f0 and Q come from.
    pub model: Model,
    /// f0 and Q of the second-order model; absent in records of old, where the reading's own are these.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plain: Option<Plain>,
    /// Lead of the pickup's channel in seconds that was found and taken out, negative for a lag; null where none was looked for.
    #[serde(default)]
    pub shift_s: Option<Estimate>,
    /// Lowest and highest frequency of the fit.
    pub band_hz: [f64; 2],
    /// Spectral lines used in it.
    pub bins: u64,
    /// Of the second-order model: 1 where it misses the take by no more than the noise.
    pub reduced_chi2: f64,
    /// Of the second-order model against the smoothed curve.
    pub rms_residual_db: f64,
    /// One shorted turn; null where it was not tried.
    pub eddy: Option<Eddy>,
    /// AC-coupling corners, exciter corner and delay as fitted or taken from the rig, by name.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub nuisance: BTreeMap<String, Nuisance>,
    /// How the noise was measured: "silence" or "residuals".
    #[serde(default)]
    pub noise_from: String,
}

/// f0 and Q of the second-order model, metal or not.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Plain {
    pub f0_hz: Estimate,
    pub q: Estimate,
}

/// What the uncertainties of the reading are made of.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Budget {
    pub f0_hz: Parts,
    pub q: Parts,
    /// Null, as the next, where there is no peak.
    pub peak_hz: Option<Parts>,
    /// Of the peak's height.
    pub peak_db: Option<Parts>,
}

/// Parts of one standard uncertainty, to be added in squares.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Parts {
    /// Noise of the take.
    pub noise: f64,
    /// Tolerances that the rig states.
    pub stated: f64,
    /// What the rig does not state, taken as usual.
    pub unstated: f64,
    /// What the model misses, and how far the next richer model lies.
    pub misfit: f64,
    /// How far the reading against the drive file lies from that against the reference.
    pub ways: f64,
}

/// A value besides the pickup's own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Nuisance {
    pub value: f64,
    /// Standard uncertainty after the fit; null where the value was taken as exact.
    pub u: Option<f64>,
}

/// The model for coils with metal about them, s = j 2 pi f: (1 + s zero)/((1 + s pole)(1 + s/(Q w0) + s^2/w0^2)).
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
