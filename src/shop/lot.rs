//! A lot on the bench: what has been measured of it, in order, with its verdicts. Kept after every step, so that nothing is lost.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::standard::{Call, Judged, Standard};
use crate::estimate::Estimate;
use crate::failure::{Failure, Result, of_kind};
use crate::record::meters::{Column, Reading, Tally};
use crate::record::{Definition, Finding, Record};

mod mates;
mod steps;
#[cfg(test)]
mod tests;

pub const SCHEMA: &str = "coilwright/tray/1";
/// In the lot's folder.
pub const TRAY: &str = "tray.json";

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Tray {
    pub schema: String,
    pub lot: String,
    /// The lot whose folder this one's is a copy of: its pickups are here under its name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub copied_from: Option<String>,
    /// What f0 and Q mean in it; left out: plain.
    #[serde(default)]
    pub definition: Definition,
    /// Without one nothing is judged.
    pub standard: Option<Standard>,
    pub entries: Vec<Entry>,
    /// On what the lot is measured: one lot is on one rig and under one load.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setting: Option<Setting>,
    /// What other meters are asked after each take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<Column>,
    /// The number that comes next: that of the last one while it has no reading to stay with.
    pub next: u32,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Setting {
    /// The file, for going on without naming it again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig_file: Option<PathBuf>,
    pub rig: Option<String>,
    /// The rig's own, where its file tells one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Of what the rig file states of the measuring chain: it decides nothing.
    pub rig_hash: Option<String>,
    /// In the load notation; null: not told.
    pub load: Option<String>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    pub number: u32,
    pub name: String,
    /// Folder of the record; null for a number that was skipped.
    pub record: Option<String>,
    pub taken_at: Option<String>,
    /// Not in lots of version 0.1.0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub peak_hz: Option<Estimate>,
    pub f0_hz: Option<Estimate>,
    pub q: Option<Estimate>,
    pub judged: Option<Judged>,
    /// What the record warns of.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<Finding>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// What other meters read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<Reading>,
    /// Made by the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    /// Kept by hand, though another take might have been better.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub kept: bool,
    /// The entry in whose place it came, counted from 0, which stands again where this one is taken back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<usize>,
    /// Measured again, or taken back: it stays here and counts no more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub withdrawn: bool,
}

/// What was taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Undone {
    pub number: u32,
    /// What stands of the number again.
    pub stands: bool,
}

/// How many of a tray came to what.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    pub pass: u32,
    pub outside: u32,
    pub cannot_tell: u32,
    pub no_reading: u32,
    pub skipped: u32,
    /// Measured, but there is no standard.
    pub measured: u32,
    /// With a warning that another take may be rid of.
    pub measure_again: u32,
    /// With such a warning, and kept by hand; outside no limit.
    pub kept: u32,
}

/// A name that leads to a folder beside the file that holds it, and nowhere else.
pub fn is_plain(name: &str) -> bool {
    !name.trim().is_empty() && name.chars().all(|c| c.is_alphanumeric() || "-_ ".contains(c))
}

impl Setting {
    /// The same rig and load, wherever the rig's file may lie by now, and whatever it says of the rig besides.
    pub fn same(&self, other: &Setting) -> bool {
        let one_unit = self.unit.is_none() || other.unit.is_none() || self.unit == other.unit;
        (&self.rig, &self.load) == (&other.rig, &other.load) && one_unit
    }

    /// "north, load cap=330p".
    pub fn words(&self) -> String {
        let load = match self.load.as_deref() {
            None => "load not told".into(),
            Some("") => "load none".into(),
            Some(l) => format!("load {l}"),
        };
        format!("{}, {load}", self.rig.as_deref().unwrap_or("no rig file"))
    }
}

impl Entry {
    fn of(number: u32, record: &Record, folder: String, judged: Option<Judged>) -> Entry {
        let mut entry = Entry {
            number,
            name: record.pickup.name.clone(),
            simulated: record.is_simulated(),
            taken_at: Some(record.taken_at.clone()),
            record: Some(folder),
            warnings: record.warnings().cloned().collect(),
            ..Entry::default()
        };
        entry.read(record);
        entry.tell(record, judged);
        entry
    }

    /// Takes over what its take reads.
    pub fn read(&mut self, record: &Record) {
        let read = record.resonance.as_ref();
        self.peak_hz = read.and_then(|r| r.peak_hz);
        self.f0_hz = read.map(|r| r.f0_hz);
        self.q = read.map(|r| r.q);
    }

    /// Takes over what is noted beside its record, and what that is judged.
    pub fn tell(&mut self, record: &Record, judged: Option<Judged>) {
        self.notes = record.noted.iter().filter_map(|n| n.text.clone()).collect();
        self.readings.clear();
        for reading in record.noted.iter().flat_map(|n| &n.readings) {
            // A meter's last word on this pickup.
            self.readings.retain(|r| r.column() != reading.column());
            self.readings.push(reading.clone());
        }
        self.judged = judged;
    }

