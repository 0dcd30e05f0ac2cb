//! A record against a standard.

use serde::{Deserialize, Serialize};

use super::Standard;
use crate::record::identity::Sense;
use crate::record::{Code, Record, Resonance};
use crate::shop::known::Known;
use crate::shop::yardstick::{Answer, Between, Held, Parts, Quantity, Question};

/// What a reading is against a standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Call {
    Pass,
    Outside,
    CannotTell,
    NoReading,
    /// There is a reading, with a warning that another take may be rid of.
    MeasureAgain,
    /// The same, kept by hand; within every limit, where there are any.
    Kept,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    pub call: Call,
    /// Why, where no number tells it, in the order of weight. Documents of old have the numbers in here too.
    pub reasons: Vec<String>,
    /// What it looks like.
    pub fault: Option<String>,
    /// Each quantity and its limit, those first that are outside.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub against: Vec<Against>,
}

/// What a standard has limits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Limited {
    F0,
    Q,
    Level,
    Ohms,
}

/// One quantity of a reading against its limit: relative, of the level in dB.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Against {
    pub quantity: Limited,
    /// From the standard's value.
    pub off: f64,
    pub limit: f64,
    /// Half-width of the 95 % interval. A meter's display tells none.
    pub known_to: Option<f64>,
    /// It leans on a usual value, which promises nothing of this rig.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub usual: bool,
    /// Pass, outside or cannot tell.
    pub call: Call,
}

impl Against {
    fn new(quantity: Limited, off: f64, limit: f64, held: &Held) -> Against {
        Against {
            quantity,
            off,
            limit,
            known_to: Some(held.half).filter(|h| *h > 0.0),
            usual: held.usual,
            call: match held.answer {
                Answer::Same => Call::Pass,
                Answer::Different => Call::Outside,
                Answer::CannotTell => Call::CannotTell,
            },
        }
    }
}

/// What a take came to. A warning that another take may be rid of asks for one, whatever the figures say, until the take is
/// `kept` by hand. Without a standard nothing else is judged but that there is a reading.
pub fn judge(record: &Record, s: Option<&Standard>, known: &Known, kept: bool) -> Option<Judged> {
    let Some(r) = record.reading() else {
        return Some(no_reading(record));
    };
    let judged = s.map(|s| against(record, r, s, known));
    let Some(warning) = record.curable() else {
        return judged;
    };
    let mut judged = match judged {
        _ if !kept => Judged::only(Call::MeasureAgain),
        Some(j) if j.call != Call::Pass => j,
        _ => Judged::only(Call::Kept),
    };
    judged.reasons.push(warning.text.clone());
    Some(judged)
}

impl Judged {
    fn only(call: Call) -> Judged {
        Judged {
            call,
            reasons: Vec::new(),
            fault: None,
            against: Vec::new(),
        }
    }
}

fn no_reading(record: &Record) -> Judged {
    // Whatever else the take shows, it is rejected for its first cause.
    let cause = record.rejected_for();
    let open = cause.is_some_and(|f| matches!(f.code, Code::OpenWinding | Code::NoSignal));
    Judged {
        reasons: cause.map(|f| f.text.clone()).into_iter().collect(),
        fault: open.then(|| "open winding, or nothing plugged in".to_owned()),
        ..Judged::only(Call::NoReading)
    }
}

