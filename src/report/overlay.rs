//! The plot of several records in one field, told apart by dashes, markers and letters as well as by colour.

use super::axis::{self, Field, HIGH_HZ, LOW_HZ};
use super::number::{self, LEVEL, Unit};
use super::palette::{INK, PAPER, SERIES, SOFT};
use super::plot::{self, EDGE, HEIGHT, LEFT, MARGIN, Plot, RIGHT, SMALL, Series, WIDTH};
use super::sheet::{Anchor, Pen, Point, Sheet, Type, fitted, text_width};
use super::words;
use crate::failure::Result;
use crate::record::Record;

/// More curves than this in one field cannot be told apart.
pub const MOST: usize = SERIES.len();

/// What 0 dB is for each curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Align {
    /// Each record's own level at low frequency.
    #[default]
    LowFrequency,
    /// Each record's own peak, which shows differences in shape. Records without a peak: as `LowFrequency`.
    Peak,
    /// The first record's level at low frequency: shows the coupling from the exciter too. Where a level is not known,
    /// as `LowFrequency`.
    Coupling,
}

/// Overlays up to [`MOST`] records; of more, the rest is counted in the caption.
pub fn compare_plot(records: &[Record], align: Align) -> Result<Plot> {
    let shown = records.get(..MOST).unwrap_or(records);
    let names: Vec<String> = shown.iter().map(words::name).collect();
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &format!("Responses of {}", names.join(", ")));
    let curves: Vec<Trace> = shown
        .iter()
        .enumerate()
        .map(|(i, r)| Trace::new(i, r, records.first(), align))
        .collect();
    caption(&mut sheet, records, shown.len(), align);
    let columns = if shown.len() > 6 { 2 } else { 1 };
    let rows = shown.len().div_ceil(columns);
    let legend_top = f64::from(HEIGHT) - 2.4 - ROW * rows as f64;
    let bottom = legend_top - 8.6;
    if curves.iter().any(|c| c.line.len() > 1) {
        field(&mut sheet, &curves, bottom);
    } else {
        sheet.text(
            (f64::from(WIDTH) / 2.0, (TOP + bottom) / 2.0),
            "No curve to show: none of the records has a reading",
            Type::new(SMALL * 1.2, INK, Anchor::Centre),
        );
    }
    let apart = words::told_apart(shown);
    for (i, (trace, record)) in curves.iter().zip(shown).enumerate() {
        let (column, row) = (i / rows.max(1), i % rows.max(1));
        let width = (EDGE - MARGIN) / columns as f64;
        let at = (
            MARGIN + column as f64 * (width + 1.5),
            legend_top + ROW * (row as f64 + 0.75),
        );
        let gap = if columns == 1 { 0.0 } else { 1.5 };
        // Where all are, the stamp says it, and the names need the room.
        let mark = words::is_simulated(record) && !shown.iter().all(words::is_simulated);
        let name = match &apart[i] {
            Some(apart) => format!("{}, {apart}", words::name(record)),
            None => words::name(record),
        };
        let entry = Entry {
            record,
            name,
            mark: if mark { " (simulated)" } else { "" },
            long: columns == 1,
        };
        legend(&mut sheet, trace, &entry, at, width - gap);
    }
    sheet.render()
}

const TOP: f64 = 14.0;
const ROW: f64 = 3.5;
/// Lettering on the curves.
const LETTER: f64 = 2.6;

struct Trace {
    index: usize,
    line: Vec<(f64, f64)>,
    peak: Option<(f64, f64)>,
}

