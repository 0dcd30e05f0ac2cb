//! The plot of a lot: f0 against Q with the standard's box, and f0 in the order of making.

use super::chart::{self, Mark, Panel};
use super::lay::{self, RIGHT, small};
use super::palette::BAND;
use super::sheet::{Anchor, Plot};
use super::words;
use crate::failure::Result;
use crate::shop::lot::{Entry, Tray};
use crate::shop::standard::Call;

const TOP: f64 = 19.0;
const BOTTOM: f64 = 92.0;
const MIDDLE: f64 = 74.0;

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
    let remark = match &t.standard {
        Some(s) => format!(
            "shaded: {}, version {}; open: cannot tell, kept, or to be measured again; crosses: outside",
            words::clean(&s.name),
            s.version
        ),
        None => "no standard".into(),
    };
    let mut sheet = chart::sheet(&title, &remark, t.standing().any(|e| e.simulated));
    let read: Vec<(&Entry, f64, f64)> = t
        .standing()
        .filter_map(|e| Some((e, e.f0_hz?.value / 1e3, e.q?.value)))
        .collect();
    let around = |v: f64, allow: f64| [v * (-allow).exp(), v * allow.exp()];
    let limits = t
        .standard
        .as_ref()
        .map(|s| (around(s.f0.hz / 1e3, s.f0.allow), around(s.q.value, s.q.allow)));
    let f = span(read.iter().map(|r| r.1).chain(limits.iter().flat_map(|l| l.0)));
    let q = span(read.iter().map(|r| r.2).chain(limits.iter().flat_map(|l| l.1)));
    let (Some(f), Some(q)) = (f, q) else {
        lay::nothing(&mut sheet, 50.0, "No reading in this lot");
        return sheet.render();
    };
    let numbers = || t.standing().map(|e| e.number);
    let (first, last) = (numbers().min().unwrap_or(1), numbers().max().unwrap_or(1));
    let order = [f64::from(first) - 0.8, f64::from(last) + 0.8];
    let panel = |left, right, x, y| Panel {
        left,
        right,
        top: TOP,
        bottom: BOTTOM,
        x,
        y,
    };
    let left = panel(15.0, MIDDLE, f, q);
    let right = panel(MIDDLE + 15.0, RIGHT, order, f);
    if let Some((f0, q)) = limits {
        sheet.area(left.corners(f0, q), BAND);
        sheet.area(right.corners(order, f0), BAND);
    }
    let axes = [
        (&left, "f0 (kHz)", "Q"),
        (&right, "number, in order of making", "f0 (kHz)"),
    ];
    for (panel, across, up) in axes {
        panel.upwards(&mut sheet, 6.0);
        panel.onwards(&mut sheet, across);
        sheet.text((panel.left, panel.top - 1.4), up, small(Anchor::Left));
        panel.frame(&mut sheet);
    }
    for (e, f0, q) in &read {
        for at in [left.at(*f0, *q), right.at(f64::from(e.number), *f0)] {
            mark(e).put(&mut sheet, at, 0.9);
        }
    }
    sheet.render()
}

fn mark(e: &Entry) -> Mark {
    match e.judged.as_ref().map(|j| j.call) {
        Some(Call::Outside) => Mark::Cross,
        Some(Call::CannotTell | Call::MeasureAgain | Call::Kept) => Mark::Open,
        _ => Mark::Full,
    }
}
