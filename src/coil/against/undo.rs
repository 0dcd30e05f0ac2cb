//! A take's curve with another load in place of its own.

use std::f64::consts::TAU;

use num_complex::Complex64;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::super::basis::Basis;
use super::super::told::{Stated, reading, spelt, whole_load};
use super::setting::{Setting, State};
use crate::estimate::Estimate;
use crate::failure::Result;
use crate::network::predict::db;
use crate::network::{Load, SecondOrder, Wiring, peak};
use crate::record::{Model, PeakFrom, Record};

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
    /// u: of take, coil, input, temperature, parts, and of laying the pickup down; u_noise: of the take's noise.
    pub peak_hz: Option<Estimate>,
    /// Above the lows.
    pub height_db: Option<Estimate>,
    /// What laying a pickup down does, which is in both, is a usual value.
    #[serde(default)]
    pub usual_laying: bool,
    pub curve: UndoneCurve,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UndoneCurve {
    pub freq_hz: Vec<f64>,
    pub mag_db: Vec<f64>,
    pub u_db: Vec<f64>,
}

/// What is put in place of the take's own load.
#[derive(Debug, Clone, Default)]
pub struct Instead {
    pub load: Load,
    /// Resistance and capacitance of a rig's input that hangs there besides; what states the same as the take's is the same.
    pub input: (Option<f64>, f64),
}

/// The better model of a record: its numbers, and how far the take knows them.
struct TakeModel {
    numbers: Vec<Estimate>,
    /// Correlation of the noise of the first two.
    corr: f64,
}

impl TakeModel {
    /// `None` where no model follows the curve.
    fn of(record: &Record) -> Option<TakeModel> {
        let r = record.resonance.as_ref()?;
        if r.peak_from == PeakFrom::Curve {
            return None;
        }
        let eddy = record.fit.as_ref().filter(|f| f.model == Model::Eddy);
        Some(match eddy.and_then(|f| f.eddy.as_ref()) {
            Some(e) => TakeModel {
                numbers: vec![e.f0_hz, e.q, e.pole_s, e.zero_s],
                corr: 0.0,
            },
            None => TakeModel {
                numbers: vec![r.f0_hz, r.q],
                corr: r.corr_f0_q,
            },
        })
    }

    fn values(&self) -> Vec<f64> {
        self.numbers.iter().map(|e| e.value).collect()
    }

    fn response(values: &[f64], hz: f64) -> Complex64 {
        let at = |i: usize| values.get(i).copied().unwrap_or(0.0);
        let s = SecondOrder {
            f0_hz: at(0),
            q: at(1),
            g0: 1.0,
        };
        let jw = Complex64::new(0.0, TAU * hz);
        s.response(TAU * hz) * (1.0 + jw * at(3)) / (1.0 + jw * at(2))
    }

    /// u and u_noise of two figures, from those of the model's numbers.
    fn doubt(&self, figures: impl Fn(&[f64]) -> Option<(f64, f64)>) -> [[f64; 2]; 2] {
        let values = self.values();
        // By one standard uncertainty to either side: a figure that is not there on one side counts by the other.
        let slopes: Vec<(f64, f64)> = (0..values.len())
            .map(|i| {
                let h = (0.1 * self.numbers[i].u).max(1e-7 * values[i].abs());
                let at = |step: f64| {
                    let mut moved = values.clone();
                    moved[i] += step;
                    figures(&moved)
                };
                match (at(h), at(-h), figures(&values)) {
                    (Some(a), Some(b), _) => ((a.0 - b.0) / (2.0 * h), (a.1 - b.1) / (2.0 * h)),
                    (Some(a), None, Some(c)) => ((a.0 - c.0) / h, (a.1 - c.1) / h),
                    (None, Some(b), Some(c)) => ((c.0 - b.0) / h, (c.1 - b.1) / h),
                    _ => (0.0, 0.0),
                }
            })
            .collect();
        let of = |k: fn(&(f64, f64)) -> f64| {
            let moved = |u: fn(&Estimate) -> f64| -> Vec<f64> {
                slopes.iter().zip(&self.numbers).map(|(s, e)| k(s) * u(e)).collect()
            };
            let noise = moved(|e| e.u_noise);
            let rest = moved(|e| (e.u * e.u - e.u_noise * e.u_noise).max(0.0).sqrt());
            let square = |v: &[f64]| v.iter().map(|x| x * x).sum::<f64>();
            let common = noise
                .first()
                .zip(noise.get(1))
                .map_or(0.0, |(a, b)| 2.0 * self.corr * a * b);
            let of_noise = (square(&noise) + common).max(0.0);
            [(of_noise + square(&rest)).sqrt(), of_noise.sqrt()]
        };
        [of(|s| s.0), of(|s| s.1)]
    }
}

