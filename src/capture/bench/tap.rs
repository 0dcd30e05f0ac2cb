//! Taps on the simulated pickup: what rings, and the hand that taps.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use super::blemish;
use super::spec::Spec;
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit};

/// More modes cannot be told apart by ear.
const MOST_MODES: usize = 8;
/// The first tap.
const FIRST_S: f64 = 1.0;
/// A hand's beat wanders by this share of its pace.
const WANDER: f64 = 0.05;
/// The rod's second touch, over the first.
const SECOND: f64 = 0.5;

/// What taps make the pickup say, as it arrives at the input. Invented figures, for trying out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Tap {
    /// Empty: the pickup says nothing.
    pub modes: Vec<Mode>,
    /// Standard deviation of the taps' levels.
    pub scatter_db: f64,
    /// From tap to tap.
    pub pace_s: f64,
    /// The rod touches again after so long.
    pub bounce_s: Option<f64>,
}

/// A damped sine that begins with the tap.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mode {
    pub hz: f64,
    /// In which the amplitude falls to 1/e.
    pub decay_s: f64,
    /// Amplitude at the beginning, against a full-scale sine's.
    pub dbfs: f64,
}

impl Default for Tap {
    fn default() -> Self {
        let mode = |hz, decay_s, dbfs| Mode { hz, decay_s, dbfs };
        Tap {
            modes: vec![
                mode(430.0, 14e-3, -50.0),
                mode(1250.0, 6e-3, -54.0),
                mode(3600.0, 2.5e-3, -58.0),
            ],
            scatter_db: 1.5,
            pace_s: 1.2,
            bounce_s: None,
        }
    }
}

impl Tap {
    pub(super) fn check(&self, within: impl Fn(&str, f64, f64, f64, &str) -> Result<()>) -> Result<()> {
        within(
            "number of tap modes",
            self.modes.len() as f64,
            0.0,
            MOST_MODES as f64,
            "",
        )?;
        for m in &self.modes {
            within("tap frequency", m.hz, 20.0, 20e3, "Hz")?;
            within("tap decay", m.decay_s, 1e-4, 0.1, "s")?;
            within("tap level", m.dbfs, -200.0, 40.0, "dBFS")?;
        }
        within("tap scatter", self.scatter_db, 0.0, 20.0, "dB")?;
        // Slower ones would not all find room in the recording.
        within("tap pace", self.pace_s, 0.1, 1.4, "s")?;
        self.bounce_s.map_or(Ok(()), |b| within("tap bounce", b, 0.0, 1.0, "s"))
    }

    /// Adds `count` taps.
    pub(super) fn add(&self, x: &mut [f64], rng: &mut ChaCha8Rng, rate: f64, count: u32) {
        for i in 0..count {
            let g = blemish::normal_pair(rng);
            let force = blemish::ratio(self.scatter_db * g.re);
            let at = FIRST_S + self.pace_s * (f64::from(i) + WANDER * g.im.clamp(-2.0, 2.0));
            self.touch(x, rate, at, force);
            if let Some(bounce) = self.bounce_s {
                self.touch(x, rate, at + bounce, SECOND * force);
            }
        }
    }

    fn touch(&self, x: &mut [f64], rate: f64, at_s: f64, force: f64) {
        let first = (at_s * rate).ceil().max(0.0);
        for m in &self.modes {
            let size = force * blemish::ratio(m.dbfs);
            // 14 time constants are 120 dB.
            let length = (14.0 * m.decay_s * rate) as usize;
            for (i, v) in x.iter_mut().skip(first as usize).take(length).enumerate() {
                let t = (first + i as f64) / rate - at_s;
                *v += size * (-t / m.decay_s).exp() * (TAU * m.hz * t).sin();
            }
        }
    }
}

/// Sets what a word says of taps; `None` where the word is another's.
pub(super) fn set(spec: &mut Spec, name: &str, value: &str) -> Option<Result<()>> {
    let place = format!("bench: {name}");
    let num = |unit: Unit| quantity::parse_at(&place, value, unit);
    let tap = &mut spec.tap;
    let put = |to: &mut f64, v: Result<f64>| v.map(|v| *to = v);
    Some(match name {
        "tap" => modes(&place, value).map(|m| tap.modes = m),
        "tap-scatter" => put(&mut tap.scatter_db, num(Unit::Decibel)),
        "tap-pace" => put(&mut tap.pace_s, num(Unit::Second)),
        "tap-bounce" => num(Unit::Second).map(|v| tap.bounce_s = Some(v)),
        _ => return None,
    })
}

/// "430/14m/-50,1250/6m/-54": frequency, decay and level of each mode; or "none".
fn modes(place: &str, value: &str) -> Result<Vec<Mode>> {
    if value == "none" {
        return Ok(Vec::new());
    }
    let one = |text: &str| {
        let parts: Vec<&str> = text.split('/').collect();
        let [hz, decay, level] = parts[..] else {
            return Err(Failure::new(
                format!("{place}={value} is not understood"),
                "write frequency/decay/level of each mode, as tap=430/14m/-50,1250/6m/-54",
            ));
        };
        Ok(Mode {
            hz: quantity::parse_at(place, hz, Unit::Hertz)?,
            decay_s: quantity::parse_at(place, decay, Unit::Second)?,
            dbfs: quantity::parse_at(place, level, Unit::Dbfs)?,
        })
    };
    value.split(',').map(one).collect()
}
