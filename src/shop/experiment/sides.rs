//! The two groups, brought to what can be held against each other.

use std::collections::BTreeSet;

use super::document::{LeftOut, Side, Why, WhyOut};
use super::recipe::{Made, Recipe, names};
use crate::record::Record;
use crate::record::when::day;
use crate::shop::alike::one_definition;
use crate::shop::difference::{How, one_bench};
use crate::stats::{distinct, grouped};

/// Readings of both groups: of one load, one coil and one kind.
pub(super) struct Sides<'a> {
    made: [Vec<&'a Made>; 2],
    /// As they are read together.
    pub records: [Vec<Record>; 2],
    /// For each the bench it was measured on, counted from 0.
    pub benches: [Vec<usize>; 2],
    pub paired: bool,
}

/// What has to be the same for pickups to be compared at all.
type Kind = (Option<String>, Option<String>, bool);

fn kind(m: &Made) -> Kind {
    let r = &m.record;
    (
        r.load.as_ref().map(|l| l.text.clone()),
        r.pickup.over.clone(),
        r.is_simulated(),
    )
}

impl<'a> Sides<'a> {
    pub fn of(mut made: [Vec<&'a Made>; 2], how: &How, left_out: &mut Vec<LeftOut>) -> Sides<'a> {
        keep(&mut made, left_out, WhyOut::NoReading, |m| m.record.reading().is_some());
        let fewer = |k: &Kind| {
            let own = |side: &Vec<&'a Made>| side.iter().copied().filter(|m| kind(m) == *k).collect::<Vec<_>>();
            let [a, b] = made.each_ref().map(|side| names(&own(side)).len());
            a.min(b)
        };
        // The first of those that leave most on the smaller side.
        let kinds = distinct(made.iter().flatten().map(|m| kind(m)));
        let best = kinds.into_iter().rev().max_by_key(fewer);
        keep(&mut made, left_out, WhyOut::OtherKind, |m| Some(kind(m)) == best);
        let [a, b] = made.each_ref().map(|side| names(side));
        let both: BTreeSet<&str> = a.intersection(&b).copied().collect();
        let paired = !both.is_empty() && 2 * both.len() >= a.len().min(b.len());
        let why = if paired { WhyOut::OneSide } else { WhyOut::BothSides };
        let stands = |m: &Made| both.contains(m.record.pickup.name.as_str()) == paired;
        keep(&mut made, left_out, why, stands);
        let all: Vec<Record> = made.iter().flatten().map(|m| m.record.clone()).collect();
        let (_, mut read) = one_definition(&all);
        let mut bench = benches(&read, how);
        let at = made[0].len();
        let (second, on) = (read.split_off(at), bench.split_off(at));
        Sides {
            made,
            records: [read, second],
            benches: [bench, on],
            paired,
        }
    }

    pub fn recipes(&self, side: usize) -> Vec<&'a Recipe> {
        self.made[side].iter().map(|m| &m.recipe).collect()
    }

    pub fn simulated(&self) -> bool {
        self.records.iter().flatten().any(Record::is_simulated)
    }

    pub fn told(&self, side: usize) -> Side {
        let days: BTreeSet<&str> = self.records[side].iter().filter_map(|r| day(&r.taken_at)).collect();
        Side {
            pickups: names(&self.made[side]).into_iter().map(str::to_owned).collect(),
            readings: self.records[side].len(),
            days: days.len(),
        }
    }

    /// Each reading's share in the mean of its group: pickups count alike, whatever often they were measured.
    pub fn weights(&self, side: usize, has: impl Fn(usize) -> bool) -> Vec<f64> {
        let name = |i: usize| self.records[side][i].pickup.name.as_str();
        let all: Vec<usize> = (0..self.records[side].len()).filter(|i| has(*i)).collect();
        let pickups = all.iter().map(|i| name(*i)).collect::<BTreeSet<_>>().len();
        let share = |i: usize| {
            let own = all.iter().filter(|k| name(**k) == name(i)).count();
            1.0 / (pickups * own) as f64
        };
        let each = 0..self.records[side].len();
        each.map(|i| if has(i) { share(i) } else { 0.0 }).collect()
    }

    /// By how much the groups lie on other days: 0 for equal shares of the same ones, 2 for one day each.
    pub fn apart_in_days(&self, weights: &[Vec<f64>; 2]) -> f64 {
        let days = |side: &Vec<Record>| side.iter().map(|r| day(&r.taken_at).map(str::to_owned)).collect();
        unequal(&self.records.each_ref().map(days), weights)
    }

    /// The same of benches.
    pub fn apart_in_rigs(&self, weights: &[Vec<f64>; 2]) -> f64 {
        unequal(&self.benches, weights)
    }

    pub fn why(&self, nothing_weighed: bool) -> Option<Why> {
        match self.records.iter().any(Vec::is_empty) {
            true => Some(Why::NothingInCommon),
            false => nothing_weighed.then_some(Why::OnePickup),
        }
    }
}

fn keep<'a>(made: &mut [Vec<&'a Made>; 2], left_out: &mut Vec<LeftOut>, why: WhyOut, wanted: impl Fn(&Made) -> bool) {
    for side in made {
        let (kept, rest): (Vec<&'a Made>, Vec<&'a Made>) = side.iter().partition(|m| wanted(m));
        *side = kept;
        left_out.extend(LeftOut::all(names(&rest), why));
    }
}

/// The sum over all classes of the squared difference of both groups' shares: a scatter that is one for all of a class enters the
/// difference of the means with its root.
fn unequal<K: PartialEq>(classes: &[Vec<K>; 2], weights: &[Vec<f64>; 2]) -> f64 {
    let signed = [-1.0, 1.0].iter().zip(classes.iter().zip(weights));
    let each = signed.flat_map(|(sign, (c, w))| c.iter().zip(w).map(move |(c, w)| (c, sign * w)));
    let sums = grouped(each).into_iter().map(|(_, w)| w.iter().sum::<f64>());
    // Equal shares in binary fractions are not quite equal.
    Some(sums.map(|s| s * s).sum()).filter(|s| *s > 1e-12).unwrap_or(0.0)
}

/// Which of them were measured on one bench as it was.
fn benches(records: &[Record], how: &How) -> Vec<usize> {
    let mut first: Vec<&Record> = Vec::new();
    let bench = |r| {
        let known = first.iter().position(|f| one_bench(f, r, how));
        known.unwrap_or_else(|| {
            first.push(r);
            first.len() - 1
        })
    };
    records.iter().map(bench).collect()
}
