//! Which record a word means: a path, or the name of a pickup with a stage, a day or a number behind it.

use std::path::{Path, PathBuf};

use super::index::{Asked, Index};
use super::row::{Filter, Row, in_order, pattern, span_of};
use crate::failure::{Failure, Result};
use crate::record::Verdict;
use crate::record::stage::Stage;

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

/// What a word means.
#[derive(Debug, Clone, PartialEq)]
pub enum Meant {
    /// A record's file, or the folder that holds it.
    Path(PathBuf),
    /// A folder of readings, as a pickup's.
    Folder(PathBuf),
    /// Readings of the notebook: by the pickup's name, a pattern of names, and what stands behind it.
    Named(Named),
}

impl Meant {
    pub fn named(&self) -> Option<&Named> {
        match self {
            Meant::Named(named) => Some(named),
            _ => None,
        }
    }
}

/// "neck-7", "neck-*", "neck-7@after wax", "neck-7@2026-03", "neck-7#0003".
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    pub word: String,
    pub name: String,
    pub which: Which,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Which {
    /// The latest.
    Latest,
    Stage(Stage),
    /// Of a day, a month, a year.
    Day(i64, i64),
    /// The number of its folder.
    Number(u32),
}

/// Refuses a name that would mean something else as a word.
pub fn sound_name(name: &str) -> Result<()> {
    match name.chars().any(|c| "*@#".contains(c) || c.is_control()) {
        true => Err(Failure::new(
            format!("{name:?} would not be understood as a name: *, @ and # mean something behind one"),
            "write neck-7 for neck #7",
        )),
        false => Ok(()),
    }
}

/// What is written. A word that is there as a file or a folder with a reading means that.
pub fn meant(word: &Path) -> Result<Meant> {
    let text = word.to_string_lossy();
    let there = word.symlink_metadata().is_ok();
    let one = word.components().count() == 1 && !text.ends_with(".json") && !text.contains(['/', '\\']);
    let record = word.join("record.json").symlink_metadata().is_ok();
    if record || (there && !word.is_dir()) {
        return Ok(Meant::Path(word.to_path_buf()));
    }
    match one {
        true => named(&text).map(Meant::Named),
        false if there => Ok(Meant::Folder(word.to_path_buf())),
        false => Ok(Meant::Path(word.to_path_buf())),
    }
}

/// What a name with or without something behind it means.
pub fn named(text: &str) -> Result<Named> {
    let of = |name: &str, which| Named {
        word: text.to_owned(),
        name: name.to_owned(),
        which,
    };
    if let Some((name, number)) = text.rsplit_once('#')
        && let Ok(number) = number.parse()
    {
        return Ok(of(name, Which::Number(number)));
    }
    let Some((name, behind)) = text.rsplit_once('@') else {
        return Ok(of(text, Which::Latest));
    };
    let day = || span_of(behind).map(|(from, until)| Which::Day(from, until));
    match day().or_else(|| Stage::of(behind).map(Which::Stage)) {
        Some(which) => Ok(of(name, which)),
        None => Err(Failure::new(
            format!("{text}: behind the @ stands neither a stage nor a day"),
            "write neck-7@after-wax, neck-7@2026-03 or neck-7#0003",
        )),
    }
}

impl Named {
    /// Whether it may mean several pickups.
    pub fn is_pattern(&self) -> bool {
        self.name.contains('*')
    }

    /// The readings that it may mean, in order of their time; none of them rejected.
    pub fn readings(&self, index: &Index) -> Asked<Vec<Row>> {
        let mut rows = self.meant(index)?;
        rows.retain(|r| r.verdict != Some(Verdict::Rejected) && !r.replaced);
        Ok(in_order(rows))
    }

    fn meant(&self, index: &Index) -> Asked<Vec<Row>> {
        // An old name may have a # or an @ in it.
        let whole = match self.which {
            Which::Latest => Vec::new(),
            _ => index.rows(&Filter::life(&self.word))?,
        };
        if !whole.is_empty() {
            return Ok(whole);
        }
        let (since, until) = match self.which {
            Which::Day(from, until) => (Some(from), Some(until)),
            _ => (None, None),
        };
        let filter = Filter {
            names: vec![pattern(&self.name)],
            stage: match &self.which {
                Which::Stage(stage) => Some(stage.text().to_owned()),
                _ => None,
            },
            since,
            until,
            all: true,
            ..Filter::default()
        };
        let mut rows = index.rows(&filter)?;
        // A folder that somebody renamed by hand is still known by its name.
        if rows.is_empty() && !self.is_pattern() {
            rows = index.rows(&Filter {
                names: Vec::new(),
                ..filter
            })?;
            rows.retain(|r| folder(&r.path).is_some_and(|f| f == self.name));
        }
        if let Which::Number(n) = self.which {
            rows.retain(|r| number(&r.path) == Some(n));
        }
        Ok(rows)
    }

    /// Whatever lies in a folder that was given.
    pub fn of_folder(folder: &Path) -> Named {
        Named {
            word: folder.display().to_string(),
            name: folder.display().to_string(),
            which: Which::Latest,
        }
    }

