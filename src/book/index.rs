//! The index: what lists ask for of every reading and entry, in a file of SQLite in the user's cache folder. It is made from the
//! notebook's files, never right against them, and may be deleted at any time.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::{Connection, OptionalExtension, params};

use super::entry::Entry;
use super::look::{self, Found, Mark};
use super::row::{self, Filter, Row};
use super::{fill, seen};
use crate::failure::{Failure, Result};
use crate::fileio;
use crate::parallel;
use crate::shop::lot::TRAY;

/// Of the tables below. An index of another version is made anew.
const VERSION: i64 = 5;

/// Another program's hold on the index is waited for so long; then this one makes its own in memory.
const PATIENCE: Duration = Duration::from_secs(5);

/// A notebook whose look takes longer is looked through again after [`STALE`] only: what the program itself writes is entered
/// directly.
const QUICK: Duration = Duration::from_millis(60);
const STALE: i64 = 60;

const TABLES: &str = "
CREATE TABLE readings (
  path TEXT PRIMARY KEY, size INTEGER, changed INTEGER, folder_changed INTEGER, lot TEXT, replaced INTEGER, unread TEXT,
  id TEXT, told TEXT, name TEXT, over TEXT, told_stage TEXT, stage TEXT, made_by TEXT, taken_at TEXT, seq INTEGER, rig TEXT,
  load TEXT, channels INTEGER, f0_hz REAL, u_f0_hz REAL, q REAL, u_q REAL, peak_hz REAL, u_peak_hz REAL,
  peak_db REAL, u_peak_db REAL, level_db REAL, u_level_db REAL, ohm20 REAL, verdict TEXT, simulated INTEGER,
  same TEXT, again INTEGER DEFAULT 0, stands INTEGER);
CREATE INDEX by_name ON readings (name, seq);
CREATE INDEX by_standing ON readings (stands, again, name, seq, unread, size, stage, lot, load, rig);
CREATE INDEX by_id ON readings (id);
CREATE INDEX by_same ON readings (same);
CREATE INDEX by_day ON readings (seq);
CREATE INDEX by_mark ON readings (path, size, changed, folder_changed, lot, replaced);
CREATE INDEX unreadable ON readings (unread) WHERE unread IS NOT NULL;
CREATE INDEX copies ON readings (path) WHERE again;
CREATE INDEX told_otherwise ON readings (path) WHERE name IS NOT told OR stage IS NOT told_stage;
CREATE TABLE entries (path TEXT PRIMARY KEY, size INTEGER, changed INTEGER, folder_changed INTEGER, names INTEGER, body TEXT, unread TEXT);
CREATE TABLE looks (notebook TEXT, at INTEGER, took INTEGER);
";

/// From here on all readings are gone through at once instead of each new one, for their names, and for whether they count.
const MANY: usize = 20;
const ALL: usize = 2000;

/// How fresh an answer has to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fresh {
    /// Files changed by others within the last minute may be missed where the notebook is large.
    Usual,
    /// As the files are now.
    Now,
}

pub struct Index {
    db: Connection,
    notebook: PathBuf,
    /// The folders were looked through for this question.
    looked: bool,
}

/// Of a database that cannot be used, whatever the reason: it is made anew.
pub type Asked<T> = std::result::Result<T, rusqlite::Error>;

/// Asks the notebook's index, brought up to date. An index that is broken is made anew, and one that cannot be kept is made in
/// memory. `cache`: where indexes are kept; `now`: second since 1970.
pub fn asked<T>(
    notebook: &Path,
    cache: Option<&Path>,
    fresh: Fresh,
    now: i64,
    question: impl Fn(&Index) -> Asked<T>,
) -> Result<T> {
    look::there(notebook, "`coilwright use --folder DIR` says where readings are kept")?;
    let file = cache.and_then(|c| fileio::kept_of(notebook, c, "sqlite"));
    let once = |file: Option<&Path>| {
        let mut index = Index::open(notebook, file)?;
        index.refresh(fresh, now)?;
        question(&index)
    };
    let kept = file.as_deref().map(|f| {
        once(Some(f)).or_else(|e| match is_busy(&e) {
            // Somebody else's hold on it is no damage.
            true => Err(e),
            false => {
                remove(f);
                once(Some(f))
            }
        })
    });
    match kept {
        Some(Ok(answer)) => Ok(answer),
        _ => once(None).map_err(|e| {
            Failure::new(
                format!("the notebook {} cannot be listed: {e}", notebook.display()),
                "report this line as a fault of the program",
            )
        }),
    }
}