impl Trace {
    fn new(index: usize, record: &Record, first: Option<&Record>, align: Align) -> Self {
        let reading = words::reading(record);
        let peak = reading
            .and_then(|r| Some((r.peak_hz?.value, r.peak_db?.value)))
            .filter(|p| p.0.is_finite() && p.1.abs() < 1e4);
        let level = |r: &Record| words::reading(r).and_then(|x| x.level_db).map(|l| l.value);
        let shift = match align {
            Align::LowFrequency => None,
            Align::Peak => peak.map(|p| -p.1),
            Align::Coupling => first.and_then(|f| Some(level(record)? - level(f)?)),
        };
        let shift = shift.filter(|s| s.abs() < 1e4).unwrap_or(0.0);
        let line = match (reading, &record.curve) {
            (Some(_), Some(c)) => Series::new(c).measured.iter().map(|p| (p.0, p.1 + shift)).collect(),
            _ => vec![],
        };
        Trace {
            index,
            line,
            peak: peak.map(|p| (p.0, p.1 + shift)),
        }
    }

    fn visible(&self) -> impl Iterator<Item = (f64, f64)> {
        let inside = |p: &(f64, f64)| (LOW_HZ..=HIGH_HZ).contains(&p.0);
        self.line.iter().copied().filter(inside)
    }
}

fn caption(sheet: &mut Sheet, records: &[Record], shown: usize, align: Align) {
    let mut room = EDGE - MARGIN;
    if records.iter().any(words::is_simulated) {
        room -= plot::simulated_stamp(sheet);
    }
    let title = if records.len() > shown {
        format!("The first {shown} of {} responses", records.len())
    } else {
        format!("{shown} responses")
    };
    sheet.text(
        (MARGIN, 6.6),
        &fitted(&title, 3.6, room),
        Type::new(3.6, INK, Anchor::Left),
    );
    let zero = match align {
        Align::LowFrequency => "0 dB: each one's level at low frequency",
        Align::Peak => "0 dB: each one's peak",
        Align::Coupling => {
            "0 dB: A's level at low frequency; levels are coupling from the exciter, not loudness from a string"
        }
    };
    sheet.text(
        (MARGIN, 11.0),
        &fitted(zero, SMALL, EDGE - MARGIN),
        Type::new(SMALL, SOFT, Anchor::Left),
    );
}

fn field(sheet: &mut Sheet, curves: &[Trace], bottom: f64) {
    let values = || curves.iter().flat_map(Trace::visible).map(|p| p.1);
    let top = values().fold(f64::NEG_INFINITY, f64::max);
    let floor = values().fold(f64::INFINITY, f64::min);
    let (top, floor) = if top >= floor {
        (top.max(0.0), floor.min(0.0))
    } else {
        (3.0, -3.0)
    };
    let low = floor.max(top.min(12.0) - 36.0).min(top - 9.0);
    let span = top - low;
    let field = Field {
        left: LEFT,
        right: RIGHT,
        top: TOP,
        bottom,
        low: low - 0.02 * span,
        high: top + 0.1 * span,
    };
    let step = axis::decibel_step(field.high - field.low, 9.0);
    plot::grid(sheet, &field, &axis::ticks(field.low, field.high, step));
    // Narrow lines over wide ones, so that none hides another.
    let mut order: Vec<&Trace> = curves.iter().collect();
    order.sort_by(|a, b| style(b.index).0.width.total_cmp(&style(a.index).0.width));
    for t in order {
        plot::curve(sheet, &field, t.line.iter().copied(), style(t.index).0);
    }
    plot::frame(sheet, &field);
    plot::frequency_labels(sheet, &field);
    plot::vertical_title(sheet, &field, "response (dB)");
    for t in curves {
        if let Some(at) = t.peak.map(|p| field.point(p.0, p.1)).filter(|p| field.holds(*p)) {
            let (pen, marker) = style(t.index);
            marker.draw(sheet, at, 1.05, pen.colour);
        }
    }
    let drawn: Vec<&Trace> = curves.iter().filter(|t| t.line.len() > 1).collect();
    let mut taken: Vec<Point> = curves
        .iter()
        .filter_map(|t| t.peak.map(|p| field.point(p.0, p.1)))
        .collect();
    for (i, t) in drawn.iter().enumerate() {
        if let Some(at) = letter_place(&field, t, i, drawn.len(), &taken) {
            letter(sheet, t.index, at);
            taken.push(at);
        }
    }
}

