//! Peak frequency and height: from a model, with uncertainty, and from the measured curve itself.

use nalgebra::{DMatrix, DVector};

use super::model::{Model, Param, f0_q};
use super::solve::inverse_normal;
use super::{Fitted, Kind};
use crate::estimate::Estimate;

/// Where |shape| is largest and how far above the level at low frequency (dB).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    pub hz: f64,
    pub db: f64,
}

/// Peak of the model; `None` where no frequency is above the DC gain.
pub fn of_model(model: &Model, theta: &[f64], kind: Kind) -> Option<Peak> {
    if kind == Kind::SecondOrder {
        let (f0, q) = f0_q(model.f_ref, model.get(theta, Param::B1)?, model.get(theta, Param::B2)?);
        let inside = 1.0 - 1.0 / (2.0 * q * q);
        return (inside > 0.0).then(|| Peak {
            hz: f0 * inside.sqrt(),
            db: 20.0 * (q / (1.0 - 1.0 / (4.0 * q * q)).sqrt()).log10(),
        });
    }
    let dc = model.shape(theta, 0.0).norm();
    let gain = |f: f64| model.shape(theta, f).norm() / dc;
    // A coarse look over all that a pickup can do, then golden-section search in ln f.
    let grid = |i: usize| 50.0 * 2f64.powf(i as f64 / 24.0);
    let mut best = (0, 0.0);
    for i in 0..=240 {
        let g = gain(grid(i));
        if g > best.1 {
            best = (i, g);
        }
    }
    if best.0 == 0 || best.0 == 240 || best.1 <= 1.0 + 1e-6 {
        return None;
    }
    let (mut a, mut b) = (grid(best.0 - 1).ln(), grid(best.0 + 1).ln());
    let ratio = 0.5 * (5f64.sqrt() - 1.0);
    for _ in 0..80 {
        let (c, d) = (b - ratio * (b - a), a + ratio * (b - a));
        if gain(c.exp()) > gain(d.exp()) {
            b = d;
        } else {
            a = c;
        }
    }
    let hz = (0.5 * (a + b)).exp();
    Some(Peak {
        hz,
        db: 20.0 * gain(hz).log10(),
    })
}

/// Peak frequency and height of a fit with their uncertainties, by propagation of the covariance.
pub fn estimate(fit: &Fitted) -> Option<(Estimate, Estimate)> {
    let at = of_model(&fit.model, &fit.theta, fit.kind)?;
    let (hz, db) = propagate2(fit, |theta| of_model(&fit.model, theta, fit.kind).map(|p| (p.hz, p.db)))?;
    Some((Estimate::new(at.hz, hz.0, hz.1)?, Estimate::new(at.db, db.0, db.1)?))
}

/// Propagates the covariance to two functions of the parameters; returns (u, u_noise) of each. A function that ceases to
/// exist on one side (a peak that vanishes) is differenced to the other.
pub fn propagate2(fit: &Fitted, f: impl Fn(&[f64]) -> Option<(f64, f64)>) -> Option<((f64, f64), (f64, f64))> {
    let p = fit.theta.len();
    let here = f(&fit.theta)?;
    let (mut ga, mut gb) = (DVector::zeros(p), DVector::zeros(p));
    for i in 0..p {
        let sd = fit.total[(i, i)].max(0.0).sqrt();
        if sd == 0.0 {
            continue;
        }
        // A tenth of a sigma is small enough to be linear, but rounding must not eat it.
        let h = (0.1 * sd).max(1e-6 * fit.theta[i].abs());
        let shifted = |by: f64| {
            let mut t = fit.theta.clone();
            t[i] += by;
            f(&t)
        };
        let (a, b) = match (shifted(h), shifted(-h)) {
            (Some(u), Some(d)) => ((u.0 - d.0) / (2.0 * h), (u.1 - d.1) / (2.0 * h)),
            (Some(u), None) => ((u.0 - here.0) / h, (u.1 - here.1) / h),
            (None, Some(d)) => ((here.0 - d.0) / h, (here.1 - d.1) / h),
            (None, None) => return None,
        };
        ga[i] = a;
        gb[i] = b;
    }
    let u = |g: &DVector<f64>, c: &DMatrix<f64>| (g.transpose() * c * g)[(0, 0)].max(0.0).sqrt();
    Some((
        (u(&ga, &fit.total), u(&ga, &fit.noise)),
        (u(&gb, &fit.total), u(&gb, &fit.noise)),
    ))
}

