//! A shop's own standard, and what a reading is against it.
//!
//! Limits are the maker's. A reading passes where it is within them for sure, is outside where it is outside for sure, and
//! otherwise nobody can tell: a guard band on either side of a limit, one-sided 95 % of the reading's uncertainty, as wide as the
//! few readings behind the rig's repeatability demand (Student's t with the degrees of freedom of JCGM 100, G.4).

use serde::{Deserialize, Serialize};

use crate::copper;
use crate::failure::{Failure, Result};
use crate::quantity::{Unit, show};
use crate::record::identity::{Entered, Sense, apart_from, same_rig, unlike};
use crate::record::meters::{Column, Kind, Reading};
use crate::record::notes::Ohms;
use crate::record::{Record, Resonance, RigSummary, unknown};
use crate::stats::{mean, sd, tolerance};

mod judged;

pub use judged::{Call, Judged, judge};

pub const SCHEMA: &str = "coilwright/standard/1";

/// A hand-editable file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Standard {
    pub schema: String,
    pub name: String,
    /// Counted up by hand when limits or values are changed.
    pub version: u32,
    /// The rig and the load that it was measured with: it holds for them alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig: Option<String>,
    /// Of what the rig's file said of the measuring chain then: provenance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig_hash: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<String>,
    /// +1 or -1; left out: not judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub polarity: Option<i8>,
    /// The rig's sign as it was stated then, which `polarity` has in it; 0: none was. Left out, as in a file by hand, `polarity` is
    /// that of the records.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig_sign: Option<i8>,
    /// The winding's resistance at 20 degrees, for telling faults apart; judged where `r20_allow` says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub r20_ohm: Option<f64>,
    /// The ohmmeter that it was read on; left out: the one of `measure --ohms`, which was not named. No other one is held against it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohmmeter: Option<String>,
    /// Of the resistance on this ohmmeter, relative, to either side; left out: not judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub r20_allow: Option<f64>,
    /// From takes of the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    pub f0: Frequency,
    pub q: Ratio,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<Decibels>,
    /// What of the rig's file is in its readings; left out, as in files of version 0.1.0 and by hand: not told.
    #[serde(default, skip_serializing_if = "Entered::is_empty")]
    pub entered: Entered,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Frequency {
    pub hz: f64,
    /// Relative, to either side.
    pub allow: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ratio {
    pub value: f64,
    /// Relative, to either side.
    pub allow: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Decibels {
    pub db: f64,
    /// To either side.
    pub allow_db: f64,
}

/// What the maker allows.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Allowed {
    pub f0: Option<f64>,
    pub q: Option<f64>,
    pub level_db: Option<f64>,
    pub ohms: Option<f64>,
}

/// Good ones from which limits are proposed.
pub const ENOUGH: usize = 20;
/// Proposed limits hold this share of all such pickups with this confidence.
const SHARE: f64 = 0.95;
const CONFIDENCE: f64 = 0.95;

/// Limits that the scatter of good ones proposes: relative for f0 and Q, dB for the level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Proposal {
    pub readings: usize,
    /// So many names among them: readings of one pickup scatter less than pickups do.
    pub pickups: usize,
    pub factor: f64,
    pub f0: f64,
    pub q: f64,
    pub level_db: Option<f64>,
}

/// Of one rig, or of none both.
fn one_rig(a: &Record, b: &Record) -> bool {
    (!a.rig.given && !b.rig.given) || same_rig(&a.rig, &b.rig)
}

fn readings(records: &[Record]) -> Vec<(&Record, &Resonance)> {
    records.iter().filter_map(|r| Some((r, r.reading()?))).collect()
}

/// One rig, one load, one coil, each once, and all of one kind.
fn go_together(good: &[(&Record, &Resonance)], first: &Record) -> Result<()> {
    if let Some((other, _)) = good.iter().find(|(r, _)| !one_rig(r, first) || r.load != first.load) {
        return Err(Failure::new(
            format!(
                "{:?} and {:?} were measured on two rigs or under two loads",
                first.pickup.name, other.pickup.name
            ),
            "a standard is of one rig and one load",
        ));
    }
    let keys = good.iter().map(|(r, _)| unlike(first, r)).find(|keys| !keys.is_empty());
    if let Some(keys) = keys {
        return Err(Failure::new(
            format!("{} is not the same in all of these readings", keys.join(", ")),
            "leave out those whose takes are gone",
        ));
    }
    if let Some((r, _)) = good.iter().enumerate().find_map(|(i, (r, x))| {
        let twice = good[..i].iter().any(|(o, _)| o.id == r.id);
        twice.then_some((r, x))
    }) {
        return Err(Failure::new(
            format!("one and the same record of {:?} is given twice", r.pickup.name),
            "give each once: a record counts as a pickup",
        ));
    }
    if let Some((r, _)) = good.iter().find(|(r, _)| r.is_simulated() != first.is_simulated()) {
        return Err(Failure::new(
            format!(
                "{:?} and {:?}: one is simulated and one is not",
                first.pickup.name, r.pickup.name
            ),
            "a standard is of real pickups, or of the built-in bench's to try it",
        ));
    }
    if let Some((r, _)) = good.iter().find(|(r, _)| r.pickup.over != first.pickup.over) {
        return Err(Failure::new(
            format!(
                "{:?} and {:?} were measured over different coils ({} and {})",
                first.pickup.name,
                r.pickup.name,
                first.pickup.over.as_deref().unwrap_or("not told"),
                r.pickup.over.as_deref().unwrap_or("not told")
            ),
            "make a standard for each coil",
        ));
    }
    Ok(())
}

