//! Wax before and after: the `coilwright/potting/1` document.
//!
//! A change is judged against what the rig itself does between two days, which its history of checks tells; without one nothing
//! can be told. *Unchanged* is an equivalence test (two one-sided tests at 5 %) against limits that the shop sets, not the mere
//! absence of a difference.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::behind::{input_of, input_u, load_of};
use super::copper::PER_K;
use super::identity::{Sense, same_rig};
use super::{Record, Resonance, Verdict, knock};
use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};
use crate::quantity::signed;
use crate::rig::history::{BASELINE, BetweenDays, Check, History};
use crate::stats::paired::{Paired, equivalence};
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

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PottingDocument {
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    pub limits: Limits,
    /// By which a pair's u is multiplied for its 95 % interval: Student's t with the freedom of the rig's days. Without them u is
    /// the takes' noise alone.
    #[serde(default = "one")]
    pub coverage: f64,
    /// The rig whose days the changes are judged by; null where it has no history.
    pub rig: Option<String>,
    pub pairs: Vec<Pair>,
    /// Of all pairs that could be read, but for those to be looked at; null below two.
    pub lot: Option<Lot>,
    /// Names that were found on one side only.
    pub unpaired: Vec<String>,
    pub notes: Vec<String>,
    /// Some of the records are of the built-in bench.
    #[serde(default)]
    pub simulated: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PotVerdict {
    Unchanged,
    Wax,
    Other,
    CannotTell,
    Warm,
}

/// After less before; u holds the rig's days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pair {
    pub pickup: String,
    /// Ids of the records.
    pub before: Vec<String>,
    pub after: Vec<String>,
    pub f0_hz: Option<Estimate>,
    /// What f0 was before.
    #[serde(default)]
    pub f0_before_hz: Option<f64>,
    /// The same over the value before.
    pub f0_relative: Option<f64>,
    pub q: Option<Estimate>,
    /// The same over the value before.
    pub q_relative: Option<f64>,
    pub peak_db: Option<Estimate>,
    pub level_db: Option<Estimate>,
    /// Change of the winding's capacitance.
    pub c_f: Option<Estimate>,
    pub verdict: PotVerdict,
    /// Change of the level of taps; null where one side was not tapped, or on another rig, under another load, or warm. Says
    /// nothing for the verdict.
    #[serde(default)]
    pub knock_db: Option<Estimate>,
    /// The same in words.
    #[serde(default)]
    pub knock_text: Option<String>,
    /// Of f0 and Q being within the limits, the larger one: below 0.05 they are.
    pub p_equivalence: Option<f64>,
    /// On so many days before and after the verdict could be told; null where it can, or where no number of days would help.
    pub repeats_needed: Option<u32>,
    /// Held against what this shop's wax has done before; null where that is not known. It has no say in the verdict.
    pub usual: Option<Usual>,
    pub text: String,
}

/// What this shop's wax usually does: where the next change lies with 95 % probability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Usual {
    /// So many changes before this one.
    pub changes: usize,
    /// Of the winding's capacitance, from and to.
    pub c_f: [f64; 2],
    /// Of Q, relative, from and to.
    pub q: [f64; 2],
    /// Whether this change lies within both.
    pub within: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Lot {
    pub pairs: usize,
    /// Mean change and its standard error, relative (natural logarithm).
    pub f0: f64,
    pub f0_se: f64,
    /// Standard uncertainty of the mean: the rig's days, which all pairs share, counted in where it has a history.
    #[serde(default)]
    pub f0_u: f64,
    /// Half-width of the 95 % interval, by Student's t with the freedom of both parts.
    #[serde(default)]
    pub f0_half_95: f64,
    /// Probability of such a mean by chance, by the pairs' own scatter (paired t test).
    pub p: f64,
    /// Mean change of Q and its standard uncertainty, relative.
    #[serde(default)]
    pub q: f64,
    #[serde(default)]
    pub q_u: f64,
    /// Mean change of the windings' capacitance in farads, and its standard error.
    pub c_f: f64,
    pub c_f_se: f64,
    /// Half-width of the 95 % interval: the rig's days, and what is not known of winding and input, counted in.
    #[serde(default)]
    pub c_f_half_95: f64,
    /// Of the means of f0 and Q being within the limits, the larger one (two one-sided tests); without a history of the rig by the
    /// pairs' own scatter.
    #[serde(default = "one")]
    pub p_equivalence: f64,
    /// Of all together.
    #[serde(default = "untold")]
    pub verdict: PotVerdict,
}

