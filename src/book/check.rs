//! Everything in a notebook read, and held against what it says of itself; and a backup against what it was made from.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::Metadata;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::entry::{Entry, What};
use super::look::{self, Found};
use super::{carry, entries, thin};
use crate::analysis::compose::identity;
use crate::capture::wav::{self, Channels};
use crate::failure::Result;
use crate::record::{Record, store};
use crate::shop::lot::TRAY;
use crate::{fileio, parallel};

/// What is wrong with a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Something else names it, and it is not there.
    Missing,
    /// The same reading or entry lies there twice.
    Doubled,
    Unreadable,
    /// Not what the record says of its take.
    Other,
}

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Fault {
    pub kind: Kind,
    /// From the notebook's folder.
    pub place: String,
    pub text: String,
}

#[derive(Debug, Default, Serialize)]
pub struct Checked {
    pub readings: usize,
    pub entries: usize,
    /// Takes that are what their records say.
    pub takes: usize,
    /// Readings whose takes were put away, as an entry says.
    pub put_away: usize,
    /// Readings of recordings that were never here.
    pub elsewhere: usize,
    pub faults: Vec<Fault>,
    /// Neither file nor folder: not followed.
    pub links: Vec<String>,
}

/// A backup held against the notebook.
#[derive(Debug, Default, Serialize)]
pub struct Proof {
    /// Files that are there byte for byte.
    pub same: usize,
    pub missing: Vec<String>,
    /// There, and not the same.
    pub other: Vec<String>,
    /// In the backup alone.
    pub only_there: Vec<String>,
}

impl Proof {
    /// Whether all of the notebook could be had back from it.
    pub fn holds(&self) -> bool {
        self.missing.is_empty() && self.other.is_empty()
    }
}

/// Reads everything. `step` is told of each reading that is done.
pub fn check(notebook: &Path, step: impl Fn() + Sync) -> Result<Checked> {
    let mut looked = look::look(notebook);
    // The first of two is the one that counts.
    looked
        .readings
        .sort_by(|a, b| (a.path.len(), &a.path).cmp(&(b.path.len(), &b.path)));
    let tree = carry::tree(notebook)?;
    let (said, mut faults) = said(notebook);
    let away = thin::put_away(&said);
    let read = parallel::each(&looked.readings, |found| {
        let read = reading(notebook, found, &away);
        step();
        read
    });
    let mut out = Checked {
        readings: looked.readings.len(),
        entries: looked.entries.len(),
        links: tree.links.iter().map(|l| l.display().to_string()).collect(),
        ..Checked::default()
    };
    let left_out = looked.left_out.iter();
    faults.extend(left_out.map(|why| fault(Kind::Unreadable, "", why.as_str())));
    let mut ids: BTreeMap<String, String> = BTreeMap::new();
    for (found, read) in looked.readings.iter().zip(read) {
        faults.extend(read.faults);
        match read.take {
            Some(Take::There) => out.takes += 1,
            Some(Take::Away) => out.put_away += 1,
            Some(Take::Elsewhere) => out.elsewhere += 1,
            None => {}
        }
        let Some(id) = read.id else { continue };
        if let Some(first) = ids.get(&id) {
            faults.push(fault(
                Kind::Doubled,
                &found.path,
                format!("is the same reading as {first}; it counts once"),
            ));
        } else {
            ids.insert(id, found.path.clone());
        }
    }
    let whole = faults.iter().all(|f| f.kind != Kind::Unreadable);
    // What could not be read may be what is named.
    if whole {
        faults.extend(named(&said, &ids));
    }
    faults.extend(unfinished(notebook, &tree.files));
    faults.extend(lots(notebook));
    faults.sort();
    out.faults = faults;
    Ok(out)
}

fn fault(kind: Kind, place: &str, text: impl Into<String>) -> Fault {
    Fault {
        kind,
        place: place.to_owned(),
        text: text.into(),
    }
}

/// The entries that hold, and what is wrong with the others.
fn said(notebook: &Path) -> (Vec<Entry>, Vec<Fault>) {
    let (mut list, mut faults) = (Vec::new(), Vec::new());
    let mut first = BTreeMap::<String, String>::new();
    for path in entries::files(notebook) {
        let place = format!("{}/{}", entries::FOLDER, fileio::name_of(&path));
        match entries::read(&path) {
            Err(e) => faults.push(fault(Kind::Unreadable, &place, e.to_string())),
            Ok(entry) => match first.get(&entry.id) {
                Some(first) => faults.push(fault(
                    Kind::Doubled,
                    &place,
                    format!("is {first} once more; it counts once"),
                )),
                None => {
                    first.insert(entry.id.clone(), place);
                    list.push(entry);
                }
            },
        }
    }
    (entries::holding(list), faults)
}

/// What became of a reading's take.
enum Take {
    There,
    Away,
    Elsewhere,
}

#[derive(Default)]
struct Read {
    id: Option<String>,
    take: Option<Take>,
    faults: Vec<Fault>,
}

