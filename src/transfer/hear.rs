//! Finds a known drive in a take: latency and clock difference, without knowing the pickup.

use std::f64::consts::PI;
use std::ops::Range;

use num_complex::Complex64;

use super::align::Drive;
use super::looks::{self, Seen};
use super::stretch::Stretch;
use super::sums::running;
use crate::fft;

/// Where a drive is heard in a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alignment {
    /// Arrival of the drive's first sample, in samples of the capture clock from the take's start.
    pub latency: f64,
    /// Energy of the correlation's peak over what chance gives.
    pub score: f64,
}

/// Scores above this are a drive that was heard.
pub const HEARD: f64 = 12.0;
const LOW_HZ: f64 = 200.0;
const HIGH_HZ: f64 = 8_000.0;
/// A clock difference of 400 ppm and the ringing of the pickup smear the correlation over this much; a window that held only
/// part of it would prefer the wrong period of a periodic drive, where less is smeared.
const PEAK_S: f64 = 0.003;
/// Looks that tell the clock reach up to this.
const LOOKS_HZ: f64 = 5_000.0;

/// What the search hears of: no more than this, so that it can do with fewer samples.
const THINNED_HZ: f64 = 20_000.0;

/// A channel with every so-manieth sample kept, what lies above half of the new rate taken down first.
fn thinned(x: &[f32], by: usize) -> Vec<f32> {
    if by == 1 {
        return x.to_vec();
    }
    // A raised cosine over four of the new samples; its first gap is at half of the new rate.
    let half = 2 * by;
    let weight = |i: usize| 0.5 + 0.5 * (PI * (i as f64 - half as f64) / half as f64).cos();
    let window: Vec<f32> = (1..2 * half).map(|i| (weight(i) / half as f64) as f32).collect();
    let at = |k: usize| {
        let middle = k * by;
        let from = (middle + 1).saturating_sub(half);
        let window = &window[(from + half).saturating_sub(middle + 1)..];
        x[from..].iter().zip(window).map(|(v, w)| v * w).sum::<f32>()
    };
    (0..x.len().div_ceil(by)).map(at).collect()
}

/// A take in which a drive is looked for, both with as few samples as tell it.
pub struct Search {
    /// One sample here is so many of the take.
    thin: usize,
    rate: f64,
    take: Vec<f32>,
    drive: Vec<f32>,
    active: Range<usize>,
    /// Of the transforms, and the bins in which something is heard.
    length: usize,
    heard: Range<usize>,
    /// Spectrum of the take in these bins, whitened.
    white: Vec<Complex64>,
}

impl Search {
    /// `None` where the take is too short to hold anything.
    pub fn new(take: &[f32], drive: &Drive) -> Option<Self> {
        let thin = ((drive.rate / THINNED_HZ) as usize).max(1);
        let rate = drive.rate / thin as f64;
        let (take, samples) = (thinned(take, thin), thinned(drive.samples, thin));
        // A drive at a fifth of its speed still fits, if only around the end.
        let length = fft::good_length(take.len() + samples.len());
        let bin = |hz: f64| (hz / rate * length as f64) as usize;
        let heard = bin(LOW_HZ)..bin(HIGH_HZ.min(0.45 * rate)).min(length / 2);
        if heard.end <= heard.start + 64 {
            return None;
        }
        let mut spectrum = fft::forward(wide(&take), length, heard.end);
        let power = local_power(&spectrum, rate / length as f64);
        for (y, p) in spectrum.iter_mut().zip(power) {
            *y = if p > 0.0 {
                *y / p.sqrt()
            } else {
                Complex64::new(0.0, 0.0)
            };
        }
        let active = drive.active.start / thin..drive.active.end.div_ceil(thin).min(samples.len());
        Some(Search {
            thin,
            rate,
            take,
            drive: samples,
            active,
            length,
            heard,
            white: spectrum,
        })
    }

    /// The whole drive: latency in samples of the take to about a millisecond, and the score.
    pub fn whole(&self) -> Option<Alignment> {
        self.correlate(&self.drive)
    }

    /// The same of a part of the drive, the rest taken to be silent.
    pub fn piece(&self, piece: Range<usize>) -> Option<Alignment> {
        let mut part = vec![0.0; self.drive.len()];
        let piece = piece.start / self.thin..(piece.end / self.thin).min(part.len());
        part[piece.clone()].copy_from_slice(&self.drive[piece]);
        self.correlate(&part)
    }

    fn correlate(&self, drive: &[f32]) -> Option<Alignment> {
        self.placed(fft::forward(wide(drive), self.length, self.heard.end))
    }

