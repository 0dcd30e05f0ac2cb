//! The page of a dip: before and after the wax.

use super::shared::fact;
use crate::failure::Result;
use crate::report::number::{self, LEVEL, Unit};
use crate::report::page::line::{Line, theirs};
use crate::report::page::table::{Cell, Table, number as cell};
use crate::report::page::{Block, Page};
use crate::report::text::potting;
use crate::report::{potting_plot, words};
use crate::shop::wax::document::{Pair, PottingDocument};

/// `d` has its sentences already.
pub fn page(d: &PottingDocument) -> Result<Page> {
    let mut page = Page::new(Line::from("Wax, before and after"));
    page.stamp(d.simulated);
    page.say(Line::from("Judged by ").theirs(potting::judged_by(d)).ours("."));
    page.put(Block::Picture(Box::new(potting_plot::pairs(d)?)));
    page.put(Block::Table(table(d)));
    page.head("Each by itself");
    let words = d.pairs.iter().map(|p| {
        let line = theirs(words::clean(&p.pickup)).ours(format!(": {}; ", potting::verdict(p.verdict)));
        line.theirs(&p.text)
    });
    page.list(words.collect());
    if let Some(lot) = &d.lot {
        page.put(Block::Facts(vec![fact("All together", potting::lot(lot))]));
    }
    let unpaired = d
        .unpaired
        .iter()
        .map(|n| Line::from("On one side only: ").theirs(words::clean(n)));
    page.list(unpaired.chain(d.notes.iter().map(theirs)).collect());
    Ok(page)
}

fn table(d: &PottingDocument) -> Table {
    let row = |p: &Pair| -> Vec<Cell> {
        let change = |e: Option<crate::estimate::Estimate>, unit| {
            cell(e.map(|e| e.value), |_| {
                e.map_or(String::new(), |e| number::bare_interval(&e, unit))
            })
        };
        vec![
            theirs(words::clean(&p.pickup)).into(),
            change(p.f0_hz, Unit::Hertz),
            change(p.q, Unit::Ratio),
            change(p.peak_db, Unit::Decibel),
            change(p.c_f, Unit::Farad),
            potting::verdict(p.verdict).into(),
        ]
    };
    Table {
        caption: format!("Changes from before to after {LEVEL}").into(),
        head: vec!["pickup", "f0", "Q", words::HEIGHT, "winding", "verdict"],
        rows: d.pairs.iter().map(row).collect(),
    }
}
