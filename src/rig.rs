//! The rig file: exciter, reference, input and mains as they stand on one bench (TOML).

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::fileio;
use crate::record::RigSummary;
use keys::{Key, Kind};

pub mod edit;
pub mod history;
pub mod keys;
pub mod template;

/// For the record's notes where no rig is given: a current reference and an input that loads nothing are assumed then.
pub const NO_RIG_NOTE: &str = "no rig given: f0 and Q may be off by the exciter's corner";

/// No rig file worth reading is larger.
const MAX_BYTES: u64 = 64 * 1024;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rig {
    /// The file's stem where the file gives none.
    #[serde(default)]
    pub name: String,
    pub exciter: Exciter,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub input: Option<Input>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mains: Option<Mains>,
    /// Tells two interfaces of one model apart; on a label on the unit itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub witness: Option<Witness>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub interface: Option<Interface>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setup: Option<Setup>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack: Option<Pack>,
    #[serde(skip)]
    hash: String,
}

/// The pickup, or the dummy in its tin, that is kept for checking the rig.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Witness {
    pub name: String,
    /// What hangs on it during a check besides the rig's own input, in the load notation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub load: Option<String>,
}

/// What the measured values of the file belong to. A live take on anything else is refused: they would be wrong there.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Interface {
    /// Id of the sound output, as `coilwright devices` lists it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub output: Option<String>,
    /// Id of the sound input.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub input: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pickup_channel: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference_channel: Option<u32>,
    /// How the inputs' knobs and switches stood, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub range: Option<String>,
    /// Day on which the two inputs were measured against each other.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inputs_measured: Option<String>,
    /// Day on which the input's own loading was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loading_measured: Option<String>,
    /// Peak of the strongest clean drive; what `measure` plays unless told otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_dbfs: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level_measured: Option<String>,
}

/// What a live take runs on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Used {
    pub output: String,
    pub input: String,
    pub rate_hz: u32,
    pub pickup_channel: u32,
    pub reference_channel: Option<u32>,
}

/// What the rig file states of its interface, and what is in use instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Foreign {
    pub what: &'static str,
    pub stated: String,
    pub used: String,
}

/// How the switches stood when the rig was set up, each in words: software cannot see them.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Setup {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub phantom: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub monitoring: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub automatic_gain: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub enhancement: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pads_and_cuts: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub knobs: Option<String>,
}

/// What belongs to the rig when it travels, each in words.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Pack {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interface: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exciter: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stop: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub r#box: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leads: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub witness: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub meters: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub other: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exciter {
    pub reference: Reference,
    /// From channel 2's voltage tap to ground: resistor, winding, sense resistor.
    pub series_ohm: f64,
    pub inductance_h: f64,
    /// Before the tap; part of the circuit for one-channel takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source_ohm: Option<f64>,
    /// What channel 2 reads for a current reference.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sense_ohm: Option<f64>,
    /// Standard uncertainty, relative.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series_tolerance: Option<f64>,
    /// Standard uncertainty, relative.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inductance_tolerance: Option<f64>,
    /// +1 or -1, found with a pickup of known polarity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sign: Option<i8>,
}

/// What channel 2 reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Reference {
    Voltage,
    Current,
}

/// The sound card's input as a load and as a filter. Tolerances are standard uncertainties.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Input {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacitance_f: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lead_capacitance_f: Option<f64>,
    /// Corners of the AC coupling; left out: unknowns of the fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ac_pickup_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ac_pickup_tolerance_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ac_reference_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ac_reference_tolerance_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ac_output_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ac_output_tolerance_hz: Option<f64>,
    /// Channel 1 after channel 2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delay_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delay_tolerance_s: Option<f64>,
    /// Channel 1 over channel 2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain_db: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gain_tolerance_db: Option<f64>,
    /// Of `resistance_ohm`, relative.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resistance_tolerance: Option<f64>,
    /// Of `capacitance_f` and the lead together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacitance_tolerance_f: Option<f64>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Mains {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frequency_hz: Option<f64>,
}

