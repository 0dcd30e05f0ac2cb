//! Axes: round ticks, and where a value lies on the sheet.

use super::reads::{Curve, Reads};
use super::sheet::Point;

/// Ends of every frequency axis; outside lies nothing that a pickup does to a guitar's sound.
pub const LOW_HZ: f64 = 100.0;
pub const HIGH_HZ: f64 = 20_000.0;
/// 3 and 4 kHz as well: between them lie the peaks that shops argue about.
pub const FREQUENCY_TICKS: [(f64, &str); 10] = [
    (100.0, "100"),
    (200.0, "200"),
    (500.0, "500"),
    (1_000.0, "1k"),
    (2_000.0, "2k"),
    (3_000.0, "3k"),
    (4_000.0, "4k"),
    (5_000.0, "5k"),
    (10_000.0, "10k"),
    (20_000.0, "20k"),
];

/// Is it on the axis?
pub fn shown(hz: f64) -> bool {
    (LOW_HZ..=HIGH_HZ).contains(&hz)
}

/// A framed field: frequency to the right (logarithmic), a linear quantity upwards. All in millimetres.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub low: f64,
    pub high: f64,
}

impl Field {
    pub fn x(&self, hz: f64) -> f64 {
        self.left + (hz / LOW_HZ).ln() / (HIGH_HZ / LOW_HZ).ln() * (self.right - self.left)
    }

    pub fn y(&self, value: f64) -> f64 {
        self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)
    }

    pub fn point(&self, hz: f64, value: f64) -> Point {
        (self.x(hz), self.y(value))
    }

    /// For a pointer on it.
    pub fn reads(&self, curves: Vec<Curve>) -> Reads {
        Reads {
            across_mm: [self.left, self.right],
            down_mm: [self.top, self.bottom],
            hz: [LOW_HZ, HIGH_HZ],
            db: [self.high, self.low],
            curves,
        }
    }

    pub fn holds(&self, p: Point) -> bool {
        (self.left..=self.right).contains(&p.0) && (self.top..=self.bottom).contains(&p.1)
    }

    /// The parts of a line that lie inside.
    pub fn clip(&self, points: &[Point]) -> Vec<Vec<Point>> {
        let mut out: Vec<Vec<Point>> = Vec::new();
        for (a, b) in points.windows(2).filter_map(|pair| self.clip_segment(pair[0], pair[1])) {
            match out.last_mut().filter(|part| part.last() == Some(&a)) {
                Some(part) => part.push(b),
                None => out.push(vec![a, b]),
            }
        }
        out
    }

    /// Liang and Barsky's way: the part between the latest entry and the earliest exit.
    fn clip_segment(&self, a: Point, b: Point) -> Option<(Point, Point)> {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        if !(dx.is_finite() && dy.is_finite()) {
            return None;
        }
        let (mut enter, mut leave) = (0.0f64, 1.0f64);
        for (step, room) in [
            (-dx, a.0 - self.left),
            (dx, self.right - a.0),
            (-dy, a.1 - self.top),
            (dy, self.bottom - a.1),
        ] {
            if step == 0.0 && room < 0.0 {
                return None;
            } else if step < 0.0 {
                enter = enter.max(room / step);
            } else if step > 0.0 {
                leave = leave.min(room / step);
            }
        }
        let at = |t: f64| (a.0 + t * dx, a.1 + t * dy);
        let start = if enter == 0.0 { a } else { at(enter) };
        let end = if leave == 1.0 { b } else { at(leave) };
        (enter <= leave).then_some((start, end))
    }

    /// Moved to the nearest point of the field's height.
    pub fn clamp_y(&self, p: Point) -> Point {
        (p.0, p.1.clamp(self.top, self.bottom))
    }
}

/// A round step that gives at most `most` intervals over `span`.
pub fn round_step(span: f64, most: f64) -> f64 {
    let span = if span.is_finite() && span > 0.0 { span } else { 1.0 };
    let mut decade = 10f64.powf((span / most).log10().floor());
    loop {
        if let Some(k) = [1.0, 2.0, 5.0]
            .into_iter()
            .find(|k| span / (k * decade) <= most * (1.0 + 1e-9))
        {
            return k * decade;
        }
        decade *= 10.0;
    }
}

/// Steps for response axes, where thirds and doublings are at home.
pub fn decibel_step(span: f64, most: f64) -> f64 {
    [1.0, 2.0, 3.0, 6.0, 10.0]
        .into_iter()
        .find(|s| span / s <= most)
        .unwrap_or_else(|| round_step(span, most))
}

/// Multiples of `step` in the range, as (value, label).
pub fn ticks(low: f64, high: f64, step: f64) -> Vec<(f64, String)> {
    let first = (low / step - 1e-6).ceil();
    let count = ((high / step + 1e-6).floor() - first).clamp(0.0, 40.0) as i64;
    let decimals = (-step.log10().floor()).clamp(0.0, 12.0) as usize;
    (0..=count)
        .map(|i| {
            let v = (first + i as f64) * step;
            let v = if v.abs() < step * 1e-6 { 0.0 } else { v };
            let sign = if v > 0.0 { "+" } else { "" };
            (v, format!("{sign}{v:.decimals$}"))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field() -> Field {
        Field {
            left: 10.0,
            right: 110.0,
            top: 5.0,
            bottom: 55.0,
            low: -30.0,
            high: 20.0,
        }
    }

    #[test]
    fn places() {
        let f = field();
        assert!((f.x(100.0) - 10.0).abs() < 1e-9);
        assert!((f.x(20_000.0) - 110.0).abs() < 1e-9);
        // sqrt(100 * 20000) lies in the middle.
        assert!((f.x(2_000_000f64.sqrt()) - 60.0).abs() < 1e-9);
        assert!((f.y(-30.0) - 55.0).abs() < 1e-9);
        assert!((f.y(0.0) - 25.0).abs() < 1e-9);
    }

    #[test]
    fn clipping_cuts_at_the_frame() {
        let f = field();
        let parts = f.clip(&[(0.0, 30.0), (20.0, 30.0), (30.0, 100.0), (40.0, 30.0), (200.0, 30.0)]);
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[0][0], (10.0, 30.0));
        assert!((parts[0][2].1 - 55.0).abs() < 1e-9);
        assert!((parts[1].last().unwrap().0 - 110.0).abs() < 1e-9);
        assert!(parts.iter().flatten().all(|p| p.1 < 55.0 + 1e-9));
        assert!(f.clip(&[(0.0, 0.0), (1.0, 1.0)]).is_empty());
        assert!(f.clip(&[(20.0, f64::NAN), (30.0, 30.0)]).is_empty());
    }

    #[test]
    fn round_ticks() {
        assert_eq!(round_step(0.1, 4.0), 0.05);
        assert_eq!(round_step(7.0, 4.0), 2.0);
        assert_eq!(decibel_step(45.0, 8.0), 6.0);
        assert_eq!(decibel_step(400.0, 8.0), 50.0);
        let labels: Vec<_> = ticks(-0.1, 0.1, 0.05).into_iter().map(|t| t.1).collect();
        assert_eq!(labels, ["-0.10", "-0.05", "0.00", "+0.05", "+0.10"]);
        let labels: Vec<_> = ticks(-24.0, 13.0, 6.0).into_iter().map(|t| t.1).collect();
        assert_eq!(labels, ["-24", "-18", "-12", "-6", "0", "+6", "+12"]);
    }
}
