//! Records that are asked for on the command line.

use std::path::{Path, PathBuf};

use crate::book::entries;
use crate::book::entry::{Entry, What};
use crate::book::index::{self, Fresh, Index};
use crate::book::row::{Filter, Row, in_order};
use crate::book::word::{self, Meant, Named};
use crate::cli::context::{cache, fine_stamp};
use crate::cli::defaults::Defaults;
use crate::failure::{Failure, Result};
use crate::record::{Record, Verdict, store};

/// A record, and where it lies.
pub type Placed = (PathBuf, Record);

/// The folder that `use --folder` names, else the working folder.
pub fn notebook() -> Result<PathBuf> {
    let folder = Defaults::read_from(Path::new("."))?.folder;
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
    let mut out = Vec::new();
    for word in words {
        let found = Found::of(word)?;
        match &found.named {
            None => out.push((word.clone(), store::read(word)?)),
            Some(named) if named.is_pattern() => {
                for row in word::together(&[(named.clone(), &found.rows)], &found.notebook)?.concat() {
                    out.push(found.read(row)?);
                }
            }
            Some(named) => out.push(found.read(word::one(named, &found.rows, &found.notebook)?)?),
        }
    }
    Ok(out)
}

/// The same for laying them side by side: of one name its last two stages, of several what all were measured under.
pub fn compared(words: &[PathBuf]) -> Result<Vec<Placed>> {
    let found: Vec<Found> = words.iter().map(|w| Found::of(w)).collect::<Result<_>>()?;
    if let [one] = found.as_slice()
        && let Some(named) = one.named.as_ref().filter(|n| !n.is_pattern())
    {
        return word::two_stages(named, &one.rows, &one.notebook)?
            .map(|r| one.read(r))
            .into_iter()
            .collect();
    }
    let names: Vec<(Named, &[Row])> = found
        .iter()
        .filter_map(|f| Some((f.named.clone()?, &f.rows[..])))
        .collect();
    let mut chosen = word::together(&names, &notebook()?)?.into_iter();
    let mut out = Vec::new();
    for (word, found) in words.iter().zip(&found) {
        match &found.named {
            None => out.push((word.clone(), store::read(word)?)),
            Some(_) => {
                for row in chosen.next().unwrap_or_default() {
                    out.push(found.read(row)?);
                }
            }
        }
    }
    Ok(out)
}

/// What a word may mean.
struct Found {
    /// `None`: a path.
    named: Option<Named>,
    rows: Vec<Row>,
    /// The folder in which the rows lie.
    notebook: PathBuf,
}

impl Found {
    fn of(word: &Path) -> Result<Found> {
        let (named, rows, notebook) = match word::meant(word)? {
            Meant::Path(_) => (None, Vec::new(), PathBuf::new()),
            Meant::Named(named) => {
                let notebook = notebook()?;
                let rows = ask(&notebook, Fresh::Usual, |index| named.readings(index))?;
                (Some(named), rows, notebook)
            }
            Meant::Folder(folder) => {
                let filter = Filter {
                    all: true,
                    ..Filter::default()
                };
                // Of a few readings; nothing of it is kept.
                let mut rows = index::asked(&folder, None, Fresh::Now, 0, |index| index.rows(&filter))?;
                rows.retain(|r| r.verdict != Some(Verdict::Rejected));
                (Some(Named::of_folder(&folder)), in_order(rows), folder)
            }
        };
        Ok(Found { named, rows, notebook })
    }

    fn read(&self, row: &Row) -> Result<Placed> {
        let folder = self.notebook.join(&row.path);
        let record = store::read(&folder)?;
        Ok((folder, row.told(record)))
    }
}

/// Writes an entry into the notebook.
pub fn say(notebook: &Path, what: What) -> Result<Entry> {
    let now = fine_stamp(std::time::SystemTime::now());
    Ok(entries::add(notebook, &now, None, what)?.0)
}
