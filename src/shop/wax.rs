//! Wax before and after: the `coilwright/potting/1` document.
//!
//! The yardstick says whether f0 and Q differ, against limits that the shop sets: *unchanged* is the same for sure, not the mere
//! absence of a difference. What differs is as wax does it, or is to be looked at.

pub mod about;
pub mod document;
mod judged;
mod lot;
pub mod own;
mod side;
mod sides;
pub mod warmth;
mod witness;

pub use about::About;

use document::{PotVerdict, PottingDocument, Reason, Remark, SCHEMA};
use sides::Sides;

use crate::failure::{Failure, Result};
use crate::record::Record;
use crate::shop::known::Known;
use crate::shop::reading;
use crate::shop::witness::history::{BASELINE, History};
use crate::shop::yardstick::{Quantity, Repeatability, Scatter};

/// Pairs records by the pickup's name and judges each.
pub fn compare(before: &[Record], after: &[Record], about: &About) -> Result<PottingDocument> {
    if let Some(r) = before.iter().find(|b| after.iter().any(|a| a.id == b.id)) {
        return Err(Failure::new(
            format!(
                "one and the same record of {:?} stands before and after the wax",
                r.pickup.name
            ),
            "give the records before it, and behind --after those after it",
        ));
    }
    let (found, mut remarks) = sides::pairs(before, after);
    let (lone, mut sides): (Vec<Sides>, Vec<Sides>) = found
        .into_iter()
        .partition(|s| s.before.is_empty() || s.after.is_empty());
    if sides.is_empty() {
        return Err(Failure::new(
            "no pickup is on both sides: nothing to compare",
            "measure before and after under the same --pickup name",
        ));
    }
    if about.rested_h.is_none() {
        remarks.extend(sides.iter_mut().filter_map(leave_out_warm));
    }
    let (mut pairs, mut changes) = (Vec::new(), Vec::new());
    for s in &sides {
        let (pair, change) = judged::judged(s, about);
        // What is to be looked at says nothing of the wax in the others.
        changes.extend(change.filter(|_| pair.verdict != PotVerdict::Other));
        pairs.push(pair);
    }
    let list = || before.iter().chain(after);
    let simulated = list().any(Record::is_simulated);
    let days = about.known.and_then(|k| days_of(&sides, k));
    remarks.extend(about_days(&sides, about, days.as_ref()));
    let unsure = pairs.iter().any(|p| p.reason == Reason::Unsure);
    let little = |k: &Known| sides.iter().any(|s| k.tells_little(about.winding().0 + s.load_f()));
    let vague = unsure && days.is_some() && about.known.is_some_and(little);
    remarks.extend(vague.then_some(Remark::WitnessTellsLittle));
    if simulated && !list().all(Record::is_simulated) {
        remarks.push(Remark::SimulatedAndReal);
    }
    remarks.extend(warmth::remarks(&sides, about, simulated));
    Ok(PottingDocument {
        schema: SCHEMA,
        limits: about.limits,
        rig: days.map(|(h, _)| h.rig.clone()),
        pairs,
        lot: lot::lot(&changes),
        unpaired: lone.into_iter().map(|s| s.name).collect(),
        remarks,
        notes: Vec::new(),
        simulated,
    })
}

fn leave_out_warm(sides: &mut Sides) -> Option<Remark> {
    let cold = sides.without_warm()?;
    let readings = sides.after.len() - cold.after.len();
    *sides = cold;
    Some(Remark::WarmLeftOut(sides.name.clone(), readings))
}

/// The history that tells the fewest days of those in whose time the pairs are, and how many it tells.
fn days_of<'a>(sides: &[Sides], known: &'a Known) -> Option<(&'a History, usize)> {
    let all = sides.iter().flat_map(Sides::all).filter_map(|r| known.history(r));
    let told = all.filter_map(|h| Some((h, h.between_days()?.days)));
    told.min_by_key(|(_, days)| *days)
}

/// What is not known of the rig's days and of laying down anew.
fn about_days(sides: &[Sides], about: &About, days: Option<&(&History, usize)>) -> Vec<Remark> {
    let few = days.map(|d| d.1).filter(|n| *n < BASELINE);
    // What a record knows of its rig counts, whoever asks.
    let usual = |of: fn(&Repeatability) -> Scatter| {
        let mut rigs = sides
            .iter()
            .map(|s| reading::repeatability(s.before[0], about.winding().0 + s.load_f()));
        rigs.any(|r| of(&r).usual.any())
    };
    let unchecked = |k: &Known| sides.iter().any(|s| witness::Looked::about(s, k).unchecked);
    [
        (days.is_none() && usual(|r| r.days(Quantity::F0))).then_some(Remark::UsualDays),
        few.map(Remark::FewDays),
        usual(|r| r.laying(Quantity::F0)).then_some(Remark::UsualLaying),
        (days.is_some() && about.known.is_some_and(unchecked)).then_some(Remark::WitnessUnchecked),
    ]
    .into_iter()
    .flatten()
    .collect()
}
