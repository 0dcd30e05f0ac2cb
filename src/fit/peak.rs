//! Peak frequency and height: from a model, with uncertainty, and from the measured curve itself.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::Fitted;
use super::model::{Model, f0_q};
use super::natural;
use super::solve::inverse_normal;
use crate::estimate::Estimate;
use crate::transfer::search;

/// Where |shape| is largest and how far above the level at low frequency (dB).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    pub hz: f64,
    pub db: f64,
}

/// Peak of the model; `None` where no frequency is above the level at low frequency.
pub fn of_model(model: &Model, theta: &[f64]) -> Option<Peak> {
    let own = model.own(theta);
    if own.is_plain() {
        let (f0, q) = f0_q(model.f_ref, own.b1, own.b2);
        let inside = 1.0 - 1.0 / (2.0 * q * q);
        return (inside > 0.0).then(|| Peak {
            hz: f0 * inside.sqrt(),
            db: 20.0 * (q / (1.0 - 1.0 / (4.0 * q * q)).sqrt()).log10(),
        });
    }
    let zero = natural::level(&own, model.f_ref)?;
    let w_ref = model.w_ref();
    let gain = |f: f64| own.response(Complex64::new(0.0, f / model.f_ref), w_ref).norm() / zero;
    // A coarse look over all that a pickup can do, then golden-section search in ln f.
    let grid = |i: usize| 50.0 * 2f64.powf(i as f64 / 24.0);
    let (mut top, mut highest) = (0, 0.0);
    for i in 0..=240 {
        let g = gain(grid(i));
        if g > highest {
            (top, highest) = (i, g);
        }
    }
    if top == 0 || top == 240 || highest <= 1.0 + 1e-6 {
        return None;
    }
    let (low, high) = (grid(top - 1).ln(), grid(top + 1).ln());
    let hz = search::maximum(|x| gain(x.exp()), low, high, 80).exp();
    Some(Peak {
        hz,
        db: 20.0 * gain(hz).log10(),
    })
}

/// Peak frequency and height with their uncertainties, and how they follow the parameters.
pub struct Shown {
    pub hz: Estimate,
    pub db: Estimate,
    pub slopes: [DVector<f64>; 2],
}

/// Peak frequency and height of a fit, by propagation of the covariance. A peak that vanishes on one side of a parameter is
/// differenced to the other.
pub fn estimate(fit: &Fitted) -> Option<Shown> {
    let at = |theta: &[f64]| of_model(&fit.model, theta).map(|p| [p.hz, p.db]);
    let here = at(&fit.theta)?;
    let total = fit.total();
    let mut slopes = [DVector::zeros(fit.theta.len()), DVector::zeros(fit.theta.len())];
    // Gain, exciter's place, corners and delay move no peak.
    for i in 1..fit.own_count() {
        let sd = total[(i, i)].max(0.0).sqrt();
        if sd == 0.0 {
            continue;
        }
        // A tenth of a sigma is small enough to be linear where the curve tells the parameter, but rounding must not eat it.
        let size = fit.theta[i].abs().max(1e-3);
        let h = (0.1 * sd).min(1e-3 * size.max(1.0)).max(1e-6 * size);
        let shifted = |by: f64| {
            let mut t = fit.theta.clone();
            t[i] += by;
            at(&t)
        };
        let (above, below, apart) = match (shifted(h), shifted(-h)) {
            (Some(u), Some(d)) => (u, d, 2.0 * h),
            (Some(u), None) => (u, here, h),
            (None, Some(d)) => (here, d, h),
            (None, None) => return None,
        };
        for (k, slopes) in slopes.iter_mut().enumerate() {
            slopes[i] = (above[k] - below[k]) / apart;
        }
    }
    let u = |g: &DVector<f64>, c: &DMatrix<f64>| g.dot(&(c * g)).max(0.0).sqrt();
    let of = |k: usize| Estimate::new(here[k], u(&slopes[k], &total), u(&slopes[k], &fit.noise));
    Some(Shown {
        hz: of(0)?,
        db: of(1)?,
        slopes,
    })
}

/// A point of the measured curve near its model.
#[derive(Debug, Clone, Copy)]
pub struct Near {
    pub f: f64,
    pub db: f64,
    pub u_db: f64,
    pub model_db: f64,
}

/// Peak of a measured curve.
#[derive(Debug, Clone, Copy)]
pub struct CurvePeak {
    pub hz: f64,
    pub db: f64,
    /// From the noise of the points.
    pub noise_hz: f64,
    pub noise_db: f64,
    /// From the choice of the polynomial.
    pub shape_hz: f64,
    pub shape_db: f64,
}

