//! Documents of setting a rig up: the strongest clean level, and what the two inputs are.

use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit};
use crate::rig::{Rig, Used};
use crate::setup::edit::{Change, Replaced, Value, rounded};
use crate::setup::inputs::{Loading, Pair, Part};
use crate::setup::level::{self, Bend, End, Limits, Step};

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
    pub end: End,
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

impl LevelDocument {
    /// `advice` says what it means.
    pub fn of(rig: &Rig, (steps, end): (&[Step], End), limits: &Limits, advice: Vec<String>) -> Self {
        let best = level::best(steps, end, limits);
        LevelDocument {
            schema: "coilwright/level/1".into(),
            rig: rig.name.clone(),
            steps: steps
                .iter()
                .map(|s| StepTried {
                    level_dbfs: s.level_dbfs,
                    pickup_dbfs: s.pickup.peak_dbfs,
                    reference_dbfs: s.reference.peak_dbfs,
                    output_distortion_db: seen(s.output_bends),
                    input_distortion_db: seen(s.input_bends),
                    at_most_db: s.at_most(),
                    clean: s.clean(limits),
                })
                .collect(),
            level_dbfs: best.map(|s| (10.0 * s.level_dbfs).floor() / 10.0),
            limit_dbfs: limits.most_dbfs,
            end,
            advice,
            replaced: Vec::new(),
            simulated: false,
        }
    }

    /// What goes into the rig file.
    pub fn changes(&self, used: &Used, day: &str) -> Vec<Change> {
        let mut out = bound(used);
        out.push(("interface", "level_dbfs", self.level_dbfs.map(Value::Number)));
        out.push(text("level_measured", day));
        out
    }
}

/// The two inputs: `coilwright/inputs/1`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
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
            simulated,
            ..InputsDocument::default()
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
        let corner = |e: Option<Estimate>| e.filter(|_| self.corners_told);
        let pair = [
            ("gain_db", "gain_tolerance_db", self.gain_db),
            ("delay_s", "delay_tolerance_s", self.delay_s),
            ("ac_pickup_hz", "ac_pickup_tolerance_hz", corner(self.ac_pickup_hz)),
            (
                "ac_reference_hz",
                "ac_reference_tolerance_hz",
                corner(self.ac_reference_hz),
            ),
        ];
        for (key, tolerance, e) in pair.into_iter().filter(|_| self.gain_db.is_some()) {
            out.push(number(key, e.map(|e| rounded(e.value, e.u))));
            out.push(number(tolerance, e.map(|e| up(e.u))));
        }
        if let Some(c) = self.capacitance_f {
            let alone = (c.value - lead_f).max(0.0);
            out.push(number("capacitance_f", Some(rounded(alone, c.u))));
            out.push(number("capacitance_tolerance_f", Some(up(c.u))));
            if lead.is_none() {
                out.push(number("lead_capacitance_f", Some(0.0)));
            }
            let ohm = self.resistance_ohm;
            out.push(number("resistance_ohm", ohm.map(|r| rounded(r.value, r.u))));
            out.push(number("resistance_tolerance", ohm.map(|r| up(r.u / r.value))));
        }
        let measured = match self.gain_db {
            Some(_) => "inputs_measured",
            None => "loading_measured",
        };
        out.push(text(measured, day));
        out.extend(range.map(|range| text("range", range)));
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

fn number(key: &'static str, value: Option<f64>) -> Change {
    ("input", key, value.map(Value::Number))
}

fn text(key: &'static str, value: &str) -> Change {
    ("interface", key, Some(Value::Text(value.into())))
}

/// What the values belong to.
pub fn bound(used: &Used) -> Vec<Change> {
    let whole = |key: &'static str, n: u32| ("interface", key, Some(Value::Whole(n.into())));
    let mut out = vec![
        text("output", &used.output),
        text("input", &used.input),
        whole("rate_hz", used.rate_hz),
        whole("pickup_channel", used.pickup_channel),
    ];
    // A take of one channel leaves the other where it is.
    let reference = used.reference_channel.map(|c| whole("reference_channel", c));
    out.extend(reference);
    out
}
