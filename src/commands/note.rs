//! `note`: adds to a record what was found out later.

use serde::Serialize;

use super::{outcome, wanted};
use crate::book::entry::{Entry, What};
use crate::cli::args::NoteArgs;
use crate::cli::context::now;
use crate::commands::prelude::*;
use crate::record::Record;
use crate::record::meters::{Column, Kind, Reading};
use crate::record::notes::{self, Note};
use crate::report::{entry_words, text};

mod said;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/noted/1")]
struct Noted {
    records: Vec<OfRecord>,
    /// What was said of pickups rather than of one reading.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    entries: Vec<Entry>,
}

#[derive(Debug, Serialize)]
struct OfRecord {
    record: String,
    pickup: String,
    /// All that is beside it, the new one last.
    notes: Vec<Note>,
    written: Option<String>,
}

pub fn run(args: &NoteArgs, console: &mut Console) -> Result<Status> {
    let defaults = Defaults::here()?;
    let readings = readings(args, defaults.columns.as_deref().unwrap_or_default())?;
    let words = args.text.as_deref().map(str::trim).filter(|t| !t.is_empty());
    if args.text.is_some() && words.is_none() {
        return Err(Failure::new("--text is empty", "write what there is to note"));
    }
    let asked = words.is_some() || !readings.is_empty() || args.withdraw.is_some();
    let said = said::is_asked(args);
    // All are read before anything is written. A pickup that was never measured has no record yet, and may have its recipe.
    let mut records: Vec<(PathBuf, Record)> = match asked || args.stage.is_some() || !said {
        true => args.records.iter().map(|w| wanted::placed(w)).collect::<Result<_>>()?,
        false => Vec::new(),
    };
    for (place, _) in &mut records {
        *place = folder_of(place)?;
    }
    let planned = said.then(|| said::planned(args, &records)).transpose()?;
    if let Some(n) = args.withdraw {
        known_number(n, &records)?;
    }
    for doubt in readings.iter().filter_map(Reading::doubt) {
        let back = "`coilwright note RECORD --withdraw NUMBER` takes it back";
        console.remark(&format!("{doubt} {back}"));
    }
    let mut written = Vec::new();
    for (folder, record) in records.iter_mut().filter(|_| asked) {
        let room_c = args.room.or(defaults.room_c);
        let mut note = Note {
            withdraws: args.withdraw,
            ..Note::new(now(), &record.id, words, readings.clone(), room_c)
        };
        written.push(notes::add(folder, &mut note)?);
        record.noted = notes::beside(folder, &record.id)?;
        wanted::entered(folder);
    }
    let entries = match planned {
        Some((notebook, planned)) => said::write(&notebook, planned)?,
        None => Vec::new(),
    };
    let shown = if asked || !said { &records[..] } else { &[] };
    show(args, shown, &written, entries, console)?;
    Ok(Status::Done)
}

/// What meters read, as it was typed.
fn readings(args: &NoteArgs, columns: &[Column]) -> Result<Vec<Reading>> {
    let mut readings = Vec::new();
    for (kind, texts) in [
        (Kind::Ohms, &args.ohms),
        (Kind::Lcr, &args.lcr),
        (Kind::Gauss, &args.gauss),
    ] {
        for text in texts {
            readings.push(Reading::parse(kind, text, columns)?);
        }
    }
    let given = args.records.len();
    if !readings.is_empty() && given > 1 {
        return Err(Failure::new(
            format!("a meter's reading is of one pickup, and {given} records are given"),
            "note readings with one record at a time; --text may go to several",
        ));
    }
    // The room says something of readings alone.
    if args.room.is_some() && readings.is_empty() {
        return Err(Failure::new(
            "--room has no reading to go with",
            "give --ohms, --lcr or --gauss with it",
        ));
    }
    Ok(readings)
}

fn known_number(n: u32, records: &[(PathBuf, Record)]) -> Result<()> {
    let [(folder, record)] = records else {
        return Err(Failure::new(
            "--withdraw is of one record's note",
            "give one record at a time",
        ));
    };
    if record.noted.iter().any(|note| note.number == n) {
        return Ok(());
    }
    Err(Failure::new(
        format!("{} has no note {n} that holds", folder.display()),
        "`coilwright note RECORD` shows them with their numbers",
    ))
}

fn show(
    args: &NoteArgs,
    records: &[(PathBuf, Record)],
    written: &[PathBuf],
    mut entries: Vec<Entry>,
    console: &mut Console,
) -> Result<()> {
    let all = records.iter().enumerate().map(|(i, (_, r))| (r, written.get(i)));
    if args.shown.json {
        if !args.with_recipe {
            entries.iter_mut().for_each(keep_recipe);
        }
        let one = |(r, path): (&'_ Record, Option<&PathBuf>)| OfRecord {
            record: r.id.clone(),
            pickup: r.pickup.name.clone(),
            notes: r.noted.clone(),
            written: path.map(|p| p.display().to_string()),
        };
        let records = all.map(one).collect();
        return console.json(&Noted { records, entries });
    }
    for (record, path) in all {
        let path = path.map(PathBuf::as_path);
        console.result(&text::notes_text(record, path, outcome::style(args.shown)))?;
    }
    for entry in &entries {
        let who = entry.what.pickups().first().map_or(String::new(), |p| format!("{p}: "));
        console.words(&format!("{who}{}\n", entry_words::sentence(entry)))?;
    }
    Ok(())
}

/// What went into a pickup stays in the shop: a design's new version has words in it that nobody typed just now.
fn keep_recipe(entry: &mut Entry) {
    if let What::Recipe { words, .. } | What::Design { words, .. } = &mut entry.what {
        words.clear();
    }
}

/// Where a record's notes go: beside its record.json, the only name under which they are found again.
fn folder_of(path: &Path) -> Result<PathBuf> {
    if path.is_dir() {
        return Ok(path.to_path_buf());
    }
    match path.file_name().is_some_and(|n| n == "record.json") {
        true => {
            let parent = path.parent().filter(|p| !p.as_os_str().is_empty());
            Ok(parent.unwrap_or(Path::new(".")).to_path_buf())
        }
        false => Err(Failure::new(
            format!("{} is not in a folder of its own as record.json", path.display()),
            "give the record's folder; its notes lie beside it",
        )),
    }
}
