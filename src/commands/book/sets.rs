//! `book sets`: which pickups go together, of those that are neither sold nor sent nor in a set already.

use serde::Serialize;

use super::list::{csv, say_left_out};
use crate::book::entry::{Entry, What};
use crate::book::index::Fresh;
use crate::book::life;
use crate::book::row::{Filter, Row, pattern};
use crate::cli::args::{SetsArgs, Shown};
use crate::commands::outcome::style;
use crate::commands::prelude::*;
use crate::commands::{readings, wanted};
use crate::record::Record;
use crate::record::about::About;
use crate::report::text;
use crate::shop::sets::{self, Member, Plan, Pool, Sets, Terms};
use crate::shop::yardstick::Quantity;

pub fn run(args: &SetsArgs, console: &mut Console) -> Result<Status> {
    let plan = Plan::new(&args.of, &args.targets, &args.reversed)?;
    let mut terms = Terms::usual(&Defaults::here()?.matters());
    if let Some(weights) = &args.weight {
        terms = terms.weighted(weights)?;
    }
    if let Some(limits) = &args.limit {
        terms = terms.limited(limits)?;
    }
    let notebook = wanted::notebook()?;
    let filter = Filter {
        names: args.names.iter().map(|n| pattern(n)).collect(),
        ..args.which.filter()
    };
    let now = args.look || args.keep.is_some();
    let fresh = if now { Fresh::Now } else { Fresh::Usual };
    let (rows, entries, left_out) = wanted::ask(&notebook, fresh, |index| {
        Ok((index.rows(&filter)?, index.entries()?, index.left_out()?))
    })?;
    let told = told(&rows, &entries, &notebook, console)?;
    if told.is_empty() {
        return Err(Failure::new(
            format!("{} has no pickup to make a set of", notebook.display()),
            "measure some first; those that are sold, sent or in a set already are left alone",
        ));
    }
    let found = sets::choose(&Pool::of(&told), plan, &terms)?;
    let kept = args.keep.as_ref().map(|name| keep(name, args.number, &found, &entries));
    let kept = kept.transpose()?;
    if let Some(what) = kept.clone() {
        wanted::say(&notebook, what)?;
    }
    let shown: Shown = args.shown.into();
    if shown.json {
        console.json(&found)?;
        return Ok(Status::Done);
    }
    match args.csv {
        true => console.result(&csv(lines(&found))?)?,
        false => console.result(&text::sets_text(&found, style(shown)))?,
    }
    if let Some(What::Set { set, pickups }) = kept {
        console.remark(&format!(
            "{} are the set {set} from now on; `coilwright book undo` takes it back",
            pickups.join(", ")
        ));
    }
    say_left_out(&left_out, console);
    Ok(Status::Done)
}

/// The records of those that are still the shop's to choose from, and what they are.
fn told(rows: &[Row], entries: &[Entry], notebook: &Path, console: &mut Console) -> Result<Vec<(Record, About)>> {
    let (mut free, away) = (Vec::new(), life::away(entries));
    for row in rows {
        let said = life::of(entries, &row.name);
        if !away.contains_key(row.name.as_str()) && life::set(&said).is_none() {
            free.push((row, life::about(&said)));
        }
    }
    let rows: Vec<&Row> = free.iter().map(|f| f.0).collect();
    let (read, _) = readings::numbered(wanted::read(notebook, &rows, console), console)?;
    Ok(read
        .into_iter()
        .map(|(i, record)| (record, free[i].1.clone()))
        .collect())
}

/// The entry that binds the pickups of a set.
fn keep(name: &str, number: usize, found: &Sets, entries: &[Entry]) -> Result<What> {
    let there = |e: &Entry| matches!(&e.what, What::Set { set, .. } if set == name);
    if entries.iter().any(there) {
        return Err(Failure::new(
            format!("there is a set {name} already"),
            "give it another name",
        ));
    }
    let set = number.checked_sub(1).and_then(|i| found.sets.get(i)).ok_or_else(|| {
        Failure::new(
            format!("there is no set {number} to keep: {} can be made", found.sets.len()),
            "see `coilwright book sets` without --keep",
        )
    })?;
    Ok(What::Set {
        set: name.to_owned(),
        pickups: set.members.iter().map(|m| m.pickup.clone()).collect(),
    })
}

/// One pickup of a set in a table; differences relative, of the level in dB.
#[derive(Debug, Serialize)]
struct Line<'a> {
    set: usize,
    place: &'a str,
    pickup: &'a str,
    peak_hz: Option<f64>,
    q: Option<f64>,
    level_db: Option<f64>,
    r20_ohm: Option<f64>,
    off_peak: Option<f64>,
    off_q: Option<f64>,
    off_level_db: Option<f64>,
    off_ohms: Option<f64>,
}

fn lines(found: &Sets) -> impl Iterator<Item = Line<'_>> {
    let numbered = (1..)
        .zip(&found.sets)
        .flat_map(|(n, s)| s.members.iter().map(move |m| (n, m)));
    numbered.map(|(set, m)| {
        let off = |figure: Quantity| off(m, figure);
        Line {
            set,
            place: &m.place,
            pickup: &m.pickup,
            peak_hz: m.peak_hz,
            q: m.q,
            level_db: m.level_db,
            r20_ohm: m.r20_ohm,
            off_peak: off(Quantity::Peak),
            off_q: off(Quantity::Q),
            off_level_db: off(Quantity::Level),
            off_ohms: off(Quantity::Ohms),
        }
    })
}

fn off(m: &Member, figure: Quantity) -> Option<f64> {
    let d = m.deviations.iter().find(|d| d.figure == figure)?;
    Some(if figure.is_relative() { d.off.exp_m1() } else { d.off })
}
