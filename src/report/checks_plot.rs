//! The plot of a rig's checks: f0, Q and level along the checks, with the limits that the last one was judged by.

use super::chart::{self, Mark, Panel};
use super::lay::{EDGE, HEIGHT, LEFT, MARGIN, RIGHT, SMALL, small};
use super::palette::{BAND, PEAK, SOFT};
use super::sheet::{Anchor, Pen, Plot, Point, Sheet, Type, text_width};
use super::words;
use crate::failure::Result;
use crate::shop::witness::checks::{CheckDocument, QuantityFound};
use crate::shop::witness::history::{Check, History, Quantity};

/// More than these would be dots on dots.
const MOST: usize = 80;
/// Of so many the day is told.
const DAYS: usize = 5;
const DASH: &[f64] = &[1.5, 1.0];
const TOP: f64 = 15.0;
const BOTTOM: f64 = 97.0;

/// The last checks of a history, whose last one came to what the document says.
pub fn history(h: &History, d: &CheckDocument) -> Result<Plot> {
    let title = format!("Checks of {} by {}", words::clean(&h.rig), words::clean(&h.witness));
    let remark = match d.quantities.is_empty() {
        false => {
            "shaded: the limits of the last check; dashed: its average and that one's limits; crosses: no-go".to_owned()
        }
        true => "the first check".to_owned(),
    };
    let mut sheet = chart::sheet(&title, &remark, h.checks.iter().any(|c| c.simulated));
    let kinds = [
        (Quantity::F0, "f0", "f0 (%)", 100.0),
        (Quantity::Q, "q", "Q (%)", 100.0),
        (Quantity::Level, "level", "level (dB)", 1.0),
    ];
    let height = (BOTTOM - TOP) / kinds.len() as f64;
    let from = h.checks.len().saturating_sub(MOST);
    for (i, (kind, code, name, scale)) in kinds.into_iter().enumerate() {
        let top = TOP + i as f64 * height;
        let course = h
            .course(kind)
            .map(|c| c[from..].iter().map(|v| v.map(|v| scale * v)).collect());
        let limits = d.quantities.iter().find(|q| q.quantity == code);
        Course::new(course, limits, scale).draw(&mut sheet, [top, top + height - 3.0], name, &h.checks[from..]);
    }
    days(&mut sheet, &h.checks[from..]);
    sheet.render()
}

/// Some of them with their days, below the marks they belong to.
fn days(sheet: &mut Sheet, checks: &[Check]) {
    let last = checks.len().saturating_sub(1);
    let panel = inner(&Panel::of_changes([TOP, BOTTOM], last.max(1), 1.0));
    let mut told: Vec<usize> = (0..DAYS).map(|k| (k * last).div_ceil(DAYS - 1)).collect();
    told.dedup();
    for i in told {
        let day = checks.get(i).map(|c| words::when(&c.taken_at));
        let day = day.as_deref().and_then(|d| d.get(..10)).unwrap_or_default();
        let half = text_width(day, SMALL) / 2.0;
        let x = panel.at(i as f64, 0.0).0.clamp(MARGIN + half, EDGE - half);
        sheet.text((x, f64::from(HEIGHT) - 3.0), day, small(Anchor::Centre));
    }
}

/// Clear of the frame at both ends.
fn inner(panel: &Panel) -> Panel {
    Panel {
        left: LEFT + 2.0,
        right: RIGHT - 2.0,
        ..*panel
    }
}

/// One quantity, in the unit of its axis.
struct Course {
    /// Nothing where no check tells it.
    values: Option<Vec<Option<f64>>>,
    limit: Option<f64>,
    /// Moving average, and its limit.
    average: Option<(f64, f64)>,
}

impl Course {
    fn new(values: Option<Vec<Option<f64>>>, limits: Option<&QuantityFound>, scale: f64) -> Self {
        Course {
            values,
            limit: limits.map(|q| scale * q.limit),
            average: limits.and_then(|q| Some((scale * q.average_off?, scale * q.average_limit?))),
        }
    }

