//! What is measured, on the disk before it is read: drive, what was asked, and takes; and from them the record.

use std::fs::File;

use super::knock;
use super::known;
use super::outcome::{self, Played};
use crate::analysis::compose;
use crate::analysis::{self, Choice, Options, repeats};
use crate::capture::{Take, wav};
use crate::cli::context::Bench;
use crate::commands::asked::{self, Asked};
use crate::commands::prelude::*;
use crate::estimate::Estimate;
use crate::fileio;
use crate::record::Record;
use crate::record::when::{day, moment};
use crate::report::text;
use crate::shop::witness::history::History;

/// All that a record is made from.
pub struct Measurement {
    pub asked: Asked,
    pub takes: Vec<Take>,
    pub taps: Option<Take>,
}

impl Measurement {
    /// As it lies in a folder; `None` where nothing tells what was asked.
    pub fn read(folder: &Path) -> Result<Option<Measurement>> {
        let Some(asked) = Asked::read(folder)? else {
            return Ok(None);
        };
        let mut takes = Vec::new();
        for (n, provenance) in asked.takes.iter().enumerate() {
            let path = folder.join(outcome::take_name(n));
            // What was known of a take is there before the take itself.
            if path.symlink_metadata().is_err() {
                break;
            }
            takes.push(Take {
                provenance: provenance.clone(),
                ..wav::read_take(&path, None)?
            });
        }
        let path = folder.join(knock::NAME);
        let taps = asked.taps.clone().filter(|_| path.symlink_metadata().is_ok());
        let taps = taps.map(|provenance| -> Result<Take> {
            let read = knock::read(&path, None)?;
            Ok(Take { provenance, ..read })
        });
        let taps = taps.transpose()?;
        Ok(Some(Measurement { asked, takes, taps }))
    }

    /// The reading of all takes together. `lost`: what was asked for and did not come.
    pub fn record(&self, bench: &Bench, played: Option<&Played>, lost: Option<&Failure>) -> Result<Record> {
        let (mut records, mut answer) = (Vec::new(), None);
        for (n, take) in self.takes.iter().enumerate() {
            let (asked, file) = (&self.asked, outcome::take_name(n));
            let context = bench.context(take, &asked.pickup.name, &asked.taken_at, &asked.source, file);
            let (record, of_take) = read(take, bench, played, asked.model, context)?;
            // Of repeats the first one that was read tells, so that its file alone gives the same again.
            answer = answer.or(of_take);
            records.push(record);
        }
        let mut record = repeats::combine(records)?;
        if let Some(taps) = &self.taps {
            knock::put(&mut record, taps, answer, knock::NAME);
        }
        let lost = lost.map(|f| f.what.clone()).or_else(|| self.cut_off());
        record.notes.extend(lost);
        if let (Some(given), Some(rig)) = (&self.asked.rig, &bench.rig) {
            // What was measured is kept, whatever became of the checks' file.
            let known = known::put_or_note(rig, given.file.as_ref(), &mut record);
            let note = known.history(&record).and_then(|h| last_check(h, &record));
            record.notes.extend(note);
        }
        Ok(record)
    }

    /// What is not there of what was asked for, where nobody is left to say why.
    fn cut_off(&self) -> Option<String> {
        let why = "the program was ended";
        if self.takes.len() < self.asked.repeats as usize {
            return Some(self.ended_early(why));
        }
        (self.asked.knock && self.taps.is_none()).then(|| taps_lost(why))
    }

    /// Fewer takes than were asked for.
    pub fn ended_early(&self, why: &str) -> String {
        let (made, of) = (self.takes.len(), self.asked.repeats);
        format!("{made} of {of} takes were made, and they are kept: {why}")
    }
}

/// What a take reads, and the answer that levels of taps are counted from.
pub fn read(
    take: &Take,
    bench: &Bench,
    played: Option<&Played>,
    model: Choice,
    context: Record,
) -> Result<(Record, Option<Estimate>)> {
    let options = Options {
        chain: &bench.chain,
        drive: played.map(|p| p.samples.as_slice()),
        model,
    };
    let analysis = analysis::analyse(take, &options)?;
    let answer = analysis.answer_db;
    let drive = played.and_then(|p| p.description.as_ref()).map(Into::into);
    Ok((compose::record(take, analysis, Record { drive, ..context }), answer))
}