/// Enters a reading that the program has just written, where there is an index: a look finds it otherwise.
pub fn enter(notebook: &Path, cache: Option<&Path>, folder: &Path) {
    let Some(file) = kept(notebook, cache) else { return };
    // Whatever fails here is made good for by the next look.
    let whole = |path: &Path| std::fs::canonicalize(path).ok();
    if let (Some(notebook), Some(folder)) = (whole(notebook), whole(folder)) {
        let _ = Index::open(&notebook, Some(&file)).and_then(|mut index| index.enter(&folder));
    }
}

/// Says that the notebook was changed by the program in more than one reading: the next question looks through it.
pub fn outdated(notebook: &Path, cache: Option<&Path>) {
    let Some(file) = kept(notebook, cache) else { return };
    // Whatever fails here is found within a minute.
    let _ = Index::open(notebook, Some(&file)).and_then(|index| index.db.execute("DELETE FROM looks", []));
}

/// The index of a notebook, where there is one.
fn kept(notebook: &Path, cache: Option<&Path>) -> Option<PathBuf> {
    fileio::kept_of(notebook, cache?, "sqlite").filter(|f| f.is_file())
}

fn is_busy(e: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{DatabaseBusy, DatabaseLocked};
    e.sqlite_error_code()
        .is_some_and(|c| matches!(c, DatabaseBusy | DatabaseLocked))
}

fn remove(file: &Path) {
    for ending in ["", "-wal", "-shm", "-journal"] {
        let mut name = file.as_os_str().to_owned();
        name.push(ending);
        let _ = std::fs::remove_file(PathBuf::from(name));
    }
}

impl Index {
    fn open(notebook: &Path, file: Option<&Path>) -> Asked<Index> {
        let db = match file {
            Some(file) => {
                if let Some(folder) = file.parent() {
                    // Where it cannot be made, opening fails, and the index is one in memory.
                    let _ = std::fs::create_dir_all(folder);
                }
                Connection::open(file)?
            }
            None => Connection::open_in_memory()?,
        };
        db.busy_timeout(PATIENCE)?;
        db.pragma_update(None, "journal_mode", "WAL")?;
        db.pragma_update(None, "synchronous", "NORMAL")?;
        // In kB: a long list is sorted without a file beside it.
        db.pragma_update(None, "cache_size", -32_000)?;
        let version: i64 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
        let index = Index {
            db,
            notebook: notebook.to_path_buf(),
            looked: false,
        };
        if version != VERSION {
            index.make()?;
        }
        Ok(index)
    }

    fn make(&self) -> Asked<()> {
        let all = self.db.unchecked_transaction()?;
        // Of two that begin at once the second finds it made.
        let version: i64 = all.pragma_query_value(None, "user_version", |r| r.get(0))?;
        if version != VERSION {
            all.execute_batch(
                "DROP TABLE IF EXISTS readings; DROP TABLE IF EXISTS entries; DROP TABLE IF EXISTS looks;",
            )?;
            all.execute_batch(TABLES)?;
            all.pragma_update(None, "user_version", VERSION)?;
        }
        all.commit()
    }

    /// Looks through the notebook where the last look is too old.
    fn refresh(&mut self, fresh: Fresh, now: i64) -> Asked<()> {
        let last = self
            .db
            .query_row("SELECT at, took FROM looks", [], |r| Ok((r.get(0)?, r.get(1)?)));
        let last: Option<(i64, i64)> = last.optional()?;
        // A clock that was set back makes no look younger than it is.
        let young = |at: i64| (0..STALE).contains(&(now - at));
        let slow = |took: i64| u128::try_from(took).is_ok_and(|t| t > QUICK.as_millis());
        match last {
            Some((at, took)) if fresh == Fresh::Usual && young(at) && slow(took) => Ok(()),
            _ => self.look(now),
        }
    }