impl Standard {
    /// From records of good pickups, all of one rig and one load: their mean, with the limits that the maker allows, or those
    /// that their own scatter proposes.
    pub fn from(name: &str, records: &[Record], allowed: Allowed) -> Result<(Standard, Option<Proposal>)> {
        let good = readings(records);
        let Some((first, _)) = good.first() else {
            return Err(Failure::new(
                "none of the records has a reading",
                "give records of good pickups",
            ));
        };
        go_together(&good, first)?;
        let of =
            |f: &dyn Fn(&Resonance) -> Option<f64>| -> Vec<f64> { good.iter().filter_map(|(_, x)| f(x)).collect() };
        let (ln_f0, ln_q, level) = (
            of(&|x| Some(x.f0_hz.value.ln())),
            of(&|x| Some(x.q.value.ln())),
            of(&|x| x.level_db.map(|l| l.value)),
        );
        let mut names: Vec<&str> = good.iter().map(|(r, _)| r.pickup.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        let proposal = proposal(&ln_f0, &ln_q, &level).map(|p| Proposal {
            pickups: names.len(),
            ..p
        });
        let need = |given: Option<f64>, proposed: Option<f64>, what: &str| {
            given.or(proposed).ok_or_else(|| {
                Failure::new(
                    format!(
                        "what is allowed in {what} is not said, and {} good ones are too few to propose it",
                        good.len()
                    ),
                    format!("give --allow \"f0=3% q=8%\", or {ENOUGH} records and more"),
                )
            })
        };
        let sense = Sense::of(first);
        let one_sign = good
            .iter()
            .all(|(r, _)| Sense::of(r).zip(sense).is_some_and(|(a, b)| a.same(b)));
        let level_allowed = allowed.level_db.or(proposal.and_then(|p| p.level_db));
        let (ohmmeter, r20) = ohms(&good);
        if allowed.ohms.is_some() && (r20.is_empty() || ohmmeter.is_none()) {
            return Err(Failure::new(
                "ohms are to be judged, and none of the records tells them with the name of its meter",
                "note them first: coilwright note RECORD --ohms \"6.05k by meter A\"",
            ));
        }
        Ok((
            Standard {
                schema: SCHEMA.into(),
                name: name.into(),
                version: 1,
                rig: first.rig.name.clone(),
                rig_hash: first.rig.told_chain(),
                load: first.load.as_ref().map(|l| l.text.clone()),
                f0: Frequency {
                    hz: mean(&ln_f0).unwrap_or(0.0).exp(),
                    allow: need(allowed.f0, proposal.map(|p| p.f0), "f0")?,
                },
                q: Ratio {
                    value: mean(&ln_q).unwrap_or(0.0).exp(),
                    allow: need(allowed.q, proposal.map(|p| p.q), "Q")?,
                },
                level: mean(&level)
                    .zip(level_allowed)
                    .map(|(db, allow_db)| Decibels { db, allow_db }),
                polarity: sense.filter(|_| one_sign).map(|s| s.polarity),
                rig_sign: sense.map(|s| s.stated.unwrap_or(0)),
                r20_ohm: mean(&r20),
                ohmmeter,
                r20_allow: allowed.ohms,
                simulated: good.iter().any(|(r, _)| r.is_simulated()),
                entered: first.rig.entered(first.capture.channels),
            },
            proposal,
        ))
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, text: &str) -> Result<Standard> {
        let hint = "`coilwright standard` writes one; values and limits may be edited";
        let s: Standard = toml::from_str(text).map_err(|e| Failure::toml(place, text, " is no standard", &e, hint))?;
        let wrong = |what: &str| Failure::new(format!("{place}: {what}"), hint);
        if let Some(key) = s.unknown_key(text) {
            return Err(wrong(&format!("there is no key {key}")));
        }
        if s.schema != SCHEMA {
            return Err(wrong(&format!(
                "it is of the kind {:?}, this version reads {SCHEMA:?}",
                s.schema
            )));
        }
        let above = |v: f64| v.is_finite() && v > 0.0;
        let limits = above(s.f0.allow) && s.f0.allow < 1.0 && above(s.q.allow) && s.q.allow < 1.0;
        let level = s.level.is_none_or(|l| l.db.is_finite() && above(l.allow_db));
        let ohms = s.r20_ohm.is_none_or(above) && s.r20_allow.is_none_or(|a| above(a) && a < 1.0);
        if !(above(s.f0.hz) && above(s.q.value) && limits && level && ohms) {
            return Err(wrong("a value or a limit is impossible"));
        }
        if s.r20_allow.is_some() && (s.r20_ohm.is_none() || s.ohmmeter.is_none()) {
            return Err(wrong("r20_allow says nothing without r20_ohm and ohmmeter"));
        }
        let sign = |v: Option<i8>| v.is_none_or(|p| p == 1 || p == -1);
        if !(sign(s.polarity) && (s.rig_sign == Some(0) || sign(s.rig_sign))) {
            return Err(wrong("polarity, or rig_sign, is neither 1 nor -1"));
        }
        Ok(s)
    }

    /// What people write by hand is refused where it is not understood; a document that keeps a standard is not.
    fn unknown_key(&self, text: &str) -> Option<String> {
        let written: serde_json::Value = toml::from_str(text).ok()?;
        // It is written only where it is true.
        let all = Standard {
            simulated: true,
            ..self.clone()
        };
        unknown::first(&written, &serde_json::to_value(all).ok()?)
    }

    pub fn to_toml(&self, remark: &str) -> Result<String> {
        let body = toml::to_string(self).map_err(|e| {
            Failure::new(
                format!("cannot write the standard: {e}"),
                "report this as a fault of the program",
            )
        })?;
        Ok(format!("# {remark}\n{body}"))
    }
}

/// The ohmmeter that read most of them, and what it read, at 20 degrees where the room is known.
fn ohms(good: &[(&Record, &Resonance)]) -> (Option<String>, Vec<f64>) {
    let mut groups: Vec<(Option<String>, Vec<f64>)> = Vec::new();
    let all: Vec<Ohms> = good.iter().flat_map(|(r, _)| r.ohms()).collect();
    // Some at 20 degrees and some as they were read make no mean: the former, where there are any.
    let warm = all.iter().any(|o| o.temperature_c.is_some());
    for o in all.iter().filter(|o| o.temperature_c.is_some() == warm) {
        match groups.iter_mut().find(|g| g.0 == o.meter) {
            Some(g) => g.1.push(o.at_20()),
            None => groups.push((o.meter.clone(), vec![o.at_20()])),
        }
    }
    let most = groups.iter().map(|g| g.1.len()).max().unwrap_or(0);
    groups.into_iter().find(|g| g.1.len() == most).unwrap_or_default()
}

fn proposal(ln_f0: &[f64], ln_q: &[f64], level: &[f64]) -> Option<Proposal> {
    if ln_f0.len() < ENOUGH {
        return None;
    }
    let factor = tolerance::two_sided(ln_f0.len(), SHARE, CONFIDENCE)?;
    Some(Proposal {
        readings: ln_f0.len(),
        pickups: ln_f0.len(),
        factor,
        f0: factor * sd(ln_f0)?,
        q: factor * sd(ln_q)?,
        level_db: (level.len() == ln_f0.len())
            .then(|| sd(level))
            .flatten()
            .map(|s| factor * s),
    })
}

impl Standard {
    /// Whether it judges what this meter reads.
    pub fn judges(&self, column: &Column) -> bool {
        self.r20_allow.is_some() && column.kind == Kind::Ohms && self.ohmmeter.as_ref() == Some(&column.meter)
    }

