//! Is it what was sent?

use super::document::{Look, Returned, SCHEMA, Side, Verdict, Why};
use super::free::free;
use super::meters::{magnet, ohms};
use super::signs::{Seen, looks};
use super::stand_in::{StandIn, ring};
use crate::coil::basis::Basis;
use crate::coil::behind::{input_of, load_of, whole_load};
use crate::estimate::Z95;
use crate::failure::Result;
use crate::record::when::moment;
use crate::record::{Code, Record};
use crate::shop::difference::{How, Judged, compare};
use crate::shop::reading;
use crate::shop::wax::about::WAX_MOST;
use crate::shop::yardstick::{Answer, Between, Quantity, USUAL_WINDING_F};

/// Resistance of a winding where nobody read it (common practice: 2 to 20 kilohms); only how much a lost turn does hangs on it.
const USUAL_OHM: f64 = 6.5e3;

/// Others that are named: of a lot all are alike.
const MOST_ALIKE: usize = 3;
/// One that reads as today's does lies within so many half-widths everywhere: three standard deviations.
const ALIKE: f64 = 1.5;
/// Labels are changed over where pickups lie side by side, so many seconds apart at the most: two months (a choice). Among thousands
/// of a notebook some other one reads as any faulty one does.
const SIDE_BY_SIDE_S: u64 = 60 * 24 * 3600;

pub struct Question<'a> {
    /// The reading it left with.
    pub left: &'a Record,
    pub today: &'a Record,
    /// The coil behind the pickup, where it was found.
    pub basis: Option<&'a Basis>,
    pub how: &'a How,
    /// What other pickups left with: one of them may have its label.
    pub others: &'a [Record],
}

/// Of so many others the nearest are looked at where one came back changed, and as many of those that were in the shop when it was.
const OTHERS: usize = 20;

/// Those of many others that one is held against: by the peak. Each comes with its own in hertz, and with the second since 1970 of its
/// reading.
pub fn nearest<T>(left: &Record, today: &Record, others: impl IntoIterator<Item = (f64, i64, T)>) -> Vec<T> {
    let Some(hz) = today.reading().and_then(|r| r.peak_hz).map(|p| p.value) else {
        return Vec::new();
    };
    let far = |own: f64| (own / hz).ln().abs();
    let mut all: Vec<(f64, i64, T)> = others.into_iter().collect();
    all.sort_by(|a, b| far(a.0).total_cmp(&far(b.0)));
    let of_its_time = |o: &(f64, i64, T)| second(left).is_some_and(|s| side_by_side(o.1, s));
    let (beside, elsewhere): (Vec<_>, Vec<_>) = all.into_iter().partition(of_its_time);
    let some = |list: Vec<(f64, i64, T)>| list.into_iter().take(OTHERS).map(|o| o.2);
    some(beside).chain(some(elsewhere)).collect()
}

/// Since 1970.
fn second(record: &Record) -> Option<i64> {
    moment(&record.taken_at).map(|t| t.as_second())
}

fn side_by_side(a: i64, b: i64) -> bool {
    a.abs_diff(b) <= SIDE_BY_SIDE_S
}

/// Says of a pickup that came back whether it is what was sent.
pub fn judge(question: &Question) -> Result<Returned> {
    let Question { left, today, .. } = question;
    let (magnet, turned) = magnet(left, today);
    let blank = Returned {
        schema: SCHEMA.into(),
        pickup: left.pickup.name.clone(),
        left: Side::of(left),
        today: Side::of(today),
        ohms: ohms(left, today, question.how.matters.of(Quantity::Ohms)),
        magnet,
        simulated: left.is_simulated() || today.is_simulated(),
        ..Returned::default()
    };
    let mut it = match unfit(left, today) {
        Some(Unfit::Dead { feed }) => blank.changed(vec![Look::Dead { feed }]),
        Some(Unfit::Why(why)) => blank.open(why),
        None => question.read(blank)?,
    };
    if let Some(look) = turned {
        it.verdict = Verdict::Changed;
        it.looks.push(look);
    }
    Ok(it)
}

impl Returned {
    fn changed(self, looks: Vec<Look>) -> Returned {
        let verdict = Verdict::Changed;
        Returned { verdict, looks, ..self }
    }

    /// For this reason nobody can tell.
    fn open(self, why: Why) -> Returned {
        let why = Some(why);
        Returned { why, ..self }
    }

    /// The ohms are others for sure.
    fn other_ohms(&self) -> bool {
        self.ohms.as_ref().is_some_and(|o| o.answer == Answer::Different)
    }
}

