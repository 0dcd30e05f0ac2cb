//! One pickup before and after.

use super::about::{About, Ground, WAX_MOST};
use super::document::{Decided, Pair, PotVerdict, Reason};
use super::side::{Side, asked, of_f0_and_q};
use super::sides::{Sides, ids};
use super::stays::Carried;
use super::witness::Looked;
use crate::coil::behind::{input_of, input_u};
use crate::estimate::{Estimate, Z95};
use crate::shop::alike;
use crate::shop::knock::change;
use crate::shop::witness::history::History;
use crate::shop::yardstick::{Answer, More, Quantity, Question, Repeatability, Said, Scatter, judge, whole};
use crate::stats::paired::equivalence;

/// Change of the winding's capacitance, in farads.
#[derive(Debug, Clone, Copy)]
pub(super) struct Winding {
    pub(super) more_f: f64,
    /// For each (relative) error of f0.
    pub(super) by_f0: f64,
    /// Standard uncertainty of the change by what is not known of the winding and of the input.
    pub(super) open: f64,
    /// The most that wax can bring.
    most_f: f64,
}

/// `None` of one of which nothing can be told.
pub(super) fn judged<'a>(sides: &Sides, ground: &'a Ground) -> (Pair, Option<Moved<'a>>) {
    let about = ground.about;
    let mut pair = Pair {
        pickup: sides.name.clone(),
        before: ids(&sides.before),
        after: ids(&sides.after),
        read: sides.read(),
        ..Pair::default()
    };
    if sides.unfit(about, &mut pair) {
        return (pair, None);
    }
    let definition = alike::in_common(sides.all());
    let Some(before) = Side::of(&sides.before, definition) else {
        pair.reason = Reason::NoReadingBefore;
        return (pair, None);
    };
    let dead = sides.after.last().is_some_and(|r| r.reading().is_none());
    let Some(after) = Side::of(&sides.after, definition).filter(|_| !dead) else {
        (pair.verdict, pair.reason) = (PotVerdict::Other, Reason::NoReadingAfter);
        return (pair, None);
    };
    let Some(moved) = Moved::of(sides, ground, [before, after]) else {
        return (pair, None);
    };
    moved.put_numbers(&mut pair);
    let [_, of_level] = sides.unlike();
    if !of_level.is_empty() {
        pair.level_db = None;
        pair.level_unlike = of_level;
    }
    if let Some(reason) = on_other_ground(sides, about) {
        pair.reason = reason;
        return (pair, None);
    }
    let day = moved.rig.days(Quantity::Level).times(moved.over_days());
    pair.knock_db = change::change(&sides.before, &sides.after, day);
    moved.conclude(&mut pair);
    (pair, Some(moved))
}

/// Two rigs, or two loads, tell nothing of the wax; nor do the days of another rig.
fn on_other_ground(sides: &Sides, about: &About) -> Option<Reason> {
    if !sides.one_rig() {
        let told = sides.all().any(|r| r.rig.given);
        return Some(match told {
            true => Reason::TwoRigs { rigs: sides.rigs() },
            false => Reason::NoRigFile,
        });
    }
    let [keys, _] = sides.unlike();
    if !keys.is_empty() {
        return Some(Reason::Unlike { keys: keys.join(", ") });
    }
    if let Some(k) = about.known {
        let days = k.eras.newest().filter(|_| !sides.all().all(|r| k.is_of(&r.rig)));
        if let Some(h) = days {
            return Some(Reason::OtherRig {
                rigs: sides.rigs(),
                days_of: h.rig.clone(),
            });
        }
        if let Some(what) = sides.changed(&k.eras) {
            return Some(Reason::BenchChanged { what });
        }
    }
    (!sides.one_load()).then_some(Reason::TwoLoads)
}

/// The change of one pickup in numbers.
pub(super) struct Moved<'a> {
    sides: [Side; 2],
    rig: Repeatability,
    /// Of the witness.
    days: Option<&'a History>,
    looked: Looked<'a>,
    carried: Carried<'a>,
    /// Of f0 and of Q.
    pub(super) said: [Said; 2],
    pub(super) winding: Winding,
}