    /// The best of some speeds at which the drive may have been played, and its score.
    pub fn best_speed(&self, speeds: &[f64]) -> Option<(f64, f64)> {
        let slowest = speeds.iter().copied().fold(1.0, f64::min);
        let stretch = Stretch::new(&self.drive, |_| 1.0, 0.5f64.min(0.45 / slowest));
        let score = |speed: f64| {
            let step = 1.0 / self.length as f64 / speed;
            // What would lie above half of the drive's own rate was never played.
            let count = self.heard.end.min((0.45 / step) as usize);
            let (mut d, _) = stretch.spectrum(count, step, 0.0, 0.0);
            d.resize(self.heard.end, Complex64::new(0.0, 0.0));
            Some((speed, self.placed(d)?.score))
        };
        let scores = speeds.iter().filter_map(|s| score(*s));
        scores.max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Where the correlation with a drive of this spectrum is highest, both whitened.
    fn placed(&self, mut cross: Vec<Complex64>) -> Option<Alignment> {
        let power = local_power(&cross, self.rate / self.length as f64);
        let strongest = power[self.heard.start..].iter().copied().fold(0.0, f64::max);
        for (k, d) in cross.iter_mut().enumerate() {
            // Only where the drive has something to say.
            *d = match self.heard.contains(&k) && power[k] > 1e-5 * strongest {
                true => self.white[k] * d.conj() / power[k].sqrt(),
                false => Complex64::new(0.0, 0.0),
            };
        }
        let n = self.length;
        let corr = fft::inverse(&cross, n);
        let window = ((PEAK_S * self.rate) as usize).max(4);
        let sums = running((0..n + window).map(|i| corr[i % n] * corr[i % n]));
        let energy = |i: usize| sums[i + window] - sums[i];
        let top = (0..n).max_by(|a, b| energy(*a).total_cmp(&energy(*b)))?;
        let typical = sums[n] / n as f64 * window as f64;
        if typical <= 0.0 {
            return None;
        }
        // Centroid of the peak; the pickup's own delay is in it and comes out in the fit.
        let (mut s, mut sx) = (0.0, 0.0);
        for i in top..top + window {
            let e = corr[i % n] * corr[i % n];
            s += e;
            sx += e * i as f64;
        }
        let lag = sx / s;
        let lag = if lag > self.take.len() as f64 {
            lag - n as f64
        } else {
            lag
        };
        Some(Alignment {
            latency: lag * self.thin as f64,
            score: energy(top) / typical,
        })
    }

    /// Period of a drive that repeats itself, in samples of the take.
    pub fn period(&self) -> Option<usize> {
        Some(period(&self.drive, self.rate)? * self.thin)
    }

    /// Latency in samples, and clock difference in ppm where looks tell it, of the drive whose correlation is highest at `found`.
    ///
    /// A drive that repeats itself correlates at the wrong period too, and under a clock difference even better: of the periods
    /// within reach that one is taken at which the looks add up best for what the take should hold.
    pub fn told(&self, found: f64) -> (f64, Option<f64>) {
        /// More periods than this to either side are not tried.
        const MOST: i64 = 12;
        let drive = Drive {
            samples: &self.drive,
            active: self.active.clone(),
            rate: self.rate,
        };
        let found = found / self.thin as f64;
        let seen = Seen::new(&drive, LOOKS_HZ);
        let clock = looks::clock(&seen.at(&self.take, found, 0.0));
        let ppm = clock.unwrap_or(0.0);
        let right = period(&self.drive, self.rate).and_then(|period| {
            let reach = ((self.active.len() / period) as i64).min(MOST);
            let score = |latency: f64| seen.at(&self.take, latency, ppm).complete();
            (-reach..=reach)
                .map(|k| found + (k * period as i64) as f64 / (1.0 + ppm * 1e-6))
                .map(|latency| (latency, score(latency)))
                .max_by(|a, b| a.1.total_cmp(&b.1))
        });
        (right.map_or(found, |best| best.0) * self.thin as f64, clock)
    }
}

fn wide(x: &[f32]) -> impl Iterator<Item = f64> {
    x.iter().map(|v| f64::from(*v))
}

/// Power about each bin, over some tens of hertz: neither the drive's slope nor the pickup's resonance may decide.
fn local_power(s: &[Complex64], spacing_hz: f64) -> Vec<f64> {
    let half = ((20.0 / spacing_hz) as usize).max(4);
    let sums = running(s.iter().map(|c| c.norm_sqr()));
    let mean = |k: usize| {
        let (a, b) = (k.saturating_sub(half), (k + half + 1).min(s.len()));
        (sums[b] - sums[a]) / (b - a) as f64
    };
    (0..s.len()).map(mean).collect()
}

/// Period of a drive that repeats itself, in samples: the first strong peak of its autocorrelation after a tenth of a second.
fn period(drive: &[f32], rate: f64) -> Option<usize> {
    let n = fft::good_length(2 * drive.len());
    let mut d = fft::forward(wide(drive), n, n / 2);
    // Levels of the lines are of no interest, only that they come again.
    let strongest = d.iter().map(|c| c.norm_sqr()).fold(0.0, f64::max);
    d.iter_mut().for_each(|c| {
        let p = c.norm_sqr();
        *c = Complex64::new(if p > 1e-6 * strongest { p.sqrt() } else { 0.0 }, 0.0);
    });
    let r = fft::inverse(&d, n);
    let from = (0.1 * rate) as usize;
    let top = (from..drive.len()).max_by(|a, b| r[*a].total_cmp(&r[*b]))?;
    if r[top] < 0.2 * r[0] {
        return None;
    }
    // Of a comb of peaks the first that is nearly as high.
    (from..=top).find(|i| r[*i] > 0.8 * r[top])
}
