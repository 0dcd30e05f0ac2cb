//! Several records in one table, and their differences.

use std::fmt::Write as _;
use std::path::PathBuf;

use super::screen::Screen;
use super::{BOLD, DIM, PLAIN, Style, WARN};
use crate::estimate::Estimate;
use crate::record::{Record, Verdict};
use crate::report::number::{self, LEVEL, Unit};
use crate::report::words::{self, HEIGHT};
use crate::shop::difference::{Comparison, Difference, Judged};
use crate::shop::yardstick::Quantity;
use crate::stats::Answer;
use crate::wrap::columns;

/// Table of the records, then one sentence for each that is compared with the first.
pub fn compare_text(records: &[Record], comparison: &Comparison, style: Style) -> String {
    let mut out = Screen::new(style);
    table(
        &mut out,
        records.iter().enumerate().map(|(i, r)| (words::letter(i), r)),
        style,
    );
    for (i, apart) in words::told_apart(records).iter().enumerate() {
        if let Some(apart) = apart {
            out.listed(&words::letter(i), apart, PLAIN);
        }
    }
    out.free("", PLAIN);
    out.free("Against A:", PLAIN);
    for (i, d) in comparison.differences.iter().enumerate() {
        let paint = if d.answer == Answer::Different { BOLD } else { PLAIN };
        let other = d
            .against
            .as_ref()
            .and_then(|id| records.iter().position(|r| r.id == *id));
        let text = match other {
            Some(k) => format!("against {}: {}", words::letter(k), d.text),
            None => d.text.clone(),
        };
        out.listed(&words::letter(i + 1), &text, paint);
    }
    if style.details {
        details(&mut out, comparison);
    }
    out.text
}

fn details(out: &mut Screen, comparison: &Comparison) {
    out.free("", PLAIN);
    out.free("Differences with their intervals", DIM);
    for (i, d) in comparison.differences.iter().enumerate() {
        let parts: Vec<String> = [
            ("peak", Quantity::Peak, d.peak_hz, Unit::Hertz),
            ("f0", Quantity::F0, d.f0_hz, Unit::Hertz),
            ("Q", Quantity::Q, d.q, Unit::Ratio),
            (HEIGHT, Quantity::Height, d.peak_db, Unit::Decibel),
            ("coupling from the exciter", Quantity::Level, d.level_db, Unit::Decibel),
        ]
        .into_iter()
        .filter_map(|(name, quantity, e, unit)| Some(format!("{name} {}", interval(d, quantity, e?, unit))))
        .collect();
        if !parts.is_empty() {
            out.listed(&words::letter(i + 1), &format!("{} {LEVEL}", parts.join(", ")), PLAIN);
        }
    }
    out.free(
        "Different: beyond what matters by more than the interval of all quantities together (Bonferroni). The same: with its own \
         interval within what matters. Both 95 %, Student's t. Coupling is the exciter's position too, not loudness from a string.",
        DIM,
    );
}

/// Of this quantity alone; of one that was not judged by the normal distribution.
fn interval(d: &Difference, quantity: Quantity, e: Estimate, unit: Unit) -> String {
    let judged = Judged::find(&d.quantities, quantity).filter(|j| j.u > 0.0);
    let half = judged.map_or(e.half_width_95(), |j| e.u * j.half / j.u);
    number::within(e.value, half, unit)
}

/// Many analyses in one table, then those files that could not be used.
pub fn batch_text(records: &[Record], failed: &[(PathBuf, String)], style: Style) -> String {
    let mut out = Screen::new(style);
    if !records.is_empty() {
        let numbered = records.iter().enumerate().map(|(i, r)| ((i + 1).to_string(), r));
        table(&mut out, numbered, style);
    }
    let again = records.iter().filter(|r| words::reading(r).is_none()).count();
    let suspect = records
        .iter()
        .filter(|r| words::reading(r).is_some() && r.verdict == Verdict::Suspect)
        .count();
    let mut sum = vec![format!("{} read", records.len() - again)];
    if suspect > 0 {
        sum.push(format!("{suspect} of them with warnings"));
    }
    if again > 0 {
        sum.push(format!("{again} to measure again"));
    }
    if !failed.is_empty() {
        sum.push(format!("{} could not be used", failed.len()));
    }
    out.free(&sum.join(", "), PLAIN);
    for (file, why) in failed {
        out.free(
            &format!(
                "{}: {}",
                words::no_controls(&file.display().to_string()),
                words::clean(why)
            ),
            WARN,
        );
    }
    out.text
}

