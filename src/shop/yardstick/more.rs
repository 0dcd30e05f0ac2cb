//! How many more readings of the second would tell, where nobody can: the first was made before the wax, and is what it is.

use super::parts::Between;
use super::rule::{Answer, Said};

/// More than so many nobody makes for one question.
const MOST: u32 = 30;

/// So many more readings of the second, each laid down anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct More {
    pub readings: u32,
    /// Each on another day.
    pub on_days: bool,
}

impl Said {
    /// The fewest that would most likely tell; `None` where it is told, or where no number would.
    pub fn more_readings(&self) -> Option<More> {
        if self.answer != Answer::CannotTell {
            return None;
        }
        let b = &self.asked.between;
        let fewest = |on_days: bool| {
            let with = |n: f64| Between {
                second: b.second.more(n, if on_days { n } else { 0.0 }),
                ..*b
            };
            let readings = (1..=MOST).find(|n| self.tells(&with(f64::from(*n))))?;
            Some(More { readings, on_days })
        };
        fewest(false).or_else(|| fewest(true).filter(|_| b.question.days()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::yardstick::{Asked, Parts, Quantity, Question, Scatter, judge};

    fn said(difference: f64, first: Parts, second: Parts) -> Said {
        judge(&[Asked {
            quantity: Quantity::Q,
            difference,
            between: Between::new(Question::OtherDay, first, second),
            matters: 5.0,
        }])[0]
    }

    const PARTS: Parts = Parts {
        noise: 0.1,
        laying: Scatter::studied(2.0, 30.0),
        ..Parts::EXACT
    };

    /// By hand: (2.04 + 0.85) u < 5 - 1 wants u < 1.38, u of n placements 2/sqrt(n): 3 in all, so 2 more, the first being exact.
    #[test]
    fn as_many_as_the_rule_wants() {
        let s = said(1.0, Parts::EXACT, PARTS);
        let two = Some(More {
            readings: 2,
            on_days: false,
        });
        assert_eq!((s.answer, s.more_readings()), (Answer::CannotTell, two));
        // Above what matters, 2.9 u < 9 - 5 as well.
        assert_eq!(said(9.0, Parts::EXACT, PARTS).more_readings(), two);
        // With the first laid down once, its own 2 are left: no number helps. Nor is what is as large as what matters ever told.
        assert_eq!(said(1.0, PARTS, PARTS).more_readings(), None);
        assert_eq!(said(5.0, Parts::EXACT, PARTS).more_readings(), None);
        assert_eq!(said(20.0, Parts::EXACT, PARTS).more_readings(), None);
    }

    /// Before the wax on many days, after it on one: more days of the second.
    #[test]
    fn days_where_they_are_what_is_left_open() {
        let wild = Parts {
            laying: Scatter::studied(0.3, 30.0),
            days: Scatter::studied(2.0, 30.0),
            ..PARTS
        };
        let first = Parts { on_days: 9.0, ..wild };
        let more = said(1.0, first, wild).more_readings();
        assert!(
            more.is_some_and(|m| m.on_days && (2..=5).contains(&m.readings)),
            "{more:?}"
        );
    }
}
