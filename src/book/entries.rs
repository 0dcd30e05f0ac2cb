//! The entries of a notebook: its folder `entries`, to which files are added and in which none is changed.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::carry;
use super::entry::{Entry, SCHEMA, What};
use crate::failure::{Failure, Result};
use crate::fileio;

pub const FOLDER: &str = "entries";
/// More within one second nobody writes.
const MOST_IN_A_SECOND: u32 = 10_000;

/// All that hold, in order of their time, and why others could not be read.
#[derive(Debug, Default)]
pub struct Entries {
    pub hold: Vec<Entry>,
    pub unread: Vec<Failure>,
}

/// The files, by name.
pub fn files(notebook: &Path) -> Vec<PathBuf> {
    let list = std::fs::read_dir(notebook.join(FOLDER)).into_iter().flatten().flatten();
    let mut files: Vec<PathBuf> = list
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "json") && !fileio::name_of(p).starts_with('.'))
        .collect();
    files.sort();
    files
}

pub fn read(path: &Path) -> Result<Entry> {
    Entry::parse(&fileio::read_limited(path, fileio::DOCUMENT_BYTES)?, path)
}

pub fn all(notebook: &Path) -> Entries {
    let (mut list, mut unread) = (Vec::new(), Vec::new());
    for path in files(notebook) {
        match read(&path) {
            Ok(entry) => list.push(entry),
            Err(e) => unread.push(e),
        }
    }
    Entries {
        hold: holding(list),
        unread,
    }
}

/// Those that no later one takes back, in order of their time; one that is taken back itself takes nothing back.
pub fn holding(mut list: Vec<Entry>) -> Vec<Entry> {
    let moment = |e: &Entry| crate::record::when::moment(&e.at);
    list.sort_by(|a, b| (moment(a), &a.id).cmp(&(moment(b), &b.id)));
    // The same entry may have been copied in twice, under another name.
    let mut ids = BTreeSet::new();
    list.retain(|e| ids.insert(e.id.clone()));
    let mut off: BTreeSet<String> = BTreeSet::new();
    for e in list.iter().rev() {
        if let What::Undo { entry } = &e.what
            && !off.contains(&e.id)
        {
            off.insert(entry.clone());
        }
    }
    list.retain(|e| !off.contains(&e.id));
    list
}

/// Adds an entry; `now`: RFC 3339 with offset.
pub fn add(notebook: &Path, now: &str, what: What) -> Result<Entry> {
    let folder = carry::ready(notebook, Path::new(FOLDER))?;
    let time: String = now.get(..19).unwrap_or(now).replace(['-', ':'], "");
    for n in 0..MOST_IN_A_SECOND {
        // Two notebooks that are joined later must not have used one id for two entries.
        let salt = format!(
            "{}{n}{now}{:?}{:?}",
            std::process::id(),
            std::time::SystemTime::now(),
            what
        );
        let hash = fileio::short_hash(salt.as_bytes());
        let id = format!("{time}-{}", hash.get(..4).unwrap_or_default());
        let entry = Entry {
            schema: SCHEMA.into(),
            id: id.clone(),
            at: now.to_owned(),
            by: None,
            what: what.clone(),
        };
        let path = folder.join(format!("{id}.json"));
        let bytes = fileio::pretty(&entry, "the entry")?;
        if bytes.len() as u64 > fileio::DOCUMENT_BYTES {
            return Err(Failure::new(
                "that is more than one entry holds",
                "bring it in in parts: half of the table at a time",
            ));
        }
        match fileio::write_new(&path, &bytes) {
            Ok(()) => return Ok(entry),
            Err(_) if path.symlink_metadata().is_ok() => {}
            Err(e) => return Err(e),
        }
    }
    Err(Failure::new(
        format!("no free name in {}", folder.display()),
        "wait a second, then write the entry again",
    ))
}
