//! One pickup: its take, its verdict, and what other meters read of it.

use super::{Lot, noted};
use crate::cli::args::{DriveArgs, Job};
use crate::cli::context::free_folder;
use crate::commands::measure;
use crate::commands::prelude::*;
use crate::fileio;
use crate::record::meters::{Column, Reading};
use crate::record::{Cure, Record, store};
use crate::report::text;

/// Of the test signal, unless told otherwise: with silences, the card's own delay and the fit the verdict stands after some
/// 4.2 s. Noise counts a tenth more than in a take of `measure`.
const TRAY_SECONDS: f64 = 2.2;

/// How a question ended.
enum Answer {
    Figure(Reading),
    Skipped,
    End,
}

impl Lot<'_> {
    /// Whether it goes on.
    pub(super) fn measure(&mut self, number: u32, console: &mut Console) -> Result<bool> {
        if self.tray.entries.is_empty() {
            // The first take would know nothing of standard and rig, were the tray cut off before it is entered.
            self.keep()?;
        }
        let folder = free_folder(&self.folder, &self.tray.name(number));
        let mut record = self.take(number, &folder, console)?;
        let stands = self.enter(number, &mut record, &folder)?;
        self.say_of_rig(&record, console);
        if !stands {
            console.remark(&text::tray_before_stands(&record));
            return Ok(true);
        }
        console.remark(&text::tray_step(&self.tray, self.style()));
        match self.tray.at(number).is_some_and(|e| !e.is_open()) {
            true => self.ask(number, &mut record, &folder, console),
            false => Ok(true),
        }
    }

    fn take(&self, number: u32, folder: &Path, console: &mut Console) -> Result<Record> {
        let n = number.saturating_sub(self.args.first) as usize;
        let job = Job {
            about: self.about.clone(),
            source: self.sources.nth(n),
            drive: DriveArgs {
                seconds: self.args.drive.seconds.or(Some(TRAY_SECONDS)),
                ..self.args.drive.clone()
            },
            out: Some(folder.to_path_buf()),
            ..Job::default()
        };
        Ok(measure::taken(&self.tray.name(number), &job, console)?.record)
    }

    /// Enters a take whose record is kept; what was noted and read of the same pickup before lies beside it from now on. Whether it
    /// counts.
    pub(super) fn enter(&mut self, number: u32, record: &mut Record, folder: &Path) -> Result<bool> {
        let old = self.tray.at(number).cloned();
        let judged = self.judged(record, false);
        let stands = self.tray.take(number, record, fileio::name_of(folder), judged);
        let mut carried = Ok(());
        if let Some(old) = old.filter(|_| stands) {
            carried = Self::carry(&old, &[], record, folder).map(drop);
            self.tell_all(number, record);
        }
        // Kept in the lot though it could not be carried over: the next opening makes good for that.
        self.keep()?;
        carried.map(|()| stands)
    }

    /// A warning of the rig's is in every take: it is said at the first one.
    fn say_of_rig(&mut self, record: &Record, console: &mut Console) {
        for f in record.warnings().filter(|f| f.code.cure() == Cure::Rig) {
            if !self.said.contains(&f.code) {
                self.said.push(f.code);
                console.remark(&format!("Of this rig, in every take: {}.", f.text));
            }
        }
    }

    /// Keeps what is to be measured again, all the same.
    pub(super) fn keep_it(&mut self, number: u32, console: &mut Console) -> Result<bool> {
        let Some(name) = self.tray.at(number).and_then(|e| e.record.clone()) else {
            return Ok(true);
        };
        let folder = self.own(&name)?;
        let mut record = store::read(&folder)?;
        self.tray.keep(number, self.judged(&record, true));
        self.keep()?;
        console.remark(&text::tray_step(&self.tray, self.style()));
        self.ask(number, &mut record, &folder, console)
    }

    /// What the other meters read: typed, kept beside the record at once, and judged with it. Whether it goes on.
    fn ask(&mut self, number: u32, record: &mut Record, folder: &Path, console: &mut Console) -> Result<bool> {
        for column in self.tray.columns.clone() {
            loop {
                let reading = match self.figure(number, &column, record, console) {
                    Answer::Figure(reading) => reading,
                    Answer::Skipped => break,
                    Answer::End => return Ok(false),
                };
                let note = noted(record, None, vec![reading]);
                match self.tell(number, record, folder, note) {
                    Ok(()) => break,
                    // What is not on the disk is asked for again.
                    Err(failure) => console.remark(&format!("  {failure}")),
                }
            }
        }
        if !self.tray.columns.is_empty() {
            console.remark(&text::tray_step(&self.tray, self.style()));
        }
        Ok(true)
    }

    /// A figure as it is meant: one that is odd is typed twice.
    fn figure(&self, number: u32, column: &Column, record: &Record, console: &mut Console) -> Answer {
        let entry = self.tray.at(number);
        let before = entry.and_then(|e| e.readings.iter().find(|r| r.column() == *column));
        let mut doubted = None;
        loop {
            let typed = match console.ask(&text::tray_ask(column, before)).as_deref() {
                // What was read before lies there already.
                Some("") => return Answer::Skipped,
                None | Some("q") => return Answer::End,
                Some(typed) => column.read(typed),
            };
            let odd = match &typed {
                Err(failure) => failure.to_string(),
                Ok(reading) => match self.doubt(number, reading, record) {
                    Some(doubt) if doubted.as_ref() != Some(reading) => doubt,
                    _ => return Answer::Figure(reading.clone()),
                },
            };
            console.remark(&format!("  {odd}"));
            // A slip between two does not make the second one doubtful anew.
            doubted = typed.ok().or(doubted);
        }
    }

    /// Why a figure may not be what the meter shows; a standard that judges it knows better than its mates.
    fn doubt(&self, number: u32, reading: &Reading, record: &Record) -> Option<String> {
        if let Some(slip) = reading.doubt() {
            return Some(format!("{slip} Type it once more to keep it."));
        }
        let column = reading.column();
        let far = match self.tray.standard.as_ref().filter(|s| s.judges(&column)) {
            Some(s) => s.doubt(reading, record.pickup.temperature_c),
            None => self.tray.odd(number, reading),
        };
        far.map(|f| format!("{f}: type it once more to keep it."))
    }
}
