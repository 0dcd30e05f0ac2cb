//! The page of a dip: before and after the wax.

use super::shared::fact;
use crate::estimate::Estimate;
use crate::failure::Result;
use crate::report::number::{self, LEVEL, Unit};
use crate::report::page::{Block, Cell, Line, Page, cell, theirs};
use crate::report::text::potting;
use crate::report::{potting_plot, words};
use crate::shop::wax::document::PottingDocument;

/// `d` has its sentences already.
pub fn page(d: &PottingDocument) -> Result<Page> {
    let mut page = Page::new(Line::from("Wax, before and after"));
    page.stamp(d.simulated);
    page.say(Line::from("Judged by ").theirs(potting::judged_by(d)).ours("."));
    page.picture(potting_plot::pairs(d)?);
    before_and_after(&mut page, d);
    changes(&mut page, d);
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
fn before_and_after(page: &mut Page, d: &PottingDocument) {
    let (head, lines) = potting::before_and_after(d);
    let caption = format!("Before and after, and the change in f0 {LEVEL}");
    let head = head.map(|h| if h.is_empty() { "verdict" } else { h });
    page.table(caption, &head, lines, |l| l.map(|c| theirs(c).into()).to_vec());
}

fn change(e: Option<Estimate>, unit: Unit) -> Cell {
    let shown = words::of(e, |e| number::bare_interval(&e, unit));
    cell(e.map(|e| e.value), |_| shown)
}

fn changes(page: &mut Page, d: &PottingDocument) {
    let caption = format!("Changes from before to after {LEVEL}");
    let head = ["pickup", "f0", "Q", words::HEIGHT, "winding", "verdict"];
    page.table(caption, &head, &d.pairs, |p| {
        vec![
            theirs(words::clean(&p.pickup)).into(),
            change(p.f0_hz, Unit::Hertz),
            change(p.q, Unit::Ratio),
            change(p.peak_db, Unit::Decibel),
            change(p.c_f, Unit::Farad),
            potting::verdict(p.verdict).into(),
        ]
    });
}
