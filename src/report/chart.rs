//! What the charts of a shop share: a head, a box with linear axes, and marks.

use super::axis;
use super::lay::{self, HEIGHT, SMALL, WIDTH};
use super::palette::{GRID, INK, PAPER, PEAK, SOFT};
use super::sheet::{Anchor, Pen, Point, Sheet, Type};

/// A sheet with its title and a remark, and the stamp of what is simulated.
pub fn sheet(title: &str, remark: &str, simulated: bool) -> Sheet {
    let mut sheet = Sheet::new(WIDTH, HEIGHT, title);
    lay::heading(&mut sheet, title, remark, simulated);
    sheet
}

/// A box with two linear axes.
pub struct Panel {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub x: [f64; 2],
    pub y: [f64; 2],
}

impl Panel {
    pub fn at(&self, x: f64, y: f64) -> Point {
        (
            self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left),
            self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top),
        )
    }

    /// The corners of what lies between these values.
    pub fn corners(&self, x: [f64; 2], y: [f64; 2]) -> Vec<Point> {
        [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]
            .map(|(x, y)| self.at(x, y))
            .to_vec()
    }

    /// Grid, ticks, names and the box; across there is nothing to be read where it has no name.
    pub fn axes(&self, sheet: &mut Sheet, across: Option<&str>, up: &str) {
        let ticks = |[low, high]: [f64; 2], most| axis::ticks(low, high, axis::round_step(high - low, most));
        let text = |anchor| Type::new(SMALL, INK, anchor);
        for (v, label) in ticks(self.y, 6.0) {
            let (from, to) = (self.at(self.x[0], v), self.at(self.x[1], v));
            sheet.line(vec![from, to], Pen::solid(GRID, 0.2));
            let place = (self.left - 1.2, from.1 + 0.36 * SMALL);
            sheet.text(place, label.trim_start_matches('+'), text(Anchor::Right));
        }
        if let Some(name) = across {
            for (v, label) in ticks(self.x, 5.0) {
                let (from, to) = (self.at(v, self.y[1]), self.at(v, self.y[0]));
                sheet.line(vec![from, to], Pen::solid(GRID, 0.2));
                let place = (from.0, self.bottom + 3.6);
                sheet.text(place, label.trim_start_matches('+'), text(Anchor::Centre));
            }
            let middle = (self.left + self.right) / 2.0;
            sheet.text((middle, self.bottom + 7.4), name, text(Anchor::Centre));
        }
        sheet.text((self.left, self.top - 1.4), up, text(Anchor::Left));
        let mut frame = self.corners(self.x, self.y);
        frame.extend(frame.first().copied());
        sheet.line(frame, Pen::solid(SOFT, 0.3));
    }
}

/// How one is marked.
pub enum Mark {
    Full,
    Open,
    Cross,
}

impl Mark {
    pub fn put(self, sheet: &mut Sheet, (x, y): Point) {
        let mut square = |r: f64, colour| {
            let corners = vec![(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)];
            sheet.area(corners, colour);
        };
        match self {
            Mark::Full => {
                square(1.17, PAPER);
                square(0.9, INK);
            }
            Mark::Open => {
                square(0.9, INK);
                square(0.495, PAPER);
            }
            Mark::Cross => {
                for s in [1.0, -1.0] {
                    sheet.line(vec![(x - 1.0, y - s), (x + 1.0, y + s)], Pen::solid(PEAK, 0.5));
                }
            }
        }
    }
}
