//! The lot's folder and its file brought to one: a tray that is cut off at any moment leaves a record, or a note, that the file
//! does not know.
//!
//! What is measured or typed goes beside the record first and into tray.json then, so that the records are the ones to go by.

use super::{Lot, noted};
use crate::commands::anew::{Became, Budget, Reread};
use crate::commands::prelude::*;
use crate::record::identity::same_rig;
use crate::record::meters::Reading;
use crate::record::notes::{self, Note};
use crate::record::when::moment;
use crate::record::{Record, store};
use crate::report::text;
use crate::shop::lot::Entry;

/// Of a reading whose rig's file says something else today.
struct Said {
    text: String,
    /// It was read again, which is no news the second time.
    done: bool,
}

impl Lot<'_> {
    /// What cannot be read is said, and stops nobody from working.
    pub(super) fn agree(&mut self) -> Result<()> {
        let before = self.tray.clone();
        let known: Vec<Entry> = self.tray.standing().cloned().collect();
        let mut budget = Budget::default();
        for entry in &known {
            if let Err(failure) = self.agree_on(entry, &mut budget) {
                self.remarks.push(failure.to_string());
            }
        }
        for (number, name) in self.unknown()? {
            if let Err(failure) = self.take_in(number, &name) {
                self.remarks.push(failure.to_string());
            }
        }
        if self.tray != before {
            self.keep()?;
        }
        Ok(())
    }

    /// What one side has of an entry and the other has not, and its reading by what the rig's file says today.
    fn agree_on(&mut self, entry: &Entry, budget: &mut Budget) -> Result<()> {
        let Some(name) = &entry.record else {
            return Ok(());
        };
        let folder = self.own(name)?;
        let (mut record, said) = self.by_today(&folder, store::read(&folder)?, budget);
        let (_, withdrawn) = notes::every(&folder, &record.id)?;
        let carried = Self::carry(entry, &withdrawn, &mut record, &folder)?;
        let mut told = entry.clone();
        told.tell(&record, None);
        let differs = (&told.notes, &told.readings) != (&entry.notes, &entry.readings);
        if differs {
            self.tell_all(entry.number, &record);
        }
        let read = (record.resonance.as_ref()).map(|r| (r.f0_hz, r.q));
        let moved = read != entry.f0_hz.zip(entry.q);
        if moved || self.standard_anew {
            self.renew(entry.number, &record);
        }
        let said = said.filter(|s| moved || !s.done);
        self.remarks.extend(said.map(|s| s.text));
        if carried || differs {
            self.remarks.push(format!(
                "{}: what is noted beside its record and what the lot says of it are one again.",
                entry.name
            ));
        }
        Ok(())
    }

    /// A reading by today's file, where its take is still there, and what is to be said of it.
    fn by_today(&self, folder: &Path, record: Record, budget: &mut Budget) -> (Record, Option<Said>) {
        let Some(rig) = self.rig.as_ref().filter(|rig| same_rig(&record.rig, &rig.summary())) else {
            return (record, None);
        };
        let name = record.pickup.name.clone();
        let Reread { record, keys, became } = budget.read(folder, record, rig);
        let what = match became {
            Became::Same => return (record, None),
            Became::Anew => "read again by the rig's file of today",
            Became::Gone => "its take is gone, and its old reading stands",
            Became::Later => "to be read again at the next opening",
        };
        let said = Said {
            text: format!("{name}: {} is not what it was: {what}.", keys.join(", ")),
            done: became == Became::Anew,
        };
        (record, Some(said))
    }

    /// A record that lies here and is in no entry: the tray was cut off before it was entered.
    fn take_in(&mut self, number: u32, name: &str) -> Result<()> {
        let folder = self.own(name)?;
        let holds = |file: &str| folder.join(file).symlink_metadata().is_ok();
        if !holds("record.json") {
            let shell = text::shell(&folder.to_string_lossy());
            return match holds("take.wav") {
                false => Ok(()),
                true => Err(Failure::new(
                    format!("{} holds a take that was never analysed", folder.display()),
                    format!("`coilwright analyze {shell}` completes it"),
                )),
            };
        }
        let mut record = store::read(&folder)?;
        if record.is_simulated() != self.args.source.is_sim() {
            let place = folder.display();
            return Err(Failure::new(
                format!("{place} is simulated where the lot is not, or real where it is"),
                "it is left out: move it to another lot",
            ));
        }
        let standing = self.tray.at(number).and_then(|e| moment(e.taken_at.as_deref()?));
        if standing.zip(moment(&record.taken_at)).is_none_or(|(a, b)| a <= b) {
            self.enter(number, &mut record, &folder)?;
        } else {
            let judged = self.judged(&record, false);
            self.tray.put_by(number, &record, name.to_owned(), judged);
        }
        self.remarks.push(text::tray_taken_in(&self.tray, name, self.style()));
        Ok(())
    }

    /// Folders as the tray makes them for takes and that no entry names, in the order of taking.
    fn unknown(&self) -> Result<Vec<(u32, String)>> {
        let list = std::fs::read_dir(&self.folder).map_err(|e| Failure::io("read", &self.folder, &e))?;
        let mut found: Vec<((u32, u32), String)> = list
            .flatten()
            .map(|e| e.file_name().to_string_lossy().into_owned())
            .filter(|n| !self.tray.entries.iter().any(|e| e.record.as_ref() == Some(n)))
            .filter_map(|n| Some((self.tray.number_of(&n)?, n)))
            .collect();
        found.sort();
        Ok(found.into_iter().map(|((number, _), name)| (number, name)).collect())
    }

    /// A record's folder, which is in the lot's own and not elsewhere by a link.
    pub(super) fn own(&self, name: &str) -> Result<PathBuf> {
        let folder = self.folder.join(name);
        if folder.is_symlink() {
            return Err(Failure::new(
                format!("{} is a link, and leads out of the lot's folder", folder.display()),
                "put the record itself there",
            ));
        }
        Ok(folder)
    }

    /// Puts beside a record what the lot has noted of its pickup and no note there tells, nor told before it was withdrawn. Whether
    /// there was any.
    pub(super) fn carry(entry: &Entry, withdrawn: &[Note], record: &mut Record, folder: &Path) -> Result<bool> {
        let all = || record.noted.iter().chain(withdrawn);
        // Earlier versions noted all words as one.
        let whole = entry.notes.join("; ");
        let said = |t: &str| all().any(|n| n.text.as_deref().is_some_and(|own| own == t || own == whole));
        let read = |r: &Reading| all().any(|n| n.readings.iter().any(|own| own.column() == r.column()));
        let words = entry.notes.iter().filter(|t| !said(t));
        let figures: Vec<Reading> = entry.readings.iter().filter(|r| !read(r)).cloned().collect();
        let mut missing: Vec<Note> = words.map(|t| noted(record, Some(t), Vec::new())).collect();
        if !figures.is_empty() {
            missing.insert(0, noted(record, None, figures));
        }
        let any = !missing.is_empty();
        for mut note in missing {
            notes::add(folder, &mut note)?;
            record.noted.push(note);
        }
        Ok(any)
    }
}
