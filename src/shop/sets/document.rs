//! The `coilwright/sets/1` document.

use serde::Serialize;

use super::figure::Term;
use crate::record::about::{Pole, Winding};
use crate::shop::yardstick::{Answer, Quantity};

pub const SCHEMA: &str = "coilwright/sets/1";

/// The best sets of the pickups that are there. Differences are logarithms of ratios, of the level dB.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sets {
    pub schema: String,
    /// What a set was to be.
    pub places: Vec<PlaceAsked>,
    /// How each figure counts that a place was asked for.
    pub terms: Vec<Term>,
    /// Figures that would have counted, but are not known of all.
    pub not_counted: Vec<Quantity>,
    /// The rig of all readings.
    pub rig: Option<String>,
    /// Their load, in the command line's notation; null where it was not told.
    pub load: Option<String>,
    pub simulated: bool,
    /// The least sum first.
    pub sets: Vec<Set>,
    pub proof: Proof,
    /// Pickups that are in no set.
    pub left_over: Vec<Over>,
    /// Pickups that sets were not made of, and why.
    pub left_out: Vec<Out>,
    /// What to wind next; null where no pickup alone makes another set.
    pub next: Option<Next>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlaceAsked {
    /// "neck", "middle", "bridge" or "any".
    pub place: String,
    /// How far from the first it was to be; of the first nothing.
    pub target: Vec<Target>,
    /// Wound the other way round than the first, the other pole up.
    pub reversed: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Target {
    pub figure: Quantity,
    pub difference: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Set {
    /// In the order of the places.
    pub members: Vec<Member>,
    /// Of the squares of all deviations, each in units of what matters, times its weight.
    pub sum: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Member {
    pub pickup: String,
    /// Of its reading.
    pub record: String,
    pub place: String,
    pub peak_hz: Option<f64>,
    pub q: Option<f64>,
    pub level_db: Option<f64>,
    pub r20_ohm: Option<f64>,
    /// From where it was to be beside the first.
    pub deviations: Vec<Deviation>,
    /// The pickup that would do as well in its place, as far as was measured; null where none would.
    pub as_well: Option<AsWell>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AsWell {
    pub pickup: String,
    /// The set that it is in, counted from 1, which would have the other instead; null: it is left over.
    pub set: Option<usize>,
    /// What the sums would be more.
    pub more: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Deviation {
    pub figure: Quantity,
    pub off: f64,
    /// Half-width of its 95 % interval.
    pub half: f64,
    /// It leans on a usual value, which promises nothing.
    pub usual: bool,
    /// Whether it is within the limit: "same", that it is for sure; "cannot-tell": near it.
    pub within: Answer,
}

/// How good the choice is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Proof {
    /// No other choice makes more sets, nor as many with a smaller sum.
    pub best: bool,
    pub sum: f64,
    /// No choice makes more.
    pub sets_at_most: usize,
    /// No choice of as many sets has a smaller sum.
    pub sum_at_least: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Over {
    pub pickup: String,
    pub place: String,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Out {
    pub pickup: String,
    pub why: WhyOut,
    /// What was not told, or the keys of the rig's file.
    pub what: Vec<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyOut {
    NoReading,
    OtherRig,
    OtherLoad,
    OtherCoil,
    /// Simulated among real ones, or the other way round.
    Simulated,
    /// Read by another model.
    Definition,
    /// The rig's file stated something otherwise.
    RigFile,
    /// Something is asked for and nobody told it.
    NotTold,
    /// The set has no place for its position.
    NoPlace,
}

impl Out {
    pub(super) fn new(pickup: &str, why: WhyOut, what: Vec<String>) -> Out {
        let pickup = pickup.to_owned();
        Out { pickup, why, what }
    }
}

/// The pickup that makes one set more with what is left over.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Next {
    pub place: String,
    /// Sets that lack only this one, and that it would complete any of.
    pub completes: usize,
    /// Sets that lack only such a one.
    pub of: usize,
    /// Within these it does.
    pub ranges: Vec<Range>,
    pub spacing_m: Option<f64>,
    /// Null, as the next: not asked for.
    pub winding: Option<Winding>,
    pub magnet: Option<Pole>,
}

/// In hertz, dB or ohms at 20 degC; of Q a plain number.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Range {
    pub figure: Quantity,
    pub from: f64,
    pub to: f64,
    /// Where it is to be, for finding the next one.
    #[serde(skip)]
    pub(super) wanted: f64,
}