/// From here on a corner changes nothing that a sound card hears: 20 kHz by two parts in 1e10.
const NO_CORNER_HZ: f64 = 1e9;

const OHM: Kind = Kind::Number {
    allowed: "from 0.001 to 1e9 (ohms)",
    fits: |v| (1e-3..=1e9).contains(&v),
};
const OHM_OR_ZERO: Kind = Kind::Number {
    allowed: "from 0 to 1e9 (ohms)",
    fits: |v| (0.0..=1e9).contains(&v),
};
const HENRY: Kind = Kind::Number {
    allowed: "from 0 to 0.1 (henries; half a millihenry is 0.0005)",
    fits: |v| (0.0..=0.1).contains(&v),
};
const FARAD: Kind = Kind::Number {
    allowed: "from 0 to 1e-6 (farads, 60 pF is 60e-12)",
    fits: |v| (0.0..=1e-6).contains(&v),
};
const TOLERANCE: Kind = Kind::Number {
    allowed: "from 0 to 0.5 (relative, 5 % is 0.05)",
    fits: |v| (0.0..=0.5).contains(&v),
};
const CORNER: Kind = Kind::Number {
    allowed: "from 0 to 15 (hertz)",
    fits: |v| (0.0..=15.0).contains(&v),
};
const DELAY: Kind = Kind::Number {
    allowed: "from -0.1 to 0.1 (seconds, 5 us is 5e-6)",
    fits: |v| v.abs() <= 0.1,
};
const DELAY_TOLERANCE: Kind = Kind::Number {
    allowed: "from 0 to 0.1 (seconds, 5 us is 5e-6)",
    fits: |v| (0.0..=0.1).contains(&v),
};
const GAIN: Kind = Kind::Number {
    allowed: "from -120 to 120 (dB)",
    fits: |v| v.abs() <= 120.0,
};
const MAINS: Kind = Kind::Number {
    allowed: "from 40 to 70 (hertz)",
    fits: |v| (40.0..=70.0).contains(&v),
};

const GAIN_TOLERANCE: Kind = Kind::Number {
    allowed: "from 0 to 12 (dB)",
    fits: |v| (0.0..=12.0).contains(&v),
};
const RATE: Kind = Kind::Number {
    allowed: "of whole hertz from 44100 to 192000",
    fits: |v| (44_100.0..=192_000.0).contains(&v) && v.fract() == 0.0,
};
const CHANNEL: Kind = Kind::Number {
    allowed: "from 1 to 64, as the sockets are counted",
    fits: |v| (1.0..=64.0).contains(&v) && v.fract() == 0.0,
};
const LEVEL: Kind = Kind::Number {
    allowed: "from -100 to 0 (dBFS)",
    fits: |v| (-100.0..=0.0).contains(&v),
};

