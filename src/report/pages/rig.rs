//! The page of a rig: what it is, and what its witness says of it from day to day.

use super::shared::{fact, four, typed};
use crate::failure::Result;
use crate::report::number::Unit;
use crate::report::page::{Block, Cell, Line, Page, cell, theirs};
use crate::report::{checks_plot, words};
use crate::shop::witness::checks::{CheckDocument, RigDocument};
use crate::shop::witness::history::{Check, History};
use crate::shop::witness::judging::Judgement;

/// The checks since something was changed on the bench last, and what the last of them came to.
#[derive(Debug)]
pub struct Checked {
    pub history: History,
    /// The last so many of them.
    pub judged: Vec<Judgement>,
    pub last: CheckDocument,
}

/// `earlier`: histories before that, the newest first.
pub fn page(rig: &RigDocument, checked: Option<&Checked>, earlier: &[History]) -> Result<Page> {
    let mut page = Page::new(Line::from("Rig ").theirs(words::clean(&rig.name)));
    page.stamp(checked.is_some_and(|c| c.last.simulated));
    let Some(Checked { history, judged, last }) = checked else {
        page.say("Its witness has not been checked yet.");
        described(&mut page, rig);
        return Ok(page);
    };
    page.say(match (last.verdict.as_str(), last.provisional) {
        ("go", false) => "The last check: GO, the rig is still the rig.",
        ("go", true) => "The last check: GO, by provisional limits.",
        ("no-go", _) => "The last check: NO GO, something has changed.",
        _ => "The first check; later ones are judged against it.",
    });
    page.list(last.advice.iter().map(theirs).collect());
    page.picture(checks_plot::history(history, judged)?);
    table(&mut page, history);
    let changes = std::iter::once(history)
        .chain(earlier)
        .filter_map(|h| h.changed.as_ref());
    let changes = changes.map(|c| Line::from(words::when(&c.at)).ours(": ").theirs(words::clean(&c.what)));
    page.headed("Changed on the bench", changes.collect());
    described(&mut page, rig);
    Ok(page)
}

fn described(page: &mut Page, rig: &RigDocument) {
    page.head("What it is");
    page.list(rig.words.iter().map(theirs).collect());
    let facts = [
        typed("Unit", rig.unit.as_deref()),
        typed("Witness", rig.witness.as_deref()),
        Some(fact("Hash", theirs(&rig.hash))),
    ];
    page.put(Block::Facts(facts.into_iter().flatten().collect()));
    page.headed("What its file does not state", rig.open.iter().map(theirs).collect());
}

/// "GO", "NO GO at the class".
fn came_to(c: &Check) -> Cell {
    let said = Line::from(if c.go { "GO" } else { "NO GO" });
    match &c.at {
        None => said.into(),
        Some(at) => said.ours(" at ").theirs(words::clean(at)).into(),
    }
}

fn table(page: &mut Page, history: &History) {
    let caption = Line::from("Checks by ").theirs(words::clean(&history.witness));
    let head = ["day", "peak", "f0", "Q", "level", "room", "came to"];
    page.table(caption, &head, &history.checks, |c| {
        vec![
            words::when(&c.taken_at).into(),
            four(c.peak_hz.map(|p| p.value), Unit::Hertz),
            four(Some(c.f0_hz.value), Unit::Hertz),
            four(Some(c.q.value), Unit::Ratio),
            cell(c.level_db.map(|l| l.value), |v| format!("{v:+.2} dB")),
            cell(c.temperature_c, |t| format!("{t:.1} °C")),
            came_to(c),
        ]
    });
}
