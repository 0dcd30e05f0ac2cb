//! Plots of predictions: families of curves, takes over what was predicted for them, a take freed from its load.

use super::family::{self, MOST, Sheetful};
use super::lay::Item;
use super::number::{self, Unit, db, hz};
use super::plot::Plot;
use super::words;
use crate::coil::against::{Against, TakeAgainst, Undone};
use crate::coil::loads::{LoadPredicted, LoadsDocument};
use crate::estimate::Z95;
use crate::failure::Result;
use crate::network::Knob;
use crate::quantity;

pub use super::words::answer;

/// "4.01 kHz at +7.8 dB", or that there is no peak.
fn peak(at: Option<f64>, height: Option<f64>) -> String {
    match (at, height) {
        (Some(f), Some(height)) => format!("peak {} at {}", hz(f), db(height)),
        _ => "no peak".into(),
    }
}

/// What a curve of a family is called: what was varied, else its load.
pub(super) fn name(load: &LoadPredicted) -> String {
    let varied = load.varied.as_ref();
    match varied.and_then(|v| Some((Knob::by_name(&v.quantity)?, v.value))) {
        Some((knob, value)) => format!("{} {}", knob.words(), quantity::show(value, knob.unit(), 3)),
        None => words::clean(&load.load),
    }
}

pub(super) fn coil_words(document: &LoadsDocument) -> String {
    let p = &document.pickup;
    let values = [(p.r_ohm, Unit::Ohm), (p.l_h, Unit::Henry), (p.c_f, Unit::Farad)];
    let values = values.map(|(v, unit)| number::short(v, unit)).join(", ");
    words::of(words::typed(p.name.as_deref()), |n| n + ": ") + &values
}

/// Points of a curve, those that are there.
fn line<V: Copy + Into<Option<f64>>>(freq_hz: &[f64], values: &[V]) -> Vec<(f64, f64)> {
    let point = |(hz, v): (&f64, &V)| Some((*hz, (*v).into()?));
    freq_hz.iter().zip(values).filter_map(point).collect()
}

/// Predicted responses, bands of tolerance behind them.
pub fn family(document: &LoadsDocument) -> Result<Plot> {
    let edges = |l: &LoadPredicted| {
        let b = l.band.as_ref()?;
        let all = l.curve.freq_hz.iter().zip(b.low_db.iter().zip(&b.high_db));
        Some(all.filter_map(|(f, (a, b))| Some((*f, (*a)?, (*b)?))).collect())
    };
    let item = |l| Item {
        name: name(l),
        numbers: peak(l.peak_hz, l.peak_db),
        short_numbers: l.peak_hz.map_or("no peak".into(), hz),
        line: line(&l.curve.freq_hz, &l.curve.gain_db),
        peak: l.peak_hz.zip(l.peak_db),
        band: edges(l).unwrap_or_default(),
        ..Item::default()
    };
    let items: Vec<Item> = document.loads.iter().map(item).collect();
    let band = document.loads.iter().find_map(|l| l.band.as_ref());
    let shaded = words::of(band, |b| {
        format!("; shaded: parts within their tolerances (95 % of {} draws)", b.runs)
    });
    let coil = coil_words(document);
    let heading = match (&document.reached, items.len()) {
        (Some(_), _) => format!("What brings the peak there, {coil}"),
        (None, n) if n > MOST => format!("The first {MOST} of {n} loads on {coil}"),
        (None, 1) => format!("Predicted response, {coil}"),
        (None, n) => format!("{n} loads on {coil}"),
    };
    family::draw(&Sheetful {
        title: format!("Predicted responses of {coil}"),
        heading,
        remark: format!("predicted; 0 dB: the voltage that the string induces{shaded}"),
        vertical: "output over EMF (dB)",
        nothing: "No curve to show: nothing comes out of these loads",
        items,
        ..Sheetful::default()
    })
}

/// Takes as points over the lines predicted for them.
pub fn against(against: &Against, coil: &str) -> Result<Plot> {
    let item = |t: &TakeAgainst| Item {
        name: words::clean(&t.load),
        numbers: format!("{:.2} dB apart: {}", t.rms_db, words::answer(t.answer)),
        short_numbers: format!("{:.2} dB rms", t.rms_db),
        line: line(&t.curve.freq_hz, &t.curve.predicted_db),
        // Some of the points will do: they stand close.
        dots: line(&t.curve.freq_hz, &t.curve.measured_db)
            .into_iter()
            .step_by(3)
            .collect(),
        ..Item::default()
    };
    family::draw(&Sheetful {
        title: format!("Takes against the prediction of coil {coil}"),
        heading: format!("{}: predicted and measured", words::clean(coil)),
        remark: format!(
            "lines: predicted, points: measured; 0 dB: each one's lows; difference {:.2} dB rms in all",
            against.rms_db
        ),
        vertical: "response (dB)",
        simulated: against.simulated,
        nothing: "No curve to show",
        items: against.takes.iter().map(item).collect(),
        ..Sheetful::default()
    })
}

/// A take freed from its load.
pub fn undone(u: &Undone) -> Result<Plot> {
    let points = line(&u.curve.freq_hz, &u.curve.mag_db);
    let around = |((hz, m), s): (&(f64, f64), &f64)| (*hz, m - Z95 * s, m + Z95 * s);
    let band = points.iter().zip(&u.curve.u_db).map(around).collect();
    let [hz, height] = [u.peak_hz, u.height_db].map(|e| e.map(|e| e.value));
    family::draw(&Sheetful {
        title: format!("{} freed from {}", words::clean(&u.name), u.from),
        heading: format!("{}: without its load", words::clean(&u.name)),
        remark: format!("taken off: {}; put on: {}; shaded: 95 %; 0 dB: the lows", u.from, u.to),
        vertical: "response (dB)",
        simulated: u.simulated,
        nothing: "No curve to show",
        // Alone it has the room for its numbers.
        items: vec![Item {
            name: format!("measured, with {} in place of what hung there", u.to),
            numbers: peak(hz, height),
            line: points,
            peak: hz.zip(height),
            band,
            ..Item::default()
        }],
        ..Sheetful::default()
    })
}
