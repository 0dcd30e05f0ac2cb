//! How strong may the drive be? One level after the other, from silence up, until an input runs short of room or bends.

use serde::{Deserialize, Serialize};

/// One level tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub level_dbfs: f64,
    pub pickup: Side,
    pub reference: Side,
    /// Harmonics over the tone, all together, of what the reference hears.
    pub output_bends: Bend,
    /// The same of the pickup's input alone.
    pub input_bends: Bend,
    /// The pickup's input gets what the reference's gets, at all frequencies alike: there is no pickup between.
    pub one_signal: bool,
}

/// What came at one input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// Its peak; `None` where nothing but zeros came.
    pub peak_dbfs: Option<f64>,
    /// The peak of the silence before the signal.
    pub quiet_dbfs: Option<f64>,
    pub clips: bool,
    /// The tone stands out; so it does on a reference that the rig has not.
    pub heard: bool,
}

/// A distortion in dB re the tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bend {
    Seen(f64),
    /// Hidden below the noise, which stands so high.
    Below(f64),
    /// The tone itself is not heard.
    Unknown,
}

impl Bend {
    fn above(self, limit: f64) -> bool {
        matches!(self, Bend::Seen(db) if db > limit)
    }

    /// As it is seen, or as high as the noise stands that may hide it.
    pub fn at_most(self) -> Option<f64> {
        match self {
            Bend::Seen(db) | Bend::Below(db) => Some(db),
            Bend::Unknown => None,
        }
    }
}

/// What is asked of a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The drive goes no higher.
    pub most_dbfs: f64,
    /// Neither input's peak goes higher.
    pub room_dbfs: f64,
    /// Distortion from here on is no clean drive.
    pub bend_db: f64,
}

impl Default for Limits {
    /// Room of 6 dB at the inputs, 1 % of distortion (choices).
    fn default() -> Self {
        Limits {
            most_dbfs: -12.0,
            room_dbfs: -6.0,
            bend_db: -40.0,
        }
    }
}

/// Why no stronger level is tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum End {
    /// The limit that was set.
    Limit,
    /// No room at the pickup's input, or at the reference's.
    PickupRoom,
    ReferenceRoom,
    /// The output bends, or the pickup's input.
    OutputBends,
    InputBends,
    /// Nothing comes back, though the level is one that should be heard.
    NothingHeard,
    /// Both inputs have one signal.
    NoPickup,
}

/// What comes after a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Next {
    Try(f64),
    Stop(End),
}

pub const FIRST_DBFS: f64 = -60.0;
/// From here on a lead that is dead must not be driven harder.
const MUST_BE_HEARD_DBFS: f64 = -24.0;
const FAR_DB: f64 = 12.0;
const NEAR_DB: f64 = 6.0;
/// Above this level steps are the smaller ones.
const CAREFUL_DBFS: f64 = -36.0;
/// A peak this far above that of the silence grows with the drive, to [`SHORT_DB`].
const CLEAR_DB: f64 = 30.0;
const SHORT_DB: f64 = 0.5;
/// A step smaller than this is none.
const LEAST_DB: f64 = 0.5;

impl Step {
    /// Clean by the limits: this level may be used.
    pub fn clean(&self, limits: &Limits) -> bool {
        let fit = |s: &Side| s.heard && !s.clips && s.peak_dbfs.is_none_or(|p| p <= limits.room_dbfs + 0.1);
        let bends = [self.output_bends, self.input_bends];
        !self.one_signal
            && [self.pickup, self.reference].iter().all(fit)
            && !bends.iter().any(|b| b.above(limits.bend_db))
    }

    /// Distortion that the noise may hide, where that is more than is allowed; `None` where it is shown to be less.
    pub fn hidden(&self, limits: &Limits) -> Option<f64> {
        self.at_most().filter(|db| *db > limits.bend_db)
    }

    /// The larger of both distortions, or of the noise that may hide one; `None` where a tone is not heard.
    pub fn at_most(&self) -> Option<f64> {
        // One channel's is told with the output's.
        let input = match self.reference.peak_dbfs {
            Some(_) => self.input_bends.at_most()?,
            None => f64::NEG_INFINITY,
        };
        Some(self.output_bends.at_most()?.max(input))
    }

    /// Held against the step before: a peak that rose by less than the drive has met an end, wherever that lies. Sweeps peak where
    /// the pickup resonates, and the tone says nothing of that.
    pub fn after(mut self, before: &Step) -> Step {
        let drive = self.level_dbfs - before.level_dbfs;
        // Noise adds to a small peak more than to a large one: only what stands clear of it is compared.
        let short = |was: &Side, now: &Side| match (was.peak_dbfs, now.peak_dbfs) {
            (Some(p), Some(now)) => p - was.quiet_dbfs.unwrap_or(-200.0) > CLEAR_DB && now - p < drive - SHORT_DB,
            _ => false,
        };
        self.pickup.clips |= short(&before.pickup, &self.pickup);
        self.reference.clips |= short(&before.reference, &self.reference);
        self
    }