const KEYS: [Key; 52] = [
    Key::new("", "name", Kind::Text),
    Key::new("exciter", "reference", Kind::OneOf(&["voltage", "current"])).required(),
    Key::new("exciter", "series_ohm", OHM).required(),
    Key::new("exciter", "inductance_h", HENRY).required(),
    Key::new("exciter", "source_ohm", OHM_OR_ZERO),
    Key::new("exciter", "sense_ohm", OHM),
    Key::new("exciter", "series_tolerance", TOLERANCE),
    Key::new("exciter", "inductance_tolerance", TOLERANCE),
    Key::new("exciter", "sign", Kind::Sign),
    Key::new("input", "resistance_ohm", OHM),
    Key::new("input", "capacitance_f", FARAD),
    Key::new("input", "lead_capacitance_f", FARAD),
    Key::new("input", "ac_pickup_hz", CORNER),
    Key::new("input", "ac_pickup_tolerance_hz", CORNER),
    Key::new("input", "ac_reference_hz", CORNER),
    Key::new("input", "ac_reference_tolerance_hz", CORNER),
    Key::new("input", "ac_output_hz", CORNER),
    Key::new("input", "ac_output_tolerance_hz", CORNER),
    Key::new("input", "delay_s", DELAY),
    Key::new("input", "delay_tolerance_s", DELAY_TOLERANCE),
    Key::new("input", "gain_db", GAIN),
    Key::new("input", "gain_tolerance_db", GAIN_TOLERANCE),
    Key::new("input", "resistance_tolerance", TOLERANCE),
    Key::new("input", "capacitance_tolerance_f", FARAD),
    Key::new("mains", "frequency_hz", MAINS),
    Key::new("", "unit", Kind::Text),
    Key::new("witness", "name", Kind::Text),
    Key::new("witness", "load", Kind::Text),
    Key::new("interface", "output", Kind::Text),
    Key::new("interface", "input", Kind::Text),
    Key::new("interface", "rate_hz", RATE),
    Key::new("interface", "pickup_channel", CHANNEL),
    Key::new("interface", "reference_channel", CHANNEL),
    Key::new("interface", "range", Kind::Text),
    Key::new("interface", "inputs_measured", Kind::Text),
    Key::new("interface", "loading_measured", Kind::Text),
    Key::new("interface", "level_dbfs", LEVEL),
    Key::new("interface", "level_measured", Kind::Text),
    Key::new("setup", "phantom", Kind::Text),
    Key::new("setup", "monitoring", Kind::Text),
    Key::new("setup", "automatic_gain", Kind::Text),
    Key::new("setup", "enhancement", Kind::Text),
    Key::new("setup", "pads_and_cuts", Kind::Text),
    Key::new("setup", "knobs", Kind::Text),
    Key::new("pack", "interface", Kind::Text),
    Key::new("pack", "exciter", Kind::Text),
    Key::new("pack", "stop", Kind::Text),
    Key::new("pack", "box", Kind::Text),
    Key::new("pack", "leads", Kind::Text),
    Key::new("pack", "witness", Kind::Text),
    Key::new("pack", "meters", Kind::Text),
    Key::new("pack", "other", Kind::Text),
];

/// Whether a rig can have this number; else what is allowed.
pub fn possible(table: &str, key: &str, v: f64) -> std::result::Result<(), &'static str> {
    let key = KEYS.iter().find(|k| k.table == table && k.name == key);
    match key.map(|k| &k.kind) {
        Some(Kind::Number { allowed, fits }) if !fits(v) => Err(allowed),
        _ => Ok(()),
    }
}

impl Rig {
    /// Reads and checks a rig file.
    pub fn read(path: &Path) -> Result<Rig> {
        let bytes = fileio::read_limited(path, MAX_BYTES)?;
        let hash = fileio::short_hash(&bytes);
        let text = fileio::text_of(bytes, path)?;
        let stem = path.file_stem().map(|s| s.to_string_lossy()).unwrap_or_default();
        let rig = Rig::from_text(&text, &stem, &path.display().to_string())?;
        Ok(Rig { hash, ..rig })
    }

    /// The content of a rig file; `stem` is its name where it gives none.
    pub fn parse(text: &str, stem: &str) -> Result<Rig> {
        Rig::from_text(text, stem, stem)
    }

    fn from_text(text: &str, stem: &str, place: &str) -> Result<Rig> {
        let place = format!("rig {place}");
        let table = keys::read(&place, text)?;
        keys::check(&place, &table, &KEYS)?;
        let rig: Rig = table
            .try_into()
            .map_err(|e: toml::de::Error| Failure::new(format!("{place}: {}", e.message()), "correct the file"))?;
        rig.check_together(&place)?;
        Ok(Rig {
            name: match rig.name.trim() {
                "" => stem.to_owned(),
                n => n.to_owned(),
            },
            hash: fileio::short_hash(text.as_bytes()),
            ..rig
        })
    }