fn one() -> f64 {
    1.0
}

fn untold() -> PotVerdict {
    PotVerdict::CannotTell
}

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
                "{}: {} records do not say which coil they are of, and are left out",
                k.0,
                b.len() + a.len()
            ));
            continue;
        }
        let name = match &k.1 {
            Some(over) if coils(&k.0).len() > 1 => format!("{}, {over}", k.0),
            Some(_) => k.0.clone(),
            None => k.0.clone(),
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

/// What is known of how cold the coils were.
#[derive(Debug, Default)]
struct Cold {
    pairs: usize,
    /// Told by their resistance.
    told: usize,
    /// Warm by it, though they are said to have rested.
    warm: Vec<String>,
    /// Hours between before and after of the pair measured soonest.
    soonest_h: Option<f64>,
}

impl Cold {
    fn see(&mut self, j: &Judged) {
        self.pairs += 1;
        if let Some((_, above)) = j.warmth() {
            self.told += 1;
            if above > WARM_K {
                self.warm.push(format!("{:?} {above:.0} K", j.name));
            }
        }
        let hours = j.apart_h().filter(|h| *h >= 0.0);
        self.soonest_h = match (self.soonest_h, hours) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
    }

    fn notes(&self, about: &About, one_meter: bool, simulated: bool) -> Vec<String> {
        let mut out = Vec::new();
        match about.rested_h {
            None if self.told == self.pairs && !self.warm.is_empty() => {}
            None if self.told == self.pairs => out.push(format!(
                "that the coils had cooled is told by their resistance: within {WARM_K:.0} K of the room"
            )),
            None if !one_meter => out.push(
                "the ohms before and after were read on two meters: they say nothing of how warm a coil was; one and the same \
                 would"
                    .into(),
            ),
            None => out.push(format!(
                "nothing says that {} had cooled: give --rested, or --ohms and --room when measuring, before and after",
                match self.pairs - self.told {
                    n if n == self.pairs => "the coils".to_owned(),
                    n => format!("{n} of the coils"),
                }
            )),
            Some(_) if !self.warm.is_empty() => out.push(format!(
                "rested, and yet warmer than the room by their resistance: {}; was the room's temperature read?",
                self.warm.join(", ")
            )),
            Some(_) => {}
        }
        if let (Some(rested), Some(apart)) = (about.rested_h, self.soonest_h)
            && apart < rested
            && !simulated
        {
            out.push(format!(
                "--rested says {rested:.0} h, and the records before and after lie {} apart",
                match apart {
                    h if h < 1.5 => format!("{:.0} min", 60.0 * h),
                    h => format!("{h:.0} h"),
                }
            ));
        }
        out
    }
}

/// Whether one ohmmeter has read on both sides of every pair.
fn same_meter(before: &[Record], after: &[Record]) -> bool {
    let of = |all: &[Record], name: &str| -> Vec<Option<String>> {
        let named = all.iter().filter(|r| r.pickup.name == name);
        named.flat_map(Record::ohms).map(|o| o.meter).collect()
    };
    before.iter().all(|r| {
        let (b, a) = (of(before, &r.pickup.name), of(after, &r.pickup.name));
        a.is_empty() || b.is_empty() || b.iter().any(|m| a.contains(m))
    })
}

/// Two-sided 95 % (`1 - ALPHA`).
fn t_975(freedom: f64) -> f64 {
    student(1.0 - 0.5 * ALPHA, freedom)
}

/// What became of one pickup on one rig under one load.
#[derive(Debug, Clone, Copy)]
struct Change {
    /// Relative, as natural logarithms.
    f0: f64,
    q: f64,
    c_f: f64,
    /// What the rig's days do to it, in standard deviations of one day.
    over_days: f64,
    /// Farads for each (relative) error of f0.
    c_by_f0: f64,
    /// What is not known of the winding and of the input, in farads.
    c_open: f64,
    /// The witness moved as well.
    lead: bool,
}

/// All together: the pairs' own scatter, and what the rig's days do to all of them alike.
fn lot(changes: &[Change], days: Option<BetweenDays>, limits: Limits) -> Option<Lot> {
    let of = |f: fn(&Change) -> f64| Paired::of(&changes.iter().map(f).collect::<Vec<_>>());
    let (f0, q, c) = (of(|c| c.f0)?, of(|c| c.q)?, of(|c| c.c_f)?);
    let over_days = changes.iter().map(|c| c.over_days).fold(0.0, f64::max);
    let own = (changes.len() - 1) as f64;
    let whole = |paired: &Paired, day: Option<f64>| {
        let day = day.map_or(0.0, |s| over_days * s);
        let u = paired.se.hypot(day);
        if u == 0.0 {
            return (u, own);
        }
        // Welch and Satterthwaite (JCGM 100:2008, G.4).
        let share = |part: f64, freedom: f64| (part / u).powi(4) / freedom;
        let freedom = 1.0 / (share(paired.se, own) + share(day, days.map_or(1.0, |d| d.freedom)));
        (u, if freedom.is_finite() { freedom } else { own })
    };
    let (f0_u, f0_freedom) = whole(&f0, days.map(|d| d.f0));
    let (q_u, q_freedom) = whole(&q, days.map(|d| d.q));
    let n = changes.len() as f64;
    let by_f0 = changes.iter().map(|c| c.c_by_f0).sum::<f64>() / n;
    let open = changes.iter().map(|c| c.c_open).sum::<f64>() / n;
    let (c_u, c_freedom) = whole(&c, days.map(|d| by_f0 * d.f0));
    let half = |u: f64, freedom: f64| t_975(freedom) * u;
    let p_equivalence = equivalence(f0.mean, f0_u, f0_freedom, limits.f0)
        .p
        .max(equivalence(q.mean, q_u, q_freedom, limits.q).p);
    let far = |mean: f64, u: f64, freedom: f64| mean.abs() > half(u, freedom);
    let q_moved = far(q.mean, q_u, q_freedom) && q.mean.abs() > limits.q;
    let f_moved = far(f0.mean, f0_u, f0_freedom);
    let verdict = match days {
        None => PotVerdict::CannotTell,
        Some(_) if p_equivalence < ALPHA => PotVerdict::Unchanged,
        // A lead is common to all of them.
        Some(_) if changes.iter().any(|c| c.lead) => PotVerdict::CannotTell,
        Some(_) if q_moved || (f_moved && f0.mean > 0.0) => PotVerdict::Other,
        Some(_) if f_moved => PotVerdict::Wax,
        Some(_) => PotVerdict::CannotTell,
    };
    Some(Lot {
        pairs: changes.len(),
        f0: f0.mean,
        f0_se: f0.se,
        f0_u,
        f0_half_95: half(f0_u, f0_freedom),
        p: f0.test().p,
        q: q.mean,
        q_u,
        c_f: c.mean,
        c_f_se: c.se,
        c_f_half_95: half(c_u, c_freedom).hypot(Z95 * open),
        p_equivalence,
        verdict,
    })
}

struct Judged<'a> {
    name: &'a str,
    before: &'a [Record],
    after: &'a [Record],
    history: Option<&'a History>,
    /// What the rig's days and laying it down anew do to one pickup.
    days: Option<BetweenDays>,
    /// The days alone, common to all pickups of a day and to the witness, which stays where it is.
    bare: Option<BetweenDays>,
    about: &'a About,
}

