//! Tolerance factors: how many standard deviations about the mean of a sample hold a share of all with a stated confidence; and
//! outliers.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::student;

fn normal() -> Option<Normal> {
    Normal::new(0.0, 1.0).ok()
}

/// Two-sided factor k: mean ± k s holds at least `share` of a normal population with probability `confidence`. Exact, by
/// integration over the mean and bisection (Hahn and Meeker, Statistical Intervals). `None` below two values.
pub fn two_sided(n: usize, share: f64, confidence: f64) -> Option<f64> {
    if n < 2 || !(0.0..1.0).contains(&share) || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    let (mut lo, mut hi) = (0.1, 2.0);
    while probability(n, share, hi)? < confidence {
        hi *= 2.0;
        if hi > 1e6 {
            return None;
        }
    }
    for _ in 0..80 {
        let mid = 0.5 * (lo + hi);
        if probability(n, share, mid)? < confidence {
            lo = mid
        } else {
            hi = mid
        }
    }
    Some(0.5 * (lo + hi))
}

/// Probability that mean ± k s of n values holds the share.
fn probability(n: usize, share: f64, k: f64) -> Option<f64> {
    let z = normal()?;
    let chi = ChiSquared::new((n - 1) as f64).ok()?;
    // With the sample's mean x standard errors off, the half-width r that holds the share solves F(x' + r) - F(x' - r) = share.
    let held = |off: f64, r: f64| z.cdf(off + r) - z.cdf(off - r);
    let radius = |off: f64| {
        let (mut lo, mut hi) = (0.0, off.abs() + 10.0);
        for _ in 0..60 {
            let mid = 0.5 * (lo + hi);
            if held(off, mid) < share { lo = mid } else { hi = mid }
        }
        0.5 * (lo + hi)
    };
    let root = (n as f64).sqrt();
    // Simpson over the standardised mean from 0 to 8; the integrand is even.
    const STEPS: usize = 160;
    let h = 8.0 / STEPS as f64;
    let mut sum = 0.0;
    for i in 0..=STEPS {
        let x = i as f64 * h;
        let r = radius(x / root);
        let weight = match i {
            0 | STEPS => 1.0,
            i if i % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let density = (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt();
        sum += weight * density * chi.sf((n - 1) as f64 * (r / k).powi(2));
    }
    Some(2.0 * sum * h / 3.0)
}

/// Howe's approximation to the two-sided factor (NIST/SEMATECH e-Handbook, 7.2.6.3).
pub fn two_sided_howe(n: usize, share: f64, confidence: f64) -> Option<f64> {
    let z = normal()?.inverse_cdf(0.5 * (1.0 + share));
    let chi = ChiSquared::new((n - 1) as f64).ok()?.inverse_cdf(1.0 - confidence);
    let n = n as f64;
    Some(z * ((n - 1.0) * (1.0 + 1.0 / n) / chi).sqrt())
}

/// One-sided factor by Natrella's approximation (the same section).
pub fn one_sided(n: usize, share: f64, confidence: f64) -> Option<f64> {
    let z = normal()?;
    let (zp, zc) = (z.inverse_cdf(share), z.inverse_cdf(confidence));
    let n = n as f64;
    let a = 1.0 - zc * zc / (2.0 * (n - 1.0));
    let b = zp * zp - zc * zc / n;
    Some((zp + (zp * zp - a * b).sqrt()) / a)
}

/// Grubbs' statistic of the value farthest from the mean, and its place.
pub fn grubbs(x: &[f64]) -> Option<(f64, usize)> {
    let (m, s) = (super::mean(x)?, super::sd(x)?);
    let far = |v: &f64| (v - m).abs() / s;
    let (i, v) = x.iter().enumerate().max_by(|a, b| far(a.1).total_cmp(&far(b.1)))?;
    (s > 0.0).then(|| (far(v), i))
}

/// Critical value of Grubbs' statistic, one-sided at `level`.
pub fn grubbs_critical(n: usize, level: f64) -> Option<f64> {
    if n < 3 {
        return None;
    }
    let m = n as f64;
    let t = student(1.0 - level / m, m - 2.0);
    Some((m - 1.0) / m.sqrt() * (t * t / (m - 2.0 + t * t)).sqrt())
}
