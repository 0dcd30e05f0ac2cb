//! Wax before and after: the `coilwright/potting/1` document.
//!
//! A change is judged against what the rig itself does between two days, which its history of checks tells; without one nothing
//! can be told. *Unchanged* is an equivalence test (two one-sided tests at 5 %) against limits that the shop sets, not the mere
//! absence of a difference.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::coil::behind::{input_of, input_u, load_of};
use crate::copper::PER_K;
use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};
use crate::quantity::signed;
use crate::record::identity::{Sense, same_rig, unlike};
use crate::record::{Record, Resonance};
use crate::shop::knock::change;
use crate::shop::witness::history::{BASELINE, BetweenDays, Check, History};
use crate::stats::paired::equivalence;
use crate::stats::{mean, student};

pub const SCHEMA: &str = "coilwright/potting/1";

/// Up to which a change is none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Limits { f0: 0.005, q: 0.05 }
    }
}

/// What is known besides the records.
#[derive(Debug, Clone, Default)]
pub struct About {
    pub limits: Limits,
    /// Hours since the coils came out of the wax.
    pub rested_h: Option<f64>,
    /// The windings' capacitance before, in farads; left out, [`USUAL_C_F`] within [`USUAL_C_U_F`].
    pub winding_f: Option<f64>,
    /// What laying a pickup down anew does on the rig, where it has been measured: a witness that is never taken out does not
    /// tell it.
    pub placed: Option<Placed>,
}

/// Standard deviations of one reading of a pickup that is laid down anew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
    pub level_db: Option<f64>,
    pub freedom: f64,
}

/// A day of the rig with what laying a pickup down anew does: the larger of the two, for the one has some of the other in it.
fn with_placement(days: BetweenDays, placed: Option<Placed>) -> BetweenDays {
    let Some(p) = placed else { return days };
    let level = match (days.level_db, p.level_db) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    BetweenDays {
        f0: days.f0.max(p.f0),
        q: days.q.max(p.q),
        level_db: level,
        // The fewer, so that neither is believed more than it can be.
        freedom: if p.f0 > days.f0 || p.q > days.q {
            days.freedom.min(p.freedom)
        } else {
            days.freedom
        },
        ..days
    }
}

/// Capacitance of a winding and how well it is known where nothing is said (common practice: 40 to 300 pF).
const USUAL_C_F: f64 = 120e-12;
const USUAL_C_U_F: f64 = 40e-12;
/// Hours after which a coil is as cold as its room (choice: overnight).
pub const RESTED_H: f64 = 10.0;
/// Kelvin above the room from which a winding is warm: 0.4 % of its resistance.
const WARM_K: f64 = 1.0;
/// Time constant with which a potted coil cools, for a guess at when to come back (choice).
const COOLS_H: f64 = 1.0;
/// Wax is no hotter above a room than this, and no winding is colder than its room by so much.
const MOST_WARM_K: f64 = 100.0;
const COLDER_K: f64 = 15.0;
/// Copper: R goes with 234.5 + T in degrees Celsius (resistance method; IEC 60034-1, recalled, not verified).
const COPPER_C: f64 = 234.5;
/// Wax between the turns can raise the winding's capacitance by this at most: two coats of enamel (relative permittivity 3.7) and
/// a gap as wide as both, air filled with wax of 2.2, as a parallel-plate capacitor: (1/3.7 + 1)/(1/3.7 + 1/2.2) = 1.75.
pub const WAX_MOST: f64 = 0.75;
/// A check of the witness speaks for readings so many hours from it: of the day, or of the morning after.
const NEAR_H: f64 = 36.0;
const ALPHA: f64 = 0.05;

mod cold;
mod document;
mod judged;
mod lot;
pub mod own;

use cold::{Cold, same_meter};
pub use document::*;
use judged::Judged;
use lot::lot;

