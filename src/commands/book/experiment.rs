//! `book experiment`: two groups that differ in one word of their recipe.

use std::collections::BTreeMap;

use crate::book::entry::Entry;
use crate::book::index::Fresh;
use crate::book::life;
use crate::book::row::{Filter, Row};
use crate::cli::args::ExperimentArgs;
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::commands::readings;
use crate::commands::wanted::{self, Placed};
use crate::record::{Record, Verdict};
use crate::report::text;
use crate::shop::difference::How;
use crate::shop::experiment::document::ExperimentDocument;
use crate::shop::experiment::{self, Made, Recipe};

/// Words that every recipe may have, from what is told of the pickup itself.
const STAGE: &str = "stage";
const BY: &str = "by";

pub fn run(args: &ExperimentArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let entries = wanted::ask(&notebook, Fresh::Usual, |index| index.entries())?;
    let document = match &args.word {
        Some(word) => by_word(word, &notebook, &entries, console)?,
        None => by_groups(args, &entries, console)?,
    };
    outcome::say(&document, args.shown, console, text::experiment_text)
}

fn by_groups(args: &ExperimentArgs, entries: &[Entry], console: &mut Console) -> Result<ExperimentDocument> {
    let (first, second) = (wanted::all(&args.first)?, wanted::all(&args.with)?);
    let at = first.len();
    let (mut made, how) = made(&[first, second].concat(), entries, console)?;
    let second = made.split_off(at);
    experiment::of_groups(&made, &second, &how)
}

fn by_word(word: &str, notebook: &Path, entries: &[Entry], console: &mut Console) -> Result<ExperimentDocument> {
    let filter = Filter::every();
    let mut rows = wanted::ask(notebook, Fresh::Usual, |index| index.rows(&filter))?;
    rows.retain(|r| r.verdict != Some(Verdict::Rejected) && !r.replaced);
    // Only those records are read whose recipes have the word.
    let mut told: BTreeMap<String, bool> = BTreeMap::new();
    rows.retain(|r| {
        let recipe = || life::recipe(entries, &life::of(entries, &r.name));
        let has = || [STAGE, BY].contains(&word) || recipe().words.contains_key(word);
        *told.entry(r.name.clone()).or_insert_with(has)
    });
    let without = told.values().filter(|has| !**has).count();
    let read = wanted::read(notebook, &latest(&rows), console);
    let placed: Vec<Placed> = read.into_iter().map(|r| r.1).collect();
    let (made, how) = made(&placed, entries, console)?;
    let document = experiment::of_word(word, &made, &how)?;
    if without > 0 {
        console.remark(&format!(
            "{without} of the notebook's pickups have no {word} in their recipe"
        ));
    }
    Ok(document)
}

/// Of each pickup the latest of each kind at each stage, in order of their time.
fn latest(rows: &[Row]) -> Vec<&Row> {
    let key = |r: &Row| {
        let (over, load, rig) = r.kind();
        [Some(r.name.as_str()), r.stage.as_deref(), over, load, rig].map(|k| k.map(str::to_owned))
    };
    let mut last: BTreeMap<_, &Row> = BTreeMap::new();
    for row in rows {
        let kept = last.entry(key(row)).or_insert(row);
        if row.seq > kept.seq {
            *kept = row;
        }
    }
    let mut last: Vec<&Row> = last.into_values().collect();
    last.sort_by_key(|r| r.seq);
    last
}

/// Readings with what went into their pickups.
fn made(placed: &[Placed], entries: &[Entry], console: &mut Console) -> Result<(Vec<Made>, How)> {
    let (records, how) = readings::known_of(placed, console)?;
    let made = records.into_iter().map(|record| Made {
        recipe: recipe(entries, &record),
        record,
    });
    Ok((made.collect(), how))
}

/// The words of its recipe; its stage and whose hands made it are things that may be changed, too.
fn recipe(entries: &[Entry], record: &Record) -> Recipe {
    let said = life::of(entries, &record.pickup.name);
    let mut words = life::recipe(entries, &said).words;
    let stage = record.pickup.stage.as_ref().map(|s| s.text().to_owned());
    let by = record.pickup.by.clone().or(life::about(&said).by);
    for (word, value) in [(STAGE, stage), (BY, by)] {
        words.extend(value.map(|v| (word.to_owned(), v)));
    }
    words
}