fn reading(notebook: &Path, found: &Found, away: &BTreeSet<&str>) -> Read {
    let folder = notebook.join(&found.path);
    let mut out = Read::default();
    let record = match store::read(&folder) {
        Ok(record) => record,
        Err(e) => {
            out.faults.push(fault(Kind::Unreadable, &found.path, e.to_string()));
            return out;
        }
    };
    let at = |name: &str| format!("{}/{name}", found.path);
    let is_away = away.contains(record.id.as_str());
    for name in thin::takes(&folder) {
        // The one that the record was read from is held against it below.
        if record.capture.take.as_deref() != Some(&name)
            && let Err(e) = wav::read_drive(&folder.join(&name))
        {
            out.faults.push(fault(Kind::Unreadable, &at(&name), e.to_string()));
        }
    }
    // What measured it here kept it here; `analyze` leaves recordings where they are.
    let kept_here = folder.join("asked.json").is_file() || ["live", "sim"].contains(&record.capture.source.as_str());
    let name = record.capture.take.clone().unwrap_or_else(|| "take.wav".into());
    let path = folder.join(&name);
    let plain = Path::new(&name).components().count() == 1;
    out.take = match path.symlink_metadata().is_ok_and(|m| Metadata::is_file(&m)) && plain {
        true => match is_of(&record, &path) {
            Ok(true) => Some(Take::There),
            Ok(false) => {
                let what = "is not the take that the record was read from";
                out.faults.push(fault(Kind::Other, &at(&name), what));
                None
            }
            Err(e) => {
                out.faults.push(fault(Kind::Unreadable, &at(&name), e.to_string()));
                None
            }
        },
        false if is_away => Some(Take::Away),
        false if kept_here => {
            out.faults.push(fault(
                Kind::Missing,
                &at(&name),
                "the record was read from it, and it is not there",
            ));
            None
        }
        false => Some(Take::Elsewhere),
    };
    out.id = Some(record.id);
    out
}

/// Whether the record's id is that of this take: samples, time and name are in it.
fn is_of(record: &Record, path: &Path) -> Result<bool> {
    let own = |channels| {
        let take = wav::read_take(path, channels)?;
        Ok(identity(&take, &record.taken_at, &record.pickup.name) == record.id)
    };
    if own(None)? {
        return Ok(true);
    }
    // Which channel was which, the record does not say.
    let others = [(1, None), (2, None), (2, Some(1))].map(|(pickup, reference)| Channels { pickup, reference });
    Ok(others.into_iter().any(|c| own(Some(c)).unwrap_or(false)))
}

/// Readings that an entry names and that are nowhere.
fn named(said: &[Entry], ids: &BTreeMap<String, String>) -> Vec<Fault> {
    let lost = said.iter().flat_map(|e| {
        let records: Vec<&String> = match &e.what {
            What::Stage { record, .. } | What::Returned { record, .. } => vec![record],
            What::Sent { record, .. } | What::Rename { record, .. } => record.iter().collect(),
            What::Thinned { records, .. } => records.iter().collect(),
            _ => Vec::new(),
        };
        records.into_iter().map(|r| (r, &e.id))
    });
    let lost = lost.filter(|(record, _)| !ids.contains_key(*record));
    lost.map(|(record, entry)| {
        let place = format!("{}/{entry}.json", entries::FOLDER);
        fault(
            Kind::Missing,
            &place,
            format!("names the reading {record}, which is not here"),
        )
    })
    .collect()
}

/// Takes without a reading.
fn unfinished<'a>(notebook: &'a Path, files: &'a [PathBuf]) -> impl Iterator<Item = Fault> + 'a {
    let takes = files
        .iter()
        .filter(|f| fileio::name_of(f) == "take.wav")
        .filter_map(|f| f.parent());
    let record = |folder: &Path| files.binary_search(&folder.join("record.json")).is_ok();
    takes.filter(move |f| !record(f)).map(|folder| {
        let text = format!(
            "a take without its reading: `coilwright analyze {}` finishes it",
            notebook.join(folder).display()
        );
        fault(Kind::Missing, &folder.join("record.json").display().to_string(), text)
    })
}

/// What the lots' own files name.
fn lots(notebook: &Path) -> Vec<Fault> {
    let mut out = Vec::new();
    let folders = std::fs::read_dir(notebook).into_iter().flatten().flatten();
    let own = folders.filter(|f| f.file_type().is_ok_and(|t| t.is_dir()));
    for (lot, path) in own.map(|f| (fileio::name_of(&f.path()), f.path().join(TRAY))) {
        if lot.starts_with('.') || !path.is_file() {
            continue;
        }
        let place = format!("{lot}/{TRAY}");
        match look::tray(&path) {
            Err(e) => out.push(fault(Kind::Unreadable, &place, e.to_string())),
            Ok(tray) => {
                let records = tray.entries.into_iter().filter_map(|e| e.record);
                let gone = records.filter(|r| !path.with_file_name(r).join("record.json").is_file());
                out.extend(gone.map(|r| {
                    fault(
                        Kind::Missing,
                        &format!("{lot}/{r}"),
                        "the lot names it, and it is not there",
                    )
                }));
            }
        }
    }
    out
}

/// Holds a backup against the notebook, file by file.
pub fn prove(notebook: &Path, backup: &Path, step: impl Fn() + Sync) -> Result<Proof> {
    carry::apart(backup, notebook, "a backup")?;
    let (ours, theirs) = (carry::tree(notebook)?.files, carry::tree(backup)?.files);
    let there: BTreeSet<&PathBuf> = theirs.iter().collect();
    let here: BTreeSet<&PathBuf> = ours.iter().collect();
    let mut proof = Proof::default();
    let compared = parallel::each(&ours, |path| {
        let same = there
            .contains(path)
            .then(|| carry::same(&notebook.join(path), &backup.join(path)));
        step();
        same
    });
    for (path, same) in ours.iter().zip(compared) {
        let name = path.display().to_string();
        match same {
            None => proof.missing.push(name),
            Some(Ok(true)) => proof.same += 1,
            Some(Ok(false)) => proof.other.push(name),
            Some(Err(e)) => proof.other.push(format!("{name} ({})", e.what)),
        }
    }
    proof.only_there = theirs
        .iter()
        .filter(|p| !here.contains(p))
        .map(|p| p.display().to_string())
        .collect();
    Ok(proof)
}
