//! Statistics of a shop: plain samples in, numbers with their meaning out. No records, no words, no files.
//!
//! Checked against published worked examples (`tests/reference/stats.rs`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor, Normal, StudentsT};

pub mod course;
pub mod gauge;
pub mod individuals;
pub mod odd;
pub mod paired;
pub mod tolerance;
pub mod trend;
pub mod two;

/// What can be said of a difference.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// By more than matters, for sure.
    Different,
    /// By less than matters, for sure.
    Same,
    #[default]
    CannotTell,
}

/// What leaves a difference open: without it, it would most likely be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Open {
    /// The noise of the takes.
    Noise,
    /// How the pickup was laid down.
    Laying,
    /// That they are of two days.
    Days,
    /// That they are of two rigs, or of two states of one.
    Rigs,
    /// What is stated of coil, parts and input.
    Stated,
    /// The difference is as large as what matters.
    Near,
}

/// Arithmetic mean; `None` of nothing.
pub fn mean(x: &[f64]) -> Option<f64> {
    (!x.is_empty()).then(|| x.iter().sum::<f64>() / x.len() as f64)
}

/// Standard deviation with n - 1; `None` below two values.
pub fn sd(x: &[f64]) -> Option<f64> {
    if x.len() < 2 {
        return None;
    }
    let m = mean(x)?;
    Some((x.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (x.len() - 1) as f64).sqrt())
}

/// Of an even number half the two in the middle; NaN of nothing.
pub fn median(mut x: Vec<f64>) -> f64 {
    x.sort_by(f64::total_cmp);
    let n = x.len();
    match n {
        0 => f64::NAN,
        _ if n % 2 == 1 => x[n / 2],
        _ => 0.5 * (x[n / 2 - 1] + x[n / 2]),
    }
}

/// What belongs together by its key, in the order of the keys' first.
pub fn grouped<K: PartialEq, V>(all: impl IntoIterator<Item = (K, V)>) -> Vec<(K, Vec<V>)> {
    let mut groups: Vec<(K, Vec<V>)> = Vec::new();
    for (key, value) in all {
        match groups.iter_mut().find(|g| g.0 == key) {
            Some(g) => g.1.push(value),
            None => groups.push((key, vec![value])),
        }
    }
    groups
}

/// Each once, in the order of the first of each.
pub fn distinct<K: PartialEq>(all: impl Iterator<Item = K>) -> Vec<K> {
    grouped(all.map(|key| (key, ()))).into_iter().map(|g| g.0).collect()
}

/// From so many degrees of freedom on Student's t is the normal distribution to 2e-4 of its quantiles; the search for a quantile
/// of far more does not end.
const NORMAL_FROM: f64 = 1e4;

/// Quantile of Student's t; of less than one degree of freedom as of one, of none at all infinite.
pub fn student(p: f64, freedom: f64) -> f64 {
    if freedom.is_nan() {
        return f64::INFINITY;
    }
    if freedom >= NORMAL_FROM {
        return Normal::standard().inverse_cdf(p);
    }
    StudentsT::new(0.0, 1.0, freedom.max(1.0)).map_or(f64::INFINITY, |d| d.inverse_cdf(p))
}

/// Probability that the ratio of two variances of one scatter, found with so much freedom each, is larger by chance.
pub fn ratio_by_chance(ratio: f64, freedom: f64, freedom_below: f64) -> f64 {
    let below = freedom_below.min(NORMAL_FROM);
    FisherSnedecor::new(freedom, below).map_or(1.0, |d| d.sf(ratio))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published table: 12.706 at 1, 2.2622 at 9, 1.9600 at infinity; and an end whatever the freedom is.
    #[test]
    fn quantiles_of_student_end() {
        for (freedom, want) in [
            (0.5, 12.706),
            (1.0, 12.706),
            (9.0, 2.2622),
            (1e4, 1.96),
            (6e7, 1.96),
            (1e300, 1.96),
        ] {
            assert!((student(0.975, freedom) / want - 1.0).abs() < 3e-4, "{freedom}");
        }
        assert!((student(0.975, f64::INFINITY) - 1.959_964).abs() < 1e-6);
        assert!(student(0.975, f64::NAN).is_infinite());
    }

    /// Published table, upper 5 % points of F: 3.33 at 5 and 10, 2.09 at 12 and 30, 1.83 at 10 and infinity.
    #[test]
    fn ratios_of_variances() {
        for (ratio, above, below) in [(3.33, 5.0, 10.0), (2.09, 12.0, 30.0), (1.83, 10.0, f64::INFINITY)] {
            let p = ratio_by_chance(ratio, above, below);
            assert!((p - 0.05).abs() < 5e-4, "{ratio}: {p}");
        }
    }
}
