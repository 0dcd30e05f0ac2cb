//! The page of several measurements laid over each other.

use super::shared::{four, glance, name};
use crate::failure::Result;
use crate::record::Record;
use crate::report::difference_words;
use crate::report::number::Unit;
use crate::report::overlay::{Align, compare_plot};
use crate::report::page::line::{Line, theirs};
use crate::report::page::table::{Cell, Table};
use crate::report::page::{Block, Page};
use crate::report::words::{self, HEIGHT};
use crate::shop::difference::Comparison;

/// `comparison` has its sentences already.
pub fn page(records: &[Record], comparison: &Comparison) -> Result<Page> {
    let names = records.iter().take(3).enumerate();
    let mut title = names.fold(Line::default(), |title, (i, r)| {
        title.ours(if i == 0 { "" } else { ", " }).and(name(r))
    });
    if records.len() > 3 {
        title = title.ours(format!(" and {} more", records.len() - 3));
    }
    let mut page = Page::new(title);
    page.stamp(records.iter().all(Record::is_simulated));
    page.put(Block::Picture(Box::new(compare_plot(records, Align::LowFrequency)?)));
    page.put(Block::Table(table(records)));
    page.head("Against A");
    let differences = comparison.differences.iter().enumerate().map(|(i, d)| {
        let against = d
            .against
            .as_ref()
            .and_then(|id| records.iter().position(|r| r.id == *id));
        let against = against.map_or(String::new(), |k| format!("against {}: ", words::letter(k)));
        Line::from(format!("{}: {against}", words::letter(i + 1))).theirs(&d.text)
    });
    let usual = difference_words::usual(comparison.judged()).map(Line::from);
    page.list(differences.chain(usual).collect());
    Ok(page)
}

fn table(records: &[Record]) -> Table {
    let apart = words::told_apart(records);
    let row = |(i, (r, apart)): (usize, (&Record, Option<String>))| -> Vec<Cell> {
        let found = r.reading();
        let pickup = apart.map_or(name(r), |a| name(r).ours(", ").theirs(a));
        let simulated = if r.is_simulated() { " (simulated)" } else { "" };
        vec![
            words::letter(i).into(),
            pickup.ours(simulated).into(),
            glance(found.and_then(|x| x.peak_hz), Unit::Hertz),
            glance(found.and_then(|x| x.peak_db), Unit::Decibel),
            four(found.map(|x| x.f0_hz.value), Unit::Hertz),
            four(found.map(|x| x.q.value), Unit::Ratio),
            theirs(words::load(r)).into(),
        ]
    };
    Table {
        caption: "What was measured".into(),
        head: vec!["letter", "pickup", "peak", HEIGHT, "f0", "Q", "load"],
        rows: records.iter().zip(apart).enumerate().map(row).collect(),
    }
}