/// One load in the place of another, on the coil as it was during the take.
struct Swap<'a> {
    setting: Setting<'a>,
    to: &'a Instead,
    /// The take's own load, and the other.
    loads: [Load; 2],
}

impl Swap<'_> {
    /// Response with the other load over that with the take's own, at low frequency 1.
    fn ratio(&self, state: &State, [from, to]: &[Load; 2]) -> impl Fn(f64) -> f64 + use<> {
        let input = self.to.input;
        let a = state.with_input(from, self.setting.input);
        let b = match input == self.setting.input {
            true => state.with_input(to, input),
            false => Wiring::from(to.with_input(input.0, input.1)),
        };
        let coil = state.coil;
        let at = move |f: f64| b.response(&coil, TAU * f).norm() / a.response(&coil, TAU * f).norm();
        let low = at(peak::LOW_HZ);
        move |hz: f64| at(hz) / low
    }

    fn curve(&self, record: &Record) -> UndoneCurve {
        let curve = record.curve.clone().unwrap_or_default();
        let moved = self.setting.predicted(&self.loads, |state, loads| {
            let ratio = self.ratio(state, loads);
            let of = |f: &f64| Some(db(ratio(*f))).filter(|r| r.is_finite());
            curve.freq_hz.iter().map(of).collect()
        });
        let mut out = UndoneCurve::default();
        let levels = curve.mag_db.iter().zip(&curve.u_db);
        // A point whose uncertainty cannot be told is left out.
        for ((hz, (level, u)), moved) in curve.freq_hz.iter().zip(levels).zip(&moved) {
            if let Some(moved) = moved {
                out.freq_hz.push(*hz);
                out.mag_db.push(level + moved.value);
                out.u_db.push(u.hypot(moved.coil).hypot(moved.parts));
            }
        }
        out
    }

    /// Frequency and height of the peak that the take's model has then.
    fn top(&self, state: &State, loads: &[Load; 2], model: &[f64]) -> Option<(f64, f64)> {
        let ratio = self.ratio(state, loads);
        let mag = |f: f64| TakeModel::response(model, f).norm() * ratio(f);
        let p = peak::find(mag)?;
        Some((p.hz, db(p.gain / mag(peak::LOW_HZ))))
    }

    /// Both with their uncertainties; `None` where whether there is one is within them.
    fn peak(&self, model: &TakeModel) -> [Option<Estimate>; 2] {
        let values = model.values();
        let moved = self.setting.predicted(&self.loads, |state, loads| {
            let top = self.top(state, loads, &values);
            vec![top.map(|t| t.0), top.map(|t| t.1)]
        });
        let centre = self.setting.centre();
        let of_take = model.doubt(|v| self.top(&centre, &self.loads, v));
        [0, 1].map(|k| {
            let moved = moved[k]?;
            Estimate::new(
                moved.value,
                of_take[k][0].hypot(moved.coil).hypot(moved.parts),
                of_take[k][1],
            )
        })
    }
}

/// Takes the load that a take was measured under off its curve, by the coil's prediction, and puts another one on.
pub fn undo(record: &Record, basis: &Basis, to: &Instead, stated: &Stated) -> Result<Undone> {
    reading(record)?;
    let setting = Setting::of(record, basis, stated)?;
    let swap = Swap {
        loads: [setting.load.clone(), to.load.clone()],
        setting,
        to,
    };
    let there = |m: &TakeModel| swap.top(&swap.setting.centre(), &swap.loads, &m.values()).is_some();
    let model = TakeModel::of(record).filter(there);
    let [peak_hz, height_db] = model.as_ref().map_or([None; 2], |m| swap.peak(m));
    let mut notes = swap.setting.notes.clone();
    if model.is_some() && peak_hz.is_none() {
        notes.push("whether there is a peak at all is within the uncertainty: none is told".into());
    }
    Ok(Undone {
        id: record.id.clone(),
        name: record.pickup.name.clone(),
        from: spelt(&whole_load(record)?),
        to: spelt(&to.load.with_input(to.input.0, to.input.1)),
        simulated: record.is_simulated(),
        peak_hz,
        height_db,
        usual_laying: false,
        curve: swap.curve(record),
        notes,
    })
}
