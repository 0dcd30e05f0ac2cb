//! Checks of one witness on one rig, and how far apart its days lie.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;
use crate::failure::{Failure, Result, of_kind};
use crate::record::identity::{Entered, Sense};
use crate::record::when::day;
use crate::record::{Code, Definition, Record, RigSummary};
use crate::stats::{grouped, mean, sd};

pub const SCHEMA: &str = "coilwright/checks/1";
pub use crate::stats::course::BASELINE;
/// A history this long is of many years.
const MOST: usize = 100_000;

/// One check of the witness, as much of its record as the charts need.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// The record's.
    pub id: String,
    pub taken_at: String,
    /// Not in checks of version 0.1.0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub peak_hz: Option<Estimate>,
    pub f0_hz: Estimate,
    pub q: Estimate,
    pub level_db: Option<Estimate>,
    pub polarity: i8,
    /// The rig's sign as it was stated then, which `polarity` has in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sign: Option<i8>,
    pub snr_db: Option<f64>,
    /// The record's: against full scale, whatever the test signal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub noise_dbfs: Option<f64>,
    pub hum_db: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hum_dbfs: Option<f64>,
    pub mains_hz: Option<f64>,
    pub clock_ppm: Option<f64>,
    pub temperature_c: Option<f64>,
    /// What of the rig's file is in its readings; empty in checks of version 0.1.0.
    #[serde(default, skip_serializing_if = "Entered::is_empty")]
    pub entered: Entered,
    /// Folder of its record, from the rig file's folder where it lies below that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub folder: Option<PathBuf>,
    /// Made by the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    /// Made away from home, and where: it is judged by the limits of home and moves none of them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// How the check ended; what was outside stays in the history and out of the baseline.
    pub go: bool,
}

/// All checks of one rig with one witness, since the bench was changed last.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct History {
    pub schema: String,
    /// The rig's name.
    pub rig: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Of what its file stated when these checks began: provenance.
    pub hash: String,
    /// The witness's name.
    pub witness: String,
    /// What was changed on the bench before them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changed: Option<Change>,
    pub checks: Vec<Check>,
}

/// What somebody said was changed on the bench.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// In words.
    pub what: String,
    /// RFC 3339 with offset.
    pub at: String,
    /// File beside this one that keeps the checks before it; null where there were none.
    pub before: Option<String>,
}

/// What is charted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Quantity {
    F0,
    Q,
    Level,
    Noise,
    Hum,
}

impl Quantity {
    pub const ALL: [Quantity; 5] = {
        use Quantity::*;
        [F0, Q, Level, Noise, Hum]
    };

    /// Also by the moving average: what drifts.
    pub(super) fn averaged(self) -> bool {
        matches!(self, Quantity::F0 | Quantity::Q | Quantity::Level)
    }

    /// Less of it is no trouble.
    pub fn one_sided(self) -> bool {
        matches!(self, Quantity::Noise | Quantity::Hum)
    }

    /// Below this a difference does not matter at a bench (choices): 0.05 % in f0, 0.5 % in Q, 0.1 dB in level, 1 dB in noise,
    /// 3 dB in hum.
    pub(super) fn least(self) -> f64 {
        [5e-4, 5e-3, 0.1, 1.0, 3.0][self as usize]
    }

    /// As it is charted: frequency and Q as natural logarithms, so that differences are relative; levels in dB.
    pub fn of(self, c: &Check) -> Option<f64> {
        match self {
            Quantity::F0 => Some(c.f0_hz.value.ln()),
            Quantity::Q => Some(c.q.value.ln()),
            Quantity::Level => c.level_db.map(|l| l.value),
            Quantity::Noise => c.noise_dbfs,
            Quantity::Hum => c.hum_dbfs,
        }
        .filter(|v| v.is_finite())
    }
}

impl Check {
    pub(super) fn sense(&self) -> Sense {
        Sense {
            polarity: self.polarity.signum(),
            stated: self.sign,
        }
    }