    fn call(&self) -> Option<Call> {
        self.judged.as_ref().map(|j| j.call)
    }

    /// Its number waits for a better take.
    pub fn is_open(&self) -> bool {
        matches!(self.call(), Some(Call::NoReading | Call::MeasureAgain))
    }

    /// What is worth less never takes the place of what is worth more.
    fn worth(&self) -> u8 {
        match self.call() {
            Some(Call::NoReading) => 0,
            None if self.record.is_none() => 0,
            Some(Call::MeasureAgain) => 1,
            _ => 2,
        }
    }
}

impl Tray {
    pub fn new(lot: &str, standard: Option<Standard>, first: u32) -> Self {
        Tray {
            schema: SCHEMA.into(),
            lot: lot.into(),
            standard,
            next: first,
            ..Tray::default()
        }
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<Tray> {
        let hint = "move it aside to begin the lot anew";
        let wrong = |what: &str, hint: &str| Failure::new(format!("{place} {what}"), hint);
        let t: Tray = serde_json::from_slice(bytes).map_err(|e| wrong(&format!("is no tray: {e}"), hint))?;
        of_kind(&t.schema, SCHEMA).map_err(|what| wrong(&what, hint))?;
        if let Some(c) = t.columns.iter().find(|c| !c.is_sound()) {
            return Err(wrong(
                &format!("asks for {c}, which is no column"),
                "correct it, or choose the columns anew with --columns",
            ));
        }
        if let Some(name) = t.names().find(|n| !is_plain(n)) {
            return Err(wrong(
                &format!("names {name:?}, which leads out of its folder"),
                "records lie in the lot's own folder: correct it, or ask where the file came from",
            ));
        }
        // A step back would else go round in circles.
        let mut entries = t.entries.iter().enumerate();
        if let Some((_, e)) = entries.find(|(i, e)| e.replaces.is_some_and(|old| old >= *i)) {
            let what = format!("says that {:?} replaces what came after it", e.name);
            return Err(wrong(&what, hint));
        }
        Ok(t)
    }

    /// All that become a part of paths.
    fn names(&self) -> impl Iterator<Item = &String> {
        let records = self.entries.iter().filter_map(|e| e.record.as_ref());
        std::iter::once(&self.lot).chain(&self.copied_from).chain(records)
    }

    /// "neck-12-07".
    pub fn name(&self, number: u32) -> String {
        format!("{}-{number:02}", self.lot)
    }

    /// The number in a record's folder, "neck-12-07" or "neck-12-07-2", and which take of it this is; `None` for any other name.
    pub fn number_of(&self, folder: &str) -> Option<(u32, u32)> {
        let mut lots = std::iter::once(&self.lot).chain(&self.copied_from);
        let rest = lots.find_map(|lot| folder.strip_prefix(lot.as_str())?.strip_prefix('-'))?;
        let (number, take) = rest.split_once('-').unwrap_or((rest, "1"));
        Some((number.parse().ok()?, take.parse().ok()?))
    }

    /// The entries that count.
    pub fn standing(&self) -> impl DoubleEndedIterator<Item = &Entry> {
        self.entries.iter().filter(|e| !e.withdrawn)
    }

    /// The last number that counts.
    pub fn last(&self) -> Option<&Entry> {
        self.standing().max_by_key(|e| e.number)
    }

    /// What counts of a number.
    pub fn at(&self, number: u32) -> Option<&Entry> {
        self.standing().find(|e| e.number == number)
    }

    /// As [`Tray::at`], to be changed.
    pub fn at_mut(&mut self, number: u32) -> Option<&mut Entry> {
        self.entries.iter_mut().find(|e| e.number == number && !e.withdrawn)
    }

    /// One statistic for each instrument.
    pub fn tallies(&self) -> Vec<Tally> {
        Tally::of(self.standing().flat_map(|e| &e.readings))
    }

    pub fn counts(&self) -> Counts {
        let mut c = Counts::default();
        for e in self.standing() {
            let slot = match (e.call(), &e.record) {
                (Some(Call::Pass), _) => &mut c.pass,
                (Some(Call::Outside), _) => &mut c.outside,
                (Some(Call::CannotTell), _) => &mut c.cannot_tell,
                (Some(Call::NoReading), _) => &mut c.no_reading,
                (Some(Call::MeasureAgain), _) => &mut c.measure_again,
                (Some(Call::Kept), _) => &mut c.kept,
                (None, Some(_)) => &mut c.measured,
                (None, None) => &mut c.skipped,
            };
            *slot += 1;
        }
        c
    }
}
