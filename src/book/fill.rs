//! Fills the index's tables: a reading, an entry, and what entries make of readings.

use std::collections::BTreeSet;
use std::path::Path;

use rusqlite::{OptionalExtension, Result as Asked, Transaction, params};

use super::entries;
use super::entry::{Entry, What};
use super::look::{Found, Mark};
use super::row::{self, Figure, Row};
use super::seen::sequence;
use crate::failure::Result;
use crate::record::when::moment;
use crate::record::{Verdict, is_at_the_jack};

pub fn put(all: &Transaction, found: &Found, seen: Result<Row>) -> Asked<()> {
    let mark = found.mark;
    let (seen, unread) = match seen {
        Ok(seen) => (seen, None),
        Err(e) => (Row::default(), Some(e.to_string())),
    };
    let of = |f: Figure| (f.map(|f| f.0), f.map(|f| f.1));
    let [f0, q, peak, height, level] = [seen.f0_hz, seen.q, seen.peak_hz, seen.peak_db, seen.level_db].map(of);
    let verdict = seen.verdict.and_then(|v| serde_json::to_string(&v).ok());
    let copied = same(&seen);
    let at_the_jack = is_at_the_jack(seen.over.as_deref());
    let stands = unread.is_none() && !found.replaced && seen.verdict != Some(Verdict::Rejected) && !at_the_jack;
    let mut put = all.prepare_cached(
        "INSERT OR REPLACE INTO readings VALUES
         (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,0,?)",
    )?;
    put.execute(params![
        found.path,
        mark.size,
        mark.changed,
        mark.folder_changed,
        found.lot,
        found.replaced,
        unread,
        seen.id,
        seen.name,
        seen.name,
        seen.over,
        seen.stage,
        seen.stage,
        seen.by,
        seen.taken_at,
        seen.seq,
        seen.rig,
        seen.load,
        seen.channels,
        f0.0,
        f0.1,
        q.0,
        q.1,
        peak.0,
        peak.1,
        height.0,
        height.1,
        level.0,
        level.1,
        seen.ohm20,
        verdict,
        seen.simulated,
        copied,
        stands,
    ])?;
    Ok(())
}

pub fn put_entry(all: &Transaction, notebook: &Path, found: &Found) -> Asked<()> {
    let read = entries::read(&notebook.join(&found.path));
    let mark = found.mark;
    let (body, unread) = match &read {
        Ok(entry) => (serde_json::to_string(entry).ok(), None),
        Err(e) => (None, Some(e.to_string())),
    };
    let names = read.is_ok_and(|e| matches!(e.what, What::Rename { .. } | What::Stage { .. } | What::Undo { .. }));
    all.execute(
        "INSERT OR REPLACE INTO entries VALUES (?,?,?,?,?,?,?)",
        params![
            found.path,
            mark.size,
            mark.changed,
            mark.folder_changed,
            names,
            body,
            unread
        ],
    )?;
    Ok(())
}

/// Those that hold, in order of their time; `condition`: of the table of entries.
pub fn holding(db: &rusqlite::Connection, condition: &str) -> Asked<Vec<Entry>> {
    let mut ask = db.prepare(&format!(
        "SELECT body FROM entries WHERE body IS NOT NULL AND {condition}"
    ))?;
    let bodies: Vec<String> = ask.query_map([], |r| r.get(0))?.collect::<Asked<_>>()?;
    let read = bodies.iter().filter_map(|b| serde_json::from_str(b).ok());
    Ok(entries::holding(read.collect()))
}

