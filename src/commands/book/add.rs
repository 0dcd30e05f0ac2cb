//! `book add`: another notebook taken in.

use super::list::say_left_out;
use crate::book::add::{self, Known};
use crate::book::index::{self, Fresh};
use crate::book::look;
use crate::book::row::Filter;
use crate::cli::args::AddArgs;
use crate::cli::context::fine_now;
use crate::commands::prelude::*;
use crate::commands::{outcome, wanted};
use crate::report::text;

pub fn run(args: &AddArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    look::there(&args.other, "give the folder in which its pickups lie")?;
    let added = add::add(&notebook, &args.other, &fine_now(), || known(&notebook, &args.other));
    // Where it was cut off, some has come in all the same.
    wanted::changed(&notebook);
    let added = added?;
    let words = text::added_text(&added, &args.other.display());
    outcome::say_words(&added, args.shown, console, &words)?;
    if !args.shown.json {
        say_left_out(&added.left_out, console);
    }
    Ok(Status::Done)
}

fn known(notebook: &Path, other: &Path) -> Result<Known> {
    let every = Filter {
        paper: true,
        ..Filter::every()
    };
    let ours = wanted::ask(notebook, Fresh::Now, |index| index.rows(&every))?;
    // Nothing of the other one is kept here.
    let theirs = index::asked(other, None, Fresh::Now, 0, |index| index.rows(&every))?;
    Ok(Known {
        names: ours.into_iter().map(|r| r.name).collect(),
        theirs: theirs.into_iter().map(|r| (r.id, r.name)).collect(),
    })
}
