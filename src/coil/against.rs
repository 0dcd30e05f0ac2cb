//! Predicted against measured, and a measured curve freed from what hung on the pickup.

use std::f64::consts::TAU;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::basis::Basis;
pub use super::told::Stated;
use super::told::{Input, reading, spelt};
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::network::predict::{self, db};
use crate::network::{Load, peak};
use crate::record::{Curve, Definition, Record};
use crate::stats::{Answer, Open};

mod setting;
#[cfg(test)]
pub(super) mod tests;
mod undo;

use setting::{Predicted, Setting, State};
pub use undo::{Instead, Undone, undo};

/// Takes against the coil's prediction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Against {
    /// The one number: rms difference over all takes, from 100 Hz to 2.5 times each one's resonance.
    pub rms_db: f64,
    /// Different where one take is, the same where all are.
    pub answer: Answer,
    /// Some of the takes come from the built-in bench.
    pub simulated: bool,
    pub takes: Vec<TakeAgainst>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TakeAgainst {
    pub id: String,
    pub name: String,
    pub load: String,
    /// Null where there is none.
    pub predicted_hz: Option<f64>,
    /// Measured less predicted; null where one of them has no peak. u: of both together.
    pub peak_hz: Option<Estimate>,
    pub height_db: Option<Estimate>,
    /// Of the curves, the take's own noise taken off.
    pub rms_db: f64,
    /// Its standard uncertainty, and what of that is the take's noise.
    pub u_rms_db: f64,
    pub u_noise_rms_db: f64,
    pub answer: Answer,
    /// What is said of peak, height and curve, as far as they are there.
    pub said: Vec<SaidOf>,
    pub curve: AgainstCurve,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SaidOf {
    /// peak (the logarithm of the ratio), height or curve (dB).
    pub quantity: String,
    /// Measured less predicted; of the curve the rms.
    pub difference: f64,
    /// Half-width of its 95 % interval; where it is different, of all quantities jointly.
    pub half: f64,
    /// From this size on a difference matters.
    pub matters: f64,
    /// Nothing was said of what matters: the usual size.
    pub usual: bool,
    pub answer: Answer,
    /// What laying a pickup down does, which is in the interval, is a usual value.
    pub usual_laying: bool,
    /// What leaves it open, where nobody can tell.
    pub open: Option<Open>,
}

/// 0 dB is the level at low frequency.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AgainstCurve {
    pub freq_hz: Vec<f64>,
    pub measured_db: Vec<f64>,
    pub predicted_db: Vec<f64>,
    /// Joint standard uncertainty of their difference.
    pub u_db: Vec<f64>,
}

const FROM_HZ: f64 = 100.0;
/// Up to so many times the resonance the coil is heard; above, little is left of it.
const TO_F0: f64 = 2.5;
/// No point of a curve is believed to be better.
const LEAST_DB: f64 = 0.002;

/// Lays takes over the prediction of what they should show. What is to be said of them is for the yardstick.
pub fn against(records: &[Record], basis: &Basis, stated: &Stated) -> Result<Against> {
    let mut notes: Vec<String> = Vec::new();
    let mut takes: Vec<TakeAgainst> = Vec::new();
    for r in records {
        let setting = Setting::of(r, basis, stated)?;
        for n in &setting.notes {
            if !notes.contains(n) {
                notes.push(n.clone());
            }
        }
        takes.push(take_against(r, &setting)?);
    }
    let squares: f64 = takes.iter().map(|t| t.rms_db * t.rms_db).sum();
    Ok(Against {
        rms_db: (squares / takes.len().max(1) as f64).sqrt(),
        answer: Answer::default(),
        simulated: records.iter().any(Record::is_simulated),
        takes,
        notes,
    })
}

/// Frequency, level and standard uncertainty of each point.
type Points = Vec<(f64, f64, f64)>;

