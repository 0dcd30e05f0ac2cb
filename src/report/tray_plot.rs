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
    let [lo, hi] = lay::ends(values.filter(|v| v.is_finite()))?;
    let room = (0.12 * (hi - lo)).max(0.01 * hi.abs()).max(1e-6);
    Some([lo - room, hi + room])
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
    let read = t.standing().filter_map(|e| Some((e, e.f0_hz?.value / 1e3, e.q?.value)));
    let read: Vec<(&Entry, f64, f64)> = read.collect();
    let around = |v: f64, allow: f64| [v * (-allow).exp(), v * allow.exp()];
    let limits = t.standard.as_ref();
    let limits = limits.map(|s| (around(s.f0.hz / 1e3, s.f0.allow), around(s.q.value, s.q.allow)));
    let f = span(read.iter().map(|r| r.1).chain(limits.iter().flat_map(|l| l.0)));
    let q = span(read.iter().map(|r| r.2).chain(limits.iter().flat_map(|l| l.1)));
    let (Some(f), Some(q)) = (f, q) else {
        lay::nothing(&mut sheet, 50.0, "No reading in this lot");
        return sheet.render();
    };
    let [first, last] = lay::ends(t.standing().map(|e| f64::from(e.number))).unwrap_or([1.0; 2]);
    let order = [first - 0.8, last + 0.8];
    let left = Panel::new([15.0, MIDDLE], [TOP, BOTTOM], f, q);
    let right = Panel::new([MIDDLE + 15.0, RIGHT], [TOP, BOTTOM], order, f);
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