fn table<'a>(out: &mut Screen, records: impl Iterator<Item = (String, &'a Record)>, style: Style) {
    let records: Vec<(String, &Record)> = records.collect();
    let rows = rows(&records);
    let peak = |r: &Record| words::reading(r).is_some_and(|x| x.peak_hz.is_some());
    let intervals = records.iter().any(|r| peak(r.1));
    let mut widths = widths(&rows);
    let others = widths.iter().sum::<usize>() - widths[1] + 10;
    let room = style.usable().saturating_sub(others);
    // Where the screen is too narrow for a readable name, the numbers go below it.
    let narrow = room < widths[1].min(14);
    widths[1] = widths[1].min(room);
    for row in rows.iter().skip(1).filter(|_| narrow) {
        listed(out, row);
    }
    for (n, row) in rows.iter().enumerate().filter(|_| !narrow) {
        let mut line = String::new();
        for (i, (cell, w)) in row.iter().zip(widths).enumerate() {
            let cell = shortened(cell, w);
            let pad = " ".repeat(w.saturating_sub(columns(&cell)));
            // Names to the left, numbers to the right.
            let _ = if i < 2 {
                write!(line, "{cell}{pad}  ")
            } else {
                write!(line, "{pad}{cell}  ")
            };
        }
        let line = shortened(line.trim_end(), style.usable());
        out.raw(&line, if n == 0 { DIM } else { PLAIN });
    }
    if intervals {
        let mark = words::mark(records.iter().map(|r| r.1));
        out.free(&format!("f0 and Q with their intervals {mark}"), DIM);
    }
    for (tag, record) in &records {
        if let Some(down) = words::down(record) {
            out.listed(tag, &format!("no peak; {down}"), PLAIN);
        }
    }
    let simulated: Vec<&str> = records
        .iter()
        .filter(|r| r.1.is_simulated())
        .map(|r| r.0.as_str())
        .collect();
    if !simulated.is_empty() {
        let who = if simulated.len() == records.len() {
            "all".into()
        } else {
            simulated.join(", ")
        };
        out.free(&format!("SIMULATED, no real pickup: {who}"), PLAIN);
    }
}

/// The table's head and body.
fn rows(records: &[(String, &Record)]) -> Vec<[String; 6]> {
    let body = records.iter().map(|(tag, r)| {
        let [peak, height, f0, q] = match words::reading(r) {
            None => ["no reading".into(), String::new(), String::new(), String::new()],
            Some(x) => match x.peak_hz {
                None => ["no peak".into(), String::new(), String::new(), String::new()],
                Some(p) => [
                    number::short(p.value, Unit::Hertz),
                    x.peak_db
                        .map_or(String::new(), |p| number::short(p.value, Unit::Decibel)),
                    words::shown(r, Quantity::F0).unwrap_or_default(),
                    words::shown(r, Quantity::Q).unwrap_or_default(),
                ],
            },
        };
        [tag.clone(), words::name(r), peak, height, f0, q]
    });
    let head = ["", "pickup", "peak", HEIGHT, "f0", "Q"].map(String::from);
    std::iter::once(head).chain(body).collect()
}

/// A row of the table where there is no room for one.
fn listed(out: &mut Screen, [tag, name, peak, height, f0, q]: &[String; 6]) {
    out.listed(tag, name, PLAIN);
    let sized = if height.is_empty() {
        peak.clone()
    } else {
        format!("peak {peak}, {HEIGHT} {height}")
    };
    out.listed("", &sized, PLAIN);
    if !f0.is_empty() {
        out.listed("", &format!("f0 {f0}, Q {q}"), PLAIN);
    }
}

fn widths(rows: &[[String; 6]]) -> [usize; 6] {
    let mut out = [0; 6];
    for row in rows {
        for (w, cell) in out.iter_mut().zip(row) {
            *w = columns(cell).max(*w);
        }
    }
    out
}

fn shortened(s: &str, w: usize) -> String {
    if columns(s) <= w {
        return s.to_string();
    }
    let mut out: String = s.chars().take(w.saturating_sub(1)).collect();
    out.truncate(out.trim_end().len());
    out.push('…');
    out
}
