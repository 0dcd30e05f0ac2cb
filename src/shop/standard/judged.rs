//! A record against a standard.

use serde::{Deserialize, Serialize};

use super::{Elsewhere, Standard};
use crate::estimate::Estimate;
use crate::record::identity::Sense;
use crate::record::{Code, Finding, Record, Resonance};
use crate::shop::reading;
use crate::shop::witness::eras::Eras;
use crate::shop::yardstick::{Answer, Between, Held, Parts, Quantity, Question};

/// What a reading is against a standard.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Call {
    Pass,
    Outside,
    #[default]
    CannotTell,
    NoReading,
    /// There is a reading, with a warning that another take may be rid of.
    MeasureAgain,
    /// The same, kept by hand; within every limit, where there are any.
    Kept,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    pub call: Call,
    /// Why, where no number tells it, in the order of weight.
    #[serde(skip)]
    pub why: Vec<Why>,
    /// The same in words, put in where it is shown. Documents of old have the numbers in here too.
    pub reasons: Vec<String>,
    #[serde(skip)]
    pub looks: Option<Looks>,
    /// What it looks like, in words.
    pub fault: Option<String>,
    /// Each quantity and its limit, those first that are outside.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub against: Vec<Against>,
}

/// Why a take passes no limit, or cannot be held against them.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// What a finding of the record says.
    Finding(Finding),
    Elsewhere(Elsewhere),
    /// Wound or wired the other way.
    Turned,
    /// The standard's level is of another rig's exciter.
    OtherExciter,
    /// The sign of one of the two rigs is not known.
    SignUnknown,
    /// No peak; `wanted`: every pickup within the limits has one.
    NoPeak {
        wanted: bool,
    },
}

/// What a reading outside its limits looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looks {
    /// An open winding, or nothing plugged in.
    Open,
    OhmsAlone,
    ShortedTurns,
    TurnsMissing,
    TurnsTooMany,
    MoreLoss,
    Swapped,
}

/// One quantity of a reading against its limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Against {
    pub quantity: Quantity,
    #[serde(flatten)]
    pub held: Held,
}

/// What a take came to. A warning that another take may be rid of asks for one, whatever the figures say, until the take is
/// `kept` by hand. Without a standard nothing else is judged but that there is a reading. `eras`: of the rig.
pub fn judge(record: &Record, s: Option<&Standard>, eras: &Eras, kept: bool) -> Option<Judged> {
    if record.reading().is_none() {
        return Some(no_reading(record));
    }
    let judged = s.map(|s| match record.read_as(s.definition) {
        Some(r) => against(record, &r, s, eras),
        None => Judged::open(Elsewhere::Definition),
    });
    let Some(warning) = record.curable() else {
        return judged;
    };
    let mut judged = match judged {
        _ if !kept => Judged::only(Call::MeasureAgain),
        Some(j) if j.call != Call::Pass => j,
        _ => Judged::only(Call::Kept),
    };
    judged.why.push(Why::Finding(warning.clone()));
    Some(judged)
}

impl Judged {
    /// Nobody can tell, for this reason.
    fn open(why: Elsewhere) -> Judged {
        Judged {
            why: vec![Why::Elsewhere(why)],
            ..Judged::only(Call::CannotTell)
        }
    }

    fn only(call: Call) -> Judged {
        let own = Judged::default();
        Judged { call, ..own }
    }
}

fn no_reading(record: &Record) -> Judged {
    // Whatever else the take shows, it is rejected for its first cause.
    let cause = record.rejected_for();
    let open = cause.is_some_and(|f| matches!(f.code, Code::OpenWinding | Code::NoSignal));
    Judged {
        why: cause.cloned().map(Why::Finding).into_iter().collect(),
        looks: open.then_some(Looks::Open),
        ..Judged::only(Call::NoReading)
    }
}

/// A record against the standard.
fn against(record: &Record, r: &Resonance, s: &Standard, eras: &Eras) -> Judged {
    let load = record.load.as_ref().map(|l| l.text.as_str());
    let changed = || s.changed(eras, &record.rig, &record.taken_at);
    if let Some(elsewhere) = s.elsewhere(&record.rig, load).or_else(changed) {
        return Judged::open(elsewhere);
    }
    let mut against = limits(record, r, s);
    let turned = s.polarity_of(record) == Some(false);
    let looks = looks(record, r, s, &against, turned);
    let weight = |answer| (answer != Answer::Different, answer != Answer::CannotTell);
    against.sort_by_key(|a| weight(a.held.answer));
    let other_exciter = s.level.is_some() && !s.has_exciter_of(record);
    let sign_unknown = s.polarity.is_some() && s.polarity_of(record).is_none();
    // By the standard's definition there is no level.
    let other_level =
        s.level.is_some() && r.level_db.is_none() && record.reading().is_some_and(|x| x.level_db.is_some());
    let flat = r.peak_hz.is_none();
    let misses_peak = flat && s.wants_peak();
    let all = [
        (turned, Why::Turned),
        (other_exciter, Why::OtherExciter),
        (other_level, Why::Elsewhere(Elsewhere::Definition)),
        (sign_unknown, Why::SignUnknown),
        (flat, Why::NoPeak { wanted: misses_peak }),
    ];
    let why: Vec<Why> = all.into_iter().filter_map(|(is, why)| is.then_some(why)).collect();
    let any = |answer| against.iter().any(|a| a.held.answer == answer);
    let call = match () {
        () if turned || misses_peak || any(Answer::Different) => Call::Outside,
        () if !why.is_empty() || any(Answer::CannotTell) => Call::CannotTell,
        () => Call::Pass,
    };
    Judged {
        looks: looks.filter(|_| call == Call::Outside),
        why,
        against,
        ..Judged::only(call)
    }
}

