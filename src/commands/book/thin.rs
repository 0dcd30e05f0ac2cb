//! `book thin`: the takes of long ago put away, and brought back.

use serde::Serialize;

use super::list::say_left_out;
use crate::book::carry;
use crate::book::index;
use crate::book::row::{Filter, Row};
use crate::book::thin::{self, Much, Old};
use crate::cli::args::ThinArgs;
use crate::cli::context::{Fresh, fine_now};
use crate::commands::prelude::*;
use crate::commands::{outcome, wanted};
use crate::record::when::moment;
use crate::report::text;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/thinned/1")]
struct Document {
    #[serde(flatten)]
    much: Much,
    to: String,
    done: bool,
}

pub fn run(args: &ThinArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let now = fine_now();
    match &args.older {
        None => back(args, &notebook, &now, console),
        Some(older) => away(args, older, &notebook, &now, console),
    }
}

fn away(args: &ThinArgs, older: &str, notebook: &Path, now: &str, console: &mut Console) -> Result<Status> {
    let before = thin::before(&jiff::ZonedDateTime::now(), older)?;
    let (rows, left_out) = every(notebook)?;
    let long_ago = |r: &Row| moment(&r.taken_at).is_some_and(|t| t < before);
    let old = old(rows.into_iter().filter(long_ago));
    let much = thin::much(notebook, &old);
    if much.files > 0 && !args.dry {
        let mut fresh = Fresh::default();
        let to = fresh.ready(&args.to)?;
        carry::apart(&to, notebook, "a folder")?;
        let put = thin::put_away_now(notebook, &old, &to, now);
        wanted::changed(notebook);
        put?;
    }
    let words = text::thinned_text(&much, &args.to.display(), !args.dry);
    let document = Document {
        much,
        to: args.to.display().to_string(),
        done: much.files > 0 && !args.dry,
    };
    outcome::say_words(&document, args.shown, console, &words)?;
    if !args.shown.json {
        say_left_out(&left_out, console);
    }
    Ok(Status::Done)
}

/// Every reading, and what could not be read.
fn every(notebook: &Path) -> Result<(Vec<Row>, Vec<String>)> {
    let filter = Filter::every();
    wanted::ask(notebook, index::Fresh::Now, |index| {
        Ok((index.rows(&filter)?, index.left_out()?))
    })
}

/// What of readings counts here.
fn old(rows: impl Iterator<Item = Row>) -> Vec<Old> {
    let one = |Row { id, path, .. }| Old { id, path };
    rows.map(one).collect()
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
    let back = thin::bring_back(notebook, &old(rows.into_iter()), &args.to, now);
    wanted::changed(notebook);
    let back = back?;
    let words = format!("Brought back: {} recordings.\n", back.files);
    outcome::say_words(&back, args.shown, console, &words)?;
    if !args.shown.json {
        let left = back.left_there.iter().map(|f| format!("{f}: its reading is not here"));
        say_left_out(&Vec::from_iter(left), console);
    }
    Ok(Status::Done)
}
