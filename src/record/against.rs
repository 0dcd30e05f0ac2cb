//! Predicted against measured, and a measured curve freed from what hung on the pickup.

use std::f64::consts::TAU;

use num_complex::Complex64;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::behind::whole_load;
use super::loads::Basis;
use super::{Model, Record, Resonance};
use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};
use crate::network::knob::{Knob, Tolerances, UNIFORM};
use crate::network::predict::{self, db};
use crate::network::{Load, SecondOrder, Wiring, peak};

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

/// A take's curve as it would be under another load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Undone {
    pub id: String,
    pub name: String,
    /// What hung on the pickup, the rig's input counted in.
    pub from: String,
    pub to: String,
    /// The take comes from the built-in bench.
    pub simulated: bool,
    pub peak_hz: Option<Estimate>,
    /// Above the lows.
    pub height_db: Option<Estimate>,
    pub curve: UndoneCurve,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UndoneCurve {
    pub freq_hz: Vec<f64>,
    pub mag_db: Vec<f64>,
    pub u_db: Vec<f64>,
}

const FROM_HZ: f64 = 100.0;
/// Up to so many times the resonance the coil is heard; above, little is left of it.
const TO_F0: f64 = 2.5;
/// A difference that nobody hears is none.
const ALLOWED_DB: f64 = 0.05;
/// So many of the points must agree: of 95 % intervals some fewer do by chance.
const MOST: f64 = 0.9;
/// No point of a curve is believed to be better.
const LEAST_DB: f64 = 0.002;

fn reading(record: &Record) -> Result<&Resonance> {
    record.resonance.as_ref().ok_or_else(|| {
        Failure::new(
            format!("record {:?} has no reading", record.pickup.name),
            "leave it out, or measure again",
        )
    })
}

/// A load as a person would write it.
fn spelt(load: &Load) -> String {
    match load.to_string() {
        s if s.is_empty() => "none".into(),
        s => s,
    }
}

/// Standard uncertainties of some numbers from the tolerances of a load's parts.
fn from_parts(load: &Load, tolerances: &Tolerances, numbers: impl Fn(&Load) -> Vec<f64>) -> Vec<f64> {
    let here = numbers(load);
    let mut squares = vec![0.0; here.len()];
    for (knob, t) in tolerances.0.iter().filter(|t| t.0.is_part() && t.1 > 0.0) {
        let Some(v) = Knob::get(*knob, load).filter(|v| *v > 0.0) else {
            continue;
        };
        let mut moved = load.clone();
        let _ = knob.set(&mut moved, v * (1.0 + UNIFORM * t));
        for (s, (a, b)) in squares.iter_mut().zip(numbers(&moved).iter().zip(&here)) {
            let d = a - b;
            if d.is_finite() {
                *s += d * d;
            }
        }
    }
    squares.into_iter().map(f64::sqrt).collect()
}

/// Lays takes over the prediction of what they should show.
pub fn against(records: &[Record], basis: &Basis, tolerances: &Tolerances) -> Result<Against> {
    let takes: Vec<TakeAgainst> = records
        .iter()
        .map(|r| take_against(r, basis, tolerances))
        .collect::<Result<_>>()?;
    let squares: f64 = takes.iter().map(|t| t.rms_db * t.rms_db).sum();
    Ok(Against {
        rms_db: (squares / takes.len().max(1) as f64).sqrt(),
        within: takes.iter().all(|t| t.within),
        simulated: records.iter().any(Record::is_simulated),
        takes,
    })
}

