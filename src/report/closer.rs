//! Below many curves in one field: what each is less the first, and their peaks from near.

use super::axis;
use super::chart::Panel;
use super::lay::{self, Item, LEFT, RIGHT, soft};
use super::palette::series;
use super::sheet::{Anchor, Point, Sheet};

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

/// `bottom`: of the field above; the first of `all` is what the others are held against.
pub fn draw(sheet: &mut Sheet, all: &[Item], bottom: f64) {
    let top = bottom + AROUND;
    differences(sheet, all, [top, top + FIELD]);
    let top = top + FIELD + AROUND;
    peaks(sheet, all, [top, top + FIELD]);
}

fn title(sheet: &mut Sheet, top: f64, text: &str) {
    sheet.text((LEFT, top - 1.6), text, soft(Anchor::Left));
}

fn less(line: &[(f64, f64)], first: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let inside = line.iter().filter(|p| axis::shown(p.0));
    let parts = lay::unbroken(first.to_vec(), |p| p.0);
    let first_at = |hz: f64| parts.iter().find_map(|part| lay::interpolate(part, hz));
    inside.filter_map(|(hz, v)| Some((*hz, v - first_at(*hz)?))).collect()
}

fn differences(sheet: &mut Sheet, all: &[Item], [top, bottom]: [f64; 2]) {
    let drawn: Vec<_> = all.iter().skip(1).map(|t| less(&t.line, &all[0].line)).collect();
    let told = drawn.iter().flatten().filter(|p| p.0 <= TOLD_HZ);
    let reach = told.map(|p| p.1.abs()).fold(0.5, f64::max).min(MOST_DB) * 1.08;
    let field = lay::field([top, bottom], [-reach, reach]);
    title(sheet, top, "each less the first");
    lay::grid(sheet, &field, axis::round_step(2.0 * reach, 6.0));
    for (i, line) in drawn.into_iter().enumerate() {
        lay::curve(sheet, &field, line, series(i + 1).0);
    }
    lay::framed(sheet, &field, "difference (dB)");
}

/// The peaks with kilohertz to the right; nothing where none has one.
fn near(all: &[Item], heights: [f64; 2]) -> Option<Panel> {
    let peaks = || all.iter().filter_map(|t| t.peak);
    let [slow, fast] = lay::ends(peaks().map(|p| p.0))?;
    let [low, high] = lay::ends(peaks().map(|p| p.1))?;
    let y = [low - BELOW_DB, high + 0.12 * (high - low + BELOW_DB)];
    Some(Panel::new(
        [LEFT, RIGHT],
        heights,
        [0.9 * slow / 1e3, 1.1 * fast / 1e3],
        y,
    ))
}

fn peaks(sheet: &mut Sheet, all: &[Item], heights: [f64; 2]) {
    title(sheet, heights[0], "the peaks from near");
    let Some(panel) = near(all, heights) else {
        return lay::nothing(sheet, (heights[0] + heights[1]) / 2.0, "None of them has a peak");
    };
    panel.upwards(sheet, 5.0);
    panel.onwards(sheet, "frequency (kHz)");
    let at = |p: &(f64, f64)| panel.at(p.0 / 1e3, p.1);
    let frame = lay::field(heights, panel.y);
    for (i, t) in all.iter().enumerate() {
        for part in lay::unbroken(t.line.clone(), |p| p.0) {
            let placed: Vec<Point> = part.iter().map(at).collect();
            let parts = frame.clip(&placed).into_iter();
            parts.for_each(|part| sheet.line(part, series(i).0));
        }
    }
    panel.frame(sheet);
    for (i, t) in all.iter().enumerate() {
        let (pen, marker) = series(i);
        t.peak.iter().for_each(|p| marker.draw(sheet, at(p), 1.05, pen.colour));
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
        let seen = |peak| Item {
            peak,
            ..Item::default()
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
