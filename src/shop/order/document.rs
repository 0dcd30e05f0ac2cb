//! The `coilwright/lot/1` document.

use serde::Serialize;

use crate::shop::yardstick::Quantity;

pub const SCHEMA: &str = "coilwright/lot/1";

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotDocument {
    pub schema: String,
    pub lot: String,
    /// In the order of making.
    pub pickups: Vec<LotPickup>,
    pub left_out: Vec<LeftOut>,
    /// How many days they were measured on.
    pub days: usize,
    pub quantities: Vec<OfLot>,
    /// Numbers whose sign is not that of most.
    pub turned: Vec<u32>,
    /// Null of fewer than two.
    pub look_first: Option<LookFirst>,
    /// From so many on a lot tells whether one of it is odd, and whether it drifts.
    pub least: usize,
    pub simulated: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotPickup {
    pub number: u32,
    pub name: String,
    /// Of its record.
    pub id: String,
    pub taken_at: String,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LeftOut {
    pub number: u32,
    pub name: String,
    /// In words.
    pub why: String,
}

/// One quantity of the lot. Scatters, limits and distances are natural logarithms of ratios for frequencies, Q and ohms, decibels
/// else; values are in the quantity's own unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OfLot {
    /// "peak", "q", "height", "level" or "ohms".
    pub quantity: Quantity,
    /// The ohmmeter, where it has a name.
    pub meter: Option<String>,
    pub values: Vec<Valued>,
    pub middle: f64,
    pub least: f64,
    pub most: f64,
    /// Standard deviation of the lot.
    pub sd: f64,
    /// The part of it that measuring alone does.
    pub measuring: f64,
    /// A usual value, which promises nothing, is in that.
    pub measuring_usual: bool,
    /// What is left for the pickups themselves; null where measuring may be all of it.
    pub own: Option<f64>,
    pub matters: f64,
    pub matters_usual: bool,
    /// What a lot of so few does not tell is null.
    pub told: Option<Told>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Valued {
    pub number: u32,
    pub value: f64,
    /// From the middle.
    pub off: f64,
}

/// What it takes a lot of some size to tell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Told {
    pub chart: Charted,
    pub odd: Vec<OddOne>,
    pub trend: Trended,
}

/// Limits of the individuals chart, from the middle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Charted {
    pub centre: f64,
    pub low: f64,
    pub high: f64,
    pub beyond: Vec<u32>,
}

/// Far from the others, by Grubbs' test for several.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OddOne {
    pub number: u32,
    /// From the middle.
    pub off: f64,
    /// In standard deviations of the others and itself, and what that had to be beyond.
    pub far: f64,
    pub limit: f64,
    /// It is farther off than what matters.
    pub matters: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trended {
    /// Of a trend as clear by chance.
    pub p: f64,
    /// It is no chance, all quantities taken together.
    pub told: bool,
    /// From the first number to the last, with its 95 % interval; the ends are null where the lot is too small for one.
    pub over_all: f64,
    pub from: Option<f64>,
    pub to: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LookFirst {
    pub number: u32,
    pub name: String,
    pub why: Why,
    /// By which quantities, the strongest first.
    pub quantities: Vec<Quantity>,
    /// What its reading warns of and another take may cure: then measure it again before anything else.
    pub measure_again: Option<String>,
}

/// The gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// Its sign is the other one.
    Turned,
    /// Odd, by more than what matters.
    Odd,
    /// Odd, by less than that.
    OddALittle,
    /// The last one of a lot that drifts, by more than what matters.
    Drift,
    /// Beyond the limits of the chart.
    BeyondChart,
    /// None stands out: the one that is farthest from the middle.
    Farthest,
}
