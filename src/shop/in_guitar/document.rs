//! The `coilwright/in-guitar/1` document.

use serde::Serialize;

use crate::record::about::Pole;
use crate::shop::difference::Judged;
use crate::shop::yardstick::Answer;

pub const SCHEMA: &str = "coilwright/in-guitar/1";

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct InGuitar {
    pub schema: String,
    /// The one that came back.
    pub pickup: String,
    pub wiring: String,
    pub answer: Answer,
    /// In the order in which they were measured.
    pub steps: Vec<StepRead>,
    /// Of each two that are heard together.
    pub pairs: Vec<Pair>,
    /// It ended before all of it was measured.
    pub ended_early: bool,
    pub simulated: bool,
    pub notes: Vec<String>,
    /// All of it in a sentence.
    pub text: String,
}

/// One pickup under the exciter, in one position of the switch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepRead {
    pub position: String,
    pub pickup: String,
    /// Id of the record.
    pub record: String,
    pub heard: Heard,
    pub predicted_hz: Option<f64>,
    pub peak_hz: Option<f64>,
    /// Peak, height and level, as far as they are predicted.
    pub quantities: Vec<Judged>,
    /// The winding's sign at the jack, as the exciter lay; null without a reading.
    pub sign: Option<i8>,
    /// The other way round than it left, at the same rig.
    pub turned: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Heard {
    AsPredicted,
    Different,
    CannotTell,
    /// Nothing comes out.
    Dead,
    /// The take gives no reading: another one may.
    NoReading,
}

/// Two pickups that are on together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    pub position: String,
    pub pickups: [String; 2],
    /// Both windings run one way, as the exciter hears them at the jack.
    pub one_way: bool,
    /// Which pole is up; null where nobody told.
    pub poles: [Option<Pole>; 2],
    pub phase: Phase,
}

/// Of what the strings make of two pickups.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    In,
    Out,
    /// An exciter does not hear magnets: a polarity indicator does.
    AskTheIndicator,
}
