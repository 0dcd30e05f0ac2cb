//! What stayed out of the wax and was measured in the same sittings: it carries what the rig's days did.

use super::about::Ground;
use super::document::{Decided, Stayed, Unfit};
use super::side::{Side, of_f0_and_q};
use super::sides::{Sides, ids};
use crate::record::Record;
use crate::record::when::moment;
use crate::shop::alike;
use crate::shop::yardstick::{Answer, Question, Said, Scatter, Witness, judge};
use crate::stats::ratio_by_chance;

/// Readings so many hours apart, or fewer, are of one sitting: of one working day, and not of an evening and the morning after
/// (choice).
pub const SITTING_H: f64 = 12.0;
/// Pickups that stayed out contradict each other so far once in a hundred times by chance.
const SELDOM: f64 = 0.01;

/// What the days did to one pair.
pub(super) enum Carried<'a> {
    /// Nothing tells.
    Untold,
    /// Several tell, and contradict each other.
    Contradicted,
    By(Vec<&'a str>, [Witness; 2]),
}

/// What became of one that stayed out, about a pair's readings.
struct Seen<'a> {
    name: &'a str,
    /// Of f0 and of Q.
    said: [Said; 2],
    whole: (f64, f64),
}

/// Between two moments.
pub(super) fn hours(a: &str, b: &str) -> Option<f64> {
    Some((moment(a)?.duration_since(moment(b)?).as_secs_f64() / 3600.0).abs())
}

fn in_sitting(a: &Record, b: &Record) -> bool {
    hours(&a.taken_at, &b.taken_at).is_some_and(|h| h <= SITTING_H)
}

/// Puts readings to the side whose own are nearer in time; those of other days belong to neither.
pub fn put_by_time(more: Vec<Record>, before: &mut Vec<Record>, after: &mut Vec<Record>) {
    // What came in has no say in where the next one goes.
    let own = [before.len(), after.len()];
    for r in more {
        let sides = [&before[..own[0]], &after[..own[1]]];
        if sides.iter().copied().flatten().any(|o| o.id == r.id) {
            continue;
        }
        let apart = |side: &[Record]| {
            let each = side.iter().filter_map(|o| hours(&r.taken_at, &o.taken_at));
            each.fold(f64::INFINITY, f64::min)
        };
        let [to_before, to_after] = sides.map(apart);
        if to_before.min(to_after) <= SITTING_H {
            match to_before <= to_after {
                true => before.push(r),
                false => after.push(r),
            }
        }
    }
}

impl<'a> Sides<'a> {
    /// Its readings of the sittings in which the other's were made; `None` where it has none of one of them.
    fn about(&self, other: &Sides) -> Option<Sides<'a>> {
        let near = |own: &[&'a Record], others: &[&Record]| -> Option<Vec<&'a Record>> {
            let told = others.iter().all(|o| own.iter().any(|r| in_sitting(r, o)));
            let of_them = own.iter().copied().filter(|r| others.iter().any(|o| in_sitting(r, o)));
            told.then(|| of_them.collect())
        };
        Some(Sides {
            name: self.name.clone(),
            before: near(&self.before, &other.before)?,
            after: near(&self.after, &other.after)?,
        })
    }
}

