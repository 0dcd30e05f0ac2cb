//! Differences of later records against the first: the `coilwright/compare/1` document.
//!
//! Whether two readings differ is the yardstick's to say; what lies between them is told by their rigs and days.

use serde::Serialize;

use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::network::Load;
use crate::record::identity::{Sense, is_of_level, same_rig, unlike};
use crate::record::when::day;
use crate::record::{Definition, LoadSummary, Pickup, Record, RigSummary, Verdict};
use crate::shop::known::Known;
use crate::shop::reading;
use crate::shop::yardstick::{self, Answer, Asked, Between, Matters, Open, Quantity, Question, Said, Usual};

pub const SCHEMA: &str = "coilwright/compare/1";

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    pub schema: String,
    /// The id of the record that the others are compared with.
    pub reference: String,
    pub records: Vec<Compared>,
    /// One for each record after the first, in the order given.
    pub differences: Vec<Difference>,
}

impl Comparison {
    /// All that was judged, of whatever difference.
    pub fn judged(&self) -> impl Iterator<Item = &Judged> + Clone {
        self.differences.iter().flat_map(|d| &d.quantities)
    }
}

/// What of a record stands in the comparison; the fields are the record's own.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    pub id: String,
    pub pickup: Pickup,
    pub rig: RigSummary,
    pub load: Option<LoadSummary>,
    pub verdict: Verdict,
}

/// This record minus the reference.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Difference {
    pub id: String,
    /// The record it is compared with, where that is not the reference of all.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub against: Option<String>,
    pub between: Question,
    pub answer: Answer,
    /// Why nobody can tell, where that is not a matter of how well it was measured.
    pub why: Option<Why>,
    /// Null, with q, only where there is nothing to subtract.
    pub f0_hz: Option<Estimate>,
    pub q: Option<Estimate>,
    pub peak_hz: Option<Estimate>,
    pub peak_db: Option<Estimate>,
    /// Coupling from the exciter, not loudness from a string.
    pub level_db: Option<Estimate>,
    /// Any quantity differs by more than its scatter explains, all of them taken together.
    pub significant: bool,
    /// Any quantity differs by more than what matters.
    pub material: bool,
    /// The signs are opposite, where both can be told: a difference by itself.
    pub turned: bool,
    pub same_rig: bool,
    /// What was changed on the bench between the two, in the words of `rig changed`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub changed: Option<String>,
    /// Each quantity that was judged, and what decided.
    pub quantities: Vec<Judged>,
    /// Keys of the rig's file for which nobody can tell the level: not the same in both readings, of which not both could be read
    /// again.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub level_unlike: Vec<String>,
    /// All of it in words.
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// One of the takes was rejected.
    NoReading,
    /// f0 and Q of the two mean two things.
    Definitions,
    /// The rig's file stated something else for each, and a take is gone.
    RigFile,
}

/// One quantity: natural logarithm of the ratio for frequencies and Q, decibels else.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Judged {
    /// "peak", "f0", "q", "height" or "level"; where one of the two has no peak, "down" (where the response is 3 dB down) in the
    /// place of the first four.
    pub quantity: Quantity,
    pub answer: Answer,
    pub difference: f64,
    /// Standard uncertainty of the difference.
    pub u: f64,
    /// Its degrees of freedom; null: as many as one likes.
    pub freedom: Option<f64>,
    /// Half-width of the 95 % interval of this quantity alone, below what matters for "same".
    pub half: f64,
    /// Of all quantities together, above what matters for "different".
    pub half_jointly: f64,
    /// Which usual values, that promise nothing, are in the uncertainty.
    pub usual: Usual,
    pub matters: f64,
    /// Nobody set what matters here.
    pub matters_usual: bool,
    /// What leaves it open, where nobody can tell.
    pub open: Option<Open>,
}

