//! A quantity along the checks of an instrument: within which limits its next value lies, and an average of the last ones, when
//! days hang together and their tails are long.
//!
//! The average is the exponentially weighted one (NIST/SEMATECH e-Handbook, 6.3.2.4). Days that hang together are taken as a
//! first-order autoregression, whose coefficient is freed of its bias in short series (Marriott and Pope 1954, Kendall 1954: memory)
//! and widens the average's limits (Vasilopoulos and Stamboulis 1978: memory) and the doubt of centre and scatter. Tails are those of
//! Student's t of the same excess kurtosis, 6/(freedom - 4). Where and how strongly what is known beforehand gives way to the days'
//! own was chosen by simulation (`cargo test --test reference rig_days`).

use super::{mean, student};

/// Weight of the newest value in the average: slow drifts show, single days do not.
pub const LAMBDA: f64 = 0.2;
/// Values from which on an average is one.
const AVERAGED: usize = 5;
/// Limits stand on all values up to so many.
pub const BASELINE: usize = 20;
/// Of more than those the newest so many wait, so that a drift shows before it is learned.
const WAIT: usize = 10;
/// The centre is that of the last so many: a season passes.
const CENTRE: usize = 30;
/// What is expected of the scatter counts as so many degrees of freedom before the first value, and as none from [`BASELINE`] on.
const EXPECTED: f64 = 15.0;
/// Excess kurtosis, and coefficient from day to day, that days are taken to have until they tell, each with its weight in values.
const TAILS: (f64, f64) = (3.0, 30.0);
const CARRIED: (f64, f64) = (0.1, 10.0);

/// What is known of the next value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    pub centre: f64,
    pub sd: f64,
    /// How far one value tells the next one: the coefficient of the autoregression.
    pub carried: f64,
    freedom: f64,
    /// Excess kurtosis.
    tails: f64,
    /// As many values that do not hang together would tell the centre as well.
    centre_of: f64,
    averaged: bool,
}

impl Course {
    /// From values in the order in which they were taken, and the standard deviation that is expected of them; `None` without any.
    pub fn of(values: &[f64], expected: f64) -> Option<Course> {
        let learned = match values.len() {
            n if n < BASELINE => values,
            n => &values[..BASELINE.max(n - WAIT)],
        };
        let (n, middle) = (learned.len() as f64, mean(learned)?);
        let off: Vec<f64> = learned.iter().map(|v| v - middle).collect();
        let sum = |of: &dyn Fn(f64) -> f64| off.iter().map(|d| of(*d)).sum::<f64>();
        let squares = sum(&|d| d * d);
        let carried = carried(&off, squares);
        // Together with what hangs on them, the values are worth so many: for their scatter, and for their mean.
        let own = (n * (1.0 - carried * carried) / (1.0 + carried * carried) - 1.0).max(0.0);
        let of_mean = |n: f64| n * (1.0 - carried) / (1.0 + carried);
        let unbiased = squares / n / (1.0 - of_mean(n).recip()).clamp(0.3, 1.0);
        let weight = EXPECTED * (1.0 - n / BASELINE as f64).max(0.0);
        let variance = (weight * expected * expected + own * unbiased) / (weight + own);
        let excess = match squares > 0.0 && learned.len() > 3 {
            true => n * sum(&|d| d.powi(4)) / (squares * squares) - 3.0 + 6.0 / n,
            false => 0.0,
        };
        let last = &learned[learned.len().saturating_sub(CENTRE)..];
        Some(Course {
            centre: mean(last)?,
            sd: variance.sqrt(),
            carried,
            freedom: weight + own,
            tails: ((TAILS.0 * TAILS.1 + n * excess) / (TAILS.1 + n)).clamp(0.05, 30.0),
            centre_of: of_mean(last.len() as f64).max(1.0),
            averaged: values.len() >= AVERAGED,
        })
    }

    /// Half-width of the interval about the centre that the next value leaves with this probability.
    pub fn half_width(&self, false_alarm: f64) -> f64 {
        self.points(false_alarm, self.tails) * self.sd * (1.0 + 1.0 / self.centre_of).sqrt()
    }

    /// The same of the average; `None` of too few values for one.
    pub fn average_half_width(&self, false_alarm: f64) -> Option<f64> {
        let (l, left) = (LAMBDA, 1.0 - LAMBDA);
        let squares = l / (2.0 - l);
        let fourths = l.powi(4) / (1.0 - left.powi(4));
        let carried = (1.0 + self.carried * left) / (1.0 - self.carried * left);
        let sd = self.sd * (squares * carried).sqrt().hypot(self.centre_of.recip().sqrt());
        let points = self.points(false_alarm, self.tails * fourths / (squares * squares));
        self.averaged.then_some(points * sd)
    }

    /// In standard deviations: of Student's t with these tails and the doubt of the scatter, brought to a standard deviation of one.
    fn points(&self, false_alarm: f64, tails: f64) -> f64 {
        let of_tails = 4.0 + 6.0 / tails;
        let freedom = (of_tails.recip() + self.freedom.recip()).recip();
        student(1.0 - 0.5 * false_alarm, freedom) * ((of_tails - 2.0) / of_tails).sqrt()
    }
}