    /// Why there is none.
    pub fn nothing(&self, notebook: &Path) -> Failure {
        let behind = match &self.which {
            Which::Latest => String::new(),
            Which::Stage(stage) => format!(" at the stage {:?}", stage.text()),
            Which::Day(..) => " of that time".into(),
            Which::Number(n) => format!(" with the number {n:04}"),
        };
        match behind.is_empty() {
            true => Failure::new(
                format!(
                    "there is no record and no pickup {} with a usable reading in {}",
                    self.name,
                    notebook.display()
                ),
                "give a record's folder, or a pickup's name as `coilwright book` lists it",
            ),
            false => Failure::new(
                format!("{} has no reading{behind} that can be used", self.name),
                format!("`coilwright book {}` shows those that it has", self.name),
            ),
        }
    }
}

/// The pickup's folder, above that of the reading.
fn folder(path: &Path) -> Option<String> {
    let numbered = number(path).is_some();
    let own = if numbered { path.parent()? } else { path };
    Some(crate::fileio::name_of(own))
}

/// The number of a reading's folder.
pub fn number(path: &Path) -> Option<u32> {
    let name = crate::fileio::name_of(path);
    (name.len() >= 4).then(|| name.parse().ok()).flatten()
}

/// The latest reading of each pickup and kind, those of one pickup with the latest first.
fn latest(rows: &[Row]) -> Vec<Vec<&Row>> {
    let mut pickups: Vec<Vec<&Row>> = Vec::new();
    for row in rows.iter().rev() {
        match pickups.iter_mut().find(|p| p[0].name == row.name) {
            Some(kinds) if kinds.iter().any(|r| r.kind() == row.kind()) => {}
            Some(kinds) => kinds.push(row),
            None => pickups.push(vec![row]),
        }
    }
    pickups.sort_by(|a, b| a[0].name.cmp(&b[0].name));
    pickups
}

/// The one reading that a name means: its latest, where all are of one coil under one load on one rig.
pub fn one<'a>(named: &Named, rows: &'a [Row], notebook: &Path) -> Result<&'a Row> {
    // Two pickups that became one may both have it.
    if let (Which::Number(_), [first, _, ..]) = (&named.which, rows)
        && first.name != named.word
    {
        let all: Vec<&Row> = rows.iter().collect();
        return Err(one_of(
            &all,
            notebook,
            format!("{} means {} readings", named.word, all.len()),
        ));
    }
    match latest(rows).as_slice() {
        [] => Err(named.nothing(notebook)),
        [kinds] => match kinds.as_slice() {
            [one] => Ok(one),
            several => Err(kinds_of(named, several, notebook, "")),
        },
        several => Err(Failure::new(
            format!("{} means {} pickups, and one is asked for", named.word, several.len()),
            "give one of their names",
        )),
    }
}

fn kinds_of(named: &Named, rows: &[&Row], notebook: &Path, more: &str) -> Failure {
    let what = format!("{} has readings of {} kinds{more}", named.word, rows.len());
    one_of(rows, notebook, what)
}

fn one_of(rows: &[&Row], notebook: &Path, what: String) -> Failure {
    let one = |r: &&Row| format!("{} ({})", notebook.join(&r.path).display(), r.described());
    let all: Vec<String> = rows.iter().map(one).collect();
    Failure::new(what, format!("give one of them: {}", all.join(", ")))
}

/// The readings that several names mean together: each one's latest of the kind that all of them have, the latest such.
pub fn together<'a>(list: &[(Named, &'a [Row])], notebook: &Path) -> Result<Vec<Vec<&'a Row>>> {
    let latest: Vec<(&Named, Vec<Vec<&Row>>)> = list.iter().map(|(n, rows)| (n, latest(rows))).collect();
    if let Some((named, _)) = latest.iter().find(|(_, pickups)| pickups.is_empty()) {
        return Err(named.nothing(notebook));
    }
    let pickups = || latest.iter().flat_map(|(_, pickups)| pickups);
    let in_all = |r: &&&Row| pickups().all(|kinds| kinds.iter().any(|o| o.kind() == r.kind()));
    let shared = pickups().next().and_then(|kinds| kinds.iter().find(in_all).copied());
    let one = |named: &Named, kinds: &[&'a Row]| {
        let of_shared = shared.and_then(|s| kinds.iter().find(|r| r.kind() == s.kind()));
        match (of_shared, kinds) {
            (Some(row), _) => Ok(*row),
            (None, [one]) => Ok(*one),
            (None, several) => Err(kinds_of(
                named,
                several,
                notebook,
                ", and none that the others have too",
            )),
        }
    };
    let each = latest.iter();
    each.map(|(named, pickups)| pickups.iter().map(|kinds| one(named, kinds)).collect())
        .collect()
}

/// The last readings of a pickup's last two stages, of one coil and under one load.
pub fn two_stages<'a>(named: &Named, rows: &'a [Row], notebook: &Path) -> Result<[&'a Row; 2]> {
    let Some(last) = rows.last() else {
        return Err(named.nothing(notebook));
    };
    let alike = |r: &&Row| r.over == last.over && r.load == last.load && r.stage != last.stage;
    match rows.iter().rev().find(alike) {
        Some(before) => Ok([before, last]),
        None => Err(Failure::new(
            format!("{} has no two stages under one load", named.word),
            format!(
                "measure it again with --stage, or give two readings, such as {0}#0001 and {0}#0002",
                named.name
            ),
        )),
    }
}