/// Peak of the measured curve. A polynomial in ln f through what the model leaves carries the difference, the model itself
/// the roundness of the top, which no polynomial of low order could follow.
pub fn of_curve(curve: &[Near], from: f64, to: f64, model_db: impl Fn(f64) -> f64) -> Option<CurvePeak> {
    let inside: Vec<usize> = (0..curve.len())
        .filter(|i| (from..=to).contains(&curve[*i].f))
        .collect();
    let top = *inside
        .iter()
        .max_by(|a, b| smooth3(curve, **a).total_cmp(&smooth3(curve, **b)))?;
    if top == *inside.first()? || top == *inside.last()? {
        return None;
    }
    let centre = curve[top].f.ln();
    // As wide as the top is round: out to 1.5 dB below it, a sixth of an octave at least, half an octave at most.
    let height = smooth3(curve, top);
    let reach = |dir: i64| {
        let mut i = top as i64;
        while let Some(p) = usize::try_from(i + dir).ok().and_then(|k| curve.get(k)) {
            let far = (p.f.ln() - centre).abs();
            if far > 0.35 || (far > 0.12 && p.db < height - 1.5) {
                break;
            }
            i += dir;
        }
        i as usize
    };
    let near = &curve[reach(-1)..=reach(1)];
    let best = top_of(near, centre, 4, &model_db)?;
    let plainer = top_of(near, centre, 3, &model_db)?;
    Some(CurvePeak {
        shape_hz: (best.hz - plainer.hz).abs(),
        shape_db: (best.db - plainer.db).abs(),
        ..best
    })
}

/// Maximum of model plus a polynomial with `terms` coefficients.
fn top_of(near: &[Near], centre: f64, terms: usize, model_db: &impl Fn(f64) -> f64) -> Option<CurvePeak> {
    if near.len() < terms + 2 {
        return None;
    }
    let mut a = DMatrix::zeros(near.len(), terms);
    let mut b = DVector::zeros(near.len());
    for (r, p) in near.iter().enumerate() {
        let x = p.f.ln() - centre;
        let w = 1.0 / p.u_db.max(1e-4);
        for c in 0..terms {
            a[(r, c)] = w * x.powi(c as i32);
        }
        b[r] = w * (p.db - p.model_db);
    }
    let cov = inverse_normal(&a)?;
    let k = &cov * a.tr_mul(&b);
    let value = |x: f64| model_db((centre + x).exp()) + (0..terms).map(|c| k[c] * x.powi(c as i32)).sum::<f64>();
    let (first, last) = (near.first()?.f.ln() - centre, near.last()?.f.ln() - centre);
    let x = search::maximum(value, first, last, 70);
    let h = 0.01;
    let bend = (value(x + h) - 2.0 * value(x) + value(x - h)) / (h * h);
    if !(x.is_finite() && bend < 0.0 && x > first + 1e-6 && x < last - 1e-6) {
        return None;
    }
    let gx = DVector::from_fn(terms, |c, _| match c {
        0 => 0.0,
        _ => -(c as f64) * x.powi(c as i32 - 1) / bend,
    });
    let gy = DVector::from_fn(terms, |c, _| x.powi(c as i32));
    let u = |g: &DVector<f64>| (g.transpose() * &cov * g)[(0, 0)].max(0.0).sqrt();
    let hz = (centre + x).exp();
    Some(CurvePeak {
        hz,
        db: value(x),
        noise_hz: hz * u(&gx),
        noise_db: u(&gy),
        shape_hz: 0.0,
        shape_db: 0.0,
    })
}

fn smooth3(curve: &[Near], i: usize) -> f64 {
    let r = &curve[i.saturating_sub(1)..(i + 2).min(curve.len())];
    r.iter().map(|p| p.db).sum::<f64>() / r.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Second-order peaks by the closed formulas, read off a curve whose model is 6 % off in f0 and 20 % in Q.
    #[test]
    fn a_peak_is_read_off_the_curve_whatever_the_model() {
        for q in [0.85, 1.2, 2.0, 4.0, 8.0] {
            let f0 = 3500.0;
            let db = |f: f64, f0: f64, q: f64| {
                let x = f / f0;
                -10.0 * ((1.0 - x * x).powi(2) + (x / q).powi(2)).log10()
            };
            let model = |f: f64| db(f, 1.01 * f0, 1.05 * q);
            let curve: Vec<Near> = crate::analysis::curve::grid([100.0, 20_000.0])
                .map(|g| Near {
                    f: g.0,
                    db: db(g.0, f0, q),
                    u_db: 0.001,
                    model_db: model(g.0),
                })
                .collect();
            let p = of_curve(&curve, 300.0, 20_000.0, model).unwrap();
            let hz = f0 * (1.0 - 1.0 / (2.0 * q * q)).sqrt();
            let top = 20.0 * (q / (1.0 - 1.0 / (4.0 * q * q)).sqrt()).log10();
            assert!(
                (p.hz / hz - 1.0).abs() < 5e-4 + 2.0 * p.shape_hz / hz,
                "{q}: {} {hz}",
                p.hz
            );
            assert!((p.db - top).abs() < 0.005 + 2.0 * p.shape_db, "{q}: {} {top}", p.db);
            assert!(p.shape_hz / hz < 0.01 && p.shape_db < 0.15, "{q}: {p:?}");
        }
    }
}
