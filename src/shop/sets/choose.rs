//! The best sets of the pickups that are there, as a document.

use super::candidate::{Candidate, Pool};
use super::document::{AsWell, Deviation, Member, Over, PlaceAsked, Proof, SCHEMA, Set, Sets, Target};
use super::figure::{FIGURES, Terms};
use super::group::{Group, Rule, WHOLE, groups};
use super::plan::{Plan, word};
use super::stars::{Bound, Packing};
use super::{next, solve};
use crate::estimate::Z95;
use crate::failure::Result;
use crate::shop::yardstick::Quantity;

/// Makes sets. As many as can be within the limits, then the least sum of the squares of all deviations.
pub fn choose(pool: &Pool, plan: Plan, terms: &Terms) -> Result<Sets> {
    let (plan, not_counted) = closed(plan, &pool.candidates);
    let rule = Rule { plan: &plan, terms };
    let (groups, unfit) = groups(&pool.candidates, &plan);
    groups.iter().try_for_each(|g| rule.bears(g.pickups.len()))?;
    let chosen: Vec<Chosen> = groups.iter().map(|g| Chosen::of(g, rule)).collect();
    let mut sets: Vec<Set> = chosen.iter().flat_map(Chosen::sets).collect();
    sets.sort_by(|a, b| a.sum.total_cmp(&b.sum));
    number(&mut sets);
    let left: Vec<_> = chosen.iter().map(|c| (c.group, c.left_over())).collect();
    let over = |c: &&Candidate| Over {
        pickup: c.name.clone(),
        place: word(plan.takes(c.about.position).and_then(|p| p.position)).into(),
    };
    let like = pool.like.as_ref();
    let targets = plan.places.iter().flat_map(|p| p.target.iter().flatten());
    let counts = |f: &Quantity| targets.clone().any(|t| t.0 == *f);
    Ok(Sets {
        schema: SCHEMA.into(),
        places: plan.places.iter().map(PlaceAsked::from).collect(),
        terms: FIGURES.into_iter().filter(counts).map(|f| *terms.of(f)).collect(),
        not_counted,
        rig: like.and_then(|r| r.rig.name.clone()),
        load: like.and_then(|r| r.load.as_ref()).map(|l| l.text.clone()),
        simulated: like.is_some_and(|r| r.is_simulated()),
        sets,
        proof: Proof::of(&chosen),
        left_over: left.iter().flat_map(|l| &l.1).map(over).collect(),
        left_out: [pool.left_out.clone(), unfit].concat(),
        next: next::next(&left, rule),
    })
}

/// Where nobody said what a place is to be like, it is to be alike: in peak and Q, and in what else is known of all.
fn closed(plan: Plan, all: &[Candidate]) -> (Plan, Vec<Quantity>) {
    if !plan.is_open() {
        return (plan, Vec::new());
    }
    let known = |f: &Quantity| [Quantity::Peak, Quantity::Q].contains(f) || all.iter().all(|c| c.value(*f).is_some());
    let (counted, not): (Vec<Quantity>, Vec<Quantity>) = FIGURES.into_iter().partition(known);
    (plan.alike_in(&counted), not)
}

/// The choice within a group.
struct Chosen<'a> {
    group: &'a Group<'a>,
    rule: Rule<'a>,
    packing: Packing,
    bound: Bound,
}

impl<'a> Chosen<'a> {
    fn of(group: &'a Group<'a>, rule: Rule<'a>) -> Chosen<'a> {
        let (packing, bound) = solve::best(&rule.stars(&group.pickups));
        Chosen {
            group,
            rule,
            packing,
            bound,
        }
    }

    fn left_over(&self) -> Vec<&'a Candidate> {
        let used = |i: &usize| self.packing.sets.iter().any(|s| s.contains(i));
        let left = (0..self.group.pickups.len()).filter(|i| !used(i));
        left.map(|i| self.group.pickups[i]).collect()
    }

    fn sets(&self) -> Vec<Set> {
        let each = self.packing.sets.iter().enumerate();
        each.map(|(s, set)| Set {
            members: (0..set.len()).map(|k| self.member(s, k)).collect(),
            sum: self.sum(set).unwrap_or(0.0),
        })
        .collect()
    }

    fn member(&self, s: usize, k: usize) -> Member {
        let set = &self.packing.sets[s];
        let (first, own) = (self.group.pickups[set[0]], self.group.pickups[set[k]]);
        let place = self.rule.seats()[k];
        let deviations = place.target.iter().flatten().filter_map(|(figure, target)| {
            let held = Candidate::held(first, own, self.rule.terms.of(*figure), *target)?;
            Some(Deviation {
                figure: *figure,
                off: held.off,
                half: held.half_95,
                usual: held.usual,
                within: held.answer,
            })
        });
        Member {
            pickup: own.name.clone(),
            record: own.id.clone(),
            place: word(place.position).into(),
            peak_hz: own.value(Quantity::Peak),
            q: own.value(Quantity::Q),
            level_db: own.value(Quantity::Level),
            r20_ohm: own.value(Quantity::Ohms),
            deviations: deviations.collect(),
            as_well: self.as_well(s, k),
        }
    }

