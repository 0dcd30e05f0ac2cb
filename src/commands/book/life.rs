//! The life of one pickup: its readings stage by stage, what changed, and what was said of it.

use serde::Serialize;

use super::list::{Listed, say_left_out};
use crate::book::entry::{Entry, Line, What};
use crate::book::index::{Fresh, Index};
use crate::book::life;
use crate::book::row::{Filter, Row, in_order, second_of};
use crate::book::word::{Named, named};
use crate::cli::args::ListArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, readings, wanted};
use crate::record::Record;
use crate::record::about::About;
use crate::record::when::moment;
use crate::report::text::{self, LifeStep, Lived, Read};
use crate::report::{difference_words, overlay};
use crate::shop::difference::{self, Difference, How};

#[derive(Serialize)]
#[serde(tag = "schema", rename = "coilwright/life/1")]
struct Life<'a> {
    name: &'a str,
    about: &'a About,
    readings: Vec<Reading<'a>>,
    /// To whom it was sent stays here.
    entries: Vec<Entry>,
    left_out: &'a [String],
}

#[derive(Serialize)]
struct Reading<'a> {
    #[serde(flatten)]
    row: Listed<'a>,
    /// Against the last one before it of the same coil under the same load.
    change: Option<&'a Difference>,
}

/// What the notebook has of one pickup.
pub struct Known {
    name: String,
    /// All that is said in the notebook, of whatever pickup.
    all: Vec<Entry>,
    rows: Vec<Row>,
    records: Vec<Record>,
    changes: Vec<Change>,
    about: About,
    left_out: Vec<String>,
}

pub fn run(args: &ListArgs, name: &str, console: &mut Console) -> Result<Status> {
    let fresh = if args.look { Fresh::Now } else { Fresh::Usual };
    let known = Known::of(&wanted::notebook()?, name, &args.which.filter(), fresh, console)?;
    let stem = outcome::stem(args.out.as_ref(), "life")?;
    outcome::refuse_any(stem.iter().flat_map(|s| outcome::picture_files(s)))?;
    let document = known.document(Recipe::asked(args.with_recipe));
    outcome::tell(
        (&document, Vec::new()),
        args.shown,
        console,
        |_, style| text::life_text(&known.lived(), style),
        || {
            outcome::picture(stem, || {
                overlay::compare_plot(&known.last_of_stages(), overlay::Align::LowFrequency)
            })
        },
    )?;
    known.say_left_out(console);
    Ok(Status::Done)
}

/// The readings, all entries, and what could not be read.
type Answer = (Vec<Row>, Vec<Entry>, Vec<String>);

fn asked(index: &Index, named: &Named, filter: &Filter) -> rusqlite::Result<Answer> {
    let of = |name: &str| {
        let Filter { names, all, sort, .. } = Filter::life(name);
        index.rows(&Filter {
            names,
            all,
            sort,
            paper: true,
            ..filter.clone()
        })
    };
    let mut rows = of(&named.name)?;
    // A name that only a folder has is the pickup's in it.
    if rows.is_empty()
        && let Some(row) = named.readings(index)?.pop()
    {
        rows = of(&row.name)?;
    }
    Ok((in_order(rows), index.entries()?, index.left_out()?))
}

impl Known {
    /// The readings that `filter` lets through, and everything that was said.
    pub fn of(notebook: &Path, name: &str, filter: &Filter, fresh: Fresh, console: &mut Console) -> Result<Known> {
        let named = named(name)?;
        let (rows, all, left_out) = wanted::ask(notebook, fresh, |index| asked(index, &named, filter))?;
        let name = rows.last().map_or(named.name.clone(), |r| r.name.clone());
        let said = life::of(&all, &name);
        if rows.is_empty() && said.is_empty() {
            return Err(named.nothing(notebook));
        }
        let mut about = life::about(&said);
        about.by = about.by.or(rows.iter().rev().find_map(|r| r.by.clone()));
        let (rows, read) = records(rows, notebook, console);
        let (records, how) = readings::known_of(&read, console)?;
        Ok(Known {
            changes: changes(&rows, &records, &how)?,
            name,
            all,
            rows,
            records,
            about,
            left_out,
        })
    }

