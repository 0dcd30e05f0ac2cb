//! Records that are asked for on the command line.

use crate::book::entries;
use crate::book::entry::{Entry, What};
use crate::book::index::{self, Fresh, Index};
use crate::book::row::{Filter, Row, in_order};
use crate::book::word::{self, Meant, Named};
use crate::cli::context::{cache, fine_now};
use crate::commands::prelude::*;
use crate::parallel;
use crate::record::{Record, Verdict, store};

/// A record, and where it lies.
pub type Placed = (PathBuf, Record);

/// The folder that `use --folder` names, else the working folder.
pub fn notebook() -> Result<PathBuf> {
    let folder = Defaults::here()?.folder;
    Ok(folder.unwrap_or_else(|| PathBuf::from(".")))
}

/// Asks the notebook's index.
pub fn ask<T>(notebook: &Path, fresh: Fresh, question: impl Fn(&Index) -> index::Asked<T>) -> Result<T> {
    let now = jiff::Timestamp::now().as_second();
    index::asked(notebook, cache().as_deref(), fresh, now, question)
}

/// Enters a reading that was just written, or noted on, into the index of the notebook where it lies there.
pub fn entered(folder: &Path) {
    if let Ok(notebook) = notebook() {
        index::enter(&notebook, cache().as_deref(), folder);
    }
}

/// Refuses records that lie elsewhere: what is said of them here would be said of nothing.
pub fn inside(notebook: &Path, records: &[Placed]) -> Result<()> {
    if records.is_empty() {
        return Ok(());
    }
    let rows = ask(notebook, Fresh::Now, |index| {
        of_ids(index, records.iter().map(|r| &r.1))
    })?;
    match records.iter().zip(rows).find(|(_, rows)| rows.is_empty()) {
        None => Ok(()),
        Some(((place, _), _)) => Err(Failure::new(
            format!("{} is not in the notebook {}", place.display(), notebook.display()),
            "copy its folder there first, or name its own notebook: coilwright use --folder DIR",
        )),
    }
}

/// What the notebook has of each of these records.
fn of_ids<'a>(index: &Index, records: impl Iterator<Item = &'a Record>) -> index::Asked<Vec<Vec<Row>>> {
    let of_id = |record: &Record| {
        index.rows(&Filter {
            id: Some(record.id.clone()),
            ..Filter::every()
        })
    };
    records.map(of_id).collect()
}

/// The record that a path or a name means, and where it lies.
pub fn placed(word: &Path) -> Result<Placed> {
    let mut list = all(std::slice::from_ref(&word.to_path_buf()))?;
    match (list.pop(), list.is_empty()) {
        (Some(one), true) => Ok(one),
        _ => Err(Failure::new(
            format!("{} means several pickups, and one is asked for", word.display()),
            "give one of their names",
        )),
    }
}

/// The same of several; a pattern means the latest reading of each.
pub fn all(words: &[PathBuf]) -> Result<Vec<Placed>> {
    chosen(words, &Found::all(words)?, |named, found| match named.is_pattern() {
        true => Ok(word::together(&[(named.clone(), &found.rows)], &found.notebook)?.concat()),
        false => Ok(vec![word::one(named, &found.rows, &found.notebook)?]),
    })
}

/// The same, and of a name all of its readings.
pub fn every(words: &[PathBuf]) -> Result<Vec<Placed>> {
    chosen(words, &Found::all(words)?, |named, found| match found.rows.is_empty() {
        true => Err(named.nothing(&found.notebook)),
        false => Ok(found.rows.iter().collect()),
    })
}

/// What is given by its path, and of what was found under names the readings that are chosen.
fn chosen<'a>(
    words: &[PathBuf],
    all: &'a [Found],
    mut rows: impl FnMut(&'a Named, &'a Found) -> Result<Vec<&'a Row>>,
) -> Result<Vec<Placed>> {
    let mut out = Vec::new();
    for (word, found) in words.iter().zip(all) {
        match &found.named {
            None => out.push(found.given(word)?),
            Some(named) => {
                for row in rows(named, found)? {
                    out.push(found.read(row)?);
                }
            }
        }
    }
    told(out)
}

/// The same for laying them side by side: of one name its last two stages, of several what all were measured under.
pub fn compared(words: &[PathBuf]) -> Result<Vec<Placed>> {
    let found = Found::all(words)?;
    if let [one] = found.as_slice()
        && let Some(named) = one.named.as_ref().filter(|n| !n.is_pattern())
    {
        let two = word::two_stages(named, &one.rows, &one.notebook)?;
        return told(two.map(|r| one.read(r)).into_iter().collect::<Result<_>>()?);
    }
    let names: Vec<(Named, &[Row])> = found
        .iter()
        .filter_map(|f| Some((f.named.clone()?, &f.rows[..])))
        .collect();
    let mut together = word::together(&names, &notebook()?)?.into_iter();
    chosen(words, &found, |_, _| Ok(together.next().unwrap_or_default()))
}

