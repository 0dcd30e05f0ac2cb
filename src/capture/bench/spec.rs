//! What stands on the built-in bench: pickup, exciter's place, sound card, mains, and what goes wrong.

use serde::{Deserialize, Serialize};

use super::tap::Tap;
use crate::failure::{Failure, Result};
use crate::network::{Coil, Wiring};

/// Hum of a bench with its cables in order, all lines together.
pub const QUIET_HUM_DBFS: f64 = -85.0;
/// Hum that no converter sees.
pub(super) const NO_HUM_DBFS: f64 = -300.0;

/// The bench in SI units. As a file: TOML with these tables and keys, all of which may be left out; as words: see
/// [`Spec::parse_words`].
///
/// What a rig file states (exciter, input, AC coupling, delay, gain, mains) is taken from there unless it stands here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Spec {
    pub coil: Coil,
    /// In series with the first and wound the other way round: a hum-cancelling pickup.
    pub second_coil: Option<Coil>,
    pub exciter: Exciter,
    pub card: Card,
    pub mains: Mains,
    pub faults: Faults,
    /// In the pickup's place a wire from the exciter's tap: one signal on both inputs.
    pub wire: Option<Wire>,
    pub tap: Tap,
    /// The pickup is one of a guitar's, which is heard at its jack.
    #[serde(skip)]
    pub guitar: Option<Wiring>,
}

/// A wire, and what is in line with it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Wire {
    pub resistor_ohm: Option<f64>,
    pub capacitor_f: Option<f64>,
}

/// How the exciter couples to the pickup.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Exciter {
    /// Counts for two coils only.
    pub over: Over,
    /// Mutual inductance to the coil below it, in henries.
    pub mutual_h: f64,
    /// +1 or -1: which way round the first coil is wound, seen with an exciter of positive sign.
    pub polarity: i8,
    /// Stray capacitance from the exciter to the pickup's hot end, in farads. Left out: none, and with an open winding
    /// what a hand's breadth of loose wire has.
    pub feed_f: Option<f64>,
}

/// The coil under the exciter.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Over {
    #[default]
    First,
    Second,
    Both,
}

/// The sound card: both converters and what lies before them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Card {
    /// 16 or 24.
    pub bits: u32,
    /// White noise of an input, rms from 0 to 20 kHz against a full-scale sine (AES17).
    pub noise_dbfs: f64,
    /// The same for the reference's input; left out: as the pickup's.
    pub noise_reference_dbfs: Option<f64>,
    /// Below this frequency noise that rises as 1/f is the larger part.
    pub flicker_hz: f64,
    /// Corners of the AC coupling.
    pub ac_pickup_hz: Option<f64>,
    pub ac_reference_hz: Option<f64>,
    pub ac_output_hz: Option<f64>,
    /// Channel 1 after channel 2.
    pub delay_s: Option<f64>,
    /// Channel 1 over channel 2.
    pub gain_db: Option<f64>,
    /// What the pickup's input is, the lead counted in.
    pub input_ohm: Option<f64>,
    pub input_f: Option<f64>,
    /// When the drive's first sample arrives.
    pub latency_s: f64,
    /// How fast the output's clock runs against the input's.
    pub clock_ppm: f64,
    /// Third harmonic of the output's amplifier against the fundamental, for a sine of the drive's peak.
    pub third_harmonic_db: Option<f64>,
    /// Where something before the pickup's converter runs out of room.
    pub clip_dbfs: Option<f64>,
    /// The same on the reference's channel.
    pub clip_reference_dbfs: Option<f64>,
}