    /// Of a record of the witness; a rejected take is no check.
    pub fn of(record: &Record) -> Result<Check> {
        // One definition for all days: a history is not begun again because a model fits better.
        let as_read = record.reading();
        let Some(r) = record.read_as(Definition::Plain).or(as_read.cloned()) else {
            return Err(Failure::new(
                "the take of the witness gives no reading, so it says nothing of the rig",
                "see to that, and check again",
            ));
        };
        // Hum and noise have charts of their own.
        if let Some(f) = record.curable().filter(|f| !matches!(f.code, Code::Hum | Code::LowSnr)) {
            return Err(Failure::new(
                format!("the take of the witness is to be made again: {}", f.text),
                "check again",
            ));
        }
        Ok(Check {
            id: record.id.clone(),
            taken_at: record.taken_at.clone(),
            peak_hz: r.peak_hz,
            f0_hz: r.f0_hz,
            q: r.q,
            level_db: as_read.and_then(|r| r.level_db),
            polarity: r.polarity,
            sign: record.rig.sign(),
            snr_db: record.capture.snr_db,
            noise_dbfs: record.capture.noise_dbfs,
            hum_db: record.capture.hum_db,
            hum_dbfs: record.capture.hum_dbfs,
            mains_hz: record.capture.mains_hz,
            clock_ppm: record.capture.clock_ppm,
            temperature_c: record.pickup.temperature_c,
            entered: record.rig.entered(record.capture.channels),
            folder: None,
            simulated: record.is_simulated(),
            at: None,
            go: true,
        })
    }
}

/// How far readings of one pickup lie apart from day to day on a rig, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BetweenDays {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
    pub level_db: Option<f64>,
    /// Degrees of freedom.
    pub freedom: f64,
    /// Days on which the checks behind it were made: of fewer than [`BASELINE`] it tells less than days do.
    pub days: usize,
}

impl History {
    pub fn new(rig: &RigSummary, witness: &str) -> Self {
        History {
            schema: SCHEMA.into(),
            rig: rig.name.clone().unwrap_or_default(),
            unit: rig.unit().map(str::to_owned),
            hash: rig.chain_hash(),
            witness: witness.into(),
            ..History::default()
        }
    }

    /// All of the built-in bench, or none.
    pub fn is_of_kind(&self, simulated: bool) -> bool {
        self.checks.iter().all(|c| c.simulated == simulated)
    }

    /// Whether its checks are of this rig.
    pub fn is_of(&self, rig: &RigSummary) -> bool {
        rig.is(Some(&self.rig), self.unit.as_deref())
    }

    /// The good ones of home.
    pub fn good(&self) -> impl DoubleEndedIterator<Item = &Check> {
        self.checks.iter().filter(|c| c.go && c.at.is_none())
    }

    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<History> {
        let wrong = |what: String| Failure::new(format!("{place} {what}"), "move it aside to begin a new history");
        let h: History = serde_json::from_slice(bytes).map_err(|e| wrong(format!("is no history of checks: {e}")))?;
        of_kind(&h.schema, SCHEMA).map_err(wrong)?;
        let sound = |c: &Check| {
            let positive = |e: &Estimate| {
                e.value.is_finite() && e.value > 0.0 && e.u.is_finite() && e.u >= 0.0 && e.u_noise >= 0.0
            };
            let level = c.level_db.map(|l| l.value);
            let levels = [level, c.snr_db, c.noise_dbfs, c.hum_db, c.hum_dbfs];
            let decibels = levels.into_iter().flatten().all(|v| v.abs() < 1e4);
            let in_reach = c.f0_hz.value < 1e9 && c.q.value < 1e9 && c.f0_hz.u < 1e9;
            let room = c.temperature_c.is_none_or(|t| (-50.0..=100.0).contains(&t));
            positive(&c.f0_hz) && positive(&c.q) && decibels && in_reach && room
        };
        if h.checks.len() > MOST || !h.checks.iter().all(sound) {
            return Err(wrong("holds a check that no take gives".into()));
        }
        Ok(h)
    }

    /// The rig's scatter from calendar day to calendar day, several checks of one day drawn together; `None` of one day alone.
    pub fn between_days(&self) -> Option<BetweenDays> {
        let days = grouped(self.good().map(|c| (day(&c.taken_at).unwrap_or_default(), c)));
        let scatter = |k: Quantity| {
            let of_day = |checks: &Vec<&Check>| mean(&checks.iter().filter_map(|c| k.of(c)).collect::<Vec<_>>());
            sd(&days.iter().map(|d| of_day(&d.1)).collect::<Option<Vec<f64>>>()?)
        };
        Some(BetweenDays {
            f0: scatter(Quantity::F0)?,
            q: scatter(Quantity::Q)?,
            level_db: scatter(Quantity::Level),
            freedom: (days.len() - 1) as f64,
            days: days.len(),
        })
    }
}
