//! `book sent`: pickups that leave the shop, each with the reading that it left with.

use serde::Serialize;

use crate::book::entry::What;
use crate::book::index::Fresh;
use crate::book::row::{Filter, Row};
use crate::cli::args::SentArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, wanted};
use crate::report::text;

/// To whom is not in it: that stands in the notebook alone.
#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/sent/1")]
struct Sent {
    sent: Vec<One>,
}

#[derive(Debug, Serialize)]
struct One {
    pickup: String,
    /// Id of the reading it left with.
    record: String,
    taken_at: String,
    /// Id of the entry.
    entry: String,
    at: String,
}

pub fn run(args: &SentArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    if args.record.is_some() && args.names.len() > 1 {
        return Err(Failure::new(
            "--record is one pickup's reading, and several pickups are sent",
            "send that one by itself",
        ));
    }
    // All of them are found before anything is written, and the folders are looked through once.
    let fresh = std::iter::once(Fresh::Now).chain(std::iter::repeat(Fresh::Usual));
    let with = args.names.iter().zip(fresh).map(|(name, fresh)| match &args.record {
        Some(path) => given(&notebook, path, name),
        None => latest(&notebook, name, fresh),
    });
    let with: Vec<Row> = with.collect::<Result<_>>()?;
    let mut sent = Vec::new();
    for (pickup, reading) in args.names.iter().cloned().zip(with) {
        let what = What::Sent {
            pickup: pickup.clone(),
            record: Some(reading.id.clone()),
            to: args.to.clone(),
        };
        let entry = wanted::say(&notebook, what)?;
        sent.push(One {
            pickup,
            record: reading.id,
            taken_at: reading.taken_at,
            entry: entry.id,
            at: entry.at,
        });
    }
    let lines = sent.iter().map(|s| text::sent_text(&s.pickup, &s.taken_at));
    let words: String = lines.collect();
    outcome::say_words(&Sent { sent }, args.shown, console, &words)
}

/// The reading that was named.
fn given(notebook: &Path, path: &Path, name: &str) -> Result<Row> {
    let (_, record) = wanted::placed(path)?;
    let mut own = readings(notebook, name, Fresh::Now)?.into_iter();
    own.find(|r| r.id == record.id).ok_or_else(|| {
        Failure::new(
            format!(
                "{} is a reading of {}, not of {name}",
                path.display(),
                record.pickup.name
            ),
            "give one of its own",
        )
    })
}

/// A pickup's latest.
fn latest(notebook: &Path, name: &str, fresh: Fresh) -> Result<Row> {
    readings(notebook, name, fresh)?.pop().ok_or_else(|| {
        Failure::new(
            format!("{name} has no reading that can be used in {}", notebook.display()),
            format!("measure it before it leaves: coilwright measure {name}"),
        )
    })
}

/// Those of a pickup that say what it is, in order of their time.
pub fn readings(notebook: &Path, name: &str, fresh: Fresh) -> Result<Vec<Row>> {
    let filter = Filter::life(name);
    let mut rows = wanted::ask(notebook, fresh, |index| index.rows(&filter))?;
    rows.retain(Row::is_its_own);
    rows.sort_by_key(|r| r.seq);
    Ok(rows)
}
