//! `book sent`: pickups that leave the shop, each with the reading that it left with.

use std::path::Path;

use serde::Serialize;

use crate::book::entry::What;
use crate::book::index::Fresh;
use crate::book::row::{Filter, Row};
use crate::cli::args::SentArgs;
use crate::cli::console::Console;
use crate::commands::wanted;
use crate::failure::{Failure, Result, Status};
use crate::report::text;

/// To whom is not in it: that stands in the notebook alone.
#[derive(Debug, Serialize)]
struct Sent {
    schema: &'static str,
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
    // All of them are found before anything is written.
    let with: Vec<(String, String, String)> = args
        .names
        .iter()
        .enumerate()
        .map(|(i, name)| {
            // The folders are looked through once.
            let fresh = if i == 0 { Fresh::Now } else { Fresh::Usual };
            let reading = match &args.record {
                Some(path) => given(&notebook, path, name)?,
                None => latest(&notebook, name, fresh)?,
            };
            Ok((name.clone(), reading.0, reading.1))
        })
        .collect::<Result<_>>()?;
    let mut sent = Vec::new();
    for (pickup, record, taken_at) in with {
        let what = What::Sent {
            pickup: pickup.clone(),
            record: Some(record.clone()),
            to: args.to.clone(),
        };
        let entry = wanted::say(&notebook, what)?;
        sent.push(One {
            pickup,
            record,
            taken_at,
            entry: entry.id,
            at: entry.at,
        });
    }
    if args.shown.json {
        console.json(&Sent {
            schema: "coilwright/sent/1",
            sent,
        })?;
        return Ok(Status::Done);
    }
    let lines = sent.iter().map(|s| text::sent_text(&s.pickup, &s.taken_at));
    console.words(&lines.collect::<String>())?;
    Ok(Status::Done)
}

/// Id and time of the reading that was named.
fn given(notebook: &Path, path: &Path, name: &str) -> Result<(String, String)> {
    let (_, record) = wanted::placed(path)?;
    let own = readings(notebook, name, Fresh::Now)?
        .into_iter()
        .find(|r| r.id == record.id);
    let own = own.ok_or_else(|| {
        Failure::new(
            format!(
                "{} is a reading of {}, not of {name}",
                path.display(),
                record.pickup.name
            ),
            "give one of its own",
        )
    })?;
    Ok((own.id, own.taken_at))
}

/// The same of its latest.
fn latest(notebook: &Path, name: &str, fresh: Fresh) -> Result<(String, String)> {
    let last = readings(notebook, name, fresh)?.pop();
    let last = last.ok_or_else(|| {
        Failure::new(
            format!("{name} has no reading that can be used in {}", notebook.display()),
            format!("measure it before it leaves: coilwright measure {name}"),
        )
    })?;
    Ok((last.id, last.taken_at))
}

/// Those of a pickup that say what it is, in order of their time.
pub fn readings(notebook: &Path, name: &str, fresh: Fresh) -> Result<Vec<Row>> {
    let filter = Filter::life(name);
    let mut rows = wanted::ask(notebook, fresh, |index| index.rows(&filter))?;
    rows.retain(Row::is_its_own);
    rows.sort_by_key(|r| r.seq);
    Ok(rows)
}