/// Names and stages as the entries have them: of all readings, or of one.
pub fn settle(all: &Transaction, path: Option<&str>) -> Asked<()> {
    let only = |text: &str| match path {
        Some(_) => format!("{text} path = ?1 AND "),
        None => format!("{text} ?1 IS NULL AND "),
    };
    // Few were ever told otherwise, and an index has those.
    let otherwise = "(name IS NOT told OR stage IS NOT told_stage)";
    all.execute(
        &(only("UPDATE readings SET name = told, stage = told_stage WHERE") + otherwise),
        [path],
    )?;
    // One new reading does not wait for long lists of old ones.
    let list = match path {
        Some(_) => holding(all, "names")?,
        None => {
            let list = holding(all, "1")?;
            put_paper(all, &list)?;
            list
        }
    };
    for entry in &list {
        let until = sequence(moment(&entry.at).map_or(i64::MAX, |t| t.as_second()), "9999");
        match &entry.what {
            What::Rename {
                pickup,
                to,
                record: None,
            } => {
                let text = only("UPDATE readings SET name = ?2 WHERE") + "name = ?3 AND seq <= ?4";
                all.execute(&text, params![path, to, pickup, until])?;
            }
            What::Rename {
                to, record: Some(id), ..
            } => {
                let text = only("UPDATE readings SET name = ?2 WHERE") + "id = ?3";
                all.execute(&text, params![path, to, id])?;
            }
            What::Stage { record, stage, .. } => {
                let text = only("UPDATE readings SET stage = ?2 WHERE") + "id = ?3";
                all.execute(&text, params![path, stage.text(), record])?;
            }
            _ => {}
        }
    }
    Ok(())
}

/// Readings of a notebook on paper stand among the others, marked by a size that no file has.
fn put_paper(all: &Transaction, list: &[Entry]) -> Asked<()> {
    all.execute("DELETE FROM readings WHERE size < 0", [])?;
    for entry in list {
        let What::Paper { rows, .. } = &entry.what else {
            continue;
        };
        for (n, line) in rows.iter().enumerate() {
            let id = format!("{}.{}", entry.id, n + 1);
            let seen = Row {
                id: id.clone(),
                name: line.pickup.clone(),
                stage: line.stage.as_ref().map(|s| s.text().to_owned()),
                taken_at: line.day.clone(),
                seq: sequence(row::second_of(&line.day).unwrap_or(0), &id),
                ohm20: line.ohm,
                ..Row::default()
            };
            let found = Found {
                path: format!("{}/{id}", entries::FOLDER),
                mark: Mark {
                    size: -1,
                    ..Mark::default()
                },
                lot: None,
                replaced: false,
            };
            put(all, &found, Ok(seen))?;
        }
    }
    Ok(())
}

/// A reading that lies in the notebook twice counts once, by the one that stands: all of them, or those of one. The shorter path is
/// the one that copies were made from, as a rule.
pub fn count_once(all: &Transaction, same: Option<&str>) -> Asked<()> {
    const FIRST: &str =
        "(SELECT path FROM readings AS r WHERE r.same = readings.same ORDER BY replaced, length(path), path LIMIT 1)";
    match same {
        Some(same) => all.execute(
            &format!("UPDATE readings SET again = path != {FIRST} WHERE same = ?1"),
            [same],
        )?,
        None => {
            all.execute("UPDATE readings SET again = 0 WHERE again", [])?;
            let text = "UPDATE readings SET again = 1 WHERE path != ";
            let several = "AND same IN (SELECT same FROM readings GROUP BY same HAVING count(*) > 1)";
            all.execute(&format!("{text}{FIRST} {several}"), [])?
        }
    };
    Ok(())
}

/// Of these paths, what is kept of [`same`].
pub fn sames<'a>(all: &Transaction, paths: impl Iterator<Item = &'a String>) -> Asked<BTreeSet<String>> {
    let mut ask = all.prepare_cached("SELECT same FROM readings WHERE path = ? AND same IS NOT NULL")?;
    let each = paths.map(|path| ask.query_row([path], |r| r.get(0)).optional());
    each.filter_map(Asked::transpose).collect()
}

/// What two copies of one reading have in common; `None` where nobody can tell. The built-in bench makes the same take twice
/// within a second, under two loads.
pub fn same(seen: &Row) -> Option<String> {
    let told = |text: &Option<String>| text.as_ref().map_or(String::new(), |t| format!("+{t}"));
    (!seen.id.is_empty()).then(|| [seen.id.clone(), told(&seen.over), told(&seen.load)].join("|"))
}