/// Each quantity that the standard has a limit for, f0 first.
fn limits(record: &Record, r: &Resonance, s: &Standard) -> Vec<Against> {
    let question = s.question(record);
    let rig = reading::repeatability(record, reading::whole_f(record, None));
    // The standard's value was agreed on: what is not known is the reading.
    let between = |quantity, e: &Estimate| Between::new(question, Parts::EXACT, rig.reading(quantity, e));
    let f0 = between(Quantity::F0, &r.f0_hz).held(r.f0_hz.value / s.f0.hz - 1.0, s.f0.allow);
    let q = between(Quantity::Q, &r.q).held(r.q.value / s.q.value - 1.0, s.q.allow);
    let level = s.level.zip(r.level_db).filter(|_| s.has_exciter_of(record));
    let level = level.map(|(l, x)| between(Quantity::Level, &x).held(x.value - l.db, l.allow_db));
    // A meter's display tells no uncertainty.
    let exact = Between::new(Question::InPlace, Parts::EXACT, Parts::EXACT);
    let ohms = s.ohms_off(record).zip(s.r20_allow);
    let ohms = ohms.map(|(off, allow)| exact.held(off, allow));
    let all = [
        (Quantity::F0, Some(f0)),
        (Quantity::Q, Some(q)),
        (Quantity::Level, level),
        (Quantity::Ohms, ohms),
    ];
    let told = |(quantity, held): (Quantity, Option<Held>)| Some(Against { quantity, held: held? });
    all.into_iter().filter_map(told).collect()
}

impl Standard {
    /// What lies between the standard and a reading.
    fn question(&self, record: &Record) -> Question {
        if !self.is_of(&record.rig) {
            return Question::OtherRig;
        }
        match self.taken_on.as_deref() == crate::record::when::day(&record.taken_at) {
            true => Question::LaidDown,
            // Of a standard of old nobody knows the day.
            false => Question::OtherDay,
        }
    }

    /// Every pickup within its limits has a peak: Q above the root of a half (second order).
    fn wants_peak(&self) -> bool {
        self.q.value * (1.0 - self.q.allow) > std::f64::consts::FRAC_1_SQRT_2
    }

    /// The level is of one exciter; a standard without a rig means any.
    fn has_exciter_of(&self, record: &Record) -> bool {
        self.rig.is_none() || self.is_of(&record.rig)
    }

    /// How far its ohms are off, relative.
    fn ohms_off(&self, record: &Record) -> Option<f64> {
        let read = record.ohms_by(self.ohmmeter.as_deref())?;
        Some(read.at_20() / self.r20_ohm? - 1.0)
    }

    /// Whether a reading has the standard's sign; `None` where one of them has none, or on two rigs one of the rigs'.
    fn polarity_of(&self, record: &Record) -> Option<bool> {
        let (polarity, own) = self.polarity.zip(Sense::of(record))?;
        let stated = |s: Option<i8>| s.filter(|s| *s != 0);
        if !self.has_exciter_of(record) && stated(self.rig_sign).and(own.stated).is_none() {
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

/// What a reading outside its limits looks like; `turned`: its sign is the other one.
fn looks(record: &Record, r: &Resonance, s: &Standard, against: &[Against], turned: bool) -> Option<Looks> {
    let f0 = r.f0_hz.value / s.f0.hz - 1.0;
    // What f0 does by chance, or by the losses alone, is no sign of turns.
    let by_chance = against.first().map_or(0.0, |a| a.held.guard);
    let up = f0 > by_chance.max(0.01);
    let ohms = s.ohms_off(record).unwrap_or(0.0);
    let (more, less) = (ohms > 0.01, ohms < -0.01);
    let lossy = (r.q.value / s.q.value).ln() < -0.25;
    let other = |a: &Against| a.held.answer == Answer::Different && a.quantity != Quantity::Ohms;
    let ohms_alone = !turned && !against.iter().any(other);
    Some(if ohms_alone && f0.abs() < by_chance.max(0.005) {
        Looks::OhmsAlone
    } else if lossy && up && !more {
        Looks::ShortedTurns
    } else if f0 > 0.0 && less {
        Looks::TurnsMissing
    } else if f0 < 0.0 && more {
        Looks::TurnsTooMany
    } else if lossy && !up {
        Looks::MoreLoss
    } else if turned {
        Looks::Swapped
    } else {
        return None;
    })
}
