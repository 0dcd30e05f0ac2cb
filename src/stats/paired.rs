//! Before and after: paired differences, their test, and the test that they are none that matters.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{mean, sd};

/// Paired differences.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paired {
    pub n: usize,
    pub mean: f64,
    pub sd: f64,
    /// Standard error of the mean.
    pub se: f64,
}

impl Paired {
    /// `None` below two pairs.
    pub fn of(differences: &[f64]) -> Option<Self> {
        let sd = sd(differences)?;
        let n = differences.len();
        Some(Paired {
            n,
            mean: mean(differences)?,
            sd,
            se: sd / (n as f64).sqrt(),
        })
    }

    /// Probability of a larger mean, to either side, by chance (t test).
    pub fn p(&self) -> f64 {
        2.0 * upper_tail((self.mean / self.se).abs(), (self.n - 1) as f64)
    }
}

/// The larger probability of two one-sided tests of a difference against limits to either side (Schuirmann's TOST): where it is small,
/// the difference is within. Infinite freedom: a normal distribution.
pub fn equivalence(difference: f64, se: f64, freedom: f64, limit: f64) -> f64 {
    let [lower, upper] = [difference + limit, difference - limit].map(|d| d / se);
    upper_tail(lower, freedom).max(upper_tail(-upper, freedom))
}

/// P(T > t).
fn upper_tail(t: f64, freedom: f64) -> f64 {
    if t.is_nan() {
        return 1.0;
    }
    // Beyond this the distribution is normal to all digits that matter.
    let freedom = freedom.min(1e8);
    StudentsT::new(0.0, 1.0, freedom).map_or(1.0, |d| d.sf(t))
}
