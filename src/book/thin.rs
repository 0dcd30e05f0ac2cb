//! Takes of long ago put away into another folder, and brought back. Readings stay, and nothing is deleted: what leaves one place
//! is at the other first, and said in an entry.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use jiff::{Span, Timestamp, ToSpan as _, ZonedDateTime};
use serde::Serialize;

use super::entry::{Entry, What};
use super::{carry, entries};
use crate::failure::{Failure, Result};
use crate::fileio;

/// A reading whose takes are put away, or brought back.
#[derive(Debug, Clone)]
pub struct Old {
    pub id: String,
    /// Its folder, from the notebook's.
    pub path: PathBuf,
}

/// What lies in takes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Much {
    pub readings: usize,
    pub files: usize,
    pub bytes: u64,
}

/// The moment so long before `now`: "2y", "18mo", "6w", "90d".
pub fn before(now: &ZonedDateTime, age: &str) -> Result<Timestamp> {
    let wrong = || Failure::new(format!("{age:?} is no age"), "write 2y, 18mo, 6w or 90d");
    let text = age.trim();
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, unit) = text.split_at(digits);
    let n: i32 = number.parse().ok().filter(|n| *n > 0).ok_or_else(wrong)?;
    let span: Span = match unit.trim() {
        "y" if n < 1000 => n.years(),
        "mo" if n < 12_000 => n.months(),
        "w" if n < 52_000 => n.weeks(),
        "d" if n < 366_000 => n.days(),
        _ => return Err(wrong()),
    };
    Ok(now.checked_sub(span).map_err(|_| wrong())?.timestamp())
}

/// The recordings in a reading's folder: takes, what was played, taps. By their names, in order.
pub fn takes(folder: &Path) -> Vec<String> {
    let list = fs::read_dir(folder).into_iter().flatten().flatten();
    let files = list.filter(|e| e.file_type().is_ok_and(|t| t.is_file()));
    let mut names: Vec<String> = files
        .map(|e| fileio::name_of(&e.path()))
        .filter(|n| is_take(n))
        .collect();
    names.sort();
    names
}

fn is_take(name: &str) -> bool {
    let stem = name.strip_suffix(".wav");
    stem.is_some_and(|s| matches!(s, "take" | "drive" | "knock") || s.starts_with("take-"))
}

/// The readings whose takes were put away, by what holds of the entries.
pub fn put_away(said: &[Entry]) -> BTreeSet<&str> {
    let lists = said.iter().filter_map(|e| match &e.what {
        What::Thinned { records, .. } => Some(records),
        _ => None,
    });
    lists.flatten().map(String::as_str).collect()
}

fn each_take<'a>(top: &'a Path, old: &'a [Old]) -> impl Iterator<Item = PathBuf> + 'a {
    let of = |o: &'a Old| takes(&top.join(&o.path)).into_iter().map(|name| o.path.join(name));
    old.iter().flat_map(of)
}

/// How much lies in the takes of these readings.
pub fn much(notebook: &Path, old: &[Old]) -> Much {
    let mut much = Much::default();
    for one in old {
        let files: Vec<PathBuf> = each_take(notebook, std::slice::from_ref(one)).collect();
        much.readings += usize::from(!files.is_empty());
        much.files += files.len();
        let bytes = files.iter().filter_map(|f| notebook.join(f).metadata().ok());
        much.bytes += bytes.map(|m| m.len()).sum::<u64>();
    }
    much
}

/// Puts the takes of these readings away: first all are there, then it is said, then they go from here.
pub fn put_away_now(notebook: &Path, old: &[Old], to: &Path, now: &str) -> Result<()> {
    let files: Vec<PathBuf> = each_take(notebook, old).collect();
    carry_all(notebook, &files, to)?;
    let all = entries::all(notebook);
    let said = put_away(&all.hold);
    let folders: BTreeSet<&Path> = files.iter().filter_map(|f| f.parent()).collect();
    let new = old
        .iter()
        .filter(|o| folders.contains(o.path.as_path()) && !said.contains(o.id.as_str()));
    let new: Vec<String> = new.map(|o| o.id.clone()).collect();
    if !new.is_empty() {
        let whole = std::path::absolute(to).unwrap_or_else(|_| to.to_path_buf());
        let what = What::Thinned {
            to: whole.to_string_lossy().into_owned(),
            records: new,
        };
        entries::add(notebook, now, what)?;
    }
    remove(notebook, &files)
}

