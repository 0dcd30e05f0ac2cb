//! `book add`: another notebook taken in.

use std::path::Path;

use serde::Serialize;

use super::list::say_left_out;
use crate::book::add::{self, Added, Known};
use crate::book::index::{self, Fresh};
use crate::book::look;
use crate::book::row::Filter;
use crate::cli::args::AddArgs;
use crate::cli::console::Console;
use crate::cli::context::fine_stamp;
use crate::commands::wanted;
use crate::failure::{Result, Status};
use crate::report::text;

#[derive(Debug, Serialize)]
struct Document<'a> {
    schema: &'static str,
    #[serde(flatten)]
    added: &'a Added,
}

pub fn run(args: &AddArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    look::there(&args.other, "give the folder in which its pickups lie")?;
    let now = fine_stamp(std::time::SystemTime::now());
    let added = add::add(&notebook, &args.other, &now, || known(&notebook, &args.other));
    // Where it was cut off, some has come in all the same.
    wanted::changed(&notebook);
    let added = added?;
    if args.shown.json {
        console.json(&Document {
            schema: "coilwright/added/1",
            added: &added,
        })?;
        return Ok(Status::Done);
    }
    console.words(&text::added_text(&added, &args.other.display()))?;
    say_left_out(&added.left_out, console);
    Ok(Status::Done)
}

fn known(notebook: &Path, other: &Path) -> Result<Known> {
    let every = Filter {
        all: true,
        paper: true,
        ..Filter::default()
    };
    let ours = wanted::ask(notebook, Fresh::Now, |index| index.rows(&every))?;
    // Nothing of the other one is kept here.
    let theirs = index::asked(other, None, Fresh::Now, 0, |index| index.rows(&every))?;
    Ok(Known {
        names: ours.into_iter().map(|r| r.name).collect(),
        theirs: theirs.into_iter().map(|r| (r.id, r.name)).collect(),
    })
}