/// How records are held against each other.
#[derive(Debug, Clone, Default)]
pub struct How {
    pub matters: Matters,
    /// The pickup was not touched between them.
    pub in_place: bool,
    /// Of their rigs.
    pub known: Vec<Known>,
}

impl How {
    /// What was changed on the bench between two readings of one rig.
    fn changed(&self, a: &Record, b: &Record) -> Option<&str> {
        let own = self.known.iter().filter(|k| k.is_of(&a.rig) && k.is_of(&b.rig));
        let changed = own.filter_map(|k| k.eras.changed(&a.taken_at, &b.taken_at));
        changed.map(|c| c.what.as_str()).next()
    }
}

/// Compares every later record with the first.
///
/// A later record without a reading gets nulls and says so; a reference without one is a failure.
pub fn compare(records: &[Record], how: &How) -> Result<Comparison> {
    compare_with(records, &vec![0; records.len()], how)
}

/// Sorts records by what hung on the pickup, least capacitance first, and compares each with the first of its own pickup, so
/// that the difference is the load's; the first of every other pickup is compared with the first of all.
pub fn compare_by_load(mut records: Vec<Record>, how: &How) -> Result<(Vec<Record>, Comparison)> {
    let key = |r: &Record| {
        let load = crate::coil::behind::whole_load(r).ok();
        let farad = load.as_ref().map_or(f64::INFINITY, Load::capacitance);
        (farad, r.load.as_ref().map_or_else(String::new, |l| l.text.clone()))
    };
    records.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1))
    });
    let coil = |r: &Record| (r.pickup.name.clone(), r.pickup.over.clone());
    let own = |r: &Record| records.iter().position(|o| coil(o) == coil(r) && o.reading().is_some());
    let reference = |(i, r)| own(r).filter(|k| *k != i).unwrap_or(0);
    let references: Vec<usize> = records.iter().enumerate().map(reference).collect();
    let comparison = compare_with(&records, &references, how)?;
    Ok((records, comparison))
}

/// `references`: for each record the index of the one that it is compared with.
fn compare_with(records: &[Record], references: &[usize], how: &How) -> Result<Comparison> {
    let Some((first, others)) = records.split_first() else {
        return Err(Failure::new("no records to compare", "give two or more"));
    };
    if others.is_empty() {
        return Err(Failure::new(
            format!("only one record to compare ({:?})", first.pickup.name),
            "give two or more",
        ));
    }
    if first.reading().is_none() {
        return Err(Failure::new(
            format!(
                "the first record ({:?}) has no reading to compare with",
                first.pickup.name
            ),
            "put a record with a reading first",
        ));
    }
    let pairs = others.iter().zip(references.iter().skip(1));
    let touched = pairs.clone().find(|(r, i)| records[**i].pickup.name != r.pickup.name);
    if let Some((other, i)) = touched.filter(|_| how.in_place) {
        return Err(Failure::new(
            format!(
                "--in-place is of one pickup that was not touched, and these are {:?} and {:?}",
                records[*i].pickup.name, other.pickup.name
            ),
            "leave it out, or give readings of one pickup",
        ));
    }
    let differences = pairs.map(|(record, i)| {
        let reference = records.get(*i).unwrap_or(first);
        let against = (reference.id != first.id).then(|| reference.id.clone());
        Difference {
            against,
            ..Difference::between(reference, record, how)
        }
    });
    Ok(Comparison {
        schema: SCHEMA.into(),
        reference: first.id.clone(),
        differences: differences.collect(),
        records: records.iter().map(Compared::of).collect(),
    })
}

impl Compared {
    fn of(r: &Record) -> Self {
        Compared {
            id: r.id.clone(),
            pickup: r.pickup.clone(),
            rig: r.rig.clone(),
            load: r.load.clone(),
            verdict: r.verdict,
        }
    }
}

