//! Documents of setting a rig up: the strongest clean level, and what the two inputs are.

use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit};
use crate::rig::{Rig, Used};
use crate::setup::edit::{Change, Replaced, Value, rounded};
use crate::setup::inputs::{Loading, Pair, Part};
use crate::setup::level::{Bend, End, Limits, Step};

/// The levels tried: `coilwright/level/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LevelDocument {
    pub schema: String,
    pub rig: String,
    pub steps: Vec<StepTried>,
    /// The strongest clean one; null where none was.
    pub level_dbfs: Option<f64>,
    pub limit_dbfs: f64,
    /// Why it went no higher: "limit", "pickup-room", "reference-room", "output-bends", "input-bends", "nothing-heard", "no-pickup".
    pub end: String,
    /// What it means, and what to turn.
    pub advice: Vec<String>,
    /// Values of the rig file that gave way.
    #[serde(default)]
    pub replaced: Vec<Replaced>,
    pub simulated: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepTried {
    pub level_dbfs: f64,
    pub pickup_dbfs: Option<f64>,
    pub reference_dbfs: Option<f64>,
    /// Harmonics of the output over the tone; null where they are hidden in the noise.
    pub output_distortion_db: Option<f64>,
    /// Those that the pickup's input adds.
    pub input_distortion_db: Option<f64>,
    /// No more than this of either is there; null where a tone is not heard.
    pub at_most_db: Option<f64>,
    pub clean: bool,
}

fn seen(b: Bend) -> Option<f64> {
    match b {
        Bend::Seen(db) => Some(db),
        Bend::Below(_) | Bend::Unknown => None,
    }
}

/// A pickup under an exciter of a few turns comes out within some 20 dB of the reference, a few metres of loose lead far below.
const FAR_BELOW_DB: f64 = -40.0;
/// Peaks of a pickup below this leave noise that need not be there.
const FAINT_DBFS: f64 = -30.0;

impl LevelDocument {
    pub fn of(rig: &Rig, steps: &[Step], end: End, limits: &Limits, simulated: bool) -> Self {
        let best = steps
            .iter()
            .rev()
            .find(|s| s.clean(limits))
            .filter(|_| end != End::NoPickup)
            // What bends at the next level may have hidden at this one.
            .filter(|s| !(matches!(end, End::OutputBends | End::InputBends) && s.hidden(limits).is_some()));
        let clean_to_the_end = steps.last().is_some_and(|s| s.clean(limits));
        let mut advice = vec![
            match end {
                End::Limit if clean_to_the_end && best.is_some_and(|s| s.hidden(limits).is_none()) => {
                    "Stopped at the limit that was set; the rig is clean there."
                }
                End::Limit if clean_to_the_end => "Stopped at the limit that was set; nothing unclean was seen.",
                End::Limit => "Stopped at the limit that was set, where it is not clean.",
                End::PickupRoom => "The pickup's input has no more room: for a stronger drive turn its gain down.",
                End::ReferenceRoom => "The reference's input has no more room: for a stronger drive turn its gain down.",
                End::OutputBends => "The output bends from there on: another output, or less load on it, would bear more.",
                End::InputBends => "The pickup's input bends from there on: turn its gain down.",
                End::NothingHeard => match steps.last() {
                    Some(s) if s.reference_heard => {
                        "Nothing comes back from the pickup: look at its lead, its input and the exciter's place. It was not driven harder."
                    }
                    Some(s) if s.pickup_heard => {
                        "Nothing comes back on the reference: look at its lead and input, and the exciter box. It was not driven harder."
                    }
                    _ => {
                        "Nothing comes back on the reference or from the pickup: look at the output's knob, the reference's lead and the exciter, then at the pickup's lead. It was not driven harder."
                    }
                },
                End::NoPickup => {
                    "Both inputs get one and the same signal: no pickup answers. Plug the pickup into its input, lay it into its place, and run this again."
                }
            }
            .to_owned(),
        ];
        if let Some(peak) = best.and_then(|s| s.pickup_dbfs).filter(|p| *p < FAINT_DBFS) {
            advice.push(format!(
                "The pickup's peak stands at {peak:.0} dBFS: some {:.0} dB more gain on its input would lower the noise. Then run \
                 this again.",
                (FAINT_DBFS - peak + 10.0).min(60.0)
            ));
        }
        if let Some(db) = best.and_then(|s| s.hidden(limits)) {
            let would_tell = match end {
                End::Limit => ": more gain on the pickup's input, or a higher --limit, would tell",
                _ => "",
            };
            advice.push(format!(
                "The noise may hide up to {:.1} % of distortion there{would_tell}.",
                100.0 * 10f64.powf(db / 20.0)
            ));
        }
        let faint = |s: &Step| {
            let (p, r) = (s.pickup_dbfs?, s.reference_dbfs?);
            (p - r < FAR_BELOW_DB).then_some(r - p)
        };
        if let Some(db) = best.and_then(faint) {
            advice.push(format!(
                "It answers {db:.0} dB below the reference: is the pickup plugged in, its winding whole, and the exciter over it?"
            ));
        }
        LevelDocument {
            schema: "coilwright/level/1".into(),
            rig: rig.name.clone(),
            steps: steps
                .iter()
                .map(|s| StepTried {
                    level_dbfs: s.level_dbfs,
                    pickup_dbfs: s.pickup_dbfs,
                    reference_dbfs: s.reference_dbfs,
                    output_distortion_db: seen(s.output_bends),
                    input_distortion_db: seen(s.input_bends),
                    at_most_db: s.at_most(),
                    clean: s.clean(limits),
                })
                .collect(),
            level_dbfs: best.map(|s| (10.0 * s.level_dbfs).floor() / 10.0),
            limit_dbfs: limits.most_dbfs,
            end: match end {
                End::Limit => "limit",
                End::PickupRoom => "pickup-room",
                End::ReferenceRoom => "reference-room",
                End::OutputBends => "output-bends",
                End::InputBends => "input-bends",
                End::NothingHeard => "nothing-heard",
                End::NoPickup => "no-pickup",
            }
            .into(),
            advice,
            replaced: Vec::new(),
            simulated,
        }
    }

