//! Plots of predictions: families of curves, takes over what was predicted for them, a take freed from its load.

use super::family::{self, Item, MOST, Sheetful};
use super::number::{self, Unit, db, hz};
use super::plot::Plot;
use super::words;
use crate::coil::against::{Against, Undone};
use crate::coil::loads::{LoadPredicted, LoadsDocument};
use crate::estimate::Z95;
use crate::failure::Result;
use crate::network::Knob;
use crate::quantity;
use crate::stats::Answer;

/// "4.01 kHz at +7.8 dB", or that there is no peak.
fn peak(at: Option<f64>, height: Option<f64>) -> String {
    match (at, height) {
        (Some(f), Some(height)) => format!("peak {} at {}", hz(f), db(height)),
        _ => "no peak".into(),
    }
}

/// Is it what was predicted?
pub fn answer(answer: Answer) -> &'static str {
    match answer {
        Answer::Different => "different",
        Answer::Same => "the same",
        Answer::CannotTell => "cannot tell",
    }
}

/// What a curve of a family is called: what was varied, else its load.
pub(super) fn name(load: &LoadPredicted) -> String {
    let varied = load
        .varied
        .as_ref()
        .and_then(|v| Some((Knob::by_name(&v.quantity)?, v.value)));
    match varied {
        Some((knob, value)) => format!("{} {}", knob.words(), quantity::show(value, knob.unit(), 3)),
        None => words::clean(&load.load),
    }
}

pub(super) fn coil_words(document: &LoadsDocument) -> String {
    let p = &document.pickup;
    let values = [(p.r_ohm, Unit::Ohm), (p.l_h, Unit::Henry), (p.c_f, Unit::Farad)];
    let values = values.map(|(v, unit)| number::short(v, unit)).join(", ");
    match p.name.as_deref().map(words::clean).filter(|n| !n.is_empty()) {
        Some(n) => format!("{n}: {values}"),
        None => values,
    }
}

/// Points of a curve, those that are there.
fn line<V: Copy + Into<Option<f64>>>(freq_hz: &[f64], values: &[V]) -> Vec<(f64, f64)> {
    let point = |(hz, v): (&f64, &V)| Some((*hz, (*v).into()?));
    freq_hz.iter().zip(values).filter_map(point).collect()
}

/// Predicted responses, bands of tolerance behind them.
pub fn family(document: &LoadsDocument) -> Result<Plot> {
    let items: Vec<Item> = document
        .loads
        .iter()
        .map(|l| Item {
            name: name(l),
            numbers: peak(l.peak_hz, l.peak_db),
            short_numbers: l.peak_hz.map_or("no peak".into(), hz),
            line: line(&l.curve.freq_hz, &l.curve.gain_db),
            peak: l.peak_hz.zip(l.peak_db),
            band: l.band.as_ref().map_or_else(Vec::new, |b| {
                let edges = b.low_db.iter().zip(&b.high_db);
                let all = l.curve.freq_hz.iter().zip(edges);
                all.filter_map(|(f, (a, b))| Some((*f, (*a)?, (*b)?))).collect()
            }),
            ..Item::default()
        })
        .collect();
    let shaded = match document.loads.iter().find_map(|l| l.band.as_ref()) {
        Some(b) => format!("; shaded: parts within their tolerances (95 % of {} draws)", b.runs),
        None => String::new(),
    };
    let heading = match (&document.reached, items.len()) {
        (Some(_), _) => format!("What brings the peak there, {}", coil_words(document)),
        (None, n) if n > MOST => format!("The first {MOST} of {n} loads on {}", coil_words(document)),
        (None, 1) => format!("Predicted response, {}", coil_words(document)),
        (None, n) => format!("{n} loads on {}", coil_words(document)),
    };
    family::draw(&Sheetful {
        title: format!("Predicted responses of {}", coil_words(document)),
        heading,
        remark: format!("predicted; 0 dB: the voltage that the string induces{shaded}"),
        vertical: "output over EMF (dB)",
        simulated: false,
        closer: false,
        nothing: "No curve to show: nothing comes out of these loads",
        items,
    })
}

/// Takes as points over the lines predicted for them.
pub fn against(against: &Against, coil: &str) -> Result<Plot> {
    let items: Vec<Item> = against
        .takes
        .iter()
        .map(|t| {
            let c = &t.curve;
            // Some of the points will do: they stand close.
            let dots = line(&c.freq_hz, &c.measured_db).into_iter().step_by(3).collect();
            Item {
                name: words::clean(&t.load),
                numbers: format!("{:.2} dB apart: {}", t.rms_db, answer(t.answer)),
                short_numbers: format!("{:.2} dB rms", t.rms_db),
                line: line(&c.freq_hz, &c.predicted_db),
                dots,
                ..Item::default()
            }
        })
        .collect();
    family::draw(&Sheetful {
        title: format!("Takes against the prediction of coil {coil}"),
        heading: format!("{}: predicted and measured", words::clean(coil)),
        remark: format!(
            "lines: predicted, points: measured; 0 dB: each one's lows; difference {:.2} dB rms in all",
            against.rms_db
        ),
        vertical: "response (dB)",
        simulated: against.simulated,
        closer: false,
        nothing: "No curve to show",
        items,
    })
}

/// A take freed from its load.
pub fn undone(u: &Undone) -> Result<Plot> {
    let points = line(&u.curve.freq_hz, &u.curve.mag_db);
    let around = |((hz, m), s): (&(f64, f64), &f64)| (*hz, m - Z95 * s, m + Z95 * s);
    let band = points.iter().zip(&u.curve.u_db).map(around).collect();
    let numbers = peak(u.peak_hz.map(|e| e.value), u.height_db.map(|e| e.value));
    family::draw(&Sheetful {
        title: format!("{} freed from {}", words::clean(&u.name), u.from),
        heading: format!("{}: without its load", words::clean(&u.name)),
        remark: format!("taken off: {}; put on: {}; shaded: 95 %; 0 dB: the lows", u.from, u.to),
        vertical: "response (dB)",
        simulated: u.simulated,
        closer: false,
        nothing: "No curve to show",
        items: vec![Item {
            name: format!("measured, with {} in place of what hung there", u.to),
            short_numbers: numbers.clone(),
            numbers,
            line: points,
            peak: u.peak_hz.map(|e| e.value).zip(u.height_db.map(|e| e.value)),
            band,
            ..Item::default()
        }],
    })
}
