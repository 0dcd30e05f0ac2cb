//! A sheet to take home: one side of paper for whoever wound or plays the pickup.

use super::shared::{Fact, Told, fact, name, refused, typed};
use crate::failure::Result;
use crate::record::Record;
use crate::report::number::{self, Unit};
use crate::report::page::{Block, Line, Page, simulated_notice, theirs};
use crate::report::plot::response_plot;
use crate::report::words;
use crate::shop::reading;
use crate::shop::yardstick::Quantity;

/// A sheet for each.
pub fn page(title: Line, all: &[(Record, Told)]) -> Result<Page> {
    let mut page = Page::new(title);
    for (record, told) in all {
        page.put(sheet(record, told)?);
    }
    if all.is_empty() {
        page.say("Nothing has been measured yet, so there is no sheet.");
    }
    Ok(page)
}

fn sheet(record: &Record, told: &Told) -> Result<Block> {
    let mut inner: Vec<Block> = record.is_simulated().then(simulated_notice).into_iter().collect();
    if record.reading().is_none() {
        inner.push(Block::Notice(refused(record)));
    }
    inner.push(Block::Picture(Box::new(response_plot(record)?)));
    let facts = [found(record), told.facts(), measured(record, told)].concat();
    inner.push(Block::Facts(facts));
    inner.push(Block::Signature(vec!["Signed", "Day"]));
    Ok(Block::Sheet(name(record), inner))
}

/// Each figure, and what it means to somebody who plays.
fn found(record: &Record) -> Vec<Fact> {
    let Some(r) = record.reading() else {
        return Vec::new();
    };
    let Some((hz, height)) = r.peak_hz.zip(r.peak_db) else {
        let down = words::down(record).map_or("no peak".into(), |d| format!("no peak; {d}"));
        let damped = "It is damped so much, by what hangs on it or by metal of its own, that no note stands out.";
        return vec![fact("Peak", format!("{down}. {damped}"))];
    };
    let (hz, height, q) = (
        number::hz(hz.value),
        number::db(height.value),
        number::short(r.q.value, Unit::Ratio),
    );
    let peak = "Here it answers most strongly. Lower sounds darker and fuller, higher sounds brighter.";
    let tall = "The taller it is, the more that range stands out.";
    let pointed = "How pointed the peak is: a high Q is narrow and keen, a low one broad and mild.";
    let mut out = vec![
        fact("Peak", format!("{hz}. {peak}")),
        fact("Peak height", format!("{height} above the lows. {tall}")),
        fact("Q", format!("{q}. {pointed}")),
    ];
    if let Some(s) = reading::shown(record, Quantity::Peak) {
        let sure = number::within(s.value, s.half, Unit::Hertz);
        let how = match s.usual {
            true => "measured again, it comes out about that close; this bench has not been tried for it yet.",
            false => "measured again, it would come out that close 95 times in 100.",
        };
        out.push(fact("How sure", format!("The peak lies at {sure}: {how}")));
    }
    out
}

fn measured(record: &Record, told: &Told) -> Vec<Fact> {
    let p = &record.pickup;
    let ohms =
        words::ohms(p).map(|o| format!("{o}. It says how long and how thin the wire is, and little about the sound."));
    let alone = record.load.as_ref().is_some_and(|l| l.text.trim().is_empty());
    let on_it = match (&record.load, alone) {
        (None, _) => Line::from("Not stated."),
        (_, true) => "Nothing but the measuring input. Pots and cable in the guitar bring the peak down.".into(),
        _ => theirs(words::load(record)).ours(". Another pot or cable moves the peak; a longer cable brings it down."),
    };
    let with = theirs(words::rig(&record.rig))
        .ours(", coilwright ")
        .theirs(words::clean(&record.tool_version))
        .ours(format!(", {}", words::when(&record.taken_at)));
    let all = [
        ohms.map(|o| fact("Ohms", o)),
        Some(fact("On the pickup", on_it)),
        Some(fact("Measured with", with)),
        typed("Made by", told.by(record)),
        Some(fact("Not measured", "The magnet, and how loud a string will be.")),
    ];
    all.into_iter().flatten().collect()
}