    /// What goes into the rig file.
    pub fn changes(&self, used: &Used, day: &str) -> Vec<Change> {
        let mut out = bound(used);
        out.push(("interface", "level_dbfs", self.level_dbfs.map(Value::Number)));
        out.push(("interface", "level_measured", Some(Value::Text(day.into()))));
        out
    }
}

/// The two inputs: `coilwright/inputs/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InputsDocument {
    pub schema: String,
    pub rig: String,
    pub output: String,
    pub input: String,
    pub rate_hz: u32,
    /// Channel 1 over channel 2, from the wire alone; null for a take through a part.
    pub gain_db: Option<Estimate>,
    /// Channel 1 after channel 2.
    pub delay_s: Option<Estimate>,
    /// Corners of the AC coupling.
    pub ac_pickup_hz: Option<Estimate>,
    pub ac_reference_hz: Option<Estimate>,
    /// Whether the corners are told well enough to be written; else each take finds them.
    pub corners_told: bool,
    /// The part in line, in ohms or farads.
    pub through_ohm: Option<f64>,
    pub through_f: Option<f64>,
    /// Resistance of the pickup's input; null where it is too large to be told.
    pub resistance_ohm: Option<Estimate>,
    /// Capacitance of that input and its lead together.
    pub capacitance_f: Option<Estimate>,
    /// What neither this nor the noise explains, rms.
    pub misfit_db: f64,
    pub reduced_chi2: f64,
    /// Values of the rig file that gave way.
    #[serde(default)]
    pub replaced: Vec<Replaced>,
    pub simulated: bool,
}

/// A corner less certain than this is better left to each take.
const CORNER_TOLD_HZ: f64 = 0.5;

impl InputsDocument {
    fn new(rig: &Rig, used: &Used, simulated: bool) -> Self {
        InputsDocument {
            schema: "coilwright/inputs/1".into(),
            rig: rig.name.clone(),
            output: used.output.clone(),
            input: used.input.clone(),
            rate_hz: used.rate_hz,
            gain_db: None,
            delay_s: None,
            ac_pickup_hz: None,
            ac_reference_hz: None,
            corners_told: false,
            through_ohm: None,
            through_f: None,
            resistance_ohm: None,
            capacitance_f: None,
            misfit_db: 0.0,
            reduced_chi2: 0.0,
            replaced: Vec::new(),
            simulated,
        }
    }

    pub fn wire(rig: &Rig, used: &Used, simulated: bool, p: &Pair) -> Self {
        InputsDocument {
            gain_db: Some(p.gain_db),
            delay_s: Some(p.delay_s),
            ac_pickup_hz: Some(p.ac_pickup_hz),
            ac_reference_hz: Some(p.ac_reference_hz),
            corners_told: p.ac_pickup_hz.u.max(p.ac_reference_hz.u) <= CORNER_TOLD_HZ,
            misfit_db: p.misfit_db,
            reduced_chi2: p.reduced_chi2,
            ..InputsDocument::new(rig, used, simulated)
        }
    }

