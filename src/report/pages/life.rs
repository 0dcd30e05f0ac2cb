//! The page of a pickup's life.

use super::shared::{Told, glance, refused, typed};
use crate::book::row::Row;
use crate::failure::Result;
use crate::record::Record;
use crate::report::number::{self, Unit};
use crate::report::overlay::{Align, compare_plot};
use crate::report::page::line::{Line, theirs};
use crate::report::page::table::{Cell, Table, number as cell};
use crate::report::page::{Block, Page};
use crate::report::text::{LifeStep, Lived, Read};
use crate::report::{entry_words, words};
use crate::shop::yardstick::Quantity;

/// `stages`: the last reading of each. Whoever hands the life over has taken from it what is not for the page.
pub fn page(life: &Lived, stages: &[Record]) -> Result<Page> {
    let mut page = Page::new(theirs(words::clean(&life.name)));
    let readings = || {
        life.steps.iter().filter_map(|s| match s {
            LifeStep::Reading(read) => Some((&read.row, &read.record)),
            LifeStep::Said(_) => None,
        })
    };
    page.stamp(readings().count() > 0 && readings().all(|r| r.1.is_simulated()));
    let told = Told {
        about: life.about.clone(),
        recipe: life.recipe.clone(),
    };
    let facts: Vec<_> = told
        .facts()
        .into_iter()
        .chain(typed("Made by", life.about.by.as_deref()))
        .collect();
    if !facts.is_empty() {
        page.put(Block::Facts(facts));
    }
    if !stages.is_empty() {
        page.put(Block::Picture(Box::new(compare_plot(stages, Align::LowFrequency)?)));
    }
    if readings().count() > 0 {
        page.put(Block::Table(table(readings())));
    }
    page.head("In order");
    page.list(life.steps.iter().map(step).collect());
    Ok(page)
}

fn table<'a>(readings: impl Iterator<Item = (&'a Row, &'a Record)>) -> Table {
    let row = |(row, record): (&Row, &Record)| -> Vec<Cell> {
        let r = record.reading();
        vec![
            theirs(words::clean(row.day())).into(),
            theirs(words::clean(row.stage.as_deref().unwrap_or_default())).into(),
            glance(r.and_then(|r| r.peak_hz), Unit::Hertz),
            glance(r.and_then(|r| r.peak_db), Unit::Decibel),
            cell(r.map(|r| r.q.value), |_| {
                words::shown(record, Quantity::Q).unwrap_or_default()
            }),
            cell(row.ohm20, |o| number::four_digits(o, Unit::Ohm)),
            theirs(words::load(record)).into(),
            words::verdict(record.verdict).into(),
        ]
    };
    Table {
        caption: "Its readings".into(),
        head: vec![
            "day",
            "stage",
            "peak",
            words::HEIGHT,
            "Q",
            "ohms at 20 °C",
            "load",
            "reading",
        ],
        rows: readings.map(row).collect(),
    }
}

fn step(step: &LifeStep) -> Line {
    match step {
        LifeStep::Said(entry) => theirs(entry_words::day(entry))
            .ours(": ")
            .theirs(entry_words::sentence(entry)),
        LifeStep::Reading(read) => {
            let Read { row, record, change } = &**read;
            let mut line = theirs(words::clean(row.day())).ours(": ");
            if let Some(stage) = &row.stage {
                line = line.theirs(words::clean(stage)).ours(", ");
            }
            line = match record.reading() {
                Some(_) => line.ours(words::peak(record)),
                None => line.and(refused(record)),
            };
            match change {
                Some((against, change)) => line
                    .ours("; against ")
                    .theirs(words::clean(against))
                    .ours(": ")
                    .theirs(change),
                None => line,
            }
        }
    }
}
