//! Labels on a plot, laid where neither a line nor another label is.

use super::super::axis::Field;
use super::super::lay::NUMBERS;
use super::super::sheet::{Anchor, Pen, Point, Rgb, Sheet, Type, text_width};

/// Puts labels where nothing else is.
pub(super) struct Labels {
    pub(super) field: Field,
    /// Points on drawn lines, no farther apart than the lettering is high.
    ink: Vec<Point>,
    /// (left, top, right, bottom)
    taken: Vec<[f64; 4]>,
}

impl Labels {
    pub(super) fn new(field: Field, lines: Vec<Vec<Point>>) -> Self {
        let mut out = Labels {
            field,
            ink: vec![],
            taken: vec![],
        };
        lines.iter().for_each(|l| out.line(l));
        out
    }

    pub(super) fn line(&mut self, points: &[Point]) {
        for pair in points.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let n = ((b.0 - a.0).hypot(b.1 - a.1) / 0.7).ceil().clamp(1.0, 500.0) as usize;
            let at = |t: f64| (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
            self.ink.extend((0..=n).map(|i| at(i as f64 / n as f64)));
        }
    }

    pub(super) fn block(&mut self, at: Point, r: f64) {
        self.taken.push([at.0 - r, at.1 - r, at.0 + r, at.1 + r]);
    }

    /// Draws at the first free place, with a thin line to the mark (from one point to another) where it is far off.
    pub(super) fn put(&mut self, sheet: &mut Sheet, mark: &[Point; 2], text: &str, colour: Rgb, places: &[Point]) {
        let size = NUMBERS;
        let w = text_width(text, size);
        let outline = |p: &Point| [p.0 - 0.5, p.1 - 0.8 * size, p.0 + w + 0.5, p.1 + 0.3 * size];
        let corner = (self.field.left + 1.5, self.field.top + size + 0.5);
        let free = places.iter().find(|p| self.is_free(outline(p)));
        let place = free.copied().unwrap_or(corner);
        let b = outline(&place);
        // The mark is a point or upright.
        let to = (mark[0].0, b[1].clamp(mark[0].1, mark[1].1.max(mark[0].1)));
        let near = (to.0.clamp(b[0], b[2]), to.1.clamp(b[1], b[3]));
        let away = (near.0 - to.0).hypot(near.1 - to.1);
        if away > 4.0 {
            let t = 2.0 / away;
            let start = (to.0 + t * (near.0 - to.0), to.1 + t * (near.1 - to.1));
            sheet.line(vec![start, near], Pen::solid(colour, 0.15));
        }
        sheet.text(place, text, Type::new(size, colour, Anchor::Left));
        self.taken.push(b);
    }

    fn is_free(&self, b: [f64; 4]) -> bool {
        let f = &self.field;
        let edge = 0.7;
        let inside = b[0] > f.left + edge && b[2] < f.right - edge && b[1] > f.top + edge && b[3] < f.bottom - edge;
        let clear = |t: &[f64; 4]| b[2] < t[0] || b[0] > t[2] || b[3] < t[1] || b[1] > t[3];
        let on = |p: &Point| p.0 > b[0] - 0.4 && p.0 < b[2] + 0.4 && p.1 > b[1] - 0.4 && p.1 < b[3] + 0.4;
        inside && self.taken.iter().all(clear) && !self.ink.iter().any(on)
    }
}

/// Places for a label around a point, nearest first: right, left, above, then farther out. Left ends of base lines.
pub(super) fn around(at: Point, w: f64) -> Vec<Point> {
    let middle = at.1 + 0.36 * NUMBERS;
    let far = [2.2, 3.5, 5.0, 7.0, 9.5, 12.5, 16.0, 20.0, 26.0, 34.0].into_iter();
    let places = far.flat_map(|d| {
        [
            (at.0 + d, middle),
            (at.0 - d - w, middle),
            (at.0 - w / 2.0, at.1 - d),
            (at.0 + d * 0.7, middle - d * 0.7),
            (at.0 - d * 0.7 - w, middle - d * 0.7),
            (at.0 + d * 0.7, middle + d * 0.7),
            (at.0 - d * 0.7 - w, middle + d * 0.7),
        ]
    });
    places.collect()
}