    /// The next level, or why there is none.
    pub fn next(&self, limits: &Limits) -> Next {
        let short = |s: &Side| s.clips || s.peak_dbfs.is_some_and(|p| p > limits.room_dbfs - LEAST_DB);
        let heard = self.pickup.heard && self.reference.heard;
        let ends = [
            (self.one_signal, End::NoPickup),
            (short(&self.pickup), End::PickupRoom),
            (short(&self.reference), End::ReferenceRoom),
            (self.output_bends.above(limits.bend_db), End::OutputBends),
            (self.input_bends.above(limits.bend_db), End::InputBends),
            (self.level_dbfs >= MUST_BE_HEARD_DBFS && !heard, End::NothingHeard),
        ];
        if let Some((_, end)) = ends.into_iter().find(|e| e.0) {
            return Next::Stop(end);
        }
        let stride = if self.level_dbfs < CAREFUL_DBFS {
            FAR_DB
        } else {
            NEAR_DB
        };
        // Never into the stops: what room is left is known.
        let peaks = [self.pickup.peak_dbfs, self.reference.peak_dbfs].into_iter().flatten();
        let left = peaks.map(|p| limits.room_dbfs - p).fold(f64::INFINITY, f64::min);
        let next = (self.level_dbfs + stride.min(left)).min(limits.most_dbfs);
        if next - self.level_dbfs < LEAST_DB {
            Next::Stop(End::Limit)
        } else {
            Next::Try(next)
        }
    }
}

/// The strongest clean level; none where there is no pickup.
pub fn best<'a>(steps: &'a [Step], end: End, limits: &Limits) -> Option<&'a Step> {
    let bends = matches!(end, End::OutputBends | End::InputBends);
    let clean = steps
        .iter()
        .rev()
        .find(|s| s.clean(limits))
        .filter(|_| end != End::NoPickup);
    // What bends at the next level may have hidden at this one.
    clean.filter(|s| !(bends && s.hidden(limits).is_some()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_climb_from_silence_and_stop_in_time() {
        let side = |peak: f64| Side {
            peak_dbfs: Some(peak),
            quiet_dbfs: None,
            clips: false,
            heard: true,
        };
        let step = |level: f64, peak: f64| Step {
            level_dbfs: level,
            pickup: side(peak),
            reference: side(peak - 3.0),
            output_bends: Bend::Below(-80.0),
            input_bends: Bend::Below(-80.0),
            one_signal: false,
        };
        let limits = Limits::default();
        assert_eq!(step(-60.0, -70.0).next(&limits), Next::Try(-48.0));
        assert_eq!(step(-30.0, -40.0).next(&limits), Next::Try(-24.0));
        assert_eq!(step(-18.0, -40.0).next(&limits), Next::Try(-12.0));
        assert_eq!(step(-12.0, -40.0).next(&limits), Next::Stop(End::Limit));
        // 4 dB of room left: a step of 4 dB.
        assert_eq!(step(-30.0, -10.0).next(&limits), Next::Try(-26.0));
        assert_eq!(step(-26.0, -6.0).next(&limits), Next::Stop(End::PickupRoom));
        let bent = Step {
            output_bends: Bend::Seen(-38.0),
            ..step(-30.0, -40.0)
        };
        assert_eq!(bent.next(&limits), Next::Stop(End::OutputBends));
        assert!(!bent.clean(&limits));
        // Six decibels more drive, four more at the pickup.
        let flat = step(-24.0, -20.0).after(&step(-30.0, -24.0));
        assert!(flat.pickup.clips && !flat.clean(&limits) && flat.next(&limits) == Next::Stop(End::PickupRoom));
        assert!(!step(-24.0, -18.0).after(&step(-30.0, -24.0)).pickup.clips);
        let hidden = Step {
            output_bends: Bend::Below(-30.0),
            ..step(-60.0, -70.0)
        };
        assert!(hidden.hidden(&limits) == Some(-30.0) && hidden.next(&limits) == Next::Try(-48.0));
        assert_eq!(step(-30.0, -40.0).hidden(&limits), None);
        let mut dead = step(-24.0, -90.0);
        dead.pickup.heard = false;
        assert_eq!(dead.next(&limits), Next::Stop(End::NothingHeard));
        assert_eq!(
            Step {
                level_dbfs: -30.0,
                ..dead
            }
            .next(&limits),
            Next::Try(-24.0)
        );
    }
}
