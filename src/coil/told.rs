//! What a record tells of what hung on the pickup: its load, and the input of its rig.

use crate::failure::{Failure, Result};
use crate::network::Load;
use crate::network::knob::{Knob, METER, Tolerances, UNIFORM};
use crate::record::{Record, Resonance};

/// How far what hangs on the winding may be from what is told of it. What is left out is as such parts usually are.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stated {
    /// Of the parts of the loads.
    pub parts: Tolerances,
    /// Those of them that were read on one meter, whose error they have in common.
    pub shared: Vec<Knob>,
    /// Half-width of the rig's input, relative: of its resistance, and of its capacitance with the lead. Left out, what the rig
    /// itself states.
    pub input: Option<f64>,
}

/// Half-width of a hand-held ohmmeter's reading where nothing is stated, relative (common practice).
pub const OHMMETER: f64 = 0.01;

/// The same of an input's resistance: that of a resistor as they are sold.
pub(super) const INPUT_OHM: f64 = 0.05;

/// The load that a record tells.
pub fn load_of(record: &Record) -> Result<Load> {
    match &record.load {
        Some(l) => Load::parse(&l.text).map_err(|e| e.at(format!("record {:?}", record.pickup.name))),
        None => Err(Failure::new(
            format!(
                "record {:?} ({}) does not say what hung on the pickup",
                record.pickup.name, record.taken_at
            ),
            "measure with --load, or with --load none where nothing did",
        )),
    }
}

/// Resistance and capacitance of an input as its rig states them, the lead counted in.
pub type Input = (Option<f64>, f64);

pub fn input_of(record: &Record) -> Input {
    let farads = ["input.capacitance_f", "input.lead_capacitance_f"].map(|key| record.rig.number(key));
    (
        record.rig.number("input.resistance_ohm"),
        farads.into_iter().flatten().sum(),
    )
}

/// Standard uncertainties of the two, relative: from a half-width stated for both, else as the rig states them; `None` where
/// neither does.
pub fn input_u(record: &Record, half: Option<f64>) -> [Option<f64>; 2] {
    let (_, farad) = input_of(record);
    match half {
        Some(half) => [Some(UNIFORM * half); 2],
        None => [
            record.rig.number("input.resistance_tolerance"),
            record
                .rig
                .number("input.capacitance_tolerance_f")
                .filter(|_| farad > 0.0)
                .map(|u| u / farad),
        ],
    }
}

/// The same where neither does: a resistor as they are sold, a capacitance as a meter reads it.
pub(super) fn usual_input_u(record: &Record) -> [f64; 2] {
    let (_, farad) = input_of(record);
    let zero = if farad > 0.0 { METER.1 / farad } else { 0.0 };
    [UNIFORM * INPUT_OHM, UNIFORM * METER.0.hypot(zero)]
}

/// What truly hung on the pickup: the load told and the rig's input.
pub fn whole_load(record: &Record) -> Result<Load> {
    let (ohm, farad) = input_of(record);
    Ok(load_of(record)?.with_input(ohm, farad))
}

/// A load as a person would write it.
pub(super) fn spelt(load: &Load) -> String {
    match load.to_string() {
        s if s.is_empty() => "none".into(),
        s => s,
    }
}

pub(super) fn reading(record: &Record) -> Result<&Resonance> {
    record.resonance.as_ref().ok_or_else(|| {
        Failure::new(
            format!("record {:?} has no reading", record.pickup.name),
            "leave it out, or measure again",
        )
    })
}
