//! The list: one line for each pickup, or for every reading.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::book::index::{Fresh, Index};
use crate::book::life::{self, Away};
use crate::book::row::{Filter, Row, pattern};
use crate::cli::args::{ListArgs, Shown};
use crate::cli::console::Console;
use crate::commands::outcome::style;
use crate::commands::wanted;
use crate::failure::{Failure, Result, Status};
use crate::parallel;
use crate::record::Verdict;
use crate::report::text;

/// So many are held against their files before they are shown. What stands below them is as it was at the last look, a minute ago at
/// most.
const READ_AT_ONCE: usize = 1000;

#[derive(Debug, Serialize)]
struct List {
    schema: &'static str,
    readings: Vec<Listed>,
    /// What could not be read, and why.
    left_out: Vec<String>,
}

/// A line of the list; standard uncertainties behind `u_`.
#[derive(Debug, Serialize)]
pub struct Listed {
    pub name: String,
    over: Option<String>,
    stage: Option<String>,
    by: Option<String>,
    lot: Option<String>,
    taken_at: String,
    rig: Option<String>,
    load: Option<String>,
    peak_hz: Option<f64>,
    u_peak_hz: Option<f64>,
    peak_db: Option<f64>,
    u_peak_db: Option<f64>,
    f0_hz: Option<f64>,
    u_f0_hz: Option<f64>,
    q: Option<f64>,
    u_q: Option<f64>,
    level_db: Option<f64>,
    u_level_db: Option<f64>,
    /// At 20 degC where the room was told.
    ohm20: Option<f64>,
    /// "ok", "suspect", "rejected"; null: read by hand, from a notebook on paper.
    verdict: Option<Verdict>,
    simulated: bool,
    /// "sent", "sold"; null: in the shop.
    away: Option<Away>,
    id: String,
    /// The reading's folder.
    record: String,
}

impl Listed {
    pub fn of(r: &Row, away: &BTreeMap<&str, Away>) -> Self {
        let value = |f: crate::book::row::Figure| f.map(|f| f.0);
        let u = |f: crate::book::row::Figure| f.map(|f| f.1);
        Listed {
            name: r.name.clone(),
            over: r.over.clone(),
            stage: r.stage.clone(),
            by: r.by.clone(),
            lot: r.lot.clone(),
            taken_at: r.taken_at.clone(),
            rig: r.rig.clone(),
            load: r.load.clone(),
            peak_hz: value(r.peak_hz),
            u_peak_hz: u(r.peak_hz),
            peak_db: value(r.peak_db),
            u_peak_db: u(r.peak_db),
            f0_hz: value(r.f0_hz),
            u_f0_hz: u(r.f0_hz),
            q: value(r.q),
            u_q: u(r.q),
            level_db: value(r.level_db),
            u_level_db: u(r.level_db),
            ohm20: r.ohm20,
            verdict: r.verdict,
            simulated: r.simulated,
            away: away.get(r.name.as_str()).copied(),
            id: r.id.clone(),
            record: r.path.display().to_string(),
        }
    }
}

pub fn run(args: &ListArgs, console: &mut Console) -> Result<Status> {
    if args.out.is_some() {
        return Err(Failure::new(
            "--out is for the plot of one pickup's life",
            "give its name alone, or --csv for a table",
        ));
    }
    let notebook = wanted::notebook()?;
    let filter = args.filter();
    let fresh = if args.look { Fresh::Now } else { Fresh::Usual };
    let question = |index: &Index| {
        Ok((
            index.rows(&filter)?,
            index.entries()?,
            index.left_out()?,
            index.looked(),
        ))
    };
    let (mut rows, mut entries, mut left_out, looked) = wanted::ask(&notebook, fresh, question)?;
    let as_seen = |rows: &[Row]| {
        parallel::each(&rows[..rows.len().min(READ_AT_ONCE)], |r| r.is_as_seen(&notebook))
            .into_iter()
            .all(|is| is)
    };
    if !looked && !as_seen(&rows) {
        (rows, entries, left_out, _) = wanted::ask(&notebook, Fresh::Now, question)?;
    }
    let away = life::away(&entries);
    let listed = |r| Listed::of(r, &away);
    let shown: Shown = args.shown.into();
    if args.csv {
        console.result(&csv(rows.iter().map(listed))?)?;
    } else if shown.json {
        console.json(&List {
            schema: "coilwright/book/1",
            readings: rows.iter().map(listed).collect(),
            left_out,
        })?;
        return Ok(Status::Done);
    } else {
        console.result(&text::book_text(&rows, &away, &filter, style(shown)))?;
    }
    say_left_out(&left_out, console);
    Ok(Status::Done)
}

/// Each once; of many the first few.
pub fn say_left_out(left_out: &[String], console: &mut Console) {
    const MOST: usize = 5;
    for why in left_out.iter().take(MOST) {
        console.remark(&format!("left out: {why}"));
    }
    if left_out.len() > MOST {
        console.remark(&format!(
            "left out: {} more; `coilwright book --json` names them all",
            left_out.len() - MOST
        ));
    }
}

/// A table for a spreadsheet.
pub fn csv(lines: impl IntoIterator<Item = impl Serialize>) -> Result<String> {
    let broken = |e: String| {
        Failure::new(
            format!("cannot write the table: {e}"),
            "report this as a fault of the program",
        )
    };
    let mut out = csv::Writer::from_writer(Vec::new());
    for line in lines {
        out.serialize(line).map_err(|e| broken(e.to_string()))?;
    }
    let bytes = out.into_inner().map_err(|e| broken(e.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

impl ListArgs {
    fn filter(&self) -> Filter {
        Filter {
            names: self.names.iter().map(|n| pattern(n)).collect(),
            all: self.all,
            paper: true,
            sort: self.sort.unwrap_or_default(),
            ..self.which.filter()
        }
    }
}
