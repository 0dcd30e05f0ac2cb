//! `book lot`: a lot in the order of making, and which to look at first.

use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::book::index::Fresh;
use crate::book::look;
use crate::book::row::{Filter, Row};
use crate::cli::args::{LotArgs, Shown};
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::cli::defaults::Defaults;
use crate::commands::coil::{refuse_any, write_all};
use crate::commands::outcome::{self, Told};
use crate::commands::wanted::{self, Placed};
use crate::commands::{anew, readings};
use crate::failure::{Failure, Result, Status};
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
    let (places, placed): (Vec<usize>, Vec<Placed>) = wanted::read(&notebook, &rows, console).into_iter().unzip();
    let (records, _) = readings::known_of(&placed, anew::today(None).as_ref(), console)?;
    let made: Vec<Made> = places.into_iter().map(|i| numbers[i]).zip(records).collect();
    let matters = Defaults::read_from(Path::new("."))?.matters();
    let document = order::lot(&args.lot, &made, &matters)?;
    if args.csv {
        console.result(&table(&document)?)?;
        return Ok(Status::Done);
    }
    let stem = match &args.out {
        Some(out) => Some(ready_folder(out)?.join("lot")),
        None => None,
    };
    let files = match &stem {
        Some(stem) => written(&document, stem)?,
        None => Vec::new(),
    };
    let shown: Shown = args.shown.into();
    Told {
        document: &document,
        files,
        shown,
    }
    .tell(console, text::lot_text, || {
        let picture = |stem| Ok((stem, order_plot::lot(&document)?));
        stem.map(picture).into_iter().collect()
    })?;
    Ok(Status::Done)
}

/// Of each pickup of the lot the reading that counts, the one without an answer where it has no other.
fn of_lot(notebook: &Path, lot: &str) -> Result<Vec<Row>> {
    let filter = Filter {
        lot: Some(lot.to_owned()),
        all: true,
        ..Filter::default()
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

/// Writes the document into a folder that holds neither it nor the picture that is to follow.
fn written(document: &LotDocument, stem: &Path) -> Result<Vec<PathBuf>> {
    let bytes = outcome::pretty(document, "the lot")?;
    refuse_any(outcome::picture_files(stem))?;
    write_all(vec![(stem.with_extension("json"), bytes)])
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
