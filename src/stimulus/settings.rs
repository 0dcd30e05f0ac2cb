//! What is asked of a test signal, and what its makers give back.

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Shape {
    Sweep,
    Noise,
}

/// Spectrum of periodic noise: equal amplitude per hertz, or amplitude falling as 1/sqrt f (power as 1/f).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Tilt {
    Flat,
    Pink,
}

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    pub shape: Shape,
    pub rate_hz: u32,
    /// The active signal, both sweeps or all periods together, silences not counted.
    pub seconds: f64,
    pub from_hz: f64,
    pub to_hz: f64,
    /// Peak of the file.
    pub level_dbfs: f64,
    pub seed: u64,
    pub tilt: Tilt,
}

impl Settings {
    /// The default drive at a rate: 20 Hz to 20 kHz or 0.45 of the rate, 3 s, -12 dBFS.
    pub fn at_rate(rate_hz: u32) -> Self {
        Settings {
            shape: Shape::Sweep,
            rate_hz,
            seconds: 3.0,
            from_hz: 20.0,
            to_hz: default_top(rate_hz),
            level_dbfs: -12.0,
            seed: 1,
            tilt: Tilt::Flat,
        }
    }

    /// Refuses what cannot be made, by the option that asks for it.
    pub(super) fn check(&self) -> Result<()> {
        let half = 0.5 * f64::from(self.rate_hz);
        let (what, hint) = if !(44_100..=192_000).contains(&self.rate_hz) {
            let hint = "give --rate between 44.1k and 192k, such as 48k or 96k";
            (format!("the sampling rate {} Hz is out of reach", self.rate_hz), hint)
        } else if !(self.from_hz.is_finite() && self.to_hz.is_finite() && self.from_hz >= 1.0) {
            let what = format!("the drive cannot start at {} Hz", self.from_hz);
            (what, "give --from as 1 Hz or more")
        } else if self.to_hz < 2.0 * self.from_hz || self.to_hz > 0.98 * half {
            let (from, to, rate) = (self.from_hz, self.to_hz, self.rate_hz);
            let what = format!("a drive from {from} to {to} Hz does not fit a sampling rate of {rate} Hz");
            (
                what,
                "give --to at least an octave above --from and below 0.49 of --rate",
            )
        } else if !(0.2..=60.0).contains(&self.seconds) {
            let what = format!("a drive of {} s cannot be made", self.seconds);
            (what, "give --seconds between 0.2 and 60")
        } else if !(-100.0..=0.0).contains(&self.level_dbfs) {
            let what = format!("a level of {} dBFS cannot be played", self.level_dbfs);
            (what, "give --level between -100dBFS and 0dBFS")
        } else {
            return Ok(());
        };
        Err(Failure::new(what, hint))
    }
}

pub fn default_top(rate_hz: u32) -> f64 {
    20_000f64.min(0.45 * f64::from(rate_hz))
}

/// Body of a drive signal before scaling.
pub(super) struct Body {
    pub samples: Vec<f64>,
    pub seconds: f64,
    pub period_samples: f64,
    pub periods: u32,
}

/// From 0 to 1 along half a cosine, as `u` does; flat before and after.
pub(super) fn ramp(u: f64) -> f64 {
    0.5 - 0.5 * (std::f64::consts::PI * u.clamp(0.0, 1.0)).cos()
}
