//! The list: one line for each pickup, or for every reading.

use serde::ser::SerializeStruct as _;
use serde::{Serialize, Serializer};

use crate::book::index::{Fresh, Index};
use crate::book::life::{self, Away};
use crate::book::row::{Filter, Row, pattern};
use crate::cli::args::{ListArgs, Shown};
use crate::commands::outcome::style;
use crate::commands::prelude::*;
use crate::commands::wanted;
use crate::parallel;
use crate::report::text;

/// So many are held against their files before they are shown. What stands below them is as it was at the last look, a minute ago at
/// most.
const READ_AT_ONCE: usize = 1000;

#[derive(Serialize)]
#[serde(tag = "schema", rename = "coilwright/book/1")]
struct List<'a> {
    readings: Vec<Listed<'a>>,
    /// What could not be read, and why.
    left_out: Vec<String>,
}

/// A line of the list, and whether its pickup is away; standard uncertainties behind `u_`.
pub struct Listed<'a>(pub &'a Row, pub Option<Away>);

impl Serialize for Listed<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> std::result::Result<S::Ok, S::Error> {
        let Listed(r, away) = self;
        let mut line = to.serialize_struct("Listed", 24)?;
        line.serialize_field("name", &r.name)?;
        line.serialize_field("over", &r.over)?;
        line.serialize_field("stage", &r.stage)?;
        line.serialize_field("by", &r.by)?;
        line.serialize_field("lot", &r.lot)?;
        line.serialize_field("taken_at", &r.taken_at)?;
        line.serialize_field("rig", &r.rig)?;
        line.serialize_field("load", &r.load)?;
        for (value, u, figure) in [
            ("peak_hz", "u_peak_hz", r.peak_hz),
            ("peak_db", "u_peak_db", r.peak_db),
            ("f0_hz", "u_f0_hz", r.f0_hz),
            ("q", "u_q", r.q),
            ("level_db", "u_level_db", r.level_db),
        ] {
            line.serialize_field(value, &figure.map(|f| f.0))?;
            line.serialize_field(u, &figure.map(|f| f.1))?;
        }
        // At 20 degC where the room was told.
        line.serialize_field("ohm20", &r.ohm20)?;
        // Null: read by hand, from a notebook on paper.
        line.serialize_field("verdict", &r.verdict)?;
        line.serialize_field("simulated", &r.simulated)?;
        // Null: in the shop.
        line.serialize_field("away", away)?;
        line.serialize_field("id", &r.id)?;
        // The reading's folder.
        line.serialize_field("record", &r.path.display().to_string())?;
        line.end()
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
        let (rows, entries) = (index.rows(&filter)?, index.entries()?);
        Ok((rows, entries, index.left_out()?, index.looked()))
    };
    let (mut rows, mut entries, mut left_out, looked) = wanted::ask(&notebook, fresh, question)?;
    let first = &rows[..rows.len().min(READ_AT_ONCE)];
    if !looked && parallel::each(first, |r| r.is_as_seen(&notebook)).contains(&false) {
        (rows, entries, left_out, _) = wanted::ask(&notebook, Fresh::Now, question)?;
    }
    let away = life::away(&entries);
    let listed = rows.iter().map(|r| Listed(r, away.get(r.name.as_str()).copied()));
    let shown: Shown = args.shown.into();
    if args.csv {
        console.result(&csv(listed)?)?;
    } else if shown.json {
        let readings = listed.collect();
        console.json(&List { readings, left_out })?;
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
    let broken = |e: &dyn std::fmt::Display| {
        let hint = "report this as a fault of the program";
        Failure::new(format!("cannot write the table: {e}"), hint)
    };
    let mut out = csv::Writer::from_writer(Vec::new());
    for line in lines {
        out.serialize(line).map_err(|e| broken(&e))?;
    }
    let bytes = out.into_inner().map_err(|e| broken(&e))?;
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
