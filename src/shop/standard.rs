//! A shop's own standard, and what a reading is against it.
//!
//! Limits are the maker's. A reading passes where it is within them for sure, is outside where it is outside for sure, and
//! otherwise nobody can tell: within the yardstick's guard band on either side of a limit. What is uncertain is the reading: by its
//! noise, by laying the pickup down, on another day than the standard's by what days do, and on another rig by its measuring chain.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::copper;
use crate::failure::{Failure, Result, of_kind};
use crate::quantity::{Unit, show};
use crate::record::identity::{Entered, Sense, apart_from, is_of_level};
use crate::record::meters::{Column, Kind, Reading};
use crate::record::when::{day, moment};
use crate::record::{Definition, Record, Resonance, RigSummary, unknown};
use crate::shop::alike::{by_one_meter, goes_with, one_definition};
use crate::shop::witness::eras::Eras;
use crate::stats::{distinct, mean, sd, tolerance};

mod judged;
#[cfg(test)]
mod tests;

pub use judged::{Call, Judged, Looks, Why, judge};

pub const SCHEMA: &str = "coilwright/standard/1";

/// A hand-editable file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Standard {
    pub schema: String,
    pub name: String,
    /// Counted up by hand when limits or values are changed.
    pub version: u32,
    /// The rig that it was measured with; left out, as in a file by hand: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig: Option<String>,
    /// The rig's own, where its file tells one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Of what the rig's file said of the measuring chain then: where it comes from, and decides nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig_hash: Option<String>,
    /// It holds for this load alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<String>,
    /// Day of its readings; left out: another one than any reading's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_on: Option<String>,
    /// When the last of its readings was made; left out, as in files of version 0.1.0 and by hand: not told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_until: Option<String>,
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
    /// Left out: plain.
    #[serde(default)]
    pub definition: Definition,
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
/// Proposed limits hold this share of all such pickups, in all quantities together, with this confidence.
const SHARE: f64 = 0.95;
const CONFIDENCE: f64 = 0.95;

/// Limits that the scatter of good ones proposes: relative for f0 and Q, dB for the level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Proposal {
    pub readings: usize,
    /// So many names among them: readings of one pickup scatter less than pickups do.
    pub pickups: usize,
    /// All of them are of one lot of the tray.
    #[serde(default)]
    pub one_lot: bool,
    pub factor: f64,
    pub f0: f64,
    pub q: f64,
    pub level_db: Option<f64>,
}

/// Good pickups, one reading of each record.
struct Good<'a>(Vec<(&'a Record, &'a Resonance)>);

impl<'a> Good<'a> {
    /// Of one rig, one load and one coil, each once, and all of one kind; and the first of them.
    fn of(records: &'a [Record]) -> Result<(Good<'a>, &'a Record)> {
        let good: Vec<_> = records.iter().filter_map(|r| Some((r, r.reading()?))).collect();
        let Some((first, _)) = good.first().copied() else {
            return Err(Failure::new(
                "none of the records has a reading",
                "give records of good pickups",
            ));
        };
        let records: Vec<&Record> = good.iter().map(|g| g.0).collect();
        for (i, r) in records.iter().enumerate() {
            goes_with(r, &records[..i])?;
            let over = |r: &Record| r.pickup.over.clone().unwrap_or_else(|| "not told".into());
            if r.pickup.over != first.pickup.over {
                return Err(Failure::new(
                    format!(
                        "{:?} and {:?} were measured over different coils ({} and {})",
                        first.pickup.name,
                        r.pickup.name,
                        over(first),
                        over(r)
                    ),
                    "make a standard for each coil",
                ));
            }
        }
        Ok((Good(good), first))
    }

    /// One quantity of all that have it.
    fn all(&self, of: impl Fn(&Resonance) -> Option<f64>) -> Vec<f64> {
        self.0.iter().filter_map(|(_, x)| of(x)).collect()
    }

    /// So many names; readings of one pickup scatter less than pickups do.
    fn pickups(&self) -> usize {
        distinct(self.0.iter().map(|(r, _)| &r.pickup.name)).len()
    }

