//! `tray`: a lot on the bench, key by key.

use super::outcome;
use super::sound::Sources;
use crate::cli::args::{About, TrayArgs};
use crate::cli::context::{Fresh, now};
use crate::commands::prelude::*;
use crate::fileio;
use crate::record::meters::Reading;
use crate::record::notes::{self, Note};
use crate::record::{Code, Record, store};
use crate::report::judged_words;
use crate::report::text::{self, Style};
use crate::report::tray_plot;
use crate::rig::Rig;
use crate::shop::known::Known;
use crate::shop::lot::{TRAY, Tray};
use crate::shop::standard::{Judged, judge};

mod agree;
mod open;
mod take;

pub fn run(args: &TrayArgs, console: &mut Console) -> Result<Status> {
    let mut bench = Lot::open(args)?;
    console.remark(&text::tray_keys(&bench.tray));
    bench.opening(console);
    // The end of what is typed ends the tray too: it goes on next time.
    while let Some(line) = console.ask(&text::tray_prompt(&bench.tray)) {
        match bench.key(&line, console) {
            Ok(true) => {}
            Ok(false) => break,
            // A device that was pulled out, or a full disk, must not end the day: what is there stays, and one goes on when it
            // is back.
            Err(failure) => {
                console.remark(&failure.to_string());
                // A Ctrl-C has ended its take, and the next one sounds again.
                console.stop().heed();
            }
        }
    }
    bench.end(console)
}

/// The lot, its folder, and how it is measured.
struct Lot<'a> {
    args: &'a TrayArgs,
    folder: PathBuf,
    tray: Tray,
    rig: Option<Rig>,
    /// What that does to readings.
    known: Known,
    /// The standard was made anew since the lot was put down.
    standard_anew: bool,
    /// On what it is measured.
    about: About,
    /// What is to be said before the first one.
    remarks: Vec<String>,
    /// Warnings of the rig's that were said: once is enough.
    said: Vec<Code>,
    /// One for each number.
    sources: Sources,
    _fresh: Fresh,
    /// The lot is this tray's alone.
    _held: std::fs::File,
}

impl Lot<'_> {
    fn keep(&self) -> Result<()> {
        let path = self.file();
        fileio::write_atomically(&path, &outcome::again(&path, &self.tray, "the tray")?)
    }

    fn file(&self) -> PathBuf {
        self.folder.join(TRAY)
    }

    fn style(&self) -> Style {
        outcome::remark_style(self.args.shown)
    }

    /// One line of what is typed; whether it goes on.
    fn key(&mut self, line: &str, console: &mut Console) -> Result<bool> {
        let (key, rest) = line.split_once(' ').unwrap_or((line, ""));
        match (key, rest.trim()) {
            ("", _) => return self.measure(self.tray.next, console),
            ("r", "") => match self.tray.last().map(|e| e.number) {
                Some(number) => return self.measure(number, console),
                None => console.remark("nothing to measure again yet"),
            },
            ("k", "") => match self.tray.last().filter(|e| e.is_open() && e.f0_hz.is_some()) {
                Some(last) => return self.keep_it(last.number, console),
                None => console.remark("nothing to keep: k is for a take that is to be measured again"),
            },
            ("s", "") => {
                self.tray.skip();
                self.keep()?;
            }
            ("u", "") => match self.tray.undo() {
                Some(undone) => {
                    self.keep()?;
                    console.remark(&text::tray_undone(&self.tray, undone, self.style()));
                }
                None => console.remark("nothing to take back"),
            },
            ("n", text) if !text.is_empty() => self.note(text, console)?,
            ("q", "") => return Ok(false),
            _ => console.remark(&text::tray_keys(&self.tray)),
        }
        Ok(true)
    }

    /// Words about the last one lie beside its record, where the notebook finds them, before the lot has them.
    fn note(&mut self, text: &str, console: &mut Console) -> Result<()> {
        let Some(last) = self.tray.last() else {
            console.remark("nothing to note it with yet");
            return Ok(());
        };
        let number = last.number;
        match last.record.clone() {
            Some(name) => {
                let folder = self.own(&name)?;
                let mut record = store::read(&folder)?;
                let note = noted(&record, Some(text), Vec::new());
                self.tell(number, &mut record, &folder, note)?;
            }
            None => {
                if let Some(e) = self.tray.at_mut(number) {
                    e.notes.push(text.to_owned());
                }
                self.keep()?;
            }
        }
        console.remark(&format!("noted with number {number}"));
        Ok(())
    }

    /// Puts a note beside a record, and then in the lot.
    fn tell(&mut self, number: u32, record: &mut Record, folder: &Path, mut note: Note) -> Result<()> {
        notes::add(folder, &mut note)?;
        record.noted.push(note);
        self.tell_all(number, record);
        self.keep()
    }

    /// What lies beside the record of a number, and what it is judged with that.
    fn tell_all(&mut self, number: u32, record: &Record) {
        let kept = self.tray.at(number).is_some_and(|e| e.kept);
        let judged = self.judged(record, kept);
        if let Some(e) = self.tray.at_mut(number) {
            e.tell(record, judged);
        }
    }

    /// A number's reading as it is by now, and what that is judged.
    fn renew(&mut self, number: u32, record: &Record) {
        if let Some(e) = self.tray.at_mut(number) {
            e.read(record);
        }
        self.tell_all(number, record);
    }

    /// By what is known of the rig today.
    fn judged(&self, record: &Record, kept: bool) -> Option<Judged> {
        let mut record = record.clone();
        self.known.put(&mut record, None);
        let mut judged = judge(&record, self.tray.standard.as_ref(), &self.known.eras, kept)?;
        judged_words::put(&mut judged);
        Some(judged)
    }

    fn end(self, console: &mut Console) -> Result<Status> {
        let tray = &self.tray;
        let counts = tray.counts();
        if !tray.entries.is_empty() {
            self.keep()?;
        }
        let any = tray.last().is_some();
        let whole = outcome::whole(&self.file(), tray, "the tray")?;
        let document =
            serde_json::json!({ "schema": tray.schema, "tray": whole, "counts": counts, "tallies": tray.tallies() });
        outcome::tell(
            (&document, any.then(|| self.file()).into_iter().collect()),
            self.args.shown,
            console,
            |_, style| text::tray_summary(tray, style),
            // Drawn anew each time the lot is put down: nothing measured is in it that tray.json has not.
            || outcome::picture(any.then(|| self.folder.join("tray")), || tray_plot::lot(tray)),
        )?;
        // Once for the lot, and for what an earlier day left undrawn.
        let folders = tray.entries.iter().filter_map(|e| e.record.as_ref());
        let folders: Vec<PathBuf> = folders.map(|name| self.folder.join(name)).collect();
        outcome::draw_missing(&folders, console);
        let unread = counts.no_reading + counts.measure_again;
        Ok(match (counts.outside, unread) {
            (0, 0) => Status::Done,
            (0, _) => Status::NoReading,
            _ => Status::OutsideLimits,
        })
    }
}

fn noted(record: &Record, text: Option<&str>, readings: Vec<Reading>) -> Note {
    Note::new(now(), &record.id, text, readings, record.pickup.temperature_c)
}
