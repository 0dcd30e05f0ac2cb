//! The `coilwright/returned/1` document.

use serde::Serialize;

use crate::record::{Code, Record};
use crate::shop::difference::{Comparison, Judged};
use crate::shop::yardstick::Answer;

pub const SCHEMA: &str = "coilwright/returned/1";

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Returned {
    pub schema: String,
    pub pickup: String,
    pub verdict: Verdict,
    /// What the change looks like, the likeliest first; empty where nothing changed, or nobody can tell.
    pub looks: Vec<Look>,
    /// Why nobody can tell, where that is not a matter of how well it was measured.
    pub why: Option<Why>,
    pub left: Side,
    pub today: Side,
    /// Both readings side by side, where they were made under one load.
    pub compared: Option<Comparison>,
    /// Today's freed of its load and rig by the pickup's coil, where they were not.
    pub freed: Option<Freed>,
    pub ohms: Option<OhmsMoved>,
    pub magnet: Magnet,
    /// Takes of the built-in bench.
    pub simulated: bool,
    /// All of it in a sentence.
    pub text: String,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    Unchanged,
    Changed,
    #[default]
    CannotTell,
}

/// One of the two readings.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Side {
    pub id: String,
    pub taken_at: String,
    pub rig: Option<String>,
    /// Null: not told.
    pub load: Option<String>,
    pub peak_hz: Option<f64>,
}

impl Side {
    pub(super) fn of(record: &Record) -> Side {
        Side {
            id: record.id.clone(),
            taken_at: record.taken_at.clone(),
            rig: record.rig.name.clone(),
            load: record.load.as_ref().map(|l| l.text.clone()),
            peak_hz: record.reading().and_then(|r| r.peak_hz).map(|p| p.value),
        }
    }
}

/// What a change looks like.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "looks", rename_all = "kebab-case")]
pub enum Look {
    /// Nothing comes out: a lead or the winding is broken, or they touch. `feed`: what comes through the air alone was heard.
    Dead { feed: bool },
    /// Turns of the winding touch, this share of them.
    TurnsShorted { share: f64 },
    /// Metal that was not there, or was insulated: a cover, a plate. An exciter hears it as it hears shorted turns.
    Metal,
    /// More capacitance across the winding, as wax or damp bring.
    Wax { farad: f64 },
    /// More than wax can bring: a lead, a cable, a capacitor.
    Capacitance { farad: f64 },
    /// Less than there was: dried out, washed out, or something is off that hung there.
    LessCapacitance { farad: f64 },
    /// Something hangs across it: a pot.
    Resistor { ohm: f64 },
    /// Both: controls, or a pot and a cable.
    Controls { ohm: f64, farad: f64 },
    /// This share of the winding is left: one of two coils is bridged.
    CoilBridged { share: f64 },
    /// So many times the winding: one of two coils that lay side by side is open.
    CoilOpen { share: f64 },
    /// Another coil; `like`: others that left as this one reads.
    AnotherCoil { like: Vec<String> },
    /// The sign alone: its leads are changed over.
    Turned,
    /// The level alone: it lay otherwise, or its iron did.
    Level,
    /// Flux density at the poles, today's over that it left with, by one probe.
    Magnet { ratio: f64 },
    /// The other pole is up.
    MagnetTurned,
}

/// Why nobody can tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum Why {
    /// The reading it left with is none.
    NeverRead,
    /// Today's take is none: another one may be.
    NoReading { finding: Option<Code> },
    /// Over two coils of the pickup.
    OtherCoil { left: String, today: String },
    /// One is of the built-in bench, one is not.
    Simulated,
    /// What hung on it is told of one of them only.
    LoadNotTold,
    /// Under two loads, or on two inputs, and its coil is not known.
    OtherLoad,
    /// The same with its coil known, and no peak to free of them.
    NoPeak,
    /// The readings agree and the ohms do not.
    OhmsAlone,
}

/// Today's reading as it would be on the load and the input that the pickup left under.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Freed {
    pub from: String,
    pub to: String,
    pub answer: Answer,
    /// Peak and height.
    pub quantities: Vec<Judged>,
    pub notes: Vec<String>,
}

/// What ohmmeters read, at 20 degrees where both rooms are known.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OhmsMoved {
    pub left_ohm: f64,
    pub today_ohm: f64,
    /// Natural logarithm of their ratio, with its standard uncertainty and the half-width of its 95 % interval.
    pub difference: f64,
    pub u: f64,
    pub half: f64,
    /// On one and the same meter.
    pub one_meter: bool,
    pub answer: Answer,
}

/// What is known of the magnet.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
#[serde(tag = "magnet", rename_all = "kebab-case")]
pub enum Magnet {
    /// An exciter does not hear it, and no probe was held to the poles both times.
    #[default]
    NotHeard,
    /// By one probe: today's over that it left with.
    Read { probe: String, ratio: f64 },
}
