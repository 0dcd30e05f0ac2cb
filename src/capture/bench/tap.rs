//! Taps on the simulated pickup: what rings, and the hand that taps.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use serde::{Deserialize, Serialize};

use super::blemish;
use crate::failure::Result;

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
        let count = self.modes.len() as f64;
        within("number of tap modes", count, 0.0, MOST_MODES as f64, "")?;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Capture;
    use crate::capture::bench::{Bench, Spec};

    #[test]
    fn taps_in_words_and_as_a_file() {
        let s = Spec::parse_words("tap=430/14m/-50,1.25kHz/6ms/-54dBFS tap-scatter=0dB tap-pace=0.9 tap-bounce=30ms")
            .unwrap();
        let want = Tap {
            modes: vec![
                Mode {
                    hz: 430.0,
                    decay_s: 14e-3,
                    dbfs: -50.0,
                },
                Mode {
                    hz: 1250.0,
                    decay_s: 6e-3,
                    dbfs: -54.0,
                },
            ],
            scatter_db: 0.0,
            pace_s: 0.9,
            bounce_s: Some(0.03),
        };
        assert_eq!(s.tap, want);
        assert!(Spec::parse_words("tap=none").unwrap().tap.modes.is_empty());
        let text = "[tap]\nscatter_db = 0.0\npace_s = 0.9\nbounce_s = 0.03\n[[tap.modes]]\nhz = 430.0\ndecay_s = 14e-3\ndbfs = -50.0\n\
                    [[tap.modes]]\nhz = 1250.0\ndecay_s = 6e-3\ndbfs = -54.0\n";
        assert_eq!(toml::from_str::<Spec>(text).unwrap().tap, want);
        for (text, words) in [
            ("tap=430", "frequency/decay/level"),
            ("tap=430/14m/-50,", "frequency/decay/level"),
            ("tap=430/14m/loud", "level"),
            ("tap=430/5/-50", "0.1 s"),
            ("tap=3/14m/-50", "20 to"),
            ("tap=430/14m/nan", "level"),
            ("tap-pace=5s", "1.4 s"),
            ("tap-scatter=-1", "tap scatter"),
        ] {
            let e = Spec::parse_words(text).unwrap_err().to_string();
            assert!(e.contains(words) && !e.contains('\n'), "{text}: {e}");
        }
    }

    #[test]
    fn a_tap_is_the_damped_sine_it_says_and_faults_of_the_take_stay_out() {
        let words = "tap=500/20m/-20 tap-scatter=0 hum=none noise=-200dBFS bits=24 knock=1s drop=1.2s";
        let mut bench = Bench::new(Spec::parse_words(words).unwrap(), None, None, false, 1).unwrap();
        let take = bench.taps(48_000, 3, &mut |_| {}).unwrap();
        assert_eq!(take.pickup.len(), 360_000);
        let first = take.pickup.iter().position(|v| v.abs() > 1e-4).unwrap();
        // A quarter of a period later the sine is at its height: 0.1 exp(-0.5/20).
        let top = take.pickup[first + 24..first + 26].iter().fold(0f32, |m, v| m.max(*v));
        assert!((f64::from(top) - 0.1 * (-0.025f64).exp()).abs() < 1e-3, "{top}");
        assert!((0.85..1.15).contains(&(first as f64 / 48e3)));
        let starts = take
            .pickup
            .windows(9600)
            .filter(|w| w[..9599].iter().all(|v| v.abs() < 1e-5) && w[9599].abs() > 1e-5);
        assert_eq!(starts.count(), 3);
        assert!(bench.spec.faults.knock_s == [1.0] && bench.spec.faults.drop_s == [1.2]);
        let spec = Spec::parse_words("silent hum=none noise=-200dBFS").unwrap();
        let mut silent = Bench::new(spec, None, None, false, 1).unwrap();
        assert!(
            silent
                .taps(48_000, 3, &mut |_| {})
                .unwrap()
                .pickup
                .iter()
                .all(|v| *v == 0.0)
        );
    }
}
