//! Noise spectra measured from the silences around the drive.
//!
//! Unit: variance per sample, so that a white noise of rms s has density s^2 at every frequency and a windowed
//! transform of it has the variance density x sum of the squared window.

use std::iter::Sum;
use std::ops::{Add, Mul, Range, Sub};

use num_complex::Complex64;

use super::short::Short;
use super::sums;

/// Segment length: long enough to resolve hum, short enough to average.
const SEGMENT_S: f64 = 0.35;
/// Less silence than this says nothing.
const LEAST_S: f64 = 0.1;

/// Noise of the two channels and what they share, on a uniform frequency grid from 0.
#[derive(Debug, Clone)]
pub struct Noise {
    pub spacing_hz: f64,
    pub yy: Vec<f64>,
    pub xx: Vec<f64>,
    /// E[n_y conj(n_x)].
    pub yx: Vec<Complex64>,
    /// Grid points at which a line stands in either channel.
    pub line: Vec<bool>,
}

impl Noise {
    /// Whether a line stands near a frequency.
    pub fn has_line(&self, f: f64) -> bool {
        let i = (f / self.spacing_hz).round().max(0.0) as usize;
        self.line.get(i).copied().unwrap_or(false)
    }

    /// (S_yy, S_xx, S_yx) at a frequency, linear between grid points.
    pub fn at(&self, f: f64) -> (f64, f64, Complex64) {
        let p = (f / self.spacing_hz).max(0.0);
        let i = (p as usize).min(self.yy.len().saturating_sub(2));
        let t = (p - i as f64).clamp(0.0, 1.0);
        let u = 1.0 - t;
        (
            self.yy[i] * u + self.yy[i + 1] * t,
            self.xx[i] * u + self.xx[i + 1] * t,
            self.yx[i] * u + self.yx[i + 1] * t,
        )
    }
}

/// Measures the noise in the given silences; `None` where there is too little of it.
///
/// `floor` is the variance that the converter's rounding leaves at least.
pub fn from_silences(
    y: &[f32],
    x: Option<&[f32]>,
    silences: &[Range<usize>],
    rate_hz: f64,
    floor: f64,
) -> Option<Noise> {
    let total: usize = silences.iter().map(|r| r.len()).sum();
    if (total as f64) < LEAST_S * rate_hz {
        return None;
    }
    let longest = silences.iter().map(|r| r.len()).max().unwrap_or(0);
    let length = (((SEGMENT_S * rate_hz) as usize).min(longest) & !1).max(2);
    let short = Short::new(length, |i| blackman_harris(i / length as f64));
    let spectrum = |s: &[f32]| {
        let mean = sums::mean(s);
        short.spectrum(s.iter().map(|v| f64::from(*v) - mean))
    };
    let starts = silences
        .iter()
        .flat_map(|r| (r.start..(r.end + 1).saturating_sub(length)).step_by(length / 2));
    let mut segments: Vec<Segment> = starts
        .map(|at| {
            let y = spectrum(&y[at..at + length]);
            Segment {
                power: y.iter().map(|c| c.norm_sqr()).sum(),
                y,
                x: x.map(|x| spectrum(&x[at..at + length])),
            }
        })
        .collect();
    if segments.is_empty() {
        return None;
    }
    // A knock in the silence would pass for noise: segments far above the quietest half are left out.
    let mut powers: Vec<f64> = segments.iter().map(|s| s.power).collect();
    let limit = 3.0 * sums::ranked(&mut powers, (segments.len() - 1) / 2);
    segments.retain(|s| s.power <= limit);
    let spacing_hz = rate_hz / length as f64;
    let mut noise = averaged(&segments, &short, spacing_hz);
    // Half-overlapping segments under this window are nearly independent looks (Harris, Proc. IEEE 66, 1978).
    let looks = segments.len() as f64;
    noise.line = find_lines(&noise.yy, spacing_hz, looks);
    if x.is_some() {
        let others = find_lines(&noise.xx, spacing_hz, looks);
        noise.line.iter_mut().zip(others).for_each(|(a, b)| *a |= b);
    }
    noise.yy = without_lines(noise.yy, &noise.line, spacing_hz);
    noise.xx = without_lines(noise.xx, &noise.line, spacing_hz);
    noise.yx = without_lines(noise.yx, &noise.line, spacing_hz);
    noise.yy.iter_mut().for_each(|v| *v = v.max(floor));
    if x.is_some() {
        noise.xx.iter_mut().for_each(|v| *v = v.max(floor));
    }
    Some(noise)
}

