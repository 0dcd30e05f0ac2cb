//! What all plots share: the measures of the sheet, headings, fields and their curves.

use super::axis::{self, FREQUENCY_TICKS, Field};
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
/// From one line of a legend to the next.
pub(super) const ROW: f64 = 3.5;

/// What most of the lettering is set in.
pub(super) fn small(anchor: Anchor) -> Type {
    Type::new(SMALL, INK, anchor)
}

/// Around the fields.
pub(super) fn soft(anchor: Anchor) -> Type {
    Type::new(SMALL, SOFT, anchor)
}

/// A curve and what the legend says of it. Frequencies in hertz, values in dB.
#[derive(Debug, Clone, Default)]
pub struct Item {
    pub name: String,
    /// Follows the name, and is never cut.
    pub mark: String,
    /// At the legend's right end: where there is room for a line of its own, and where there is not.
    pub numbers: String,
    pub short_numbers: String,
    pub line: Vec<(f64, f64)>,
    pub peak: Option<(f64, f64)>,
    /// (hertz, lower, upper)
    pub band: Vec<(f64, f64, f64)>,
    /// Single points, as measured.
    pub dots: Vec<(f64, f64)>,
}

/// From the least of them to the largest.
pub(super) fn ends(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    let none = (f64::INFINITY, f64::NEG_INFINITY);
    let (low, high) = values.fold(none, |(low, high), v| (low.min(v), high.max(v)));
    (low <= high).then_some([low, high])
}

/// Title and a remark below it, on a sheet that is not one record's.
pub(super) fn heading(sheet: &mut Sheet, title: &str, remark: &str, simulated: bool) {
    named(sheet, 6.6, title, 3.6, simulated);
    sheet.cut((MARGIN, 11.0), remark, EDGE - MARGIN, soft(Anchor::Left));
}

/// The title, with the stamp of what is simulated in the corner.
pub(super) fn named(sheet: &mut Sheet, y: f64, title: &str, size: f64, simulated: bool) {
    let mut room = EDGE - MARGIN;
    if simulated {
        let text = "SIMULATED";
        let w = text_width(text, NUMBERS);
        let x = EDGE - w - 1.2;
        sheet.text((x, 6.4), text, Type::new(NUMBERS, INK, Anchor::Left));
        sheet.outline(rectangle([x - 1.2, EDGE], [3.4, 7.4]), Pen::solid(INK, 0.25));
        room -= w + 5.0;
    }
    sheet.cut((MARGIN, y), title, room, Type::new(size, INK, Anchor::Left));
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

/// What the lines mean, above the field where no curve can run through it: where the next goes.
pub(super) struct Key(Point);

impl Key {
    pub fn over(field: &Field) -> Key {
        Key((field.left, field.top - 1.6))
    }

    /// `draw` is given the left end of the sample, so wide, at its middle height.
    fn entry(&mut self, sheet: &mut Sheet, text: &str, width: f64, draw: impl Fn(&mut Sheet, Point)) {
        draw(sheet, (self.0.0, self.0.1 - 0.36 * SMALL));
        self.0.0 += width + 1.0;
        sheet.text(self.0, text, soft(Anchor::Left));
        self.0.0 += text_width(text, SMALL) + 4.0;
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
    let kind = small(Anchor::Centre);
    for (f, label) in FREQUENCY_TICKS {
        sheet.text((field.x(f), field.bottom + 3.0), label, kind);
    }
    let middle = (field.left + field.right) / 2.0;
    sheet.text((middle, field.bottom + 6.6), "frequency (Hz)", kind);
    vertical_title(sheet, field, vertical);
}

pub(super) fn vertical_title(sheet: &mut Sheet, field: &Field, text: &str) {
    let mut kind = small(Anchor::Centre);
    kind.vertical = true;
    sheet.text((MARGIN + 0.8, (field.top + field.bottom) / 2.0), text, kind);
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
    sheet.outline(rectangle([f.left, f.right], [f.top, f.bottom]), Pen::solid(FRAME, 0.25));
    // Small strokes at the frequencies between the round ones.
    let strokes = [100.0, 1000.0, 10_000.0]
        .into_iter()
        .flat_map(|decade| (1..10).map(move |k| decade * f64::from(k)));
    for x in strokes.filter(|hz| axis::shown(*hz)).map(|hz| f.x(hz)) {
        sheet.line(vec![(x, f.bottom - 0.8), (x, f.bottom)], Pen::solid(FRAME, 0.2));
    }
}

/// Draws a line, clipped, and returns what is visible of it.
pub(super) fn curve(
    sheet: &mut Sheet,
    field: &Field,
    points: impl IntoIterator<Item = (f64, f64)>,
    pen: Pen,
) -> Vec<Vec<Point>> {
    let unbroken = unbroken(points.into_iter().collect(), |p| p.0);
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
    if b.0 == hz {
        return Some(b.1);
    }
    let a = line.get(i.checked_sub(1)?)?;
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
