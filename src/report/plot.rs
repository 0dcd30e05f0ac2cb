//! The plot of one record: response above, what the model leaves over below, the numbers around.
//!
//! Sized as a postcard (148 x 105 mm), smallest lettering 7 points, and readable without colour.

use super::axis::{self, Field, HIGH_HZ, LOW_HZ};
use super::lay::{self, EDGE, HEIGHT, Key, LEFT, MARGIN, NUMBERS, RIGHT, SMALL, TITLE, WIDTH, curve, small, soft};
use super::number::{self, Unit};
use super::palette::{BAND, F0, F0_LINE, FITTED, FRAME, INK, MEASURED, MODEL, Marker, PEAK};
use super::reads::{self, Reads};
use super::sheet::{Anchor, Pen, Point, Sheet, Type, fitted, rectangle, text_width};
use super::words;
use crate::estimate::Z95;
use crate::failure::Result;
use crate::record::{Curve, Record, Resonance};
use crate::shop::yardstick::Quantity;
use crate::wrap;
use labels::{Labels, around};

pub use super::sheet::Plot;

mod labels;

const MAIN_TOP: f64 = 17.5;
const MAIN_BOTTOM: f64 = 64.0;
const REST_TOP: f64 = 69.0;
const REST_BOTTOM: f64 = 84.0;

/// The response of one record. A record without a curve gives a sheet that says so in words.
pub fn response_plot(record: &Record) -> Result<Plot> {
    let name = words::name(record);
    let title = format!("Response of {name}: {}", words::headline(record));
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title);
    caption(&mut sheet, record, &name);
    footer(&mut sheet, record);
    match record.curve.as_ref().map(Series::new).filter(|s| s.measured.len() > 1) {
        Some(series) => sheet.reads = Some(response(&mut sheet, record, &series)),
        None => words_only(&mut sheet, record),
    }
    sheet.render()
}

/// The curve's points that can be drawn.
#[derive(Default)]
pub(super) struct Series {
    /// (Hz, dB, 95 % half-width in dB)
    pub measured: Vec<(f64, f64, f64)>,
    pub model: Vec<(f64, f64)>,
    /// (Hz, measured minus model, 95 % half-width)
    rest: Vec<(f64, f64, f64)>,
}

impl Series {
    pub fn new(curve: &Curve) -> Self {
        // One point beyond each end of the axis is enough for the line to reach the frame.
        let near = |f: f64| (LOW_HZ * 0.8..=HIGH_HZ * 1.25).contains(&f);
        let sane = |db: f64| db.abs() < 1e4;
        let mut out = Series::default();
        let mut last = 0.0;
        for (i, &f) in curve.freq_hz.iter().enumerate() {
            if !near(f) || f <= last {
                continue;
            }
            last = f;
            let get = |column: &[f64]| column.get(i).copied().filter(|v| sane(*v));
            let (mag, model) = (get(&curve.mag_db), get(&curve.model_db));
            let half = get(&curve.u_db).map_or(0.0, |u| Z95 * u.max(0.0));
            out.measured.extend(mag.map(|m| (f, m, half)));
            out.model.extend(model.map(|m| (f, m)));
            out.rest.extend(mag.zip(model).map(|(a, b)| (f, a - b, half)));
        }
        out
    }
}