    fn draw(&self, sheet: &mut Sheet, heights: [f64; 2], name: &str, checks: &[Check]) {
        let Some(values) = &self.values else {
            let middle = (LEFT, (heights[0] + heights[1]) / 2.0);
            let kind = Type::new(SMALL, SOFT, Anchor::Left);
            return sheet.text(middle, &format!("{name}: not known"), kind);
        };
        let shown = values.iter().flatten().map(|v| v.abs());
        let reach = shown.chain(self.limit).fold(1e-6, f64::max) * 1.15;
        let panel = Panel::of_changes(heights, values.len().max(2) - 1, reach);
        if let Some(h) = self.limit {
            sheet.area(panel.corners(panel.x, [h, -h]), BAND);
        }
        panel.upwards(sheet, 4.0);
        if let Some((off, limit)) = self.average {
            for (v, paint) in [(limit, SOFT), (-limit, SOFT), (off, PEAK)] {
                let dash = DASH;
                panel.across(
                    sheet,
                    v,
                    Pen {
                        dash,
                        ..Pen::solid(paint, 0.25)
                    },
                );
            }
        }
        let inner = inner(&panel);
        let all = values.iter().zip(checks).enumerate();
        let points: Vec<(Point, bool)> = all
            .filter_map(|(i, (v, c))| Some((inner.at(i as f64, (*v)?), c.go)))
            .collect();
        sheet.line(points.iter().map(|p| p.0).collect(), Pen::solid(SOFT, 0.2));
        for (at, go) in points {
            let mark = if go { Mark::Full } else { Mark::Cross };
            mark.put(sheet, at, 0.6);
        }
        panel.frame(sheet);
        panel.name(sheet, name);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Estimate;
    use crate::record::RigSummary;
    use crate::shop::witness::history::BASELINE;
    use crate::shop::witness::judging::Expected;

    fn check(step: usize, f0: f64) -> Check {
        let e = |v: f64| Estimate::new(v, 1e-4, 1e-4).unwrap();
        Check {
            id: step.to_string(),
            taken_at: String::new(),
            peak_hz: None,
            f0_hz: e(4000.0 * (1.0 + f0)),
            q: e(2.5 * if step.is_multiple_of(2) { 1.01 } else { 0.99 }),
            level_db: None,
            polarity: 1,
            sign: None,
            snr_db: None,
            noise_dbfs: None,
            hum_db: None,
            hum_dbfs: None,
            mains_hz: None,
            clock_ppm: None,
            temperature_c: None,
            entered: Default::default(),
            folder: None,
            simulated: false,
            at: None,
            go: true,
        }
    }

    /// Shapes of this colour, each with the least and the largest height of its corners.
    fn heights(svg: &str, colour: &str) -> Vec<(f64, f64)> {
        let of = |line: &&str| line.contains("<polygon") && line.contains(colour);
        let numbers = |line: &str| -> Vec<f64> {
            let points = line.split("points=\"").nth(1).unwrap().split('"').next().unwrap();
            let y = |p: &str| p.split(',').nth(1).unwrap().parse().unwrap();
            points.split_whitespace().map(y).collect()
        };
        let ends = |y: Vec<f64>| {
            let least = y.iter().copied().fold(f64::INFINITY, f64::min);
            (least, y.iter().copied().fold(f64::NEG_INFINITY, f64::max))
        };
        svg.lines().filter(of).map(|l| ends(numbers(l))).collect()
    }

    /// The shaded band holds the newest check where it was GO, and does not where it jumped: three sigmas are no alarm.
    #[test]
    fn the_band_is_the_limits_that_decided() {
        for (sigmas, go) in [(3.0, true), (15.0, false)] {
            let mut h = History::new(&RigSummary::default(), "tin");
            h.checks = (0..BASELINE)
                .map(|i| check(i, if i.is_multiple_of(2) { 1e-3 } else { -1e-3 }))
                .collect();
            let mut new = check(BASELINE, sigmas * 1e-3);
            let judgement = h.judge(
                &new,
                &Expected {
                    f0: 2e-3,
                    q: 0.01,
                    level_db: 0.3,
                },
            );
            new.go = judgement.go();
            assert_eq!(new.go, go, "{judgement:?}");
            h.checks.push(new.clone());
            let document = CheckDocument::of(&h, &new, &judgement, Default::default(), Vec::new());
            let svg = history(&h, &document).unwrap().svg;
            // Of the first panel, and the marks of good checks in both; the newest is the highest of all, or a cross.
            let band = heights(&svg, "#D0DCE5")[0];
            let marks = heights(&svg, "#141418");
            let top = marks.iter().map(|m| m.0).fold(f64::INFINITY, f64::min);
            assert!(
                top > band.0 && marks.len() == 2 * (BASELINE + usize::from(go)),
                "{sigmas}: {top} {band:?}"
            );
            // What decided, and not three sigmas.
            assert!(document.quantities[0].limit > 3e-3);
        }
    }

    #[test]
    fn the_days_stand_below_their_marks() {
        let mut h = History::new(&RigSummary::default(), "tin");
        h.checks = (0..9)
            .map(|i| Check {
                taken_at: format!("2026-02-{:02}T08:00:00Z", i + 1),
                ..check(i, 0.0)
            })
            .collect();
        let last = h.checks[8].clone();
        let judgement = h.judge(
            &last,
            &Expected {
                f0: 2e-3,
                q: 0.01,
                level_db: 0.3,
            },
        );
        let document = CheckDocument::of(&h, &last, &judgement, Default::default(), Vec::new());
        let svg = history(&h, &document).unwrap().svg;
        let x = |day: &str| -> f64 {
            let at = svg.find(day).unwrap();
            let tag = &svg[svg[..at].rfind("<text").unwrap()..at];
            tag.split("x=\"")
                .nth(1)
                .unwrap()
                .split('"')
                .next()
                .unwrap()
                .parse()
                .unwrap()
        };
        // The first, the middle and the last of nine: as far apart as their marks, of 125 mm in eight steps.
        for (day, step) in [("2026-02-03", 2.0), ("2026-02-05", 4.0), ("2026-02-07", 6.0)] {
            assert!(
                (x(day) / 20.0 - (LEFT + 2.0 + step * (RIGHT - LEFT - 4.0) / 8.0)).abs() < 0.1,
                "{day}"
            );
        }
        assert!(x("2026-02-01") < x("2026-02-03") && x("2026-02-09") > x("2026-02-07"));
    }
}
