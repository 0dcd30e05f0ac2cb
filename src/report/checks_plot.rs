//! The plot of a rig's checks: what is charted, along the checks, with the limits that decided where they did.

use super::chart::{self, Mark, Panel};
use super::lay::{EDGE, HEIGHT, LEFT, MARGIN, RIGHT, SMALL, small};
use super::number::per_cent_of_log;
use super::palette::{BAND, PEAK, SOFT};
use super::sheet::{Anchor, Pen, Plot, Sheet, rectangle, text_width};
use super::words;
use crate::failure::Result;
use crate::shop::witness::history::{Check, History, Quantity};
use crate::shop::witness::judging::{Charted, Judgement};

/// More than these would be dots on dots.
pub const MOST: usize = 80;
/// Of so many the day is told.
const DAYS: usize = 5;
const DASH: &[f64] = &[1.5, 1.0];
const TOP: f64 = 15.0;
const BOTTOM: f64 = 97.0;

/// The last checks of a history, each with the limits that decided over it; `judged`: those of the last so many checks.
pub fn history(h: &History, judged: &[Judgement]) -> Result<Plot> {
    let title = format!("Checks of {} by {}", words::clean(&h.rig), words::clean(&h.witness));
    let told = match judged.iter().all(|j| j.charted.is_empty()) {
        false => "shaded: each check's limits; dashed: the average and, thin, its limits; crosses: no-go",
        true => "the first check",
    };
    let away = if h.checks.iter().any(|c| c.at.is_some()) {
        "; open: away"
    } else {
        ""
    };
    let simulated = h.checks.iter().any(|c| c.simulated);
    let mut sheet = chart::sheet(&title, &format!("{told}{away}"), simulated);
    let from = h.checks.len().saturating_sub(judged.len());
    let known: Vec<_> = KINDS.into_iter().filter_map(|k| Some((k, h.course(k.0)?))).collect();
    let height = (BOTTOM - TOP) / known.len().max(1) as f64;
    for (i, ((kind, name, shown), values)) in known.into_iter().enumerate() {
        let top = TOP + i as f64 * height;
        let seen = values.into_iter().skip(from).zip(&h.checks[from..]).zip(judged);
        let seen: Vec<Seen> = seen.map(|((v, c), j)| Seen::of(v, c, j.get(kind), shown)).collect();
        draw(&mut sheet, [top, top + height - 3.0], (kind, name), &seen);
    }
    days(&mut sheet, &h.checks[from..]);
    sheet.render()
}

