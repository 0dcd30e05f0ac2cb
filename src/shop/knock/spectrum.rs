//! Spectra of taps: levels in bands, and where the answer is strongest.

use std::f64::consts::PI;

use crate::fft;

/// Zeros added, so that lines lie nearer than the window resolves.
const PADDING: usize = 4;
/// A peak stands so far above the noise (10 dB), above the valleys on both sides (6 dB), and not farther below the strongest
/// than this (30 dB).
const OVER_NOISE: f64 = 10.0;
const PROMINENT: f64 = 4.0;
const FAINTEST: f64 = 1e-3;
/// Half of the third of an octave over which a peak's level is taken.
const THIRD: f64 = 1.122_462_048_309_373;
/// Two peaks are a third of an octave apart at least.
const APART: f64 = THIRD * THIRD;
const MOST_PEAKS: usize = 5;
/// Peaks are looked for in here: nearer to the band's edges their levels would be cut.
const FROM_HZ: f64 = 125.0;
const TO_HZ: f64 = 8_500.0;

/// One piece's spectra.
pub struct Spectrum {
    pub spacing_hz: f64,
    /// Energy of the lines below each line, the piece as it is: differences are energies in bands.
    sums: Vec<f64>,
    /// Power under half a Hann window, whose tail is smooth: for finding maxima.
    pub smooth: Vec<f64>,
}

impl Spectrum {
    pub fn of(piece: &[f64], rate: f64) -> Self {
        let n = fft::good_length(PADDING * piece.len());
        let keep = n / 2 + 1;
        let length = piece.len().max(1) as f64;
        let mut sum = 0.0;
        let mut sums = vec![sum];
        for c in fft::forward(piece.iter().copied(), n, keep) {
            // Both halves of the spectrum, so that all bands together have the piece's energy.
            sum += 2.0 * c.norm_sqr() / n as f64;
            sums.push(sum);
        }
        let taper = |(i, v): (usize, &f64)| v * (0.5 + 0.5 * (PI * i as f64 / length).cos());
        let tapered = piece.iter().enumerate().map(taper);
        let smooth = fft::forward(tapered, n, keep).iter().map(|c| c.norm_sqr()).collect();
        Spectrum {
            spacing_hz: rate / n as f64,
            sums,
            smooth,
        }
    }

    /// Energy between two frequencies, lines at the ends in part.
    pub fn energy(&self, low_hz: f64, high_hz: f64) -> f64 {
        let at = |f: f64| {
            let p = (f / self.spacing_hz + 0.5).max(0.0);
            let i = (p as usize).min(self.sums.len().saturating_sub(2));
            let t = (p - i as f64).clamp(0.0, 1.0);
            match self.sums.get(i..i + 2) {
                Some([a, b]) => a + t * (b - a),
                _ => 0.0,
            }
        };
        (at(high_hz) - at(low_hz)).max(0.0)
    }

    /// Energy in the third of an octave about a frequency.
    pub fn third(&self, hz: f64) -> f64 {
        self.energy(hz / THIRD, hz * THIRD)
    }

    /// The highest point within `half_hz` of a frequency, between the lines, and its height.
    pub fn highest(&self, hz: f64, half_hz: f64) -> Option<(f64, f64)> {
        let low = ((hz - half_hz) / self.spacing_hz).ceil().max(1.0) as usize;
        let high = ((hz + half_hz) / self.spacing_hz) as usize;
        let i = (low..=high.min(self.smooth.len().saturating_sub(2)))
            .max_by(|a, b| self.smooth[*a].total_cmp(&self.smooth[*b]))?;
        let [a, b, c] = [i - 1, i, i + 1].map(|k| self.smooth[k].max(f64::MIN_POSITIVE).ln());
        let bend = a - 2.0 * b + c;
        let off = match bend < 0.0 {
            true => (0.5 * (a - c) / bend).clamp(-0.5, 0.5),
            false => 0.0,
        };
        Some(((i as f64 + off) * self.spacing_hz, self.smooth[i]))
    }
}

/// Mean of the smooth spectra, each over its piece's energy, so that the hard taps do not decide alone.
pub fn mean<'a>(list: impl Iterator<Item = (&'a Spectrum, f64)>) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::new();
    let mut count = 0.0;
    for (s, energy) in list {
        out.resize(out.len().max(s.smooth.len()), 0.0);
        let weight = 1.0 / energy.max(f64::MIN_POSITIVE);
        out.iter_mut().zip(&s.smooth).for_each(|(o, v)| *o += v * weight);
        count += 1.0;
    }
    out.iter_mut().for_each(|v| *v /= count);
    out
}

/// A maximum of the mean spectrum.
#[derive(Debug, Clone, Copy)]
pub struct Maximum {
    pub hz: f64,
    /// Width at half the power.
    pub width_hz: f64,
    /// Power over the noise's there.
    pub clear: f64,
}

/// Maxima of `power` that stand out of their surroundings and of `noise`, by what `level` says of them, the strongest first.
pub fn maxima(power: &[f64], noise: &[f64], spacing_hz: f64, level: impl Fn(f64) -> f64) -> Vec<Maximum> {
    let from = ((FROM_HZ / spacing_hz) as usize).max(1);
    let to = ((TO_HZ / spacing_hz) as usize).min(power.len().saturating_sub(2));
    let looked_at = power.get(from..to).unwrap_or_default();
    let top = looked_at.iter().copied().fold(0.0, f64::max);
    let mut found: Vec<(Maximum, f64)> = Vec::new();
    for i in from..to {
        let p = power[i];
        let over = noise.get(i).map_or(f64::INFINITY, |n| p / n.max(f64::MIN_POSITIVE));
        if p < power[i - 1] || p <= power[i + 1] || p < FAINTEST * top || over < OVER_NOISE {
            continue;
        }
        let valley = |side: &mut dyn Iterator<Item = &f64>| {
            let down = side.take_while(|v| **v <= p);
            down.fold(p, |low, v| low.min(*v))
        };
        let left = valley(&mut power[..i].iter().rev());
        let right = valley(&mut power[i + 1..].iter());
        if p < PROMINENT * left.max(right) {
            continue;
        }
        let fallen = |side: &mut dyn Iterator<Item = &f64>| side.take_while(|v| **v >= 0.5 * p).count() as f64 + 0.5;
        let width = fallen(&mut power[..i].iter().rev()) + fallen(&mut power[i + 1..].iter());
        let hz = i as f64 * spacing_hz;
        found.push((
            Maximum {
                hz,
                width_hz: width * spacing_hz,
                clear: over,
            },
            level(hz),
        ));
    }
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut out: Vec<Maximum> = Vec::new();
    for (m, _) in found {
        let near = |o: &Maximum| (APART.recip()..=APART).contains(&(o.hz / m.hz));
        if out.len() < MOST_PEAKS && !out.iter().any(near) {
            out.push(m);
        }
    }
    out
}