impl Ground<'_> {
    /// Change of f0 and of Q of one that stayed out, between the sides, by noise and laying down alone.
    fn change(&self, sides: &Sides) -> Result<[Said; 2], Unfit> {
        if sides.before.is_empty() || sides.after.is_empty() {
            return Err(Unfit::OneSide);
        }
        let [of_f0, _] = sides.unlike();
        if !sides.one_rig() || !sides.one_load() || !of_f0.is_empty() {
            return Err(Unfit::NotAlike);
        }
        let definition = alike::in_common(sides.all());
        let both = Side::of(&sides.before, definition).zip(Side::of(&sides.after, definition));
        let both: [Side; 2] = both.ok_or(Unfit::NoReading)?.into();
        let [before, after] = both.map(|s| s.sense);
        if before.zip(after).is_some_and(|(a, b)| !a.same(b)) {
            return Err(Unfit::Changed);
        }
        let rig = self.repeatability(sides.before[0], self.whole(sides).0);
        let asked = of_f0_and_q(Question::LaidDown, &both, &rig, self.about.limits);
        let said: [Said; 2] = judge(&asked).try_into().map_err(|_| Unfit::NoReading)?;
        match said[1].answer {
            // No lead does that, and no day.
            Answer::Different => Err(Unfit::Changed),
            Answer::Same | Answer::CannotTell => Ok(said),
        }
    }

    fn seen<'s>(&self, stayed: &'s Sides, pair: &Sides) -> Result<Seen<'s>, Unfit> {
        if stayed.before.is_empty() || stayed.after.is_empty() {
            return Err(Unfit::OneSide);
        }
        let near = stayed.about(pair).ok_or(Unfit::OtherSitting)?;
        let both = Sides {
            before: [&near.before[..], &pair.before].concat(),
            ..near.clone()
        };
        if !both.one_rig() {
            return Err(Unfit::NotAlike);
        }
        Ok(Seen {
            name: &stayed.name,
            said: self.change(&near)?,
            whole: self.whole(&near),
        })
    }

    /// Why one that stayed out tells nothing of a pair.
    pub(super) fn unfit(&self, stayed: &Sides, pair: &Sides) -> Option<Unfit> {
        self.seen(stayed, pair).err()
    }

    /// What the days did to f0 and Q of this pair: the changes of those that stayed out, f0 by what is across each, pooled with the
    /// weights of their own scatters.
    pub(super) fn carried(&self, pair: &Sides) -> Carried<'_> {
        let seen: Vec<Seen> = self.stayed.iter().filter_map(|s| self.seen(s, pair).ok()).collect();
        let (whole_f, whole_u) = self.whole(pair);
        let of_f0 = |s: &Seen| {
            let share = s.whole.0 / whole_f;
            let moved = share * s.said[0].difference;
            let scale = Scatter::known(moved * s.whole.1 / s.whole.0);
            let own = Scatter::sum(&[s.said[0].scatter.times(share), scale]);
            Witness { moved, own }
        };
        let of_q = |s: &Seen| Witness {
            moved: s.said[1].difference,
            own: s.said[1].scatter,
        };
        let f0 = pooled(&seen.iter().map(of_f0).collect::<Vec<_>>());
        let q = pooled(&seen.iter().map(of_q).collect::<Vec<_>>());
        let (Some(mut f0), Some(q)) = (f0, q) else {
            return Carried::Untold;
        };
        if f0.1 < SELDOM || q.1 < SELDOM {
            return Carried::Contradicted;
        }
        // What is across the pair is one number for all of them.
        f0.0.own = Scatter::sum(&[f0.0.own, Scatter::known(f0.0.moved * whole_u / whole_f)]);
        Carried::By(seen.iter().map(|s| s.name).collect(), [f0.0, q.0])
    }

    /// For the document: each that stayed out, whatever pairs it speaks for.
    pub(super) fn shown(&self, sides: &Sides) -> Stayed {
        let said = self.change(sides).ok();
        Stayed {
            pickup: sides.name.clone(),
            before: ids(&sides.before),
            after: ids(&sides.after),
            read: sides.read(),
            changed: said.map(|said| said.map(|s| Decided::of(&s))),
        }
    }
}

/// Mean with the weights of their variances, and how likely they lie so far apart by chance. How they were laid down is known by one
/// study for all.
fn pooled(all: &[Witness]) -> Option<(Witness, f64)> {
    let weight = |w: &Witness| w.own.sd.max(f64::MIN_POSITIVE.sqrt()).powi(-2);
    let total: f64 = all.iter().map(weight).sum();
    let moved = all.iter().map(|w| weight(w) * w.moved).sum::<f64>() / total;
    let shares = all.iter().map(|w| w.own.times(weight(w) / total));
    let own = shares.reduce(Scatter::shared)?;
    let apart: f64 = all.iter().map(|w| weight(w) * (w.moved - moved).powi(2)).sum();
    let chance = match all.len() - 1 {
        0 => 1.0,
        n => ratio_by_chance(apart / n as f64, n as f64, own.freedom),
    };
    Some((Witness { moved, own }, chance))
}
