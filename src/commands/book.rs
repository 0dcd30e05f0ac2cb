//! `book`: the notebook asked, and what is said of pickups rather than of one reading.

use std::path::Path;

use crate::book::entries;
use crate::book::entry::{Entry, What};
use crate::cli::args::{BookAction, BookArgs};
use crate::cli::console::Console;
use crate::cli::context::stamp;
use crate::commands::wanted;
use crate::failure::{Result, Status};

mod add;
mod check;
mod import;
mod life;
mod list;
mod rename;
mod thin;
mod undo;

pub fn run(args: &BookArgs, console: &mut Console) -> Result<Status> {
    match &args.action {
        None => list::run(&args.list, console),
        Some(BookAction::Rename(a)) => rename::run(a, console),
        Some(BookAction::Undo(a)) => undo::run(a, console),
        Some(BookAction::Add(a)) => add::run(a, console),
        Some(BookAction::Check(a)) => check::run(a, console),
        Some(BookAction::Thin(a)) => thin::run(a, console),
        Some(BookAction::Import(a)) => import::run(a, console),
    }
}

/// Writes an entry into the notebook.
fn write(notebook: &Path, what: What) -> Result<Entry> {
    let now = stamp(std::time::SystemTime::now());
    Ok(entries::add(notebook, &now, None, what)?.0)
}
