//! Finds a known drive in a take: latency and clock difference, without knowing the pickup.

use std::f64::consts::{PI, TAU};
use std::ops::Range;

use num_complex::Complex64;

use super::bins::Record;
use super::search;
use super::short::Short;
use super::sums::{self, running};
use crate::fft::{self, Chirp};

/// A drive at the take's rate.
#[derive(Debug, Clone)]
pub struct Drive<'a> {
    pub samples: &'a [f32],
    /// The part of it that is not silence: exact, since it is a file and not a recording.
    pub active: Range<usize>,
    pub rate: f64,
}

impl<'a> Drive<'a> {
    /// `None` where the drive is silent throughout.
    pub fn new(samples: &'a [f32], rate: f64) -> Option<Self> {
        let top = sums::peak(samples);
        if top <= 0.0 {
            return None;
        }
        let loud = |v: &f32| v.abs() > 1e-3 * top;
        let start = samples.iter().position(loud)?;
        let end = samples.iter().rposition(loud)? + 1;
        let margin = (0.03 * rate) as usize;
        let active = start.saturating_sub(margin)..(end + margin).min(samples.len());
        Some(Drive { samples, active, rate })
    }

    pub fn middle(&self) -> f64 {
        0.5 * (self.active.start + self.active.end) as f64
    }
}

/// Where the drive's samples arrive: sample `middle` at `arrival`, in samples of the capture clock from the take's start.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub middle: f64,
    pub arrival: f64,
    /// How fast the output clock runs against the input clock.
    pub ppm: f64,
}

impl Place {
    /// How far the capture clock runs on while the output plays a sample.
    fn slow(self) -> f64 {
        1.0 / (1.0 + self.ppm * 1e-6)
    }

    /// Where sample `n` of the drive arrives.
    pub fn of(self, n: f64) -> f64 {
        self.arrival + (n - self.middle) * self.slow()
    }

    /// The same place, told by another sample of the drive.
    pub fn seen_from(self, middle: f64) -> Place {
        let arrival = self.arrival + (middle - self.middle) / (1.0 + self.ppm * 1e-6);
        Place {
            middle,
            arrival,
            ..self
        }
    }
}

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
const MOST_PPM: f64 = 500.0;
/// The delay of a channel that holds the drive itself is searched below this, then refined over all.
const GRID_HZ: f64 = 5_000.0;

fn wide(x: &[f32]) -> impl Iterator<Item = f64> {
    x.iter().map(|v| f64::from(*v))
}

/// Whitened cross-correlation of take and drive: latency in samples to about a millisecond, and the score.
///
/// `speed`: the drive is taken to have been played so many times as fast as it was made.
pub fn coarse(take: &[f32], drive: &[f32], rate: f64, speed: f64) -> Option<Alignment> {
    let stretched = (drive.len() as f64 / speed).ceil() as usize;
    let n = fft::good_length(take.len() + stretched);
    let keep = ((HIGH_HZ.min(0.45 * rate) / rate * n as f64) as usize).min(n / 2);
    let first = (LOW_HZ / rate * n as f64) as usize;
    if keep <= first + 64 {
        return None;
    }
    let y = fft::forward(wide(take), n, keep);
    let d = if speed == 1.0 {
        fft::forward(wide(drive), n, keep)
    } else {
        Chirp::new(drive.len(), keep, TAU / n as f64 / speed, 0.0).transform(wide(drive))
    };
    // Whitened over some tens of hertz: neither the drive's slope nor the pickup's resonance may decide.
    let half = ((20.0 / rate * n as f64) as usize).max(4);
    let smooth = |s: &[Complex64]| -> Vec<f64> {
        let sums = running(s.iter().map(|c| c.norm_sqr()));
        let around = |k: usize| (k.saturating_sub(half), (k + half + 1).min(s.len()));
        let mean = |(a, b): (usize, usize)| (sums[b] - sums[a]) / (b - a) as f64;
        (0..s.len()).map(|k| mean(around(k))).collect()
    };
    let (sy, sd) = (smooth(&y), smooth(&d));
    let strongest = sd[first..].iter().copied().fold(0.0, f64::max);
    let mut cross = vec![Complex64::new(0.0, 0.0); keep];
    for k in first..keep {
        // Only where the drive has something to say.
        if sd[k] > 1e-5 * strongest && sy[k] > 0.0 {
            cross[k] = y[k] * d[k].conj() / (sy[k] * sd[k]).sqrt();
        }
    }
    let corr = fft::inverse(&cross, n);
    let window = ((PEAK_S * rate) as usize).max(4);
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
    Some(Alignment {
        latency: if lag > take.len() as f64 { lag - n as f64 } else { lag },
        score: energy(top) / typical,
    })
}

