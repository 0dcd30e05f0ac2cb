//! The spectrum of a signal on another clock: at frequencies between those of a transform.
//!
//! One transform of the signal, padded to twice its length, gives a grid from which a short kernel reads the spectrum anywhere,
//! to a part in 1e10 of the whole (Jackson, Meyer, Nishimura, Macovski, IEEE Trans. Med. Imaging 10, 1991). The kernel is the
//! Kaiser-Bessel window, whose own transform is known, so that what it does to the signal is taken back beforehand.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;

use crate::fft;

/// Width of the kernel in grid points.
const TAPS: usize = 12;
/// Its shape: what Beatty, Nishimura, Pauly (IEEE Trans. Med. Imaging 24, 2005) give for a grid of twice the density.
const SHAPE: f64 = 28.137;
/// Points of the kernel's table to a grid point; between them a cubic.
const STEPS: usize = 512;

/// A signal's spectrum, ready to be read at any frequency.
pub struct Stretch {
    /// Grid points from -TAPS on.
    grid: Vec<Complex64>,
    /// Grid points to a turn per sample.
    density: f64,
    /// The sample from which phases are counted.
    centre: f64,
    /// Kernel and slope, for each step the value at every tap.
    table: Vec<[[f64; TAPS]; 2]>,
}

/// Value of a spectrum and its derivative by the frequency in turns per sample.
type Read = (Complex64, Complex64);

impl Stretch {
    /// Of `signal`, each sample with its `weight`, to be read up to a frequency in turns per sample.
    pub fn new(signal: &[f32], weight: impl Fn(usize) -> f64, top: f64) -> Self {
        let start = signal.iter().position(|v| *v != 0.0).unwrap_or(0);
        let end = signal.iter().rposition(|v| *v != 0.0).map_or(1, |i| i + 1);
        let centre = (start + end) / 2;
        let size = fft::good_length(2 * (end - start) + 2);
        let mut padded = vec![0.0; size];
        for away in 0..=(end - start) / 2 + 1 {
            let share = 1.0 / kernels_transform(away as f64 / size as f64);
            // As far before the centre as after it.
            let sides = [
                (centre.checked_sub(away), (size - away) % size),
                (Some(centre + away), away),
            ];
            for (n, slot) in sides {
                if let Some((n, v)) = n.and_then(|n| Some((n, *signal.get(n)?))) {
                    padded[slot] = f64::from(v) * weight(n) * share;
                }
            }
        }
        let keep = ((top * size as f64) as usize + 2 * TAPS).min(size / 2 + 1);
        let half = fft::forward_of(padded, keep);
        let below = (1..=TAPS).rev().map(|k| half[k.min(keep - 1)].conj());
        Stretch {
            grid: below.chain(half.iter().copied()).collect(),
            density: size as f64,
            centre: centre as f64,
            table: table(),
        }
    }

