//! Another notebook taken in. Nothing that is here is changed, nothing comes in twice, and two pickups or lots of one name are never
//! mixed unsaid. What was stopped half way goes on with the next time: a folder comes in whole, by one renaming.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::entry::{Entry, What};
use super::look::{self, Found};
use super::word::number;
use super::{carry, entries};
use crate::failure::{Failure, Result};
use crate::shop::lot::TRAY;
use crate::{fileio, parallel};

mod lots;

/// In the notebook while something comes in. Nothing looks into hidden folders.
const STAGING: &str = ".coilwright-add";
/// More places of one name nobody has.
const MOST_PLACES: u32 = 10_000;

/// What both notebooks say, by their indexes.
#[derive(Debug, Default)]
pub struct Known {
    /// Of the notebook's readings, as the entries have them.
    pub names: BTreeSet<String>,
    /// The other's readings, by id, under the names that it gives them.
    pub theirs: BTreeMap<String, String>,
}

/// What came in.
#[derive(Debug, Default, Serialize)]
#[serde(tag = "schema", rename = "coilwright/added/1")]
pub struct Added {
    pub readings: Vec<Brought>,
    /// Readings that were here before.
    pub known: usize,
    pub entries: usize,
    /// Put beside readings that were here before.
    pub notes: usize,
    pub lots: Vec<Lot>,
    /// Pickups of which both notebooks had readings.
    pub in_both: BTreeSet<String>,
    /// Pickups that the other notebook calls otherwise than its records do, of names that are taken here.
    pub renamed: BTreeSet<String>,
    /// What did not come in, and why.
    pub left_out: Vec<String>,
}

#[derive(Debug, Serialize)]
pub struct Brought {
    pub id: String,
    pub pickup: String,
    /// Folders, each from its notebook's.
    pub from: String,
    pub to: String,
}

#[derive(Debug, Serialize)]
pub struct Lot {
    pub lot: String,
    /// Its folder here.
    pub to: String,
    pub how: How,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// It was not here.
    New,
    /// What was here is the beginning of it.
    GoesOn,
    /// Another lot of that name is here.
    OtherName,
}

/// Of a record.
#[derive(Debug, Clone, Deserialize)]
struct Lean {
    id: String,
    pickup: Pickup,
}

#[derive(Debug, Clone, Deserialize)]
struct Pickup {
    name: String,
}

/// A reading of the other notebook.
#[derive(Debug, Clone)]
struct Reading {
    found: Found,
    id: String,
    /// As its record says.
    told: String,
    /// As the other notebook calls it.
    name: String,
}

/// The folder in which things arrive, for one `add` at a time; it goes with it.
struct Staging {
    folder: PathBuf,
    _held: File,
}

impl Staging {
    fn take(notebook: &Path) -> Result<Staging> {
        let folder = notebook.join(STAGING);
        match fs::create_dir(&folder) {
            Err(e) if !folder.is_dir() || folder.is_symlink() => return Err(Failure::io("write in", notebook, &e)),
            _ => {}
        }
        let held = File::open(&folder).map_err(|e| Failure::io("open", &folder, &e))?;
        if matches!(held.try_lock(), Err(fs::TryLockError::WouldBlock)) {
            return Err(Failure::new(
                format!("another `book add` is at work in {}", notebook.display()),
                "wait for its end",
            ));
        }
        Ok(Staging { folder, _held: held })
    }

    /// A folder, whole, to where nothing is.
    fn bring(&self, from: &Path, to: &Path, left_out: &mut Vec<String>) -> Result<()> {
        let new = self.folder.join("new");
        if new.symlink_metadata().is_ok() {
            fs::remove_dir_all(&new).map_err(|e| Failure::io("remove", &new, &e))?;
        }
        fs::create_dir(&new).map_err(|e| Failure::io("make", &new, &e))?;
        let links = carry::folder(from, &new)?;
        left_out.extend(links.iter().map(|l| format!("{} is no file", from.join(l).display())));
        fs::rename(&new, to).map_err(|e| Failure::io("make", to, &e))?;
        fileio::sync_folder(to).map_err(|e| Failure::io("make", to, &e))
    }
}

impl Drop for Staging {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.folder);
    }
}

struct Add<'a> {
    notebook: &'a Path,
    other: &'a Path,
    now: &'a str,
    staging: Staging,
    /// Ids that are here, and the folders of their readings.
    here: BTreeMap<String, PathBuf>,
    entries_here: BTreeSet<String>,
    known: Known,
    /// Names here that an entry gave up for another: it would take what comes in with it.
    renamed_here: BTreeSet<String>,
    /// The other's renamings of names that are in use here: they would take what is here with them.
    not_for_here: BTreeSet<String>,
    out: Added,
}

