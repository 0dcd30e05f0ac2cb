//! The page of a dip: before and after the wax.

use super::shared::fact;
use crate::estimate::Estimate;
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
    page.put(Block::Table(before_and_after(d)));
    page.put(Block::Table(changes(d)));
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

/// As the screen has it.
fn before_and_after(d: &PottingDocument) -> Table {
    let (head, lines) = potting::before_and_after(d);
    Table {
        caption: format!("Before and after, and the change in f0 {LEVEL}").into(),
        head: head.map(|h| if h.is_empty() { "verdict" } else { h }).to_vec(),
        rows: lines
            .into_iter()
            .map(|l| l.map(|c| theirs(c).into()).to_vec())
            .collect(),
    }
}

fn changes(d: &PottingDocument) -> Table {
    let row = |p: &Pair| -> Vec<Cell> {
        let change = |e: Option<Estimate>, unit| {
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
