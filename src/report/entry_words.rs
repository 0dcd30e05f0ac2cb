//! What the notebook's entries say, in words.

use super::words::{self, clean};
use crate::book::entry::{Entry, Line, What, Words};
use crate::quantity::{self, Unit};
use crate::record::about::{About, Pole, Position, Winding};

/// One entry in one sentence.
pub fn sentence(entry: &Entry) -> String {
    match &entry.what {
        What::About { about: told, .. } => about(told).unwrap_or_else(|| "nothing told".into()),
        What::Stage { stage, .. } => format!("a reading of it is {}", clean(stage.text())),
        What::Rename { pickup, to, record } => match record {
            None => format!("{} is called {}", clean(pickup), clean(to)),
            Some(_) => format!("a reading of {} is {}'s", clean(pickup), clean(to)),
        },
        What::Recipe { design, words, .. } => {
            let design = design.as_ref().map(|d| clean(&d.to_string()));
            words::joined(design.into_iter().chain(recipe(words)).map(Some)).unwrap_or_else(|| "recipe".into())
        }
        What::Design { design, words } => format!("{}: {}", clean(&design.to_string()), words::list(recipe(words))),
        What::Sent { to, .. } => to.as_ref().map_or("sent".into(), |to| format!("sent to {}", clean(to))),
        What::Returned { found, .. } => format!("returned: {}", clean(found)),
        What::Set { set, pickups } => format!("the set {}: {}", clean(set), words::names(pickups)),
        What::Sold { .. } => "sold".into(),
        What::Paper { file, rows } => match rows.as_slice() {
            [line] => format!("read by hand: {}", on_paper(line)),
            rows => format!("{} lines of {}, read by hand", rows.len(), clean(file)),
        },
        What::Thinned { to, records } => {
            format!("the takes of {} readings were put away in {}", records.len(), clean(to))
        }
        What::Undo { entry } => format!("takes back {}", clean(entry)),
    }
}

/// The day that it tells of, as written: of a line on paper that line's.
pub fn day(entry: &Entry) -> String {
    clean(match &entry.what {
        What::Paper { rows, .. } if rows.len() == 1 => rows.first().map_or("", |line| &line.day),
        _ => entry.at.get(..10).unwrap_or_default(),
    })
}

/// "6.050 kΩ, 2.400 H, wire old reel".
pub fn on_paper(line: &Line) -> String {
    let figures = [(line.ohm, Unit::Ohm), (line.henry, Unit::Henry)];
    let figures = figures.map(|(v, unit)| Some(quantity::show(v?, unit, 4)));
    let all = figures.into_iter().chain(recipe(&line.words).map(Some));
    words::joined(all).unwrap_or_else(|| "nothing".into())
}

fn recipe(words: &Words) -> impl Iterator<Item = String> + '_ {
    words.iter().map(|(k, v)| format!("{} {}", clean(k), clean(v)))
}

/// "neck, 52.0 mm over the poles, wound clockwise, north up, by mara".
pub fn about(about: &About) -> Option<String> {
    words::joined([
        about.position.map(|p| position(p).to_owned()),
        about.spacing_m.map(|s| format!("{:.1} mm over the poles", s * 1e3)),
        about.winding.map(|w| format!("wound {}", winding(w))),
        about.magnet.map(|m| format!("{} up", pole(m))),
        about.by.as_ref().map(|b| format!("by {}", clean(b))),
    ])
}

pub fn position(position: Position) -> &'static str {
    match position {
        Position::Neck => "neck",
        Position::Middle => "middle",
        Position::Bridge => "bridge",
    }
}

pub fn winding(winding: Winding) -> &'static str {
    match winding {
        Winding::Clockwise => "clockwise",
        Winding::Anticlockwise => "anticlockwise",
    }
}

pub fn pole(pole: Pole) -> &'static str {
    match pole {
        Pole::North => "north",
        Pole::South => "south",
    }
}