/// Takes `other` in. `known` is asked for once nobody else adds; `now`: RFC 3339 with offset.
pub fn add(notebook: &Path, other: &Path, now: &str, known: impl FnOnce() -> Result<Known>) -> Result<Added> {
    carry::apart(other, notebook, "a notebook")?;
    let looked = look::look(other);
    if looked.readings.is_empty() && looked.entries.is_empty() {
        return Err(Failure::new(
            format!("{} holds no reading and no entry", other.display()),
            "give the folder in which a notebook's pickups lie",
        ));
    }
    let staging = Staging::take(notebook)?;
    let known = known()?;
    let mut add = Add {
        notebook,
        other,
        now,
        staging,
        here: here(notebook),
        entries_here: entries::files(notebook).iter().filter_map(|f| id_of(f).ok()).collect(),
        known,
        renamed_here: BTreeSet::new(),
        not_for_here: BTreeSet::new(),
        out: Added {
            left_out: looked.left_out,
            ..Added::default()
        },
    };
    add.renamings();
    let readings = add.theirs(&looked.readings);
    let (of_lots, single): (Vec<&Reading>, Vec<&Reading>) = readings.iter().partition(|r| r.found.lot.is_some());
    add.lots(&of_lots)?;
    for reading in single {
        add.reading(reading)?;
    }
    // What takes another back comes before it.
    for entry in looked.entries.iter().rev() {
        add.entry(entry)?;
    }
    Ok(add.out)
}

/// Of a document of whatever version, `what`, those fields that are asked for.
fn told<T: DeserializeOwned>(path: &Path, what: &str) -> Result<T> {
    let bytes = fileio::read_limited(path, fileio::DOCUMENT_BYTES)?;
    serde_json::from_slice(&bytes).map_err(|e| {
        Failure::new(
            format!("{} is no {what}: {e}", path.display()),
            "see to it in its own notebook",
        )
    })
}

fn lean(folder: &Path) -> Result<Lean> {
    told(&folder.join("record.json"), "record")
}

fn here(notebook: &Path) -> BTreeMap<String, PathBuf> {
    let readings = look::look(notebook).readings;
    let read = parallel::each(&readings, |f| lean(&notebook.join(&f.path)));
    let ids = readings.iter().zip(read);
    ids.filter_map(|(f, lean)| Some((lean.ok()?.id, PathBuf::from(&f.path))))
        .collect()
}

/// Whether it gives all readings of a name another one.
fn of_all(entry: &Entry) -> Option<&str> {
    match &entry.what {
        What::Rename {
            pickup, record: None, ..
        } => Some(pickup),
        _ => None,
    }
}

