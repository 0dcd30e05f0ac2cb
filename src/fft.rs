//! Fourier transforms as the analysis needs them. Forward transforms are unscaled: X_k = sum x_n exp(-j 2 pi k n / N).

use std::cell::RefCell;
use std::sync::Arc;

use num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::{Fft, FftPlanner};

/// The plan made last, with its length. A plan of half a million points costs as much as its transform, and both channels,
/// as well as take after take, ask for the same length; more than one would only fill the memory.
type Last<T> = RefCell<Option<(usize, T)>>;

thread_local! {
    static FORWARD: Last<Arc<dyn RealToComplex<f64>>> = const { RefCell::new(None) };
    static INVERSE: Last<Arc<dyn ComplexToReal<f64>>> = const { RefCell::new(None) };
    static COMPLEX: Last<[Arc<dyn Fft<f64>>; 2]> = const { RefCell::new(None) };
}

fn planned<T: Clone>(last: &Last<T>, n: usize, plan: impl FnOnce() -> T) -> T {
    let mut last = last.borrow_mut();
    match &*last {
        Some((length, there)) if *length == n => there.clone(),
        _ => {
            // The old one goes first, so that there are never two.
            *last = None;
            last.insert((n, plan())).1.clone()
        }
    }
}

/// Smallest even 2^a 3^b 5^c >= n: lengths on which the transform is fast.
pub fn good_length(n: usize) -> usize {
    let n = n.max(2);
    let mut best = n.next_power_of_two();
    let mut p5 = 1usize;
    while p5 < best {
        let mut p35 = p5;
        while p35 < best {
            let mut m = 2 * p35;
            while m < n {
                m *= 2;
            }
            best = best.min(m);
            p35 *= 3;
        }
        p5 *= 5;
    }
    best
}

/// Forward transform of a real signal padded with zeros to `n`; returns the first `keep` bins.
pub fn forward(signal: impl Iterator<Item = f64>, n: usize, keep: usize) -> Vec<Complex64> {
    let mut input = vec![0.0; n];
    for (slot, x) in input.iter_mut().zip(signal) {
        *slot = x;
    }
    forward_of(input, keep)
}

/// The same of a signal that is as long as its transform, and is used up by it.
pub fn forward_of(mut input: Vec<f64>, keep: usize) -> Vec<Complex64> {
    let n = input.len();
    let plan = FORWARD.with(|last| planned(last, n, || RealFftPlanner::new().plan_fft_forward(n)));
    let mut out = plan.make_output_vec();
    let mut scratch = plan.make_scratch_vec();
    // The buffers come from the plan itself, so their lengths fit.
    let _ = plan.process_with_scratch(&mut input, &mut out, &mut scratch);
    out.truncate(keep);
    out.shrink_to_fit();
    out
}

/// Real signal of `n` samples from its first bins (the rest taken as zero), scaled so that it undoes [`forward`].
pub fn inverse(bins: &[Complex64], n: usize) -> Vec<f64> {
    let plan = INVERSE.with(|last| planned(last, n, || RealFftPlanner::new().plan_fft_inverse(n)));
    let mut input = plan.make_input_vec();
    let m = bins.len().min(input.len());
    input[..m].copy_from_slice(&bins[..m]);
    if let Some(first) = input.first_mut() {
        first.im = 0.0;
    }
    if let Some(last) = input.last_mut() {
        last.im = 0.0;
    }
    let mut out = plan.make_output_vec();
    let _ = plan.process(&mut input, &mut out);
    let k = 1.0 / n as f64;
    out.iter_mut().for_each(|x| *x *= k);
    out
}

/// Chirp-z transform by Bluestein's method: Z_k = sum_n x_n exp(-j step k n), k = 0..count.
///
/// `step` in rad/sample. Evaluates the spectrum of a finite signal at any uniform spacing, exactly, and so plays the same
/// signal on another clock. (Rabiner, Schafer, Rader, Bell Syst. Tech. J. 48, 1969.)
pub fn chirp_z(signal: &[f64], count: usize, step: f64) -> Vec<Complex64> {
    let size = good_length(signal.len() + count);
    let plan = || {
        let mut planner = FftPlanner::new();
        [planner.plan_fft_forward(size), planner.plan_fft_inverse(size)]
    };
    let [forward, inverse] = COMPLEX.with(|last| planned(last, size, plan));
    let mut kernel = vec![Complex64::new(0.0, 0.0); size];
    for (m, slot) in kernel.iter_mut().enumerate().take(count) {
        *slot = chirp(step, m as f64);
    }
    for m in 1..signal.len() {
        kernel[size - m] = chirp(step, m as f64);
    }
    forward.process(&mut kernel);
    let mut a = vec![Complex64::new(0.0, 0.0); size];
    for (m, (slot, x)) in a.iter_mut().zip(signal).enumerate() {
        *slot = chirp(step, m as f64).conj() * x;
    }
    forward.process(&mut a);
    for (x, k) in a.iter_mut().zip(&kernel) {
        *x *= k;
    }
    inverse.process(&mut a);
    let scale = 1.0 / size as f64;
    a.truncate(count);
    for (k, x) in a.iter_mut().enumerate() {
        *x *= chirp(step, k as f64).conj() * scale;
    }
    a
}

/// exp(+j step m^2 / 2), the argument reduced before the trigonometric functions so that large m keep their digits.
fn chirp(step: f64, m: f64) -> Complex64 {
    Complex64::from_polar(1.0, (0.5 * step * m * m) % std::f64::consts::TAU)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_lengths_are_even_smooth_and_close() {
        for n in [2, 3, 7, 1000, 399_999, 442_368] {
            let g = good_length(n);
            assert!(g >= n && g.is_multiple_of(2), "{n} -> {g}");
            let mut r = g;
            for p in [2, 3, 5] {
                while r.is_multiple_of(p) {
                    r /= p;
                }
            }
            assert_eq!(r, 1, "{g}");
        }
        assert!(good_length(399_999) < 410_000);
    }

    #[test]
    fn chirp_z_agrees_with_the_sum_it_stands_for() {
        let x: Vec<f64> = (0..257).map(|i| ((i * i) as f64 * 0.37).sin()).collect();
        let step = 0.0123;
        let z = chirp_z(&x, 90, step);
        for (k, z) in z.iter().enumerate() {
            let want: Complex64 = x
                .iter()
                .enumerate()
                .map(|(n, x)| Complex64::from_polar(*x, -step * k as f64 * n as f64))
                .sum();
            assert!((z - want).norm() < 1e-10, "{k}: {z} {want}");
        }
    }

    #[test]
    fn inverse_undoes_forward() {
        let x: Vec<f64> = (0..60).map(|i| (i as f64 * 0.7).cos() + 0.1).collect();
        let y = inverse(&forward(x.iter().copied(), 60, 31), 60);
        for (a, b) in x.iter().zip(&y) {
            assert!((a - b).abs() < 1e-13);
        }
    }
}