    /// Values that are possible alone but not with each other.
    fn check_together(&self, place: &str) -> Result<()> {
        let e = &self.exciter;
        // With a voltage reference the sense resistor is not used, and may be left over in the file.
        let sense = e
            .sense_ohm
            .filter(|&s| e.reference == Reference::Current && s > e.series_ohm);
        if let Some(sense) = sense {
            return Err(Failure::new(
                format!(
                    "{place}: exciter.sense_ohm = {sense} is above exciter.series_ohm = {}",
                    e.series_ohm
                ),
                "count the sense resistor in series_ohm: it is all from the tap to ground",
            ));
        }
        let Some(i) = &self.input else {
            return Ok(());
        };
        for (corner, tolerance, name) in i.corners() {
            if corner.is_none() && tolerance.is_some() {
                return Err(Failure::new(
                    format!("{place}: input.{name}_tolerance_hz stands without input.{name}_hz"),
                    "give both, or neither and the corner is fitted",
                ));
            }
        }
        for (stands, without, names) in [
            (
                i.gain_tolerance_db.is_some(),
                i.gain_db.is_none(),
                "gain_tolerance_db stands without input.gain_db",
            ),
            (
                i.resistance_tolerance.is_some(),
                i.resistance_ohm.is_none(),
                "resistance_tolerance stands without input.resistance_ohm",
            ),
        ] {
            if stands && without {
                return Err(Failure::new(format!("{place}: input.{names}"), "give both, or neither"));
            }
        }
        Ok(())
    }

    /// Resistance in the exciter's circuit in ohms. A one-channel take knows only the output's own voltage, which lies
    /// before the source resistance.
    pub fn circuit_ohm(&self, one_channel: bool) -> f64 {
        let e = &self.exciter;
        let source = if one_channel { e.source_ohm.unwrap_or(0.0) } else { 0.0 };
        e.series_ohm + source
    }

    /// Corner f_x = R_x/(2 pi L_x) in hertz, above which the exciter's current falls for a given voltage; `None` where it
    /// plays no part: channel 2 reads the current, or the exciter's inductance is none to speak of.
    pub fn corner_hz(&self, one_channel: bool) -> Option<f64> {
        let e = &self.exciter;
        let by_voltage = one_channel || e.reference == Reference::Voltage;
        let corner = self.circuit_ohm(one_channel) / (std::f64::consts::TAU * e.inductance_h.abs());
        (by_voltage && corner < NO_CORNER_HZ).then_some(corner)
    }

    /// Standard uncertainty of `corner_hz` in hertz from the stated tolerances; `None` where none is stated and the corner
    /// is taken as exact.
    pub fn corner_u_hz(&self, one_channel: bool) -> Option<f64> {
        let e = &self.exciter;
        if e.series_tolerance.is_none() && e.inductance_tolerance.is_none() {
            return None;
        }
        // The source resistance is exact, so the relative share of series_ohm's tolerance shrinks with it.
        let series = e.series_tolerance.unwrap_or(0.0) * e.series_ohm / self.circuit_ohm(one_channel);
        Some(self.corner_hz(one_channel)? * series.hypot(e.inductance_tolerance.unwrap_or(0.0)))
    }

    /// Resistance across which channel 2 reads the current, in ohms.
    pub fn sense_ohm(&self) -> f64 {
        self.exciter.sense_ohm.unwrap_or(self.exciter.series_ohm)
    }

    /// First 16 hexadecimal digits of the SHA-256 of the file's bytes.
    pub fn content_hash(&self) -> &str {
        &self.hash
    }