/// Readings of one pickup on one day, or over some days.
#[derive(Debug, Clone, Copy)]
struct Side {
    /// How many.
    days: f64,
    f0: Estimate,
    q: Estimate,
    peak_db: Option<Estimate>,
    level_db: Option<Estimate>,
    sense: Option<Sense>,
}

fn reading(r: &Record) -> Option<&Resonance> {
    r.resonance.as_ref().filter(|_| r.verdict != Verdict::Rejected)
}

fn mean_of(e: &[Estimate]) -> Option<Estimate> {
    let n = e.len() as f64;
    let noise = e.iter().map(|x| x.u_noise * x.u_noise).sum::<f64>().sqrt() / n;
    let value = e.iter().map(|x| x.value).sum::<f64>() / n;
    Estimate::new(value, noise, noise)
}

/// Mean of the days' means: within a day noise averages and the day does not.
fn side(records: &[Record]) -> Option<Side> {
    let mut days: Vec<(&str, Vec<&Resonance>)> = Vec::new();
    for r in records {
        let date = r.taken_at.get(..10).unwrap_or_default();
        let Some(x) = reading(r) else { continue };
        match days.iter_mut().find(|d| d.0 == date) {
            Some(d) => d.1.push(x),
            None => days.push((date, vec![x])),
        }
    }
    // What one day lacks is told on none.
    let mean = |of: &dyn Fn(&Resonance) -> Option<Estimate>| {
        let means: Vec<Estimate> = days
            .iter()
            .map(|d| mean_of(&d.1.iter().filter_map(|r| of(r)).collect::<Vec<_>>()))
            .collect::<Option<_>>()?;
        mean_of(&means)
    };
    Some(Side {
        days: days.len() as f64,
        f0: mean(&|r| Some(r.f0_hz))?,
        q: mean(&|r| Some(r.q))?,
        peak_db: mean(&|r| r.peak_db),
        level_db: mean(&|r| r.level_db),
        sense: records.iter().find(|r| reading(r).is_some()).and_then(Sense::of),
    })
}