/// Period of a drive that repeats itself, in samples: the first strong peak of its autocorrelation after a tenth of a second.
pub fn period(drive: &[f32], rate: f64) -> Option<usize> {
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

/// Short-time cross-spectra Y_m(f) conj(D_m(f)), the take's windows shifted by the latency.
pub struct Looks {
    /// Middle of each window in seconds from the middle of the drive's active part.
    pub time: Vec<f64>,
    pub freq: Vec<f64>,
    /// [window][frequency].
    pub cross: Vec<Vec<Complex64>>,
}

const WINDOW_S: f64 = 0.1;

impl Looks {
    /// The drive is taken to arrive `latency` samples late, and its clock to run fast by `ppm`; looks reach up to `high_hz`.
    pub fn new(take: &[f32], drive: &Drive, latency: f64, ppm: f64, high_hz: f64) -> Self {
        let (rate, active) = (drive.rate, &drive.active);
        let half = ((WINDOW_S * rate) as usize) / 2;
        let w = 2 * half;
        let short = Short::new(w, |i| (PI * i / w as f64).sin().powi(2));
        let spectrum = |x: &[f32], at: i64| {
            let sample = |i: usize| usize::try_from(at + i as i64).ok().and_then(|k| x.get(k));
            short.spectrum((0..w).map(|i| sample(i).map_or(0.0, |v| f64::from(*v))))
        };
        let spacing = rate / w as f64;
        let last = ((high_hz.min(0.45 * rate) / spacing) as usize).min(half);
        let kept = (300.0 / spacing) as usize..last;
        let mut out = Looks {
            time: Vec::new(),
            freq: kept.clone().map(|k| k as f64 * spacing).collect(),
            cross: Vec::new(),
        };
        let mut at = active.start as i64 - half as i64;
        while at + (half as i64) < active.end as i64 {
            let middle = at as f64 + 0.5 * w as f64 - drive.middle();
            // The take's window moves with the clock.
            let there = latency + at as f64 - middle * ppm * 1e-6;
            let whole = there.floor();
            let (d, y) = (spectrum(drive.samples, at), spectrum(take, whole as i64));
            let turn = |k: usize| Complex64::from_polar(1.0, TAU * k as f64 * spacing * ((there - whole) / rate));
            out.time.push(middle / rate);
            out.cross
                .push(kept.clone().map(|k| y[k] * d[k].conj() * turn(k)).collect());
            at += half as i64;
        }
        out
    }

    /// How well the looks add up under a clock difference: the drive laid a period off leaves some of them out.
    pub fn agreement(&self, ppm: f64) -> f64 {
        let sum = |k: usize, f: f64| -> Complex64 {
            let terms = self.time.iter().zip(&self.cross);
            terms
                .map(|(t, c)| c[k] * Complex64::from_polar(1.0, -TAU * f * ppm * 1e-6 * t))
                .sum()
        };
        let freq = self.freq.iter().enumerate();
        freq.map(|(k, f)| sum(k, *f).norm_sqr()).sum()
    }
}

/// Clock difference in ppm that lets the looks at each frequency add up, whatever the pickup does; `None` where every
/// frequency was played only once.
pub fn clock(looks: &Looks) -> Option<f64> {
    let power = |ppm: f64| looks.agreement(ppm);
    let step = 12.5;
    let count = (2.0 * MOST_PPM / step) as usize;
    let values: Vec<f64> = (0..=count).map(|i| power(-MOST_PPM + i as f64 * step)).collect();
    let top = (0..values.len()).max_by(|a, b| values[*a].total_cmp(&values[*b]))?;
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    // One look a frequency: nothing changes with the clock.
    if values[top] < 1.25 * low {
        return None;
    }
    let around = |steps: f64| -MOST_PPM + (top as f64 + steps) * step;
    // To within 0.02 ppm.
    Some(search::maximum(power, around(-1.0), around(1.0), 15))
}

/// Delay in seconds and clock in ppm left in the looks of a channel that is the drive itself (no pickup in between), by
/// weighted phases.
pub fn straight(looks: &Looks) -> Option<(f64, f64)> {
    // Delay first, on a grid fine enough for the highest frequency; then both by linear regression of the phases.
    let folded: Vec<(f64, Complex64)> = looks
        .freq
        .iter()
        .enumerate()
        .take_while(|(_, f)| **f < GRID_HZ)
        .map(|(k, f)| (*f, looks.cross.iter().map(|c| c[k]).sum()))
        .collect();
    let total = |tau: f64| {
        folded
            .iter()
            .map(|(f, v)| v * Complex64::from_polar(1.0, TAU * f * tau))
            .sum::<Complex64>()
            .norm()
    };
    let step = 0.2 / GRID_HZ;
    let reach = (0.0015 / step) as i64;
    let best = (-reach..=reach).max_by(|a, b| total(*a as f64 * step).total_cmp(&total(*b as f64 * step)))?;
    let (mut tau, mut ppm) = (best as f64 * step, 0.0);
    for _ in 0..4 {
        let sign = looks
            .cross
            .iter()
            .flat_map(|c| looks.freq.iter().zip(c))
            .map(|(f, v)| v * Complex64::from_polar(1.0, TAU * f * tau))
            .sum::<Complex64>();
        let turn = if sign.re < 0.0 { -1.0 } else { 1.0 };
        let mut pair = sums::Pair::default();
        for (t, c) in looks.time.iter().zip(&looks.cross) {
            for (f, v) in looks.freq.iter().zip(c) {
                let phase = (v * turn * Complex64::from_polar(1.0, TAU * f * (tau - ppm * 1e-6 * t))).arg();
                pair.add(v.norm(), [-TAU * f, TAU * f * 1e-6 * t], phase);
            }
        }
        let [by_delay, by_clock] = pair.solve()?;
        tau += by_delay;
        ppm += by_clock;
    }
    (tau.is_finite() && ppm.is_finite()).then_some((tau, ppm))
}

/// Spectrum of the drive as the capture clock sees it, at the bins of a record: sample `n` lies at
/// `arrival + (n - middle)/(1 + ppm 1e-6)` samples after the record's start and has there the weight of the record's window,
/// so that a take that is cut within the drive still answers to what is left of it. Also its derivative per ppm.
pub fn spectrum(drive: &[f32], at: Place, record: &Record, keep: usize) -> (Vec<Complex64>, Vec<Complex64>) {
    let length = record.length;
    let (middle, slow) = (at.middle, at.slow());
    let step = TAU / length as f64 * slow;
    let chirp = Chirp::new(drive.len(), keep, step, middle);
    let weighted: Vec<f64> = drive
        .iter()
        .enumerate()
        .map(|(n, v)| f64::from(*v) * record.weight(at.of(n as f64)))
        .collect();
    let mut x = chirp.transform(weighted.iter().copied());
    let mut dx = chirp.transform(weighted.iter().enumerate().map(|(n, v)| v * (n as f64 - middle)));
    for k in 0..keep {
        let turn = Complex64::from_polar(1.0, -((TAU * k as f64 / length as f64 * at.arrival) % TAU));
        x[k] *= turn;
        // d/dppm of exp(-j w (n - middle)/(1 + ppm 1e-6)).
        let w = TAU * k as f64 / length as f64;
        dx[k] *= turn * Complex64::new(0.0, w * 1e-6 * slow * slow);
    }
    (x, dx)
}
