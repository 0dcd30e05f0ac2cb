//! The further take that would help most.

use nalgebra::DMatrix;

use super::search::Found;
use super::{Advice, CURVE_FLOOR, Known, Seen, Take};
use crate::network::knob::{Knob, UNIFORM};
use crate::network::{Wiring, predict};

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
    let layout = &found.layout;
    let mut noise: Vec<(f64, f64)> = takes
        .iter()
        .filter_map(|t| match &t.seen {
            Seen::Resonance { f0_hz, q, .. } => {
                Some((f0_hz.u_noise / f0_hz.value, q.map_or(1.0, |q| q.u_noise / q.value)))
            }
            Seen::Curve { .. } => None,
        })
        .collect();
    if noise.is_empty() {
        // As good as the points of a curve allow, about.
        noise.push((CURVE_FLOOR, CURVE_FLOOR));
    }
    noise.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (uf, uq) = noise[noise.len() / 2];
    let barest = takes
        .iter()
        .min_by(|a, b| a.capacitance().total_cmp(&b.capacitance()))?;
    let tolerance = known.tolerances.of(Knob::Cap).unwrap_or(0.0) * UNIFORM;
    let now = &found.inverse * excess;
    let (l_now, c_now) = (now[(0, 0)].sqrt(), now[(1, 1)].sqrt());
    // The unknowns are ln L, and C_s in its own unit.
    if l_now < EXACT.0 && c_now < EXACT.1 * found.x[1].abs() {
        return None;
    }
    let mut best: Option<Advice> = None;
    for farad in CANDIDATES_F {
        let mut load = barest.load.clone();
        load.cap_f = (farad > 0.0).then_some(farad);
        if takes.iter().any(|t| t.load == load) {
            continue;
        }
        let figures = |x: &[f64], factor: f64| {
            let coil = layout.coil(x, known);
            // Parts and input as the fit has them: what it cannot tell apart, a further take will not either.
            let trial = Take {
                load: load.clone(),
                ..barest.clone()
            };
            let mut l = layout.loaded(&trial, x);
            l.cap_f = l.cap_f.map(|c| c * factor);
            let wiring = Wiring::from(l);
            let f = predict::figures(&wiring, &coil);
            match f.second_order {
                Some(s) => Some((s.f0_hz.ln(), s.q.ln())),
                None => Some((f.peak_hz?.ln(), f.height_db? / 8.686)),
            }
        };
        // Rows of two data: by the unknowns, and by the capacitor's own factor.
        let n = layout.size;
        let mut rows = DMatrix::zeros(2, n + 1);
        let mut fine = true;
        for i in 0..=n {
            let step = 1e-4;
            let at = |sign: f64| {
                let mut x = found.x.clone();
                if i < n {
                    x[i] = (x[i] + sign * step).max(if i == 1 { 0.0 } else { f64::NEG_INFINITY });
                    figures(&x, 1.0)
                } else {
                    figures(&x, 1.0 + sign * step)
                }
            };
            match (at(1.0), at(-1.0)) {
                (Some(a), Some(b)) => {
                    rows[(0, i)] = (a.0 - b.0) / (2.0 * step) / uf;
                    rows[(1, i)] = (a.1 - b.1) / (2.0 * step) / uq;
                }
                _ => fine = false,
            }
        }
        if !fine {
            continue;
        }
        // The covariance with the new capacitor's factor beside, then the two data taken in (Kalman's step).
        let mut p = DMatrix::zeros(n + 1, n + 1);
        p.view_mut((0, 0), (n, n)).copy_from(&now);
        p[(n, n)] = tolerance * tolerance;
        let s = &rows * &p * rows.transpose() + DMatrix::identity(2, 2) * excess;
        let Some(gain) = s.try_inverse().map(|i| &p * rows.transpose() * i) else {
            continue;
        };
        let after = &p - gain * &rows * &p;
        let a = Advice {
            load,
            l: after[(0, 0)].max(0.0).sqrt() / l_now,
            c: if c_now > 0.0 {
                after[(1, 1)].max(0.0).sqrt() / c_now
            } else {
                1.0
            },
        };
        if a.l.is_finite() && a.c.is_finite() && best.as_ref().is_none_or(|b| a.l.min(a.c) < b.l.min(b.c)) {
            best = Some(a);
        }
    }
    best.filter(|a| a.l.min(a.c) < WORTH)
}