/// A pickup comes out of the wax on another day than it went in.
const QUESTION: Question = Question::OtherDay;

impl<'a> Moved<'a> {
    fn of(sides: &Sides, ground: &'a Ground, both: [Side; 2]) -> Option<Self> {
        let about = ground.about;
        let (own_f, own_u) = about.winding();
        let (whole_f, _) = ground.whole(sides);
        let first = sides.before[0];
        let rig = ground.repeatability(first, whole_f);
        let days = about.known.and_then(|k| k.history(first));
        let looked = about.known.map(|k| Looked::about(sides, k)).unwrap_or_default();
        let [mut f0, mut q] = of_f0_and_q(QUESTION, &both, &rig, about.limits);
        let carried = ground.carried(sides);
        match &carried {
            Carried::By(_, [of_f0, of_q]) => {
                f0.between.witness = Some(*of_f0);
                // In Q it tells first of all how it lay, and has a say where that is less than what a day usually does.
                let days = q.between.days();
                q.between.witness = Some(*of_q).filter(|w| !days.usual.any() || w.own.sd < days.sd);
            }
            _ => {
                let laying = Some(rig.laying(Quantity::F0)).filter(|l| !l.usual.any());
                let seen = about.known.zip(looked.moved());
                f0.between.witness = seen.and_then(|(k, moved)| k.witness(moved, (whole_f, own_u), laying));
            }
        }
        let said: [Said; 2] = judge(&[f0, q]).try_into().ok()?;
        // f0 goes with the root of one over the capacitance.
        let growth = (-2.0 * said[0].difference).exp_m1();
        let input_u = input_u(first, None)[1].map_or(0.0, |u| u * input_of(first).1);
        Some(Moved {
            sides: both,
            rig,
            days,
            looked,
            carried,
            said,
            winding: Winding {
                more_f: whole_f * growth,
                by_f0: 2.0 * whole_f * (1.0 + growth),
                open: growth.abs() * own_u.hypot(input_u),
                most_f: WAX_MOST * (own_f + Z95 * own_u),
            },
        })
    }

    /// In standard deviations of one day.
    fn over_days(&self) -> f64 {
        self.sides.iter().map(|s| 1.0 / s.days).sum::<f64>().sqrt()
    }

    /// A lead that moved between the days looks like wax; one that moved what stayed out as well has been taken off.
    pub(super) fn objection(&self) -> Option<Reason> {
        match (self.looked.objects(self.days), &self.carried) {
            (_, Carried::Contradicted) => Some(Reason::StayedContradict),
            (Some(Reason::WitnessMoved { .. }), Carried::By(..)) => None,
            (objection, _) => objection,
        }
    }

    fn put_numbers(&self, pair: &mut Pair) {
        let [before, after] = &self.sides;
        let relative = |said: &Said, b: Estimate, a: Estimate| {
            let moved = b.value * said.difference.exp_m1();
            interval(moved, b.value * said.half, a.u_noise.hypot(b.u_noise))
        };
        let [f0, q] = &self.said;
        pair.f0_hz = relative(f0, before.f0, after.f0);
        pair.f0_before_hz = Some(before.f0.value);
        pair.f0_relative = Some(f0.difference.exp_m1());
        pair.q = relative(q, before.q, after.q);
        pair.q_relative = Some(q.difference.exp_m1());
        let decibels = |quantity, b: Option<Estimate>, a: Option<Estimate>| {
            let (b, a) = (b?, a?);
            let asked = asked(QUESTION, &self.sides, [b, a], &self.rig, quantity, f64::INFINITY);
            let half = asked.between.scatter().half_width(0.05);
            interval(asked.difference, half, a.u_noise.hypot(b.u_noise))
        };
        pair.peak_db = decibels(Quantity::Height, before.peak_db, after.peak_db);
        pair.level_db = decibels(Quantity::Level, before.level_db, after.level_db);
        let noise = after.f0.u_noise.hypot(before.f0.u_noise) / before.f0.value;
        let w = &self.winding;
        pair.c_f = interval(w.more_f, w.half(f0), w.by_f0 * noise);
    }