impl Judged<'_> {
    fn judge(&self) -> Result<(Pair, Option<Change>)> {
        let ids = |list: &[Record]| list.iter().map(|r| r.id.clone()).collect();
        let mut pair = Pair {
            pickup: self.name.into(),
            before: ids(self.before),
            after: ids(self.after),
            f0_hz: None,
            f0_before_hz: None,
            f0_relative: None,
            q: None,
            q_relative: None,
            peak_db: None,
            level_db: None,
            c_f: None,
            knock_db: None,
            knock_text: None,
            verdict: PotVerdict::CannotTell,
            p_equivalence: None,
            repeats_needed: None,
            usual: None,
            text: String::new(),
        };
        if let Some(text) = self.another_resistance() {
            pair.verdict = PotVerdict::Other;
            pair.text = text;
            return Ok((pair, None));
        }
        if let Some(text) = self.warm() {
            pair.verdict = PotVerdict::Warm;
            pair.text = text;
            return Ok((pair, None));
        }
        pair.knock_db = self.knock()?;
        pair.knock_text = pair.knock_db.as_ref().map(knock::change_words);
        let Some(b) = side(self.before) else {
            pair.text = "no reading before, so nothing to compare with".into();
            return Ok((pair, None));
        };
        let dead = self.after.last().is_some_and(|r| reading(r).is_none());
        let Some(a) = side(self.after).filter(|_| !dead) else {
            pair.verdict = PotVerdict::Other;
            pair.text = "no reading any more: a broken wire, a joint, the plug?".into();
            return Ok((pair, None));
        };
        let days = self.days;
        let over_days = (1.0 / b.days + 1.0 / a.days).sqrt();
        let between = |s: Option<f64>| s.map_or(0.0, |s| over_days * s);
        let minus = |a: Estimate, b: Estimate, day: f64| {
            let noise = a.u_noise.hypot(b.u_noise);
            Estimate::new(a.value - b.value, noise.hypot(day), noise)
        };
        pair.f0_hz = minus(a.f0, b.f0, between(days.map(|d| d.f0 * b.f0.value)));
        pair.f0_before_hz = Some(b.f0.value);
        pair.f0_relative = Some(a.f0.value / b.f0.value - 1.0);
        pair.q_relative = Some(a.q.value / b.q.value - 1.0);
        pair.q = minus(a.q, b.q, between(days.map(|d| d.q * b.q.value)));
        let both = |a: Option<Estimate>, b: Option<Estimate>, day: f64| minus(a?, b?, day);
        // The peak's height goes with Q.
        pair.peak_db = both(a.peak_db, b.peak_db, between(days.map(|d| 8.686 * d.q)));
        pair.level_db = both(a.level_db, b.level_db, between(days.and_then(|d| d.level_db)));
        let (load_f, load_u, same_load) = self.load()?;
        let df = (a.f0.value / b.f0.value).ln();
        let uf = pair.f0_hz.map_or(f64::INFINITY, |e| e.u / b.f0.value);
        let dq = (a.q.value / b.q.value).ln();
        let uq = pair.q.map_or(f64::INFINITY, |e| e.u / b.q.value);
        let (cs, cs_u) = match self.about.winding_f {
            Some(c) => (c, 0.0),
            None => (USUAL_C_F, USUAL_C_U_F),
        };
        let growth = (-2.0 * df).exp() - 1.0;
        let whole = cs + load_f;
        let dc = whole * growth;
        let noise = pair.f0_hz.map_or(0.0, |e| e.u_noise / b.f0.value);
        pair.c_f = Estimate::new(
            dc,
            (2.0 * whole * uf).hypot(growth * cs_u.hypot(load_u)),
            2.0 * whole * noise,
        );
        let change = Change {
            f0: df,
            q: dq,
            c_f: dc,
            over_days,
            c_by_f0: 2.0 * whole,
            c_open: growth.abs() * cs_u.hypot(load_u),
            lead: self.witness_moved().is_some(),
        };
        let rigs = self.one_rig();
        let own = self.of_the_history();
        let Some(days) = days.filter(|_| rigs && own && same_load) else {
            pair.text = match (rigs, own, same_load) {
                (false, ..) if self.before.iter().chain(self.after).all(|r| !r.rig.given) => {
                    "measured without a rig file".into()
                }
                (false, ..) => format!("measured on two rigs ({})", self.rigs()),
                (_, false, _) => match self.history.map_or("another rig", |h| h.rig.as_str()) {
                    own if own == self.rigs() => {
                        format!("measured on {own} when its file said something else than now")
                    }
                    other => format!("measured on {}, and the days are those of {other}", self.rigs()),
                },
                (_, _, false) => "measured under two loads".into(),
                _ => match self.history.map_or(0, |h| h.checks.iter().filter(|c| c.go).count()) {
                    0 => "the rig has no history yet".into(),
                    n => format!("the rig has {n} of the {BASELINE} good checks that tell what its days do"),
                },
            };
            // Two rigs, or two loads, tell nothing of the wax.
            return Ok((pair, (rigs && own && same_load).then_some(change)));
        };
        let limits = self.about.limits;
        let p = equivalence(df, uf, days.freedom, limits.f0)
            .p
            .max(equivalence(dq, uq, days.freedom, limits.q).p);
        pair.p_equivalence = Some(p);
        let t = t_975(days.freedom);
        let (f_moved, q_moved) = (df.abs() > t * uf, dq.abs() > t * uq && dq.abs() > limits.q);
        let lead = self.witness_moved();
        (pair.verdict, pair.text) = if a.sense.zip(b.sense).is_some_and(|(a, b)| !a.same(b)) {
            (
                PotVerdict::Other,
                "the sign is the other one: leads swapped, or the exciter turned?".into(),
            )
        } else if p < ALPHA {
            (
                PotVerdict::Unchanged,
                format!(
                    "within the limits (f0 {} %, Q {} %)",
                    signed(100.0 * df.exp_m1(), 2),
                    signed(100.0 * dq.exp_m1(), 1)
                ),
            )
        } else if let Some(text) = lead {
            (PotVerdict::CannotTell, text)
        } else if q_moved
            || (f_moved && df > 0.0)
            || (f_moved && dc > WAX_MOST * (cs + 1.96 * cs_u) + t * 2.0 * whole * uf)
        {
            (PotVerdict::Other, other(df, dq, q_moved))
        } else if f_moved {
            (
                PotVerdict::Wax,
                format!(
                    "f0 {} %, {:.0} pF more in the winding, Q hardly another",
                    signed(100.0 * df.exp_m1(), 2),
                    1e12 * dc
                ),
            )
        } else {
            // As if every side had as many days as both have together.
            let each = 2.0 / (over_days * over_days);
            pair.repeats_needed =
                needed(df, uf, limits.f0, days.freedom, each).max(needed(dq, uq, limits.q, days.freedom, each));
            let more = pair.repeats_needed.map_or(String::new(), |n| {
                format!("; readings on {n} days before and after would tell")
            });
            (
                PotVerdict::CannotTell,
                format!(
                    "neither unchanged for sure nor changed for sure (f0 {} %){more}",
                    signed(100.0 * df.exp_m1(), 2)
                ),
            )
        };
        Ok((pair, Some(change)))
    }

    /// Capacitance that hangs on the winding besides its own, with what the rig leaves open of it, and whether it is the same in
    /// all records.
    fn load(&self) -> Result<(f64, f64, bool)> {
        let whole = |r: &Record| -> Result<f64> { Ok(load_of(r).map_or(0.0, |l| l.capacitance()) + input_of(r).1) };
        let first = whole(&self.before[0])?;
        let text = |r: &Record| r.load.as_ref().map(|l| l.text.clone());
        let same = self
            .before
            .iter()
            .chain(self.after)
            .all(|r| text(r) == text(&self.before[0]));
        let (_, farad) = input_of(&self.before[0]);
        let u = input_u(&self.before[0], None)[1].map_or(0.0, |u| u * farad);
        Ok((first, u, same))
    }

    /// Levels count from the exciter's answer, which another rig or another load makes another one.
    fn knock(&self) -> Result<Option<Estimate>> {
        if !(self.one_rig() && self.load()?.2) {
            return Ok(None);
        }
        let day = self.days.and_then(|d| d.level_db).unwrap_or(0.0);
        let of = |r: &[Record]| side(r).map_or(1.0, |s| s.days);
        let over_days = (1.0 / of(self.before) + 1.0 / of(self.after)).sqrt();
        Ok(knock::change(self.before, self.after, over_days * day))
    }

    fn one_rig(&self) -> bool {
        let first = &self.before[0].rig;
        self.before.iter().chain(self.after).all(|r| same_rig(first, &r.rig))
    }

    /// Whether the rig whose days are known is the one of the records.
    fn of_the_history(&self) -> bool {
        let Some(h) = self.history else { return true };
        self.before.iter().chain(self.after).all(|r| {
            let told = !r.rig.values.is_empty();
            (told && r.rig.chain_hash() == h.hash) || (!told && r.rig.name.as_deref() == Some(h.rig.as_str()))
        })
    }

    fn rigs(&self) -> String {
        let mut names: Vec<&str> = Vec::new();
        for r in self.before.iter().chain(self.after) {
            let n = r.rig.name.as_deref().unwrap_or("none given");
            if !names.contains(&n) {
                names.push(n);
            }
        }
        names.join(", ")
    }

    /// The check of the witness that was made nearest to a day's readings, if within [`NEAR_H`].
    fn nearest(&self, records: &[Record]) -> Option<&Check> {
        let at = |s: &str| s.parse::<jiff::Timestamp>().ok();
        let times: Vec<jiff::Timestamp> = records.iter().filter_map(|r| at(&r.taken_at)).collect();
        let away = |c: &Check| {
            let then = at(&c.taken_at)?;
            let hours = |t: &jiff::Timestamp| (t.duration_since(then).as_secs_f64() / 3600.0).abs();
            times.iter().map(hours).min_by(f64::total_cmp)
        };
        let near = self.history?.checks.iter().filter_map(|c| Some((away(c)?, c)));
        near.filter(|(h, _)| *h <= NEAR_H)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|n| n.1)
    }

    /// Nobody looked at the witness about one of the days.
    fn unchecked(&self) -> bool {
        let mut all = self.before.iter().chain(self.after);
        all.any(|r| self.nearest(std::slice::from_ref(r)).is_none())
    }

    /// A lead that moved between the days looks like wax: the witness tells, where it was checked about them.
    fn witness_moved(&self) -> Option<String> {
        let days = self.bare?;
        let about = |records: &[Record]| -> Vec<&Check> {
            let mut out: Vec<&Check> = Vec::new();
            for c in records.iter().filter_map(|r| self.nearest(std::slice::from_ref(r))) {
                if !out.iter().any(|o| o.id == c.id) {
                    out.push(c);
                }
            }
            out
        };
        let (before, after) = (about(self.before), about(self.after));
        // One check for both sides is of one state of the rig.
        if before.is_empty() || after.is_empty() || before.iter().any(|b| after.iter().any(|a| a.id == b.id)) {
            return None;
        }
        if let Some(bad) = before.iter().chain(&after).find(|c| !c.go) {
            return Some(format!(
                "the rig's check of {} was NO GO, so something else than wax may have done it",
                bad.taken_at.get(..10).unwrap_or("that day")
            ));
        }
        let ln = |list: &[&Check]| mean(&list.iter().map(|c| c.f0_hz.value.ln()).collect::<Vec<_>>());
        let moved = ln(&after)? - ln(&before)?;
        let over = (1.0 / before.len() as f64 + 1.0 / after.len() as f64).sqrt();
        (moved.abs() > t_975(days.freedom) * days.f0 * over).then(|| {
            format!(
                "the witness moved by {} % between the days as well, so a lead may have done it",
                signed(100.0 * moved.exp_m1(), 2)
            )
        })
    }

    /// Why the coil is too warm to be judged, and when to come back; `None` where nothing says so.
    fn warm(&self) -> Option<String> {
        let at = self
            .after
            .last()
            .and_then(|r| r.taken_at.parse::<jiff::Timestamp>().ok());
        let offset = self.after.last().and_then(|r| r.taken_at.get(19..).map(str::to_owned));
        let back = |hours: f64| {
            let then = at?
                .checked_add(jiff::SignedDuration::from_secs((3600.0 * hours) as i64))
                .ok()?;
            let zone = offset.as_deref().and_then(zone_of).unwrap_or(jiff::tz::TimeZone::UTC);
            Some(format!(
                "; measure again after {}",
                then.to_zoned_datetime(zone).strftime("%H:%M")
            ))
        };
        if let Some(rested) = self.about.rested_h
            && rested < RESTED_H
        {
            let back = back(RESTED_H - rested).unwrap_or_default();
            return Some(format!(
                "too warm to judge: {rested:.0} h out of the wax, {RESTED_H:.0} h are wanted{back}"
            ));
        }
        let (temperature, above) = self.warmth()?;
        (above > WARM_K && self.about.rested_h.is_none()).then(|| {
            let back = back(COOLS_H * (above / WARM_K).ln().max(0.5)).unwrap_or_default();
            format!("too warm to judge: the winding's resistance says {temperature:.0} degrees, {above:.0} above the room{back}")
        })
    }

    /// A resistance that no warmth makes.
    fn another_resistance(&self) -> Option<String> {
        let (_, above) = self.warmth()?;
        let text = |share: f64| {
            format!(
                "{:.0} % {} resistance than before",
                100.0 * share.abs(),
                if share > 0.0 { "more" } else { "less" }
            )
        };
        let share = PER_K * above;
        if above > MOST_WARM_K {
            return Some(format!(
                "{}: a joint, a broken strand, another meter's range?",
                text(share)
            ));
        }
        (above < -COLDER_K).then(|| format!("{}: shorted turns, or another pickup?", text(share)))
    }

    /// What the winding's resistance says of its temperature during a reading after the wax, and how far that is above the room;
    /// `None` where there is no reading of one ohmmeter, with the room, on both sides: two may differ by more than warmth does.
    fn warmth_of(&self, after: &Record) -> Option<(f64, f64)> {
        let known = |r: &Record, meter: Option<&str>| {
            let o = r.ohms_by(meter)?;
            Some((o.ohm, o.temperature_c?))
        };
        let cold = |meter: Option<&str>| self.before.iter().find_map(|r| known(r, meter));
        let ((rb, tb), (ra, ta)) = after
            .ohms()
            .into_iter()
            .find_map(|o| Some((cold(o.meter.as_deref())?, known(after, o.meter.as_deref())?)))?;
        let temperature = ra / rb * (COPPER_C + tb) - COPPER_C;
        Some((temperature, temperature - ta))
    }

    /// Of the last reading after the wax of which it is known.
    fn warmth(&self) -> Option<(f64, f64)> {
        self.after.iter().rev().find_map(|r| self.warmth_of(r))
    }

    /// Hours between the last reading before and the first one after.
    fn apart_h(&self) -> Option<f64> {
        let at = |r: &Record| r.taken_at.parse::<jiff::Timestamp>().ok();
        let last = self.before.iter().filter_map(at).max()?;
        let first = self.after.iter().filter_map(at).min()?;
        Some(first.duration_since(last).as_secs_f64() / 3600.0)
    }
}

