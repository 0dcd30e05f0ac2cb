//! What a take showed, and what follows for its reading.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// "ok", "suspect" (usable: read the findings) or "rejected" (measure again).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    #[default]
    Ok,
    Suspect,
    Rejected,
}

/// How grave a finding is.
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
    // Not flat, but bent: what is loud comes otherwise than what is soft.
    Distorted,
    GainDrift,
    Dropout,
    Transient,
    NoSignal,
    ReferenceMissing,
    LowSnr,
    Hum,
    NoPeak,
    PoorFit,
    InputsDiffer,
    ReferenceLeak,
    CoilsCancel,
    PeakOutsideDrive,
    ChannelsSwapped,
    OpenWinding,
    ClockDrift,
    RateMismatch,
    InputLoading,
}

/// Where that lies which a finding tells of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cure {
    /// In this take alone: the next one may be rid of it.
    AnotherTake,
    /// In the rig, so that every take of it has the same.
    Rig,
    /// In what was measured.
    Pickup,
}

impl Code {
    pub fn cure(self) -> Cure {
        match self {
            Code::Clipped
            | Code::Distorted
            | Code::GainDrift
            | Code::Dropout
            | Code::Transient
            | Code::LowSnr
            | Code::Hum => Cure::AnotherTake,
            Code::InputLoading | Code::ClockDrift | Code::InputsDiffer | Code::ReferenceLeak => Cure::Rig,
            Code::NoSignal
            | Code::ReferenceMissing
            | Code::NoPeak
            | Code::PoorFit
            | Code::CoilsCancel
            | Code::PeakOutsideDrive
            | Code::ChannelsSwapped
            | Code::OpenWinding
            | Code::RateMismatch => Cure::Pickup,
        }
    }
}

/// Something that the take showed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    pub code: Code,
    pub level: Level,
    /// What was seen and what to do about it, for people.
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