fn carried(off: &[f64], squares: f64) -> f64 {
    let n = off.len() as f64;
    let next = off.windows(2).map(|p| p[0] * p[1]).sum::<f64>();
    let seen = if squares > 0.0 { next / squares } else { 0.0 };
    let own = seen + (1.0 + 3.0 * seen) / n.max(4.0);
    ((n * own + CARRIED.0 * CARRIED.1) / (n + CARRIED.1)).clamp(0.0, 0.95)
}

/// The average after the last value, the target standing before the first. `lambda`: weight of the newest.
pub fn average(lambda: f64, target: f64, values: &[f64]) -> f64 {
    values.iter().fold(target, |z, v| lambda * v + (1.0 - lambda) * z)
}

/// Values to either side of a step at the least.
const LEAST: usize = 3;
/// From here on it is a step: one of a hundred clean series of independent values has as much, of three quantities one in thirty
/// (simulated; Worsley 1979 has the like without autoregression: memory).
const STEPPED: f64 = 3.8;

/// A step in a short series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index of the first value after it.
    pub at: usize,
    pub by: f64,
}

/// Where the first [`BASELINE`] values part best into two levels, if by more than chance does: the largest two-sample t, by the
/// scatter within both parts and how these hang together.
pub fn step(values: &[f64]) -> Option<Step> {
    let x = values.get(..BASELINE)?;
    let of = |at: usize| {
        let (a, b) = x.split_at(at);
        let (m, k) = (mean(a)?, mean(b)?);
        let off: Vec<f64> = a.iter().map(|v| v - m).chain(b.iter().map(|v| v - k)).collect();
        let squares: f64 = off.iter().map(|d| d * d).sum();
        let n = x.len() as f64;
        let seen = off.windows(2).map(|p| p[0] * p[1]).sum::<f64>() / squares;
        let carried = (seen + (1.0 + 3.0 * seen) / n + 1.0 / n).clamp(0.0, 0.9);
        let sd = (squares / (n - 2.0) * (1.0 + carried) / (1.0 - carried)).sqrt();
        let t = (k - m).abs() / sd / (1.0 / a.len() as f64 + 1.0 / b.len() as f64).sqrt();
        Some((t, Step { at, by: k - m }))
    };
    let all = (LEAST..=x.len() - LEAST).filter_map(of).filter(|s| s.0 > STEPPED);
    all.max_by(|a, b| a.0.total_cmp(&b.0)).map(|s| s.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: of one value the centre is that value and the scatter the expected one, with nearly all of its degrees of
    /// freedom.
    #[test]
    fn one_value_and_what_is_expected() {
        let c = Course::of(&[7.0], 0.1).unwrap();
        assert_eq!((c.centre, c.freedom), (7.0, 14.25));
        assert!((c.sd - 0.1).abs() < 1e-12 && c.average_half_width(0.01).is_none());
        let (tails, freedom): (f64, f64) = (4.0 + 6.0 / c.tails, 14.25);
        let t = student(0.995, 1.0 / (1.0 / tails + 1.0 / freedom));
        let want = t * ((tails - 2.0) / tails).sqrt() * 0.1 * 2f64.sqrt();
        assert!((c.half_width(0.01) / want - 1.0).abs() < 1e-12);
        assert!(Course::of(&[], 0.1).is_none());
    }

    /// Limits go with the unit, grow tighter with the days, and end in what the days themselves tell.
    #[test]
    fn days_tell_more_and_more() {
        let days = |n: usize| -> Vec<f64> { (0..n).map(|i| ((i * 7919) % 101) as f64 / 50.0 - 1.0).collect() };
        let half = |n: usize, expected: f64| Course::of(&days(n), expected).unwrap().half_width(0.01);
        assert!(half(2, 0.6) > half(6, 0.6) && half(6, 0.6) > half(19, 0.6));
        assert!((half(2000, 0.06) / half(2000, 6.0) - 1.0).abs() < 0.1);
        let scaled: Vec<f64> = days(40).iter().map(|v| 3.0 * v).collect();
        let large = Course::of(&scaled, 1.8).unwrap().half_width(0.01);
        assert!((large / half(40, 0.6) / 3.0 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn what_hangs_together_widens() {
        let swing: Vec<f64> = (0..200).map(|i| (f64::from(i) / 20.0).sin()).collect();
        let c = Course::of(&swing, 0.7).unwrap();
        assert!(c.carried > 0.9);
        let alternating: Vec<f64> = (0..200).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
        let a = Course::of(&alternating, 0.7).unwrap();
        assert_eq!(a.carried, 0.0);
        let ratio = |c: &Course| c.average_half_width(0.01).unwrap() / c.half_width(0.01);
        assert!(ratio(&c) > 2.0 * ratio(&a));
    }

    #[test]
    fn a_step_is_named_with_its_place() {
        let noise = |i: usize| ((i * 7919) % 11) as f64 / 5.0 - 1.0;
        let flat: Vec<f64> = (0..30).map(noise).collect();
        assert_eq!(step(&flat), None);
        assert_eq!(step(&flat[..19]), None);
        let stepped: Vec<f64> = (0..30).map(|i| noise(i) - if i >= 13 { 4.0 } else { 0.0 }).collect();
        let s = step(&stepped).unwrap();
        assert!((12..=14).contains(&s.at) && (s.by + 4.0).abs() < 1.0, "{s:?}");
        // The same value throughout is no step.
        assert_eq!(step(&[1.0; 20]), None);
    }
}