    /// What the file leaves out and what is assumed instead, as far as it matters for such a take.
    pub fn notes(&self, one_channel: bool) -> Vec<String> {
        let e = &self.exciter;
        let mut notes = Vec::new();
        let mut note = |missing: bool, text: &str| {
            if missing {
                notes.push(format!("rig: {text}"));
            }
        };
        let by_voltage = self.corner_hz(one_channel).is_some();
        note(
            e.series_tolerance.is_none(),
            "series_tolerance not stated: taken as exact",
        );
        note(
            by_voltage && e.inductance_tolerance.is_none(),
            "inductance_tolerance not stated: taken as exact",
        );
        note(
            one_channel && e.source_ohm.is_none(),
            "source_ohm not stated: taken as zero",
        );
        note(
            !one_channel && e.reference == Reference::Current && e.sense_ohm.is_none(),
            "sense_ohm not stated: series_ohm taken",
        );
        note(e.sign.is_none(), "sign not stated: polarity is not referenced");
        let Some(i) = &self.input else {
            note(true, "no [input]: taken to load nothing");
            note(!one_channel, "delay_s not stated: taken as zero");
            return notes;
        };
        note(
            i.resistance_ohm.is_none(),
            "input resistance_ohm not stated: taken as infinite",
        );
        note(
            i.capacitance_f.is_none(),
            "input capacitance_f not stated: taken as zero",
        );
        note(
            i.lead_capacitance_f.is_none(),
            "input lead_capacitance_f not stated: taken as zero",
        );
        for (corner, tolerance, name) in i.corners() {
            let other = if one_channel { "ac_reference" } else { "ac_output" };
            note(
                name != other && corner.is_some() && tolerance.is_none(),
                &format!("{name}_tolerance_hz not stated: {name}_hz taken as exact"),
            );
        }
        if !one_channel {
            note(
                i.delay_s.is_none() && i.delay_tolerance_s.is_none(),
                "delay_s not stated: taken as zero",
            );
            note(
                i.delay_s.is_some() && i.delay_tolerance_s.is_none(),
                "delay_tolerance_s not stated: delay_s taken as exact",
            );
            note(i.gain_db.is_none(), "gain_db not stated: channels taken as equal");
        }
        notes
    }

    /// The first thing about a live take that the file's measured values do not belong to.
    pub fn foreign(&self, used: &Used) -> Option<Foreign> {
        let Some(i) = &self.interface else {
            return None;
        };
        let text = |what, stated: &Option<String>, used: &str| {
            let s = stated.as_deref().filter(|s| *s != used)?;
            Some(Foreign {
                what,
                stated: s.into(),
                used: used.into(),
            })
        };
        let number = |what, stated: Option<u32>, used: Option<u32>| {
            let s = stated.filter(|s| used.is_some_and(|u| u != *s))?;
            Some(Foreign {
                what,
                stated: s.to_string(),
                used: used.map_or_else(String::new, |u| u.to_string()),
            })
        };
        text("output", &i.output, &used.output)
            .or_else(|| text("input", &i.input, &used.input))
            .or_else(|| number("rate", i.rate_hz, Some(used.rate_hz)))
            .or_else(|| number("pickup's channel", i.pickup_channel, Some(used.pickup_channel)))
            .or_else(|| number("reference's channel", i.reference_channel, used.reference_channel))
    }

    /// See [`RigSummary::chain_hash`].
    pub fn chain_hash(&self) -> String {
        self.summary().chain_hash()
    }

    /// For the record: every value that the file states, by its full key.
    pub fn summary(&self) -> RigSummary {
        let mut values = std::collections::BTreeMap::new();
        if let Ok(serde_json::Value::Object(tables)) = serde_json::to_value(self) {
            // What measures; what is kept beside it or packed with it is no part of a reading.
            let measuring = |table: &str| ["exciter", "input", "mains"].contains(&table);
            for (table, inner) in tables.into_iter().filter(|t| measuring(&t.0)) {
                if let serde_json::Value::Object(inner) = inner {
                    values.extend(inner.into_iter().map(|(key, v)| (format!("{table}.{key}"), v)));
                }
            }
            // Another interface of the same model is another rig.
            values.extend(self.unit.clone().map(|u| ("unit".to_owned(), u.into())));
        }
        RigSummary {
            given: true,
            name: Some(self.name.clone()),
            hash: Some(self.hash.clone()),
            values,
        }
    }
}