/// Pairs records by the pickup's name and judges each.
pub fn compare(
    before: &[Record],
    after: &[Record],
    history: Option<&History>,
    about: &About,
) -> Result<PottingDocument> {
    if let Some(r) = before.iter().find(|b| after.iter().any(|a| a.id == b.id)) {
        return Err(Failure::new(
            format!(
                "one and the same record of {:?} stands before and after the wax",
                r.pickup.name
            ),
            "give the records before it, and behind --after those after it",
        ));
    }
    // Two coils of one pickup are two windings. A record that does not say which one it is of goes with the only one there is.
    let coils = |name: &str| -> BTreeSet<&str> {
        let own = before.iter().chain(after).filter(|r| r.pickup.name == name);
        own.filter_map(|r| r.pickup.over.as_deref()).collect()
    };
    let key = |r: &Record| {
        let coils = coils(&r.pickup.name);
        let only = if coils.len() == 1 { coils.first().copied() } else { None };
        let over = r.pickup.over.as_deref().or(only);
        (r.pickup.name.clone(), over.map(str::to_owned))
    };
    let untold = |k: &(String, Option<String>)| k.1.is_none() && coils(&k.0).len() > 1;
    let mut names: Vec<(String, Option<String>)> = Vec::new();
    for r in before.iter().chain(after) {
        if !names.contains(&key(r)) {
            names.push(key(r));
        }
    }
    let of = |all: &[Record], k: &(String, Option<String>)| -> Vec<Record> {
        let mut own: Vec<Record> = all.iter().filter(|r| key(r) == *k).cloned().collect();
        own.sort_by_key(|r| (r.taken_at.parse::<jiff::Timestamp>().ok(), r.taken_at.clone()));
        own
    };
    let bare = history.and_then(History::between_days);
    let days = bare.map(|d| with_placement(d, about.placed));
    let (mut pairs, mut unpaired, mut changes) = (Vec::new(), Vec::new(), Vec::new());
    let (mut cold, mut unchecked, mut notes) = (Cold::default(), 0, Vec::new());
    for k in &names {
        let (b, mut a) = (of(before, k), of(after, k));
        if untold(k) {
            notes.push(format!(
                "{}: {} of its records do not say which coil they are of, and are left out",
                k.0,
                b.len() + a.len()
            ));
            continue;
        }
        let name = match &k.1 {
            Some(over) if coils(&k.0).len() > 1 => format!("{}, {over}", k.0),
            _ => k.0.clone(),
        };
        if b.is_empty() || a.is_empty() {
            unpaired.push(name);
            continue;
        }
        let judged = |after| Judged {
            name: &name,
            before: &b,
            after,
            history,
            days,
            bare,
            about,
        };
        // A reading of a warm day has no part in the mean of cold ones.
        let is_warm = |r: &Record| {
            let above = judged(&[][..]).warmth_of(r).map(|w| w.1);
            above.is_some_and(|k| k > WARM_K && k <= MOST_WARM_K)
        };
        if about.rested_h.is_none() && !a.iter().all(is_warm) {
            let cold: Vec<Record> = a.iter().filter(|r| !is_warm(r)).cloned().collect();
            if cold.len() < a.len() {
                let (n, s) = match a.len() - cold.len() {
                    1 => (1, ""),
                    n => (n, "s"),
                };
                notes.push(format!("{name}: {n} warm reading{s} left out"));
            }
            a = cold;
        }
        let one = judged(&a);
        cold.see(&one);
        unchecked += usize::from(one.unchecked());
        let judged = one.judge()?;
        // What is to be looked at says nothing of the wax in the others.
        changes.extend(judged.1.filter(|_| judged.0.verdict != PotVerdict::Other));
        pairs.push(judged.0);
    }
    if pairs.is_empty() {
        return Err(Failure::new(
            "no pickup is on both sides: nothing to compare",
            "measure before and after under the same --pickup name",
        ));
    }
    if days.is_none() {
        notes.push(
            "without twenty good checks of the rig's witness nobody knows what this rig does from day to day: `coilwright rig check`"
                .into(),
        );
    }
    if let Some(d) = days.filter(|d| d.days < BASELINE) {
        notes.push(format!(
            "the witness's checks are of {} only: what the rig does from day to day is more than they tell",
            match d.days {
                1 => "one day".to_owned(),
                n => format!("{n} days"),
            }
        ));
    }
    if days.is_some() && about.placed.is_none() {
        notes.push("what laying a pickup down anew does is not in this: `coilwright rig repeat`".into());
    }
    if days.is_some() && unchecked > 0 {
        notes.push(
            "the witness was not checked within a day and a half of all of these: a lead that moved looks like wax"
                .into(),
        );
    }
    let of_bench = history.is_some_and(|h| h.checks.iter().any(|c| c.simulated));
    let (some, all) = {
        let list = || before.iter().chain(after);
        (list().any(Record::is_simulated), list().all(Record::is_simulated))
    };
    if (some && !all) || (days.is_some() && of_bench != some) {
        notes.push("simulated and real takes stand in one comparison here: it says nothing of either".into());
    }
    let simulated = some || of_bench;
    notes.extend(cold.notes(about, same_meter(before, after), simulated));
    // How each was laid down is in the pairs' own scatter.
    let lot = lot(&changes, bare, about.limits);
    Ok(PottingDocument {
        schema: SCHEMA.into(),
        limits: about.limits,
        coverage: days.map_or(Z95, |d| t_975(d.freedom)),
        rig: history.filter(|_| days.is_some()).map(|h| h.rig.clone()),
        pairs,
        lot,
        unpaired,
        notes,
        simulated,
    })
}

/// Two-sided 95 % (`1 - ALPHA`).
fn t_975(freedom: f64) -> f64 {
    student(1.0 - 0.5 * ALPHA, freedom)
}