fn take_against(record: &Record, basis: &Basis, tolerances: &Tolerances) -> Result<TakeAgainst> {
    let r = reading(record)?;
    let load = whole_load(record)?;
    let top = (TO_F0 * r.f0_hz.value).min(15_000.0);
    let curve = record.curve.clone().unwrap_or_default();
    let at: Vec<usize> = (0..curve.freq_hz.len())
        .filter(|i| (FROM_HZ..=top).contains(&curve.freq_hz[*i]) && *i < curve.u_db.len())
        .collect();
    if at.len() < 12 {
        return Err(Failure::new(
            format!("record {:?} holds no curve to compare", record.pickup.name),
            "analyse its take again, or leave it out",
        ));
    }
    let freq_hz: Vec<f64> = at.iter().map(|i| curve.freq_hz[*i]).collect();
    let lows = |load: &Load, coil: &crate::network::Coil| -> Vec<f64> {
        let w = Wiring::from(load.clone());
        let low = w.response(coil, TAU * peak::LOW_HZ).norm();
        predict::curve(&w, coil, &freq_hz)
            .iter()
            .map(|h| db(h.norm() / low))
            .collect()
    };
    let predicted = lows(&load, &basis.coil);
    let measured: Vec<f64> = at.iter().map(|i| curve.mag_db[*i]).collect();
    // The level says nothing: the lows are laid on each other.
    let (mut sum, mut weight) = (0.0, 0.0);
    for i in (0..freq_hz.len()).filter(|i| freq_hz[*i] < 0.3 * r.f0_hz.value) {
        let w = 1.0 / curve.u_db[at[i]].max(LEAST_DB).powi(2);
        sum += w * (measured[i] - predicted[i]);
        weight += w;
    }
    let (offset, offset_u) = if weight > 0.0 {
        (sum / weight, (1.0 / weight).sqrt())
    } else {
        (0.0, 0.0)
    };
    let of_coil: Vec<f64> = match &basis.covariance {
        Some(c) => predict::propagate(&basis.coil, c, |coil| lows(&load, coil).into_iter().map(Some).collect())
            .into_iter()
            .map(|u| u.unwrap_or(0.0))
            .collect(),
        None => vec![0.0; freq_hz.len()],
    };
    let of_parts = from_parts(&load, tolerances, |l| lows(l, &basis.coil));
    let mut out = AgainstCurve::default();
    let (mut squares, mut worst, mut inside) = (0.0f64, (0.0f64, 0.0), 0usize);
    for (k, i) in at.iter().enumerate() {
        let m = measured[k] - offset;
        let d = m - predicted[k];
        let u = curve.u_db[*i].hypot(of_coil[k]).hypot(of_parts[k]).hypot(offset_u);
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
    let wiring = Wiring::from(load.clone());
    let f = predict::figures(&wiring, &basis.coil);
    let doubt = basis
        .covariance
        .as_ref()
        .map(|c| predict::doubt(&wiring, &basis.coil, c));
    let parts = from_parts(&load, tolerances, |l| {
        let f = predict::figures(&Wiring::from(l.clone()), &basis.coil);
        vec![f.peak_hz.unwrap_or(f64::NAN), f.height_db.unwrap_or(f64::NAN)]
    });
    let less = |seen: Option<Estimate>, told: Option<f64>, u: Option<f64>, part: f64| {
        let (seen, told) = (seen?, told?);
        Estimate::new(
            seen.value - told,
            seen.u.hypot(u.unwrap_or(0.0)).hypot(part),
            seen.u_noise,
        )
    };
    Ok(TakeAgainst {
        id: record.id.clone(),
        name: record.pickup.name.clone(),
        load: spelt(&super::behind::load_of(record)?),
        peak_hz: less(r.peak_hz, f.peak_hz, doubt.and_then(|d| d.peak_hz), parts[0]),
        height_db: less(r.peak_db, f.height_db, doubt.and_then(|d| d.height_db), parts[1]),
        rms_db: (squares.max(0.0) / at.len() as f64).sqrt(),
        worst_db: worst.0,
        worst_hz: worst.1,
        share_within: share,
        within: share >= MOST,
        curve: out,
    })
}

/// The better model of a record as a function of hertz; `None` where no model follows the curve.
fn model_of(record: &Record) -> Option<impl Fn(f64, f64, f64) -> Complex64> {
    let eddy = record
        .fit
        .as_ref()
        .filter(|f| f.model == Model::Eddy)
        .and_then(|f| f.eddy.clone());
    let r = record.resonance.as_ref()?;
    if r.peak_from == super::PeakFrom::Curve {
        return None;
    }
    let (f0, q) = eddy
        .as_ref()
        .map_or((r.f0_hz.value, r.q.value), |e| (e.f0_hz.value, e.q.value));
    let (pole, zero) = eddy.as_ref().map_or((0.0, 0.0), |e| (e.pole_s.value, e.zero_s.value));
    // Shifts in f0 and Q are relative.
    Some(move |hz: f64, df: f64, dq: f64| {
        let s = SecondOrder {
            f0_hz: f0 * (1.0 + df),
            q: q * (1.0 + dq),
            g0: 1.0,
        };
        let jw = Complex64::new(0.0, TAU * hz);
        s.response(TAU * hz) * (1.0 + jw * zero) / (1.0 + jw * pole)
    })
}

/// Takes the load that a take was measured under off its curve, by the coil's prediction, and puts another one on.
pub fn undo(record: &Record, basis: &Basis, to: &Load) -> Result<Undone> {
    let r = reading(record)?;
    let from = whole_load(record)?;
    let curve = record.curve.clone().unwrap_or_default();
    let (a, b) = (Wiring::from(from.clone()), Wiring::from(to.clone()));
    let ratio = |coil: &crate::network::Coil, hz: f64| {
        let at = |f: f64| b.response(coil, TAU * f).norm() / a.response(coil, TAU * f).norm();
        at(hz) / at(peak::LOW_HZ)
    };
    let ratios_db = |coil: &crate::network::Coil| -> Vec<Option<f64>> {
        curve.freq_hz.iter().map(|f| Some(db(ratio(coil, *f)))).collect()
    };
    let shift = ratios_db(&basis.coil);
    let doubt = match &basis.covariance {
        Some(c) => predict::propagate(&basis.coil, c, ratios_db),
        None => vec![Some(0.0); shift.len()],
    };
    let mut out = UndoneCurve::default();
    for (i, hz) in curve.freq_hz.iter().enumerate() {
        let (Some(s), Some(m), Some(u)) = (shift[i], curve.mag_db.get(i), curve.u_db.get(i)) else {
            continue;
        };
        if s.is_finite() {
            out.freq_hz.push(*hz);
            out.mag_db.push(m + s);
            out.u_db.push(u.hypot(doubt[i].unwrap_or(0.0)));
        }
    }
    let (mut peak_hz, mut height_db) = (None, None);
    if let Some(model) = model_of(record) {
        let top = |coil: &crate::network::Coil, df: f64, dq: f64| {
            let mag = |f: f64| model(f, df, dq).norm() * ratio(coil, f);
            let p = peak::find(mag)?;
            Some((p.hz, db(p.gain / mag(peak::LOW_HZ))))
        };
        if let Some((hz, height)) = top(&basis.coil, 0.0, 0.0) {
            // From the coil, and from the take itself by differences of its f0 and Q.
            let of_coil = basis.covariance.as_ref().map(|c| {
                predict::propagate(&basis.coil, c, |coil| {
                    let t = top(coil, 0.0, 0.0);
                    vec![t.map(|t| t.0), t.map(|t| t.1)]
                })
            });
            let (rf, rq) = (r.f0_hz.u / r.f0_hz.value, r.q.u / r.q.value);
            let moved = [top(&basis.coil, rf, 0.0), top(&basis.coil, 0.0, rq)];
            let of_take = |k: usize| {
                let d = moved
                    .iter()
                    .flatten()
                    .map(|m| if k == 0 { m.0 - hz } else { m.1 - height });
                d.map(|d| d * d).sum::<f64>().sqrt()
            };
            let u = |k: usize| of_coil.as_ref().and_then(|u| u[k]).unwrap_or(0.0).hypot(of_take(k));
            peak_hz = Estimate::new(hz, u(0), of_take(0));
            height_db = Estimate::new(height, u(1), of_take(1));
        }
    }
    Ok(Undone {
        id: record.id.clone(),
        name: record.pickup.name.clone(),
        from: spelt(&from),
        to: spelt(to),
        simulated: record.is_simulated(),
        peak_hz,
        height_db,
        curve: out,
    })
}
