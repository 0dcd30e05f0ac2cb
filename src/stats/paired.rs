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

/// Result of a t test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Test {
    pub t: f64,
    pub freedom: f64,
    /// Probability of a larger |t| by chance, two-sided.
    pub p: f64,
}

/// Two one-sided tests against limits to either side (Schuirmann's TOST): small p, the difference is within.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equivalence {
    pub t_lower: f64,
    pub t_upper: f64,
    /// The larger of both tests' probabilities.
    pub p: f64,
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

    pub fn test(&self) -> Test {
        let t = self.mean / self.se;
        let freedom = (self.n - 1) as f64;
        Test {
            t,
            freedom,
            p: 2.0 * upper_tail(t.abs(), freedom),
        }
    }
}

/// Two one-sided tests of a difference with its standard error; infinite freedom: a normal distribution.
pub fn equivalence(difference: f64, se: f64, freedom: f64, limit: f64) -> Equivalence {
    let t_lower = (difference + limit) / se;
    let t_upper = (difference - limit) / se;
    Equivalence {
        t_lower,
        t_upper,
        p: upper_tail(t_lower, freedom).max(upper_tail(-t_upper, freedom)),
    }
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
