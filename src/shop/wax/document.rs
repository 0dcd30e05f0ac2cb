//! The `coilwright/potting/1` document: numbers and codes. `text`, `knock_text` and `notes` say the same in words, and are put in
//! where it is shown.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;

pub const SCHEMA: &str = "coilwright/potting/1";

/// Up to which a change is none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Limits { f0: 0.005, q: 0.05 }
    }
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct PottingDocument {
    #[schemars(extend("const" = SCHEMA))]
    pub schema: &'static str,
    pub limits: Limits,
    /// The rig whose days the changes are judged by; null where it has no history, and they are usual values.
    pub rig: Option<String>,
    pub pairs: Vec<Pair>,
    /// What stayed out of the wax, and what became of it all the same.
    #[serde(default)]
    pub stayed: Vec<Stayed>,
    /// What laying a pickup down anew does, by the records themselves; null where none was measured twice on a side, or where the
    /// rig has a study of it.
    #[serde(default)]
    pub laying: Option<Laying>,
    /// Of all pairs that could be read, but for those to be looked at; null below two.
    pub lot: Option<Lot>,
    /// Names that were found on one side only.
    pub unpaired: Vec<String>,
    #[serde(skip)]
    pub remarks: Vec<Remark>,
    /// The remarks in words.
    pub notes: Vec<String>,
    /// Some of the records are of the built-in bench.
    #[serde(default)]
    pub simulated: bool,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PotVerdict {
    Unchanged,
    Wax,
    Other,
    #[default]
    CannotTell,
    Warm,
}

/// What a verdict rests on.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "code", rename_all = "kebab-case")]
pub enum Reason {
    /// The winding's resistance is another one, by more than warmth makes: relative, brought to one temperature.
    Resistance {
        relative: f64,
    },
    /// The winding's ohms are not back: relative to what they were, the room not known.
    OhmsNotBack {
        relative: f64,
    },
    /// Out of the wax for too short a time.
    TooSoon {
        rested_h: f64,
    },
    /// By the winding's resistance: its temperature, and how far that is above the room's.
    WarmWinding {
        celsius: f64,
        above_k: f64,
    },
    NoReadingBefore,
    NoReadingAfter,
    NoRigFile,
    TwoRigs {
        rigs: String,
    },
    /// Keys of the rig's file by which the readings were worked out otherwise, where not all could be read again.
    Unlike {
        keys: String,
    },
    /// The days that are known are another rig's.
    OtherRig {
        rigs: String,
        days_of: String,
    },
    /// Something on the bench was changed between them.
    BenchChanged {
        what: String,
    },
    TwoLoads,
    SignTurned,
    WithinLimits,
    /// The check of that day found the rig changed.
    WitnessNoGo {
        day: String,
    },
    /// The witness's f0 moved by more than days move it: relative.
    WitnessMoved {
        relative: f64,
    },
    /// Those that stayed out of the wax contradict each other.
    StayedContradict,
    /// f0 up, Q down.
    ShortedTurns,
    MoreLoss,
    F0Up,
    LessLoss,
    /// More capacitance than wax can bring.
    TooMuchCapacitance,
    AsWaxDoes,
    #[default]
    Unsure,
}

/// What is to be said of all pairs together, or of what was left out.
#[derive(Debug, Clone, PartialEq)]
pub enum Remark {
    /// So many records of a pickup with two coils do not say which they are of.
    CoilUntold(String, usize),
    /// So many readings of a pickup.
    WarmLeftOut(String, usize),
    /// What the rig does from day to day is a usual value.
    UsualDays,
    /// The same of Q alone.
    UsualDaysOfQ,
    /// What laying down anew does was counted in these records.
    LaidHere(Laying),
    /// One that stayed out tells nothing of some pair.
    StayedUnfit(String, Unfit),
    /// The witness's checks are of so few days.
    FewDays(usize),
    /// What laying down anew does is a usual value.
    UsualLaying,
    WitnessUnchecked,
    /// It has more across it than these pickups, and is laid down anew for each check.
    WitnessTellsLittle,
    SimulatedAndReal,
    ColdByResistance,
    TwoMeters,
    /// Nothing says of so many that they had cooled; `None`: of any.
    ColdUntold(Option<usize>),
    /// Said to have rested, and yet so many kelvins above the room.
    RestedYetWarm(Vec<(String, f64)>),
    RestedTooLong {
        rested_h: f64,
        apart_h: f64,
    },
}

/// Why one that stayed out of the wax tells nothing of a pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    OneSide,
    NoReading,
    /// Two rigs or loads.
    NotAlike,
    OtherSitting,
    /// In Q, or in sign: by more than a day does.
    Changed,
}

/// What laying a pickup down anew does, counted from records of one pickup on one day: standard deviations of one placement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Laying {
    pub placements: usize,
    /// Degrees of freedom.
    pub freedom: usize,
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
    pub peak_db: Option<f64>,
    pub level_db: Option<f64>,
}