    fn conclude(&self, pair: &mut Pair) {
        pair.decided = Some(self.said.map(|s| Decided::of(&s)));
        // Probability of such a difference if it were beyond its limit.
        let beyond = |s: Said| equivalence(s.difference, s.scatter.sd, s.scatter.freedom, s.asked.matters);
        let [f0, q] = self.said.map(beyond);
        pair.p_equivalence = Some(f0.max(q));
        if let Carried::By(names, _) = &self.carried {
            pair.carried_by = names.iter().map(|n| (*n).to_owned()).collect();
        }
        let [before, after] = &self.sides;
        let turned = after.sense.zip(before.sense).is_some_and(|(a, b)| !a.same(b));
        let w = &self.winding;
        let too_much = w.more_f - w.by_f0 * self.said[0].half_jointly > w.most_f;
        (pair.verdict, pair.reason) = match (verdict(&self.said), self.objection()) {
            _ if turned => (PotVerdict::Other, Reason::SignTurned),
            (_, Some(objection)) => (PotVerdict::CannotTell, objection),
            (PotVerdict::Unchanged, _) => (PotVerdict::Unchanged, Reason::WithinLimits),
            (PotVerdict::Wax, _) if too_much => (PotVerdict::Other, Reason::TooMuchCapacitance),
            (PotVerdict::Wax, _) => (PotVerdict::Wax, Reason::AsWaxDoes),
            (PotVerdict::Other, _) => (PotVerdict::Other, looks_like(&self.said)),
            (unsure, _) => (unsure, Reason::Unsure),
        };
        if pair.reason == Reason::Unsure {
            let wanted = more_readings(&self.said);
            pair.repeats_needed = wanted.map(|m| m.readings);
            pair.on_days = wanted.is_some_and(|m| m.on_days);
        }
    }
}

impl Winding {
    /// Half-width of the change's 95 % interval.
    pub(super) fn half(&self, f0: &Said) -> f64 {
        Scatter::sum(&[f0.scatter.times(self.by_f0), Scatter::known(self.open)]).half_width(0.05)
    }
}

impl Decided {
    pub(super) fn of(said: &Said) -> Self {
        Decided {
            difference: said.difference,
            half_95: said.told_half(),
            limit: said.asked.matters,
        }
    }
}

/// 1.96 u is the half-width, whatever freedom is behind it.
fn interval(value: f64, half: f64, noise: f64) -> Option<Estimate> {
    Estimate::new(value, half / Z95, noise)
}

/// What became of a pickup, or of a lot, by f0 and Q alone.
pub(super) fn verdict(said: &[Said; 2]) -> PotVerdict {
    let [f0, q] = said;
    match (whole(said), f0.answer, q.answer) {
        (Answer::Same, ..) => PotVerdict::Unchanged,
        (_, _, Answer::Different) => PotVerdict::Other,
        // Wax never raises f0.
        (_, Answer::Different, _) if f0.difference > 0.0 => PotVerdict::Other,
        (_, Answer::Different, _) => PotVerdict::Wax,
        _ => PotVerdict::CannotTell,
    }
}

/// What a change that is not wax looks like.
fn looks_like([f0, q]: &[Said; 2]) -> Reason {
    let up = f0.difference > f0.half;
    match (q.answer == Answer::Different, q.difference < 0.0) {
        (true, true) if up => Reason::ShortedTurns,
        (true, true) => Reason::MoreLoss,
        _ if up => Reason::F0Up,
        _ => Reason::LessLoss,
    }
}

/// So many readings after the wax would tell of both; `None` where no number would.
fn more_readings(said: &[Said; 2]) -> Option<More> {
    let open = said.iter().filter(|s| s.answer == Answer::CannotTell);
    let each: Option<Vec<More>> = open.map(Said::more_readings).collect();
    each?.into_iter().reduce(|a, b| More {
        readings: a.readings.max(b.readings),
        on_days: a.on_days || b.on_days,
    })
}