    /// By the names that the tray gives: neck-12-07 is of the lot neck-12.
    fn one_lot(&self) -> bool {
        let lot = |name: &str| {
            let (lot, number) = name.rsplit_once('-')?;
            number.parse::<u32>().ok().map(|_| lot.to_owned())
        };
        let lots: Option<BTreeSet<String>> = self.0.iter().map(|(r, _)| lot(&r.pickup.name)).collect();
        lots.is_some_and(|l| l.len() == 1)
    }

    /// The day of all of them, where it is one.
    fn day(&self) -> Option<String> {
        let days: BTreeSet<&str> = self.0.iter().filter_map(|(r, _)| day(&r.taken_at)).collect();
        days.first().filter(|_| days.len() == 1).map(|d| (*d).to_owned())
    }

    fn until(&self) -> Option<String> {
        let all = self.0.iter().map(|(r, _)| &r.taken_at);
        all.max_by_key(|t| moment(t)).cloned()
    }

    /// The ohmmeter that read most of them, and what it read, at 20 degrees where the room is known.
    fn ohms(&self) -> (Option<String>, Vec<f64>) {
        let (meter, read) = by_one_meter(self.0.iter().map(|g| g.0));
        (meter, read.into_iter().flatten().collect())
    }

    /// The sign of the first, where all have one.
    fn polarity(&self, first: Option<Sense>) -> Option<i8> {
        let sense = first?;
        let same = |(r, _): &(&Record, _)| Sense::of(r).is_some_and(|s| s.same(sense));
        self.0.iter().all(same).then_some(sense.polarity)
    }

    /// The limits that are allowed, or those that the scatter proposes.
    fn limit(&self, given: Option<f64>, proposed: Option<f64>, what: &str) -> Result<f64> {
        given.or(proposed).ok_or_else(|| {
            Failure::new(
                format!(
                    "what is allowed in {what} is not said, and {} good ones are too few to propose it",
                    self.0.len()
                ),
                format!("give --allow \"f0=3% q=8%\", or {ENOUGH} records and more"),
            )
        })
    }
}

