//! A known drive, and where its samples lie in a take.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::Complex64;

use super::bins::Record;
use super::stretch::Stretch;
use super::sums;

/// A drive at the take's rate.
#[derive(Debug, Clone)]
pub struct Drive<'a> {
    pub samples: &'a [f32],
    /// The part of it that is not silence: exact, since it is a file and not a recording.
    pub active: Range<usize>,
    pub rate: f64,
}

impl<'a> Drive<'a> {
    /// `None` where the drive is silent throughout.
    pub fn new(samples: &'a [f32], rate: f64) -> Option<Self> {
        let top = sums::peak(samples);
        if top <= 0.0 {
            return None;
        }
        let loud = |v: &f32| v.abs() > 1e-3 * top;
        let start = samples.iter().position(loud)?;
        let end = samples.iter().rposition(loud)? + 1;
        let margin = (0.03 * rate) as usize;
        let active = start.saturating_sub(margin)..(end + margin).min(samples.len());
        Some(Drive { samples, active, rate })
    }

    pub fn middle(&self) -> f64 {
        0.5 * (self.active.start + self.active.end) as f64
    }
}

/// Where the drive's samples arrive: sample `middle` at `arrival`, in samples of the capture clock from the take's start.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    pub middle: f64,
    pub arrival: f64,
    /// How fast the output clock runs against the input clock.
    pub ppm: f64,
}

impl Place {
    /// How far the capture clock runs on while the output plays a sample.
    fn slow(self) -> f64 {
        1.0 / (1.0 + self.ppm * 1e-6)
    }

    /// Where sample `n` of the drive arrives.
    pub fn of(self, n: f64) -> f64 {
        self.arrival + (n - self.middle) * self.slow()
    }

    /// The same place, told by another sample of the drive.
    pub fn seen_from(self, middle: f64) -> Place {
        let arrival = self.arrival + (middle - self.middle) / (1.0 + self.ppm * 1e-6);
        Place {
            middle,
            arrival,
            ..self
        }
    }
}

/// The drive as the capture clock sees it, at the bins of a record: sample `n` lies at `arrival + (n - middle)/(1 + ppm 1e-6)`
/// samples after the record's start.
pub struct Laying {
    stretch: Stretch,
    length: usize,
    keep: usize,
}

impl Laying {
    /// Of a drive that arrives about `at`: each sample has there the weight of the record's window, so that a take that is cut
    /// within the drive still answers to what is left of it.
    pub fn new(drive: &[f32], at: Place, record: &Record, keep: usize) -> Self {
        let top = 1.002 * keep as f64 / record.length as f64;
        Laying {
            stretch: Stretch::new(drive, |n| record.weight(at.of(n as f64)), top),
            length: record.length,
            keep,
        }
    }

    /// Spectrum of the drive, and its derivative per ppm. No further from where it was taken to arrive than a taper is long.
    pub fn spectrum(&self, at: Place) -> (Vec<Complex64>, Vec<Complex64>) {
        let (n, slow) = (self.length as f64, at.slow());
        let (x, mut dx) = self.stretch.spectrum(self.keep, slow / n, at.middle, at.arrival / n);
        for (k, d) in dx.iter_mut().enumerate() {
            // d/dppm of exp(-j w (n - middle)/(1 + ppm 1e-6)).
            *d *= Complex64::new(0.0, TAU * k as f64 / n * 1e-6 * slow * slow);
        }
        (x, dx)
    }
}
