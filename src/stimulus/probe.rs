//! A tone and two short sweeps at one level: what a level is tried with.

use std::f64::consts::TAU;
use std::ops::Range;

use super::settings::{Settings, ramp};
use super::{LEAD_S, make, quantise};
use crate::failure::Result;

/// Frequency of the tone. It and its next four multiples lie 8 Hz and more from every multiple of 50 and 60 Hz.
pub const TONE_HZ: f64 = 1208.0;
/// Multiples of the tone that are looked at, the tone itself counted.
pub const HARMONICS: usize = 5;
const TONE_S: f64 = 0.8;
const FADE_S: f64 = 0.02;
const SWEEPS_S: f64 = 1.0;

/// Samples to play, and where in them the parts lie.
#[derive(Debug, Clone)]
pub struct Probe {
    pub rate_hz: u32,
    pub level_dbfs: f64,
    /// Full scale = 1.0, silences included.
    pub samples: Vec<f32>,
    pub tone: Range<usize>,
    pub sweeps: Range<usize>,
}

/// The probe at a peak level.
pub fn at_level(rate_hz: u32, level_dbfs: f64) -> Result<Probe> {
    let sweeps = make(&Settings {
        seconds: SWEEPS_S,
        level_dbfs,
        ..Settings::at_rate(rate_hz)
    })?;
    let rate = f64::from(rate_hz);
    let lead = (LEAD_S * rate).round() as usize;
    let n = (TONE_S * rate).round() as usize;
    let amplitude = 10f64.powf(level_dbfs / 20.0);
    let mut samples = vec![0f32; lead];
    samples.extend((0..n).map(|i| {
        let t = i as f64 / rate;
        let faded = amplitude * ramp(t / FADE_S) * ramp((n - 1 - i) as f64 / rate / FADE_S);
        quantise(faded * (TAU * (TONE_HZ * t).fract()).sin())
    }));
    let from = samples.len();
    samples.extend(&sweeps.samples);
    Ok(Probe {
        rate_hz,
        level_dbfs,
        tone: lead..lead + n,
        sweeps: from..samples.len(),
        samples,
    })
}
