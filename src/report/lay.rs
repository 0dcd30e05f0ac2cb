//! What all plots share: the measures of the sheet, headings, fields and their curves.

use super::axis::{self, FREQUENCY_TICKS, Field, HIGH_HZ, LOW_HZ};
use super::palette::{BAND, FRAME, GRID, INK, Marker, PAPER, SOFT};
use super::sheet::{Anchor, Pen, Point, Rgb, Sheet, Type, rectangle, text_width};

pub(super) const WIDTH: u32 = 148;
pub(super) const HEIGHT: u32 = 105;
pub(super) const LEFT: f64 = 15.0;
pub(super) const RIGHT: f64 = 144.0;
/// Outer margin of the lettering.
pub(super) const MARGIN: f64 = 4.0;
pub(super) const EDGE: f64 = WIDTH as f64 - MARGIN;
/// 7 points.
pub(super) const SMALL: f64 = 2.47;
pub(super) const NUMBERS: f64 = 2.8;
pub(super) const TITLE: f64 = 4.0;

/// What most of the lettering is set in.
pub(super) fn small(anchor: Anchor) -> Type {
    Type::new(SMALL, INK, anchor)
}

/// Title and a remark below it, on a sheet that is not one record's.
pub(super) fn heading(sheet: &mut Sheet, title: &str, remark: &str, simulated: bool) {
    let mut room = EDGE - MARGIN;
    if simulated {
        room -= simulated_stamp(sheet);
    }
    sheet.cut((MARGIN, 6.6), title, room, Type::new(3.6, INK, Anchor::Left));
    let kind = Type::new(SMALL, SOFT, Anchor::Left);
    sheet.cut((MARGIN, 11.0), remark, EDGE - MARGIN, kind);
}

/// In the upper right corner; returns the room it takes.
pub(super) fn simulated_stamp(sheet: &mut Sheet) -> f64 {
    let text = "SIMULATED";
    let w = text_width(text, NUMBERS);
    let x = EDGE - w - 1.2;
    sheet.text((x, 6.4), text, Type::new(NUMBERS, INK, Anchor::Left));
    sheet.outline(rectangle([x - 1.2, EDGE], [3.4, 7.4]), Pen::solid(INK, 0.25));
    w + 5.0
}

/// A field over the whole width.
pub(super) fn field([top, bottom]: [f64; 2], [low, high]: [f64; 2]) -> Field {
    Field {
        left: LEFT,
        right: RIGHT,
        top,
        bottom,
        low,
        high,
    }
}

/// In place of what cannot be drawn.
pub(super) fn nothing(sheet: &mut Sheet, y: f64, text: &str) {
    let kind = Type::new(SMALL * 1.2, INK, Anchor::Centre);
    sheet.text((f64::from(WIDTH) / 2.0, y), text, kind);
}

pub(super) fn grid(sheet: &mut Sheet, field: &Field, step: f64) {
    let thin = Pen::solid(GRID, 0.15);
    for (f, _) in FREQUENCY_TICKS {
        let x = field.x(f);
        sheet.line(vec![(x, field.top), (x, field.bottom)], thin);
    }
    let kind = small(Anchor::Right);
    for (v, label) in axis::ticks(field.low, field.high, step) {
        let y = field.y(v);
        let pen = if v == 0.0 { Pen::solid(FRAME, 0.2) } else { thin };
        sheet.line(vec![(field.left, y), (field.right, y)], pen);
        sheet.text((field.left - 1.0, y + 0.36 * SMALL), &label, kind);
    }
}

/// Between a lower and an upper line: (Hz, lower, upper).
pub(super) fn band(sheet: &mut Sheet, field: &Field, points: impl Iterator<Item = (f64, f64, f64)>) {
    let at = |f: f64, v: f64| field.clamp_y((field.x(f).clamp(field.left, field.right), field.y(v)));
    for part in unbroken(points.collect(), |p| p.0) {
        let there = part.iter().map(|p| at(p.0, p.2));
        let back = part.iter().rev().map(|p| at(p.0, p.1));
        sheet.area(there.chain(back).collect(), BAND);
    }
}

/// Where a curve of many points leaves out more than a third of an octave, nothing was measured, and nothing is drawn.
const HOLE: f64 = 1.26;
const MANY: usize = 48;

pub(super) fn unbroken<T: Copy>(points: Vec<T>, hz: impl Fn(&T) -> f64) -> Vec<Vec<T>> {
    if points.len() < MANY {
        return vec![points];
    }
    let parts = points.chunk_by(|a, b| hz(b) <= HOLE * hz(a));
    parts.map(<[T]>::to_vec).collect()
}

/// What the lines mean, above the field where no curve can run through it.
pub(super) struct Key {
    x: f64,
    y: f64,
}

impl Key {
    pub fn over(field: &Field) -> Key {
        Key {
            x: field.left,
            y: field.top - 1.6,
        }
    }

    /// `draw` is given the left end of the sample, so wide, at its middle height.
    fn entry(&mut self, sheet: &mut Sheet, text: &str, width: f64, draw: impl Fn(&mut Sheet, Point)) {
        draw(sheet, (self.x, self.y - 0.36 * SMALL));
        self.x += width + 1.0;
        sheet.text((self.x, self.y), text, Type::new(SMALL, SOFT, Anchor::Left));
        self.x += text_width(text, SMALL) + 4.0;
    }

