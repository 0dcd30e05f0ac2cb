//! What real takes have besides the signal: noise, hum, knocks, lost samples, converters that end somewhere.

use std::f64::consts::{PI, SQRT_2, TAU};

use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;

use crate::fft;

/// Band that a level of noise is stated for.
const NOISE_BAND_HZ: f64 = 20e3;
/// Highest mains line.
const HARMONICS: u32 = 25;

/// Amplitude of a level in decibels.
pub(super) fn ratio(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// Rms of a signal whose level is stated against a full-scale sine (AES17).
pub(super) fn rms_of(dbfs: f64) -> f64 {
    ratio(dbfs) / SQRT_2
}

pub(super) fn rms(x: &[f64]) -> f64 {
    (x.iter().map(|v| v * v).sum::<f64>() / x.len().max(1) as f64).sqrt()
}

/// From 0 to below 1, 53 bits.
fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Two independent standard normal numbers (Box and Muller, Ann. Math. Statist. 29, 1958).
pub(super) fn normal_pair(rng: &mut ChaCha8Rng) -> Complex64 {
    let radius = (-2.0 * (1.0 - uniform(rng)).ln()).sqrt();
    Complex64::from_polar(radius, TAU * uniform(rng))
}

/// White noise, and below `flicker_hz` more and more 1/f noise: density S (1 + f_c/f).
pub(super) fn noise(rng: &mut ChaCha8Rng, frames: usize, rate: f64, dbfs: f64, flicker_hz: f64) -> Vec<f64> {
    let n = fft::good_length(frames);
    let variance = rms_of(dbfs).powi(2) * 0.5 * rate / NOISE_BAND_HZ;
    let scale = (0.5 * n as f64 * variance).sqrt();
    let bins: Vec<Complex64> = (0..=n / 2)
        .map(|k| {
            let g = normal_pair(rng);
            match k {
                0 => Complex64::new(0.0, 0.0),
                _ => g * scale * (1.0 + flicker_hz * n as f64 / (k as f64 * rate)).sqrt(),
            }
        })
        .collect();
    let mut x = fft::inverse(&bins, n);
    x.truncate(frames);
    x
}

/// Mains lines with the odd ones ahead, as transformers make them; `shape` is what the pickup does to each frequency.
pub(super) fn hum(
    rng: &mut ChaCha8Rng,
    frames: usize,
    rate: f64,
    mains_hz: f64,
    total_rms: f64,
    shape: impl Fn(f64) -> f64,
) -> Vec<f64> {
    let lines: Vec<(f64, f64, f64)> = (1..=HARMONICS)
        .map(|n| {
            let f = mains_hz * f64::from(n);
            let size = if n % 2 == 1 { 1.0 } else { 0.2 } / f64::from(n).powf(1.2);
            (f, size * shape(f), TAU * uniform(rng))
        })
        .filter(|l| l.0 < 0.49 * rate)
        .collect();
    let power: f64 = lines.iter().map(|l| 0.5 * l.1 * l.1).sum();
    let mut x = vec![0.0; frames];
    if !(power > 0.0 && total_rms > 0.0) {
        return x;
    }
    let scale = total_rms / power.sqrt();
    for (f, size, phase) in lines {
        // A turning pointer, set anew every block so that rounding does not gather.
        let turn = Complex64::from_polar(1.0, TAU * f / rate);
        for (b, block) in x.chunks_mut(4096).enumerate() {
            let at = phase + TAU * ((f / rate * 4096.0 * b as f64) % 1.0);
            let mut p = Complex64::from_polar(size * scale, at);
            for v in block {
                *v += p.re;
                p *= turn;
            }
        }
    }
    x
}

/// A knock on the bench: what stands on it rings in a few modes and dies away.
pub(super) fn add_knock(x: &mut [f64], rng: &mut ChaCha8Rng, rate: f64, at_s: f64, peak: f64) {
    // Hertz, decay in seconds, size.
    const MODES: [(f64, f64, f64); 4] = [
        (170.0, 0.012, 1.0),
        (610.0, 0.006, 0.8),
        (2300.0, 0.003, 0.6),
        (5200.0, 0.0015, 0.3),
    ];
    let length = (0.1 * rate) as usize;
    let phases = MODES.map(|_| TAU * uniform(rng));
    let knock: Vec<f64> = (0..length)
        .map(|i| {
            let t = i as f64 / rate;
            let rise = 1.0 - (-t / 2e-4).exp();
            let modes = MODES.iter().zip(phases);
            rise * modes
                .map(|(m, p)| m.2 * (-t / m.1).exp() * (TAU * m.0 * t + p).sin())
                .sum::<f64>()
        })
        .collect();
    let top = knock.iter().fold(0.0f64, |m, v| m.max(v.abs())).max(f64::MIN_POSITIVE);
    let start = (at_s * rate).round() as usize;
    for (v, k) in x.iter_mut().skip(start).zip(&knock) {
        *v += k * peak / top;
    }
}

/// Takes out `count` samples at each of the times (of the take as it will be), then cuts to `frames`.
pub(super) fn drop_samples(x: &mut Vec<f64>, times_s: &[f64], count: usize, rate: f64, frames: usize) {
    let mut times = times_s.to_vec();
    times.sort_by(f64::total_cmp);
    for t in times {
        let start = ((t * rate).round() as usize).min(x.len());
        let end = (start + count).min(x.len());
        x.drain(start..end);
    }
    x.truncate(frames);
}

/// The converter: steps, and an end on both sides. Its noise is its dither.
pub(super) fn convert(x: &[f64], bits: u32) -> Vec<f32> {
    let full = (2f64).powi(bits as i32 - 1);
    x.iter()
        .map(|v| ((v * full).round().clamp(-full, full - 1.0) / full) as f32)
        .collect()
}

/// Third harmonic of the amplifier, `level` of the fundamental for a sine of the signal's peak:
/// sin^3 = (3 sin x - sin 3x)/4. At twice the rate, where a cube's images fall outside the band.
pub(super) fn third_harmonic(drive: &[f32], level: f64) -> Vec<f64> {
    let n = fft::good_length(drive.len());
    let peak = drive.iter().fold(0.0f64, |m, v| m.max(f64::from(v.abs())));
    if peak == 0.0 {
        return vec![0.0; drive.len()];
    }
    let k = 4.0 * level / (peak * peak);
    let bins = fft::forward(drive.iter().map(|v| f64::from(*v)), n, n / 2);
    // The inverse divides by its length: 2 undoes that.
    let fine = fft::inverse(&bins, 2 * n);
    let cubed = fine.iter().map(|v| 2.0 * v).map(|v| v - k * v * v * v);
    let bins = fft::forward(cubed, 2 * n, n / 2);
    let mut out = fft::inverse(&bins, n);
    for v in &mut out {
        *v *= 0.5;
    }
    out.truncate(drive.len());
    out
}

/// The input's anti-alias filter: 1 up to 0.49 of the rate, then down to nothing at half of it.
pub(super) fn anti_alias(f: f64, rate: f64) -> f64 {
    let x = (f / (0.5 * rate) - 0.98) / 0.02;
    if x <= 0.0 {
        1.0
    } else {
        0.5 + 0.5 * (PI * x.min(1.0)).cos()
    }
}