/// Without what they are within.
fn bare(points: &[(f64, f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    points.iter().map(|p| (p.0, p.1))
}

fn caption(sheet: &mut Sheet, record: &Record, name: &str) {
    lay::named(sheet, 6.8, name, TITLE, record.is_simulated());
    let again = || "no reading, measure again".to_owned();
    let numbers = record.reading().map_or_else(again, |r| numbers(record, r));
    let room = EDGE - MARGIN;
    let size = (NUMBERS * room / text_width(&numbers, NUMBERS)).clamp(SMALL, NUMBERS);
    sheet.cut((MARGIN, 11.4), &numbers, room, Type::new(size, INK, Anchor::Left));
}

/// "Peak 3402.3 ± 9.8 Hz, peak height +9.21 ± 0.20 dB   f0 ...   Q ...   (95 %)"; without a peak nothing stands in its place.
fn numbers(record: &Record, r: &Resonance) -> String {
    let Some(peak) = words::peak_intervals(record) else {
        return words::peak(record);
    };
    let off = if words::from_curve(r) { " (off the curve)" } else { "" };
    let value = |q: Quantity| words::shown(record, q).unwrap_or_default();
    let (f0, q, mark) = (value(Quantity::F0), value(Quantity::Q), words::mark([record]));
    format!("Peak{off} {peak}   f0 {f0}   Q {q}   {mark}")
}

fn footer(sheet: &mut Sheet, record: &Record) {
    let room = EDGE - MARGIN;
    let over = words::of(words::typed(record.pickup.over.as_deref()), |o| {
        format!("   Exciter over {o}")
    });
    // A long load goes on in a second line.
    let load = format!("Load: {}", words::load(record));
    let first = wrapped(&load, SMALL, room).into_iter().next().unwrap_or_default();
    let second = load.strip_prefix(first.as_str()).unwrap_or_default().trim();
    let rig = fitted(&words::rig(&record.rig), SMALL, room / 2.5);
    let taken = format!("Rig: {rig}   Taken {}{over}", words::when(&record.taken_at));
    let (top, pitch) = if second.is_empty() { (95.6, 3.4) } else { (94.2, 3.1) };
    let lines = [first.as_str(), second, &taken, &verdict(record)];
    for (i, text) in lines.into_iter().filter(|l| !l.is_empty()).enumerate() {
        sheet.cut((MARGIN, top + pitch * i as f64), text, room, small(Anchor::Left));
    }
}

fn verdict(record: &Record) -> String {
    let mut names: Vec<_> = words::gravest_first(record)
        .iter()
        .map(|f| words::finding(f.code))
        .collect();
    names.dedup();
    let why = if names.is_empty() {
        String::new()
    } else {
        format!(" ({})", names.join(", "))
    };
    format!("Reading: {}{why}", words::verdict(record.verdict))
}

/// No curve to draw: why, in words, in the middle of the sheet.
fn words_only(sheet: &mut Sheet, record: &Record) {
    let (l, r, t, b) = (MARGIN, EDGE, MAIN_TOP, REST_BOTTOM);
    sheet.outline(rectangle([l, r], [t, b]), Pen::solid(FRAME, 0.2));
    let mut lines = vec![("No curve to show".to_string(), TITLE)];
    for text in words::gravest_first(record)
        .into_iter()
        .take(5)
        .map(words::finding_text)
    {
        let why = wrapped(&text, NUMBERS, r - l - 10.0).into_iter().take(3);
        lines.extend(why.map(|line| (line, NUMBERS)));
    }
    let height = 4.6;
    let top = (t + b) / 2.0 - height * (lines.len() as f64 - 1.0) / 2.0;
    for (i, (text, size)) in lines.iter().enumerate() {
        let at = ((l + r) / 2.0, top + height * i as f64 + 1.0);
        sheet.text(at, text, Type::new(*size, INK, Anchor::Centre));
    }
}

fn wrapped(text: &str, size: f64, width: f64) -> Vec<String> {
    wrap::lines(text, |l| text_width(l, size) <= width)
        .iter()
        .map(|l| fitted(l, size, width))
        .collect()
}

fn response(sheet: &mut Sheet, record: &Record, series: &Series) -> Reads {
    let reading = record.reading();
    let (low, high) = response_range(series, reading);
    let main = lay::field([MAIN_TOP, MAIN_BOTTOM], [low, high]);
    lay::grid(sheet, &main, axis::decibel_step(high - low, 8.0));
    // A band thinner than the curve is hidden by it, as it should be.
    let around = series.measured.iter().map(|p| (p.0, p.1 - p.2, p.1 + p.2));
    lay::band(sheet, &main, around);
    let measured = curve(sheet, &main, bare(&series.measured), MEASURED);
    let model = curve(sheet, &main, series.model.iter().copied(), MODEL);
    lay::frame(sheet, &main);
    lay::vertical_title(sheet, &main, "response (dB)");
    key(sheet, &main, reading);
    rest(sheet, record, series);

    let mut labels = Labels::new(main, [measured, model].concat());
    if let Some(r) = reading.filter(|r| r.peak_hz.is_some()) {
        mark_f0(sheet, &mut labels, series, r);
        mark_peak(sheet, &mut labels, record, r);
    }
    main.reads(vec![reads::Curve::new("", bare(&series.measured))])
}

/// The axis holds 0 dB, the peak with room for its label, and of the fall behind it as much as tells something.
fn response_range(series: &Series, reading: Option<&Resonance>) -> (f64, f64) {
    let values = || {
        let all = bare(&series.measured).chain(series.model.iter().copied());
        all.filter(|p| axis::shown(p.0)).map(|p| p.1)
    };
    let peak = reading.and_then(|r| Some(r.peak_db?.value)).filter(|v| v.abs() < 1e4);
    let top = values().chain(peak).fold(0.0, f64::max);
    let floor = values().fold(0.0, f64::min);
    let low = floor.max(top.min(12.0) - 36.0).min(-3.0);
    let span = (top - low).max(9.0);
    (low - 0.02 * span, top + 0.2 * span)
}

fn key(sheet: &mut Sheet, main: &Field, reading: Option<&Resonance>) {
    let mut key = Key::over(main);
    key.line(sheet, "measured", MEASURED);
    key.area(sheet, "95 % band", BAND);
    key.line(sheet, "model", MODEL);
    if reading.is_some_and(|r| r.peak_hz.is_some()) {
        key.mark(sheet, "peak", Marker::Down, PEAK);
        key.mark(sheet, "f0 of the model", Marker::Ring, F0);
    }
}

/// The lower field: measured minus model, the band it should stay in, and where the model was fitted.
fn rest(sheet: &mut Sheet, record: &Record, series: &Series) {
    let fit_band = record.fit.as_ref().map(|f| f.band_hz).filter(|b| b[0] < b[1]);
    let range = rest_range(series, fit_band);
    let field = lay::field([REST_TOP, REST_BOTTOM], [-range, range]);
    let row = REST_TOP - 1.2;
    sheet.text((LEFT, row), "measured minus model", soft(Anchor::Left));
    if let Some([low, high]) = fit_band {
        let ends = [low, high].map(|f| field.x(f.clamp(LOW_HZ, HIGH_HZ)));
        sheet.area(rectangle(ends, [REST_TOP, REST_BOTTOM]), FITTED);
        let [from, to] = [low, high].map(|f| number::short(f, Unit::Hertz));
        let text = format!("fitted {from} to {to}");
        sheet.text((RIGHT, row), &text, soft(Anchor::Right));
        let sample = (RIGHT - text_width(&text, SMALL) - 7.5, row - 0.36 * SMALL);
        lay::swatch(sheet, sample, FITTED);
    }
    lay::band(sheet, &field, series.rest.iter().map(|p| (p.0, -p.2, p.2)));
    lay::grid(sheet, &field, rest_step(range));
    for x in fit_band
        .into_iter()
        .flatten()
        .filter(|f| axis::shown(*f))
        .map(|f| field.x(f))
    {
        sheet.line(vec![(x, REST_TOP), (x, REST_BOTTOM)], Pen::solid(FRAME, 0.3));
    }
    curve(sheet, &field, bare(&series.rest), Pen::solid(MEASURED.colour, 0.45));
    lay::framed(sheet, &field, "misfit (dB)");
}

fn rest_step(range: f64) -> f64 {
    axis::round_step(2.0 * range, 4.0)
}

/// Symmetric; wide enough for nearly all of what is left over where the model was fitted, not for what lies outside.
fn rest_range(series: &Series, fit_band: Option<[f64; 2]>) -> f64 {
    let [low, high] = fit_band.unwrap_or([LOW_HZ, HIGH_HZ]);
    let within = |low: f64, high: f64| -> Vec<f64> {
        let inside = series
            .rest
            .iter()
            .filter(|p| axis::shown(p.0) && (low..=high).contains(&p.0));
        inside.map(|p| p.1.abs().max(p.2)).collect()
    };
    let mut sizes = within(low, high);
    if sizes.is_empty() {
        sizes = within(LOW_HZ, HIGH_HZ);
    }
    sizes.sort_by(f64::total_cmp);
    let at = (sizes.len() as f64 * 0.97) as usize;
    let size = sizes.get(at.min(sizes.len().saturating_sub(1))).copied().unwrap_or(0.0);
    let want = (size * 1.15).max(0.05);
    // A whole number of steps, so that the outermost ticks lie on the frame.
    let step = rest_step(want);
    (want / step).ceil() * step
}

fn mark_f0(sheet: &mut Sheet, labels: &mut Labels, series: &Series, r: &Resonance) {
    let hz = r.f0_hz.value;
    let field = labels.field;
    let line = match series.model.is_empty() {
        true => bare(&series.measured).collect(),
        false => series.model.clone(),
    };
    let Some(db) = lay::interpolate(&line, hz).filter(|_| axis::shown(hz)) else {
        return;
    };
    let at = field.clamp_y(field.point(hz, db));
    let foot = (at.0, field.bottom);
    sheet.line(vec![at, foot], F0_LINE);
    Marker::Ring.draw(sheet, at, 1.1, F0);
    labels.block(at, 1.4);
    labels.line(&[at, foot]);
    let text = format!("f0 {}", number::short(hz, Unit::Hertz));
    // Along the line first, from the foot upwards, left of it before right of it.
    let w = text_width(&text, NUMBERS);
    let heights = (0..12)
        .map(|i| field.bottom - 2.2 - 2.0 * f64::from(i))
        .filter(|y| *y > at.1);
    let along = heights.flat_map(|y| [(at.0 - 1.2 - w, y), (at.0 + 1.2, y)]);
    let places: Vec<Point> = along.chain(around(at, w)).collect();
    labels.put(sheet, &[at, foot], &text, F0, &places);
}

fn mark_peak(sheet: &mut Sheet, labels: &mut Labels, record: &Record, r: &Resonance) {
    let (Some(hz), Some(db)) = (r.peak_hz, r.peak_db) else {
        return;
    };
    let field = labels.field;
    let tip = field.point(hz.value, db.value);
    if !field.holds(tip) {
        return;
    }
    let at = (tip.0, tip.1 - 1.9);
    Marker::Down.draw(sheet, at, 1.3, PEAK);
    labels.block(at, 1.5);
    let text = format!("peak {}", words::peak(record));
    let places = around(at, text_width(&text, NUMBERS));
    labels.put(sheet, &[at, at], &text, PEAK, &places);
}

#[cfg(test)]
mod tests;
