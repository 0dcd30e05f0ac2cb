//! The plot of a rig's checks: f0, Q and level along the checks, with the limits of single values.

use super::axis;
use super::palette::{BAND, GRID, INK, PAPER, PEAK, SOFT};
use super::plot::{self, EDGE, HEIGHT, LEFT, MARGIN, Plot, RIGHT, SMALL, WIDTH};
use super::sheet::{Anchor, Pen, Point, Sheet, Type, fitted};
use super::words;
use crate::failure::Result;
use crate::shop::witness::history::{BASELINE, Check, History, Quantity};
use crate::shop::witness::warmth::Warmth;
use crate::stats::chart::Individuals;

/// More than these would be dots on dots.
const MOST: usize = 80;
const TOP: f64 = 15.0;
const BOTTOM: f64 = 97.0;

/// The last checks of a history.
pub fn history(h: &History) -> Result<Plot> {
    let title = format!("Checks of {} by {}", words::clean(&h.rig), words::clean(&h.witness));
    let mut sheet = Sheet::new(WIDTH, HEIGHT, &title);
    let mut room = EDGE - MARGIN;
    if h.checks.iter().any(|c| c.simulated) {
        room -= plot::simulated_stamp(&mut sheet);
    }
    sheet.text(
        (MARGIN, 6.6),
        &fitted(&title, 3.6, room),
        Type::new(3.6, INK, Anchor::Left),
    );
    let good = h.checks.iter().filter(|c| c.go).count();
    let remark = if good >= BASELINE {
        format!("shaded: three sigmas about the first {BASELINE} good checks; crosses: no-go")
    } else {
        format!("{good} of the {BASELINE} good checks that make a baseline")
    };
    sheet.text(
        (MARGIN, 11.0),
        &fitted(&remark, SMALL, EDGE - MARGIN),
        Type::new(SMALL, SOFT, Anchor::Left),
    );
    let shown = &h.checks[h.checks.len().saturating_sub(MOST)..];
    let base: Vec<&Check> = h.checks.iter().filter(|c| c.go).take(BASELINE).collect();
    let panels = [
        (Quantity::F0, "f0 (%)", 100.0),
        (Quantity::Q, "Q (%)", 100.0),
        (Quantity::Level, "level (dB)", 1.0),
    ];
    let height = (BOTTOM - TOP) / panels.len() as f64;
    for (i, (kind, name, scale)) in panels.into_iter().enumerate() {
        let top = TOP + i as f64 * height;
        panel(&mut sheet, (top, top + height - 3.0), kind, name, scale, shown, &base);
    }
    sheet.text(
        ((LEFT + RIGHT) / 2.0, f64::from(HEIGHT) - 3.0),
        &format!("the last {} checks, oldest on the left", shown.len()),
        Type::new(SMALL, INK, Anchor::Centre),
    );
    sheet.render()
}

fn panel(
    sheet: &mut Sheet,
    (top, bottom): (f64, f64),
    kind: Quantity,
    name: &str,
    scale: f64,
    shown: &[Check],
    base: &[&Check],
) {
    // As it is judged: what the room's warmth does to Q is taken off.
    let warmth = Warmth::of(base).filter(|_| kind == Quantity::Q && base.len() >= BASELINE);
    let of = |c: &Check| match &warmth {
        Some(w) => Some(w.freed(c)),
        None => kind.of(c),
    };
    let values: Vec<f64> = base.iter().filter_map(|c| of(c)).collect();
    let chart = Individuals::of(&values);
    let centre = chart.map(|c| c.centre).or_else(|| shown.first().and_then(of));
    let Some(centre) = centre else {
        sheet.text(
            (LEFT, (top + bottom) / 2.0),
            &format!("{name}: not known"),
            Type::new(SMALL, SOFT, Anchor::Left),
        );
        return;
    };
    let half = chart.filter(|c| c.n >= BASELINE).map(|c| 3.0 * c.sigma * scale);
    let off = |c: &Check| of(c).map(|v| scale * (v - centre));
    let reach = shown
        .iter()
        .filter_map(off)
        .map(f64::abs)
        .fold(half.unwrap_or(0.0), f64::max)
        .max(1e-6)
        * 1.15;
    let y = |v: f64| (top + bottom) / 2.0 - v / reach * (bottom - top) / 2.0;
    let x = |i: usize| {
        let n = shown.len().max(2) - 1;
        LEFT + 2.0 + (RIGHT - LEFT - 4.0) * i as f64 / n as f64
    };
    if let Some(h) = half {
        sheet.area(vec![(LEFT, y(h)), (RIGHT, y(h)), (RIGHT, y(-h)), (LEFT, y(-h))], BAND);
    }
    let step = axis::round_step(2.0 * reach, 4.0);
    for (v, label) in axis::ticks(-reach, reach, step) {
        sheet.line(vec![(LEFT, y(v)), (RIGHT, y(v))], Pen::solid(GRID, 0.2));
        sheet.text(
            (LEFT - 1.2, y(v) + 0.36 * SMALL),
            &label,
            Type::new(SMALL, INK, Anchor::Right),
        );
    }
    let points: Vec<Option<Point>> = shown
        .iter()
        .enumerate()
        .map(|(i, c)| off(c).map(|v| (x(i), y(v))))
        .collect();
    sheet.line(points.iter().flatten().copied().collect(), Pen::solid(SOFT, 0.2));
    for (c, p) in shown.iter().zip(&points) {
        let Some(p) = *p else { continue };
        let r = 0.8;
        if c.go {
            let square = |r: f64| {
                vec![
                    (p.0 - r, p.1 - r),
                    (p.0 + r, p.1 - r),
                    (p.0 + r, p.1 + r),
                    (p.0 - r, p.1 + r),
                ]
            };
            sheet.area(square(r), PAPER);
            sheet.area(square(0.7 * r), INK);
        } else {
            for s in [[(-1.0, -1.0), (1.0, 1.0)], [(-1.0, 1.0), (1.0, -1.0)]] {
                let line = s.map(|d| (p.0 + 1.3 * r * d.0, p.1 + 1.3 * r * d.1)).to_vec();
                sheet.line(line, Pen::solid(PEAK, 0.5));
            }
        }
    }
    sheet.line(
        vec![(LEFT, top), (RIGHT, top), (RIGHT, bottom), (LEFT, bottom), (LEFT, top)],
        Pen::solid(SOFT, 0.3),
    );
    sheet.text((LEFT + 1.5, top + 3.4), name, Type::new(SMALL, INK, Anchor::Left));
}
