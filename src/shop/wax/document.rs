//! The `coilwright/potting/1` document.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Limits, SCHEMA};
use crate::estimate::Estimate;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PottingDocument {
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    pub limits: Limits,
    /// By which a pair's u is multiplied for its 95 % interval: Student's t with the freedom of the rig's days. Without them u is
    /// the takes' noise alone.
    #[serde(default = "one")]
    pub coverage: f64,
    /// The rig whose days the changes are judged by; null where it has no history.
    pub rig: Option<String>,
    pub pairs: Vec<Pair>,
    /// Of all pairs that could be read, but for those to be looked at; null below two.
    pub lot: Option<Lot>,
    /// Names that were found on one side only.
    pub unpaired: Vec<String>,
    pub notes: Vec<String>,
    /// Some of the records are of the built-in bench.
    #[serde(default)]
    pub simulated: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PotVerdict {
    Unchanged,
    Wax,
    Other,
    CannotTell,
    Warm,
}

/// After less before; u holds the rig's days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pair {
    pub pickup: String,
    /// Ids of the records.
    pub before: Vec<String>,
    pub after: Vec<String>,
    pub f0_hz: Option<Estimate>,
    /// What f0 was before.
    #[serde(default)]
    pub f0_before_hz: Option<f64>,
    /// The same over the value before.
    pub f0_relative: Option<f64>,
    pub q: Option<Estimate>,
    /// The same over the value before.
    pub q_relative: Option<f64>,
    pub peak_db: Option<Estimate>,
    pub level_db: Option<Estimate>,
    /// Change of the winding's capacitance.
    pub c_f: Option<Estimate>,
    pub verdict: PotVerdict,
    /// Change of the level of taps; null where one side was not tapped, or on another rig, under another load, or warm. Says
    /// nothing for the verdict.
    #[serde(default)]
    pub knock_db: Option<Estimate>,
    /// The same in words.
    #[serde(default)]
    pub knock_text: Option<String>,
    /// Of f0 and Q being within the limits, the larger one: below 0.05 they are.
    pub p_equivalence: Option<f64>,
    /// On so many days before and after the verdict could be told; null where it can, or where no number of days would help.
    pub repeats_needed: Option<u32>,
    /// Held against what this shop's wax has done before; null where that is not known. It has no say in the verdict.
    pub usual: Option<Usual>,
    pub text: String,
}

/// What this shop's wax usually does: where the next change lies with 95 % probability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Usual {
    /// So many changes before this one.
    pub changes: usize,
    /// Of the winding's capacitance, from and to.
    pub c_f: [f64; 2],
    /// Of Q, relative, from and to.
    pub q: [f64; 2],
    /// Whether this change lies within both.
    pub within: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Lot {
    pub pairs: usize,
    /// Mean change and its standard error, relative (natural logarithm).
    pub f0: f64,
    pub f0_se: f64,
    /// Standard uncertainty of the mean: the rig's days, which all pairs share, counted in where it has a history.
    #[serde(default)]
    pub f0_u: f64,
    /// Half-width of the 95 % interval, by Student's t with the freedom of both parts.
    #[serde(default)]
    pub f0_half_95: f64,
    /// Probability of such a mean by chance, by the pairs' own scatter (paired t test).
    pub p: f64,
    /// Mean change of Q and its standard uncertainty, relative.
    #[serde(default)]
    pub q: f64,
    #[serde(default)]
    pub q_u: f64,
    /// Mean change of the windings' capacitance in farads, and its standard error.
    pub c_f: f64,
    pub c_f_se: f64,
    /// Half-width of the 95 % interval: the rig's days, and what is not known of winding and input, counted in.
    #[serde(default)]
    pub c_f_half_95: f64,
    /// Of the means of f0 and Q being within the limits, the larger one (two one-sided tests); without a history of the rig by the
    /// pairs' own scatter.
    #[serde(default = "one")]
    pub p_equivalence: f64,
    /// Of all together.
    #[serde(default = "untold")]
    pub verdict: PotVerdict,
}

fn one() -> f64 {
    1.0
}

fn untold() -> PotVerdict {
    PotVerdict::CannotTell
}