enum Unfit {
    Dead { feed: bool },
    Why(Why),
}

/// Why the readings cannot be held against each other; a pickup that gives nothing is none the less told.
fn unfit(left: &Record, today: &Record) -> Option<Unfit> {
    let why = |why| Some(Unfit::Why(why));
    if left.reading().is_none() {
        return why(Why::NeverRead);
    }
    if left.is_simulated() != today.is_simulated() {
        return why(Why::Simulated);
    }
    if let (Some(a), Some(b)) = (&left.pickup.over, &today.pickup.over)
        && a != b
    {
        return why(Why::OtherCoil {
            left: a.clone(),
            today: b.clone(),
        });
    }
    if today.reading().is_none() {
        return match today.rejected_for().map(|f| f.code) {
            Some(Code::OpenWinding) => Some(Unfit::Dead { feed: true }),
            Some(Code::NoSignal) => Some(Unfit::Dead { feed: false }),
            finding => why(Why::NoReading { finding }),
        };
    }
    None
}

/// Whether the same hung on it both times, the rigs' inputs counted in; `None` where that is told of one of them only.
fn one_load(left: &Record, today: &Record) -> Option<bool> {
    if left.load.is_some() != today.load.is_some() {
        return None;
    }
    let load = |r| load_of(r).ok();
    Some(load(left) == load(today) && input_of(left) == input_of(today))
}

/// f0 and Q as the stand-in has them.
fn rings(record: &Record) -> Option<(f64, f64)> {
    let r = record.reading()?;
    let by_peak = r.peak_hz.zip(r.peak_db).map(|(hz, db)| ring(hz.value, db.value));
    Some(by_peak.unwrap_or((r.f0_hz.value, r.q.value)))
}

