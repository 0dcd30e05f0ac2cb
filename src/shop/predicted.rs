//! Does a coil file predict what takes show?

use super::yardstick::{self, Again, Answer, Asked, Between, Matters, More, Parts, Quantity, Question, Said};
use crate::coil::against::{Against, SaidOf, TakeAgainst};
use crate::estimate::Estimate;

/// Says of each take, and of all together, whether it is what was predicted.
pub fn judge(against: &mut Against, matters: &Matters) {
    for take in &mut against.takes {
        judge_take(take, matters);
    }
    let all = |answer| against.takes.iter().all(|t| t.answer == answer);
    against.answer = match against.takes.iter().any(|t| t.answer == Answer::Different) {
        true => Answer::Different,
        false if all(Answer::Same) => Answer::Same,
        false => Answer::CannotTell,
    };
}

fn judge_take(take: &mut TakeAgainst, matters: &Matters) {
    let peak = take.predicted_hz.zip(take.peak_hz).map(|(hz, off)| {
        let measured = Estimate {
            value: hz + off.value,
            ..off
        };
        asked(Quantity::Peak, hz, &measured, matters)
    });
    let height = take.height_db.map(|off| asked(Quantity::Height, 0.0, &off, matters));
    let curve = Estimate::new(take.rms_db, take.u_rms_db, take.u_noise_rms_db);
    let curve = curve.map(|off| asked(Quantity::Curve, 0.0, &off, matters));
    let question: Vec<Asked> = [peak, height, curve].into_iter().flatten().collect();
    let said = yardstick::judge(&question);
    take.answer = yardstick::whole(&said);
    take.said = said.iter().map(|s| told(s, matters)).collect();
}

/// A prediction leaves open what the coil, the input and the parts do, which is in the difference's u.
fn asked(quantity: Quantity, predicted: f64, measured: &Estimate, matters: &Matters) -> Asked {
    let rest = (measured.u.powi(2) - measured.u_noise.powi(2)).max(0.0).sqrt();
    let parts = Parts {
        noise: quantity.uncertainty(measured.value, measured.u_noise),
        chain: quantity.uncertainty(measured.value, rest),
        ..Parts::EXACT
    };
    Asked {
        quantity,
        difference: quantity.difference(predicted, measured.value),
        between: Between::new(Question::Predicted, Parts::EXACT, parts),
        matters: matters.of(quantity),
    }
}

fn told(said: &Said, matters: &Matters) -> SaidOf {
    let quantity = said.asked.quantity;
    SaidOf {
        quantity: quantity.code().into(),
        difference: said.difference,
        half: match said.answer {
            Answer::Different => said.half_jointly,
            _ => said.half,
        },
        matters: said.asked.matters,
        usual: matters.is_usual(quantity),
        answer: said.answer,
        more_takes: match said.would_tell(Again::Second) {
            Some(More::Takes(n)) => Some(n),
            _ => None,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Z95;

    fn take(hz: f64, u_hz: f64, off_db: f64, u_db: f64) -> Against {
        Against {
            rms_db: off_db.abs(),
            answer: Answer::CannotTell,
            simulated: false,
            takes: vec![TakeAgainst {
                predicted_hz: Some(4000.0),
                peak_hz: Estimate::new(hz, u_hz, 0.1 * u_hz),
                height_db: Estimate::new(off_db, u_db, 0.1 * u_db),
                rms_db: off_db.abs(),
                u_rms_db: u_db,
                ..TakeAgainst::default()
            }],
            notes: vec![],
        }
    }

    fn judged(mut a: Against, matters: &str) -> Against {
        judge(&mut a, &Matters::parse(matters).unwrap_or_default());
        a
    }

    #[test]
    fn three_answers_with_what_decided() {
        let same = judged(take(1.0, 4.0, 0.01, 0.03), "");
        assert_eq!(same.answer, Answer::Same);
        let names: Vec<&str> = same.takes[0].said.iter().map(|s| s.quantity.as_str()).collect();
        assert_eq!(names, ["peak", "height", "curve"]);
        let peak = &same.takes[0].said[0];
        assert!((peak.difference - 1.0 / 4000.0).abs() < 1e-7 && peak.usual && peak.matters == 0.01);
        assert!((peak.half / (Z95 * 4.0 / 4001.0) - 1.0).abs() < 1e-3, "{peak:?}");
        // A difference that is for sure, and does not matter, is none; what matters is the shop's to say.
        assert_eq!(judged(take(20.0, 1.0, 0.01, 0.03), "").answer, Answer::Same);
        let strict = judged(take(20.0, 1.0, 0.01, 0.03), "peak=0.2%");
        assert_eq!(strict.answer, Answer::Different);
        assert!(!strict.takes[0].said[0].usual);
        let far = judged(take(1.0, 4.0, 0.9, 0.03), "");
        assert_eq!(far.answer, Answer::Different);
        assert_eq!(far.takes[0].said[2].answer, Answer::Different);
        // A curve that agrees all along does not make up for a peak that does not; without a peak it is alone.
        let mut high = take(1.0, 4.0, 0.01, 0.03);
        high.takes[0].height_db = Estimate::new(0.8, 0.03, 0.01);
        assert_eq!(judged(high.clone(), "").answer, Answer::Different);
        (high.takes[0].peak_hz, high.takes[0].height_db) = (None, None);
        let alone = judged(high, "");
        assert_eq!((alone.answer, alone.takes[0].said.len()), (Answer::Same, 1));
        let vague = judged(take(1.0, 80.0, 0.01, 0.03), "");
        assert_eq!(
            (vague.answer, vague.takes[0].said[0].answer),
            (Answer::CannotTell, Answer::CannotTell)
        );
        assert_eq!(vague.takes[0].said[0].more_takes, None);
    }
}