/// A record against the standard; `known`: what the rig does to readings.
fn against(record: &Record, r: &Resonance, s: &Standard, known: &Known) -> Judged {
    if let Some(why) = s.elsewhere(record.load.as_ref().map(|l| l.text.as_str())) {
        return Judged {
            reasons: vec![why],
            ..Judged::only(Call::CannotTell)
        };
    }
    let question = s.question(record);
    let rig = known.for_pickup(record);
    // The standard's value was agreed on: what is not known is the reading.
    let between = |quantity, e| Between::new(question, Parts::EXACT, rig.reading(quantity, e));
    let (f0, q) = (between(Quantity::F0, &r.f0_hz), between(Quantity::Q, &r.q));
    let relative = |v: f64, of: f64| v / of - 1.0;
    let ohms = s.r20_ohm.zip(record.ohms_by(s.ohmmeter.as_deref()));
    let ohms = ohms.map(|(ohm, read)| relative(read.at_20(), ohm));
    let mut tests = vec![
        (Limited::F0, relative(r.f0_hz.value, s.f0.hz), s.f0.allow, f0),
        (Limited::Q, relative(r.q.value, s.q.value), s.q.allow, q),
    ];
    let same_exciter = question != Question::OtherRig || s.rig.is_none();
    if let (Some(l), Some(x), true) = (s.level, &r.level_db, same_exciter) {
        let u = between(Quantity::Level, x);
        tests.push((Limited::Level, x.value - l.db, l.allow_db, u));
    }
    if let Some((off, allow)) = ohms.zip(s.r20_allow) {
        let exact = Between::new(Question::InPlace, Parts::EXACT, Parts::EXACT);
        tests.push((Limited::Ohms, off, allow, exact));
    }
    let mut all: Vec<Against> = tests
        .iter()
        .map(|(quantity, off, limit, between)| Against::new(*quantity, *off, *limit, &between.held(*off, *limit)))
        .collect();
    all.sort_by_key(|a| (a.call != Call::Outside, a.call != Call::CannotTell));
    let polarity = s.polarity_of(record);
    let turned = polarity == Some(false);
    let mut reasons = Vec::new();
    reasons.extend(turned.then(|| "wound or wired the other way".to_owned()));
    if s.level.is_some() && !same_exciter {
        reasons.push("the standard's level is of another rig's exciter: take it out to judge the rest".into());
    }
    if s.polarity.is_some() && polarity.is_none() {
        reasons.push(
            "of one of the two rigs the sign is not known, so polarity is not told: `coilwright rig polarity`".into(),
        );
    }
    let any = |call| all.iter().any(|a| a.call == call);
    let call = match () {
        () if turned || any(Call::Outside) => Call::Outside,
        () if !reasons.is_empty() || any(Call::CannotTell) => Call::CannotTell,
        () => Call::Pass,
    };
    let pattern = Pattern {
        f0: relative(r.f0_hz.value, s.f0.hz).ln_1p(),
        f0_guard: f0.held(0.0, s.f0.allow).guard,
        q: relative(r.q.value, s.q.value).ln_1p(),
        ohms: ohms.map(f64::ln_1p),
        turned,
        ohms_alone: !turned
            && all
                .iter()
                .all(|a| a.call != Call::Outside || a.quantity == Limited::Ohms),
    };
    Judged {
        fault: (call == Call::Outside)
            .then(|| pattern.fault())
            .flatten()
            .map(str::to_owned),
        reasons,
        against: all,
        ..Judged::only(call)
    }
}

impl Standard {
    /// What lies between the standard and a reading.
    fn question(&self, record: &Record) -> Question {
        if !self.is_of(&record.rig) {
            return Question::OtherRig;
        }
        match self.taken_on.as_deref() == record.taken_at.get(..10) {
            true => Question::LaidDown,
            // Of a standard of old nobody knows the day.
            false => Question::OtherDay,
        }
    }

    /// Whether a reading has the standard's sign; `None` where one of them has none, or on two rigs one of the rigs'.
    fn polarity_of(&self, record: &Record) -> Option<bool> {
        let (polarity, own) = self.polarity.zip(Sense::of(record))?;
        let stated = |s: Option<i8>| s.filter(|s| *s != 0);
        let two_rigs = self.rig.is_some() && !self.is_of(&record.rig);
        if two_rigs && stated(self.rig_sign).and(own.stated).is_none() {
            return None;
        }
        let of_standard = Sense {
            polarity,
            stated: stated(self.rig_sign),
        };
        Some(match self.rig_sign {
            Some(_) => of_standard.same(own),
            None => polarity == own.polarity,
        })
    }
}

/// How a reading differs from the standard, as natural logarithms of the ratios.
struct Pattern {
    f0: f64,
    /// What f0 does by chance.
    f0_guard: f64,
    q: f64,
    ohms: Option<f64>,
    turned: bool,
    /// Nothing else is outside.
    ohms_alone: bool,
}

impl Pattern {
    /// What it looks like.
    fn fault(&self) -> Option<&'static str> {
        // What f0 does by chance, or by the losses alone, is no sign of turns.
        let up = self.f0 > self.f0_guard.max(0.01);
        let more_ohms = self.ohms.is_some_and(|r| r > 0.01);
        let less_ohms = self.ohms.is_some_and(|r| r < -0.01);
        let looks = [
            (
                self.ohms_alone && self.f0.abs() < self.f0_guard.max(0.005),
                "only the ohms are off: another wire, a joint, or a winding still warm",
            ),
            (
                self.q < -0.25 && up && !more_ohms,
                "shorted turns: less inductance, much more loss",
            ),
            (
                self.f0 > 0.0 && less_ohms,
                "turns missing: less resistance, less inductance",
            ),
            (
                self.f0 < 0.0 && more_ohms,
                "too many turns: more resistance, more inductance",
            ),
            (
                self.q < -0.25 && !up,
                "more loss or more resistance: a joint, a cover, a plate",
            ),
            (
                self.turned,
                "start and finish swapped, or wound the other way; the magnet plays no part",
            ),
        ];
        looks.into_iter().find(|l| l.0).map(|l| l.1)
    }
}
