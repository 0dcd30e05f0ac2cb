//! The plot of a lot: f0 against Q with the standard's box, and f0 in the order of making.

use super::axis;
use super::palette::{BAND, GRID, INK, PAPER, PEAK, SOFT};
use super::plot::{self, EDGE, HEIGHT, MARGIN, Plot, RIGHT, SMALL, WIDTH};
use super::sheet::{Anchor, Pen, Point, Sheet, Type, fitted};
use super::words;
use crate::failure::Result;
use crate::shop::lot::{Entry, Tray};
use crate::shop::standard::Call;

/// A field with two linear axes.
struct Panel {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    x: [f64; 2],
    y: [f64; 2],
}

impl Panel {
    fn at(&self, x: f64, y: f64) -> Point {
        (
            self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left),
            self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top),
        )
    }

    fn axes(&self, sheet: &mut Sheet, across: Option<&str>, up: &str) {
        for (v, label) in axis::ticks(self.y[0], self.y[1], axis::round_step(self.y[1] - self.y[0], 6.0)) {
            let y = self.at(self.x[0], v).1;
            sheet.line(vec![(self.left, y), (self.right, y)], Pen::solid(GRID, 0.2));
            sheet.text(
                (self.left - 1.2, y + 0.36 * SMALL),
                label.trim_start_matches('+'),
                Type::new(SMALL, INK, Anchor::Right),
            );
        }
        if let Some(name) = across {
            for (v, label) in axis::ticks(self.x[0], self.x[1], axis::round_step(self.x[1] - self.x[0], 5.0)) {
                let x = self.at(v, self.y[0]).0;
                sheet.line(vec![(x, self.top), (x, self.bottom)], Pen::solid(GRID, 0.2));
                sheet.text(
                    (x, self.bottom + 3.6),
                    label.trim_start_matches('+'),
                    Type::new(SMALL, INK, Anchor::Centre),
                );
            }
            sheet.text(
                ((self.left + self.right) / 2.0, self.bottom + 7.4),
                name,
                Type::new(SMALL, INK, Anchor::Centre),
            );
        }
        sheet.text((self.left, self.top - 1.4), up, Type::new(SMALL, INK, Anchor::Left));
        let frame = [
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
            (self.left, self.top),
        ];
        sheet.line(frame.to_vec(), Pen::solid(SOFT, 0.3));
    }
}

/// From the smallest to the largest, with room around; never nothing.
fn span(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
    for v in values.filter(|v| v.is_finite()) {
        lo = lo.min(v);
        hi = hi.max(v);
    }
    (lo <= hi).then(|| {
        let room = (0.12 * (hi - lo)).max(0.01 * hi.abs()).max(1e-6);
        [lo - room, hi + room]
    })
}

pub fn lot(t: &Tray) -> Result<Plot> {
    let title = format!("Lot {}", words::clean(&t.lot));
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title);
    let mut room = EDGE - MARGIN;
    if t.standing().any(|e| e.simulated) {
        room -= plot::simulated_stamp(&mut sheet);
    }
    sheet.text(
        (MARGIN, 6.6),
        &fitted(&title, 3.6, room),
        Type::new(3.6, INK, Anchor::Left),
    );
    let remark = match &t.standard {
        Some(s) => format!(
            "shaded: {}, version {}; open: cannot tell, kept, or to be measured again; crosses: outside",
            words::clean(&s.name),
            s.version
        ),
        None => "no standard".into(),
    };
    sheet.text(
        (MARGIN, 11.0),
        &fitted(&remark, SMALL, room),
        Type::new(SMALL, SOFT, Anchor::Left),
    );
    let read: Vec<(&Entry, f64, f64)> = t
        .standing()
        .filter_map(|e| Some((e, e.f0_hz?.value / 1e3, e.q?.value)))
        .collect();
    let limits = t.standard.as_ref().map(|s| {
        let f = [s.f0.hz * (-s.f0.allow).exp() / 1e3, s.f0.hz * s.f0.allow.exp() / 1e3];
        (f, [s.q.value * (-s.q.allow).exp(), s.q.value * s.q.allow.exp()])
    });
    let f = span(read.iter().map(|r| r.1).chain(limits.iter().flat_map(|l| l.0)));
    let q = span(read.iter().map(|r| r.2).chain(limits.iter().flat_map(|l| l.1)));
    let (Some(f), Some(q)) = (f, q) else {
        sheet.text(
            (f64::from(WIDTH) / 2.0, 50.0),
            "No reading in this lot",
            Type::new(SMALL * 1.2, INK, Anchor::Centre),
        );
        return sheet.render();
    };
    let middle = 74.0;
    let left = Panel {
        left: 15.0,
        right: middle,
        top: 19.0,
        bottom: 92.0,
        x: f,
        y: q,
    };
    let last = t.standing().map(|e| e.number).max().unwrap_or(1);
    let first = t.standing().map(|e| e.number).min().unwrap_or(1);
    let order = [f64::from(first) - 0.8, f64::from(last) + 0.8];
    let right = Panel {
        left: middle + 15.0,
        right: RIGHT,
        top: 19.0,
        bottom: 92.0,
        x: order,
        y: f,
    };
    if let Some((a, b)) = limits {
        let corners = |p: &Panel, x: [f64; 2], y: [f64; 2]| {
            vec![p.at(x[0], y[0]), p.at(x[1], y[0]), p.at(x[1], y[1]), p.at(x[0], y[1])]
        };
        sheet.area(corners(&left, a, b), BAND);
        sheet.area(corners(&right, order, a), BAND);
    }
    left.axes(&mut sheet, Some("f0 (kHz)"), "Q");
    right.axes(&mut sheet, Some("number, in order of making"), "f0 (kHz)");
    for (e, f0, q) in &read {
        mark(&mut sheet, e, left.at(*f0, *q));
        mark(&mut sheet, e, right.at(f64::from(e.number), *f0));
    }
    sheet.render()
}

fn mark(sheet: &mut Sheet, e: &Entry, at: Point) {
    let r = 0.9;
    let square = |r: f64| {
        vec![
            (at.0 - r, at.1 - r),
            (at.0 + r, at.1 - r),
            (at.0 + r, at.1 + r),
            (at.0 - r, at.1 + r),
        ]
    };
    match e.judged.as_ref().map(|j| j.call) {
        Some(Call::Outside) => {
            for s in [[(-1.0, -1.0), (1.0, 1.0)], [(-1.0, 1.0), (1.0, -1.0)]] {
                sheet.line(s.map(|d| (at.0 + d.0, at.1 + d.1)).to_vec(), Pen::solid(PEAK, 0.5));
            }
        }
        Some(Call::CannotTell | Call::MeasureAgain | Call::Kept) => {
            sheet.area(square(r), INK);
            sheet.area(square(0.55 * r), PAPER);
        }
        _ => {
            sheet.area(square(1.3 * r), PAPER);
            sheet.area(square(r), INK);
        }
    }
}
