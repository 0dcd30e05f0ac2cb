//! What taps on the pickup made it say: microphonics, as the record keeps it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;

/// The exciter's answer that levels are counted from is that at this frequency.
pub const REFERENCE_HZ: f64 = 1000.0;

/// The answer to taps with a light rod, exciter silent. All levels: rms from 100 Hz to 10 kHz (or in the band said) over the
/// 0.25 s from the tap on, in dB re the rms that the exciter gives at 1 kHz when the reference reads a full-scale sine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Knock {
    /// Taps found in the recording.
    pub taps: u32,
    /// Taps that were read; the others were left out, see `single`.
    pub used: u32,
    /// Mean level of the taps used. A tap's force varies by hand: u is the hand's scatter, Student's factor counted in.
    pub level_db: Estimate,
    /// Level of the same recording between the taps, hum taken off. A mean of many windows, for comparison only: no u.
    pub noise_db: f64,
    /// Where the answer is strongest, the strongest first, five at most, a third of an octave apart at least.
    pub peaks: Vec<KnockPeak>,
    /// Each tap found, in order of time.
    pub single: Vec<Tap>,
    /// The mean answer in 1/24 octaves, for plots.
    pub spectrum: KnockSpectrum,
    /// File name of the recording, beside the record or as given.
    pub take: Option<String>,
}

/// A frequency at which the pickup rings when tapped.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KnockPeak {
    /// Where the mean spectrum is highest; u holds what a sloping force may shift.
    pub hz: Estimate,
    /// Level in the third of an octave about it.
    pub level_db: Estimate,
    /// Time in which the amplitude falls to 1/e (times 6.91: by 60 dB); null where it does not fall evenly, or not far enough
    /// above the noise.
    pub decay_s: Option<Estimate>,
}

/// One tap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tap {
    /// Seconds from the recording's first sample; good to 1 ms, no u.
    pub at_s: f64,
    /// Its level, u from the noise alone; null where it was left out.
    pub level_db: Option<Estimate>,
    /// Why it was left out; null where it was used.
    pub left_out: Option<LeftOut>,
}

/// Why a tap was left out: the next one too near, at a flat top, cut by the recording's ends, or too weak for the noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LeftOut {
    Overlap,
    Clipped,
    Cut,
    Weak,
}

/// Mean of the used taps' levels in 1/24 octaves, noise not taken off.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KnockSpectrum {
    /// Middle of each band.
    pub freq_hz: Vec<f64>,
    /// Mean over the taps.
    pub level_db: Vec<f64>,
    /// Standard uncertainty of `level_db` from the taps' scatter.
    pub u_db: Vec<f64>,
    /// The same bands between the taps.
    pub noise_db: Vec<f64>,
}
