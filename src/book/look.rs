//! What lies in a notebook's folder: its readings, found by their record.json, to three folders deep. No link is followed.

use std::fs::Metadata;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::entries;
use crate::failure::{Failure, Result};
use crate::parallel;
use crate::shop::lot::{TRAY, Tray};

/// NOTEBOOK/LOT/PICKUP/record.json, or NOTEBOOK/PICKUP/NUMBER/record.json.
const DEPTH: usize = 3;

/// When a file was changed, and how large it is: enough to see that it is another.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Mark {
    pub size: i64,
    /// Nanoseconds since 1970.
    pub changed: i64,
    /// Of its folder, which changes when a note is put beside it.
    pub folder_changed: i64,
}

/// A file of the notebook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// From the notebook's folder, of a reading without its record.json.
    pub path: String,
    pub mark: Mark,
    /// The lot in whose folder it lies.
    pub lot: Option<String>,
    /// Measured again since, or taken back at the tray.
    pub replaced: bool,
}

#[derive(Debug, Default)]
pub struct Looked {
    pub readings: Vec<Found>,
    pub entries: Vec<Found>,
    /// Folders that could not be looked into, and why.
    pub left_out: Vec<String>,
}

/// Refuses a folder that is none; `hint`: what to do.
pub fn there(notebook: &Path, hint: &str) -> Result<()> {
    match notebook.is_dir() {
        true => Ok(()),
        false => Err(Failure::new(
            format!("there is no notebook in {}", notebook.display()),
            hint,
        )),
    }
}

pub fn look(notebook: &Path) -> Looked {
    let mut out = Looked::default();
    let mut unread = Vec::new();
    let folders = Inside::of(notebook, &mut unread).folders;
    // The folder itself may be one that holds a reading, as given with --out.
    let each = parallel::each(&folders, |folder| within(notebook, folder));
    for looked in each {
        out.readings.extend(looked.readings);
        unread.extend(looked.left_out);
    }
    out.left_out = unread;
    out.entries = entries::files(notebook)
        .iter()
        .filter_map(|f| file(notebook, f))
        .collect();
    out
}

/// The readings in one folder of the notebook.
fn within(notebook: &Path, top: &Path) -> Looked {
    let mut out = Looked::default();
    // A hundred thousand files are not asked for that are not there: one look into the folder tells.
    let inside = Inside::of(top, &mut out.left_out);
    let lot = inside.has_tray.then(|| Lot::of(top)).flatten();
    if let Some(mark) = inside.has_record.then(|| mark(top)).flatten() {
        out.readings.extend(found(notebook, top, mark, lot.as_ref()));
        return out;
    }
    let mut open: Vec<(PathBuf, usize)> = inside.folders.into_iter().map(|f| (f, 2)).collect();
    while let Some((folder, depth)) = open.pop() {
        if let Some(mark) = mark(&folder) {
            out.readings.extend(found(notebook, &folder, mark, lot.as_ref()));
        } else if depth < DEPTH {
            let inside = Inside::of(&folder, &mut out.left_out).folders;
            open.extend(inside.into_iter().map(|f| (f, depth + 1)));
        }
    }
    out
}

impl Mark {
    fn of(file: &Metadata, folder_changed: i64) -> Mark {
        Mark {
            size: i64::try_from(file.len()).unwrap_or(i64::MAX),
            changed: changed(file),
            folder_changed,
        }
    }
}

/// The mark of the reading in a folder, if there is one.
pub fn mark(folder: &Path) -> Option<Mark> {
    let record = folder.join("record.json").symlink_metadata().ok()?;
    let own = folder.symlink_metadata().ok()?;
    record.is_file().then(|| Mark::of(&record, changed(&own)))
}

fn found(notebook: &Path, place: &Path, mark: Mark, lot: Option<&Lot>) -> Option<Found> {
    let name = crate::fileio::name_of(place);
    Some(Found {
        path: place.strip_prefix(notebook).ok()?.to_str()?.to_owned(),
        mark,
        lot: lot.map(|l| l.name.clone()),
        replaced: lot.is_some_and(|l| l.replaced.contains(&name)),
    })
}

fn file(notebook: &Path, path: &Path) -> Option<Found> {
    let meta = path.symlink_metadata().ok().filter(Metadata::is_file)?;
    found(notebook, path, Mark::of(&meta, 0), None)
}

fn changed(meta: &Metadata) -> i64 {
    let since = |t: SystemTime| t.duration_since(SystemTime::UNIX_EPOCH).ok();
    let since = meta.modified().ok().and_then(since);
    since.and_then(|d| i64::try_from(d.as_nanos()).ok()).unwrap_or(0)
}

/// What lies in a folder.
#[derive(Default)]
struct Inside {
    /// But hidden ones, links and that of the entries.
    folders: Vec<PathBuf>,
    has_record: bool,
    has_tray: bool,
}

impl Inside {
    fn of(folder: &Path, left_out: &mut Vec<String>) -> Inside {
        let mut out = Inside::default();
        let list = match std::fs::read_dir(folder) {
            Ok(list) => list,
            Err(e) => {
                left_out.push(format!("{}: {e}", folder.display()));
                return out;
            }
        };
        for entry in list.flatten() {
            let name = entry.file_name();
            out.has_record |= name == "record.json";
            out.has_tray |= name == TRAY;
            let hidden = name.to_string_lossy().starts_with('.') || name == entries::FOLDER;
            if !hidden && entry.file_type().is_ok_and(|t| t.is_dir()) {
                out.folders.push(entry.path());
            }
        }
        out
    }
}

/// A lot's folder.
struct Lot {
    name: String,
    /// Folders of its readings that were measured again since.
    replaced: Vec<String>,
}

impl Lot {
    fn of(folder: &Path) -> Option<Lot> {
        let path = folder.join(TRAY);
        path.symlink_metadata().ok().filter(Metadata::is_file)?;
        let name = crate::fileio::name_of(folder);
        let tray = tray(&path);
        // One that cannot be read is still a lot, whose readings all stand.
        let withdrawn = |t: Tray| t.entries.into_iter().filter(|e| e.withdrawn).filter_map(|e| e.record);
        let replaced = tray.map(|t| withdrawn(t).collect()).unwrap_or_default();
        Some(Lot { name, replaced })
    }
}

/// No lot's file is larger.
pub const TRAY_BYTES: u64 = 64 << 20;

/// A lot's file.
pub fn tray(path: &Path) -> Result<Tray> {
    Tray::parse(
        &path.display().to_string(),
        &crate::fileio::read_limited(path, TRAY_BYTES)?,
    )
}
