//! Periodic random-phase noise: whole periods of a multisine, lines at mains multiples left out, crest factor lowered.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::settings::{Body, Settings, Tilt};
use crate::failure::{Failure, Result};
use crate::fft;

/// Length of a period aimed at: lines about 2 Hz apart.
const PERIOD_S: f64 = 0.5;
/// Mains harmonics kept free of lines: hum is rarely above the signal beyond the 25th.
const HARMONICS: u32 = 25;
const FADE_S: f64 = 0.005;
/// Rounds of clipping in time and restoring in frequency (Van der Ouderaa, Schoukens, Renneboog,
/// IEEE Trans. Instrum. Meas. 37 (1988) 145); more gain little.
const ROUNDS: usize = 60;

pub(super) fn periodic(s: &Settings) -> Result<Body> {
    let rate = f64::from(s.rate_hz);
    let periods = (s.seconds / PERIOD_S).round().max(2.0) as usize;
    // Even, so that the half-rate bin exists and stays empty.
    let period = 2 * (0.5 * s.seconds * rate / periods as f64).round().max(8.0) as usize;
    let wanted = amplitudes(s, period)?;
    let x = low_crest(&wanted, period, s.seed);
    let total = period * periods;
    let fade = ((FADE_S * rate) as usize).min(period / 4);
    let samples = (0..total)
        .map(|i| {
            let edge = i.min(total - 1 - i);
            let gain = if edge < fade {
                0.5 - 0.5 * (std::f64::consts::PI * (edge as f64 + 0.5) / fade as f64).cos()
            } else {
                1.0
            };
            gain * x[i % period]
        })
        .collect();
    Ok(Body {
        samples,
        seconds: total as f64 / rate,
        period_samples: period as f64,
        periods: periods as u32,
    })
}

/// One period of `frames` samples that goes on into itself, and which lines it has.
pub(super) fn round(s: &Settings, frames: usize) -> Result<(Vec<f64>, Vec<bool>)> {
    let wanted = amplitudes(s, frames)?;
    let lines = wanted.iter().map(|a| *a > 0.0).collect();
    Ok((low_crest(&wanted, frames, s.seed), lines))
}

/// Of each line up to half the rate: nought outside the band and on the mains.
fn amplitudes(s: &Settings, period: usize) -> Result<Vec<f64>> {
    let spacing = f64::from(s.rate_hz) / period as f64;
    let amplitude = |k: usize| match (k as f64 * spacing, s.tilt) {
        (f, _) if f < s.from_hz || f > s.to_hz || near_mains(f, spacing) => 0.0,
        (_, Tilt::Flat) => 1.0,
        (f, Tilt::Pink) => 1.0 / f.sqrt(),
    };
    let wanted: Vec<f64> = (0..=period / 2).map(amplitude).collect();
    if wanted.iter().filter(|a| **a > 0.0).count() < 20 {
        let (from, to, seconds) = (s.from_hz, s.to_hz, s.seconds);
        return Err(Failure::new(
            format!("a noise from {from} to {to} Hz in {seconds} s has too few lines"),
            "make it longer or wider",
        ));
    }
    Ok(wanted)
}

/// One period with lines of these amplitudes, their phases drawn and then set so that its crest is low.
fn low_crest(wanted: &[f64], period: usize, seed: u64) -> Vec<f64> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut bins: Vec<Complex64> = wanted
        .iter()
        .map(|a| {
            // 53 random bits to [0, 1): part of the file format, so written out here.
            let u = (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
            Complex64::from_polar(*a, TAU * u)
        })
        .collect();
    let mut x = fft::inverse(&bins, period);
    for round in 0..ROUNDS {
        let peak = x.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        let limit = peak * (0.75 + 0.2 * round as f64 / ROUNDS as f64);
        let clipped = x.iter().map(|v| v.clamp(-limit, limit));
        let next = fft::forward(clipped, period, period / 2 + 1);
        for ((b, n), a) in bins.iter_mut().zip(&next).zip(wanted) {
            if *a > 0.0 && n.norm() > 0.0 {
                *b = n * (a / n.norm());
            }
        }
        x = fft::inverse(&bins, period);
    }
    x
}

/// Whether a line would stand on a multiple of 50 or 60 Hz (half a spacing to either side).
fn near_mains(f: f64, spacing: f64) -> bool {
    [50.0, 60.0].iter().any(|mains| {
        let k = (f / mains).round();
        k >= 1.0 && k <= f64::from(HARMONICS) && (f - k * mains).abs() <= 0.5 * spacing + 1e-9
    })
}