    /// sum x_n exp(-j 2 pi f (n - centre)) at `turns` a sample.
    fn read(&self, turns: f64) -> Read {
        let place = turns * self.density;
        let whole = place as usize;
        let fine = (place - whole as f64) * STEPS as f64;
        let step = (fine as usize).min(STEPS - 1);
        let t = fine - step as f64;
        // Cubic through the steps before, at and two after (Lagrange).
        let cubic = [
            -t * (t - 1.0) * (t - 2.0) / 6.0,
            (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
            -(t + 1.0) * t * (t - 2.0) / 2.0,
            (t + 1.0) * t * (t - 1.0) / 6.0,
        ];
        let first = whole + TAPS / 2 + 1;
        let (Some(near), Some(rows)) = (self.grid.get(first..first + TAPS), self.table.get(step..step + 4)) else {
            return Read::default();
        };
        // Sums side by side, so that the compiler can take several at once.
        let mut weight = [[0.0; TAPS]; 2];
        for (row, c) in rows.iter().zip(cubic) {
            for (weight, row) in weight.iter_mut().zip(row) {
                for i in 0..TAPS {
                    weight[i] += c * row[i];
                }
            }
        }
        let mut sums = [[0.0; 2]; 2];
        for i in 0..TAPS {
            for w in 0..2 {
                sums[w][0] += weight[w][i] * near[i].re;
                sums[w][1] += weight[w][i] * near[i].im;
            }
        }
        let [value, slope] = sums.map(|[re, im]| Complex64::new(re, im));
        (value, slope * self.density)
    }

    /// The spectrum at `count` frequencies k x `step` turns per sample, k from nought, phases counted from sample `origin` and
    /// turned back by `late` turns for each k; and each value's derivative by the time that the samples are taken apart.
    pub fn spectrum(&self, count: usize, step: f64, origin: f64, late: f64) -> (Vec<Complex64>, Vec<Complex64>) {
        let off = self.centre - origin;
        let (mut x, mut dx) = (Vec::with_capacity(count), Vec::with_capacity(count));
        let turn = |k: f64| Complex64::from_polar(1.0, -TAU * ((k * (late + off * step)) % 1.0));
        let by_one = turn(1.0);
        let mut phase = by_one;
        for k in 0..count {
            // Turned on from bin to bin, and set anew before rounding gathers.
            phase = if k % 64 == 0 { turn(k as f64) } else { phase * by_one };
            let (value, slope) = self.read(k as f64 * step);
            x.push(value * phase);
            // sum x_n (n - origin) exp(...), since each sample's derivative by the frequency is -j 2 pi (n - centre) times it.
            dx.push((Complex64::new(0.0, 1.0 / TAU) * slope + value * off) * phase);
        }
        (x, dx)
    }
}

/// Transform of the kernel at `place` periods of the grid.
fn kernels_transform(place: f64) -> f64 {
    let inside = SHAPE * SHAPE - (PI * TAPS as f64 * place).powi(2);
    let root = inside.max(f64::MIN_POSITIVE).sqrt();
    TAPS as f64 * root.sinh() / root / bessel(SHAPE)[0]
}

/// I0(x) and I1(x)/x, modified Bessel functions, by their power series.
fn bessel(x: f64) -> [f64; 2] {
    let q = 0.25 * x * x;
    let (mut term, mut sums, mut k) = (1.0, [1.0, 0.5], 1.0);
    while term > 1e-17 * sums[0] {
        term *= q / (k * k);
        sums[0] += term;
        sums[1] += 0.5 * term / (k + 1.0);
        k += 1.0;
    }
    sums
}

/// Kernel and slope at every tap, from one step before a grid point to two after the next.
fn table() -> Vec<[[f64; TAPS]; 2]> {
    let half = 0.5 * TAPS as f64;
    let top = bessel(SHAPE)[0];
    let row = |step: i32| {
        let mut row = [[0.0; TAPS]; 2];
        for i in 0..TAPS {
            let t = f64::from(step) / STEPS as f64 + half - 1.0 - i as f64;
            let s2 = 1.0 - (t / half).powi(2);
            if s2 >= 0.0 {
                let [i0, i1] = bessel(SHAPE * s2.sqrt());
                row[0][i] = i0 / top;
                row[1][i] = -SHAPE * SHAPE * t / (half * half) * i1 / top;
            }
        }
        row
    };
    (-1..STEPS as i32 + 3).map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_sum_it_stands_for() {
        let x: Vec<f32> = (0..357).map(|i| ((i * i) as f32 * 0.37).sin()).collect();
        let weight = |n: usize| 1.0 / (1.0 + n as f64);
        let stretch = Stretch::new(&x, weight, 0.3);
        let (step, origin, late) = (0.003_001, 170.5, 0.123);
        let (got, slope) = stretch.spectrum(90, step, origin, late);
        let size: f64 = x
            .iter()
            .enumerate()
            .map(|(n, v)| (f64::from(*v) * weight(n)).abs())
            .sum();
        for k in 0..90 {
            let (mut want, mut want_slope) = (Complex64::new(0.0, 0.0), Complex64::new(0.0, 0.0));
            for (n, v) in x.iter().enumerate() {
                let place = n as f64 - origin;
                let term = Complex64::from_polar(f64::from(*v) * weight(n), -TAU * k as f64 * (step * place + late));
                want += term;
                want_slope += term * place;
            }
            assert!((got[k] - want).norm() < 1e-10 * size, "{k}: {} {want}", got[k]);
            assert!(
                (slope[k] - want_slope).norm() < 1e-8 * 180.0 * size,
                "{k}: {} {want_slope}",
                slope[k]
            );
        }
    }
}
