//! A take's curve with another load in place of its own.

use std::f64::consts::TAU;

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

/// The model of a record, and how far the take knows what it says.
enum TakeModel<'a> {
    /// Without metal: f0 and Q say all.
    Plain { numbers: [Estimate; 2], corr: f64 },
    /// With metal: the curve of its model by the logarithm of the frequency, in dB, and the peak as the take knows it.
    Metal {
        ln_f: Vec<f64>,
        db: &'a [f64],
        peak: [Estimate; 2],
    },
}

impl TakeModel<'_> {
    /// `None` where no model follows the curve, or there is no peak on a curve with metal.
    fn of(record: &Record) -> Option<TakeModel<'_>> {
        let r = record.resonance.as_ref()?;
        if r.peak_from == PeakFrom::Curve {
            return None;
        }
        if !record.fit.as_ref().is_some_and(|f| f.model != Model::SecondOrder) {
            return Some(TakeModel::Plain {
                numbers: [r.f0_hz, r.q],
                corr: r.corr_f0_q,
            });
        }
        let curve = record.curve.as_ref().filter(|c| c.freq_hz.len() > 20)?;
        Some(TakeModel::Metal {
            ln_f: curve.freq_hz.iter().map(|f| f.ln()).collect(),
            db: &curve.model_db,
            peak: [r.peak_hz?, r.peak_db?],
        })
    }

    /// Size of the response at a frequency, 1 at low frequency; the plain model's at other values of f0 and Q.
    fn size(&self, values: [f64; 2], hz: f64) -> f64 {
        match self {
            TakeModel::Plain { .. } => {
                let s = SecondOrder {
                    f0_hz: values[0],
                    q: values[1],
                    g0: 1.0,
                };
                s.response(TAU * hz).norm()
            }
            TakeModel::Metal { ln_f, db, .. } => {
                let x = hz.ln();
                let i = ln_f.partition_point(|f| *f < x).clamp(1, ln_f.len() - 1);
                // Below the curve the level that is 0 dB, above it nothing is asked.
                if x < ln_f[0] {
                    return 1.0;
                }
                let at = |k: usize| db[k.min(db.len() - 1)];
                let k = i.clamp(2, ln_f.len() - 2);
                10f64.powf(cubic(&ln_f[k - 2..k + 2], [at(k - 2), at(k - 1), at(k), at(k + 1)], x) / 20.0)
            }
        }
    }

    fn values(&self) -> [f64; 2] {
        match self {
            TakeModel::Plain { numbers, .. } => numbers.map(|e| e.value),
            TakeModel::Metal { .. } => [0.0; 2],
        }
    }

    /// u and u_noise of frequency and height of the peak that `figures` finds at values of f0 and Q.
    fn doubt(&self, figures: impl Fn([f64; 2]) -> Option<(f64, f64)>) -> [[f64; 2]; 2] {
        match self {
            TakeModel::Plain { numbers, corr } => plain_doubt(numbers, *corr, figures),
            // As well as the take's own peak: another load moves it and leaves the metal as it is.
            TakeModel::Metal { peak, .. } => {
                let moved = figures(self.values()).map_or(1.0, |(hz, _)| hz / peak[0].value);
                [
                    [peak[0].u * moved, peak[0].u_noise * moved],
                    [peak[1].u, peak[1].u_noise],
                ]
            }
        }
    }
}

/// The cubic through four points.
fn cubic(x: &[f64], y: [f64; 4], at: f64) -> f64 {
    let basis = |i: usize| -> f64 {
        let others = (0..4).filter(|j| *j != i);
        others.map(|j| (at - x[j]) / (x[i] - x[j])).product()
    };
    (0..4).map(|i| y[i] * basis(i)).sum()
}

/// u and u_noise of two figures, from those of f0 and Q.
fn plain_doubt(numbers: &[Estimate; 2], corr: f64, figures: impl Fn([f64; 2]) -> Option<(f64, f64)>) -> [[f64; 2]; 2] {
    let values = numbers.map(|e| e.value);
    // By one standard uncertainty to either side: a figure that is not there on one side counts by the other.
    let slopes: [(f64, f64); 2] = std::array::from_fn(|i| {
        let h = (0.1 * numbers[i].u).max(1e-7 * values[i].abs());
        let at = |step: f64| {
            let mut moved = values;
            moved[i] += step;
            figures(moved)
        };
        match (at(h), at(-h), figures(values)) {
            (Some(a), Some(b), _) => ((a.0 - b.0) / (2.0 * h), (a.1 - b.1) / (2.0 * h)),
            (Some(a), None, Some(c)) => ((a.0 - c.0) / h, (a.1 - c.1) / h),
            (None, Some(b), Some(c)) => ((c.0 - b.0) / h, (c.1 - b.1) / h),
            _ => (0.0, 0.0),
        }
    });
    let of = |k: fn(&(f64, f64)) -> f64| {
        let moved = |u: fn(&Estimate) -> f64| [0, 1].map(|i| k(&slopes[i]) * u(&numbers[i]));
        let noise = moved(|e| e.u_noise);
        let rest = moved(|e| (e.u * e.u - e.u_noise * e.u_noise).max(0.0).sqrt());
        let square = |v: [f64; 2]| v[0] * v[0] + v[1] * v[1];
        let of_noise = (square(noise) + 2.0 * corr * noise[0] * noise[1]).max(0.0);
        [(of_noise + square(rest)).sqrt(), of_noise.sqrt()]
    };
    [of(|s| s.0), of(|s| s.1)]
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
    fn top(&self, state: &State, loads: &[Load; 2], (model, values): (&TakeModel, [f64; 2])) -> Option<(f64, f64)> {
        let ratio = self.ratio(state, loads);
        let mag = |f: f64| model.size(values, f) * ratio(f);
        let p = peak::find(mag)?;
        Some((p.hz, db(p.gain / mag(peak::LOW_HZ))))
    }

    /// Both with their uncertainties; `None` where whether there is one is within them.
    fn peak(&self, model: &TakeModel) -> [Option<Estimate>; 2] {
        let values = model.values();
        let moved = self.setting.predicted(&self.loads, |state, loads| {
            let top = self.top(state, loads, (model, values));
            vec![top.map(|t| t.0), top.map(|t| t.1)]
        });
        let centre = self.setting.centre();
        let of_take = model.doubt(|v| self.top(&centre, &self.loads, (model, v)));
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
    let there = |m: &TakeModel| {
        let centre = swap.setting.centre();
        swap.top(&centre, &swap.loads, (m, m.values())).is_some()
    };
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
