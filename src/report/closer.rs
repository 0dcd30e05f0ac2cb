//! Below many curves in one field: what each is less the first, and their peaks from near.

use super::axis::{self, Field, HIGH_HZ, LOW_HZ};
use super::chart::Panel;
use super::lay::{self, LEFT, RIGHT, SMALL};
use super::palette::{Marker, SOFT, series};
use super::sheet::{Anchor, Pen, Point, Sheet, Type};

/// Height of one of the two fields, and of what stands above and below it.
const FIELD: f64 = 30.0;
const AROUND: f64 = 13.0;
/// What they add to a sheet.
pub const BOTH: f64 = 2.0 * (FIELD + AROUND);
/// Beyond this only the direction matters.
const MOST_DB: f64 = 12.0;
/// Above this what a pickup does is its noise's as much as its own.
const TOLD_HZ: f64 = 10_000.0;
/// How far below the lowest peak the look from near goes.
const BELOW_DB: f64 = 3.0;

/// A curve, its place among the others, and its peak.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    pub index: usize,
    pub line: &'a [(f64, f64)],
    pub peak: Option<(f64, f64)>,
}

/// `bottom`: of the field above; the first of `all` is what the others are held against.
pub fn draw(sheet: &mut Sheet, all: &[Seen], bottom: f64) {
    let top = bottom + AROUND;
    differences(sheet, all, [top, top + FIELD]);
    let top = top + FIELD + AROUND;
    peaks(sheet, all, [top, top + FIELD]);
}

fn title(sheet: &mut Sheet, top: f64, text: &str) {
    sheet.text((LEFT, top - 1.6), text, Type::new(SMALL, SOFT, Anchor::Left));
}

fn less(line: &[(f64, f64)], first: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let inside = line.iter().filter(|p| (LOW_HZ..=HIGH_HZ).contains(&p.0));
    let parts = lay::unbroken(first.to_vec(), |p| p.0);
    let first_at = |hz: f64| parts.iter().find_map(|part| lay::interpolate(part, hz));
    inside.filter_map(|(hz, v)| Some((*hz, v - first_at(*hz)?))).collect()
}

fn differences(sheet: &mut Sheet, all: &[Seen], [top, bottom]: [f64; 2]) {
    let Some((first, others)) = all.split_first() else {
        return;
    };
    let drawn: Vec<(usize, Vec<(f64, f64)>)> = others.iter().map(|s| (s.index, less(s.line, first.line))).collect();
    let told = drawn.iter().flat_map(|d| &d.1).filter(|p| p.0 <= TOLD_HZ);
    let reach = told.map(|p| p.1.abs()).fold(0.5, f64::max).min(MOST_DB) * 1.08;
    let field = lay::field([top, bottom], [-reach, reach]);
    title(sheet, top, "each less the first");
    lay::grid(sheet, &field, axis::round_step(2.0 * reach, 6.0));
    for (index, line) in &drawn {
        lay::curve(sheet, &field, line.iter().copied(), series(*index).0);
    }
    lay::framed(sheet, &field, "difference (dB)");
}

/// The peaks with kilohertz to the right; nothing where none has one.
fn near(all: &[Seen], [top, bottom]: [f64; 2]) -> Option<Panel> {
    let peaks = || all.iter().filter_map(|s| s.peak);
    let ends = |of: fn((f64, f64)) -> f64| {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for v in peaks().map(of) {
            low = low.min(v);
            high = high.max(v);
        }
        (low <= high).then_some([low, high])
    };
    let ([slow, fast], [low, high]) = (ends(|p| p.0)?, ends(|p| p.1)?);
    Some(Panel {
        left: LEFT,
        right: RIGHT,
        top,
        bottom,
        x: [0.9 * slow / 1e3, 1.1 * fast / 1e3],
        y: [low - BELOW_DB, high + 0.12 * (high - low + BELOW_DB)],
    })
}

fn peaks(sheet: &mut Sheet, all: &[Seen], heights: [f64; 2]) {
    title(sheet, heights[0], "the peaks from near");
    let Some(panel) = near(all, heights) else {
        return lay::nothing(sheet, (heights[0] + heights[1]) / 2.0, "None of them has a peak");
    };
    panel.upwards(sheet, 5.0);
    panel.onwards(sheet, "frequency (kHz)");
    let at = |p: &(f64, f64)| panel.at(p.0 / 1e3, p.1);
    let frame = Field {
        left: panel.left,
        right: panel.right,
        top: panel.top,
        bottom: panel.bottom,
        low: panel.y[0],
        high: panel.y[1],
    };
    for s in all {
        let pen: Pen = series(s.index).0;
        for part in lay::unbroken(s.line.to_vec(), |p| p.0) {
            let placed: Vec<Point> = part.iter().map(at).collect();
            frame.clip(&placed).into_iter().for_each(|part| sheet.line(part, pen));
        }
    }
    panel.frame(sheet);
    for s in all {
        let (pen, marker): (Pen, Marker) = series(s.index);
        if let Some(p) = s.peak.as_ref() {
            marker.draw(sheet, at(p), 1.05, pen.colour);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_drawn_is_the_difference() {
        let first = [(100.0, 0.0), (400.0, 2.0), (1600.0, -2.0)];
        let other = [(50.0, 9.0), (200.0, 2.0), (400.0, 1.0), (3200.0, 0.0)];
        // Half way up the octaves from 100 to 400 Hz the first is at 1 dB; outside of it nothing can be told.
        let found = less(&other, &first);
        assert_eq!(found.len(), 2);
        assert!(
            (found[0].1 - 1.0).abs() < 1e-12 && found[1] == (400.0, -1.0),
            "{found:?}"
        );
    }

    #[test]
    fn nothing_is_told_across_a_hole() {
        let first: Vec<(f64, f64)> = (0..60).map(|i| (100.0 * 1.05f64.powi(i), 1.0)).collect();
        let (from, to) = (first[20].0, first[40].0);
        let holed: Vec<(f64, f64)> = first.iter().copied().filter(|p| p.0 <= from || p.0 >= to).collect();
        let many = [
            holed.clone(),
            (60..80).map(|i| (100.0 * 1.05f64.powi(i), 1.0)).collect(),
        ]
        .concat();
        let told = less(&first, &many);
        assert!(told.iter().all(|p| p.0 <= from || p.0 >= to), "{told:?}");
        assert!(told.len() > 35, "{}", told.len());
    }

    #[test]
    fn every_peak_is_in_the_look_from_near() {
        let seen = |peak| Seen {
            index: 0,
            line: &[],
            peak,
        };
        let all = [seen(Some((3000.0, 6.0))), seen(None), seen(Some((4400.0, 9.5)))];
        let p = near(&all, [10.0, 40.0]).unwrap();
        for (hz, db) in all.iter().filter_map(|s| s.peak) {
            let at = p.at(hz / 1e3, db);
            assert!(
                (p.left + 5.0..p.right - 5.0).contains(&at.0) && (10.0..40.0).contains(&at.1),
                "{at:?}"
            );
        }
        assert!(near(&[seen(None)], [10.0, 40.0]).is_none());
    }
}
