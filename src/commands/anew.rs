//! Records as today's file of their rig reads them: what is in no reading is taken from there, and what is in one has the kept take
//! read again. The record itself stays as it is.

use super::analyze;
use super::complete;
use super::kept::Measurement;
use super::outcome::{self, Played};
use super::wanted::{self, Placed};
use crate::commands::prelude::*;
use crate::estimate::Estimate;
use crate::fileio;
use crate::record::identity::{apart, same_rig};
use crate::record::{Record, Resonance, store};
use crate::rig::Rig;

/// A take is read in a second or so: more of them would be a wait that nobody asked for.
const MOST: usize = 20;

/// A record by today's file.
pub struct Reread {
    pub record: Record,
    /// What of the file is not what it was.
    pub keys: Vec<String>,
    pub became: Became,
}

/// What became of a record.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Became {
    /// Its reading is today's already.
    Same,
    /// It was read again.
    Anew,
    /// Its take is gone.
    Gone,
    /// Too many were read again already.
    Later,
}

/// The rig's file that is remembered; nothing where it cannot be read, as it is only asked for what is known by now.
pub fn today() -> Option<Rig> {
    Rig::read(&Defaults::here().ok()?.rig?).ok()
}

/// Records by their rigs as these are known today: from `today`, where it is that rig, else from the newest of them.
pub fn by_today(placed: &[Placed], today: Option<&Rig>, console: &mut Console) -> Vec<Record> {
    let mut budget = Budget::default();
    let by_today = placed.iter().map(|(path, record)| {
        let newest = || {
            let told = placed.iter().map(|(_, r)| r).filter(|r| !r.rig.values.is_empty());
            let of_it = told.filter(|r| same_rig(&r.rig, &record.rig));
            of_it.max_by(|a, b| a.taken_at.cmp(&b.taken_at))?.rig.rig()
        };
        let known = today.filter(|t| same_rig(&t.summary(), &record.rig)).cloned();
        match known.or_else(newest) {
            Some(rig) => tell(record, budget.read(path, record.clone(), &rig), console),
            None => record.clone(),
        }
    });
    by_today.collect()
}

/// The same of one.
pub fn one(word: &Path, today: Option<&Rig>, console: &mut Console) -> Result<Record> {
    let placed = wanted::placed(word)?;
    let read = by_today(std::slice::from_ref(&placed), today, console).pop();
    Ok(read.unwrap_or(placed.1))
}

/// Says what is to be known of a record that was read again, or could not be.
fn tell(was: &Record, read: Reread, console: &mut Console) -> Record {
    let what = match read.became {
        Became::Same => None,
        Became::Anew => moved(was, &read.record).map(|m| format!("by the rig's file of today the take reads {m}.")),
        Became::Gone => Some("not what it was for this take, and the take is gone: its old reading stands.".into()),
        Became::Later => Some(format!(
            "not what it was for this take, and {MOST} takes were read again already. Ask again for this one."
        )),
    };
    if let Some(what) = what {
        let keys = read.keys.join(", ");
        console.with_result(format!("{} ({}): {keys}: {what}", was.pickup.name, was.taken_at));
    }
    read.record
}

/// What moved by more than its own standard uncertainty.
fn moved(was: &Record, now: &Record) -> Option<String> {
    let (was, now) = (was.reading()?, now.reading()?);
    let part = |name: &str, of: fn(&Resonance) -> Option<Estimate>, scale: f64, unit: &str| {
        let (a, b) = (of(was)?, of(now)?);
        let d = b.value - a.value;
        let relative = if unit == "%" { scale / a.value } else { scale };
        (d.abs() > a.u).then(|| format!("{name} {:+.2} {unit}", d * relative))
    };
    let parts = [
        part("f0", |r| Some(r.f0_hz), 100.0, "%"),
        part("Q", |r| Some(r.q), 100.0, "%"),
        part("level", |r| r.level_db, 1.0, "dB"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// How many takes may still be read again for one question.
pub struct Budget(usize);

impl Default for Budget {
    fn default() -> Self {
        Budget(MOST)
    }
}

impl Budget {
    /// A record from its file or folder, by what the rig's file says today.
    pub fn read(&mut self, path: &Path, mut record: Record, rig: &Rig) -> Reread {
        let today = rig.summary();
        let channels = record.capture.channels;
        let known = record.rig.entered(channels);
        let keys = match known.is_empty() {
            true => Vec::new(),
            false => apart(&known, &today.entered(channels)),
        };
        if keys.is_empty() {
            if !known.is_empty() {
                record.rig.known_today(&today);
            }
            return Reread {
                record,
                keys,
                became: Became::Same,
            };
        }
        let folder = match path.is_dir() {
            true => path,
            false => path.parent().unwrap_or(Path::new(".")),
        };
        // Under what it was made from and by: another file, another program make another.
        let place = folder.join(format!("anew-{}-{}.json", rig.chain_hash(), env!("COILWRIGHT_VERSION")));
        let (record, became) = match kept(&place, &record) {
            Some(kept) => (kept, Became::Anew),
            None if self.0 == 0 => (record, Became::Later),
            None => match again(folder, &record, rig) {
                Ok(Some(new)) => {
                    self.0 -= 1;
                    // Only spares the next question the work.
                    if let Ok(bytes) = outcome::pretty(&new, "the reading") {
                        let _ = fileio::write_new(&place, &bytes);
                    }
                    (beside(new, &record), Became::Anew)
                }
                _ => (record, Became::Gone),
            },
        };
        Reread { record, keys, became }
    }
}

fn kept(place: &Path, record: &Record) -> Option<Record> {
    let bytes = fileio::read_limited(place, fileio::DOCUMENT_BYTES).ok()?;
    let kept = store::parse(&bytes, place).ok().filter(|k| k.id == record.id)?;
    Some(beside(kept, record))
}

/// A new reading with what people said of the old one.
fn beside(new: Record, record: &Record) -> Record {
    Record {
        pickup: record.pickup.clone(),
        load: record.load.clone(),
        noted: record.noted.clone(),
        taken_at: record.taken_at.clone(),
        ..new
    }
}

/// The record of the same take with another rig file; nothing where the take is not there any more.
fn again(folder: &Path, record: &Record, rig: &Rig) -> Result<Option<Record>> {
    let drive = Played::beside(folder)?;
    if let Some(mut measurement) = Measurement::read(folder)?.filter(|m| !m.takes.is_empty()) {
        measurement.asked.rig = None;
        let bench = complete::bench_of(&measurement.asked, Some(rig.clone()))?;
        let new = measurement.record(&bench, drive.as_ref(), None)?;
        return Ok(Some(new).filter(|n| n.id == record.id));
    }
    let take = record.capture.take.as_ref().map(|t| folder.join(t));
    let take = take.filter(|t| t.is_file());
    let anew = take.map(|take| analyze::by_rig(&take, record, drive.as_ref(), rig));
    anew.transpose()
}