fn style(index: usize) -> (Pen, super::palette::Marker) {
    SERIES[index % SERIES.len()]
}

/// On the curve: first where it falls behind the peak, each at another height, so that letters of curves that lie close
/// together stand above one another; else wherever there is room.
fn letter_place(field: &Field, t: &Trace, i: usize, n: usize, taken: &[Point]) -> Option<Point> {
    let placed: Vec<Point> = t
        .visible()
        .map(|(f, v)| field.point(f, v))
        .filter(|p| field.holds(*p))
        .collect();
    let margin = 2.0;
    let (top, bottom) = (
        field.y(0.0).clamp(field.top, field.bottom) + margin,
        field.bottom - margin,
    );
    let height = top + (bottom - top) * (i as f64 + 0.5) / n as f64;
    let crossing = placed.windows(2).rev().find_map(|w| {
        let (a, b) = (w[0], w[1]);
        (a.1 <= height && b.1 > height).then(|| {
            let s = (height - a.1) / (b.1 - a.1);
            (a.0 + s * (b.0 - a.0), height)
        })
    });
    let free = |p: &Point| {
        let inside = p.0 > field.left + margin && p.0 < field.right - margin;
        inside && taken.iter().all(|q| (p.0 - q.0).abs() > 2.6 || (p.1 - q.1).abs() > 2.7)
    };
    crossing
        .filter(free)
        .or_else(|| placed.iter().rev().copied().find(free))
        .or(crossing)
        .or(placed.last().copied())
}

fn letter(sheet: &mut Sheet, index: usize, at: Point) {
    let text = words::letter(index);
    let w = text_width(&text, LETTER) / 2.0 + 0.35;
    let h = LETTER / 2.0;
    let (l, r, t, b) = (at.0 - w, at.0 + w, at.1 - h, at.1 + h);
    sheet.area(vec![(l, t), (r, t), (r, b), (l, b)], PAPER);
    sheet.text(
        (at.0, at.1 + 0.36 * LETTER),
        &text,
        Type::new(LETTER, INK, Anchor::Centre),
    );
}

/// What the legend says of a record.
struct Entry<'a> {
    record: &'a Record,
    name: String,
    mark: &'static str,
    /// With intervals, where there is room for them.
    long: bool,
}

fn legend(sheet: &mut Sheet, trace: &Trace, entry: &Entry, at: Point, width: f64) {
    let (pen, marker) = style(trace.index);
    let middle = at.1 - 0.36 * SMALL;
    let sample = 11.0;
    if !trace.line.is_empty() {
        sheet.line(vec![(at.0, middle), (at.0 + sample, middle)], pen);
        if trace.peak.is_some() {
            marker.draw(sheet, (at.0 + sample / 2.0, middle), 1.05, pen.colour);
        }
    }
    let kind = Type::new(SMALL, INK, Anchor::Left);
    let mut x = at.0 + sample + 1.5;
    sheet.text((x, at.1), &words::letter(trace.index), kind);
    x += 3.2;
    let numbers = match words::reading(entry.record) {
        None => "no reading".to_string(),
        Some(r) if entry.long => {
            let q = number::bare_interval(&r.q, Unit::Ratio);
            match words::peak_intervals(r) {
                Some(peak) => format!("peak {peak}, Q {q} {LEVEL}"),
                None => format!("no peak, Q {q} {LEVEL}"),
            }
        }
        Some(r) => words::peak(r),
    };
    let right = at.0 + width;
    let numbers = fitted(&numbers, SMALL, width * 0.75);
    sheet.text((right, at.1), &numbers, Type::new(SMALL, INK, Anchor::Right));
    let room = right - text_width(&numbers, SMALL) - 2.0 - x;
    let room = room - text_width(entry.mark, SMALL);
    let name = fitted(&entry.name, SMALL, room.max(0.0));
    sheet.text((x, at.1), &format!("{name}{}", entry.mark), kind);
}

