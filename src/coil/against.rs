//! Predicted against measured, and a measured curve freed from what hung on the pickup.

use std::f64::consts::TAU;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::basis::Basis;
use super::told::{reading, spelt};
use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};
use crate::network::predict::{self, db};
use crate::network::{Load, Wiring, peak};
use crate::record::Record;

mod setting;
#[cfg(test)]
pub(super) mod tests;
mod undo;

pub use setting::Stated;
use setting::{Setting, State};
pub use undo::{Instead, Undone, UndoneCurve, undo};

/// Takes against the coil's prediction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Against {
    /// The one number: rms difference over all takes, from 100 Hz to 2.5 times each one's resonance.
    pub rms_db: f64,
    /// Every take agrees within its joint uncertainty.
    pub within: bool,
    /// Some of the takes come from the built-in bench.
    pub simulated: bool,
    pub takes: Vec<TakeAgainst>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TakeAgainst {
    pub id: String,
    pub name: String,
    pub load: String,
    /// Measured less predicted; null where one of them has no peak. u: of both together.
    pub peak_hz: Option<Estimate>,
    pub height_db: Option<Estimate>,
    pub rms_db: f64,
    pub worst_db: f64,
    pub worst_hz: f64,
    /// Share of the points within 1.96 joint standard uncertainties, 0.05 dB besides.
    pub share_within: f64,
    /// Nine in ten points agree, and so do peak and height.
    pub within: bool,
    pub curve: AgainstCurve,
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
/// A difference that nobody hears is none.
const ALLOWED_DB: f64 = 0.05;
/// So many of the points must agree: of 95 % intervals some fewer do by chance.
const MOST: f64 = 0.9;
/// Nor is a difference of frequency that is smaller (relative; choice).
const ALLOWED_HZ: f64 = 1e-3;
/// Two-sided 5 % point of the normal distribution, shared out over peak and height.
const Z_OF_TWO: f64 = 2.241_402_727_604_947;
/// No point of a curve is believed to be better.
const LEAST_DB: f64 = 0.002;

/// Lays takes over the prediction of what they should show.
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
        within: takes.iter().all(|t| t.within),
        simulated: records.iter().any(Record::is_simulated),
        takes,
        notes,
    })
}

fn take_against(record: &Record, setting: &Setting) -> Result<TakeAgainst> {
    let r = reading(record)?;
    let top = (TO_F0 * r.f0_hz.value).min(15_000.0);
    let curve = record.curve.clone().unwrap_or_default();
    let at: Vec<usize> = (0..curve.freq_hz.len())
        .filter(|i| (FROM_HZ..=top).contains(&curve.freq_hz[*i]))
        .filter(|i| *i < curve.u_db.len() && *i < curve.mag_db.len())
        .collect();
    if at.len() < 12 {
        return Err(Failure::new(
            format!("record {:?} holds no curve to compare", record.pickup.name),
            "analyse its take again, or leave it out",
        ));
    }
    let freq_hz: Vec<f64> = at.iter().map(|i| curve.freq_hz[*i]).collect();
    let whole = |state: &State, load: &Load| Wiring::from(state.with_input(load, setting.input));
    let lows = |state: &State, load: &Load| -> Vec<Option<f64>> {
        let w = whole(state, load);
        let low = w.response(&state.coil, TAU * peak::LOW_HZ).norm();
        predict::curve(&w, &state.coil, &freq_hz)
            .iter()
            .map(|h| Some(db(h.norm() / low)).filter(|d| d.is_finite()))
            .collect()
    };
    let centre = setting.centre();
    let silent = || {
        Failure::new(
            format!("under the load of record {:?} nothing comes out", record.pickup.name),
            "compare a take whose load lets something through",
        )
    };
    let predicted: Vec<f64> = lows(&centre, &setting.load)
        .into_iter()
        .collect::<Option<_>>()
        .ok_or_else(silent)?;
    let measured: Vec<f64> = at.iter().map(|i| curve.mag_db[*i]).collect();
    // The level says nothing: the lows are laid on each other.
    let (mut sum, mut weight) = (0.0, 0.0);
    for i in (0..freq_hz.len()).filter(|i| freq_hz[*i] < 0.3 * r.f0_hz.value) {
        let w = 1.0 / curve.u_db[at[i]].max(LEAST_DB).powi(2);
        sum += w * (measured[i] - predicted[i]);
        weight += w;
    }
    if weight <= 0.0 {
        return Err(Failure::new(
            format!(
                "record {:?} holds no curve far enough below its resonance to lay on a prediction",
                record.pickup.name
            ),
            "measure from 20 Hz on, or leave it out",
        ));
    }
    let (offset, offset_u) = (sum / weight, (1.0 / weight).sqrt());
    let of_coil: Vec<f64> = setting
        .doubt(|s| lows(s, &setting.load))
        .into_iter()
        .collect::<Option<_>>()
        .ok_or_else(silent)?;
    let of_parts = setting.parts_doubt(&[&setting.load], |l| match l {
        [l] => lows(&centre, l),
        _ => Vec::new(),
    });
    let mut out = AgainstCurve::default();
    let (mut squares, mut worst, mut inside) = (0.0f64, (0.0f64, 0.0), 0usize);
    for (k, i) in at.iter().enumerate() {
        let m = measured[k] - offset;
        let d = m - predicted[k];
        let part = of_parts.get(k).copied().unwrap_or(0.0);
        let u = curve.u_db[*i].hypot(of_coil[k]).hypot(part).hypot(offset_u);
        // What the take's own noise makes of it is not the coil file's.
        squares += d * d - curve.u_db[*i].powi(2);
        inside += usize::from(d.abs() <= Z95 * u + ALLOWED_DB);
        if d.abs() > f64::abs(worst.0) {
            worst = (d, freq_hz[k]);
        }
        out.freq_hz.push(freq_hz[k]);
        out.measured_db.push(m);
        out.predicted_db.push(predicted[k]);
        out.u_db.push(u);
    }
    let share = inside as f64 / at.len() as f64;
    let figures = |state: &State, load: &Load| {
        let f = predict::figures(&whole(state, load), &state.coil);
        vec![f.peak_hz, f.height_db]
    };
    let told = figures(&centre, &setting.load);
    let doubt = setting.doubt(|s| figures(s, &setting.load));
    let parts = setting.parts_doubt(&[&setting.load], |l| match l {
        [l] => figures(&centre, l),
        _ => Vec::new(),
    });
    let less = |seen: Option<Estimate>, k: usize| {
        let (seen, told) = (seen?, told[k]?);
        let u = seen.u.hypot(doubt[k]?).hypot(parts[k]);
        Estimate::new(seen.value - told, u, seen.u_noise)
    };
    let (peak_hz, height_db) = (less(r.peak_hz, 0), less(r.peak_db, 1));
    let agrees = |d: Option<Estimate>, allowed: f64| d.is_none_or(|d| d.value.abs() <= Z_OF_TWO * d.u + allowed);
    let at_peak = ALLOWED_HZ * told[0].unwrap_or(0.0);
    Ok(TakeAgainst {
        id: record.id.clone(),
        name: record.pickup.name.clone(),
        load: spelt(&setting.load),
        peak_hz,
        height_db,
        rms_db: (squares.max(0.0) / at.len() as f64).sqrt(),
        worst_db: worst.0,
        worst_hz: worst.1,
        share_within: share,
        within: share >= MOST && agrees(peak_hz, at_peak) && agrees(height_db, ALLOWED_DB),
        curve: out,
    })
}