    fn look(&mut self, now: i64) -> Asked<()> {
        self.looked = true;
        let begun = Instant::now();
        let found = look::look(&self.notebook);
        let took = i64::try_from(begun.elapsed().as_millis()).unwrap_or(i64::MAX);
        let (new, gone) = changes(found.readings, &self.marks("readings")?);
        let (new_entries, gone_entries) = changes(found.entries, &self.marks("entries")?);
        let read = parallel::each(&new, |f| seen::read(&self.notebook.join(&f.path)));
        let all = self.db.transaction()?;
        // Of what they were copies of, some other may count now.
        let paths = || new.iter().map(|f| &f.path).chain(&gone);
        let mut same = fill::sames(&all, paths())?;
        for path in &gone {
            all.execute("DELETE FROM readings WHERE path = ?", [path])?;
        }
        for (found, seen) in new.iter().zip(read) {
            fill::put(&all, found, seen)?;
        }
        for path in &gone_entries {
            all.execute("DELETE FROM entries WHERE path = ?", [path])?;
        }
        for found in &new_entries {
            fill::put_entry(&all, &self.notebook, found)?;
        }
        let entries_changed = !gone_entries.is_empty() || !new_entries.is_empty();
        if entries_changed || new.len() > MANY {
            fill::settle(&all, None)?;
        } else {
            for found in &new {
                fill::settle(&all, Some(&found.path))?;
            }
        }
        same.extend(fill::sames(&all, paths())?);
        match same.len() > ALL {
            true => fill::count_once(&all, None)?,
            false => same.iter().try_for_each(|s| fill::count_once(&all, Some(s)))?,
        }
        all.execute("DELETE FROM looks", [])?;
        let notebook = self.notebook.display().to_string();
        all.execute("INSERT INTO looks VALUES (?, ?, ?)", params![notebook, now, took])?;
        all.commit()
    }

    /// Path and mark of all that is kept, by path.
    fn marks(&self, table: &str) -> Asked<Vec<Found>> {
        let more = if table == "readings" {
            "lot, replaced"
        } else {
            "NULL, 0"
        };
        let text =
            format!("SELECT path, size, changed, folder_changed, {more} FROM {table} WHERE size >= 0 ORDER BY path");
        let mut ask = self.db.prepare(&text)?;
        let rows = ask.query_map([], |r| {
            Ok(Found {
                path: r.get(0)?,
                mark: Mark {
                    size: r.get(1)?,
                    changed: r.get(2)?,
                    folder_changed: r.get(3)?,
                },
                lot: r.get(4)?,
                replaced: r.get(5)?,
            })
        })?;
        rows.collect()
    }

    fn enter(&mut self, folder: &Path) -> Asked<()> {
        let inside = folder.strip_prefix(&self.notebook).ok().and_then(Path::to_str);
        let (Some(path), Some(mark)) = (inside, look::mark(folder)) else {
            return Ok(());
        };
        let lot = folder.parent().filter(|p| p.join(TRAY).is_file());
        let found = Found {
            path: path.to_owned(),
            mark,
            lot: lot.map(fileio::name_of),
            replaced: false,
        };
        let seen = seen::read(folder);
        let same = seen.as_ref().ok().and_then(fill::same);
        let all = self.db.transaction()?;
        fill::put(&all, &found, seen)?;
        fill::settle(&all, Some(path))?;
        if let Some(same) = same {
            fill::count_once(&all, Some(&same))?;
        }
        all.commit()
    }

    /// Whether its rows are as the files were a moment ago, so that no file need be looked at again.
    pub fn looked(&self) -> bool {
        self.looked
    }

    /// See [`row::rows`].
    pub fn rows(&self, filter: &Filter) -> Asked<Vec<Row>> {
        row::rows(&self.db, filter)
    }

    /// Those that hold, in order of their time.
    pub fn entries(&self) -> Asked<Vec<Entry>> {
        fill::holding(&self.db, "1")
    }

    /// What could not be read, and why.
    pub fn left_out(&self) -> Asked<Vec<String>> {
        let mut ask = self.db.prepare(
            "SELECT unread FROM readings WHERE unread IS NOT NULL UNION ALL SELECT unread FROM entries WHERE unread IS NOT NULL",
        )?;
        ask.query_map([], |r| r.get(0))?.collect()
    }
}

/// What is new or other than it was, and the paths of what is gone. `known` is in order of its paths.
fn changes(mut found: Vec<Found>, known: &[Found]) -> (Vec<Found>, Vec<String>) {
    found.sort_unstable_by(|a, b| a.path.cmp(&b.path));
    let (mut new, mut gone) = (Vec::new(), Vec::new());
    let mut rest = known.iter().peekable();
    for one in found {
        while let Some(lost) = rest.next_if(|k| k.path < one.path) {
            gone.push(lost.path.clone());
        }
        match rest.next_if(|k| k.path == one.path) {
            Some(old) if *old == one => {}
            _ => new.push(one),
        }
    }
    gone.extend(rest.map(|k| k.path.clone()));
    (new, gone)
}
