//! The page of several measurements laid over each other.

use super::shared::{four, glance, name};
use crate::failure::Result;
use crate::record::Record;
use crate::report::difference_words;
use crate::report::number::Unit;
use crate::report::overlay::{Align, compare_plot};
use crate::report::page::{Line, Page, theirs};
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
    page.picture(compare_plot(records, Align::LowFrequency)?);
    table(&mut page, records);
    page.head("Against A");
    let differences = comparison.differences.iter().enumerate().map(|(i, d)| {
        let head = format!("{}: {}", words::letter(i + 1), difference_words::against(d, records));
        Line::from(head).theirs(&d.text)
    });
    let usual = difference_words::usual(comparison.judged()).map(Line::from);
    page.list(differences.chain(usual).collect());
    Ok(page)
}

fn table(page: &mut Page, records: &[Record]) {
    let head = ["letter", "pickup", "peak", HEIGHT, "f0", "Q", "load"];
    let all = records.iter().zip(words::told_apart(records)).enumerate();
    page.table("What was measured", &head, all, |(i, (r, apart))| {
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
    });
}
