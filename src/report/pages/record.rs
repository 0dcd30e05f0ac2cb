//! The page of one measurement.

use super::shared::{Fact, Told, fact, name, refused, typed};
use crate::failure::Result;
use crate::record::{Level, Open, Record};
use crate::report::page::line::{Line, theirs};
use crate::report::page::{Block, Page};
use crate::report::plot::response_plot;
use crate::report::words;
use crate::shop::yardstick::Quantity;

pub fn page(record: &Record, told: &Told) -> Result<Page> {
    let mut page = Page::new(name(record));
    page.stamp(record.is_simulated());
    if record.reading().is_none() {
        page.put(Block::Notice(refused(record)));
    }
    page.put(Block::Picture(Box::new(response_plot(record)?)));
    page.put(Block::Facts(
        [found(record), told.facts(), circumstances(record, told)].concat(),
    ));
    let remarks = remarks(record);
    if !remarks.is_empty() {
        page.head("To be known of it");
        page.list(remarks);
    }
    let noted = noted(record);
    if !noted.is_empty() {
        page.head("Noted beside it");
        page.list(noted);
    }
    Ok(page)
}

fn found(record: &Record) -> Vec<Fact> {
    let Some(r) = record.reading() else {
        return Vec::new();
    };
    let above = if r.peak_db.is_some() { " above the lows" } else { "" };
    let mark = words::mark([record]);
    let mut out = vec![fact("Peak", format!("{}{above}", words::peak(record)))];
    let within = |label: &str, text: Option<String>| Some(fact(label, format!("{} {mark}", text?)));
    let peak = words::peak_intervals(record);
    let from_curve = peak.as_ref().filter(|_| words::from_curve(r));
    let from_curve = from_curve.map(|_| fact("Read off", "the measured curve, because no model fits it"));
    out.extend(within("How sure", peak.or_else(|| words::down_interval(record))));
    out.extend(from_curve);
    if r.peak_hz.is_some() {
        out.extend(within("Resonance f0", words::shown(record, Quantity::F0)));
        out.extend(within("Q", words::shown(record, Quantity::Q)));
    }
    out.push(fact("Polarity", words::polarity(r)));
    out
}

fn circumstances(record: &Record, told: &Told) -> Vec<Fact> {
    let p = &record.pickup;
    let input = words::rig_input(record).map_or(String::new(), |i| format!("; its input adds {i} to the load"));
    let all = [
        typed("Stage", p.stage.as_ref().map(|s| s.text())),
        typed("Made by", told.by(record)),
        words::ohms(p).map(|o| fact("Resistance", o)),
        typed("Ohms read with", p.ohmmeter.as_deref()),
        typed("Exciter over", p.over.as_deref()),
        Some(fact("Load", theirs(words::load(record)))),
        Some(fact("Rig", theirs(words::rig(&record.rig)).ours(input))),
        Some(fact("Taken", words::when(&record.taken_at))),
        Some(fact("Reading", words::verdict(record.verdict))),
        typed("Note", p.note.as_deref()),
    ];
    all.into_iter().flatten().collect()
}

fn remarks(record: &Record) -> Vec<Line> {
    let findings = words::gravest_first(record)
        .into_iter()
        .filter(|f| f.level != Level::Reject);
    let mut out: Vec<Line> = findings.map(|f| theirs(words::finding_text(f))).collect();
    out.extend(record.other_notes().map(|n| theirs(words::clean(n))));
    let open: Vec<String> = record.rig.open.iter().map(Open::name).collect();
    if !open.is_empty() {
        let open = words::clean(&open.join(", "));
        out.push(Line::from("Not stated in the rig file: ").theirs(open));
    }
    out
}

/// Words, and what other meters read.
fn noted(record: &Record) -> Vec<Line> {
    let mut out = Vec::new();
    for note in &record.noted {
        let day = note.noted_at.get(..10).unwrap_or_default();
        let of_day = || theirs(words::clean(day)).ours(": ");
        out.extend(note.text.iter().map(|t| of_day().theirs(words::clean(t))));
        out.extend(note.readings.iter().map(|r| {
            let column = words::clean(&r.column().to_string());
            of_day().theirs(column).ours(" ").ours(r.shown())
        }));
    }
    out
}
