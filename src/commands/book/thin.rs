//! `book thin`: the takes of long ago put away, and brought back.

use std::path::Path;

use serde::Serialize;

use super::list::say_left_out;
use crate::book::carry;
use crate::book::index;
use crate::book::row::Filter;
use crate::book::thin::{self, Back, Much, Old};
use crate::cli::args::ThinArgs;
use crate::cli::console::Console;
use crate::cli::context::{Fresh, fine_stamp};
use crate::commands::wanted;
use crate::failure::{Failure, Result, Status};
use crate::record::when::moment;
use crate::report::text;

#[derive(Debug, Serialize)]
struct Document {
    schema: &'static str,
    #[serde(flatten)]
    much: Much,
    to: String,
    done: bool,
}

#[derive(Debug, Serialize)]
struct BackDocument<'a> {
    schema: &'static str,
    #[serde(flatten)]
    back: &'a Back,
}

pub fn run(args: &ThinArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let now = fine_stamp(std::time::SystemTime::now());
    match &args.older {
        None => back(args, &notebook, &now, console),
        Some(older) => away(args, older, &notebook, &now, console),
    }
}

fn away(args: &ThinArgs, older: &str, notebook: &Path, now: &str, console: &mut Console) -> Result<Status> {
    let before = thin::before(&jiff::ZonedDateTime::now(), older)?;
    let (rows, left_out) = every(notebook)?;
    let old = rows
        .into_iter()
        .filter(|(_, at)| moment(at).is_some_and(|t| t < before));
    let old: Vec<Old> = old.map(|r| r.0).collect();
    let much = thin::much(notebook, &old);
    if much.files > 0 && !args.dry {
        let mut fresh = Fresh::default();
        let to = fresh.ready(&args.to)?;
        carry::apart(&to, notebook, "a folder")?;
        let put = thin::put_away_now(notebook, &old, &to, now);
        wanted::changed(notebook);
        put?;
    }
    if args.shown.json {
        console.json(&Document {
            schema: "coilwright/thinned/1",
            much,
            to: args.to.display().to_string(),
            done: much.files > 0 && !args.dry,
        })?;
        return Ok(Status::Done);
    }
    console.words(&text::thinned_text(&much, &args.to.display(), !args.dry))?;
    say_left_out(&left_out, console);
    Ok(Status::Done)
}

/// A reading, and when it was taken.
type Dated = (Old, String);

/// Every reading, and what could not be read.
fn every(notebook: &Path) -> Result<(Vec<Dated>, Vec<String>)> {
    let filter = Filter {
        all: true,
        ..Filter::default()
    };
    let (rows, left_out) = wanted::ask(notebook, index::Fresh::Now, |index| {
        Ok((index.rows(&filter)?, index.left_out()?))
    })?;
    let one = |r: crate::book::row::Row| {
        let old = Old { id: r.id, path: r.path };
        (old, r.taken_at)
    };
    Ok((rows.into_iter().map(one).collect(), left_out))
}

fn back(args: &ThinArgs, notebook: &Path, now: &str, console: &mut Console) -> Result<Status> {
    if !args.to.is_dir() {
        return Err(Failure::new(
            format!("there is no folder {}", args.to.display()),
            "give the one to which the takes went; `coilwright book check` knows of them",
        ));
    }
    carry::apart(&args.to, notebook, "a folder")?;
    let (rows, _) = every(notebook)?;
    let readings: Vec<Old> = rows.into_iter().map(|r| r.0).collect();
    let back = thin::bring_back(notebook, &readings, &args.to, now);
    wanted::changed(notebook);
    let back = back?;
    if args.shown.json {
        console.json(&BackDocument {
            schema: "coilwright/thinned-back/1",
            back: &back,
        })?;
        return Ok(Status::Done);
    }
    console.words(&format!("Brought back: {} recordings.\n", back.files))?;
    let left: Vec<String> = back
        .left_there
        .iter()
        .map(|f| format!("{f}: its reading is not here"))
        .collect();
    say_left_out(&left, console);
    Ok(Status::Done)
}
