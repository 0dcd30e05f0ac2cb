//! Where takes come from: the sound card, the built-in bench, a WAV file, behind one trait.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

pub mod bench;
#[cfg(feature = "live")]
pub mod live;
pub mod stop;
pub mod wav;

/// A recording as it came from the converter: channel 1 the pickup, channel 2 (if any) the reference.
#[derive(Debug, Clone)]
pub struct Take {
    pub rate_hz: u32,
    /// Full scale = 1.0.
    pub pickup: Vec<f32>,
    /// Full scale = 1.0, as long as `pickup`; `None` for a one-channel take.
    pub reference: Option<Vec<f32>>,
    /// Converter step as a fraction of full scale (2^-15, 2^-23, 2^-31; 2^-24 for float).
    pub step: f64,
    pub provenance: Provenance,
}

impl Take {
    /// The channels that there are, in their order.
    pub fn channels(&self) -> Vec<&[f32]> {
        std::iter::once(&*self.pickup)
            .chain(self.reference.as_deref())
            .collect()
    }
}

/// What is known of a take besides its samples.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    #[serde(skip)]
    pub file: Option<PathBuf>,
    /// Played and captured by the built-in bench.
    pub simulated: bool,
    pub device: Option<String>,
    /// Remarks for the record's `notes`: channels ignored, file shorter than its header...
    pub notes: Vec<String>,
    /// What the audio system reported while recording; any entry voids the take.
    pub trouble: Vec<String>,
    /// What the trouble comes of, where there is any.
    #[serde(default)]
    pub cause: Cause,
}

/// What trouble while recording comes of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Cause {
    /// Buffers ran empty or over, for want of time: another try may do.
    Busy,
    /// The sound system ended, or hangs.
    Stopped,
    /// A device that went away, or runs otherwise than it was asked to.
    #[default]
    Device,
}

impl Cause {
    pub fn remedy(self) -> &'static str {
        match self {
            Cause::Busy => "close other programs",
            Cause::Stopped => "restart the sound system",
            Cause::Device => "look at the interface and its cable",
        }
    }
}

/// What is asked of a capture: play these samples, record what answers.
#[derive(Debug, Clone)]
pub struct Request {
    pub rate_hz: u32,
    /// One channel, full scale = 1.0, silences included.
    pub drive: Vec<f32>,
}

/// How far a running capture has come; `peak` is the larger of the two inputs' peaks since the last call (1.0 = full scale).
#[derive(Debug, Clone, Copy, Default)]
pub struct Progress {
    pub fraction: f64,
    pub peak_pickup: f32,
    pub peak_reference: f32,
}

/// Nothing played for as long as somebody taps `count` times in no hurry: the exciter is silent.
pub fn silence(rate_hz: u32, count: u32) -> Request {
    let seconds = 3.0 + 1.5 * f64::from(count);
    Request {
        rate_hz,
        drive: vec![0.0; (seconds * f64::from(rate_hz)) as usize],
    }
}

/// A signal that goes round and round, and what answers it.
pub trait Rounds {
    /// Waits for whole rounds, as long as the one played, and brings all that have come: the pickup first, then the reference.
    fn next(&mut self) -> crate::failure::Result<Vec<[Vec<f32>; 2]>>;
    /// Hangs another load on the pickup, where that is not done by hand.
    fn hang(&mut self, _load: &crate::network::Load) {}
}

/// Plays a drive signal and brings back the take. Implementations print nothing; progress goes through the callback.
pub trait Capture {
    /// In words, for the record and the screen.
    fn describe(&self) -> String;
    fn take(&mut self, request: &Request, progress: &mut dyn FnMut(Progress)) -> crate::failure::Result<Take>;
    /// Plays one round over and over, with a ramp before the first, until what is given back is dropped: silent within a buffer then.
    fn rounds(&mut self, rate_hz: u32, round: &[f32]) -> crate::failure::Result<Box<dyn Rounds>>;
    /// Records while somebody taps `count` times.
    fn taps(&mut self, rate_hz: u32, count: u32, progress: &mut dyn FnMut(Progress)) -> crate::failure::Result<Take> {
        self.take(&silence(rate_hz, count), progress)
    }
}