/// What lies between two readings; one and the same record was not touched either.
fn between(a: &Record, b: &Record, how: &How) -> Question {
    let days = (day(&a.taken_at), day(&b.taken_at));
    let other = !one_chain(a, b) || how.changed(a, b).is_some();
    let two_rigs = a.rig.given && b.rig.given && other;
    if a.id == b.id || (how.in_place && !two_rigs) {
        Question::InPlace
    } else if other {
        Question::OtherRig
    } else if days.0.is_some() && days.0 == days.1 {
        Question::LaidDown
    } else {
        Question::OtherDay
    }
}

/// With one channel the output's own resistance takes part: not the same chain, even on one rig.
fn one_chain(a: &Record, b: &Record) -> bool {
    same_rig(&a.rig, &b.rig) && a.capture.channels == b.capture.channels
}

/// Whether two were measured on one bench as it was, and worked out alike.
pub(super) fn one_bench(a: &Record, b: &Record, how: &How) -> bool {
    let bare = !a.rig.given && !b.rig.given && a.capture.channels == b.capture.channels;
    (bare || one_chain(a, b)) && unlike_in(a, b).is_empty() && how.changed(a, b).is_none()
}

/// Keys of one rig's file by which the two were worked out otherwise, and could not be read again.
pub fn unlike_in(a: &Record, b: &Record) -> Vec<String> {
    match same_rig(&a.rig, &b.rig) {
        true => unlike(a, b),
        false => Vec::new(),
    }
}

impl Difference {
    fn between(a: &Record, b: &Record, how: &How) -> Difference {
        let nothing = |why| Difference {
            id: b.id.clone(),
            between: between(a, b, how),
            why,
            same_rig: same_rig(&a.rig, &b.rig),
            changed: how.changed(a, b).map(str::to_owned),
            ..Difference::default()
        };
        match (a.reading(), b.reading()) {
            (Some(_), Some(_)) if unlike_in(a, b).iter().any(|k| !is_of_level(k)) => nothing(Some(Why::RigFile)),
            (Some(x), Some(y)) if x.definition == y.definition => nothing(None).judged(a, b, how),
            // The values are told by the records, so these are read anew.
            (Some(_), Some(_)) => match a.defined_as(Definition::Plain).zip(b.defined_as(Definition::Plain)) {
                Some((a, b)) => nothing(None).judged(&a, &b, how),
                None => nothing(Some(Why::Definitions)),
            },
            _ => nothing(Some(Why::NoReading)),
        }
    }

    fn judged(mut self, ra: &Record, rb: &Record, how: &How) -> Difference {
        let (Some(a), Some(b)) = (ra.reading(), rb.reading()) else {
            return self;
        };
        let pair = Pair {
            first: ra,
            second: rb,
            question: self.between,
        };
        // An exciter of another rig couples otherwise, whatever the pickup; and with a rig the level is in other units than without.
        let of_level = ra.rig.given == rb.rig.given;
        let levels = of_level && self.between != Question::OtherRig;
        let known = a.level_db.and(b.level_db).is_some();
        self.level_unlike = unlike_in(ra, rb);
        self.level_unlike.retain(|_| levels && known);
        let level = of_level && unlike_in(ra, rb).is_empty();
        // Of a response without a peak f0 and Q tell little.
        let peaks = a.peak_hz.and(b.peak_hz).is_some();
        let judged = Quantity::ALL.into_iter().filter(|q| match q {
            Quantity::Level => level && levels,
            Quantity::Down => !peaks,
            Quantity::Height => a.peak_hz.or(b.peak_hz).is_some(),
            _ => peaks,
        });
        let asked: Vec<Asked> = judged.filter_map(|q| pair.asked(q, how.matters.of(q))).collect();
        let said = yardstick::judge(&asked);
        let opposite = match (Sense::of(ra), Sense::of(rb)) {
            (Some(x), Some(y)) if one_chain(ra, rb) => !x.same(y),
            _ => a.polarity_referenced && b.polarity_referenced && a.polarity.signum() != b.polarity.signum(),
        };
        self.turned = opposite;
        self.answer = match yardstick::whole(&said) {
            _ if opposite => Answer::Different,
            // Nor is it known of what was judged alone.
            Answer::Same
                if !self.level_unlike.is_empty() || said.iter().all(|s| s.asked.quantity == Quantity::Level) =>
            {
                Answer::CannotTell
            }
            answer => answer,
        };
        self.significant = said.iter().any(|s| s.difference.abs() > s.half_jointly);
        self.material = said.iter().any(|s| s.difference.abs() > s.asked.matters);
        self.f0_hz = pair.minus(Quantity::F0);
        self.q = pair.minus(Quantity::Q);
        self.peak_hz = pair.minus(Quantity::Peak);
        self.peak_db = pair.minus(Quantity::Height);
        self.level_db = pair.minus(Quantity::Level).filter(|_| level);
        self.quantities = said.iter().map(|s| Judged::of(s, &how.matters)).collect();
        self
    }
}

