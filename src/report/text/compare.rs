//! Several records in one table, and their differences.

use std::path::PathBuf;

use super::grid;
use super::screen::{BOLD, DIM, PLAIN, Screen, Style, WARN};
use crate::record::{Record, Verdict};
use crate::report::difference_words::{self, estimate};
use crate::report::number::{self, LEVEL, db, hz};
use crate::report::words::{self, HEIGHT};
use crate::shop::difference::{Comparison, Difference, Judged};
use crate::shop::yardstick::Quantity;
use crate::stats::Answer;

/// Table of the records, then one sentence for each that is compared with the first.
pub fn compare_text(records: &[Record], comparison: &Comparison, style: Style) -> String {
    let mut out = Screen::new(style);
    table(&mut out, records.iter().enumerate().map(|(i, r)| (words::letter(i), r)));
    for (i, apart) in words::told_apart(records).into_iter().enumerate() {
        apart.into_iter().for_each(|apart| out.listed(&words::letter(i), apart));
    }
    out.line("");
    out.line("Against A:");
    for (i, d) in comparison.differences.iter().enumerate() {
        let paint = if d.answer == Answer::Different { BOLD } else { PLAIN };
        let text = difference_words::against(d, records) + &d.text;
        out.listed_in(&words::letter(i + 1), text, paint);
    }
    if let Some(usual) = difference_words::usual(comparison.judged()) {
        out.line_in(usual, DIM);
    }
    if style.details {
        details(&mut out, comparison);
    }
    out.text
}

fn details(out: &mut Screen, comparison: &Comparison) {
    out.line("");
    out.line_in("Differences with their intervals", DIM);
    for (i, d) in comparison.differences.iter().enumerate() {
        let told = Quantity::ALL.map(|q| Some(format!("{} {}", words::quantity(q), interval(d, q)?)));
        if let Some(parts) = words::joined(told) {
            out.listed(&words::letter(i + 1), format!("{parts} {LEVEL}"));
        }
    }
    out.line_in(RULE, DIM);
}

const RULE: &str = "Different: beyond what matters by more than the interval of all quantities together (Bonferroni). The same: with \
                    its own interval within what matters. Both 95 %, Student's t. Coupling is the exciter's position too, not \
                    loudness from a string.";

/// Of this quantity alone; of one that was not judged by the normal distribution.
fn interval(d: &Difference, quantity: Quantity) -> Option<String> {
    let e = estimate(d, quantity)?;
    let judged = Judged::find(&d.quantities, quantity).filter(|j| j.u > 0.0);
    let half = judged.map_or(e.half_width_95(), |j| e.u * j.half / j.u);
    Some(number::within(e.value, half, words::unit(quantity)))
}

/// Many analyses in one table, then those files that could not be used.
pub fn batch_text(records: &[Record], failed: &[(PathBuf, String)], style: Style) -> String {
    let mut out = Screen::new(style);
    if !records.is_empty() {
        table(
            &mut out,
            records.iter().enumerate().map(|(i, r)| ((i + 1).to_string(), r)),
        );
    }
    let read = records.iter().filter(|r| r.reading().is_some());
    let suspect = read.clone().filter(|r| r.verdict == Verdict::Suspect).count();
    let read = read.count();
    let counted = |n: usize, what: &str| (n > 0).then(|| format!("{n} {what}"));
    let sum = [
        Some(format!("{read} read")),
        counted(suspect, "of them with warnings"),
        counted(records.len() - read, "to measure again"),
        counted(failed.len(), "could not be used"),
    ];
    out.lines(words::joined(sum));
    for (file, why) in failed {
        let file = words::no_controls(&file.display().to_string());
        out.line_in(format!("{file}: {}", words::clean(why)), WARN);
    }
    out.text
}

fn table<'a>(out: &mut Screen, records: impl Iterator<Item = (String, &'a Record)>) {
    let records: Vec<(String, &Record)> = records.collect();
    let rows = rows(&records);
    let peak = |r: &Record| r.reading().is_some_and(|x| x.peak_hz.is_some());
    let intervals = records.iter().any(|r| peak(r.1));
    if !grid::lines(out, &rows, &[0, 1], 1) {
        rows.iter().skip(1).for_each(|row| listed(out, row));
    }
    if intervals {
        let mark = words::mark(records.iter().map(|r| r.1));
        out.line_in(format!("f0 and Q with their intervals {mark}"), DIM);
    }
    for (tag, record) in &records {
        if let Some(down) = words::down(record) {
            out.listed(tag, format!("no peak; {down}"));
        }
    }
    let simulated: Vec<&(String, &Record)> = records.iter().filter(|r| r.1.is_simulated()).collect();
    if !simulated.is_empty() {
        let all = simulated.len() == records.len();
        let who = if all {
            "all".into()
        } else {
            words::list(simulated.iter().map(|r| &r.0))
        };
        out.line(format!("SIMULATED, no real pickup: {who}"));
    }
}

/// The table's head and body.
fn rows(records: &[(String, &Record)]) -> Vec<[String; 6]> {
    let body = records.iter().map(|(tag, r)| {
        let shown = |q| words::shown(r, q).unwrap_or_default();
        let [peak, height, f0, q] = match r.reading().map(|x| (x.peak_hz, x.peak_db)) {
            Some((Some(p), height)) => {
                let height = words::of(height, |h| db(h.value));
                [hz(p.value), height, shown(Quantity::F0), shown(Quantity::Q)]
            }
            found => [if found.is_some() { "no peak" } else { "no reading" }, "", "", ""].map(String::from),
        };
        [tag.clone(), words::name(r), peak, height, f0, q]
    });
    let head = ["", "pickup", "peak", HEIGHT, "f0", "Q"].map(String::from);
    std::iter::once(head).chain(body).collect()
}

/// A row of the table where there is no room for one.
fn listed(out: &mut Screen, [tag, name, peak, height, f0, q]: &[String; 6]) {
    out.listed(tag, name);
    let sized = format!("peak {peak}, {HEIGHT} {height}");
    out.listed("", if height.is_empty() { peak } else { &sized });
    if !f0.is_empty() {
        out.listed("", format!("f0 {f0}, Q {q}"));
    }
}
