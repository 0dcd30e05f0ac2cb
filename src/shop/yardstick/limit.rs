//! A reading against a limit: within it for sure, beyond it for sure, or nobody can tell.

use serde::{Deserialize, Serialize};

use super::parts::Between;
use super::rule::{Answer, RISK};

/// What decided: relative, of levels in dB.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// From what was agreed on.
    pub off: f64,
    /// To either side.
    pub limit: f64,
    /// Half-width of the 95 % interval.
    pub half_95: f64,
    /// The band on either side of the limit in which nobody can tell.
    pub guard: f64,
    /// They lean on a usual value, which promises nothing of this rig.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub usual: bool,
    /// The same as what was agreed on, or different from it.
    pub answer: Answer,
}

impl Between {
    /// A value that lies `off` from what was agreed on, and may lie off by `limit`, to either side. The guard band is one-sided 95 %:
    /// a pickup on the limit itself is called the same in at most one case of twenty, and different in another.
    pub fn held(&self, off: f64, limit: f64) -> Held {
        let scatter = self.scatter();
        let guard = scatter.half_width(2.0 * RISK);
        let answer = if off.abs() - guard > limit {
            Answer::Different
        } else if off.abs() + guard <= limit {
            Answer::Same
        } else {
            Answer::CannotTell
        };
        Held {
            off,
            limit,
            half_95: scatter.half_width(RISK),
            guard,
            usual: scatter.usual.any(),
            answer,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::yardstick::{Parts, Question, Scatter};

    /// One-sided 95 %: 1.645 of the normal distribution, 2.353 of Student's t with three degrees of freedom (tables).
    #[test]
    fn nearer_than_the_guard_band_nobody_can_tell() {
        let of = |laying: Scatter| {
            let second = Parts { laying, ..Parts::EXACT };
            Between::new(Question::LaidDown, Parts::EXACT, second)
        };
        for (laying, guard) in [
            (Scatter::known(0.01), 0.016_45),
            (Scatter::studied(0.01, 3.0), 0.023_53),
        ] {
            let between = of(laying);
            assert!((between.held(0.0, 0.05).guard - guard).abs() < 1e-5);
            for (off, want) in [
                (0.0, Answer::Same),
                (guard - 0.05 + 1e-5, Answer::Same),
                (0.05 - guard + 1e-5, Answer::CannotTell),
                (-0.05, Answer::CannotTell),
                (0.05 + guard - 1e-5, Answer::CannotTell),
                (-0.05 - guard - 1e-5, Answer::Different),
                (f64::NAN, Answer::CannotTell),
            ] {
                assert_eq!(between.held(off, 0.05).answer, want, "{off}");
            }
        }
        let exact = Between::new(Question::LaidDown, Parts::EXACT, Parts::EXACT);
        assert_eq!(exact.held(0.03, 0.03).answer, Answer::Same);
    }
}
