//! One take at the jack against what it should read, and all of them together.

use super::document::{Heard, InGuitar, Pair, Phase, SCHEMA, StepRead};
use super::expected::Expected;
use super::steps::Step;
use crate::estimate::Estimate;
use crate::record::about::Pole;
use crate::record::identity::{Sense, same_rig};
use crate::record::{Code, Definition, Record};
use crate::shop::difference::Judged;
use crate::shop::reading;
use crate::shop::yardstick::{self, Answer, Asked, Matters, Parts, Quantity, Question};

/// In a guitar an exciter lies over strings and covers, nobody knows how high (a guess of ours).
const IN_GUITAR_DB: f64 = 3.0;

/// A take, and what the pickup left with.
pub struct Took<'a> {
    pub record: &'a Record,
    pub left: Option<&'a Record>,
    /// Its response at low frequency then, output over EMF, where its coil is known.
    pub left_db: Option<f64>,
}

impl Took<'_> {
    /// On the same rig: its exciter couples as it did.
    fn left_here(&self) -> Option<&Record> {
        self.left.filter(|l| same_rig(&l.rig, &self.record.rig))
    }
}

/// Holds a take against what it should read.
pub fn step(step: &Step, expected: &Expected, took: &Took, matters: &Matters) -> StepRead {
    let record = took.record;
    let reading = record.reading();
    let sense = Sense::of(record).filter(|_| reading.is_some());
    let was = took.left_here().and_then(Sense::of);
    let asked = asked(expected, took, matters);
    let said = yardstick::judge(&asked);
    // A peak that came or went is no figure that could be held against another.
    let one_sided = expected.peak_hz.is_some() != reading.is_some_and(|r| r.peak_hz.is_some());
    let heard = match (reading, record.rejected_for().map(|f| f.code), yardstick::whole(&said)) {
        (None, Some(Code::NoSignal | Code::OpenWinding), _) => Heard::Dead,
        (None, ..) => Heard::NoReading,
        (.., Answer::Same) if !one_sided => Heard::AsPredicted,
        (.., Answer::Different) => Heard::Different,
        (.., Answer::Same | Answer::CannotTell) => Heard::CannotTell,
    };
    StepRead {
        position: step.position.clone(),
        pickup: step.pickup.clone(),
        record: record.id.clone(),
        heard,
        predicted_hz: expected.peak_hz.map(|p| p.0),
        peak_hz: reading.and_then(|r| r.peak_hz).map(|p| p.value),
        quantities: said.iter().map(|s| Judged::of(s, matters)).collect(),
        sign: sense.map(|s| s.polarity),
        turned: sense.zip(was).is_some_and(|(a, b)| !a.same(b)),
    }
}

/// What is predicted and read of peak, height and level.
fn asked(expected: &Expected, took: &Took, matters: &Matters) -> Vec<Asked> {
    let Some(r) = took.record.reading() else {
        return Vec::new();
    };
    let ask = |quantity: Quantity, told: Option<(f64, f64)>, seen: Option<Estimate>| {
        let (told, seen) = (told?, seen?);
        // What coil and parts leave open is in the chain.
        let with = Estimate::new(seen.value, seen.u.hypot(told.1), seen.u_noise)?;
        let second = (seen.value, reading::parts_of(took.record, quantity, &with));
        let both = [(told.0, Parts::EXACT), second];
        let least = if quantity == Quantity::Level { IN_GUITAR_DB } else { 0.0 };
        let matters = matters.of(quantity).max(least);
        Some(Asked::of(quantity, Question::Predicted, both, matters))
    };
    // With metal 0 dB is not the level at the lowest frequencies.
    let height = r.peak_db.filter(|_| r.definition == Definition::Plain);
    let level = took.left_here().and_then(|l| {
        let was = l.reading()?.level_db?;
        let (now, u) = expected.low_db?;
        Some((was.value + now - took.left_db?, u.hypot(was.u)))
    });
    let all = [
        ask(Quantity::Peak, expected.peak_hz, r.peak_hz),
        ask(Quantity::Height, expected.height_db, height),
        ask(Quantity::Level, level, r.level_db),
    ];
    all.into_iter().flatten().collect()
}

/// All of them together. `pole`: which pole of a pickup is up, where that is known.
pub fn conclude(pickup: &str, wiring: &str, steps: Vec<StepRead>, pole: &dyn Fn(&str) -> Option<Pole>) -> InGuitar {
    let wrong = |s: &StepRead| matches!(s.heard, Heard::Different | Heard::Dead) || s.turned;
    let answer = match steps.iter().any(wrong) {
        true => Answer::Different,
        false if !steps.is_empty() && steps.iter().all(|s| s.heard == Heard::AsPredicted) => Answer::Same,
        false => Answer::CannotTell,
    };
    let mut pairs = Vec::new();
    for (i, a) in steps.iter().enumerate() {
        let with = |b: &&StepRead| b.position == a.position && b.pickup != a.pickup;
        let later = steps.iter().skip(i + 1).filter(with);
        pairs.extend(later.filter_map(|b| pair(a, b, pole)));
    }
    InGuitar {
        schema: SCHEMA.into(),
        pickup: pickup.into(),
        wiring: wiring.into(),
        answer,
        steps,
        pairs,
        ..InGuitar::default()
    }
}

/// What the strings make of two pickups goes with the winding's sense and with the pole that is up.
fn pair(a: &StepRead, b: &StepRead, pole: &dyn Fn(&str) -> Option<Pole>) -> Option<Pair> {
    let one_way = a.sign? == b.sign?;
    let poles = [pole(&a.pickup), pole(&b.pickup)];
    let phase = match poles {
        [Some(x), Some(y)] if (x == y) == one_way => Phase::In,
        [Some(_), Some(_)] => Phase::Out,
        _ => Phase::AskTheIndicator,
    };
    Some(Pair {
        position: a.position.clone(),
        pickups: [a.pickup.clone(), b.pickup.clone()],
        one_way,
        poles,
        phase,
    })
}
