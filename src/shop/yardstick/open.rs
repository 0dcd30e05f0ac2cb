//! What leaves a question open, and so what would tell.

use super::parts::{Between, Question};
use super::rule::{Answer, RISK, Said};
use super::scatter::Scatter;
pub use crate::stats::Open;
use crate::stats::student;

/// How likely it is to be told then, if the difference is as large as it seems now.
const LIKELY: f64 = 0.8;
/// Nearer than this to what matters, as a share of that, nothing at a bench tells on which side it is.
const NEAR: f64 = 0.1;

impl Said {
    /// The least of which would have to go; `None` where it is told.
    pub fn leaves_open(&self) -> Option<Open> {
        if self.answer != Answer::CannotTell {
            return None;
        }
        if (self.difference.abs() / self.asked.matters - 1.0).abs() < NEAR {
            return Some(Open::Near);
        }
        let b = self.asked.between;
        let (mut noise, mut laying, mut together) = (b, b, b);
        (noise.first.noise, noise.second.noise) = (0.0, 0.0);
        (laying.first.laying, laying.second.laying) = (Scatter::NONE, Scatter::NONE);
        together.question = Question::LaidDown;
        let apart = match b.question {
            Question::OtherDay => Some(Open::Days),
            Question::OtherRig => Some(Open::Rigs),
            Question::Predicted => Some(Open::Stated),
            Question::InPlace | Question::LaidDown => None,
        };
        let mut all = vec![(Open::Noise, noise)];
        all.extend(apart.map(|open| (open, together)));
        all.push((Open::Laying, laying));
        let left = |b: &Between| b.scatter().sd;
        let one = all.iter().find(|(_, without)| self.tells(without));
        // Where none alone would do, the one that does most.
        let most = || all.iter().min_by(|x, y| left(&x.1).total_cmp(&left(&y.1)));
        one.or_else(most).map(|o| o.0)
    }

    /// Whether so much less uncertainty would most likely tell.
    pub(super) fn tells(&self, then: &Between) -> bool {
        let size = self.difference.abs();
        // Below what matters it is to be told the same, above it different.
        let risk = if size < self.asked.matters { RISK } else { self.risk };
        let scatter = then.scatter();
        let off = (self.asked.matters - size).abs();
        scatter.half_width(risk) + student(LIKELY, scatter.freedom) * scatter.sd < off
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::yardstick::{Asked, Parts, Quantity, judge};

    #[test]
    fn what_would_tell_is_what_leaves_it_open() {
        let parts = |noise: f64, laying: f64, days: f64, chain: f64| Parts {
            noise,
            laying: Scatter::studied(laying, 30.0),
            days: Scatter::studied(days, 30.0),
            chain,
            ..Parts::EXACT
        };
        let open = |question, difference: f64, p: Parts| {
            let between = Between::new(question, p, p);
            let asked = Asked {
                quantity: Quantity::Q,
                difference,
                between,
                matters: 5.0,
            };
            judge(&[asked])[0].leaves_open()
        };
        for (question, p, want) in [
            (Question::InPlace, parts(2.0, 9.0, 9.0, 9.0), Open::Noise),
            (Question::LaidDown, parts(0.1, 2.0, 9.0, 9.0), Open::Laying),
            (Question::OtherDay, parts(0.1, 0.3, 2.0, 9.0), Open::Days),
            (Question::OtherRig, parts(0.1, 0.3, 0.3, 2.0), Open::Rigs),
            (Question::Predicted, parts(0.1, 0.3, 9.0, 2.0), Open::Stated),
            (Question::Predicted, parts(0.1, 2.0, 9.0, 0.3), Open::Laying),
            // None alone would do.
            (Question::OtherDay, parts(0.1, 4.0, 3.0, 0.0), Open::Laying),
        ] {
            assert_eq!(open(question, 1.0, p), Some(want), "{question:?} {p:?}");
        }
        let p = parts(0.1, 2.0, 0.0, 0.0);
        assert_eq!(open(Question::LaidDown, 5.2, p), Some(Open::Near));
        assert_eq!(open(Question::LaidDown, 20.0, p), None);
    }
}
