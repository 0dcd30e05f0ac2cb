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

pub use about::{About, Placed};

use document::{PotVerdict, PottingDocument, Remark, SCHEMA};
use sides::Sides;

use crate::failure::{Failure, Result};
use crate::record::Record;
use crate::shop::witness::history::{BASELINE, History};

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
    let of_bench = about.history.is_some_and(|h| h.checks.iter().any(|c| c.simulated));
    let some = list().any(Record::is_simulated);
    let simulated = some || of_bench;
    let days = about.days();
    remarks.extend(about_days(&sides, about));
    if (some && !list().all(Record::is_simulated)) || (days.is_some() && of_bench != some) {
        remarks.push(Remark::SimulatedAndReal);
    }
    remarks.extend(warmth::remarks(&sides, about, simulated));
    Ok(PottingDocument {
        schema: SCHEMA,
        limits: about.limits,
        rig: about.history.filter(|_| days.is_some()).map(|h| h.rig.clone()),
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

/// What is not known of the rig's days and of laying down anew.
fn about_days(sides: &[Sides], about: &About) -> Vec<Remark> {
    let days = about.days();
    let few = days.map(|d| d.days).filter(|n| *n < BASELINE);
    let unchecked = |h: &History| sides.iter().any(|s| witness::Looked::about(s, h).unchecked);
    [
        days.is_none().then_some(Remark::UsualDays),
        few.map(Remark::FewDays),
        about.placed.is_none().then_some(Remark::UsualLaying),
        (days.is_some() && about.history.is_some_and(unchecked)).then_some(Remark::WitnessUnchecked),
    ]
    .into_iter()
    .flatten()
    .collect()
}
