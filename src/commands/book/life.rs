//! The life of one pickup: its readings stage by stage, what changed, and what was said of it.

use std::path::Path;

use serde::Serialize;

use super::list::{Listed, say_left_out};
use super::wanted;
use crate::book::entry::{Entry, What};
use crate::book::index::Fresh;
use crate::book::life;
use crate::book::row::{Filter, Row};
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

/// All that the notebook holds of one pickup.
pub struct Gathered {
    name: String,
    about: About,
    /// Of the whole notebook: designs are in it.
    all: Vec<Entry>,
    rows: Vec<Row>,
    records: Vec<Record>,
    changes: Vec<Change>,
    left_out: Vec<String>,
}

/// The readings that `filter` lets through, and everything that was said.
pub fn gathered(notebook: &Path, name: &str, filter: &Filter, fresh: Fresh, console: &mut Console) -> Result<Gathered> {
    let named = named(name)?;
    let (rows, all, left_out) = wanted::ask(notebook, fresh, |index| {
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
        return Err(named.nothing(notebook));
    }
    let (rows, read) = records(rows, notebook, console);
    let (records, known) = readings::known_of(&read, anew::today(None).as_ref(), console)?;
    let how = How {
        matters: Defaults::read_from(Path::new("."))?.matters(),
        in_place: false,
        known,
    };
    let changes = changes(&rows, &records, &how)?;
    Ok(Gathered {
        about: life::about(&said),
        name,
        all,
        rows,
        records,
        changes,
        left_out,
    })
}

pub fn run(args: &ListArgs, name: &str, console: &mut Console) -> Result<Status> {
    let fresh = if args.look { Fresh::Now } else { Fresh::Usual };
    let found = gathered(&wanted::notebook()?, name, &args.which.filter(), fresh, console)?;
    let stem = args
        .out
        .as_deref()
        .map(|out| ready_folder(out).map(|f| f.join("life")))
        .transpose()?;
    stem.iter().try_for_each(|s| refuse_any(outcome::picture_files(s)))?;
    let shown: Shown = args.shown.into();
    let document = Life {
        schema: "coilwright/life/1",
        name: &found.name,
        about: &found.about,
        readings: found
            .rows
            .iter()
            .zip(&found.changes)
            .map(|(row, change)| Reading {
                row: row.into(),
                change: change.as_ref().map(|c| c.1.clone()),
            })
            .collect(),
        entries: found.said().into_iter().map(without_customer).collect(),
        left_out: &found.left_out,
    };
    Told {
        document: &document,
        files: Vec::new(),
        shown,
    }
    .tell(
        console,
        |_, style| text::life_text(&found.lived(), style),
        || {
            let picture = |stem| {
                Ok((
                    stem,
                    overlay::compare_plot(&found.last_of_stages(), overlay::Align::LowFrequency)?,
                ))
            };
            stem.map(picture).into_iter().collect()
        },
    )?;
    say_left_out(&found.left_out, console);
    Ok(Status::Done)
}

impl Gathered {
    fn said(&self) -> Vec<&Entry> {
        life::of(&self.all, &self.name)
    }

    pub fn lived(&self) -> Lived {
        lived(self)
    }

    /// The same without what is the shop's alone: to whom it was sent, and where nobody asked for it what went into it.
    pub fn shown(&self, recipe: Recipe) -> Lived {
        let mut life = self.lived();
        for step in &mut life.steps {
            if let LifeStep::Said(entry) = step {
                *entry = without_customer(entry);
                if let (Recipe::Kept, What::Paper { words, .. }) = (recipe, &mut entry.what) {
                    words.clear();
                }
            }
        }
        if recipe == Recipe::Kept {
            life.recipe.clear();
            life.steps
                .retain(|s| !matches!(s, LifeStep::Said(e) if matches!(e.what, What::Design { .. })));
        }
        life
    }

    /// The last reading of each stage that counts, for the plot.
    pub fn last_of_stages(&self) -> Vec<Record> {
        let mut out: Vec<(Option<&str>, &Record)> = Vec::new();
        for (row, record) in self
            .rows
            .iter()
            .zip(&self.records)
            .filter(|(r, record)| record.reading().is_some() && !r.replaced)
        {
            out.retain(|(stage, _)| *stage != row.stage.as_deref());
            out.push((row.stage.as_deref(), record));
        }
        out.into_iter().map(|(_, r)| r.clone()).collect()
    }
}

/// Whether the recipe is handed out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recipe {
    Shown,
    Kept,
}

/// What went into a pickup, its design before its own words; `all` has the designs.
pub fn recipe_words(all: &[Entry], said: &[&Entry]) -> Vec<String> {
    let recipe = life::recipe(all, said);
    let design = recipe.design.as_ref().map(ToString::to_string);
    let words = recipe
        .words
        .iter()
        .map(|(k, v)| format!("{k}={v}"))
        .collect::<Vec<_>>()
        .join(" ");
    design.into_iter().chain((!words.is_empty()).then_some(words)).collect()
}

/// To whom it went is the shop's alone.
fn without_customer(entry: &Entry) -> Entry {
    let mut entry = entry.clone();
    if let What::Sent { to, .. } = &mut entry.what {
        *to = None;
    }
    entry
}

/// The readings whose records can be read, with these; what cannot be is said and left out.
fn records(rows: Vec<Row>, notebook: &Path, console: &mut Console) -> (Vec<Row>, Vec<wanted::Placed>) {
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

/// Readings and entries in order of their time.
fn lived(found: &Gathered) -> Lived {
    let (rows, records, changes) = (&found.rows, &found.records, &found.changes);
    let said = found.said();
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
    let entries = entries.map(|e| {
        let day = match &e.what {
            What::Paper { day, .. } => crate::book::row::second_of(day),
            _ => moment(&e.at).map(|t| t.as_second()),
        };
        (day.unwrap_or(0), LifeStep::Said((*e).clone()))
    });
    let mut steps: Vec<(i64, LifeStep)> = readings.chain(entries).collect();
    steps.sort_by_key(|s| s.0);
    Lived {
        name: found.name.clone(),
        about: found.about.clone(),
        recipe: recipe_words(&found.all, &said),
        steps: steps.into_iter().map(|s| s.1).collect(),
    }
}
