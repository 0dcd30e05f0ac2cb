//! How fast a mode dies away: a straight line through the logarithm of its amplitude.
//!
//! The mode is shifted to frequency zero and smoothed by a Gaussian. Smoothed so, an exponential stays the same exponential
//! wherever the Gaussian no longer reaches its beginning; only from there on is it looked at, and only down to where the
//! noise begins.

use num_complex::Complex64;

/// Standard deviation of the Gaussian in frequency, over the mode's frequency.
const WIDTH: f64 = 0.1;
/// How far the Gaussian is followed, and how far it is kept from the tap, in standard deviations.
const REACH: f64 = 4.0;
const CLEAR: f64 = 3.0;
/// Amplitudes are used down to 10 dB above the noise's power.
const OVER_NOISE: f64 = 10.0;
/// ... and to 45 dB below the first: farther down lies what the band's edges and the Gaussian's leave.
const RANGE: f64 = 3e-5;
/// A fall that was seen over less than this, in nepers, tells no decay.
const LEAST_FALL: f64 = 1.0;
/// A line that misses its points by more than this, in nepers rms (1.5 dB), is no exponential.
const STRAIGHT: f64 = 0.173;

/// The smoothing for one frequency.
struct Kernel {
    rate: f64,
    sigma: f64,
    step: f64,
    values: Vec<f64>,
    turn: f64,
}

impl Kernel {
    fn new(hz: f64, rate: f64) -> Self {
        let sigma = rate / (std::f64::consts::TAU * WIDTH * hz);
        let half = (REACH * sigma).ceil() as i64;
        let mut values: Vec<f64> = (-half..=half)
            .map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp())
            .collect();
        let sum: f64 = values.iter().sum();
        values.iter_mut().for_each(|v| *v /= sum);
        Kernel {
            rate,
            sigma,
            step: (0.5 * sigma).max(5e-4 * rate),
            values,
            turn: -std::f64::consts::TAU * hz / rate,
        }
    }

    /// Power of the smoothed mode about a sample; `None` where the Gaussian leaves the piece.
    fn power(&self, x: &[f64], at: f64) -> Option<f64> {
        let start = (at.round() as usize).checked_sub(self.values.len() / 2)?;
        let part = x.get(start..start.checked_add(self.values.len())?)?;
        let turn = Complex64::from_polar(1.0, self.turn);
        let mut p = Complex64::from_polar(1.0, (self.turn * start as f64) % std::f64::consts::TAU);
        let mut sum = Complex64::new(0.0, 0.0);
        for (v, k) in part.iter().zip(&self.values) {
            sum += p * (v * k);
            p *= turn;
        }
        Some(sum.norm_sqr())
    }

    fn series(&self, x: &[f64], from: f64) -> Vec<(f64, f64)> {
        let places = std::iter::successors(Some(from), |at| Some(at + self.step));
        places.map_while(|at| Some((at, self.power(x, at)?))).collect()
    }
}

/// Mean power of the noise about a frequency as [`time_constant`] sees it, from quiet pieces.
pub fn noise<'a>(pieces: impl Iterator<Item = &'a [f64]>, hz: f64, rate: f64) -> f64 {
    let kernel = Kernel::new(hz, rate);
    let from = (REACH * kernel.sigma).ceil() + 1.0;
    let (mut sum, mut n) = (0.0, 0.0);
    for piece in pieces {
        for (_, p) in kernel.series(piece, from) {
            sum += p;
            n += 1.0;
        }
    }
    if n > 0.0 { sum / n } else { f64::INFINITY }
}

/// Time constant of the amplitude in seconds and its standard uncertainty; `start` is the sample of the tap in the piece.
pub fn time_constant(x: &[f64], start: f64, hz: f64, rate: f64, noise: f64) -> Option<(f64, f64)> {
    let kernel = Kernel::new(hz, rate);
    let clear = start + CLEAR * kernel.sigma;
    let from = |sample: f64| sample.max(REACH * kernel.sigma + 1.0);
    let seen = kernel.series(x, from(clear));
    let floor = (OVER_NOISE * noise).max(RANGE * seen.first()?.1);
    let end = seen.iter().find(|(_, p)| *p <= floor).map_or(f64::INFINITY, |s| s.0);
    let mut line = straight(&kernel, &seen, from(clear), end)?;
    // Where the noise happens to hold the amplitude up, the first end lies too late: the line's own end does not.
    for _ in 0..2 {
        // The Gaussian weighs the louder past more, and so reaches back farther the faster the mode dies.
        let later = from(clear + kernel.sigma.powi(2) / (line.tau_s * rate));
        line = straight(&kernel, &seen, later, line.reaches(floor) * rate)?;
    }
    let fallen = (line.last_s - line.first_s) / line.tau_s;
    let exponential = line.points > 3 && fallen > LEAST_FALL && line.rms < STRAIGHT;
    exponential.then(|| (line.tau_s, line.u_s.max(1e-4 * line.tau_s)))
}

/// A straight line through the logarithm of an amplitude, in nepers over seconds.
struct Line {
    tau_s: f64,
    u_s: f64,
    /// At the time nought.
    start: f64,
    rms: f64,
    points: usize,
    first_s: f64,
    last_s: f64,
}

impl Line {
    /// When it comes down to a power.
    fn reaches(&self, power: f64) -> f64 {
        if power > 0.0 {
            (self.start - 0.5 * power.ln()) * self.tau_s
        } else {
            f64::INFINITY
        }
    }
}

/// `None` where it does not fall.
fn straight(kernel: &Kernel, seen: &[(f64, f64)], from: f64, end: f64) -> Option<Line> {
    // Seconds and nepers.
    let point = |(t, p): &(f64, f64)| (t / kernel.rate, 0.5 * p.max(f64::MIN_POSITIVE).ln());
    let used = seen.iter().filter(|(t, _)| (from..end).contains(t));
    let points: Vec<(f64, f64)> = used.map(point).collect();
    let n = points.len() as f64;
    let (first, last) = (points.first()?.0, points.last()?.0);
    let mt = points.iter().map(|p| p.0).sum::<f64>() / n;
    let my = points.iter().map(|p| p.1).sum::<f64>() / n;
    let tt: f64 = points.iter().map(|p| (p.0 - mt).powi(2)).sum();
    let slope = points.iter().map(|p| (p.0 - mt) * (p.1 - my)).sum::<f64>() / tt;
    let missed: f64 = points.iter().map(|p| (p.1 - my - slope * (p.0 - mt)).powi(2)).sum();
    let s = (missed / n).sqrt();
    if !(slope < 0.0 && s.is_finite()) {
        return None;
    }
    // Points within one smoothing are one.
    let free = ((last - first) * kernel.rate / (1.77 * kernel.sigma)).clamp(1.0, n);
    let tau_s = -1.0 / slope;
    Some(Line {
        tau_s,
        u_s: tau_s * tau_s * s / ((tt / n).sqrt() * free.sqrt()),
        start: my - slope * mt,
        rms: s,
        points: points.len(),
        first_s: first,
        last_s: last,
    })
}
