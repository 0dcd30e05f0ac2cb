//! What the charts of a shop share: a head, a box with linear axes, and marks.

use super::axis;
use super::lay::{self, HEIGHT, LEFT, RIGHT, SMALL, WIDTH, small};
use super::palette::{GRID, INK, PAPER, PEAK, SOFT};
use super::sheet::{Anchor, Pen, Point, Sheet, rectangle};

/// A sheet with its title and a remark, and the stamp of what is simulated.
pub fn sheet(title: &str, remark: &str, simulated: bool) -> Sheet {
    let mut sheet = Sheet::new(WIDTH, HEIGHT, title);
    lay::heading(&mut sheet, title, remark, simulated);
    sheet
}

/// A box with two linear axes.
#[derive(Debug, Clone, Copy)]
pub struct Panel {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub x: [f64; 2],
    pub y: [f64; 2],
}

impl Panel {
    pub fn new([left, right]: [f64; 2], [top, bottom]: [f64; 2], x: [f64; 2], y: [f64; 2]) -> Panel {
        Panel {
            left,
            right,
            top,
            bottom,
            x,
            y,
        }
    }

    /// Over the whole width, nought in the middle; `steps` from left to right.
    pub fn of_changes(heights: [f64; 2], steps: usize, reach: f64) -> Panel {
        Panel::new([LEFT, RIGHT], heights, [0.0, steps.max(1) as f64], [-reach, reach])
    }

    pub fn at(&self, x: f64, y: f64) -> Point {
        (
            self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left),
            self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top),
        )
    }

    /// The corners of what lies between these values.
    pub fn corners(&self, x: [f64; 2], y: [f64; 2]) -> Vec<Point> {
        let ((left, bottom), (right, top)) = (self.at(x[0], y[0]), self.at(x[1], y[1]));
        rectangle([left, right], [bottom, top])
    }

    /// A line at one value, all across.
    pub fn across(&self, sheet: &mut Sheet, v: f64, pen: Pen) {
        sheet.line(self.x.map(|x| self.at(x, v)).to_vec(), pen);
    }

    /// At most so many steps upwards, with their values; signs where there are both.
    pub fn upwards(&self, sheet: &mut Sheet, most: f64) {
        for (v, label) in ticks(self.y, most) {
            self.across(sheet, v, Pen::solid(GRID, 0.2));
            let label = label.trim_start_matches(|c| c == '+' && self.y[0] >= 0.0);
            let place = (self.left - 1.2, self.at(self.x[0], v).1 + 0.36 * SMALL);
            sheet.text(place, label, small(Anchor::Right));
        }
    }

    /// What runs to the right, with its values.
    pub fn onwards(&self, sheet: &mut Sheet, name: &str) {
        let kind = small(Anchor::Centre);
        for (v, label) in ticks(self.x, 5.0) {
            let (from, to) = (self.at(v, self.y[1]), self.at(v, self.y[0]));
            sheet.line(vec![from, to], Pen::solid(GRID, 0.2));
            sheet.text((from.0, self.bottom + 3.6), label.trim_start_matches('+'), kind);
        }
        sheet.text(((self.left + self.right) / 2.0, self.bottom + 7.4), name, kind);
    }

    pub fn frame(&self, sheet: &mut Sheet) {
        sheet.outline(self.corners(self.x, self.y), Pen::solid(SOFT, 0.3));
    }

    /// What goes upwards, in the box's upper corner.
    pub fn name(&self, sheet: &mut Sheet, name: &str) {
        sheet.text((self.left + 1.5, self.top + 3.4), name, small(Anchor::Left));
    }
}

fn ticks([low, high]: [f64; 2], most: f64) -> Vec<(f64, String)> {
    axis::ticks(low, high, axis::round_step(high - low, most))
}

/// How one is marked.
#[derive(Debug, Clone, Copy)]
pub enum Mark {
    Full,
    Open,
    Cross,
}

impl Mark {
    /// `r`: half its width.
    pub fn put(self, sheet: &mut Sheet, (x, y): Point, r: f64) {
        let mut square = |r: f64, colour| sheet.area(rectangle([x - r, x + r], [y - r, y + r]), colour);
        match self {
            Mark::Full => {
                square(1.3 * r, PAPER);
                square(r, INK);
            }
            Mark::Open => {
                square(r, INK);
                square(0.55 * r, PAPER);
            }
            Mark::Cross => {
                let r = 1.1 * r;
                for s in [r, -r] {
                    sheet.line(vec![(x - r, y - s), (x + r, y + s)], Pen::solid(PEAK, 0.5));
                }
            }
        }
    }
}
