//! Notes beside a record: what was found out later. Each is a file of its own, so that nothing written before is touched.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::meters::Reading;
use crate::failure::{Failure, Result, of_kind};
use crate::fileio;

pub const SCHEMA: &str = "coilwright/note/1";

const MOST_BYTES: u64 = 1 << 20;
/// More notes than anybody writes.
const MOST_NOTES: u32 = 9999;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    pub schema: String,
    /// RFC 3339 with offset.
    pub noted_at: String,
    /// Id of the record that it lies beside.
    pub record: String,
    pub text: Option<String>,
    pub readings: Vec<Reading>,
    /// The room's temperature in degrees Celsius when the readings were made, as typed in.
    pub temperature_c: Option<f64>,
    /// Number of an earlier note beside the same record that holds no more. Its file stays.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdraws: Option<u32>,
    /// That of its file.
    #[serde(skip)]
    pub number: u32,
}

impl Note {
    /// With a record, now. The room says something of readings alone.
    pub fn new(
        noted_at: String,
        record: &str,
        text: Option<&str>,
        readings: Vec<Reading>,
        temperature_c: Option<f64>,
    ) -> Note {
        Note {
            schema: SCHEMA.into(),
            noted_at,
            record: record.to_owned(),
            text: text.map(str::to_owned),
            temperature_c: temperature_c.filter(|_| !readings.is_empty()),
            readings,
            withdraws: None,
            number: 0,
        }
    }

    pub fn parse(bytes: &[u8], path: &Path) -> Result<Note> {
        let wrong = |why: String| {
            Failure::new(
                format!("{} is no note: {why}", path.display()),
                "correct it, or move it out of the record's folder",
            )
        };
        let n: Note = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
        of_kind(&n.schema, SCHEMA).map_err(|what| wrong(format!("it {what}")))?;
        let cold = n.temperature_c.is_some_and(|t| !(-100.0..=200.0).contains(&t));
        if cold || !n.readings.iter().all(Reading::possible) {
            return Err(wrong("it holds a figure that no meter shows".into()));
        }
        Ok(n)
    }
}

/// The number of a note's file.
fn number(name: &str) -> Option<u32> {
    name.strip_prefix("note-")?.strip_suffix(".json")?.parse().ok()
}

/// The notes' files in a folder, in their order.
fn numbered(folder: &Path) -> Result<Vec<(u32, PathBuf)>> {
    let list = std::fs::read_dir(folder).map_err(|e| Failure::io("read", folder, &e))?;
    let mut found: Vec<(u32, PathBuf)> = list
        .flatten()
        .filter_map(|e| Some((number(&e.file_name().to_string_lossy())?, e.path())))
        .collect();
    found.sort();
    Ok(found)
}

/// The notes in the folder of the record with this id that hold, in their order.
pub fn beside(folder: &Path, record: &str) -> Result<Vec<Note>> {
    Ok(every(folder, record)?.0)
}

/// The notes that hold, and those that were withdrawn.
pub fn every(folder: &Path, record: &str) -> Result<(Vec<Note>, Vec<Note>)> {
    let mut all: Vec<Note> = Vec::new();
    for (number, path) in numbered(folder)? {
        let note = Note::parse(&fileio::read_limited(&path, MOST_BYTES)?, &path)?;
        if note.record != record {
            return Err(Failure::new(
                format!("{} is a note on another record ({})", path.display(), note.record),
                "move it to the folder of that record",
            ));
        }
        all.push(Note { number, ..note });
    }
    let gone: Vec<(u32, u32)> = all.iter().filter_map(|n| Some((n.withdraws?, n.number))).collect();
    // A note withdraws what was before it; one that is withdrawn itself withdraws nothing.
    let mut off: Vec<u32> = Vec::new();
    for (what, by) in gone.into_iter().rev() {
        if what < by && !off.contains(&by) {
            off.push(what);
        }
    }
    Ok(all.into_iter().partition(|n| !off.contains(&n.number)))
}

