//! `book`: the notebook asked, and what is said of pickups rather than of one reading.

use crate::cli::args::{BookAction, BookArgs, ListArgs};
use crate::commands::prelude::*;

mod add;
mod check;
mod experiment;
mod import;
mod in_guitar;
pub mod life;
mod list;
mod lot;
mod rename;
mod returned;
mod sent;
mod sets;
mod sold;
mod thin;
mod undo;
mod written;

pub fn run(args: &BookArgs, console: &mut Console) -> Result<Status> {
    match &args.action {
        None => match lone_name(&args.list) {
            Some(name) => life::run(&args.list, name, console),
            None => list::run(&args.list, console),
        },
        Some(BookAction::Rename(a)) => rename::run(a, console),
        Some(BookAction::Sent(a)) => sent::run(a, console),
        Some(BookAction::Sold(a)) => sold::run(a, console),
        Some(BookAction::Returned(a)) => returned::run(a, console),
        Some(BookAction::Lot(a)) => lot::run(a, console),
        Some(BookAction::Experiment(a)) => experiment::run(a, console),
        Some(BookAction::Sets(a)) => sets::run(a, console),
        Some(BookAction::Undo(a)) => undo::run(a, console),
        Some(BookAction::Add(a)) => add::run(a, console),
        Some(BookAction::Check(a)) => check::run(a, console),
        Some(BookAction::Thin(a)) => thin::run(a, console),
        Some(BookAction::Import(a)) => import::run(a, console),
    }
}

/// The pickup whose life is asked for: one name, and no choice among its readings.
fn lone_name(args: &ListArgs) -> Option<&str> {
    match args.names.as_slice() {
        [name] if !name.contains('*') && !args.all && !args.csv && args.sort.is_none() => Some(name),
        _ => None,
    }
}