impl Add<'_> {
    fn renamings(&mut self) {
        let (ours, theirs) = (entries::all(self.notebook).hold, entries::all(self.other).hold);
        let in_both = |e: &Entry, list: &[Entry]| list.iter().any(|o| o.id == e.id);
        let named: BTreeSet<&str> = ours.iter().flat_map(|e| e.what.pickups()).collect();
        let in_use = |name: &str| self.known.names.contains(name) || named.contains(name);
        let theirs_only = theirs.iter().filter(|e| !in_both(e, &ours));
        self.not_for_here = theirs_only
            .filter(|e| of_all(e).is_some_and(in_use))
            .map(|e| e.id.clone())
            .collect();
        let ours_only = ours.iter().filter(|e| !in_both(e, &theirs));
        self.renamed_here = ours_only.filter_map(of_all).map(str::to_owned).collect();
    }

    fn theirs(&mut self, found: &[Found]) -> Vec<Reading> {
        let read = parallel::each(found, |f| lean(&self.other.join(&f.path)));
        let mut out = Vec::new();
        for (found, lean) in found.iter().zip(read) {
            match lean {
                Err(e) => self.out.left_out.push(e.to_string()),
                Ok(lean) => out.push(Reading {
                    name: self.known.theirs.get(&lean.id).unwrap_or(&lean.pickup.name).clone(),
                    found: found.clone(),
                    id: lean.id,
                    told: lean.pickup.name,
                }),
            }
        }
        out.sort_by(|a, b| a.found.path.cmp(&b.found.path));
        out
    }

    fn reading(&mut self, reading: &Reading) -> Result<()> {
        if self.here.contains_key(&reading.id) {
            return self.again(reading);
        }
        self.keep_name(reading, &reading.name.clone())?;
        let to = self.place(Path::new(&reading.found.path))?;
        self.bring(reading, &to)
    }

    /// One that is here: what was noted beside it since comes in.
    fn again(&mut self, reading: &Reading) -> Result<()> {
        self.out.known += 1;
        let Some(place) = self.here.get(&reading.id) else {
            return Ok(());
        };
        let (from, to) = (self.other.join(&reading.found.path), self.notebook.join(place));
        let mut notes: Vec<PathBuf> = carry::tree(&from)?.files;
        notes.retain(|n| n.components().count() == 1 && fileio::name_of(n).starts_with("note-"));
        for note in notes {
            let (theirs, ours) = (from.join(&note), to.join(&note));
            match ours.symlink_metadata() {
                Err(_) => {
                    carry::file(&theirs, &ours)?;
                    self.out.notes += 1;
                }
                Ok(_) if carry::same(&theirs, &ours)? => {}
                // A note may take back another by its number: from here on numbers mean other notes there.
                Ok(_) => {
                    let what = format!("{} and what follows it: here it is another note", theirs.display());
                    self.out.left_out.push(what);
                    break;
                }
            }
        }
        Ok(())
    }

    fn bring(&mut self, reading: &Reading, to: &Path) -> Result<()> {
        let from = self.other.join(&reading.found.path);
        self.staging
            .bring(&from, &self.notebook.join(to), &mut self.out.left_out)?;
        self.arrived(reading, to, &reading.name.clone());
        Ok(())
    }

    fn arrived(&mut self, reading: &Reading, to: &Path, name: &str) {
        if self.known.names.contains(name) {
            self.out.in_both.insert(name.to_owned());
        }
        self.here.insert(reading.id.clone(), to.to_path_buf());
        self.out.readings.push(Brought {
            id: reading.id.clone(),
            pickup: name.to_owned(),
            from: reading.found.path.clone(),
            to: to.display().to_string(),
        });
    }

    /// A reading comes in under the name that it has over there, whatever else was renamed here or there. Before the reading itself:
    /// an entry on one that is not here yet does no harm.
    fn keep_name(&mut self, reading: &Reading, name: &str) -> Result<()> {
        let taken_along = [&reading.told, &reading.name]
            .iter()
            .any(|n| self.renamed_here.contains(*n));
        let comes_without = reading.name != reading.told && !self.not_for_here.is_empty();
        if !taken_along && !comes_without && name == reading.name {
            return Ok(());
        }
        let what = What::Rename {
            pickup: reading.told.clone(),
            to: name.to_owned(),
            record: Some(reading.id.clone()),
        };
        entries::add(self.notebook, self.now, what)?;
        self.out.renamed.insert(name.to_owned());
        Ok(())
    }

    /// Where a reading of this path comes to lie: there, or under the next number.
    fn place(&self, path: &Path) -> Result<PathBuf> {
        let above = self.above(path.parent().unwrap_or(Path::new("")))?;
        let name = fileio::name_of(path);
        let free = |n: &str| self.notebook.join(&above).join(n).symlink_metadata().is_err();
        if !free(&name) && number(path).is_some() && path.components().count() > 1 {
            let list = fs::read_dir(self.notebook.join(&above)).into_iter().flatten().flatten();
            let last = list.filter_map(|e| number(&e.path())).max().unwrap_or(0);
            return Ok(above.join(format!("{:04}", last.saturating_add(1))));
        }
        Ok(above.join(free_name(&name, free)?))
    }

    /// The folders above a reading, made where they are missing. One that is a reading itself, or a lot, would hide it or mix it in.
    fn above(&self, folder: &Path) -> Result<PathBuf> {
        let mut above = PathBuf::new();
        for part in folder.components() {
            let name = part.as_os_str().to_string_lossy();
            let fits = |n: &str| {
                let place = self.notebook.join(&above).join(n);
                let taken = ["record.json", TRAY]
                    .iter()
                    .any(|f| place.join(f).symlink_metadata().is_ok());
                place.symlink_metadata().is_err() || (place.is_dir() && !place.is_symlink() && !taken)
            };
            let name = free_name(&name, fits)?;
            above.push(name);
        }
        carry::ready(self.notebook, &above)?;
        Ok(above)
    }

    fn entry(&mut self, found: &Found) -> Result<()> {
        let from = self.other.join(&found.path);
        let Ok(id) = id_of(&from).map_err(|e| self.out.left_out.push(e.to_string())) else {
            return Ok(());
        };
        if self.not_for_here.contains(&id) || !self.entries_here.insert(id) {
            return Ok(());
        }
        let folder = carry::ready(self.notebook, Path::new(entries::FOLDER))?;
        let free = |n: &str| folder.join(format!("{n}.json")).symlink_metadata().is_err();
        let name = free_name(&fileio::stem(&from), free)?;
        carry::file(&from, &folder.join(format!("{name}.json")))?;
        self.out.entries += 1;
        Ok(())
    }
}

fn id_of(path: &Path) -> Result<String> {
    #[derive(Deserialize)]
    struct Id {
        id: String,
    }
    told(path, "entry").map(|entry: Id| entry.id)
}

/// The first of NAME, NAME-2, NAME-3 and so on that is free.
fn free_name(name: &str, free: impl Fn(&str) -> bool) -> Result<String> {
    let mut names = std::iter::once(name.to_owned()).chain((2..MOST_PLACES).map(|n| format!("{name}-{n}")));
    names.find(|n| free(n)).ok_or_else(|| {
        Failure::new(
            format!("no place is free for another {name}"),
            "give the folders other names",
        )
    })
}