/// A record, and whether it was given by a path: then nothing of the notebook's entries is in it yet.
type Read = (Placed, bool);

/// Records under the names and at the stages that the notebook's entries give them.
fn told(list: Vec<Read>) -> Result<Vec<Placed>> {
    let notebook = notebook()?;
    let given = || list.iter().filter(|r| r.1).map(|r| &r.0.1);
    // Where nothing was said there is nothing to be told.
    if given().next().is_none() || !notebook.join(entries::FOLDER).is_dir() {
        return Ok(list.into_iter().map(|r| r.0).collect());
    }
    let rows = ask(&notebook, Fresh::Usual, |index| of_ids(index, given()))?.concat();
    let one = |((place, record), given): Read| {
        let load = record.load.as_ref().map(|l| l.text.as_str());
        let own = || rows.iter().filter(|r| r.id == record.id);
        // The built-in bench makes one take under two loads within a second.
        let row = own().find(|r| r.load.as_deref() == load).or_else(|| own().next_back());
        match row.filter(|_| given) {
            Some(row) => (place, row.told(record)),
            None => (place, record),
        }
    };
    Ok(list.into_iter().map(one).collect())
}

/// The records of these readings, each with its place in the list; what cannot be read is said and left out.
pub fn read(notebook: &Path, rows: &[&Row], console: &mut Console) -> Vec<(usize, Placed)> {
    readable(parallel::each(rows, |row| of_row(notebook, row)), console)
}

/// The same of records, read or not.
pub fn readable(each: Vec<Result<Placed>>, console: &mut Console) -> Vec<(usize, Placed)> {
    let mut out = Vec::new();
    for (i, read) in each.into_iter().enumerate() {
        match read {
            Ok(placed) => out.push((i, placed)),
            Err(e) => console.remark(&format!("left out: {e}")),
        }
    }
    out
}

fn of_row(notebook: &Path, row: &Row) -> Result<Placed> {
    let folder = notebook.join(&row.path);
    let record = store::read(&folder)?;
    Ok((folder, row.told(record)))
}

/// What a word may mean.
#[derive(Default)]
struct Found {
    /// `None`: a path.
    named: Option<Named>,
    rows: Vec<Row>,
    /// The folder in which the rows lie.
    notebook: PathBuf,
    /// That folder was given, and is no notebook: its readings are told by the notebook's entries all the same.
    given: bool,
}

impl Found {
    /// Of each word; the notebook is asked once.
    fn all(words: &[PathBuf]) -> Result<Vec<Found>> {
        let meant: Vec<Meant> = words.iter().map(|w| word::meant(w)).collect::<Result<_>>()?;
        let names: Vec<&Named> = meant.iter().filter_map(Meant::named).collect();
        let notebook = notebook()?;
        let rows = match names.is_empty() {
            true => Vec::new(),
            false => ask(&notebook, Fresh::Usual, |index| {
                names.iter().map(|n| n.readings(index)).collect()
            })?,
        };
        let mut rows: std::vec::IntoIter<Vec<Row>> = rows.into_iter();
        let one = |meant| {
            Ok(match meant {
                Meant::Path(_) => Found::default(),
                Meant::Named(named) => Found {
                    named: Some(named),
                    rows: rows.next().unwrap_or_default(),
                    notebook: notebook.clone(),
                    given: false,
                },
                Meant::Folder(folder) => Found::in_folder(folder)?,
            })
        };
        meant.into_iter().map(one).collect()
    }

    fn in_folder(folder: PathBuf) -> Result<Found> {
        let filter = Filter::every();
        // Of a few readings; nothing of it is kept.
        let mut rows = index::asked(&folder, None, Fresh::Now, 0, |index| index.rows(&filter))?;
        rows.retain(|r| r.verdict != Some(Verdict::Rejected));
        Ok(Found {
            named: Some(Named::of_folder(&folder)),
            rows: in_order(rows),
            notebook: folder,
            given: true,
        })
    }

    fn read(&self, row: &Row) -> Result<Read> {
        Ok((of_row(&self.notebook, row)?, self.given))
    }

    fn given(&self, path: &Path) -> Result<Read> {
        Ok(((path.to_path_buf(), store::read(path)?), true))
    }
}

/// Writes an entry into the notebook.
pub fn say(notebook: &Path, what: What) -> Result<Entry> {
    let said = entries::add(notebook, &fine_now(), what);
    changed(notebook);
    said
}

/// The program has changed the notebook: the next list has it.
pub fn changed(notebook: &Path) {
    index::outdated(notebook, cache().as_deref());
}