#[cfg(test)]
mod tests {
    use super::super::samples::{self, Recipe};
    use super::*;

    fn several(n: usize, spread: f64) -> Vec<Record> {
        let names = [
            "Bridge no. 1",
            "Bridge no. 2",
            "Neck, 42 wire",
            "Neck, 43 wire",
            "A long name of a pickup that goes on and on",
            "Öl-getränkt",
            "no. 7",
        ];
        (0..n)
            .map(|i| {
                Recipe {
                    name: names[i % names.len()],
                    f0: 3500.0 * (1.0 + spread * (i as f64 - n as f64 / 2.0)),
                    q: 2.9 - 0.12 * i as f64,
                    scatter_db: 0.02,
                    seed: i as u64 + 1,
                    ..Recipe::default()
                }
                .record()
            })
            .collect()
    }

    #[test]
    fn every_record_has_its_letter_and_line() {
        let plot = compare_plot(&several(13, 0.05), Align::LowFrequency).unwrap();
        crate::report::odd::well_formed(&plot.svg);
        assert!(plot.svg.contains("The first 12 of 13 responses"));
        for letter in 'A'..='L' {
            // On the curve and in the legend.
            assert_eq!(plot.svg.matches(&format!(">\n{letter}\n<")).count(), 2, "{letter}");
        }
        for (pen, _) in SERIES {
            let colour = format!(
                "stroke=\"#{:02X}{:02X}{:02X}\"",
                pen.colour.0, pen.colour.1, pen.colour.2
            );
            assert!(plot.svg.contains(&colour), "{colour}");
        }
    }

    #[test]
    fn series_differ_without_colour() {
        for (i, (a, m)) in SERIES.iter().enumerate() {
            for (b, n) in &SERIES[..i] {
                assert!(m != n);
                assert!(a.dash != b.dash || (a.width - b.width).abs() > 0.2);
            }
        }
    }

    #[test]
    fn levels_are_said_to_be_coupling() {
        let svg = compare_plot(&several(2, 0.1), Align::Coupling).unwrap().svg;
        assert!(svg.contains("coupling from the exciter, not loudness from a string"));
    }

    #[test]
    #[ignore = "writes pictures for the eye"]
    fn gallery() {
        let Ok(dir) = std::env::var("PLOTS") else { return };
        let mut mixed = several(3, 0.1);
        mixed.push(samples::rejected());
        mixed.push(samples::simulated());
        let mut levels = several(3, 0.1);
        levels[1].resonance.as_mut().unwrap().level_db = Some(samples::e(-51.0, 0.1, 0.1));
        let mut wide = several(12, 0.09);
        wide[11] = Recipe {
            f0: 14_000.0,
            q: 9.0,
            ..Recipe::default()
        }
        .record();
        wide[10] = Recipe {
            f0: 19_500.0,
            q: 9.0,
            ..Recipe::default()
        }
        .record();
        for (name, records, align) in [
            ("two", several(2, 0.06), Align::LowFrequency),
            ("twelve", several(12, 0.03), Align::LowFrequency),
            ("wide", wide, Align::LowFrequency),
            ("close", several(12, 0.001), Align::LowFrequency),
            ("mixed", mixed, Align::LowFrequency),
            ("peaks", several(4, 0.1), Align::Peak),
            ("coupling", levels, Align::Coupling),
            (
                "none",
                vec![samples::rejected(), samples::rejected()],
                Align::LowFrequency,
            ),
        ] {
            let t = std::time::Instant::now();
            let plot = compare_plot(&records, align).unwrap();
            eprintln!(
                "{name}: {:?}, svg {} kB, png {} kB",
                t.elapsed(),
                plot.svg.len() / 1000,
                plot.png.len() / 1000
            );
            std::fs::write(format!("{dir}/c-{name}.svg"), plot.svg).unwrap();
            std::fs::write(format!("{dir}/c-{name}.png"), plot.png).unwrap();
        }
    }
}
