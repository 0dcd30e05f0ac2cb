//! The further take that would help most.

use nalgebra::DMatrix;

use super::search::Found;
use super::{Advice, CURVE_FLOOR, Known, Seen, Take};
use crate::network::knob::{Knob, UNIFORM};
use crate::network::{Load, Wiring, predict};

/// Capacitors that shops have (IEC 60063, E6), from what a short lead has to where guitars become silent.
pub(super) const CANDIDATES_F: [f64; 13] = [
    0.0, 100e-12, 150e-12, 220e-12, 330e-12, 470e-12, 680e-12, 1e-9, 1.5e-9, 2.2e-9, 3.3e-9, 4.7e-9, 10e-9,
];
/// Worth the trouble of a take: uncertainty down to this part of what it was.
pub(super) const WORTH: f64 = 0.9;

/// Known within this, relative, L and C_s need no further take (choice: far closer than any capacitor is known).
const EXACT: (f64, f64) = (1e-4, 1e-3);

/// The further capacitor that would shrink the uncertainty of L or of C_s the most.
pub(super) fn advice(takes: &[Take], known: &Known, found: &Found, excess: f64) -> Option<Advice> {
    let barest = takes
        .iter()
        .min_by(|a, b| a.capacitance().total_cmp(&b.capacitance()))?;
    let further = Further {
        known,
        found,
        barest,
        excess,
        noise: typical_noise(takes),
        tolerance: known.tolerances.of(Knob::Cap).unwrap_or(0.0) * UNIFORM,
        now: &found.inverse * excess,
    };
    // The unknowns are ln L, and C_s in its own unit.
    let [l, c] = [0, 1].map(|i| further.now[(i, i)].sqrt());
    if l < EXACT.0 && c < EXACT.1 * found.x[1].abs() {
        return None;
    }
    let load = |farad: f64| Load {
        cap_f: (farad > 0.0).then_some(farad),
        ..barest.load.clone()
    };
    CANDIDATES_F
        .into_iter()
        .map(load)
        .filter(|load| takes.iter().all(|t| t.load != *load))
        .filter_map(|load| further.under(load))
        .reduce(|best, a| if a.l.min(a.c) < best.l.min(best.c) { a } else { best })
        .filter(|a| a.l.min(a.c) < WORTH)
}

/// Noise of f0 and Q in the middle one of the takes, relative.
fn typical_noise(takes: &[Take]) -> [f64; 2] {
    let of = |t: &Take| match &t.seen {
        Seen::Resonance { f0_hz, q, .. } => {
            let q = q.map_or(1.0, |q| q.u_noise / q.value);
            Some([f0_hz.u_noise / f0_hz.value, q])
        }
        Seen::Curve { .. } => None,
    };
    let mut noise: Vec<[f64; 2]> = takes.iter().filter_map(of).collect();
    noise.sort_by(|a, b| a[0].total_cmp(&b[0]));
    // As good as the points of a curve allow, about.
    noise.get(noise.len() / 2).copied().unwrap_or([CURVE_FLOOR; 2])
}

/// What is known before a further take.
struct Further<'a> {
    known: &'a Known,
    found: &'a Found,
    barest: &'a Take,
    /// By how much the takes scatter more than their noise, as a factor of variance.
    excess: f64,
    noise: [f64; 2],
    /// Standard uncertainty of the further capacitor, relative.
    tolerance: f64,
    /// Covariance of the unknowns.
    now: DMatrix<f64>,
}

impl Further<'_> {
    /// What a take under a load would leave of the uncertainties.
    fn under(&self, load: Load) -> Option<Advice> {
        let n = self.found.layout.size;
        let rows = self.slopes(&load)?;
        // The covariance with the new capacitor's factor beside, then the two data taken in (Kalman's step).
        let mut p = DMatrix::zeros(n + 1, n + 1);
        p.view_mut((0, 0), (n, n)).copy_from(&self.now);
        p[(n, n)] = self.tolerance * self.tolerance;
        let s = &rows * &p * rows.transpose() + DMatrix::identity(2, 2) * self.excess;
        let gain = &p * rows.transpose() * s.try_inverse()?;
        let after = &p - gain * &rows * &p;
        let left = |i: usize| match self.now[(i, i)].sqrt() {
            now if now > 0.0 => after[(i, i)].max(0.0).sqrt() / now,
            _ => 1.0,
        };
        let (l, c) = (left(0), left(1));
        (l.is_finite() && c.is_finite()).then_some(Advice { load, l, c })
    }

    /// Rows of the two data, in units of their noise: by the unknowns, and by the capacitor's own factor.
    fn slopes(&self, load: &Load) -> Option<DMatrix<f64>> {
        const STEP: f64 = 1e-4;
        let n = self.found.layout.size;
        let mut rows = DMatrix::zeros(2, n + 1);
        for i in 0..=n {
            let at = |sign: f64| {
                let mut x = self.found.x.clone();
                if i == n {
                    return self.figures(load, &x, 1.0 + sign * STEP);
                }
                x[i] = (x[i] + sign * STEP).max(if i == 1 { 0.0 } else { f64::NEG_INFINITY });
                self.figures(load, &x, 1.0)
            };
            let (above, below) = (at(1.0)?, at(-1.0)?);
            for k in 0..2 {
                rows[(k, i)] = (above[k] - below[k]) / (2.0 * STEP) / self.noise[k];
            }
        }
        Some(rows)
    }

    /// Logarithms of f0 and Q under a load, its capacitor off by a factor; of the peak where a second-order circuit does not do.
    fn figures(&self, load: &Load, x: &[f64], factor: f64) -> Option<[f64; 2]> {
        let coil = self.found.layout.coil(x, self.known);
        // Parts and input as the fit has them: what it cannot tell apart, a further take will not either.
        let trial = Take {
            load: load.clone(),
            ..self.barest.clone()
        };
        let mut load = self.found.layout.loaded(&trial, x);
        load.cap_f = load.cap_f.map(|c| c * factor);
        let f = predict::figures(&Wiring::from(load), &coil);
        match f.second_order {
            Some(s) => Some([s.f0_hz.ln(), s.q.ln()]),
            None => Some([f.peak_hz?.ln(), f.height_db? / 8.686]),
        }
    }
}