impl Question<'_> {
    fn read(&self, blank: Returned) -> Result<Returned> {
        let (left, today) = (self.left, self.today);
        match (one_load(left, today), self.basis) {
            (None, _) => Ok(self.by_ohms(blank, Why::LoadNotTold)),
            (Some(true), _) => self.side_by_side(blank),
            (Some(false), None) => Ok(self.by_ohms(blank, Why::OtherLoad)),
            (Some(false), Some(basis)) => match free(left, today, basis, &self.how.matters)? {
                None => Ok(self.by_ohms(blank, Why::NoPeak)),
                Some((freed, seen)) => {
                    let answer = freed.answer;
                    let it = Returned {
                        freed: Some(freed),
                        ..blank
                    };
                    Ok(self.concluded(it, answer, Some(seen)))
                }
            },
        }
    }

    fn side_by_side(&self, blank: Returned) -> Result<Returned> {
        let compared = compare(&[self.left.clone(), self.today.clone()], self.how)?;
        let answer = compared.differences.first().map_or(Answer::CannotTell, |d| d.answer);
        let it = Returned {
            compared: Some(compared),
            ..blank
        };
        let seen = self.seen(&it);
        Ok(self.concluded(it, answer, seen))
    }

    /// Ohms that are another coil's tell, whatever hung on it.
    fn by_ohms(&self, blank: Returned, why: Why) -> Returned {
        match blank.other_ohms() {
            true => blank.changed(vec![Look::AnotherCoil { like: Vec::new() }]),
            false => blank.open(why),
        }
    }

    fn concluded(&self, it: Returned, answer: Answer, seen: Option<Seen>) -> Returned {
        match answer {
            // The same ring and other ohms: one of the two figures is wrong.
            Answer::Same if it.other_ohms() => it.open(Why::OhmsAlone),
            Answer::Same => Returned {
                verdict: Verdict::Unchanged,
                ..it
            },
            Answer::CannotTell => it,
            Answer::Different => {
                let looks = self.looks(&it, seen);
                it.changed(looks)
            }
        }
    }

    /// What was seen of f0, Q and level, with what the yardstick has of their scatter.
    fn seen(&self, it: &Returned) -> Option<Seen> {
        let difference = it.compared.as_ref()?.differences.first()?;
        let scatter = |quantity: Quantity| {
            let parts = [self.left, self.today].map(|r| reading::parts(r, quantity));
            let [Some(a), Some(b)] = parts else { return None };
            Some(Between::new(difference.between, a, b).scatter().sd)
        };
        let (a, b) = (rings(self.left)?, rings(self.today)?);
        let level = |r| reading::value(r, Quantity::Level).map(|e| e.value);
        let judged = Judged::find(&difference.quantities, Quantity::Level).is_some();
        let level = level(self.today).zip(level(self.left)).filter(|_| judged);
        Some(Seen {
            f0: ((b.0 / a.0).ln(), scatter(Quantity::F0)?),
            q: ((b.1 / a.1).ln(), scatter(Quantity::Q)?),
            level_db: level.and_then(|(b, a)| Some((b - a, scatter(Quantity::Level)?))),
            ohm: None,
        })
    }

    /// What a change for sure looks like.
    fn looks(&self, it: &Returned, seen: Option<Seen>) -> Vec<Look> {
        let difference = it.compared.as_ref().and_then(|c| c.differences.first());
        let quantities = difference.map(|d| d.quantities.as_slice()).unwrap_or_default();
        let level = Judged::find(quantities, Quantity::Level).is_some_and(|j| j.answer == Answer::Different);
        let turned = difference.is_some_and(|d| d.turned);
        let same = |j: &Judged| j.quantity == Quantity::Level || j.answer == Answer::Same;
        let alone = difference.is_some() && quantities.iter().all(same);
        let far = it.other_ohms();
        let [beside, elsewhere] = self.like();
        let mut out = Vec::new();
        if !beside.is_empty() {
            out.push(Look::AnotherCoil { like: beside });
        }
        if turned {
            out.push(Look::Turned);
        }
        if alone && level && !far {
            out.push(Look::Level);
        }
        if !alone || far {
            let seen = seen.map(|s| Seen {
                ohm: it.ohms.as_ref().map(|o| (o.difference, o.u)),
                ..s
            });
            out.extend(seen.and_then(|s| self.signs(&s)).unwrap_or_default());
        }
        let named = matches!(out.first(), Some(Look::AnotherCoil { .. }));
        if out.is_empty() || (!named && !elsewhere.is_empty()) {
            out.push(Look::AnotherCoil { like: elsewhere });
        }
        out
    }

    fn signs(&self, seen: &Seen) -> Option<Vec<Look>> {
        let ohms = self.left.ohms().first().map(|o| o.ohm);
        let coil = self.basis.map(|b| b.coil);
        let winding = coil.map_or(USUAL_WINDING_F, |c| (c.c_f, 0.0));
        let r_ohm = coil.map(|c| c.r_ohm).or(ohms).unwrap_or(USUAL_OHM);
        // Nothing told hangs there: the input alone.
        let load = whole_load(self.left).unwrap_or_else(|_| {
            let (ohm, farad) = input_of(self.left);
            crate::network::Load::default().with_input(ohm, farad)
        });
        let before = StandIn::of((r_ohm, winding.0), load, rings(self.left)?)?;
        Some(looks(&before, seen, WAX_MOST * (winding.0 + Z95 * winding.1)))
    }

    /// Others that left as this one reads today, as far as anybody can tell, the nearest first: those that were in the shop when it
    /// was, and all others.
    fn like(&self) -> [Vec<String>; 2] {
        let others = self.others.iter().filter(|o| {
            o.pickup.name != self.left.pickup.name
                && o.pickup.over == self.left.pickup.over
                && one_load(o, self.today) == Some(true)
        });
        let mut near: Vec<(f64, &Record)> = others.filter_map(|o| Some((self.far(o)?, o))).collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (beside, elsewhere): (Vec<_>, Vec<_>) = near.into_iter().partition(|(_, o)| {
            let both = second(o).zip(second(self.left));
            both.is_some_and(|(a, b)| side_by_side(a, b))
        });
        [beside, elsewhere].map(|list| {
            let names = list.into_iter().map(|n| n.1.pickup.name.clone());
            names.take(MOST_ALIKE).collect()
        })
    }

    /// How far today's reading is from another pickup's; `None` where it is not that one's.
    fn far(&self, other: &Record) -> Option<f64> {
        let ohms = ohms(other, self.today, self.how.matters.of(Quantity::Ohms));
        // A label that was changed over goes with a coil of those very ohms.
        if ohms.as_ref().is_some_and(|m| m.difference.abs() > m.half) {
            return None;
        }
        let compared = compare(&[other.clone(), self.today.clone()], self.how).ok()?;
        let difference = compared.differences.first().filter(|d| d.answer != Answer::Different)?;
        let of = |d: f64, half: f64| (d / half).abs();
        let ring: Vec<f64> = difference.quantities.iter().map(|j| of(j.difference, j.half)).collect();
        let is_alike = !ring.is_empty() && ring.iter().all(|z| *z <= ALIKE);
        let all = ring.into_iter().chain(ohms.map(|o| of(o.difference, o.half)));
        is_alike.then(|| all.map(|z| z * z).sum())
    }
}
