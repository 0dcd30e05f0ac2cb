//! The rule: different, the same, or nobody can tell.

use super::matters::Quantity;
use super::parts::{Between, Parts, Question};
use super::scatter::Scatter;
pub use crate::stats::Answer;

/// Of all quantities of a question together, and of one for being the same.
pub(super) const RISK: f64 = 0.05;
/// Between these the weight of a quantity goes with its standard uncertainty over what matters: what is known better has power to
/// spare, what is known worse cannot be helped.
const LEAST: f64 = 0.1;
const MOST: f64 = 1.0 / 3.0;

/// One quantity of a question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    pub quantity: Quantity,
    /// The second less the first, as [`Quantity::difference`] has it.
    pub difference: f64,
    pub between: Between,
    pub matters: f64,
}

impl Asked {
    /// Of two values, each with what it is uncertain by.
    pub fn of(quantity: Quantity, question: Question, [first, second]: [(f64, Parts); 2], matters: f64) -> Asked {
        Asked {
            quantity,
            difference: quantity.difference(first.0, second.0),
            between: Between::new(question, first.1, second.1),
            matters,
        }
    }
}

impl Answer {
    /// Of a difference of this size: larger than what matters by more than the first half-width, or smaller by more than the second.
    pub fn by(size: f64, [above, below]: [f64; 2], matters: f64) -> Answer {
        if size - above > matters {
            Answer::Different
        } else if size + below < matters {
            Answer::Same
        } else {
            Answer::CannotTell
        }
    }

    /// Of all together: different if any is, the same if all are.
    pub fn of_all(each: impl Iterator<Item = Answer> + Clone) -> Answer {
        if each.clone().any(|a| a == Answer::Different) {
            Answer::Different
        } else if each.clone().next().is_some() && each.clone().all(|a| a == Answer::Same) {
            Answer::Same
        } else {
            Answer::CannotTell
        }
    }
}

/// What is said of one quantity, and what decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Said {
    pub asked: Asked,
    /// The difference, freed of what the witness saw the days do.
    pub difference: f64,
    pub scatter: Scatter,
    /// Half-width of the 95 % interval of this quantity alone.
    pub half: f64,
    /// Of all quantities of the question jointly.
    pub half_jointly: f64,
    /// The share of the risk that this quantity has of it.
    pub(super) risk: f64,
    pub answer: Answer,
}

impl Said {
    /// Half-width of the interval that a difference is told by: of all jointly where there is one, else of this quantity alone.
    pub fn told_half(&self) -> f64 {
        match self.answer {
            Answer::Different => self.half_jointly,
            Answer::Same | Answer::CannotTell => self.half,
        }
    }
}

/// All quantities of one question, each in the light of all.
pub fn judge(asked: &[Asked]) -> Vec<Said> {
    let scatters: Vec<Scatter> = asked.iter().map(|a| a.between.scatter()).collect();
    let risks = risks(asked, &scatters);
    let each = asked.iter().zip(scatters).zip(risks);
    each.map(|((a, scatter), risk)| {
        let difference = a.difference - a.between.taken_off();
        let (half, half_jointly) = (scatter.half_width(RISK), scatter.half_width(risk));
        Said {
            asked: *a,
            difference,
            scatter,
            half,
            half_jointly,
            risk,
            answer: Answer::by(difference.abs(), [half_jointly, half], a.matters),
        }
    })
    .collect()
}

/// Of a whole question: different if any quantity is, the same if all are.
pub fn whole(said: &[Said]) -> Answer {
    Answer::of_all(said.iter().map(|s| s.answer))
}

/// How the risk of a false "different" is shared out: Bonferroni, which holds whatever hangs on what, with weights.
///
/// With equal shares Q and the peak's height, which are known worst for what matters of them, would be found less often than in
/// four cases of five when they are twice that apart, and f0 always. So the share of a quantity goes with the variance of its
/// difference over what matters. The weights know nothing of the differences themselves, so the sum of the shares bounds the risk as
/// before.
fn risks(asked: &[Asked], scatters: &[Scatter]) -> Vec<f64> {
    // What is not known at all is told by nothing, and takes no share from the rest.
    let weight = |ratio: f64| match ratio.is_finite() {
        true => ratio.clamp(LEAST, MOST).powi(2),
        false => LEAST * LEAST,
    };
    let ratios = asked.iter().zip(scatters).map(|(a, s)| s.sd / a.matters);
    let weights: Vec<f64> = ratios.map(weight).collect();
    let total: f64 = weights.iter().sum();
    weights.iter().map(|w| RISK * w / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(quantity: Quantity, difference: f64, u: f64, matters: f64) -> Asked {
        let first = Parts {
            noise: u,
            ..Parts::EXACT
        };
        Asked {
            quantity,
            difference,
            between: Between::new(Question::InPlace, first, Parts::EXACT),
            matters,
        }
    }

    /// u of a fifth of what matters, alone: the same to 5 - 1.96 standard uncertainties, different from 5 + 1.96 on.
    #[test]
    fn three_answers() {
        for (difference, want, less) in [
            (0.0, Answer::Same, false),
            (3.0, Answer::Same, true),
            (-3.0, Answer::Same, true),
            (3.1, Answer::CannotTell, false),
            (6.9, Answer::CannotTell, false),
            (7.0, Answer::Different, false),
            (-7.0, Answer::Different, false),
            (f64::NAN, Answer::CannotTell, false),
        ] {
            let said = judge(&[asked(Quantity::Q, difference, 1.0, 5.0)]);
            let sure = said[0].difference.abs() > said[0].half;
            let got = (said[0].answer, want == Answer::Same && sure, whole(&said));
            assert_eq!(got, (want, less, want), "{difference}");
        }
    }

    #[test]
    fn of_a_whole_question_any_is_different_and_all_are_the_same() {
        let same = asked(Quantity::F0, 0.0, 0.1, 1.0);
        let unsure = asked(Quantity::Q, 0.0, 1.0, 1.0);
        let different = asked(Quantity::Level, 3.0, 0.1, 1.0);
        let unknown = asked(Quantity::Curve, 0.0, f64::NAN, 1.0);
        let of = |list: &[Asked]| whole(&judge(list));
        assert_eq!(of(&[same, same]), Answer::Same);
        assert_eq!(of(&[same, unsure]), Answer::CannotTell);
        assert_eq!(of(&[same, unknown]), Answer::CannotTell);
        assert_eq!(of(&[unknown, unsure, different]), Answer::Different);
        assert_eq!(of(&[]), Answer::CannotTell);
    }

    #[test]
    fn shares_are_of_one_risk() {
        let list = [
            asked(Quantity::F0, 0.0, 0.01, 1.0),
            asked(Quantity::Q, 0.0, 0.25, 1.0),
            asked(Quantity::Level, 0.0, 50.0, 1.0),
        ];
        let said = judge(&list);
        let sum: f64 = said.iter().map(|s| s.risk).sum();
        assert!((sum - RISK).abs() < 1e-12);
        assert!(said[0].risk < said[1].risk && said[1].risk < said[2].risk && said[2].risk < 2.0 * said[1].risk);
        assert!(said[1].half_jointly > said[1].half);
        // Alone it has all of it.
        let alone = judge(&list[1..2])[0];
        assert_eq!(alone.half, alone.half_jointly);
    }
}
