//! Is it what was sent?

use super::document::{Look, Returned, SCHEMA, Side, Verdict, Why};
use super::free::free;
use super::meters::{magnet, ohms};
use super::signs::{Seen, looks};
use super::stand_in::StandIn;
use crate::coil::basis::Basis;
use crate::coil::behind::{input_of, load_of, whole_load};
use crate::estimate::Z95;
use crate::failure::Result;
use crate::record::{Code, Definition, Record};
use crate::shop::difference::{How, compare};
use crate::shop::reading;
use crate::shop::wax::about::WAX_MOST;
use crate::shop::yardstick::{Answer, Between, Quantity, USUAL_WINDING_F};

/// Resistance of a winding where nobody read it (common practice: 2 to 20 kilohms); only how much a lost turn does hangs on it.
const USUAL_OHM: f64 = 6.5e3;

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

/// Says of a pickup that came back whether it is what was sent.
pub fn judge(question: &Question) -> Result<Returned> {
    let Question { left, today, .. } = question;
    let (magnet, turned) = magnet(left, today);
    let blank = Returned {
        schema: SCHEMA.into(),
        pickup: left.pickup.name.clone(),
        verdict: Verdict::CannotTell,
        looks: Vec::new(),
        why: None,
        left: Side::of(left),
        today: Side::of(today),
        compared: None,
        freed: None,
        ohms: ohms(left, today),
        magnet,
        simulated: left.is_simulated() || today.is_simulated(),
        text: String::new(),
    };
    let mut it = match unfit(left, today) {
        Some(Unfit::Dead { feed }) => Returned {
            verdict: Verdict::Changed,
            looks: vec![Look::Dead { feed }],
            ..blank
        },
        Some(Unfit::Why(why)) => Returned {
            why: Some(why),
            ..blank
        },
        None => question.read(blank)?,
    };
    if let Some(look) = turned {
        it.verdict = Verdict::Changed;
        it.looks.push(look);
    }
    Ok(it)
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
        let far = blank.ohms.as_ref().is_some_and(|o| o.answer == Answer::Different);
        match far {
            true => Returned {
                verdict: Verdict::Changed,
                looks: vec![Look::AnotherCoil { like: Vec::new() }],
                ..blank
            },
            false => Returned {
                why: Some(why),
                ..blank
            },
        }
    }

    fn concluded(&self, it: Returned, answer: Answer, seen: Option<Seen>) -> Returned {
        let far = it.ohms.as_ref().is_some_and(|o| o.answer == Answer::Different);
        match answer {
            // The same ring and other ohms: one of the two figures is wrong.
            Answer::Same if far => Returned {
                why: Some(Why::OhmsAlone),
                ..it
            },
            Answer::Same => Returned {
                verdict: Verdict::Unchanged,
                ..it
            },
            Answer::CannotTell => it,
            Answer::Different => Returned {
                verdict: Verdict::Changed,
                looks: self.looks(&it, seen),
                ..it
            },
        }
    }

    /// What was seen of f0, Q and level, with what the yardstick has of their scatter.
    fn seen(&self, it: &Returned) -> Option<Seen> {
        let difference = it.compared.as_ref()?.differences.first()?;
        // As the comparison does where the two mean two things by f0 and Q.
        let (a, b) = match (self.left.reading()?.definition, self.today.reading()?.definition) {
            (x, y) if x == y => (self.left.clone(), self.today.clone()),
            _ => (
                self.left.defined_as(Definition::Plain)?,
                self.today.defined_as(Definition::Plain)?,
            ),
        };
        let moved = |quantity: Quantity| {
            let (x, y) = (reading::value(&a, quantity)?, reading::value(&b, quantity)?);
            let (p, q) = (reading::parts(&a, quantity)?, reading::parts(&b, quantity)?);
            let scatter = Between::new(difference.between.into(), p, q).scatter();
            Some((quantity.difference(x.value, y.value), scatter.sd))
        };
        let judged = |q: &Quantity| difference.quantities.iter().any(|j| j.quantity == q.code());
        Some(Seen {
            f0: moved(Quantity::F0)?,
            q: moved(Quantity::Q)?,
            level_db: Some(Quantity::Level).filter(judged).and_then(moved),
            ohm: None,
        })
    }

    /// What a change for sure looks like.
    fn looks(&self, it: &Returned, seen: Option<Seen>) -> Vec<Look> {
        let difference = it.compared.as_ref().and_then(|c| c.differences.first());
        let different = |q: &str| {
            let list = difference.map(|d| d.quantities.as_slice()).unwrap_or_default();
            list.iter().any(|j| j.quantity == q && j.answer == Answer::Different)
        };
        let turned = difference.is_some_and(|d| d.turned);
        let alone = difference.is_some_and(|d| d.quantities.iter().all(|j| j.quantity == "level" || j.answer == Answer::Same));
        let far = it.ohms.as_ref().is_some_and(|o| o.answer == Answer::Different);
        let like = self.like();
        let mut out = Vec::new();
        if !like.is_empty() {
            out.push(Look::AnotherCoil { like });
        }
        if turned {
            out.push(Look::Turned);
        }
        if alone && different("level") && !far {
            out.push(Look::Level);
        }
        if !alone || far {
            let seen = seen.map(|s| Seen {
                ohm: it.ohms.as_ref().map(|o| (o.difference, o.u)),
                ..s
            });
            out.extend(seen.and_then(|s| self.signs(&s)).unwrap_or_default());
        }
        if out.is_empty() {
            out.push(Look::AnotherCoil { like: Vec::new() });
        }
        out
    }

    fn signs(&self, seen: &Seen) -> Option<Vec<Look>> {
        let r = self.left.read_as(Definition::Plain).or_else(|| self.left.reading().cloned())?;
        let ohms = self.left.ohms().first().map(|o| o.ohm);
        let coil = self.basis.map(|b| b.coil);
        let winding = coil.map_or(USUAL_WINDING_F, |c| (c.c_f, 0.0));
        let r_ohm = coil.map(|c| c.r_ohm).or(ohms).unwrap_or(USUAL_OHM);
        // Nothing told hangs there: the input alone.
        let load = whole_load(self.left).unwrap_or_else(|_| {
            let (ohm, farad) = input_of(self.left);
            crate::network::Load::default().with_input(ohm, farad)
        });
        let before = StandIn::of((r_ohm, winding.0), load, (r.f0_hz.value, r.q.value))?;
        Some(looks(&before, seen, WAX_MOST * (winding.0 + Z95 * winding.1)))
    }

    /// Others that left as this one reads today.
    fn like(&self) -> Vec<String> {
        let others = self.others.iter().filter(|o| {
            o.pickup.name != self.left.pickup.name
                && o.reading().is_some()
                && o.pickup.over == self.left.pickup.over
                && one_load(o, self.today) == Some(true)
        });
        let alike = others.filter(|o| {
            let pair = [(*o).clone(), self.today.clone()];
            let said = compare(&pair, self.how);
            let far = ohms(o, self.today).is_some_and(|m| m.answer == Answer::Different);
            !far && said.is_ok_and(|c| c.differences.first().is_some_and(|d| d.answer == Answer::Same))
        });
        alike.map(|o| o.pickup.name.clone()).collect()
    }
}
