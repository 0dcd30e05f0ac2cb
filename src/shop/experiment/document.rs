//! The `coilwright/experiment/1` document.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::shop::difference::Judged;
use crate::stats::Answer;

pub const SCHEMA: &str = "coilwright/experiment/1";

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExperimentDocument {
    pub schema: String,
    /// The word of the recipe that was asked for; null where groups were.
    pub word: Option<String>,
    /// All of them count together: the more is asked, the wider each interval is.
    pub comparisons: Vec<Compared>,
    pub left_out: Vec<LeftOut>,
    pub simulated: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeftOut {
    pub name: String,
    pub why: WhyOut,
}

impl LeftOut {
    pub(super) fn all(names: BTreeSet<&str>, why: WhyOut) -> Vec<LeftOut> {
        let each = names.into_iter().map(str::to_owned);
        each.map(|name| LeftOut { name, why }).collect()
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyOut {
    NoReading,
    /// Load, coil or bench are not those of the most that both sides have.
    OtherKind,
    /// It stands on both sides, and most do not.
    BothSides,
    /// It stands on one side, and most stand on both.
    OneSide,
    /// Nobody else has its recipe but for this word.
    NoCounterpart,
}

/// The second group less the first.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Compared {
    pub cause: Cause,
    /// Words of the recipe that are one thing in the first group and another in the second.
    pub changed: Vec<Changed>,
    /// Words that are not the same within a group.
    pub mixed: Vec<String>,
    /// Words that some of them do not tell.
    pub untold: Vec<String>,
    pub sides: [Side; 2],
    /// Each pickup against itself.
    pub paired: bool,
    /// The groups were not measured on the same days, in equal shares.
    pub other_days: bool,
    /// Nor on one rig as it was, in equal shares.
    pub other_rigs: bool,
    /// Whether the groups differ; what did it, `cause` says.
    pub answer: Answer,
    /// Why nobody can tell, where that is not a matter of how well it was measured.
    pub why: Option<Why>,
    pub effects: Vec<Effect>,
}

/// Whether what the groups differ by is known to come of one thing.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// One word was changed, and all else that is told is the same.
    OneWord,
    /// Nobody can tell which of them did it.
    SeveralWords,
    /// A word is not the same within a group, or not told of all.
    Unclear,
    /// The recipes are the same.
    NothingChanged,
    /// No recipe is told.
    #[default]
    NotTold,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Changed {
    pub word: String,
    pub first: String,
    pub second: String,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Side {
    pub pickups: Vec<String>,
    pub readings: usize,
    pub days: usize,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// No load, coil and bench that both sides have.
    NothingInCommon,
    /// One pickup a side: how pickups scatter is not known.
    OnePickup,
}

/// What it did to one quantity.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Effect {
    #[serde(flatten)]
    pub judged: Judged,
    /// Means in the quantity's own unit; of frequencies, Q and ohms geometric ones.
    pub means: [f64; 2],
    /// So many pickups in each.
    pub pickups: [usize; 2],
    /// The ohmmeter, where it has a name.
    pub meter: Option<String>,
    /// The pickups scatter so little that how they are measured is what counts.
    pub by_measuring: bool,
}