    pub fn line(&mut self, sheet: &mut Sheet, text: &str, pen: Pen) {
        self.entry(sheet, text, 8.0, |s, (x, y)| s.line(vec![(x, y), (x + 8.0, y)], pen));
    }

    pub fn area(&mut self, sheet: &mut Sheet, text: &str, colour: Rgb) {
        self.entry(sheet, text, 6.0, |s, at| swatch(s, at, colour));
    }

    pub fn mark(&mut self, sheet: &mut Sheet, text: &str, marker: Marker, colour: Rgb) {
        self.entry(sheet, text, 2.4, |s, (x, y)| marker.draw(s, (x + 1.2, y), 1.1, colour));
    }
}

pub(super) fn swatch(sheet: &mut Sheet, (x, middle): Point, colour: Rgb) {
    let corners = rectangle([x, x + 6.0], [middle - 1.0, middle + 1.0]);
    sheet.area(corners.clone(), colour);
    sheet.outline(corners, Pen::solid(FRAME, 0.12));
}

/// Frame, and what stands at the axes.
pub(super) fn framed(sheet: &mut Sheet, field: &Field, vertical: &str) {
    frame(sheet, field);
    frequency_labels(sheet, field);
    vertical_title(sheet, field, vertical);
}

pub(super) fn frame(sheet: &mut Sheet, f: &Field) {
    // Thick lines end in the middle of the frame; what sticks out is covered.
    let w = 0.9;
    for (l, r, t, b) in [
        (f.left - w, f.right + w, f.top - w, f.top),
        (f.left - w, f.right + w, f.bottom, f.bottom + w),
        (f.left - w, f.left, f.top, f.bottom),
        (f.right, f.right + w, f.top, f.bottom),
    ] {
        sheet.area(rectangle([l, r], [t, b]), PAPER);
    }
    let corners = rectangle([f.left, f.right], [f.top, f.bottom]);
    sheet.outline(corners, Pen::solid(FRAME, 0.25));
    // Small strokes at the frequencies between the round ones.
    for decade in [100.0, 1000.0, 10_000.0] {
        for k in 1..10 {
            let hz = decade * f64::from(k);
            if (LOW_HZ..=HIGH_HZ).contains(&hz) {
                let x = f.x(hz);
                sheet.line(vec![(x, f.bottom - 0.8), (x, f.bottom)], Pen::solid(FRAME, 0.2));
            }
        }
    }
}

fn frequency_labels(sheet: &mut Sheet, field: &Field) {
    let kind = small(Anchor::Centre);
    for (f, label) in FREQUENCY_TICKS {
        sheet.text((field.x(f), field.bottom + 3.0), label, kind);
    }
    let middle = (field.left + field.right) / 2.0;
    sheet.text((middle, field.bottom + 6.6), "frequency (Hz)", kind);
}

pub(super) fn vertical_title(sheet: &mut Sheet, field: &Field, text: &str) {
    let kind = Type {
        vertical: true,
        ..small(Anchor::Centre)
    };
    sheet.text((MARGIN + 0.8, (field.top + field.bottom) / 2.0), text, kind);
}

/// Draws a line, clipped, and returns what is visible of it.
pub(super) fn curve(
    sheet: &mut Sheet,
    field: &Field,
    points: impl Iterator<Item = (f64, f64)>,
    pen: Pen,
) -> Vec<Vec<Point>> {
    let unbroken = unbroken(points.collect(), |p| p.0);
    let placed = unbroken.iter().map(|part| part.iter().map(|p| field.point(p.0, p.1)));
    let parts: Vec<Vec<Point>> = placed.flat_map(|p| field.clip(&p.collect::<Vec<_>>())).collect();
    for part in &parts {
        sheet.line(part.clone(), pen);
    }
    parts
}

pub(super) fn interpolate(line: &[(f64, f64)], hz: f64) -> Option<f64> {
    let i = line.partition_point(|p| p.0 < hz);
    let b = line.get(i)?;
    if b.0 == hz || i == 0 {
        return (b.0 == hz).then_some(b.1);
    }
    let a = line.get(i - 1)?;
    let t = (hz / a.0).ln() / (b.0 / a.0).ln();
    Some(a.1 + t * (b.1 - a.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_drawn_where_nothing_was_measured() {
        let curve = |points: &[(f64, f64)]| {
            let mut sheet = Sheet::new(WIDTH, HEIGHT, "");
            curve(
                &mut sheet,
                &field([10.0, 90.0], [-1.0, 1.0]),
                points.iter().copied(),
                Pen::solid(INK, 0.3),
            )
            .len()
        };
        let all: Vec<(f64, f64)> = (0..240)
            .map(|i| (100.0 * 2f64.powf(f64::from(i) / 36.0), 0.0))
            .collect();
        let hole: Vec<_> = all.iter().copied().filter(|p| !(1e3..2e3).contains(&p.0)).collect();
        assert_eq!((curve(&all), curve(&hole)), (1, 2));
        // Three that were asked for are joined.
        assert_eq!(curve(&[(100.0, 0.0), (1e3, 0.0), (5e3, 0.0)]), 1);
    }
}
