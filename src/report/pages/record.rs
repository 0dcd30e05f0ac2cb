//! The page of one measurement.

use super::shared::{Fact, Told, fact, name, refused, typed};
use crate::failure::Result;
use crate::record::meters::Reading;
use crate::record::{Level, Record};
use crate::report::page::{Block, Line, Page, theirs};
use crate::report::plot::response_plot;
use crate::report::words;
use crate::shop::yardstick::Quantity;

pub fn page(record: &Record, told: &Told) -> Result<Page> {
    let mut page = Page::new(name(record));
    page.stamp(record.is_simulated());
    if record.reading().is_none() {
        page.put(Block::Notice(refused(record)));
    }
    page.picture(response_plot(record)?);
    page.put(Block::Facts(
        [found(record), told.facts(), circumstances(record, told)].concat(),
    ));
    page.headed("To be known of it", remarks(record));
    page.headed("Noted beside it", noted(record));
    Ok(page)
}

fn found(record: &Record) -> Vec<Fact> {
    let Some(r) = record.reading() else {
        return Vec::new();
    };
    let above = if r.peak_db.is_some() { " above the lows" } else { "" };
    let mark = words::mark([record]);
    let within = |label: &str, text: Option<String>| Some(fact(label, format!("{} {mark}", text?)));
    let beside_peak = |label, q| within(label, words::shown(record, q).filter(|_| r.peak_hz.is_some()));
    let peak = words::peak_intervals(record);
    let from_curve = peak.is_some() && words::from_curve(r);
    let all = [
        Some(fact("Peak", format!("{}{above}", words::peak(record)))),
        within("How sure", peak.or_else(|| words::down_interval(record))),
        from_curve.then(|| fact("Read off", "the measured curve, because no model fits it")),
        beside_peak("Resonance f0", Quantity::F0),
        beside_peak("Q", Quantity::Q),
        Some(fact("Polarity", words::polarity(r))),
    ];
    all.into_iter().flatten().collect()
}

fn circumstances(record: &Record, told: &Told) -> Vec<Fact> {
    let p = &record.pickup;
    let all = [
        typed("Stage", p.stage.as_ref().map(|s| s.text())),
        typed("Made by", told.by(record)),
        words::ohms(p).map(|o| fact("Resistance", o)),
        typed("Ohms read with", p.ohmmeter.as_deref()),
        typed("Exciter over", p.over.as_deref()),
        Some(fact("Load", theirs(words::load(record)))),
        Some(fact(
            "Rig",
            theirs(words::rig(&record.rig)).ours(words::rig_input(record)),
        )),
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
    let notes = record.other_notes().map(|n| words::clean(n));
    let said = findings.map(words::finding_text).chain(notes).map(theirs);
    let open = words::not_stated(record).map(|keys| Line::from("Not stated in the rig file: ").theirs(keys));
    said.chain(open).collect()
}

/// Words, and what other meters read.
fn noted(record: &Record) -> Vec<Line> {
    let mut out = Vec::new();
    for note in &record.noted {
        let day = note.noted_at.get(..10).unwrap_or_default();
        let of_day = || theirs(words::clean(day)).ours(": ");
        out.extend(note.text.iter().map(|t| of_day().theirs(words::clean(t))));
        let column = |r: &Reading| words::clean(&r.column().to_string());
        out.extend(
            note.readings
                .iter()
                .map(|r| of_day().theirs(column(r)).ours(" ").ours(r.shown())),
        );
    }
    out
}