/// Peak of the measured curve: a weighted cubic through ln|G| over the points near the top.
///
/// `curve`: (f, dB, u in dB). Returns frequency, height in the same dB, and the noise uncertainties of both.
pub fn of_curve(curve: &[(f64, f64, f64)], from: f64, to: f64) -> Option<(f64, f64, f64, f64)> {
    let inside: Vec<usize> = (0..curve.len())
        .filter(|i| (from..=to).contains(&curve[*i].0))
        .collect();
    let top = *inside
        .iter()
        .max_by(|a, b| smooth3(curve, **a).total_cmp(&smooth3(curve, **b)))?;
    let centre = curve[top].0.ln();
    // As wide as the top is round: out to 1.5 dB below it, a quarter of an octave at least, an octave at most.
    let height = smooth3(curve, top);
    let reach = |dir: i64| {
        let mut i = top as i64;
        while let Some(p) = usize::try_from(i + dir).ok().and_then(|k| curve.get(k)) {
            let far = (p.0.ln() - centre).abs();
            if far > 0.35 || (far > 0.12 && p.1 < height - 1.5) {
                break;
            }
            i += dir;
        }
        i as usize
    };
    let near = &curve[reach(-1)..=reach(1)];
    if near.len() < 6 || top == *inside.first()? || top == *inside.last()? {
        return None;
    }
    let mut a = DMatrix::zeros(near.len(), 4);
    let mut b = DVector::zeros(near.len());
    for (r, (f, db, u)) in near.iter().enumerate() {
        let x = f.ln() - centre;
        let w = 1.0 / u.max(1e-4);
        for c in 0..4 {
            a[(r, c)] = w * x.powi(c as i32);
        }
        b[r] = w * db;
    }
    let cov = inverse_normal(&a)?;
    let k = &cov * a.tr_mul(&b);
    // Zero of the slope nearest to the centre.
    let (c1, c2, c3) = (k[1], 2.0 * k[2], 3.0 * k[3]);
    let mut x = if c2 != 0.0 { -c1 / c2 } else { return None };
    for _ in 0..20 {
        let slope = c1 + x * (c2 + x * c3);
        let bend = c2 + 2.0 * x * c3;
        if bend == 0.0 {
            return None;
        }
        x -= slope / bend;
    }
    let bend = c2 + 2.0 * x * c3;
    let (lo, hi) = (near.first()?.0.ln() - centre, near.last()?.0.ln() - centre);
    if !(x.is_finite() && bend < 0.0 && x > lo && x < hi) {
        return None;
    }
    let db = k[0] + x * (k[1] + x * (k[2] + x * k[3]));
    let gx = DVector::from_vec(vec![0.0, -1.0 / bend, -2.0 * x / bend, -3.0 * x * x / bend]);
    let gy = DVector::from_vec(vec![1.0, x, x * x, x * x * x]);
    let u = |g: &DVector<f64>| (g.transpose() * &cov * g)[(0, 0)].max(0.0).sqrt();
    let hz = (centre + x).exp();
    Some((hz, db, hz * u(&gx), u(&gy)))
}

fn smooth3(curve: &[(f64, f64, f64)], i: usize) -> f64 {
    let r = &curve[i.saturating_sub(1)..(i + 2).min(curve.len())];
    r.iter().map(|p| p.1).sum::<f64>() / r.len() as f64
}
