//! Short looks at a take against its drive: what clock lets them add up.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;

use super::align::Drive;
use super::search;
use super::short::Short;
use super::sums;

/// Short-time cross-spectra Y_m(f) conj(D_m(f)), the take's windows shifted by the latency.
pub struct Looks {
    /// Middle of each window in seconds from the middle of the drive's active part.
    pub time: Vec<f64>,
    pub freq: Vec<f64>,
    /// [window][frequency].
    pub cross: Vec<Vec<Complex64>>,
    /// Power of the drive in those windows that lie within the take.
    driven: f64,
}

const WINDOW_S: f64 = 0.1;
const LOW_HZ: f64 = 300.0;
/// As far as a clock is looked for: no crystal is this far off, but resamplers and software clocks are.
const MOST_PPM: f64 = 1_500.0;
/// The delay of a channel that holds the drive itself is searched below this, then refined over all.
const GRID_HZ: f64 = 5_000.0;

/// The drive's half of the looks, which every look at a take is held against.
pub struct Seen<'a> {
    drive: &'a Drive<'a>,
    short: Short,
    /// First sample of each window.
    starts: Vec<i64>,
    first: usize,
    last: usize,
    spectra: Vec<Vec<Complex64>>,
}

impl<'a> Seen<'a> {
    /// Looks reach up to `high_hz`.
    pub fn new(drive: &'a Drive, high_hz: f64) -> Self {
        let (rate, active) = (drive.rate, &drive.active);
        let half = ((WINDOW_S * rate) as usize) / 2;
        let w = 2 * half;
        let short = Short::new(w, |i| (PI * i / w as f64).sin().powi(2));
        let spacing = rate / w as f64;
        let last = ((high_hz.min(0.45 * rate) / spacing) as usize).min(half);
        let first = ((LOW_HZ / spacing) as usize).min(last);
        let starts: Vec<i64> = (active.start as i64 - half as i64..active.end as i64 - half as i64)
            .step_by(half.max(1))
            .collect();
        let spectra = starts
            .iter()
            .map(|at| spectrum(&short, drive.samples, *at, last))
            .collect();
        Seen {
            drive,
            short,
            starts,
            first,
            last,
            spectra,
        }
    }

    /// At a take in which the drive is taken to arrive `latency` samples late, and its clock to run fast by `ppm`.
    pub fn at(&self, take: &[f32], latency: f64, ppm: f64) -> Looks {
        let rate = self.drive.rate;
        let w = 2 * (self.short.bins() - 1);
        let spacing = rate / w as f64;
        let mut out = Looks {
            time: Vec::with_capacity(self.starts.len()),
            freq: (self.first..self.last).map(|k| k as f64 * spacing).collect(),
            cross: Vec::with_capacity(self.starts.len()),
            driven: 0.0,
        };
        for (at, d) in self.starts.iter().zip(&self.spectra) {
            let middle = *at as f64 + 0.5 * w as f64 - self.drive.middle();
            // The take's window moves with the clock.
            let there = latency + *at as f64 - middle * ppm * 1e-6;
            let whole = there.floor();
            let y = spectrum(&self.short, take, whole as i64, self.last);
            let by = TAU * (there - whole) / w as f64;
            let (mut turn, step) = (
                Complex64::from_polar(1.0, by * self.first as f64),
                Complex64::from_polar(1.0, by),
            );
            let mut cross = Vec::with_capacity(self.last - self.first);
            for k in self.first..self.last {
                cross.push(y[k] * d[k].conj() * turn);
                turn *= step;
            }
            if (-0.5 * w as f64..take.len() as f64 - 0.5 * w as f64).contains(&there) {
                out.driven += d[self.first..].iter().map(|c| c.norm_sqr()).sum::<f64>();
            }
            out.time.push(middle / rate);
            out.cross.push(cross);
        }
        out
    }
}

fn spectrum(short: &Short, x: &[f32], at: i64, last: usize) -> Vec<Complex64> {
    let w = 2 * (short.bins() - 1) as i64;
    let inside = |i: i64| i.clamp(0, x.len() as i64) as usize;
    let (from, to) = (inside(at), inside(at + w));
    let before = (from as i64 - at).min(w) as usize;
    let zeros = std::iter::repeat_n(0.0, before);
    let mut s = short.spectrum(zeros.chain(x[from..to].iter().map(|v| f64::from(*v))));
    s.truncate(last);
    s
}

impl Looks {
    /// How well the looks add up for what the take should hold of the drive: laid a period off, some of it is not there.
    pub fn complete(&self) -> f64 {
        self.agreement(0.0) / self.driven.max(f64::MIN_POSITIVE)
    }

    /// How well the looks add up under a clock difference.
    pub fn agreement(&self, ppm: f64) -> f64 {
        let (Some(first), [f0, f1, ..]) = (self.time.first(), &self.freq[..]) else {
            return 0.0;
        };
        let pace = self.time.get(1).map_or(0.0, |t| t - first);
        // Horner's rule over the looks, which follow each other evenly: only the power of the sum is asked for.
        let by = TAU * ppm * 1e-6 * pace;
        let (mut turn, step) = (
            Complex64::from_polar(1.0, by * f0),
            Complex64::from_polar(1.0, by * (f1 - f0)),
        );
        let turns: Vec<Complex64> = std::iter::repeat_with(|| {
            let now = turn;
            turn *= step;
            now
        })
        .take(self.freq.len())
        .collect();
        let mut sums = vec![Complex64::new(0.0, 0.0); self.freq.len()];
        for look in &self.cross {
            for ((s, t), c) in sums.iter_mut().zip(&turns).zip(look) {
                *s = *s * t + c;
            }
        }
        sums.iter().map(|s| s.norm_sqr()).sum()
    }

    /// Whether the looks at most frequencies add up as they are; under another clock, or with samples gone, they do not.
    pub fn add_up(&self) -> bool {
        let (mut together, mut apart) = (0.0, 0.0);
        for k in 0..self.freq.len() {
            together += self.cross.iter().map(|c| c[k]).sum::<Complex64>().norm();
            apart += self.cross.iter().map(|c| c[k].norm()).sum::<f64>();
        }
        together > 0.5 * apart
    }
}

/// Clock difference in ppm that lets the looks at each frequency add up, whatever the pickup does; `None` where every
/// frequency was played only once.
pub fn clock(looks: &Looks) -> Option<f64> {
    let power = |ppm: f64| looks.agreement(ppm);
    let step = 25.0;
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
    Some(search::maximum(power, around(-1.0), around(1.0), 17))
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
