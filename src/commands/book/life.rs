//! The life of one pickup: its readings stage by stage, what changed, and what was said of it.

use serde::Serialize;

use super::list::{Listed, say_left_out};
use super::wanted;
use crate::book::entry::{Entry, Line, What};
use crate::book::index::Fresh;
use crate::book::life;
use crate::book::row::{Filter, Row, second_of};
use crate::book::word::named;
use crate::cli::args::{ListArgs, Shown};
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::cli::defaults::Defaults;
use crate::commands::coil::refuse_any;
use crate::commands::outcome::{self, Told};
use crate::commands::{anew, readings};
use crate::failure::{Result, Status};
use crate::parallel;
use crate::record::about::About;
use crate::record::when::moment;
use crate::record::{Record, store};
use crate::report::text::{self, LifeStep, Lived};
use crate::report::{difference_words, overlay};
use crate::shop::difference::{self, Difference, How};

#[derive(Debug, Serialize)]
struct Life<'a> {
    schema: &'static str,
    name: &'a str,
    about: &'a About,
    readings: Vec<Reading>,
    /// To whom it was sent stays here.
    entries: Vec<Entry>,
    left_out: &'a [String],
}

#[derive(Debug, Serialize)]
struct Reading {
    #[serde(flatten)]
    row: Listed,
    /// Against the last one before it of the same coil under the same load.
    change: Option<Difference>,
}

pub fn run(args: &ListArgs, name: &str, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let fresh = if args.look { Fresh::Now } else { Fresh::Usual };
    let named = named(name)?;
    let filter = args.which.filter();
    let (rows, all, left_out) = wanted::ask(&notebook, fresh, |index| {
        let known = index.rows(&Filter {
            paper: true,
            ..Filter::life(&named.name)
        })?;
        // A name that only a folder has is the pickup's in it.
        let name = match known.is_empty() {
            true => named.readings(index)?.pop().map(|r| r.name),
            false => None,
        };
        let life = Filter::life(name.as_deref().unwrap_or(&named.name));
        let rows = index.rows(&Filter {
            names: life.names,
            all: true,
            paper: true,
            sort: life.sort,
            ..filter.clone()
        })?;
        Ok((rows, index.entries()?, index.left_out()?))
    })?;
    let name = rows.last().map_or(named.name.clone(), |r| r.name.clone());
    let said = life::of(&all, &name);
    if rows.is_empty() && said.is_empty() {
        return Err(named.nothing(&notebook));
    }
    let (rows, read) = records(rows, &notebook, console);
    let (records, known) = readings::known_of(&read, anew::today(None).as_ref(), console)?;
    let how = How {
        matters: Defaults::read_from(std::path::Path::new("."))?.matters(),
        in_place: false,
        known,
    };
    let changes = changes(&rows, &records, &how)?;
    let about = life::about(&said);
    let stem = args
        .out
        .as_deref()
        .map(|out| ready_folder(out).map(|f| f.join("life")))
        .transpose()?;
    stem.iter().try_for_each(|s| refuse_any(outcome::picture_files(s)))?;
    let shown: Shown = args.shown.into();
    let document = Life {
        schema: "coilwright/life/1",
        name: &name,
        about: &about,
        readings: rows
            .iter()
            .zip(&changes)
            .map(|(row, change)| Reading {
                row: row.into(),
                change: change.as_ref().map(|c| c.1.clone()),
            })
            .collect(),
        entries: said
            .iter()
            .map(|e| without_customer(life::own(&all, e, &name)))
            .collect(),
        left_out: &left_out,
    };
    Told {
        document: &document,
        files: Vec::new(),
        shown,
    }
    .tell(
        console,
        |_, style| {
            let lived = lived(&name, &about, &all, &said, (&rows, &records, &changes));
            text::life_text(&lived, style)
        },
        || {
            let picture = |stem| {
                Ok((
                    stem,
                    overlay::compare_plot(&last_of_stages(&rows, &records), overlay::Align::LowFrequency)?,
                ))
            };
            stem.map(picture).into_iter().collect()
        },
    )?;
    say_left_out(&left_out, console);
    Ok(Status::Done)
}

/// To whom it went is the shop's alone.
fn without_customer(mut entry: Entry) -> Entry {
    if let What::Sent { to, .. } = &mut entry.what {
        *to = None;
    }
    entry
}