impl Standard {
    /// From records of good pickups, all of one rig and one load: their mean, with the limits that the maker allows, or those
    /// that their own scatter proposes.
    pub fn from(name: &str, records: &[Record], allowed: Allowed) -> Result<(Standard, Option<Proposal>)> {
        let (definition, records) = one_definition(records);
        let (good, first) = Good::of(&records)?;
        let ln_f0 = good.all(|x| Some(x.f0_hz.value.ln()));
        let ln_q = good.all(|x| Some(x.q.value.ln()));
        let levels = good.all(|x| Some(x.level_db?.value));
        let proposal = Proposal::of(&good, [&ln_f0, &ln_q, &levels]);
        let sense = Sense::of(first);
        let (ohmmeter, r20) = good.ohms();
        if allowed.ohms.is_some() && (r20.is_empty() || ohmmeter.is_none()) {
            return Err(Failure::new(
                "ohms are to be judged, and none of the records tells them with the name of its meter",
                "note them first: coilwright note RECORD --ohms \"6.05k by meter A\"",
            ));
        }
        let allowed_db = allowed.level_db.or(proposal.and_then(|p| p.level_db));
        let standard = Standard {
            schema: SCHEMA.into(),
            name: name.into(),
            version: 1,
            rig: first.rig.name.clone(),
            unit: first.rig.unit().map(str::to_owned),
            rig_hash: first.rig.told_chain(),
            load: first.load.as_ref().map(|l| l.text.clone()),
            taken_on: good.day(),
            taken_until: good.until(),
            f0: Frequency {
                hz: mean(&ln_f0).unwrap_or(0.0).exp(),
                allow: good.limit(allowed.f0, proposal.map(|p| p.f0), "f0")?,
            },
            q: Ratio {
                value: mean(&ln_q).unwrap_or(0.0).exp(),
                allow: good.limit(allowed.q, proposal.map(|p| p.q), "Q")?,
            },
            level: mean(&levels)
                .zip(allowed_db)
                .map(|(db, allow_db)| Decibels { db, allow_db }),
            polarity: good.polarity(sense),
            rig_sign: sense.map(|s| s.stated.unwrap_or(0)),
            r20_ohm: mean(&r20),
            ohmmeter,
            r20_allow: allowed.ohms,
            simulated: first.is_simulated(),
            definition,
            entered: first.rig.entered(first.capture.channels),
        };
        Ok((standard, proposal))
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, text: &str) -> Result<Standard> {
        let hint = "`coilwright standard` writes one; values and limits may be edited";
        let s: Standard = toml::from_str(text).map_err(|e| Failure::toml(place, text, " is no standard", &e, hint))?;
        let wrong = |what: &str| Failure::new(format!("{place}: {what}"), hint);
        if let Some(key) = s.unknown_key(text) {
            return Err(wrong(&format!("there is no key {key}")));
        }
        of_kind(&s.schema, SCHEMA).map_err(|what| wrong(&format!("it {what}")))?;
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

impl Proposal {
    fn of(good: &Good, [ln_f0, ln_q, levels]: [&[f64]; 3]) -> Option<Proposal> {
        let readings = ln_f0.len();
        if readings < ENOUGH {
            return None;
        }
        let level = levels.len() == readings;
        let factor = tolerance::two_sided_jointly(readings, 2 + usize::from(level), SHARE, CONFIDENCE)?;
        Some(Proposal {
            readings,
            pickups: good.pickups(),
            one_lot: good.one_lot(),
            factor,
            f0: factor * sd(ln_f0)?,
            q: factor * sd(ln_q)?,
            level_db: sd(levels).filter(|_| level).map(|s| factor * s),
        })
    }
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

    /// Of the same name, from later readings, or from the same by what the rig's file says since: it judges again what the old one
    /// judged.
    pub fn is_made_anew(&self, old: &Standard) -> bool {
        let told = |s: &Standard| moment(s.taken_until.as_deref()?);
        let later = told(self) > told(old) || (told(self) == told(old) && self.entered != old.entered);
        self.name == old.name && self.rig == old.rig && told(self).is_some() && later
    }

    /// Whether it was made on this rig, or both on none.
    pub fn is_of(&self, rig: &RigSummary) -> bool {
        match &self.rig {
            None => !rig.given,
            Some(_) => rig.is(self.rig.as_deref(), self.unit.as_deref()),
        }
    }

    /// What was changed on the bench of its rig between its readings and this moment, as far as it tells when they were made.
    pub fn changed(&self, eras: &Eras, rig: &RigSummary, now: &str) -> Option<Elsewhere> {
        let until = self.taken_until.as_deref();
        // Of a day alone, the end of it.
        let day = || Some(format!("{}T23:59:59Z", self.taken_on.as_deref()?));
        let until = until.map(str::to_owned).or_else(day).filter(|_| self.is_of(rig))?;
        eras.changed(&until, now).map(|c| Elsewhere::Changed(c.what.clone()))
    }

    /// Why it says nothing of takes on this rig, under this load (`None`: not told).
    pub fn elsewhere(&self, rig: &RigSummary, load: Option<&str>) -> Option<Elsewhere> {
        // One of version 0.1.0, or written by hand, does not say it; then the rig alone counts.
        let mut keys = match self.entered.is_empty() || !self.is_of(rig) {
            true => Vec::new(),
            false => apart_from(&self.entered, rig),
        };
        keys.retain(|k| self.level.is_some() || !is_of_level(k));
        if !keys.is_empty() {
            return Some(Elsewhere::RigFile(keys.join(", ")));
        }
        let of = self.load.as_deref().filter(|l| Some(*l) != load)?;
        Some(Elsewhere::Load {
            taken: load.map(str::to_owned),
            of: of.to_owned(),
        })
    }
}

/// Why a standard says nothing of a take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Elsewhere {
    /// Its f0 and Q are read by another model.
    Definition,
    /// This was changed on the bench since its readings.
    Changed(String),
    /// These keys of the rig's file are not what they were for it.
    RigFile(String),
    /// Of another load; `taken`: that of the take, where it was told.
    Load { taken: Option<String>, of: String },
}
