//! Wax before and after: the `coilwright/potting/1` document.
//!
//! The yardstick says whether f0 and Q differ, against limits that the shop sets: *unchanged* is the same for sure, not the mere
//! absence of a difference. What differs is as wax does it, or is to be looked at.

pub mod about;
pub mod document;
mod judged;
mod laying;
mod less;
mod lot;
pub mod own;
mod side;
mod sides;
pub mod sitting;
pub mod stays;
pub mod warmth;
mod witness;

pub use about::About;

use about::Ground;
use document::{Laying, Pair, PotVerdict, PottingDocument, Reason, Remark, SCHEMA, Unfit};
use judged::Moved;
use sides::Sides;

use crate::failure::{Failure, Result};
use crate::record::Record;
use crate::shop::known::Known;
use crate::shop::reading;
use crate::shop::witness::history::{BASELINE, History};
use crate::shop::yardstick::{Quantity, Repeatability};

/// A pair, and its change where one can be told.
type Judged<'a> = (Pair, Option<Moved<'a>>);

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
    let (stayed, found): (Vec<Sides>, Vec<Sides>) = found.into_iter().partition(|s| s.is_of(about.stays));
    let (lone, mut sides): (Vec<Sides>, Vec<Sides>) = found
        .into_iter()
        .partition(|s| s.before.is_empty() || s.after.is_empty());
    if sides.is_empty() {
        return Err(nothing(!stayed.is_empty()));
    }
    if about.rested_h.is_none() {
        remarks.extend(sides.iter_mut().filter_map(leave_out_warm));
    }
    let ground = Ground {
        about,
        laying: Laying::of(sides.iter().chain(&stayed)),
        stayed,
    };
    let judged: Vec<Judged> = sides.iter().map(|s| judged::judged(s, &ground)).collect();
    let list = || before.iter().chain(after);
    let simulated = list().any(Record::is_simulated);
    let days = about.known.and_then(|k| days_of(&sides, k));
    remarks.extend(about_stayed(&sides, &ground));
    remarks.extend(about_days(&sides, &ground, days.as_ref(), &judged));
    if simulated && !list().all(Record::is_simulated) {
        remarks.push(Remark::SimulatedAndReal);
    }
    remarks.extend(warmth::remarks(&sides, about, simulated));
    // What is to be looked at says nothing of the wax in the others.
    let of_wax = judged.iter().filter(|(pair, _)| pair.verdict != PotVerdict::Other);
    let lot = lot::lot(&of_wax.filter_map(|j| j.1.as_ref()).collect::<Vec<_>>());
    let mut document = PottingDocument {
        schema: SCHEMA,
        limits: about.limits,
        rig: days.map(|(h, _)| h.rig.clone()),
        pairs: judged.into_iter().map(|j| j.0).collect(),
        stayed: ground.stayed.iter().map(|s| ground.shown(s)).collect(),
        laying: ground.laying,
        lot,
        unpaired: lone.into_iter().map(|s| s.name).collect(),
        remarks,
        notes: Vec::new(),
        simulated,
    };
    less::name(&mut document.pairs, None);
    Ok(document)
}

fn nothing(stayed: bool) -> Failure {
    Failure::new(
        "no pickup is on both sides: nothing to compare",
        match stayed {
            true => "give those that were waxed as well, before and after; those of --stays were not",
            false => "measure before and after under the same --pickup name",
        },
    )
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

/// What those that stayed out do not tell, each once.
fn about_stayed(sides: &[Sides], ground: &Ground) -> Vec<Remark> {
    let mut out: Vec<Remark> = Vec::new();
    for name in ground.about.stays {
        if !ground.stayed.iter().any(|s| s.is_of(std::slice::from_ref(name))) {
            out.push(Remark::StayedUnfit(name.clone(), Unfit::OtherSitting));
        }
    }
    for stayed in &ground.stayed {
        let why = sides.iter().find_map(|s| ground.unfit(stayed, s));
        out.extend(why.map(|why| Remark::StayedUnfit(stayed.name.clone(), why)));
    }
    out
}

/// What is not known of the rig's days and of laying down anew.
fn about_days(sides: &[Sides], ground: &Ground, days: Option<&(&History, usize)>, judged: &[Judged]) -> Vec<Remark> {
    let about = ground.about;
    // What was measured in the same sittings needs nobody else to tell of the days.
    let left = sides.iter().zip(judged).filter(|(_, j)| j.0.carried_by.is_empty());
    let left: Vec<&Sides> = left.map(|l| l.0).collect();
    let few = days.map(|d| d.1).filter(|n| *n < BASELINE && !left.is_empty());
    // What a record knows of its rig counts, whoever asks.
    let whole = |s: &Sides| ground.whole(s).0;
    let lies = |rig: Repeatability| rig.laying(Quantity::F0).usual.any();
    let mut each = sides.iter().map(|s| (s.before[0], whole(s)));
    let unstudied = each.clone().any(|(r, f)| lies(reading::repeatability(r, f)));
    let usual = each.any(|(r, f)| lies(ground.repeatability(r, f)));
    let here = ground.laying.filter(|_| unstudied && !usual);
    let of_days = |quantity: usize, j: &Judged| j.1.as_ref().is_some_and(|c| c.said[quantity].scatter.usual.days);
    let carried = |j: &Judged| !j.0.carried_by.is_empty();
    let unchecked = |k: &Known| left.iter().any(|s| witness::Looked::about(s, k).unchecked);
    let little = |k: &Known| left.iter().any(|s| k.tells_little(whole(s)));
    let unsure = judged.iter().any(|j| j.0.reason == Reason::Unsure);
    let told = days.and(about.known);
    [
        (days.is_none() && judged.iter().any(|j| of_days(0, j))).then_some(Remark::UsualDays),
        (judged.iter().any(|j| carried(j) && of_days(1, j))).then_some(Remark::UsualDaysOfQ),
        few.map(Remark::FewDays),
        usual.then_some(Remark::UsualLaying),
        here.map(Remark::LaidHere),
        told.is_some_and(unchecked).then_some(Remark::WitnessUnchecked),
        (unsure && told.is_some_and(little)).then_some(Remark::WitnessTellsLittle),
    ]
    .into_iter()
    .flatten()
    .collect()
}