/// The readings whose records can be read, with these; what cannot be is said and left out.
fn records(rows: Vec<Row>, notebook: &std::path::Path, console: &mut Console) -> (Vec<Row>, Vec<wanted::Placed>) {
    let measured: Vec<Row> = rows.into_iter().filter(|r| r.verdict.is_some()).collect();
    let read = parallel::each(&measured, |row| {
        let folder = notebook.join(&row.path);
        store::read(&folder).map(|record| (folder, row.told(record)))
    });
    let mut out = (Vec::new(), Vec::new());
    for (row, read) in measured.into_iter().zip(read) {
        match read {
            Ok(placed) => {
                out.0.push(row);
                out.1.push(placed);
            }
            Err(e) => console.remark(&format!("left out: {e}")),
        }
    }
    out
}

type Change = Option<(usize, Difference)>;

/// Each against the last one before it that counts, of the same coil under the same load.
fn changes(rows: &[Row], records: &[Record], how: &How) -> Result<Vec<Change>> {
    let one = |i: usize| -> Result<Change> {
        let alike = |j: &usize| {
            let (a, b) = (&rows[*j], &rows[i]);
            records[*j].reading().is_some() && !a.replaced && a.over == b.over && a.load == b.load
        };
        let Some(before) = (0..i).rev().find(alike).filter(|_| records[i].reading().is_some()) else {
            return Ok(None);
        };
        let pair = [records[before].clone(), records[i].clone()];
        let mut comparison = difference::compare(&pair, how)?;
        difference_words::put(&mut comparison, &pair);
        Ok(comparison.differences.pop().map(|d| (before, d)))
    };
    (0..rows.len()).map(one).collect()
}

/// The last reading of each stage that counts, for the plot.
fn last_of_stages(rows: &[Row], records: &[Record]) -> Vec<Record> {
    let mut out: Vec<(Option<&str>, &Record)> = Vec::new();
    for (row, record) in rows
        .iter()
        .zip(records)
        .filter(|(r, record)| record.reading().is_some() && !r.replaced)
    {
        out.retain(|(stage, _)| *stage != row.stage.as_deref());
        out.push((row.stage.as_deref(), record));
    }
    out.into_iter().map(|(_, r)| r.clone()).collect()
}

/// Readings and entries in order of their time.
fn lived(
    name: &str,
    about: &About,
    all: &[Entry],
    said: &[&Entry],
    (rows, records, changes): (&[Row], &[Record], &[Change]),
) -> Lived {
    let recipe = life::recipe(all, said);
    let design = recipe.design.as_ref().map(ToString::to_string);
    let words = recipe
        .words
        .iter()
        .map(|(k, v)| format!("{k}={v}"))
        .collect::<Vec<_>>()
        .join(" ");
    let before = |i: usize| match (rows[i].stage.as_deref(), rows[i].day()) {
        (Some(stage), _) => stage.to_owned(),
        (None, day) => day.to_owned(),
    };
    let readings = rows.iter().zip(records).zip(changes).map(|((row, record), change)| {
        let step = LifeStep::Reading {
            row: row.clone(),
            record: Box::new(record.clone()),
            change: change.as_ref().map(|(i, d)| (before(*i), d.text.clone())),
        };
        (moment(&row.taken_at).map_or(0, |t| t.as_second()), step)
    });
    let entries = said
        .iter()
        .filter(|e| !matches!(e.what, What::About { .. } | What::Recipe { .. } | What::Stage { .. }));
    let entries = entries.flat_map(|e| lines(life::own(all, e, name)));
    let mut steps: Vec<(i64, LifeStep)> = readings.chain(entries).collect();
    steps.sort_by_key(|s| s.0);
    Lived {
        name: name.to_owned(),
        about: about.clone(),
        recipe: design.into_iter().chain((!words.is_empty()).then_some(words)).collect(),
        steps: steps.into_iter().map(|s| s.1).collect(),
    }
}

/// An entry as steps of a life: an import is one for each of its lines, on that line's day.
fn lines(entry: Entry) -> Vec<(i64, LifeStep)> {
    let What::Paper { file, rows } = &entry.what else {
        let at = moment(&entry.at).map_or(0, |t| t.as_second());
        return vec![(at, LifeStep::Said(entry))];
    };
    let line = |row: &Line| {
        let what = What::Paper {
            file: file.clone(),
            rows: vec![row.clone()],
        };
        let entry = Entry { what, ..entry.clone() };
        (second_of(&row.day).unwrap_or(0), LifeStep::Said(entry))
    };
    rows.iter().map(line).collect()
}
