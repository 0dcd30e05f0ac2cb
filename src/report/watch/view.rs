//! What is watched, in words and figures: the same for terminal, page and lines.

use serde::Serialize;

use super::super::number::{self, LEVEL, PLUS_MINUS, Unit};
use super::super::words;
use crate::estimate::Estimate;
use crate::watch::document::{Difference, Figures, Held, Watched};
use crate::watch::{Pace, Reading, Unread};

/// What there is to show.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    pub pickup: &'a str,
    pub simulated: bool,
    pub pace: Pace,
    pub reading: Option<&'a Result<Reading, Unread>>,
    pub held: &'a [Held],
    /// What hangs on the pickup, as far as it was told.
    pub load: Option<&'a str>,
    pub said: &'a str,
}

/// As it is shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct View {
    pub title: String,
    /// "moving", "settling", "steady" or "trouble".
    pub state: &'static str,
    /// The state for people.
    pub state_words: String,
    /// None while it moves.
    pub figures: Vec<Figure>,
    pub curve: Option<Line>,
    pub held: Vec<HeldView>,
    /// For whoever sits at the bench: no page shows it.
    #[serde(skip)]
    pub said: String,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    pub label: &'static str,
    /// In large figures.
    pub value: String,
    pub unit: String,
    /// With its interval.
    pub within: String,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    pub hz: Vec<f64>,
    pub db: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeldView {
    pub mark: char,
    pub name: String,
    pub figures: String,
    /// What is seen now less this; empty where nothing stands.
    pub apart: String,
    pub curve: Line,
}

/// Where pickups have something to show.
pub const FROM_HZ: f64 = 200.0;
pub const TO_HZ: f64 = 20_000.0;

impl View {
    /// While a record is kept what was seen before it stands, greyed.
    pub fn keeping(self) -> View {
        View {
            state: "settling",
            state_words: "keeping a record".into(),
            ..self
        }
    }
}

pub fn view(seen: &Seen) -> View {
    let reading = seen.reading.and_then(|r| r.as_ref().ok());
    let unread = seen.reading.and_then(|r| r.as_ref().err());
    let (state, state_words) = match (seen.pace, unread) {
        (Pace::Moving, _) => ("moving", "moving".to_owned()),
        (_, Some(why)) => ("trouble", trouble(*why).to_owned()),
        (Pace::Settling, None) => ("settling", "moved just now".to_owned()),
        (Pace::Steady, None) => ("steady", "steady".to_owned()),
    };
    let reading = reading.filter(|_| seen.pace != Pace::Moving);
    let held = |h: &Held| HeldView {
        mark: h.mark,
        name: h.name.clone(),
        figures: glance(&h.figures),
        apart: words::of(reading, |r| apart(&r.figures.less(&h.figures))),
        curve: line_of(&h.curve.freq_hz, &h.curve.mag_db),
    };
    let simulated = if seen.simulated { " (SIMULATED)" } else { "" };
    let load = words::of(seen.load, |load| format!("  {load}"));
    View {
        title: format!("{}{simulated}{load}", seen.pickup),
        state,
        state_words,
        figures: reading.map_or_else(Vec::new, |r| figures(&r.figures)),
        curve: reading.map(|r| line_of(&r.curve.freq_hz, &r.curve.mag_db)),
        held: seen.held.iter().map(held).collect(),
        said: seen.said.to_owned(),
    }
}

/// One reading in one line, where there is no picture.
pub fn line(view: &View) -> String {
    if view.figures.is_empty() {
        return view.state_words.clone();
    }
    let figures = view.figures.iter().map(|f| match f.within.is_empty() {
        true => format!("{} {} {}", f.label, f.value, f.unit).trim_end().to_owned(),
        false => format!("{} {}", f.label, f.within),
    });
    let state = if view.state == "steady" {
        ""
    } else {
        "  (moved just now)"
    };
    words::listed(figures, "  ") + state
}

