//! Which record is meant: a path, or the name of a pickup.

use std::path::{Path, PathBuf};

use crate::failure::{Failure, Result};
use crate::record::when::moment;
use crate::record::{Record, Verdict, store};

/// A pickup's name as a folder's: what file systems do not take becomes a dash.
pub fn folder_name(name: &str) -> Result<String> {
    let safe: String = name
        .trim()
        .chars()
        .map(|c| match c.is_control() || "/\\:*?\"<>|".contains(c) {
            true => '-',
            false => c,
        })
        .collect();
    let safe = safe.trim_matches('.').trim().to_string();
    if safe.is_empty() {
        return Err(Failure::new(
            format!("\"{name}\" cannot be a pickup's name"),
            "give it a name with letters or digits",
        ));
    }
    Ok(safe)
}

/// The record that a word means, and where it lies: a file, a folder that holds one, else the latest usable reading of the pickup
/// whose folder or name it is.
pub fn record(word: &Path, notebook: &Path) -> Result<(PathBuf, Record)> {
    let pickup = match word.is_dir() {
        true if is_record(word) => None,
        // A folder of something else does not hide the pickup of its name.
        true if numbered(word).is_empty() => by_name(word, notebook)?.or(Some(word.to_path_buf())),
        true => Some(word.to_path_buf()),
        false if word.symlink_metadata().is_ok() => None,
        false => by_name(word, notebook)?,
    };
    match pickup {
        None => Ok((word.to_path_buf(), store::read(word)?)),
        // One of a lot has one reading, and no number.
        Some(folder) if is_record(&folder) => Ok((folder.clone(), store::read(&folder)?)),
        Some(folder) => latest(word, &folder),
    }
}

/// The folder of the pickup of this name; none where the word is a path.
fn by_name(word: &Path, notebook: &Path) -> Result<Option<PathBuf>> {
    let name = word.to_string_lossy();
    if word.components().count() != 1 || name.ends_with(".json") {
        return Ok(None);
    }
    let own = folder_name(&name)?;
    let folder = notebook.join(&own);
    if folder.is_dir() {
        return Ok(Some(folder));
    }
    // One of a lot lies in the lot's folder.
    let mut lots: Vec<PathBuf> = inside(notebook).into_iter().map(|lot| lot.join(&own)).collect();
    lots.retain(|folder| folder.is_dir());
    match lots.as_slice() {
        [one] => Ok(Some(one.clone())),
        [] => Err(Failure::new(
            format!("there is no record and no pickup {name} in {}", notebook.display()),
            "give a record's folder, or a pickup's name as `coilwright measure` was given it",
        )),
        [one, other, ..] => Err(Failure::new(
            format!("{name} lies in more than one lot"),
            format!("give one of {} and {}", one.display(), other.display()),
        )),
    }
}

fn inside(folder: &Path) -> Vec<PathBuf> {
    let list = std::fs::read_dir(folder).into_iter().flatten().flatten();
    list.map(|e| e.path()).collect()
}

fn is_record(folder: &Path) -> bool {
    folder.join("record.json").symlink_metadata().is_ok()
}

/// The records of a pickup's folder.
fn numbered(folder: &Path) -> Vec<PathBuf> {
    inside(folder).into_iter().filter(|p| is_record(p)).collect()
}

/// The latest reading of a pickup that was not rejected, where all of them are of one coil under one load on one rig.
fn latest(word: &Path, folder: &Path) -> Result<(PathBuf, Record)> {
    let mut readings = Vec::new();
    for place in numbered(folder) {
        let record = store::read(&place)?;
        if record.verdict != Verdict::Rejected {
            readings.push((place, record));
        }
    }
    // A number that was counted up tells two readings of one second apart.
    readings.sort_by(|(a, x), (b, y)| (moment(&x.taken_at), a).cmp(&(moment(&y.taken_at), b)));
    // The latest of each kind, the latest kind first.
    let mut kinds: Vec<&(PathBuf, Record)> = Vec::new();
    for reading in readings.iter().rev() {
        if kinds.iter().all(|k| kind(&k.1) != kind(&reading.1)) {
            kinds.push(reading);
        }
    }
    match kinds.as_slice() {
        [] => Err(Failure::new(
            format!("{} has no reading that can be used", word.display()),
            "measure it first, or give a record's folder",
        )),
        [_] => readings
            .pop()
            .ok_or_else(|| Failure::new("no reading", "measure again")),
        several => {
            let choices: Vec<String> = several
                .iter()
                .map(|(place, r)| format!("{} ({})", place.display(), described(r)))
                .collect();
            Err(Failure::new(
                format!("{} has readings of {} kinds", word.display(), several.len()),
                format!("give one of them: {}", choices.join(", ")),
            ))
        }
    }
}

/// What sets readings of one pickup apart: coil, load, rig.
fn kind(record: &Record) -> (Option<&str>, Option<&str>, Option<&str>) {
    let load = record.load.as_ref().map(|l| l.text.as_str());
    (record.pickup.over.as_deref(), load, record.rig.name.as_deref())
}

fn described(record: &Record) -> String {
    let (over, load, rig) = kind(record);
    let parts = [
        over.map(|o| format!("over {o}")),
        Some(match load {
            None => "no load told".into(),
            Some("") => "load none".into(),
            Some(l) => format!("load {l}"),
        }),
        rig.map(|r| format!("rig {r}")),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}