    pub fn through(rig: &Rig, used: &Used, simulated: bool, part: Part, l: &Loading) -> Self {
        let (through_ohm, through_f) = match part {
            Part::Resistor(ohm) => (Some(ohm), None),
            Part::Capacitor(farad) => (None, Some(farad)),
        };
        InputsDocument {
            through_ohm,
            through_f,
            resistance_ohm: l.ohm(),
            capacitance_f: Some(l.farad),
            misfit_db: l.misfit_db,
            reduced_chi2: l.reduced_chi2,
            ..InputsDocument::new(rig, used, simulated)
        }
    }

    /// What goes into the rig file, with its uncertainty. `lead`: what the file states of the lead alone, which cannot be more
    /// than was measured of input and lead together; unstated, it is counted into the input, and said to be.
    pub fn changes(&self, used: &Used, lead: Option<f64>, range: Option<&str>, day: &str) -> Result<Vec<Change>> {
        let lead_f = lead.unwrap_or(0.0);
        if let Some(c) = self.capacitance_f.filter(|c| c.value - lead_f < -2.0 * c.u) {
            let show = |f: f64| quantity::show(f, Unit::Farad, 3);
            return Err(Failure::new(
                format!(
                    "the file says the lead alone has {}, and input and lead together were measured as {}; nothing was written",
                    show(lead_f),
                    show(c.value)
                ),
                "correct lead_capacitance_f in the rig file, or take it out, and measure again",
            ));
        }
        let mut out = bound(used);
        let mut put = |key: &'static str, tolerance: &'static str, e: Option<Estimate>| {
            if let Some(e) = e {
                out.push(("input", key, Some(Value::Number(rounded(e.value, e.u)))));
                out.push(("input", tolerance, Some(Value::Number(up(e.u)))));
            }
        };
        put("gain_db", "gain_tolerance_db", self.gain_db);
        put("delay_s", "delay_tolerance_s", self.delay_s);
        if self.corners_told {
            put("ac_pickup_hz", "ac_pickup_tolerance_hz", self.ac_pickup_hz);
            put("ac_reference_hz", "ac_reference_tolerance_hz", self.ac_reference_hz);
        } else if self.gain_db.is_some() {
            for key in [
                "ac_pickup_hz",
                "ac_pickup_tolerance_hz",
                "ac_reference_hz",
                "ac_reference_tolerance_hz",
            ] {
                out.push(("input", key, None));
            }
        }
        if let Some(c) = self.capacitance_f {
            let alone = (c.value - lead_f).max(0.0);
            out.push(("input", "capacitance_f", Some(Value::Number(rounded(alone, c.u)))));
            out.push(("input", "capacitance_tolerance_f", Some(Value::Number(up(c.u)))));
            if lead.is_none() {
                out.push(("input", "lead_capacitance_f", Some(Value::Number(0.0))));
            }
            let ohm = self.resistance_ohm;
            out.push((
                "input",
                "resistance_ohm",
                ohm.map(|r| Value::Number(rounded(r.value, r.u))),
            ));
            out.push((
                "input",
                "resistance_tolerance",
                ohm.map(|r| Value::Number(up(r.u / r.value))),
            ));
        }
        let measured = if self.gain_db.is_some() {
            "inputs_measured"
        } else {
            "loading_measured"
        };
        out.push(("interface", measured, Some(Value::Text(day.into()))));
        if let Some(range) = range {
            out.push(("interface", "range", Some(Value::Text(range.into()))));
        }
        Ok(out)
    }
}

/// An uncertainty on two digits, rounded up.
fn up(u: f64) -> f64 {
    if !(u > 0.0 && u.is_finite()) {
        return u;
    }
    let scale = 10f64.powi(1 - u.log10().floor() as i32);
    let r = (u * scale).ceil() / scale;
    if r.is_finite() { r } else { u }
}

/// What the values belong to.
pub fn bound(used: &Used) -> Vec<Change> {
    let channel = |c: u32| Some(Value::Whole(i64::from(c)));
    let mut out = vec![
        ("interface", "output", Some(Value::Text(used.output.clone()))),
        ("interface", "input", Some(Value::Text(used.input.clone()))),
        ("interface", "rate_hz", Some(Value::Whole(i64::from(used.rate_hz)))),
        ("interface", "pickup_channel", channel(used.pickup_channel)),
    ];
    // A take of one channel leaves the other where it is.
    if let Some(c) = used.reference_channel {
        out.push(("interface", "reference_channel", channel(c)));
    }
    out
}