/// Hum in the pickup, all lines together. With neither level: [`QUIET_HUM_DBFS`].
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Mains {
    /// Against the pickup's answer, both over the whole take.
    pub hum_db: Option<f64>,
    /// Against a full-scale sine.
    pub hum_dbfs: Option<f64>,
    /// Left out: a little off the rig's, as real mains are.
    pub frequency_hz: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Faults {
    /// Knocks on the bench, in seconds from the take's start.
    pub knock_s: Vec<f64>,
    /// Peak of a knock.
    pub knock_dbfs: f64,
    /// Where samples are lost on both channels, in seconds from the take's start.
    pub drop_s: Vec<f64>,
    /// How many at each place.
    pub drop_samples: u32,
    /// The winding is broken: only what the stray capacitance feeds comes through.
    pub open_winding: bool,
    /// Nothing is plugged into the reference's input.
    pub reference_unplugged: bool,
    /// Nothing comes from the pickup.
    pub silent: bool,
    /// The plugs of the two inputs are changed.
    pub swapped: bool,
}

impl Default for Spec {
    /// A middling single coil with pole pieces, and an ordinary interface.
    fn default() -> Self {
        Spec {
            coil: Coil {
                loss_ohm: Some(750e3),
                ..Coil::new(6.1e3, 2.5, 105e-12)
            },
            second_coil: None,
            exciter: Exciter::default(),
            card: Card::default(),
            mains: Mains::default(),
            faults: Faults::default(),
            wire: None,
            tap: Tap::default(),
            guitar: None,
        }
    }
}

impl Default for Exciter {
    fn default() -> Self {
        Exciter {
            over: Over::First,
            mutual_h: 0.2e-3,
            polarity: 1,
            feed_f: None,
        }
    }
}

impl Default for Card {
    fn default() -> Self {
        Card {
            bits: 24,
            noise_dbfs: -92.0,
            noise_reference_dbfs: None,
            flicker_hz: 100.0,
            ac_pickup_hz: None,
            ac_reference_hz: None,
            ac_output_hz: None,
            delay_s: None,
            gain_db: None,
            input_ohm: None,
            input_f: None,
            latency_s: 0.0123,
            clock_ppm: 0.0,
            third_harmonic_db: None,
            clip_dbfs: None,
            clip_reference_dbfs: None,
        }
    }
}

impl Default for Faults {
    fn default() -> Self {
        Faults {
            knock_s: Vec::new(),
            knock_dbfs: -20.0,
            drop_s: Vec::new(),
            drop_samples: 64,
            open_winding: false,
            reference_unplugged: false,
            silent: false,
            swapped: false,
        }
    }
}

fn within(name: &str, v: f64, low: f64, high: f64, unit: &str) -> Result<()> {
    if (low..=high).contains(&v) {
        return Ok(());
    }
    Err(Failure::new(
        format!("bench: {name} = {v} {unit} is out of reach"),
        format!("give {low} to {high} {unit}"),
    ))
}

impl Spec {
    /// Refuses what no bench can be, by the name of the value.
    pub fn check(&self) -> Result<()> {
        self.coil.check()?;
        if let Some(c) = &self.second_coil {
            c.check()
                .map_err(|f| Failure::new(f.what.replacen("coil", "second coil", 1), f.hint))?;
        }
        for (name, value, low, high, unit) in self.ranges() {
            value.map_or(Ok(()), |v| within(name, v, low, high, unit))?;
        }
        let refuse = |what: String, hint| Err(Failure::new(format!("bench: {what}"), hint));
        let (polarity, bits, m) = (self.exciter.polarity, self.card.bits, &self.mains);
        if polarity.abs() != 1 {
            return refuse(format!("polarity = {polarity} is neither way round"), "give 1 or -1");
        }
        if bits != 16 && bits != 24 {
            return refuse(format!("no converter of {bits} bits"), "give 16 or 24");
        }
        if m.hum_db.is_some() && m.hum_dbfs.is_some() {
            return refuse("hum is given twice, in dB and in dBFS".into(), "give one of them");
        }
        self.tap.check(within)?;
        for (name, times) in [("knock", &self.faults.knock_s), ("drop", &self.faults.drop_s)] {
            times.iter().try_for_each(|t| within(name, *t, 0.0, 300.0, "s"))?;
            let count = times.len() as f64;
            within(&format!("number of times for {name}"), count, 0.0, 100.0, "")?;
        }
        Ok(())
    }

    /// Every number that has a range of its own: name, value, lowest and highest, unit.
    fn ranges(&self) -> [(&'static str, Option<f64>, f64, f64, &'static str); 24] {
        let (e, c, m, f) = (&self.exciter, &self.card, &self.mains, &self.faults);
        let wire = self.wire.unwrap_or_default();
        [
            ("mutual inductance", Some(e.mutual_h), 0.0, 1.0, "H"),
            ("stray capacitance", e.feed_f, 0.0, 1e-9, "F"),
            ("noise", Some(c.noise_dbfs), -300.0, 0.0, "dBFS"),
            ("the reference's noise", c.noise_reference_dbfs, -300.0, 0.0, "dBFS"),
            ("flicker", Some(c.flicker_hz), 0.0, 20e3, "Hz"),
            ("ac-pickup", c.ac_pickup_hz, 0.0, 1e3, "Hz"),
            ("ac-reference", c.ac_reference_hz, 0.0, 1e3, "Hz"),
            ("ac-output", c.ac_output_hz, 0.0, 1e3, "Hz"),
            ("delay", c.delay_s, -0.1, 0.1, "s"),
            ("gain", c.gain_db, -120.0, 120.0, "dB"),
            ("input resistance", c.input_ohm, 1.0, 1e12, "ohms"),
            ("input capacitance", c.input_f, 0.0, 1e-6, "F"),
            ("wire resistor", wire.resistor_ohm, 0.0, 1e9, "ohms"),
            ("wire capacitor", wire.capacitor_f, 1e-15, 1e-3, "F"),
            ("latency", Some(c.latency_s), 0.0, 2.0, "s"),
            ("clock difference", Some(c.clock_ppm), -5e3, 5e3, "ppm"),
            ("third harmonic", c.third_harmonic_db, -300.0, -10.0, "dB"),
            ("clip", c.clip_dbfs, -120.0, 0.0, "dBFS"),
            ("the reference's clip", c.clip_reference_dbfs, -120.0, 0.0, "dBFS"),
            ("hum", m.hum_db, -300.0, 100.0, "dB"),
            ("hum", m.hum_dbfs, -300.0, 0.0, "dBFS"),
            ("mains frequency", m.frequency_hz, 40.0, 70.0, "Hz"),
            ("knock level", Some(f.knock_dbfs), -200.0, 0.0, "dBFS"),
            ("number of lost samples", Some(f.drop_samples.into()), 1.0, 1e5, ""),
        ]
    }
}