    fn document<'a>(&'a self, recipe: Recipe) -> Life<'a> {
        let away = life::away(&self.all);
        let reading = |(row, change): (&'a Row, &'a Change)| Reading {
            row: Listed(row, away.get(row.name.as_str()).copied()),
            change: change.as_ref().map(|c| &c.1),
        };
        let said = life::of(&self.all, &self.name).into_iter();
        Life {
            name: &self.name,
            about: &self.about,
            readings: self.rows.iter().zip(&self.changes).map(reading).collect(),
            entries: said
                .map(|e| life::own(&self.all, e, &self.name))
                .filter_map(|e| handed_out(e, recipe))
                .collect(),
            left_out: &self.left_out,
        }
    }

    /// The last reading of each stage that counts, for the plot.
    pub fn last_of_stages(&self) -> Vec<Record> {
        let mut out: Vec<(Option<&str>, &Record)> = Vec::new();
        for (row, record) in self.rows.iter().zip(&self.records) {
            if record.reading().is_some() && !row.replaced {
                out.retain(|(stage, _)| *stage != row.stage.as_deref());
                out.push((row.stage.as_deref(), record));
            }
        }
        out.into_iter().map(|(_, r)| r.clone()).collect()
    }

    /// Readings and entries in order of their time.
    fn lived(&self) -> Lived {
        let said = life::of(&self.all, &self.name);
        let readings = (0..self.rows.len()).map(|i| (second(&self.rows[i].taken_at), self.step(i)));
        let shown = |e: &&&Entry| !matches!(e.what, What::About { .. } | What::Recipe { .. } | What::Stage { .. });
        let entries = said.iter().filter(shown);
        let entries = entries.flat_map(|e| lines(life::own(&self.all, e, &self.name)));
        let mut steps: Vec<(i64, LifeStep)> = readings.chain(entries).collect();
        steps.sort_by_key(|s| s.0);
        Lived {
            name: self.name.clone(),
            about: self.about.clone(),
            recipe: recipe_words(&self.all, &said),
            steps: steps.into_iter().map(|s| s.1).collect(),
        }
    }

    /// What could not be read.
    pub fn say_left_out(&self, console: &mut Console) {
        say_left_out(&self.left_out, console);
    }

    /// The same without what is the shop's alone: to whom it was sent, and where nobody asked for it what went into it.
    pub fn shown(&self, recipe: Recipe) -> Lived {
        let mut life = self.lived();
        let step = |step| match step {
            LifeStep::Said(entry) => Some(LifeStep::Said(Box::new(handed_out(*entry, recipe)?))),
            reading => Some(reading),
        };
        life.steps = life.steps.into_iter().filter_map(step).collect();
        if recipe == Recipe::Kept {
            life.recipe.clear();
        }
        life
    }

    fn step(&self, i: usize) -> LifeStep {
        let before = |i: &usize| {
            let row = &self.rows[*i];
            row.stage.clone().unwrap_or_else(|| row.day().to_owned())
        };
        LifeStep::Reading(Box::new(Read {
            row: self.rows[i].clone(),
            record: self.records[i].clone(),
            change: self.changes[i].as_ref().map(|(i, d)| (before(i), d.text.clone())),
        }))
    }
}

/// Whether the recipe is handed out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recipe {
    Shown,
    Kept,
}

impl Recipe {
    pub fn asked(with_recipe: bool) -> Recipe {
        match with_recipe {
            true => Recipe::Shown,
            false => Recipe::Kept,
        }
    }
}

/// What went into a pickup, its design before its own words; `all` has the designs.
pub fn recipe_words(all: &[Entry], said: &[&Entry]) -> Vec<String> {
    let recipe = life::recipe(all, said);
    let design = recipe.design.as_ref().map(ToString::to_string);
    let words: Vec<String> = recipe.words.iter().map(|(k, v)| format!("{k}={v}")).collect();
    let words = Some(words.join(" ")).filter(|w| !w.is_empty());
    design.into_iter().chain(words).collect()
}

/// An entry as steps of a life: an import is one for each of its lines, on that line's day.
fn lines(entry: Entry) -> Vec<(i64, LifeStep)> {
    let What::Paper { file, rows } = &entry.what else {
        return vec![(second(&entry.at), LifeStep::Said(Box::new(entry)))];
    };
    let line = |row: &Line| {
        let what = What::Paper {
            file: file.clone(),
            rows: vec![row.clone()],
        };
        let entry = Entry { what, ..entry.clone() };
        (second_of(&row.day).unwrap_or(0), LifeStep::Said(Box::new(entry)))
    };
    rows.iter().map(line).collect()
}

fn second(stamp: &str) -> i64 {
    moment(stamp).map_or(0, |t| t.as_second())
}

/// An entry as others may see it: to whom it went is the shop's alone, and so is a recipe that is kept.
fn handed_out(mut entry: Entry, recipe: Recipe) -> Option<Entry> {
    match (&mut entry.what, recipe) {
        (What::Sent { to, .. }, _) => *to = None,
        (What::Recipe { .. } | What::Design { .. }, Recipe::Kept) => return None,
        (What::Paper { rows, .. }, Recipe::Kept) => rows.iter_mut().for_each(|line| line.words.clear()),
        _ => {}
    }
    Some(entry)
}

/// The readings whose records can be read, with these; what cannot be is said and left out.
fn records(rows: Vec<Row>, notebook: &Path, console: &mut Console) -> (Vec<Row>, Vec<wanted::Placed>) {
    let measured: Vec<Row> = rows.into_iter().filter(|r| r.verdict.is_some()).collect();
    let read = wanted::read(notebook, &measured.iter().collect::<Vec<_>>(), console);
    read.into_iter()
        .map(|(i, placed)| (measured[i].clone(), placed))
        .unzip()
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
