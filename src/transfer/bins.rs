//! The raw bins of a take: Y_k = H(f_k) X_k + N_k over one record, silence to silence.

use std::f64::consts::PI;
use std::ops::Range;

use num_complex::Complex64;

use super::noise::Noise;
use crate::fft;

/// Spectra of reference and pickup over the same record, with the noise that each bin has.
#[derive(Debug, Clone)]
pub struct Bins {
    pub spacing_hz: f64,
    /// Index of the first bin kept.
    pub first: usize,
    pub x: Vec<Complex64>,
    pub y: Vec<Complex64>,
    /// Change of `x` per ppm that the output clock runs fast: one-channel takes only.
    pub x_clock: Option<Vec<Complex64>>,
    /// Noise densities (variance per sample) at the bins.
    pub syy: Vec<f64>,
    pub sxx: Vec<f64>,
    pub syx: Vec<Complex64>,
    pub used: Vec<bool>,
    /// Transform length: noise density x this is the variance that counts for the uncertainty.
    pub length: f64,
    /// Sum of the squared window: noise density x this is the variance that a bin shows.
    pub energy: f64,
}

impl Bins {
    /// Of two spectra over a record, neither noise nor use told yet.
    pub fn new(record: &Record, x: Vec<Complex64>, y: Vec<Complex64>, rate_hz: f64) -> Self {
        let n = y.len();
        Bins {
            spacing_hz: rate_hz / record.length as f64,
            first: 0,
            x,
            y,
            x_clock: None,
            syy: vec![1.0; n],
            sxx: vec![0.0; n],
            syx: vec![Complex64::new(0.0, 0.0); n],
            used: vec![false; n],
            length: record.length as f64,
            energy: record.energy(),
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.y.len()
    }

    pub fn freq(&self, i: usize) -> f64 {
        (self.first + i) as f64 * self.spacing_hz
    }

    pub fn index_of(&self, f: f64) -> usize {
        ((f / self.spacing_hz).round() as usize)
            .saturating_sub(self.first)
            .min(self.len().saturating_sub(1))
    }

    pub fn used_count(&self) -> usize {
        self.used.iter().filter(|u| **u).count()
    }

    /// The bins of a band, both its ends among them.
    pub fn inside(&self, band: [f64; 2]) -> Range<usize> {
        self.index_of(band[0])..(self.index_of(band[1]) + 1).min(self.len())
    }

    /// What noise alone leaves of |Y|^2 in a bin.
    pub fn noise_power(&self, i: usize) -> f64 {
        self.syy[i] * self.energy
    }

    /// Takes the noise of the silences for every bin.
    pub fn set_noise(&mut self, noise: &Noise) {
        for i in 0..self.len() {
            (self.syy[i], self.sxx[i], self.syx[i]) = noise.at(self.freq(i));
        }
    }
}

/// The cut of a take that is transformed: its frames and the tapers at its ends.
#[derive(Debug, Clone)]
pub struct Record {
    pub range: Range<usize>,
    pub taper_in: usize,
    pub taper_out: usize,
    pub length: usize,
}

/// Silence kept on either side: the tapers lie in it, where there is no signal that they could bend.
const KEEP_S: f64 = 0.3;
const TAPER_S: f64 = 0.2;
/// Taper where a take is cut within the signal.
const CUT_TAPER_S: f64 = 0.02;

impl Record {
    /// The active stretch and some silence around it, within `limits`; all of it where nothing is known to be silent.
    pub fn around(active: Option<&Range<usize>>, limits: &Range<usize>, rate_hz: f64) -> Self {
        let s = |t: f64| (t * rate_hz) as usize;
        let active = active.unwrap_or(limits);
        let start = active.start.saturating_sub(s(KEEP_S)).max(limits.start);
        let end = (active.end + s(KEEP_S)).min(limits.end);
        let frames = end - start;
        // Part of the silence at either side stays untouched: the answer dies away in it.
        let least = s(CUT_TAPER_S).min(frames / 8);
        let taper = |silence: usize, calm: usize| silence.saturating_sub(calm).min(s(TAPER_S)).max(least);
        Record {
            taper_in: taper(active.start - start, s(0.01)),
            taper_out: taper(end - active.end, s(0.1)),
            length: fft::good_length(end - start),
            range: start..end,
        }
    }

    /// Weight of the record's window at a place counted in samples from its start; zero outside.
    pub fn weight(&self, at: f64) -> f64 {
        let n = self.range.len() as f64;
        if at < -0.5 || at > n - 0.5 {
            return 0.0;
        }
        let ramp = |d: f64, t: usize| match d < t as f64 {
            true => (0.5 * PI * (d + 0.5).max(0.0) / t as f64).sin().powi(2),
            false => 1.0,
        };
        ramp(at, self.taper_in) * ramp(n - 1.0 - at, self.taper_out)
    }

    pub fn energy(&self) -> f64 {
        let n = self.range.len();
        let edges: f64 = (0..self.taper_in)
            .chain(n.saturating_sub(self.taper_out)..n)
            .map(|i| 1.0 - self.weight(i as f64).powi(2))
            .sum();
        n as f64 - edges
    }

    /// As many bins as reach a little above a frequency.
    pub fn bins_up_to(&self, top_hz: f64, rate_hz: f64) -> usize {
        ((top_hz / rate_hz * self.length as f64) as usize + 2).min(self.length / 2)
    }

    /// Transform of a channel over the record, bins 0..keep; the mean is taken off first.
    pub fn transform(&self, channel: &[f32], keep: usize) -> Vec<Complex64> {
        let cut = &channel[self.range.clone()];
        let mean = cut.iter().map(|v| f64::from(*v)).sum::<f64>() / cut.len().max(1) as f64;
        // Only the tapers weigh anything: between them the window is 1 exactly.
        let flat = self.taper_in..cut.len().saturating_sub(self.taper_out);
        let windowed = cut.iter().enumerate().map(|(i, v)| {
            let v = f64::from(*v) - mean;
            if flat.contains(&i) {
                v
            } else {
                self.weight(i as f64) * v
            }
        });
        fft::forward(windowed, self.length, keep)
    }
}