/// Before and after, as it was read: nothing is taken off.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, JsonSchema)]
pub struct Read {
    pub f0_hz: [Option<f64>; 2],
    pub peak_db: [Option<f64>; 2],
    /// By one ohmmeter.
    pub ohm: [Option<f64>; 2],
    /// The ohms are brought to 20 degrees.
    pub at_20: bool,
}

/// A pickup that stayed out of the wax.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Stayed {
    pub pickup: String,
    /// Ids of the records.
    pub before: Vec<String>,
    pub after: Vec<String>,
    pub read: Read,
    /// Its own change of f0 and of Q, by noise and laying down alone; null where it has no reading of one kind on either side.
    pub changed: Option<[Decided; 2]>,
}

/// Clearly less than its mates in the same dip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct TookLess {
    /// Change of the winding's capacitance, and the mean of its mates', in farads.
    pub c_f: f64,
    pub mates_c_f: f64,
    /// By how this shop's wax has scattered before; else by how this dip does.
    pub by_history: bool,
}

/// What decided on one quantity.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, JsonSchema)]
pub struct Decided {
    /// Natural logarithm of after over before, freed of what the witness, or what stayed out of the wax, saw these days do.
    pub difference: f64,
    /// Half-width of its 95 % interval: of f0 and Q jointly where they differ, else of this one alone.
    pub half_95: f64,
    pub limit: f64,
}

/// After less before. u holds laying down anew and the rig's days, Student's factor counted in: 1.96 u is the half-width of the
/// 95 % interval.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct Pair {
    pub pickup: String,
    /// Ids of the records.
    pub before: Vec<String>,
    pub after: Vec<String>,
    #[serde(default)]
    pub read: Read,
    /// Names of those that stayed out of the wax, whose own change is taken off this one's.
    #[serde(default)]
    pub carried_by: Vec<String>,
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
    /// Keys of the rig's file for which nobody can tell the change of the level: not the same in these readings, of which not all
    /// could be read again.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub level_unlike: Vec<String>,
    /// Change of the winding's capacitance.
    pub c_f: Option<Estimate>,
    /// Of f0 and of Q; null where nothing was asked.
    #[serde(default)]
    pub decided: Option<[Decided; 2]>,
    pub verdict: PotVerdict,
    #[serde(default)]
    pub reason: Reason,
    /// Hour at which a warm coil is to be measured again, by the clock of its last record.
    #[serde(default)]
    pub again_at: Option<String>,
    /// Change of the level of taps; null where one side was not tapped, or on another rig, under another load, or warm. Says
    /// nothing for the verdict.
    #[serde(default)]
    pub knock_db: Option<Estimate>,
    /// The same in words.
    #[serde(default)]
    pub knock_text: Option<String>,
    /// Of f0 and Q being within the limits, the larger one: below 0.025 they are.
    pub p_equivalence: Option<f64>,
    /// So many more readings after the wax would most likely tell, each laid down anew; null where it is told, or where no number
    /// of readings would help.
    pub repeats_needed: Option<u32>,
    /// Those are to be of so many days.
    #[serde(default)]
    pub on_days: bool,
    /// Held against what this shop's wax has done before; null where that is not known. It has no say in the verdict.
    pub usual: Option<Usual>,
    /// Null where it took as much as its mates, or where that cannot be told. It has no say in the verdict.
    #[serde(default)]
    pub took_less: Option<TookLess>,
    /// The reason in words.
    pub text: String,
}

impl Pair {
    /// On two rigs, under two loads or without the rig's days there is no test, and nothing to learn of the wax; nor from what was warm,
    /// or is to be looked at.
    pub(super) fn is_of_wax(&self) -> bool {
        self.p_equivalence.is_some() && !matches!(self.verdict, PotVerdict::Other | PotVerdict::Warm)
    }
}

/// What this shop's wax usually does: where the next change lies with 95 % probability.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
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

#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Lot {
    pub pairs: usize,
    /// Mean change and its standard error, relative (natural logarithm).
    pub f0: f64,
    pub f0_se: f64,
    /// Probability of such a mean by chance, by the pairs' own scatter (paired t test).
    pub p: f64,
    /// Mean change of Q, relative.
    #[serde(default)]
    pub q: f64,
    /// Of the means of f0 and of Q: by the pairs' own scatter, and the rig's days, which all pairs share.
    #[serde(default)]
    pub decided: [Decided; 2],
    /// Mean change of the windings' capacitance in farads.
    pub c_f: f64,
    /// Half-width of the 95 % interval: the rig's days, and what is not known of winding and input, counted in.
    #[serde(default)]
    pub c_f_half_95: f64,
    /// Of all together.
    #[serde(default)]
    pub verdict: PotVerdict,
}