fn carry_all(from: &Path, files: &[PathBuf], to: &Path) -> Result<()> {
    for file in files {
        carry::ready(to, file.parent().unwrap_or(Path::new("")))?;
        carry::file_once(&from.join(file), &to.join(file))?;
    }
    Ok(())
}

fn remove(top: &Path, files: &[PathBuf]) -> Result<()> {
    files
        .iter()
        .map(|f| top.join(f))
        .try_for_each(|f| match fs::remove_file(&f) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(Failure::io("remove", &f, &e)),
            _ => Ok(()),
        })
}

/// What came back, and what lies there still.
#[derive(Debug, Default, Serialize)]
#[serde(tag = "schema", rename = "coilwright/thinned-back/1")]
pub struct Back {
    pub files: usize,
    /// Whose reading is not here.
    pub left_there: Vec<String>,
}

/// Brings back all takes that lie in `from`. `readings`: those of the notebook.
pub fn bring_back(notebook: &Path, readings: &[Old], from: &Path, now: &str) -> Result<Back> {
    let tree = carry::tree(from)?;
    let folders: BTreeSet<&Path> = readings.iter().map(|r| r.path.as_path()).collect();
    let ours = |f: &PathBuf| f.parent().is_some_and(|f| folders.contains(f));
    let takes = tree.files.into_iter().filter(|f| is_take(&fileio::name_of(f)));
    let (back, left): (Vec<PathBuf>, Vec<PathBuf>) = takes.partition(ours);
    carry_all(from, &back, notebook)?;
    let gone: BTreeSet<&str> = readings
        .iter()
        .filter(|r| is_gone(notebook, r))
        .map(|r| r.id.as_str())
        .collect();
    let here = |id: &String| !gone.contains(id.as_str());
    for entry in entries::all(notebook).hold {
        if let What::Thinned { records, .. } = &entry.what
            && records.iter().all(here)
        {
            entries::add(notebook, now, What::Undo { entry: entry.id })?;
        }
    }
    remove(from, &back)?;
    // Those that are empty now; the file system refuses the others.
    let mut folders: Vec<&Path> = back
        .iter()
        .flat_map(|f| f.ancestors().skip(1))
        .filter(|f| *f != Path::new(""))
        .collect();
    folders.sort_by_key(|f| std::cmp::Reverse(f.components().count()));
    for folder in folders {
        let _ = fs::remove_dir(from.join(folder));
    }
    Ok(Back {
        files: back.len(),
        left_there: left.iter().map(|f| f.display().to_string()).collect(),
    })
}

fn is_gone(notebook: &Path, reading: &Old) -> bool {
    takes(&notebook.join(&reading.path)).iter().all(|n| n == "drive.wav")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages() {
        let now: ZonedDateTime = "2026-03-31T12:00:00+00:00[UTC]".parse().unwrap();
        let of = |age: &str| before(&now, age).map(|t| t.to_string());
        assert_eq!(of("2y").unwrap(), "2024-03-31T12:00:00Z");
        assert_eq!(of(" 1 mo").unwrap(), "2026-02-28T12:00:00Z");
        assert_eq!(of("2w").unwrap(), "2026-03-17T12:00:00Z");
        assert_eq!(of("90d").unwrap(), "2025-12-31T12:00:00Z");
        for none in ["", "2", "0y", "-2y", "2 years ago", "y", "99999y", "2m", "9999999999d"] {
            assert!(before(&now, none).unwrap_err().hint.contains("18mo"), "{none}");
        }
    }

    #[test]
    fn what_is_a_take() {
        assert!(
            ["take.wav", "take-2.wav", "drive.wav", "knock.wav"]
                .into_iter()
                .all(is_take)
        );
        assert!(
            !["record.json", "drive.json", "song.wav", "taken.wav", "take"]
                .into_iter()
                .any(is_take)
        );
    }
}
