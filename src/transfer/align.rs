//! Finds a known drive in a take: latency and clock difference, without knowing the pickup.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::Complex64;
use realfft::RealFftPlanner;

use super::search;
use crate::fft::{self, Chirp};

/// Where the drive lies in a take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alignment {
    /// Arrival of the drive's first sample, in samples of the capture clock from the take's start.
    pub latency: f64,
    /// How fast the output clock runs against the input clock, in ppm.
    pub ppm: f64,
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
    let y = fft::forward(take.iter().map(|v| f64::from(*v)), n, keep);
    let d = if speed == 1.0 {
        fft::forward(drive.iter().map(|v| f64::from(*v)), n, keep)
    } else {
        Chirp::new(drive.len(), keep, TAU / n as f64 / speed, 0.0).transform(drive.iter().map(|v| f64::from(*v)))
    };
    // Whitened over some tens of hertz: neither the drive's slope nor the pickup's resonance may decide.
    let half = ((20.0 / rate * n as f64) as usize).max(4);
    let smooth = |s: &[Complex64]| {
        let mut sums = vec![0.0];
        s.iter().for_each(|c| sums.push(sums[sums.len() - 1] + c.norm_sqr()));
        (0..s.len())
            .map(|k| {
                let (a, b) = (k.saturating_sub(half), (k + half + 1).min(s.len()));
                (sums[b] - sums[a]) / (b - a) as f64
            })
            .collect::<Vec<f64>>()
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
    let mut sums = Vec::with_capacity(n + window + 1);
    sums.push(0.0f64);
    for i in 0..n + window {
        sums.push(sums[i] + corr[i % n] * corr[i % n]);
    }
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
        ppm: 0.0,
        score: energy(top) / typical,
    })
}

/// Period of a drive that repeats itself, in samples: the first strong peak of its autocorrelation after a tenth of a second.
pub fn period(drive: &[f32], rate: f64) -> Option<usize> {
    let n = fft::good_length(2 * drive.len());
    let mut d = fft::forward(drive.iter().map(|v| f64::from(*v)), n, n / 2);
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

/// How well the looks add up under a clock difference: the drive laid a period off leaves some of them out.
pub fn agreement(looks: &Looks, ppm: f64) -> f64 {
    looks
        .freq
        .iter()
        .enumerate()
        .map(|(k, f)| {
            let terms = looks.time.iter().zip(&looks.cross);
            terms
                .map(|(t, c)| c[k] * Complex64::from_polar(1.0, -TAU * f * ppm * 1e-6 * t))
                .sum::<Complex64>()
                .norm_sqr()
        })
        .sum()
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

/// `shift_per_sample`: how the take's window moves per sample of the drive, 1/(1 + ppm 1e-6).
pub fn looks(
    take: &[f32],
    drive: &[f32],
    active: &Range<usize>,
    latency: f64,
    ppm: f64,
    rate: f64,
    high_hz: f64,
) -> Looks {
    let w = ((WINDOW_S * rate) as usize) & !1;
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(w.max(2));
    let window: Vec<f64> = (0..w)
        .map(|i| (std::f64::consts::PI * (i as f64 + 0.5) / w as f64).sin().powi(2))
        .collect();
    let spectrum = |x: &[f32], at: i64| {
        let mut input: Vec<f64> = (0..w)
            .map(|i| {
                usize::try_from(at + i as i64)
                    .ok()
                    .and_then(|k| x.get(k))
                    .map_or(0.0, |v| f64::from(*v))
                    * window[i]
            })
            .collect();
        let mut out = plan.make_output_vec();
        let _ = plan.process(&mut input, &mut out);
        out
    };
    let spacing = rate / w as f64;
    let (first, last) = (
        (300.0 / spacing) as usize,
        ((high_hz.min(0.45 * rate) / spacing) as usize).min(w / 2),
    );
    let centre = 0.5 * (active.start + active.end) as f64;
    let mut out = Looks {
        time: Vec::new(),
        freq: (first..last).map(|k| k as f64 * spacing).collect(),
        cross: Vec::new(),
    };
    let mut at = active.start as i64 - (w / 2) as i64;
    while at + ((w / 2) as i64) < active.end as i64 {
        let middle = at as f64 + 0.5 * w as f64 - centre;
        let there = latency + at as f64 - middle * ppm * 1e-6;
        let whole = there.floor();
        let d = spectrum(drive, at);
        let y = spectrum(take, whole as i64);
        let rest = (there - whole) / rate;
        out.time.push(middle / rate);
        out.cross.push(
            (first..last)
                .map(|k| y[k] * d[k].conj() * Complex64::from_polar(1.0, TAU * k as f64 * spacing * rest))
                .collect(),
        );
        at += (w / 2) as i64;
    }
    out
}

/// Clock difference in ppm that lets the looks at each frequency add up, whatever the pickup does; `None` where every
/// frequency was played only once.
pub fn clock(looks: &Looks) -> Option<f64> {
    let power = |ppm: f64| agreement(looks, ppm);
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
        let (mut aa, mut ab, mut bb, mut ra, mut rb) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (t, c) in looks.time.iter().zip(&looks.cross) {
            for (f, v) in looks.freq.iter().zip(c) {
                let w = v.norm();
                let phase = (v * turn * Complex64::from_polar(1.0, TAU * f * (tau - ppm * 1e-6 * t))).arg();
                let (da, db) = (-TAU * f, TAU * f * 1e-6 * t);
                aa += w * da * da;
                ab += w * da * db;
                bb += w * db * db;
                ra += w * da * phase;
                rb += w * db * phase;
            }
        }
        let det = aa * bb - ab * ab;
        if det <= 0.0 {
            return None;
        }
        tau += (ra * bb - rb * ab) / det;
        ppm += (rb * aa - ra * ab) / det;
    }
    (tau.is_finite() && ppm.is_finite()).then_some((tau, ppm))
}

/// Spectrum of the drive as the capture clock sees it, at the bins of a record: sample `n` lies at
/// `arrival + (n - middle)/(1 + ppm 1e-6)` samples after the record's start and has there the weight of the record's window,
/// so that a take that is cut within the drive still answers to what is left of it. Also its derivative per ppm.
pub fn spectrum(
    drive: &[f32],
    middle: f64,
    arrival: f64,
    ppm: f64,
    record: &super::bins::Record,
    keep: usize,
) -> (Vec<Complex64>, Vec<Complex64>) {
    let length = record.length;
    let slow = 1.0 / (1.0 + ppm * 1e-6);
    let step = TAU / length as f64 * slow;
    let chirp = Chirp::new(drive.len(), keep, step, middle);
    let weighted: Vec<f64> = drive
        .iter()
        .enumerate()
        .map(|(n, v)| f64::from(*v) * record.weight(arrival + (n as f64 - middle) * slow))
        .collect();
    let mut x = chirp.transform(weighted.iter().copied());
    let mut dx = chirp.transform(weighted.iter().enumerate().map(|(n, v)| v * (n as f64 - middle)));
    for k in 0..keep {
        let turn = Complex64::from_polar(1.0, -((TAU * k as f64 / length as f64 * arrival) % TAU));
        x[k] *= turn;
        // d/dppm of exp(-j w (n - middle)/(1 + ppm 1e-6)).
        let w = TAU * k as f64 / length as f64;
        dx[k] *= turn * Complex64::new(0.0, w * 1e-6 * slow * slow);
    }
    (x, dx)
}