    fn sum(&self, set: &[usize]) -> Option<f64> {
        let of = |i: &usize| self.group.pickups[*i];
        let each = set.iter().zip(self.rule.seats()).skip(1);
        each.map(|(i, place)| self.rule.sum(of(&set[0]), of(i), place)).sum()
    }

    /// Variance of what `new` sums to against `old`, by the pairs that are not in both.
    fn variance(&self, old: &[usize], new: &[usize]) -> f64 {
        let seats = self.rule.seats();
        let pairs = |set: &[usize]| (1..set.len()).map(|k| (k, set[0], set[k])).collect::<Vec<_>>();
        let (a, b) = (pairs(old), pairs(new));
        let (gone, come) = (a.iter().filter(|p| !b.contains(p)), b.iter().filter(|p| !a.contains(p)));
        let of = |i: &usize| self.group.pickups[*i];
        let each = gone
            .chain(come)
            .map(|(k, first, own)| self.rule.variance(of(first), of(own), seats[*k]));
        each.sum()
    }

    /// The pickup that comes nearest to being the better one in a place, where measuring does not tell that it is not: left over, or
    /// in the same place of another set, with which this one changes.
    fn as_well(&self, s: usize, k: usize) -> Option<AsWell> {
        let sets = &self.packing.sets;
        let own = &sets[s];
        let at = |set: &[usize], i: usize| {
            let mut set = set.to_vec();
            set[k] = i;
            set
        };
        let position = self.rule.seats()[k].position;
        let mut found: Option<AsWell> = None;
        for (i, c) in self.group.pickups.iter().enumerate() {
            let other = sets.iter().position(|t| t.contains(&i));
            let fits = match other {
                None => position.is_none() || c.about.position == position,
                Some(t) => t != s && sets[t][k] == i,
            };
            if !fits {
                continue;
            }
            let pairs = [(own, at(own, i))].into_iter();
            let pairs: Vec<_> = pairs.chain(other.map(|t| (&sets[t], at(&sets[t], own[k])))).collect();
            let more = pairs.iter().map(|(old, new)| Some(self.sum(new)? - self.sum(old)?));
            let more: Option<f64> = more.sum();
            let nearer = |more: &f64| found.as_ref().is_none_or(|f| *more < f.more);
            let Some(more) = more.filter(nearer) else { continue };
            let variance: f64 = pairs.iter().map(|(old, new)| self.variance(old, new)).sum();
            if more < Z95 * variance.sqrt() {
                // The set's number follows when they are in order.
                let (pickup, set) = (c.name.clone(), None);
                found = Some(AsWell { pickup, set, more });
            }
        }
        found
    }
}

/// Gives the sets that others lie in their numbers, now that they are in order.
fn number(sets: &mut [Set]) {
    let names = |s: &Set| s.members.iter().map(|m| m.pickup.clone()).collect();
    let names: Vec<Vec<String>> = sets.iter().map(names).collect();
    let members = sets.iter_mut().flat_map(|s| &mut s.members);
    for w in members.filter_map(|m| m.as_well.as_mut()) {
        w.set = names.iter().position(|n| n.contains(&w.pickup)).map(|i| i + 1);
    }
}

impl Proof {
    fn of(chosen: &[Chosen]) -> Proof {
        let sum = |of: fn(&Chosen) -> i64| chosen.iter().map(of).sum::<i64>() as f64 / WHOLE;
        let found: usize = chosen.iter().map(|c| c.packing.sets.len()).sum();
        let sets_at_most = chosen.iter().map(|c| c.bound.sets).sum();
        let best = |c: &Chosen| c.bound.sets == c.packing.sets.len() && c.bound.cost == c.packing.cost;
        Proof {
            best: found == sets_at_most && chosen.iter().all(best),
            sum: sum(|c| c.packing.cost),
            sets_at_most,
            sum_at_least: sum(|c| c.bound.cost),
        }
    }
}

impl From<&super::plan::Place> for PlaceAsked {
    fn from(place: &super::plan::Place) -> Self {
        let target = |(figure, difference): (Quantity, f64)| Target { figure, difference };
        PlaceAsked {
            place: word(place.position).into(),
            target: place.target.iter().flatten().copied().map(target).collect(),
            reversed: place.reversed,
        }
    }
}

#[cfg(test)]
mod tests;