    /// What is odd in a figure, typed just now, that is judged; `room_c`: of the winding.
    pub fn doubt(&self, reading: &Reading, room_c: Option<f64>) -> Option<String> {
        let (ohm, allow) = self.r20_ohm.zip(self.r20_allow)?;
        let read = copper::r20(Some(reading.figure()), room_c).unwrap_or(reading.figure());
        let far = self.judges(&reading.column()) && (read / ohm - 1.0).abs() > allow;
        let edge = |k: f64| show(ohm * k, Unit::Ohm, 4);
        far.then(|| {
            format!(
                "outside what the standard allows ({} ... {})",
                edge(1.0 - allow),
                edge(1.0 + allow)
            )
        })
    }

    /// Why it says nothing of takes on this rig, under this load (`None`: not told).
    pub fn elsewhere(&self, rig: &RigSummary, load: Option<&str>) -> Option<String> {
        let name = rig.name.as_deref();
        if self.rig.is_some() && self.rig.as_deref() != name {
            return Some(format!(
                "measured on {}, and the standard is of {}",
                name.unwrap_or("no rig that was named"),
                self.rig.as_deref().unwrap_or_default()
            ));
        }
        // One of version 0.1.0, or written by hand, does not say it; then the name alone counts.
        let keys = match self.entered.is_empty() {
            true => Vec::new(),
            false => apart_from(&self.entered, rig),
        };
        if !keys.is_empty() {
            return Some(format!(
                "{} is not what it was for the standard: make that anew from its records",
                keys.join(", ")
            ));
        }
        let spelt = |l: &str| if l.is_empty() { "none".to_owned() } else { l.to_owned() };
        let of = self.load.as_deref().filter(|l| Some(*l) != load)?;
        Some(format!(
            "measured under {}, and the standard is of {1}: give --load \"{1}\"",
            load.map_or("a load that was not told".into(), spelt),
            spelt(of)
        ))
    }
}