/// Puts a note beside a record, under the next number, which it is given; what is there stays.
pub fn add(folder: &Path, note: &mut Note) -> Result<PathBuf> {
    let bytes = fileio::pretty(note, "the note")?;
    // Behind the last one, though one before it may have been taken away: the last reading is the newest.
    let last = numbered(folder)?.last().map_or(0, |n| n.0);
    for n in last.saturating_add(1)..=MOST_NOTES {
        let path = folder.join(format!("note-{n:04}.json"));
        match fileio::write_new(&path, &bytes) {
            Ok(()) => {
                note.number = n;
                return Ok(path);
            }
            // Somebody else was faster: the next number then.
            Err(_) if path.symlink_metadata().is_ok() => {}
            Err(e) => return Err(e),
        }
    }
    Err(Failure::new(
        format!("{} holds {MOST_NOTES} notes", folder.display()),
        "measure again, and note with the new record",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(text: &str) -> Note {
        Note {
            schema: SCHEMA.into(),
            noted_at: "2026-03-02T09:00:00+01:00".into(),
            record: "x".into(),
            text: Some(text.into()),
            readings: vec![Reading::Ohms {
                meter: "meter A".into(),
                ohm: 6050.0,
            }],
            temperature_c: Some(21.0),
            withdraws: None,
            number: 0,
        }
    }

    fn texts(folder: &Path) -> Vec<String> {
        let all = beside(folder, "x").unwrap();
        all.into_iter().filter_map(|n| n.text).collect()
    }

    #[test]
    fn a_withdrawn_note_holds_no_more_and_stays() {
        let dir = tempfile::tempdir().unwrap();
        let mut wrong = note("6.05 typed for 6.05k");
        let file = add(dir.path(), &mut wrong).unwrap();
        add(dir.path(), &mut note("two")).unwrap();
        let mut back = Note {
            withdraws: Some(wrong.number),
            readings: Vec::new(),
            ..note("slip")
        };
        add(dir.path(), &mut back).unwrap();
        assert_eq!((wrong.number, back.number), (1, 3));
        assert_eq!(texts(dir.path()), ["two", "slip"]);
        assert!(file.exists());
        // What withdraws can be withdrawn as well, and what comes later is none of its business.
        let mut again = Note {
            withdraws: Some(3),
            ..note("no slip after all")
        };
        add(dir.path(), &mut again).unwrap();
        let mut ahead = Note {
            withdraws: Some(9),
            ..note("ahead")
        };
        add(dir.path(), &mut ahead).unwrap();
        assert_eq!(
            texts(dir.path()),
            ["6.05 typed for 6.05k", "two", "no slip after all", "ahead"]
        );
        let e = beside(dir.path(), "y").unwrap_err().to_string();
        assert!(e.contains("note-0001.json is a note on another record (x)"), "{e}");
    }

    #[test]
    fn notes_are_added_and_never_rewritten() {
        let dir = tempfile::tempdir().unwrap();
        let first = add(dir.path(), &mut note("one")).unwrap();
        assert!(first.ends_with("note-0001.json"));
        let before = std::fs::read(&first).unwrap();
        assert!(add(dir.path(), &mut note("two")).unwrap().ends_with("note-0002.json"));
        assert_eq!(std::fs::read(&first).unwrap(), before);
        assert_eq!(texts(dir.path()), ["one", "two"]);
        // A gap is not filled.
        std::fs::remove_file(&first).unwrap();
        assert!(add(dir.path(), &mut note("three")).unwrap().ends_with("note-0003.json"));
        std::fs::remove_file(dir.path().join("note-0003.json")).unwrap();
        add(dir.path(), &mut note("one")).unwrap();
        // What else lies there is no note; what calls itself one must be one.
        std::fs::write(dir.path().join("notes.json"), "x").unwrap();
        assert_eq!(beside(dir.path(), "x").unwrap().len(), 2);
        for bad in ["{", "{\"schema\": \"coilwright/note/2\"}"] {
            std::fs::write(dir.path().join("note-0003.json"), bad).unwrap();
            assert!(
                beside(dir.path(), "x")
                    .unwrap_err()
                    .to_string()
                    .contains("note-0003.json is no note")
            );
        }
        let wild = Note {
            readings: vec![Reading::Ohms {
                meter: "m".into(),
                ohm: -1.0,
            }],
            ..note("x")
        };
        std::fs::write(dir.path().join("note-0003.json"), serde_json::to_vec(&wild).unwrap()).unwrap();
        assert!(
            beside(dir.path(), "x")
                .unwrap_err()
                .to_string()
                .contains("no meter shows")
        );
    }
}
