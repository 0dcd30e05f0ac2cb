//! `book lot`: a lot in the order of making, and which to look at first.

use serde::Serialize;

use crate::book::index::Fresh;
use crate::book::look;
use crate::book::row::{Filter, Row};
use crate::cli::args::LotArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, readings, wanted};
use crate::fileio;
use crate::record::Verdict;
use crate::report::{order_plot, text};
use crate::shop::lot::TRAY;
use crate::shop::order::document::LotDocument;
use crate::shop::order::{self, Made};
use crate::shop::yardstick::Quantity;

pub fn run(args: &LotArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let rows = of_lot(&notebook, &args.lot)?;
    let numbers = numbers(&notebook, &rows);
    let rows: Vec<&Row> = rows.iter().collect();
    let (read, how) = readings::numbered(wanted::read(&notebook, &rows, console), console)?;
    let made: Vec<Made> = read.into_iter().map(|(i, record)| (numbers[i], record)).collect();
    let document = order::lot(&args.lot, &made, &how.matters)?;
    if args.csv {
        console.result(&table(&document)?)?;
        return Ok(Status::Done);
    }
    let stem = outcome::stem(args.out.as_ref(), "lot")?;
    let files = outcome::beside(stem.as_ref(), "lot.json", &document, "the lot")?;
    outcome::tell((&document, files), args.shown, console, text::lot_text, || {
        outcome::picture(stem, || order_plot::lot(&document))
    })?;
    Ok(Status::Done)
}

/// Of each pickup of the lot the reading that counts, the one without an answer where it has no other.
fn of_lot(notebook: &Path, lot: &str) -> Result<Vec<Row>> {
    let filter = Filter {
        lot: Some(lot.to_owned()),
        ..Filter::every()
    };
    let mut rows = wanted::ask(notebook, Fresh::Usual, |index| index.rows(&filter))?;
    rows.retain(|r| !r.replaced);
    rows.sort_by_key(|r| (r.verdict != Some(Verdict::Rejected), r.seq));
    let mut last: Vec<Row> = Vec::new();
    for row in rows {
        last.retain(|r| r.name != row.name);
        last.push(row);
    }
    last.sort_by_key(|r| r.seq);
    match last.is_empty() {
        false => Ok(last),
        true => Err(Failure::new(
            format!("there is no lot {lot} with a reading in {}", notebook.display()),
            "lots are made at the tray: coilwright tray NAME; `coilwright book` names the lot of each pickup",
        )),
    }
}

/// The numbers that the tray gave them; where one of them has none, their order in time.
fn numbers(notebook: &Path, rows: &[Row]) -> Vec<u32> {
    let by_tray = || -> Option<Vec<u32>> {
        let folder = rows.first()?.path.parent()?;
        let path = notebook.join(folder).join(TRAY);
        let tray = look::tray(&path).ok()?;
        let number = |row: &Row| Some(tray.number_of(&fileio::name_of(&row.path))?.0);
        rows.iter().map(number).collect()
    };
    by_tray().unwrap_or_else(|| (1..).take(rows.len()).collect())
}

/// A line of the table.
#[derive(Debug, Default, Serialize)]
struct Line {
    number: u32,
    name: String,
    taken_at: String,
    peak_hz: Option<f64>,
    q: Option<f64>,
    peak_db: Option<f64>,
    level_db: Option<f64>,
    ohm20: Option<f64>,
    /// By which quantities, with a space between.
    odd: String,
    turned: bool,
    left_out: String,
}

fn table(d: &LotDocument) -> Result<String> {
    let mut lines: Vec<Line> = d
        .pickups
        .iter()
        .map(|p| line(d, p.number, &p.name, &p.taken_at))
        .collect();
    lines.extend(d.left_out.iter().map(|l| Line {
        number: l.number,
        name: l.name.clone(),
        left_out: l.why.clone(),
        ..Line::default()
    }));
    lines.sort_by_key(|l| l.number);
    super::list::csv(&lines)
}

fn line(d: &LotDocument, number: u32, name: &str, taken_at: &str) -> Line {
    let of = |quantity: Quantity| {
        let q = d.quantities.iter().find(|q| q.quantity == quantity)?;
        q.values.iter().find(|v| v.number == number).map(|v| v.value)
    };
    let told = d.quantities.iter().filter_map(|q| Some((q, q.told.as_ref()?)));
    let odd = told.filter(|(_, t)| t.odd.iter().any(|o| o.number == number));
    Line {
        number,
        name: name.to_owned(),
        taken_at: taken_at.to_owned(),
        peak_hz: of(Quantity::Peak),
        q: of(Quantity::Q),
        peak_db: of(Quantity::Height),
        level_db: of(Quantity::Level),
        ohm20: of(Quantity::Ohms),
        odd: odd.map(|(q, _)| q.quantity.code()).collect::<Vec<_>>().join(" "),
        turned: d.turned.contains(&number),
        left_out: String::new(),
    }
}