/// "+01:00" as a time zone.
fn zone_of(offset: &str) -> Option<jiff::tz::TimeZone> {
    let sign = match offset.chars().next()? {
        'Z' => return Some(jiff::tz::TimeZone::UTC),
        '+' => 1,
        '-' => -1,
        _ => return None,
    };
    let hours: i32 = offset.get(1..3)?.parse().ok()?;
    let minutes: i32 = offset.get(4..6)?.parse().ok()?;
    let offset = jiff::tz::Offset::from_seconds(sign * (3600 * hours + 60 * minutes)).ok()?;
    Some(jiff::tz::TimeZone::fixed(offset))
}

/// What a change that is not wax looks like.
fn other(df: f64, dq: f64, q_moved: bool) -> String {
    let sizes = format!(
        "f0 {} %, Q {} %",
        signed(100.0 * df.exp_m1(), 2),
        signed(100.0 * dq.exp_m1(), 1)
    );
    let guess = if q_moved && dq < 0.0 && df > 0.0 {
        "less inductance and more loss: shorted turns?"
    } else if q_moved && dq < 0.0 {
        "more loss: a cover, a plate, a joint, another resistor?"
    } else if df > 0.0 {
        "wax never raises f0: a lead unplugged, turns lost?"
    } else if q_moved {
        "less loss than before: was a resistor or a pot across it?"
    } else {
        "more than wax can do: a longer lead, a capacitor across it?"
    };
    format!("{sizes}; {guess}")
}

/// Days on either side after which the change at hand would most likely (80 %) be told, as none or as one; `None` where the
/// `days` there are (on either side) are enough. `u` is that of so many.
fn needed(change: f64, u: f64, limit: f64, freedom: f64, days: f64) -> Option<u32> {
    let t = |p: f64| student(p, freedom);
    let likely = t(0.8);
    let none = (t(1.0 - ALPHA) + likely) * u / (limit - change.abs()).max(0.0);
    let some = (t(1.0 - 0.5 * ALPHA) + likely) * u / change.abs();
    let n = (days * none.min(some).powi(2)).ceil();
    (n > days && n < 1e4).then_some(n as u32)
}
