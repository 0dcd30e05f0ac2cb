//! What would tell, where nobody can.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::parts::{Between, Question};
use super::rule::{Answer, RISK, Said};
use crate::stats::student;

/// More than so many nobody makes for one question.
const MOST: u32 = 30;
/// How likely it is to be told then, if the difference is as large as it seems now.
const LIKELY: f64 = 0.8;

/// Which of the two readings can be made again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Again {
    Both,
    /// The first is a pickup before the wax, a standard, a prediction.
    Second,
}

/// So many more readings of each that can be made again, and of which kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum More {
    /// Takes without touching the pickup.
    Takes(u32),
    /// Takes, laid down anew for each.
    Placements(u32),
    /// Both together in one sitting on one rig, laid down so many times each.
    OneSitting(u32),
    /// On so many other days, once each.
    Days(u32),
    /// No number of readings would: what is left open is the days', the chain's, or the difference is as large as what matters.
    Nothing,
}

impl Said {
    /// The cheapest that would most likely tell; `None` where it is told.
    pub fn would_tell(&self, again: Again) -> Option<More> {
        if self.answer != Answer::CannotTell {
            return None;
        }
        let b = &self.asked.between;
        let first = |n: f64| f64::from(u8::from(again == Again::Both)) * n;
        let more = |placements: f64, days: f64| Between {
            first: b.first.more(first(placements), first(days)),
            second: b.second.more(placements, days),
            ..*b
        };
        let placed = |n: f64| more(n, 0.0);
        let on_days = |n: f64| more(n, n);
        let sitting = |n: f64| Between::new(Question::LaidDown, b.first.afresh(n), b.second.afresh(n));
        let needed = |at: &dyn Fn(f64) -> Between| (1..=MOST).find(|n| self.tells(&at(f64::from(*n))));
        let told = match (b.question, again) {
            (Question::InPlace | Question::Predicted, _) => needed(&placed).map(More::Takes),
            (Question::LaidDown, _) => needed(&placed).map(More::Placements),
            (Question::OtherDay | Question::OtherRig, Again::Both) => needed(&sitting).map(More::OneSitting),
            (Question::OtherDay | Question::OtherRig, Again::Second) => needed(&placed)
                .map(More::Placements)
                .or_else(|| needed(&on_days).map(More::Days)),
        };
        Some(told.unwrap_or(More::Nothing))
    }

    fn tells(&self, then: &Between) -> bool {
        let (off, risk) = (
            self.asked.matters - self.difference.abs(),
            // Below what matters it is to be told the same, above it different.
            if self.difference.abs() < self.asked.matters {
                RISK
            } else {
                self.risk
            },
        );
        let scatter = then.scatter();
        scatter.half_width(risk) + student(LIKELY, scatter.freedom) * scatter.sd < off.abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::yardstick::{Asked, Parts, Quantity, Scatter, judge};

    fn said(question: Question, difference: f64, parts: Parts) -> Said {
        let between = Between::new(question, parts, parts);
        judge(&[Asked {
            quantity: Quantity::Q,
            difference,
            between,
            matters: 5.0,
        }])[0]
    }

    const PARTS: Parts = Parts {
        noise: 0.1,
        laying: Scatter::studied(2.0, 30.0),
        days: Scatter::studied(2.0, 30.0),
        chain: 0.0,
        ..Parts::EXACT
    };

    /// By hand: (2.04 + 0.85) u < 5 - 1 wants u < 1.38, u of n placements 2 sqrt(2/n): 5 in all, so 4 more.
    #[test]
    fn as_many_as_the_rule_wants() {
        let s = said(Question::LaidDown, 1.0, PARTS);
        assert_eq!(s.answer, Answer::CannotTell);
        assert_eq!(s.would_tell(Again::Both), Some(More::Placements(4)));
        // Above what matters, 2.9 u < 9 - 5 as well.
        let s = said(Question::LaidDown, 9.0, PARTS);
        assert_eq!(s.would_tell(Again::Both), Some(More::Placements(4)));
        // With the first as it is, its own 2 are left: no number helps.
        assert_eq!(s.would_tell(Again::Second), Some(More::Nothing));
        let told = said(Question::LaidDown, 20.0, PARTS);
        assert_eq!(told.would_tell(Again::Both), None);
    }

    #[test]
    fn the_kind_is_the_one_that_helps() {
        let days = said(Question::OtherDay, 1.0, PARTS);
        assert_eq!(days.would_tell(Again::Both), Some(More::OneSitting(5)));
        let sure = Parts {
            laying: Scatter::studied(0.3, 30.0),
            ..PARTS
        };
        // Before the wax on many days, after it on one: more days of the second.
        let mut s = said(Question::OtherDay, 1.0, sure);
        s.asked.between.first.on_days = 9.0;
        assert!(
            matches!(s.would_tell(Again::Second), Some(More::Days(2..=5))),
            "{:?}",
            s.would_tell(Again::Second)
        );
        let chain = Parts { chain: 4.0, ..sure };
        assert_eq!(
            said(Question::OtherRig, 1.0, chain).would_tell(Again::Second),
            Some(More::Nothing)
        );
        let noisy = Parts { noise: 2.0, ..sure };
        assert!(matches!(
            said(Question::InPlace, 1.0, noisy).would_tell(Again::Both),
            Some(More::Takes(3))
        ));
        // As large as what matters: that is never told.
        assert_eq!(
            said(Question::LaidDown, 5.0, PARTS).would_tell(Again::Both),
            Some(More::Nothing)
        );
    }
}
