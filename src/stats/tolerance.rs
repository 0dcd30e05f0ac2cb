//! Tolerance factors: how many standard deviations about the mean of a sample hold a share of all with a stated confidence.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// The same for so many quantities of a thing together, whatever hangs on what: each holds its part of the share with its part of the
/// confidence (Bonferroni).
pub fn two_sided_jointly(n: usize, quantities: usize, share: f64, confidence: f64) -> Option<f64> {
    let each = |p: f64| 1.0 - (1.0 - p) / quantities as f64;
    two_sided(n, each(share), each(confidence))
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
    let z = Normal::standard();
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
