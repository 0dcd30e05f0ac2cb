//! Does a coil file predict what takes show?

use super::reading;
use super::yardstick::{self, Answer, Asked, Matters, Parts, Quantity, Question, Said};
use crate::coil::against::{Against, SaidOf, TakeAgainst, Undone};
use crate::estimate::Estimate;
use crate::record::Record;

/// Says of each take, and of all together, whether it is what was predicted. `records`: those that the takes are of.
pub fn judge(against: &mut Against, records: &[Record], matters: &Matters) {
    for (take, record) in against.takes.iter_mut().zip(records) {
        judge_take(take, record, matters);
    }
    against.answer = Answer::of_all(against.takes.iter().map(|t| t.answer));
}

fn judge_take(take: &mut TakeAgainst, record: &Record, matters: &Matters) {
    let asked = |quantity: Quantity, predicted: f64, off: Estimate| {
        let measured = Estimate {
            value: predicted + off.value,
            ..off
        };
        // Beside how the pickup was laid down: what the coil, the input and the parts leave open is in the difference's u.
        let second = (measured.value, reading::parts_of(record, quantity, &measured));
        Asked::of(
            quantity,
            Question::Predicted,
            [(predicted, Parts::EXACT), second],
            matters.of(quantity),
        )
    };
    let peak = take.predicted_hz.zip(take.peak_hz);
    let curve = Estimate::new(take.rms_db, take.u_rms_db, take.u_noise_rms_db);
    let question = [
        peak.map(|(hz, off)| asked(Quantity::Peak, hz, off)),
        take.height_db.map(|off| asked(Quantity::Height, 0.0, off)),
        curve.map(|off| asked(Quantity::Curve, 0.0, off)),
    ];
    let question: Vec<Asked> = question.into_iter().flatten().collect();
    let said = yardstick::judge(&question);
    take.answer = yardstick::whole(&said);
    take.said = said.iter().map(|s| told(s, matters)).collect();
}

/// What is told of a take's peak without its load holds for the pickup laid down anew.
pub fn laid_down(mut undone: Undone, record: &Record) -> Undone {
    let of = [
        (Quantity::Peak, &mut undone.peak_hz),
        (Quantity::Height, &mut undone.height_db),
    ];
    for (quantity, e) in of.into_iter().filter_map(|(q, e)| Some((q, e.as_mut()?))) {
        let laying = reading::parts_of(record, quantity, e).laying;
        e.u = e.u.hypot(laying.sd * reading::unit_of(quantity, e.value));
        undone.usual_laying |= laying.usual.any();
    }
    undone
}

fn told(said: &Said, matters: &Matters) -> SaidOf {
    let quantity = said.asked.quantity;
    SaidOf {
        quantity: quantity.code().into(),
        difference: said.difference,
        half: said.told_half(),
        matters: said.asked.matters,
        usual: matters.is_usual(quantity),
        answer: said.answer,
        usual_laying: said.scatter.usual.laying,
        open: said.leaves_open(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Z95;
    use crate::record::{Scatters, store};
    use crate::stats::Open;

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

    /// A record of a rig whose study tells what laying down does: relative, and in dB.
    fn record(laying: f64) -> Record {
        let bytes = include_bytes!("../../fixtures/records/0.1.0-shop/takes/neck-7/0001/record.json");
        let mut r = store::parse(bytes, "record.json".as_ref()).unwrap();
        let x = r.resonance.as_mut().unwrap();
        x.u_lay = Some(Scatters {
            f0_hz: laying * x.f0_hz.value,
            q: laying * x.q.value,
            peak_hz: x.peak_hz.map(|p| laying * p.value),
            peak_db: Some(laying),
            level_db: None,
            freedom: 1e6,
        });
        r
    }

    fn judged(mut a: Against, matters: &str) -> Against {
        judge(&mut a, &[record(0.0)], &Matters::parse(matters).unwrap_or_default());
        a
    }

    /// Laid down anew, the pickup would have read something else by that much.
    #[test]
    fn laying_down_counts() {
        let mut a = take(1.0, 4.0, 0.01, 0.03);
        judge(&mut a, &[record(0.004)], &Matters::default());
        let peak = &a.takes[0].said[0];
        let want = Z95 * (4.0f64 / 4001.0).hypot(0.004);
        assert!((peak.half / want - 1.0).abs() < 1e-3, "{peak:?}");
        judge(&mut a, &[record(0.006)], &Matters::default());
        let peak = &a.takes[0].said[0];
        assert_eq!((peak.answer, peak.open), (Answer::CannotTell, Some(Open::Laying)));
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
        assert_eq!(vague.takes[0].said[0].open, Some(Open::Stated));
    }
}