/// What was held and kept, once it has ended.
pub fn ended(watched: &Watched) -> String {
    let held = watched.held.iter().map(|h| {
        let difference = words::of(h.difference.as_ref(), |d| format!("; then {}", apart(d)));
        format!("{}  {}: {}{difference}\n", h.mark, h.name, glance(&h.figures))
    });
    let kept = watched
        .kept
        .iter()
        .map(|k| format!("kept  {}: {}\n", k.folder, glance(&k.live)));
    held.chain(kept).collect()
}

/// Of a record that was kept: how it stands to what was seen.
pub fn kept(folder: &str, kept: Option<&Figures>, agrees: Option<bool>) -> String {
    match (kept, agrees) {
        (Some(figures), Some(true)) => format!("kept {folder}: {}", glance(figures)),
        (Some(figures), _) => {
            let glance = glance(figures);
            format!("kept {folder}: {glance}; not what was seen before it: did it move? Measure again")
        }
        (None, _) => format!("kept {folder}, and it gives no reading: coilwright analyze {folder} says why"),
    }
}

fn trouble(why: Unread) -> &'static str {
    match why {
        Unread::TooFewRounds => "waiting",
        Unread::PickupTooLoud => "too loud: turn the pickup input down, or give a lower --level",
        Unread::ReferenceTooLoud => "too loud: turn the reference input down, or give a lower --level",
        Unread::NoReference => "nothing on the reference input: look at its plug",
        Unread::NoAnswer => "no pickup is heard: look at its plug, and where the exciter lies",
        Unread::NoResonance => "no resonance is seen: look at the pickup's leads",
    }
}

fn figures(f: &Figures) -> Vec<Figure> {
    let one = |label, e: Option<Estimate>, unit, short: fn(f64, Unit) -> String| {
        let shown = e.map_or_else(|| "none".to_owned(), |e| short(e.value, unit));
        let (value, named) = shown.split_once(' ').unwrap_or((&shown, ""));
        Figure {
            label,
            value: value.to_owned(),
            unit: named.to_owned(),
            within: words::of(e, |e| number::bare_interval(&e, unit)),
        }
    };
    vec![
        one("Peak", f.peak_hz, Unit::Hertz, number::short),
        one("Height", f.peak_db, Unit::Decibel, number::short),
        one("f0", Some(f.f0_hz), Unit::Hertz, number::four_digits),
        one("Q", Some(f.q), Unit::Ratio, number::short),
    ]
}

/// In a few words.
fn glance(f: &Figures) -> String {
    let peak = match (f.peak_hz, f.peak_db) {
        (Some(hz), Some(db)) => format!("peak {}, {}", number::hz(hz.value), number::db(db.value)),
        _ => "no peak".to_owned(),
    };
    format!("{peak}, Q {}", number::short(f.q.value, Unit::Ratio))
}

/// Which way, how far and how sure: "peak 320.0 ± 2.8 Hz lower, height unchanged within 0.055 dB".
fn apart(d: &Difference) -> String {
    let one = |what: &str, e: Option<Estimate>, unit| {
        let e = e?;
        if e.value.abs() <= e.half_width_95() {
            let shown = number::bare_interval(&Estimate { value: 0.0, ..e }, unit);
            let half = shown.rsplit_once(PLUS_MINUS).map_or("", |s| s.1);
            return Some(format!("{what}unchanged within{half}"));
        }
        let size = number::bare_interval(&number::unsigned(&e), unit);
        Some(format!(
            "{what}{} {}",
            size.trim_start_matches('+'),
            number::way(e.value)
        ))
    };
    let parts = [
        one("peak ", d.peak_hz, Unit::Hertz).or_else(|| one("f0 ", d.f0_hz, Unit::Hertz)),
        one("height ", d.peak_db, Unit::Decibel),
        one("Q ", d.q, Unit::Ratio),
    ];
    format!("{} {LEVEL}", words::joined(parts).unwrap_or_default())
}

/// What is seen of a curve; no finer than a screen.
fn line_of(hz: &[f64], db: &[f64]) -> Line {
    let seen = hz.iter().zip(db).filter(|(f, _)| (FROM_HZ..=TO_HZ).contains(*f));
    let round = |x: f64, grain: f64| (x / grain).round() * grain;
    let (hz, db) = seen.map(|(f, d)| (round(*f, 0.1), round(*d, 0.001))).unzip();
    Line { hz, db }
}
