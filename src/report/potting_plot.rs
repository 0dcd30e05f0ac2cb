//! The plot of a pot-load: each pickup's change in f0 with its interval, and the limit within which it is none.

use super::axis;
use super::lay::{self, HEIGHT, LEFT, RIGHT, SMALL, WIDTH};
use super::palette::{BAND, GRID, INK, PAPER, PEAK, SOFT};
use super::sheet::Plot;
use super::sheet::{Anchor, Pen, Point, Sheet, Type, fitted};
use super::words;
use crate::failure::Result;
use crate::shop::wax::document::{Pair, PotVerdict, PottingDocument};

const TOP: f64 = 15.0;
const BOTTOM: f64 = 90.0;
/// More names cannot be read.
const MOST_NAMES: usize = 16;

/// Of one pickup: the change in f0 in percent, and the half-width of its 95 % interval.
type Drawn<'a> = (&'a Pair, f64, f64);

pub fn pairs(d: &PottingDocument) -> Result<Plot> {
    let title = format!("Change in f0 of {} pickups in the wax", d.pairs.len());
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title);
    let remark =
        "bars: 95 %, the rig's days counted in; shaded: unchanged; squares as wax does, crosses to be looked at";
    lay::heading(&mut sheet, &title, remark, d.simulated);
    let change = |p| -> Option<Drawn> {
        let p: &Pair = p;
        let (before, e) = (p.f0_before_hz?, p.f0_hz?);
        Some((p, 100.0 * e.value / before, 100.0 * e.half_width_95() / before))
    };
    let drawn: Vec<Drawn> = d.pairs.iter().filter_map(change).collect();
    let limit = 100.0 * d.limits.f0;
    let reach = drawn.iter().map(|(_, v, h)| v.abs() + h).fold(1.3 * limit, f64::max) * 1.05;
    let y = |v: f64| (TOP + BOTTOM) / 2.0 - v / reach * (BOTTOM - TOP) / 2.0;
    sheet.area(rectangle([LEFT, RIGHT], [y(limit), y(-limit)]), BAND);
    for (v, label) in axis::ticks(-reach, reach, axis::round_step(2.0 * reach, 8.0)) {
        sheet.line(vec![(LEFT, y(v)), (RIGHT, y(v))], Pen::solid(GRID, 0.2));
        let at = (LEFT - 1.2, y(v) + 0.36 * SMALL);
        sheet.text(at, &label, Type::new(SMALL, INK, Anchor::Right));
    }
    let step = (RIGHT - LEFT) / drawn.len().max(1) as f64;
    for (i, (p, v, half)) in drawn.iter().enumerate() {
        let x = LEFT + (i as f64 + 0.5) * step;
        sheet.line(vec![(x, y(v - half)), (x, y(v + half))], Pen::solid(INK, 0.3));
        mark(&mut sheet, p.verdict, (x, y(*v)));
        if drawn.len() <= MOST_NAMES {
            let name = fitted(&words::clean(&p.pickup), SMALL, step - 1.0);
            sheet.text((x, BOTTOM + 4.0), &name, Type::new(SMALL, INK, Anchor::Centre));
        }
    }
    let mut frame = rectangle([LEFT, RIGHT], [TOP, BOTTOM]);
    frame.push((LEFT, TOP));
    sheet.line(frame, Pen::solid(SOFT, 0.3));
    let at = (LEFT + 1.5, TOP + 3.4);
    sheet.text(at, "change in f0 (%)", Type::new(SMALL, INK, Anchor::Left));
    sheet.render()
}

fn rectangle([left, right]: [f64; 2], [top, bottom]: [f64; 2]) -> Vec<Point> {
    vec![(left, top), (right, top), (right, bottom), (left, bottom)]
}

fn mark(sheet: &mut Sheet, verdict: PotVerdict, (x, y): Point) {
    let square = |r: f64| rectangle([x - r, x + r], [y - r, y + r]);
    match verdict {
        PotVerdict::Other => {
            for s in [1.2, -1.2] {
                sheet.line(vec![(x - 1.2, y - s), (x + 1.2, y + s)], Pen::solid(PEAK, 0.6));
            }
        }
        PotVerdict::Wax => sheet.area(square(1.0), INK),
        PotVerdict::Unchanged | PotVerdict::CannotTell | PotVerdict::Warm => {
            sheet.area(square(1.0), INK);
            sheet.area(square(0.6), PAPER);
        }
    }
}