/// What is charted, its axis, and what stands there.
type Kind = (Quantity, &'static str, fn(f64) -> f64);

const KINDS: [Kind; 5] = [
    (Quantity::F0, "f0 (%)", per_cent_of_log),
    (Quantity::Q, "Q (%)", per_cent_of_log),
    (Quantity::Level, "level (dB)", |db| db),
    (Quantity::Noise, "noise (dB)", |db| db),
    (Quantity::Hum, "hum (dB)", |db| db),
];

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

/// One quantity at one check, in the unit of its axis.
struct Seen {
    value: Option<f64>,
    mark: Mark,
    limits: Option<[f64; 2]>,
    /// The moving average, and its limits.
    average: Option<(f64, [f64; 2])>,
}

impl Seen {
    fn of(value: Option<f64>, check: &Check, charted: Option<&Charted>, shown: fn(f64) -> f64) -> Seen {
        let mark = match (check.go, &check.at) {
            (false, _) => Mark::Cross,
            (true, Some(_)) => Mark::Open,
            (true, None) => Mark::Full,
        };
        // The centre moves with the checks: limits lie about the one that the check was judged by.
        let about = charted.zip(value).map(|(c, v)| (c, v - c.off()));
        let around = |centre: f64, half: f64| [centre - half, centre + half].map(shown);
        Seen {
            value: value.map(shown),
            mark,
            limits: about.map(|(c, centre)| around(centre, c.half)),
            average: about.and_then(|(c, centre)| {
                let (z, half) = c.average?;
                Some((shown(centre + z - c.centre), around(centre, half)))
            }),
        }
    }

    /// How far from the middle something of it lies.
    fn reach(&self) -> f64 {
        let limits = self.limits.into_iter().flatten();
        self.value.into_iter().chain(limits).map(f64::abs).fold(0.0, f64::max)
    }
}

/// What is joined along the checks, and how.
type Course = (fn(&Seen) -> Option<f64>, Pen);

fn draw(sheet: &mut Sheet, heights: [f64; 2], (kind, name): (Quantity, &str), seen: &[Seen]) {
    // The wide limits of the first days may leave the picture.
    let last = seen.last().map_or(0.0, Seen::reach);
    let values = seen.iter().filter_map(|s| s.value).map(f64::abs);
    let reach = values.chain([last]).fold(1e-6, f64::max) * 1.15;
    let panel = Panel::of_changes(heights, seen.len().max(2) - 1, reach);
    let inner = inner(&panel);
    let within = |v: f64| v.clamp(-reach, reach);
    for (i, s) in seen.iter().enumerate() {
        if let Some([low, high]) = s.limits {
            let low = if kind.one_sided() { -reach } else { low };
            let x = [-0.5, 0.5].map(|half| inner.at(i as f64 + half, 0.0).0.clamp(panel.left, panel.right));
            let [bottom, top] = [low, high].map(|v| inner.at(0.0, within(v)).1);
            sheet.area(rectangle(x, [top, bottom]), BAND);
        }
    }
    panel.upwards(sheet, 4.0);
    let courses: [Course; 4] = [
        (|s| Some(s.average?.1[0]), Pen::new(SOFT, 0.15, DASH)),
        (|s| Some(s.average?.1[1]), Pen::new(SOFT, 0.15, DASH)),
        (|s| Some(s.average?.0), Pen::new(PEAK, 0.3, DASH)),
        (|s| s.value, Pen::solid(SOFT, 0.2)),
    ];
    for (of, pen) in courses {
        let there = seen.iter().enumerate().filter_map(|(i, s)| Some((i as f64, of(s)?)));
        let inside = there.filter(|(_, v)| v.abs() <= reach).map(|(i, v)| inner.at(i, v));
        sheet.line(inside.collect(), pen);
    }
    for (i, (mark, value)) in seen.iter().map(|s| (s.mark, s.value)).enumerate() {
        value.iter().for_each(|v| mark.put(sheet, inner.at(i as f64, *v), 0.6));
    }
    panel.frame(sheet);
    panel.name(sheet, name);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Estimate;
    use crate::record::RigSummary;
    use crate::shop::witness::history::BASELINE;
    use crate::shop::witness::judging::Expected;

    const EXPECTED: Expected = Expected {
        f0: 2e-3,
        q: 0.01,
        level_db: 0.3,
    };

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
            let judgement = h.judge(&new, &EXPECTED);
            new.go = judgement.go();
            assert_eq!(new.go, go, "{judgement:?}");
            h.checks.push(new.clone());
            let judged = h.judged(&EXPECTED, MOST);
            let svg = history(&h, &judged).unwrap().svg;
            // Of the first panel, and the marks of good checks in both; the newest is the highest of all, or a cross.
            let bands = heights(&svg, "#D0DCE5");
            assert_eq!(bands.len(), 2 * BASELINE, "the first check has none");
            let band = bands[BASELINE - 1];
            let marks = heights(&svg, "#141418");
            let top = marks.iter().map(|m| m.0).fold(f64::INFINITY, f64::min);
            assert!(
                top > band.0 && marks.len() == 2 * (BASELINE + usize::from(go)),
                "{sigmas}: {top} {band:?}"
            );
            // What decided, and not three sigmas.
            assert!(judgement.charted[0].half > 3e-3);
            // Known of few checks they are wider.
            let wide = |b: (f64, f64)| b.1 - b.0;
            assert!(wide(bands[5]) > 1.1 * wide(band), "{bands:?}");
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
        let svg = history(&h, &h.judged(&EXPECTED, MOST)).unwrap().svg;
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