impl Input {
    /// Each AC corner with its tolerance and the stem of its key.
    fn corners(&self) -> [(Option<f64>, Option<f64>, &'static str); 3] {
        [
            (self.ac_pickup_hz, self.ac_pickup_tolerance_hz, "ac_pickup"),
            (self.ac_reference_hz, self.ac_reference_tolerance_hz, "ac_reference"),
            (self.ac_output_hz, self.ac_output_tolerance_hz, "ac_output"),
        ]
    }

    /// Capacitance of input and test lead together, in farads.
    pub fn load_f(&self) -> f64 {
        self.capacitance_f.unwrap_or(0.0) + self.lead_capacitance_f.unwrap_or(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FULL: &str = r#"
name = "north bench"
[exciter]
reference = "voltage"
series_ohm = 100.0
inductance_h = 0.0005
source_ohm = 0.0
sense_ohm = 100.0
series_tolerance = 0.0
inductance_tolerance = 0.0
sign = 1
[input]
resistance_ohm = 1.0e6
capacitance_f = 60e-12
lead_capacitance_f = 90e-12
ac_pickup_hz = 2.7
ac_pickup_tolerance_hz = 0.1
ac_reference_hz = 3.6
ac_reference_tolerance_hz = 0.1
ac_output_hz = 2.0
ac_output_tolerance_hz = 0.1
delay_s = 0.0
delay_tolerance_s = 1e-7
gain_db = 0.0
gain_tolerance_db = 0.01
resistance_tolerance = 0.01
capacitance_tolerance_f = 1e-12
[mains]
frequency_hz = 50
[witness]
name = "tin one"
load = "cap=470p"
[interface]
output = "one"
input = "two"
rate_hz = 96000
pickup_channel = 1
reference_channel = 2
range = "instrument"
inputs_measured = "2026-01-31"
level_dbfs = -12.5
[setup]
phantom = "off"
[pack]
interface = "two inputs, label A"
"#;
    const LEAST: &str = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100\ninductance_h = 0.0005\n";

    fn refused(text: &str) -> String {
        match Rig::parse(text, "bench") {
            Ok(_) => panic!("was read:\n{text}"),
            Err(e) => e.to_string(),
        }
    }

    #[test]
    fn reads_every_key_and_leaves_nothing_to_note() {
        let rig = Rig::parse(FULL, "bench").unwrap();
        assert_eq!(rig.name, "north bench");
        assert_eq!(rig.exciter.series_ohm, 100.0);
        assert_eq!(rig.exciter.sign, Some(1));
        assert_eq!(rig.input.as_ref().unwrap().load_f(), 150e-12);
        assert_eq!(rig.mains.as_ref().unwrap().frequency_hz, Some(50.0));
        for one_channel in [false, true] {
            assert_eq!(rig.notes(one_channel), [""; 0]);
        }
        // The list of keys and the type agree: every key but the name comes back in the summary.
        let summary = rig.summary();
        let mut listed: Vec<String> = KEYS
            .iter()
            .filter(|k| ["exciter", "input", "mains"].contains(&k.table))
            .map(Key::full_name)
            .collect();
        listed.sort();
        assert_eq!(summary.values.keys().cloned().collect::<Vec<_>>(), listed);
        assert_eq!(summary.values["exciter.reference"], "voltage");
        assert_eq!(summary.values["input.capacitance_f"], 60e-12);
        assert!(summary.given && summary.name.as_deref() == Some("north bench"));
        assert_eq!(summary.hash.as_deref(), Some(rig.content_hash()));
    }

    #[test]
    fn the_least_that_a_rig_must_say() {
        let rig = Rig::parse(LEAST, "bench").unwrap();
        assert_eq!(rig.name, "bench");
        assert_eq!(rig.summary().values.len(), 3);
        let notes = rig.notes(false).join("\n");
        for want in [
            "series_tolerance not stated: taken as exact",
            "inductance_tolerance not stated: taken as exact",
            "sign not stated: polarity is not referenced",
            "no [input]: taken to load nothing",
        ] {
            assert!(notes.contains(want), "{notes}");
        }
        assert!(!notes.contains("source_ohm"));
        assert!(rig.notes(true).iter().any(|n| n.contains("source_ohm not stated")));
        // An empty file of the format's other tables is as good as none.
        let rig = Rig::parse(&format!("{LEAST}[input]\n[mains]\n"), "bench").unwrap();
        assert!(rig.notes(false).iter().any(|n| n.contains("resistance_ohm not stated")));
    }

    #[test]
    fn corner_of_the_exciter() {
        let rig = |text: &str| Rig::parse(text, "bench").unwrap();
        // 100 ohm, 0.5 mH: 31830.99 Hz (1/pi times 1e5); 32 ohm of source resistance add 32 %.
        let v = rig(&format!(
            "{LEAST}source_ohm = 32\nseries_tolerance = 0.03\ninductance_tolerance = 0.04\n"
        ));
        assert!((v.corner_hz(false).unwrap() - 31_830.988_618).abs() < 1e-6);
        assert!((v.corner_hz(true).unwrap() - 1.32 * 31_830.988_618).abs() < 1e-6);
        // 3 % and 4 % make 5 %.
        assert!((v.corner_u_hz(false).unwrap() - 0.05 * 31_830.988_618).abs() < 1e-6);
        let u1 = (0.03f64 / 1.32).hypot(0.04) * 1.32 * 31_830.988_618;
        assert!((v.corner_u_hz(true).unwrap() - u1).abs() < 1e-6);
        assert_eq!(rig(LEAST).corner_u_hz(false), None);
        let current = rig(&LEAST.replace("voltage", "current"));
        assert_eq!(current.corner_hz(false), None);
        assert!(current.corner_hz(true).is_some());
        assert_eq!(current.sense_ohm(), 100.0);
        let straight = rig(&LEAST.replace("0.0005", "0"));
        assert_eq!((straight.corner_hz(false), straight.corner_hz(true)), (None, None));
        assert_eq!(rig(&LEAST.replace("0.0005", "1e-308")).corner_hz(false), None);
    }

    #[test]
    fn names_the_key_of_what_no_rig_can_have() {
        let with = |line: &str| {
            let (table, rest) = line.split_once('.').unwrap();
            let key = rest.split(' ').next().unwrap();
            let (mut out, mut at) = (String::new(), "");
            for l in FULL.lines() {
                if l.starts_with('[') {
                    at = l.trim_matches(['[', ']']);
                }
                let same = at == table && l.split(' ').next() == Some(key);
                out.push_str(if same { rest } else { l });
                out.push('\n');
            }
            if !FULL.contains(&format!("\n{key} ")) {
                out = out.replace(&format!("[{table}]"), &format!("[{table}]\n{rest}"));
            }
            out
        };
        for (line, remedy) in [
            ("exciter.series_ohm = -100.0", "from 0.001"),
            ("exciter.series_ohm = 0", "from 0.001"),
            ("exciter.series_ohm = 1e-308", "from 0.001"),
            ("exciter.series_ohm = nan", "from 0.001"),
            ("exciter.series_ohm = inf", "from 0.001"),
            ("exciter.series_ohm = \"100\"", "a number from 0.001"),
            ("exciter.series_ohm = true", "a number from 0.001"),
            ("exciter.series_ohm = [100.0]", "a number from 0.001"),
            ("exciter.reference = \"volts\"", "\"voltage\", \"current\""),
            ("exciter.reference = 1", "\"voltage\", \"current\""),
            ("exciter.inductance_h = -0.0005", "from 0"),
            ("exciter.source_ohm = -1", "from 0"),
            ("exciter.series_tolerance = 0.51", "from 0 to 0.5"),
            ("exciter.inductance_tolerance = -0.01", "from 0 to 0.5"),
            ("exciter.sign = 0", "1 or -1"),
            ("exciter.sign = 2", "1 or -1"),
            ("exciter.sign = 1.0", "1 or -1"),
            ("exciter.colour = 1", "in [exciter] there are reference, series_ohm"),
            ("input.resistance_ohm = 0", "from 0.001"),
            ("input.capacitance_f = 60", "60 pF is 60e-12"),
            ("input.lead_capacitance_f = -1e-12", "60 pF is 60e-12"),
            ("input.ac_pickup_hz = 15.1", "from 0 to 15"),
            ("input.ac_reference_hz = -0.1", "from 0 to 15"),
            ("input.ac_output_tolerance_hz = 16", "from 0 to 15"),
            ("input.delay_s = 1", "0.1"),
            ("input.gain_db = 200", "-120 to 120"),
            ("input.gain_tolerance_db = -1", "from 0 to 12"),
            ("interface.rate_hz = 48000.5", "whole hertz"),
            ("interface.pickup_channel = 0", "from 1 to 64"),
            ("interface.level_dbfs = 3", "from -100 to 0"),
            ("mains.frequency_hz = 39.9", "from 40 to 70"),
            ("mains.frequency_hz = 400", "from 40 to 70"),
        ] {
            let e = refused(&with(line));
            let key = line.split(' ').next().unwrap();
            assert!(
                e.starts_with("rig bench: ") && e.contains(key) && e.contains(remedy),
                "{line}: {e}"
            );
            assert!(!e.contains('\n'));
        }
        for good in [
            "exciter.sign = -1",
            "exciter.series_tolerance = 0.5",
            "input.ac_pickup_hz = 15",
            "mains.frequency_hz = 70.0",
            "mains.frequency_hz = 40",
            "exciter.inductance_h = 0",
        ] {
            assert!(Rig::parse(&with(good), "bench").is_ok(), "{good}");
        }
    }

    #[test]
    fn what_stands_is_named_before_what_is_missing() {
        for (text, want) in [
            (
                "[exciter]\nreference = \"current\"\nseries_ohm = 100\nsense_ohm = 101\ninductance_h = 0\n",
                "exciter.sense_ohm = 101 is above exciter.series_ohm = 100",
            ),
            ("", "exciter.reference is missing; give it as one of voltage, current"),
            ("[exciter]\nreference = \"voltage\"\n", "exciter.series_ohm is missing"),
            (
                "[exciter]\nreference = \"voltage\"\nseries_ohms = 100\n",
                "exciter.series_ohms is not known",
            ),
            ("[mains]\nfrequency_hz = 400\n", "mains.frequency_hz is 400"),
            (
                "[exciter]\n[input]\nresistence_ohm = 1e6\n",
                "input.resistence_ohm is not known",
            ),
            (
                "[inputs]\nresistance_ohm = 1e6\n",
                "inputs is not known; at the top there are name, exciter, input, mains",
            ),
            ("exciter = 3\n", "exciter is 3, not a table"),
            ("[[exciter]]\nseries_ohm = 1\n", "exciter is a list, not a table"),
            ("name = 3\n", "name is 3"),
            ("name = \"\"\n", "name is \"\""),
            ("series_ohm = 100\n", "series_ohm is not known"),
            ("[exciter]\nseries_ohm = \n", "rig bench line 2 cannot be read"),
            ("[exciter]\nsign = 1\nsign = 1\n", "rig bench line 3 cannot be read"),
            (
                "[exciter]\nreference = \"current\"\nseries_ohm = 1\ninductance_h = 0\n[input]\nac_output_tolerance_hz = 1\n",
                "input.ac_output_tolerance_hz stands without input.ac_output_hz",
            ),
        ] {
            let e = refused(text);
            assert!(e.contains(want), "{text}: {e}");
        }
    }

    #[test]
    fn reads_a_file_with_its_stem_hash_and_limit() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("north.toml");
        std::fs::write(&path, LEAST).unwrap();
        let rig = Rig::read(&path).unwrap();
        assert_eq!(rig.name, "north");
        // sha256sum of the same bytes.
        assert_eq!(rig.content_hash(), "de017527e965cbc8");
        assert_eq!(Rig::parse(LEAST, "x").unwrap().content_hash(), rig.content_hash());
        std::fs::write(&path, format!("{LEAST}# moved\n")).unwrap();
        assert_ne!(Rig::read(&path).unwrap().content_hash(), rig.content_hash());
        // As some editors save it.
        std::fs::write(&path, format!("\u{feff}{}", LEAST.replace('\n', "\r\n"))).unwrap();
        assert_eq!(Rig::read(&path).unwrap().exciter, rig.exciter);
        std::fs::write(&path, vec![b'#'; 100_000]).unwrap();
        assert!(Rig::read(&path).unwrap_err().to_string().contains("larger than"));
        std::fs::write(&path, b"\xff\xfe").unwrap();
        assert!(Rig::read(&path).unwrap_err().to_string().contains("not a text file"));
        let e = Rig::read(&dir.path().join("none.toml")).unwrap_err().to_string();
        assert!(e.contains("none.toml") && e.contains("check the path"), "{e}");
    }
}