pub fn taps_lost(why: &str) -> String {
    format!("the taps were lost: {why}; the measurement before them is kept")
}

/// A measurement and its folder. What never came to a take is taken away again.
pub struct Kept {
    pub of: Measurement,
    pub folder: PathBuf,
    /// In the order in which they were written.
    pub files: Vec<PathBuf>,
    stays: bool,
    /// Nobody finishes it while it is being measured.
    _held: Option<File>,
}

impl Kept {
    /// With the first take, so that a measurement that is stopped before leaves nothing. The take comes last: from a folder that
    /// has one the measurement can be finished.
    pub fn begin(folder: PathBuf, asked: Asked, played: &Played, first: Take) -> Result<Kept> {
        outcome::refuse_occupied(&folder, asked.repeats as usize)?;
        let mut kept = Kept {
            of: Measurement {
                asked,
                takes: Vec::new(),
                taps: None,
            },
            _held: fileio::hold_folder(&folder)?,
            folder,
            files: Vec::new(),
            stays: false,
        };
        outcome::keep_drive(&kept.folder, played, &mut kept.files)?;
        kept.put(first)?;
        kept.stays = true;
        Ok(kept)
    }

    /// One more take, on the disk when this returns.
    pub fn put(&mut self, take: Take) -> Result<()> {
        self.of.asked.takes.push(take.provenance.clone());
        self.tell()?;
        let name = outcome::take_name(self.of.takes.len());
        self.files.push(outcome::keep_take(self.folder.join(name), &take)?);
        self.of.takes.push(take);
        Ok(())
    }

    /// The recording of taps, likewise.
    pub fn put_taps(&mut self, taps: Take) -> Result<()> {
        self.of.asked.taps = Some(taps.provenance.clone());
        self.tell()?;
        let file = self.folder.join(knock::NAME);
        self.files.push(outcome::keep_take(file, &taps)?);
        self.of.taps = Some(taps);
        Ok(())
    }

    fn tell(&mut self) -> Result<()> {
        let path = self.folder.join(asked::NAME);
        fileio::write_atomically(&path, &outcome::pretty(&self.of.asked, "what was asked")?)?;
        if !self.files.contains(&path) {
            self.files.push(path);
        }
        Ok(())
    }

    /// The record, last of all.
    pub fn finish(&mut self, bench: &Bench, played: &Played, lost: Option<&Failure>) -> Result<Record> {
        let ended = self.of.record(bench, Some(played), lost);
        let written = ended.and_then(|record| Ok((outcome::write(&record, &self.folder)?, record)));
        let (file, record) = written.map_err(|e| {
            let folder = text::shell(&self.folder.to_string_lossy());
            Failure::new(
                format!("{}; the take is kept in {}", e.what, self.folder.display()),
                format!("{}, then `coilwright analyze {folder}` finishes it", e.hint),
            )
        })?;
        self.files.insert(0, file);
        Ok(record)
    }
}

impl Drop for Kept {
    fn drop(&mut self) {
        for file in self.files.iter().filter(|_| !self.stays) {
            let _ = std::fs::remove_file(file);
        }
    }
}

/// How old the rig's last good check is; nothing where it has no checks.
fn last_check(history: &History, record: &Record) -> Option<String> {
    let Some(good) = history.checks.iter().rev().find(|c| c.go) else {
        return Some("the rig has no good check yet".into());
    };
    let times = moment(&good.taken_at).zip(moment(&record.taken_at));
    let hours = times.map(|(then, now)| now.duration_since(then).as_secs().div_euclid(3600));
    let of_day = day(&good.taken_at).unwrap_or(&good.taken_at);
    let since = match hours {
        // A clock that was set back, or a measurement that was finished later.
        Some(..0) => format!("on {of_day}, by the clock after this take"),
        Some(0..24) => "less than a day ago".to_owned(),
        Some(24..48) => "a day ago".to_owned(),
        Some(n) => format!("{} days ago", n / 24),
        None => good.taken_at.clone(),
    };
    let after = history.checks.last().is_some_and(|c| !c.go);
    let after = if after { "; the last check was no-go" } else { "" };
    Some(format!("rig last checked good {since}{after}"))
}