struct Pair<'a> {
    first: &'a Record,
    second: &'a Record,
    question: Question,
}

impl Pair<'_> {
    /// What has no peak is nowhere higher than in the lows.
    fn value(of: &Record, quantity: Quantity) -> Option<Estimate> {
        let peakless = of.reading().is_some_and(|r| r.peak_hz.is_none());
        let flat = || Estimate::new(0.0, 0.0, 0.0).filter(|_| peakless && quantity == Quantity::Height);
        reading::value(of, quantity).or_else(flat)
    }

    /// What the yardstick can be asked; nothing of a quantity that one of them lacks.
    fn asked(&self, quantity: Quantity, matters: f64) -> Option<Asked> {
        let read = |of: &Record| {
            let e = Self::value(of, quantity)?;
            Some((e.value, reading::parts_of(of, quantity, &e)))
        };
        let both = [read(self.first)?, read(self.second)?];
        let asked = Asked::of(quantity, self.question, both, matters);
        let sound = asked.difference.is_finite() && asked.between.scatter().half_width(1e-6).is_finite();
        sound.then_some(asked)
    }

    /// The second less the first, in the quantity's own unit.
    fn minus(&self, quantity: Quantity) -> Option<Estimate> {
        let [a, b] = [self.first, self.second].map(|of| reading::value(of, quantity));
        let (a, b) = (a?, b?);
        let parts = |of, e| reading::parts_of(of, quantity, e);
        let between = Between::new(self.question, parts(self.first, &a), parts(self.second, &b));
        let u = between.scatter().sd * reading::unit_of(quantity, a.value);
        Estimate::new(b.value - a.value, u, a.u_noise.hypot(b.u_noise))
    }
}

impl Judged {
    pub fn of(s: &Said, matters: &Matters) -> Judged {
        Judged {
            quantity: s.asked.quantity,
            answer: s.answer,
            difference: s.difference,
            u: s.scatter.sd,
            freedom: Some(s.scatter.freedom).filter(|f| f.is_finite()),
            half: s.half,
            half_jointly: s.half_jointly,
            usual: s.scatter.usual,
            matters: s.asked.matters,
            matters_usual: matters.is_usual(s.asked.quantity),
            open: s.leaves_open(),
        }
    }

    /// A difference for sure, but one that does not matter.
    pub fn is_less_than_matters(&self) -> bool {
        self.answer == Answer::Same && self.difference.abs() > self.half
    }

    /// Half-width of the interval that decided.
    pub fn deciding_half(&self) -> f64 {
        match self.answer {
            Answer::Different => self.half_jointly,
            Answer::CannotTell if self.difference.abs() > self.matters => self.half_jointly,
            _ => self.half,
        }
    }

    /// Of the quantities of a question the one that is called so.
    pub fn find(list: &[Judged], quantity: Quantity) -> Option<&Judged> {
        list.iter().find(|j| j.quantity == quantity)
    }
}

#[cfg(test)]
mod tests;
