//! The plot of a pot-load: each pickup's change in f0 with its interval, and the limit within which it is none.

use super::axis;
use super::palette::{BAND, GRID, INK, PAPER, PEAK, SOFT};
use super::plot::{self, EDGE, HEIGHT, LEFT, MARGIN, Plot, RIGHT, SMALL, WIDTH};
use super::sheet::{Anchor, Pen, Sheet, Type, fitted};
use super::words;
use crate::failure::Result;
use crate::shop::wax::{Pair, PotVerdict, PottingDocument};

const TOP: f64 = 15.0;
const BOTTOM: f64 = 90.0;
/// More names cannot be read.
const MOST_NAMES: usize = 16;

pub fn pairs(d: &PottingDocument) -> Result<Plot> {
    let title = format!("Change in f0 of {} pickups in the wax", d.pairs.len());
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title);
    let mut room = EDGE - MARGIN;
    if d.simulated {
        room -= plot::simulated_stamp(&mut sheet);
    }
    sheet.text(
        (MARGIN, 6.6),
        &fitted(&title, 3.6, room),
        Type::new(3.6, INK, Anchor::Left),
    );
    let remark =
        "bars: 95 %, the rig's days counted in; shaded: unchanged; squares as wax does, crosses to be looked at";
    sheet.text(
        (MARGIN, 11.0),
        &fitted(remark, SMALL, EDGE - MARGIN),
        Type::new(SMALL, SOFT, Anchor::Left),
    );
    let change = |p: &Pair| {
        let before = p.f0_before_hz?;
        let e = p.f0_hz?;
        Some((100.0 * e.value / before, 100.0 * d.coverage * e.u / before))
    };
    let drawn: Vec<(&Pair, (f64, f64))> = d.pairs.iter().filter_map(|p| Some((p, change(p)?))).collect();
    let limit = 100.0 * d.limits.f0;
    let reach = drawn.iter().map(|(_, (v, h))| v.abs() + h).fold(1.3 * limit, f64::max) * 1.05;
    let y = |v: f64| (TOP + BOTTOM) / 2.0 - v / reach * (BOTTOM - TOP) / 2.0;
    sheet.area(
        vec![
            (LEFT, y(limit)),
            (RIGHT, y(limit)),
            (RIGHT, y(-limit)),
            (LEFT, y(-limit)),
        ],
        BAND,
    );
    for (v, label) in axis::ticks(-reach, reach, axis::round_step(2.0 * reach, 8.0)) {
        sheet.line(vec![(LEFT, y(v)), (RIGHT, y(v))], Pen::solid(GRID, 0.2));
        sheet.text(
            (LEFT - 1.2, y(v) + 0.36 * SMALL),
            &label,
            Type::new(SMALL, INK, Anchor::Right),
        );
    }
    let step = (RIGHT - LEFT) / drawn.len().max(1) as f64;
    for (i, (p, (v, half))) in drawn.iter().enumerate() {
        let x = LEFT + (i as f64 + 0.5) * step;
        sheet.line(vec![(x, y(v - half)), (x, y(v + half))], Pen::solid(INK, 0.3));
        let square = |r: f64| {
            vec![
                (x - r, y(*v) - r),
                (x + r, y(*v) - r),
                (x + r, y(*v) + r),
                (x - r, y(*v) + r),
            ]
        };
        match p.verdict {
            PotVerdict::Other => {
                for s in [[(-1.2, -1.2), (1.2, 1.2)], [(-1.2, 1.2), (1.2, -1.2)]] {
                    sheet.line(s.map(|d| (x + d.0, y(*v) + d.1)).to_vec(), Pen::solid(PEAK, 0.6));
                }
            }
            PotVerdict::Wax => sheet.area(square(1.0), INK),
            _ => {
                sheet.area(square(1.0), INK);
                sheet.area(square(0.6), PAPER);
            }
        }
        if drawn.len() <= MOST_NAMES {
            let name = fitted(&words::clean(&p.pickup), SMALL, step - 1.0);
            sheet.text((x, BOTTOM + 4.0), &name, Type::new(SMALL, INK, Anchor::Centre));
        }
    }
    sheet.line(
        vec![(LEFT, TOP), (RIGHT, TOP), (RIGHT, BOTTOM), (LEFT, BOTTOM), (LEFT, TOP)],
        Pen::solid(SOFT, 0.3),
    );
    sheet.text(
        (LEFT + 1.5, TOP + 3.4),
        "change in f0 (%)",
        Type::new(SMALL, INK, Anchor::Left),
    );
    sheet.render()
}
