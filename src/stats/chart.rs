//! Control charts of single values: individuals and EWMA (NIST/SEMATECH e-Handbook, 6.3.2.2 and 6.3.2.4).

use super::{mean, student};

/// Mean of the range of two normal values over their standard deviation, d2 for n = 2: 2/sqrt(pi).
pub const D2: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// A chart of individual values with limits from their moving ranges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Individuals {
    pub centre: f64,
    pub moving_range: f64,
    /// Standard deviation of a single value, from the moving range.
    pub sigma: f64,
    /// Values behind the chart.
    pub n: usize,
}

impl Individuals {
    /// From values in the order in which they were taken; `None` below two.
    pub fn of(x: &[f64]) -> Option<Self> {
        let ranges: Vec<f64> = x.windows(2).map(|p| (p[1] - p[0]).abs()).collect();
        let moving_range = mean(&ranges)?;
        Some(Individuals {
            centre: mean(x)?,
            moving_range,
            sigma: moving_range / D2,
            n: x.len(),
        })
    }

    /// Half-width of a two-sided interval that the next value of an undisturbed process leaves with this probability, centre and
    /// sigma being estimates from few values: Student's t with the freedom of the moving range, and the centre's own scatter.
    pub fn half_width(&self, false_alarm: f64) -> f64 {
        let freedom = moving_range_freedom(self.n);
        let t = student(1.0 - 0.5 * false_alarm, freedom);
        t * self.sigma * (1.0 + 1.0 / self.n as f64).sqrt()
    }
}

/// Degrees of freedom that the mean moving range of n values is worth, by its mean and variance (Satterthwaite): the variance
/// of a mean of overlapping ranges of two, whose neighbours correlate.
pub fn moving_range_freedom(n: usize) -> f64 {
    if n < 3 {
        return 1.0;
    }
    // In units of sigma: variance of one range and covariance of neighbours (|a - b|, |b - c| of normal values).
    let pi = std::f64::consts::PI;
    let variance = 2.0 - 4.0 / pi;
    let covariance = (2.0 / pi) * (3f64.sqrt() + pi / 6.0) - 4.0 / pi;
    let m = (n - 1) as f64;
    let of_mean = variance / m + 2.0 * covariance * (m - 1.0) / (m * m);
    // A standard deviation on f degrees of freedom has a relative variance of about 1/(2 f).
    (D2 * D2 / (2.0 * of_mean)).max(1.0)
}

/// Exponentially weighted moving average.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    pub lambda: f64,
    pub target: f64,
    pub sigma: f64,
}

impl Ewma {
    /// The averages after each value, the target standing before the first.
    pub fn run(&self, x: &[f64]) -> Vec<f64> {
        let mut z = self.target;
        x.iter()
            .map(|v| {
                z = self.lambda * v + (1.0 - self.lambda) * z;
                z
            })
            .collect()
    }

    /// [lower, upper] after the n-th value, counted from 1.
    pub fn limits_after(&self, n: u32, k: f64) -> [f64; 2] {
        let share = 1.0 - (1.0 - self.lambda).powi(2 * n as i32);
        let half = k * self.sigma * (self.lambda / (2.0 - self.lambda) * share).sqrt();
        [self.target - half, self.target + half]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    /// The freedom of the moving range, against the scatter of simulated ones.
    #[test]
    fn freedom_of_the_moving_range() {
        let mut r = ChaCha8Rng::seed_from_u64(1);
        let mut even = move || ((r.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
        let mut normal = move || (-2.0 * even().ln()).sqrt() * (std::f64::consts::TAU * even()).cos();
        for n in [5, 20, 50] {
            let sigmas: Vec<f64> = (0..20_000)
                .map(|_| {
                    let x: Vec<f64> = (0..n).map(|_| normal()).collect();
                    Individuals::of(&x).unwrap().sigma
                })
                .collect();
            let m = mean(&sigmas).unwrap();
            let v = super::super::sd(&sigmas).unwrap().powi(2);
            assert!((m - 1.0).abs() < 0.01);
            let seen = 1.0 / (2.0 * v / (m * m));
            assert!((moving_range_freedom(n) / seen - 1.0).abs() < 0.05, "{n}: {seen}");
        }
    }

    /// Limits widened for the estimation: of charts from 20 values 1 % of the next ones are outside, as asked for.
    #[test]
    fn false_alarms_are_as_many_as_asked_for() {
        let mut r = ChaCha8Rng::seed_from_u64(2);
        let mut even = move || ((r.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
        let mut normal = move || (-2.0 * even().ln()).sqrt() * (std::f64::consts::TAU * even()).cos();
        let mut alarms = 0;
        let n = 40_000;
        for _ in 0..n {
            let x: Vec<f64> = (0..20).map(|_| 7.0 + 3.0 * normal()).collect();
            let chart = Individuals::of(&x).unwrap();
            alarms += usize::from((7.0 + 3.0 * normal() - chart.centre).abs() > chart.half_width(0.01));
        }
        let share = alarms as f64 / f64::from(n);
        assert!((0.007..0.0125).contains(&share), "{share}");
    }
}