/// A stretch of silence: its power, and the spectra of both channels.
struct Segment {
    power: f64,
    y: Vec<Complex64>,
    x: Option<Vec<Complex64>>,
}

fn averaged(segments: &[Segment], short: &Short, spacing_hz: f64) -> Noise {
    let bins = short.bins();
    let (mut yy, mut xx) = (vec![0.0; bins], vec![0.0; bins]);
    let mut yx = vec![Complex64::new(0.0, 0.0); bins];
    let scale = 1.0 / (short.energy() * segments.len() as f64);
    for Segment { y, x, .. } in segments {
        for k in 0..bins {
            yy[k] += scale * y[k].norm_sqr();
            if let Some(x) = x {
                xx[k] += scale * x[k].norm_sqr();
                yx[k] += scale * y[k] * x[k].conj();
            }
        }
    }
    let line = vec![false; bins];
    Noise {
        spacing_hz,
        yy,
        xx,
        yx,
        line,
    }
}

/// Bins that hold lines (hum, whistles): those have spectra of their own to answer for.
fn find_lines(s: &[f64], spacing_hz: f64, looks: f64) -> Vec<bool> {
    // A chi-square of 2 x looks degrees of freedom passes this once in about 1e5 bins.
    let limit = 1.0 + 11.0 / looks + 5.0 / looks.sqrt();
    let mut buffer = Vec::new();
    let mut line = vec![false; s.len()];
    let (mut typical, mut until) = (0.0, 0);
    for k in 0..s.len() {
        // The neighbourhood changes slowly: one look serves a quarter of its width.
        if k >= until {
            let around = window(k, s.len(), spacing_hz);
            until = k + 1 + around.len() / 8;
            buffer.clear();
            buffer.extend_from_slice(&s[around]);
            // The lower quartile: a comb of hum may fill nearly half of the bins.
            let quarter = buffer.len() / 4;
            typical = sums::ranked(&mut buffer, quarter) / quartile_over_mean(looks);
        }
        if s[k] > limit * typical {
            // The window's skirts belong to the line.
            line[k.saturating_sub(3)..(k + 4).min(s.len())].fill(true);
        }
    }
    line
}

fn window(k: usize, bins: usize, spacing_hz: f64) -> Range<usize> {
    let half = half_width(k, spacing_hz).max(8);
    k.saturating_sub(half)..(k + half + 1).min(bins)
}

/// Smooth, with the mean of the clean bins around in the place of lines.
fn without_lines<T>(mut s: Vec<T>, line: &[bool], spacing_hz: f64) -> Vec<T>
where
    T: Copy + Default + Sum<T> + Add<Output = T> + Sub<Output = T> + Mul<f64, Output = T>,
{
    for k in (0..s.len()).filter(|k| line[*k]) {
        let clean = || window(k, s.len(), spacing_hz).filter(|i| !line[*i]);
        let count = clean().count();
        if count > 0 {
            s[k] = clean().map(|i| s[i]).sum::<T>() * (1.0 / count as f64);
        }
    }
    smooth(&s, spacing_hz)
}

/// Lower quartile over mean of a chi-square with 2 x looks degrees of freedom (Wilson and Hilferty, PNAS 17, 1931).
fn quartile_over_mean(looks: f64) -> f64 {
    let v = 1.0 / (9.0 * looks);
    (1.0 - v - 0.6745 * v.sqrt()).powi(3)
}

/// Half of the smoothing width in bins: 6 % or 60 Hz, whichever is more.
fn half_width(k: usize, spacing_hz: f64) -> usize {
    let f = k as f64 * spacing_hz;
    ((0.06 * f).max(60.0) / spacing_hz).round() as usize
}

