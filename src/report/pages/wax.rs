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
use crate::shop::wax::document::{Decided, Pair, PottingDocument};

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

/// As the screen has it, and what changed in Q and in the winding.
fn table(d: &PottingDocument) -> Table {
    let ([pickup, f0, changed, height, ohms, _], lines) = potting::before_and_after(d);
    let change = |e: Option<Estimate>, unit| {
        cell(e.map(|e| e.value), |_| {
            e.map_or(String::new(), |e| number::bare_interval(&e, unit))
        })
    };
    let row = |(line, (p, decided)): (potting::Line, (Option<&Pair>, Option<[Decided; 2]>))| -> Vec<Cell> {
        let [pickup, f0, changed, height, ohms, verdict] = line;
        let changed = cell(decided.map(|d| d[0].difference), |_| changed);
        let [pickup, f0, height, ohms, verdict] = [pickup, f0, height, ohms, verdict].map(|c| theirs(c).into());
        let [q, winding] = [p.and_then(|p| p.q), p.and_then(|p| p.c_f)];
        let [q, winding] = [change(q, Unit::Ratio), change(winding, Unit::Farad)];
        vec![pickup, f0, changed, q, height, winding, ohms, verdict]
    };
    let pairs = d.pairs.iter().map(|p| (Some(p), p.decided));
    let rows = pairs.chain(d.stayed.iter().map(|s| (None, s.changed)));
    Table {
        caption: format!("Before and after, and what changed {LEVEL}").into(),
        head: vec![pickup, f0, changed, "change in Q", height, "winding", ohms, "verdict"],
        rows: lines.into_iter().zip(rows).map(row).collect(),
    }
}