fn take_against(record: &Record, setting: &Setting) -> Result<TakeAgainst> {
    let r = reading(record)?;
    let seen = heard(record, r.f0_hz.value)?;
    let load = [setting.load.clone()];
    let told = setting.predicted(&load, |state, [load]| above_lows(state, load, setting.input, &seen));
    let told: Vec<Predicted> = told.into_iter().collect::<Option<_>>().ok_or_else(|| {
        Failure::new(
            format!("under the load of record {:?} nothing comes out", record.pickup.name),
            "compare a take whose load lets something through",
        )
    })?;
    let offset = offset(&seen, &told, r.f0_hz.value).ok_or_else(|| {
        Failure::new(
            format!(
                "record {:?} holds no curve far enough below its resonance to lay on a prediction",
                record.pickup.name
            ),
            "measure from 20 Hz on, or leave it out",
        )
    })?;
    let laid = lay(&seen, &told, offset);
    let figures = setting.predicted(&load, |state, [load]| {
        let f = predict::figures(&state.with_input(load, setting.input), &state.coil);
        vec![f.peak_hz, f.height_db]
    });
    let less = |seen: Option<Estimate>, k: usize| {
        let (seen, told) = (seen?, figures[k]?);
        let u = seen.u.hypot(told.coil).hypot(told.parts);
        Estimate::new(seen.value - told.value, u, seen.u_noise)
    };
    // With metal 0 dB is not the level at the lowest frequencies: there the curve is laid on.
    let lows = match r.definition {
        Definition::Plain => (0.0, 0.0),
        Definition::Pole | Definition::Local => offset,
    };
    let height = r.peak_db.map(|e| Estimate {
        value: e.value - lows.0,
        u: e.u.hypot(lows.1),
        ..e
    });
    Ok(TakeAgainst {
        id: record.id.clone(),
        name: record.pickup.name.clone(),
        load: spelt(&setting.load),
        predicted_hz: figures[0].map(|f| f.value),
        peak_hz: less(r.peak_hz, 0),
        height_db: less(height, 1),
        ..laid
    })
}

/// The measured curve where the coil is heard.
fn heard(record: &Record, f0_hz: f64) -> Result<Points> {
    let top = (TO_F0 * f0_hz).min(15_000.0);
    let of_curve = |c: &Curve| -> Points {
        let levels = c.mag_db.iter().zip(&c.u_db);
        let all = c.freq_hz.iter().zip(levels).map(|(f, (m, u))| (*f, *m, *u));
        all.filter(|p| (FROM_HZ..=top).contains(&p.0)).collect()
    };
    let points = record.curve.as_ref().map(of_curve).unwrap_or_default();
    if points.len() < 12 {
        return Err(Failure::new(
            format!("record {:?} holds no curve to compare", record.pickup.name),
            "analyse its take again, or leave it out",
        ));
    }
    Ok(points)
}

/// The response over that at low frequency, in dB; `None` where nothing comes out.
fn above_lows(state: &State, load: &Load, input: Input, at: &Points) -> Vec<Option<f64>> {
    let wiring = state.with_input(load, input);
    let gain = |hz: f64| wiring.response(&state.coil, TAU * hz).norm();
    let low = gain(peak::LOW_HZ);
    let of = |p: &(f64, f64, f64)| Some(db(gain(p.0) / low)).filter(|d| d.is_finite());
    at.iter().map(of).collect()
}

/// The level says nothing: the lows are laid on each other. With its standard uncertainty.
fn offset(seen: &Points, told: &[Predicted], f0_hz: f64) -> Option<(f64, f64)> {
    let (mut sum, mut weight) = (0.0, 0.0);
    for ((_, level, u), told) in seen.iter().zip(told).filter(|(p, _)| p.0 < 0.3 * f0_hz) {
        let w = 1.0 / u.max(LEAST_DB).powi(2);
        sum += w * (level - told.value);
        weight += w;
    }
    (weight > 0.0).then(|| (sum / weight, (1.0 / weight).sqrt()))
}

/// The curves on each other, point by point.
fn lay(seen: &Points, told: &[Predicted], (offset, offset_u): (f64, f64)) -> TakeAgainst {
    let mut out = TakeAgainst::default();
    let (mut squares, mut fourths, mut rest) = (0.0f64, 0.0f64, 0.0f64);
    for ((hz, level, own), told) in seen.iter().zip(told) {
        let measured = level - offset;
        let d = measured - told.value;
        let u = own.hypot(told.coil).hypot(told.parts).hypot(offset_u);
        // What the take's own noise makes of it is not the coil file's.
        squares += d * d - own.powi(2);
        fourths += own.powi(4);
        rest += u * u - own.powi(2);
        out.curve.freq_hz.push(*hz);
        out.curve.measured_db.push(measured);
        out.curve.predicted_db.push(told.value);
        out.curve.u_db.push(u);
    }
    let n = seen.len() as f64;
    out.rms_db = (squares.max(0.0) / n).sqrt();
    // A sum of squares of noise scatters by the root of twice its fourth powers.
    out.u_noise_rms_db = ((2.0 * fourths).sqrt() / n).sqrt();
    out.u_rms_db = out.u_noise_rms_db.hypot((rest.max(0.0) / n).sqrt());
    out
}