/// Four-term Blackman-Harris window (Harris, Proc. IEEE 66, 1978): highest sidelobe -92 dB, so that strong hum stays in its
/// own bins. `u` runs from 0 to 1 over the segment.
fn blackman_harris(u: f64) -> f64 {
    let c = |k: f64| (std::f64::consts::TAU * k * u).cos();
    0.35875 - 0.48829 * c(1.0) + 0.14128 * c(2.0) - 0.01168 * c(3.0)
}

/// Moving average of +- 6 % or 60 Hz.
pub(crate) fn smooth<T>(s: &[T], spacing_hz: f64) -> Vec<T>
where
    T: Copy + Default + Add<Output = T> + Sub<Output = T> + Mul<f64, Output = T>,
{
    let sums = sums::running(s.iter().copied());
    (0..s.len())
        .map(|k| {
            // Symmetric even at the ends, so that a slope does not shift the value.
            let reach = half_width(k, spacing_hz).min(k).min(s.len() - 1 - k);
            let half = reach.max(if k < 2 { 2 } else { 0 });
            let (a, b) = (k.saturating_sub(half), (k + half + 1).min(s.len()));
            (sums[b] - sums[a]) * (1.0 / (b - a) as f64)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    fn gauss(rng: &mut ChaCha8Rng) -> f64 {
        // Sum of twelve uniforms: variance 1, close enough for this.
        (0..12).map(|_| rng.next_u32() as f64 / u32::MAX as f64).sum::<f64>() - 6.0
    }

    /// Harris, Proc. IEEE 66 (1978), table 1: 4-term Blackman-Harris, equivalent noise bandwidth 2.00 bins, scallop loss 0.83 dB,
    /// highest sidelobe -92 dB; more digits from summing the published coefficients with numpy.
    #[test]
    fn the_window_has_its_published_figures() {
        let n = 1024;
        let w: Vec<f64> = (0..n)
            .map(|i| blackman_harris((f64::from(i) + 0.5) / f64::from(n)))
            .collect();
        let sum: f64 = w.iter().sum();
        let enbw = f64::from(n) * w.iter().map(|w| w * w).sum::<f64>() / (sum * sum);
        assert!((enbw - 2.0044).abs() < 1e-4, "{enbw}");
        let db = |bins: f64| {
            let turn = |i: usize| std::f64::consts::TAU * bins * i as f64 / f64::from(n);
            let at: Complex64 = w
                .iter()
                .enumerate()
                .map(|(i, w)| Complex64::from_polar(*w, turn(i)))
                .sum();
            20.0 * (at.norm() / sum).log10()
        };
        assert!((db(0.5) + 0.8256).abs() < 1e-4, "{}", db(0.5));
        // The main lobe ends four bins away.
        let highest = (0..600)
            .map(|i| db(4.0 + 0.02 * f64::from(i)))
            .reduce(f64::max)
            .unwrap();
        assert!((highest + 92.0).abs() < 0.05, "{highest}");
    }

    #[test]
    fn white_noise_gives_its_variance_and_hum_and_a_knock_do_not_spoil_it() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let rate = 48_000.0;
        let n = 300_000;
        let x: Vec<f32> = (0..n).map(|_| (1e-3 * gauss(&mut rng)) as f32).collect();
        let y: Vec<f32> = (0..n)
            .map(|i| {
                let t = i as f64 / rate;
                let hum: f64 = (1..26).map(|k| 0.01 / k as f64 * (314.159 * k as f64 * t).sin()).sum();
                let knock = if (5000..9000).contains(&i) {
                    0.05 * (t * 900.0).sin()
                } else {
                    0.0
                };
                (2e-3 * gauss(&mut rng) + hum + knock + 0.5 * f64::from(x[i])) as f32
            })
            .collect();
        let s = from_silences(&y, Some(&x), &[0..n / 2, n / 2 + 100..n], rate, 0.0).unwrap();
        for f in [400.0, 1000.0, 3000.0, 9000.0] {
            let (yy, xx, yx) = s.at(f);
            assert!((yy / 4.25e-6 - 1.0).abs() < 0.2, "{f}: {yy}");
            assert!((xx / 1e-6 - 1.0).abs() < 0.2, "{f}: {xx}");
            // The cross-spectrum of weakly related channels scatters more: sqrt(yy xx / looks).
            assert!((yx.re - 0.5e-6).abs() < 0.35e-6, "{f}: {yx}");
        }
    }
}
