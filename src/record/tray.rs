//! A lot on the bench: what has been measured of it, in order, with its verdicts. Kept after every step, so that nothing is lost.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::Record;
use super::meters::{Column, Reading, Tally};
use super::standard::{Call, Judged, Standard};
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};

pub const SCHEMA: &str = "coilwright/tray/1";

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tray {
    pub schema: String,
    pub lot: String,
    /// Without one nothing is judged.
    pub standard: Option<Standard>,
    pub entries: Vec<Entry>,
    /// On what the lot is measured: one lot is on one rig and under one load.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setting: Option<Setting>,
    /// What other meters are asked after each take.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<Column>,
    /// The number that comes next.
    pub next: u32,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setting {
    /// The file, for going on without naming it again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rig_file: Option<PathBuf>,
    pub rig: Option<String>,
    /// Of what the rig file states of the measuring chain.
    pub rig_hash: Option<String>,
    /// In the load notation; null: not told.
    pub load: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    pub number: u32,
    pub name: String,
    /// Folder of the record; null for a number that was skipped.
    pub record: Option<String>,
    pub taken_at: Option<String>,
    pub f0_hz: Option<Estimate>,
    pub q: Option<Estimate>,
    pub judged: Option<Judged>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// What other meters read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub readings: Vec<Reading>,
    /// Made by the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    /// Measured again, or taken back: it stays here and counts no more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub withdrawn: bool,
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
}

impl Setting {
    /// Wherever the rig's file may lie by now.
    pub fn same(&self, other: &Setting) -> bool {
        (&self.rig, &self.rig_hash, &self.load) == (&other.rig, &other.rig_hash, &other.load)
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
    /// It gave a reading.
    pub fn has_reading(&self) -> bool {
        self.f0_hz.is_some() && self.judged.as_ref().is_none_or(|j| j.call != Call::NoReading)
    }
}

impl Tray {
    pub fn new(lot: &str, standard: Option<Standard>, first: u32) -> Self {
        Tray {
            schema: SCHEMA.into(),
            lot: lot.into(),
            standard,
            entries: Vec::new(),
            setting: None,
            columns: Vec::new(),
            next: first,
        }
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<Tray> {
        let hint = "move it aside to begin the lot anew";
        let t: Tray =
            serde_json::from_slice(bytes).map_err(|e| Failure::new(format!("{place} is no tray: {e}"), hint))?;
        if t.schema != SCHEMA {
            return Err(Failure::new(
                format!("{place} is of the kind {:?}, this version reads {SCHEMA:?}", t.schema),
                hint,
            ));
        }
        if let Some(c) = t.columns.iter().find(|c| !c.is_sound()) {
            return Err(Failure::new(
                format!("{place} asks for {c}, which is no column"),
                "correct it, or choose the columns anew with --columns",
            ));
        }
        Ok(t)
    }

    /// "neck-12-07".
    pub fn name(&self, number: u32) -> String {
        format!("{}-{number:02}", self.lot)
    }

    /// The entries that count.
    pub fn standing(&self) -> impl DoubleEndedIterator<Item = &Entry> {
        self.entries.iter().filter(|e| !e.withdrawn)
    }

    pub fn put(&mut self, number: u32, record: Option<(&Record, String)>, judged: Option<Judged>) {
        let name = self.name(number);
        let read = record.as_ref().and_then(|(r, _)| r.resonance.as_ref());
        self.entries.push(Entry {
            number,
            name,
            f0_hz: read.map(|r| r.f0_hz),
            q: read.map(|r| r.q),
            simulated: record.as_ref().is_some_and(|(r, _)| r.is_simulated()),
            taken_at: record.as_ref().map(|(r, _)| r.taken_at.clone()),
            record: record.map(|(_, folder)| folder),
            judged,
            notes: Vec::new(),
            readings: Vec::new(),
            withdrawn: false,
        });
        self.next = self.next.max(number.saturating_add(1));
    }

    /// The last entry that counts.
    pub fn last(&self) -> Option<&Entry> {
        self.standing().next_back()
    }

    /// The last entry that counts, to be changed.
    fn last_mut(&mut self) -> Option<&mut Entry> {
        self.entries.iter_mut().rev().find(|e| !e.withdrawn)
    }

    /// Takes the last one back; its number comes again.
    pub fn undo(&mut self) -> Option<u32> {
        let last = self.last_mut()?;
        last.withdrawn = true;
        let number = last.number;
        self.next = number;
        Some(number)
    }

    pub fn note(&mut self, text: &str) -> Option<u32> {
        let last = self.last_mut()?;
        last.notes.push(text.to_owned());
        Some(last.number)
    }

    /// What was said and read of the last one before it was measured again holds for it still.
    pub fn carry_over(&mut self, old: &Entry, judged: Option<Judged>) {
        if let Some(last) = self.last_mut() {
            last.notes.clone_from(&old.notes);
            last.readings.clone_from(&old.readings);
            last.judged = judged.or(last.judged.take());
        }
    }

    /// Adds what another meter read of the last one, and what it is judged now.
    pub fn read_too(&mut self, reading: Reading, judged: Option<Judged>) {
        if let Some(last) = self.last_mut() {
            // A meter's last word on this pickup.
            last.readings.retain(|r| r.column() != reading.column());
            last.readings.push(reading);
            last.judged = judged.or(last.judged.take());
        }
    }

    /// One statistic for each instrument.
    pub fn tallies(&self) -> Vec<Tally> {
        Tally::of(self.standing().flat_map(|e| &e.readings))
    }

    pub fn counts(&self) -> Counts {
        let mut c = Counts::default();
        for e in self.standing() {
            let slot = match (&e.judged, &e.record) {
                (Some(j), _) => match j.call {
                    Call::Pass => &mut c.pass,
                    Call::Outside => &mut c.outside,
                    Call::CannotTell => &mut c.cannot_tell,
                    Call::NoReading => &mut c.no_reading,
                },
                (None, Some(_)) => &mut c.measured,
                (None, None) => &mut c.skipped,
            };
            *slot += 1;
        }
        c
    }
}
