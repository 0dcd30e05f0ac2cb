//! The page of a pickup's life.

use super::shared::{Told, glance, refused, typed};
use crate::failure::Result;
use crate::record::Record;
use crate::report::number::{self, Unit};
use crate::report::overlay::{Align, compare_plot};
use crate::report::page::{Block, Line, Page, cell, theirs};
use crate::report::text::{LifeStep, Lived, Read};
use crate::report::{entry_words, words};
use crate::shop::yardstick::Quantity;

/// `stages`: the last reading of each. Whoever hands the life over has taken from it what is not for the page.
pub fn page(life: &Lived, stages: &[Record]) -> Result<Page> {
    let mut page = Page::new(theirs(words::clean(&life.name)));
    page.stamp(life.is_simulated());
    let told = Told {
        about: life.about.clone(),
        recipe: life.recipe.clone(),
    };
    let mut facts = told.facts();
    facts.extend(typed("Made by", life.about.by.as_deref()));
    if !facts.is_empty() {
        page.put(Block::Facts(facts));
    }
    if !stages.is_empty() {
        page.picture(compare_plot(stages, Align::LowFrequency)?);
    }
    if life.readings().count() > 0 {
        table(&mut page, life);
    }
    page.head("In order");
    page.list(life.steps.iter().map(step).collect());
    Ok(page)
}

fn table(page: &mut Page, life: &Lived) {
    let height = words::HEIGHT;
    let head = ["day", "stage", "peak", height, "Q", "ohms at 20 °C", "load", "reading"];
    page.table(
        "Its readings",
        &head,
        life.readings(),
        |Read { row, record, .. }| {
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
        },
    );
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
                Some((other, change)) => line
                    .ours("; against ")
                    .theirs(words::clean(other))
                    .ours(": ")
                    .theirs(change),
                None => line,
            }
        }
    }
}
