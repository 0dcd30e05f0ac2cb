//! The rig file: exciter, reference, input and mains as they stand on one bench (TOML).

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::fileio;
use table::KEYS;

pub mod keys;
mod table;

/// For the record's notes where no rig is given: a current reference and an input that loads nothing are assumed then.
pub const NO_RIG_NOTE: &str = "no rig given: f0 and Q may be off by the exciter's corner";

pub use table::possible;

/// No rig file worth reading is larger.
const MAX_BYTES: u64 = 64 * 1024;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rig {
    /// The file's stem where the file gives none.
    #[serde(default)]
    pub name: String,
    pub exciter: Exciter,
    pub input: Option<Input>,
    pub mains: Option<Mains>,
    /// Tells two interfaces of one model apart; on a label on the unit itself.
    pub unit: Option<String>,
    pub witness: Option<Witness>,
    pub interface: Option<Interface>,
    /// How the switches stood when the rig was set up.
    pub setup: Option<Words>,
    /// What belongs to the rig when it travels.
    pub pack: Option<Words>,
    #[serde(skip)]
    pub(crate) hash: String,
}

/// The pickup, or the dummy in its tin, that is kept for checking the rig.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Witness {
    pub name: String,
    /// What hangs on it during a check besides the rig's own input, in the load notation.
    pub load: Option<String>,
    /// Of its winding itself; left out, a usual one.
    pub winding_f: Option<f64>,
    /// Left out: it is laid down anew for each check.
    pub place: Option<WitnessPlace>,
}

/// How the witness lies from check to check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WitnessPlace {
    /// It stays where it is, under an exciter that stays as well.
    Fixed,
    Anew,
}

/// What the measured values of the file belong to. A live take on anything else is refused: they would be wrong there.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Interface {
    /// Id of the sound output, as `coilwright devices` lists it.
    pub output: Option<String>,
    /// Id of the sound input.
    pub input: Option<String>,
    pub rate_hz: Option<u32>,
    pub pickup_channel: Option<u32>,
    pub reference_channel: Option<u32>,
    /// How the inputs' knobs and switches stood, in words.
    pub range: Option<String>,
    /// Day on which the two inputs were measured against each other.
    pub inputs_measured: Option<String>,
    /// Day on which the input's own loading was measured.
    pub loading_measured: Option<String>,
    /// Peak of the strongest clean drive; what `measure` plays unless told otherwise.
    pub level_dbfs: Option<f64>,
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

/// What people say of things that software cannot see, by key.
pub type Words = BTreeMap<String, String>;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exciter {
    pub reference: Reference,
    /// From channel 2's voltage tap to ground: resistor, winding, sense resistor.
    pub series_ohm: f64,
    pub inductance_h: f64,
    /// Before the tap; part of the circuit for one-channel takes.
    pub source_ohm: Option<f64>,
    /// What channel 2 reads for a current reference.
    pub sense_ohm: Option<f64>,
    /// Standard uncertainty, relative.
    pub series_tolerance: Option<f64>,
    /// Standard uncertainty, relative.
    pub inductance_tolerance: Option<f64>,
    /// +1 or -1, found with a pickup of known polarity.
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
    pub resistance_ohm: Option<f64>,
    pub capacitance_f: Option<f64>,
    pub lead_capacitance_f: Option<f64>,
    /// Corners of the AC coupling; left out: unknowns of the fit.
    pub ac_pickup_hz: Option<f64>,
    pub ac_pickup_tolerance_hz: Option<f64>,
    pub ac_reference_hz: Option<f64>,
    pub ac_reference_tolerance_hz: Option<f64>,
    pub ac_output_hz: Option<f64>,
    pub ac_output_tolerance_hz: Option<f64>,
    /// Channel 1 after channel 2.
    pub delay_s: Option<f64>,
    pub delay_tolerance_s: Option<f64>,
    /// Channel 1 over channel 2.
    pub gain_db: Option<f64>,
    pub gain_tolerance_db: Option<f64>,
    /// Of `resistance_ohm`, relative.
    pub resistance_tolerance: Option<f64>,
    /// Of `capacitance_f` and the lead together.
    pub capacitance_tolerance_f: Option<f64>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Mains {
    pub frequency_hz: Option<f64>,
}

/// From here on a corner changes nothing that a sound card hears: 20 kHz by two parts in 1e10.
const NO_CORNER_HZ: f64 = 1e9;

impl Rig {
    /// Reads and checks a rig file.
    pub fn read(path: &Path) -> Result<Rig> {
        // One name, whatever link leads to it.
        let path = &fileio::real(path);
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
        let one_of = |what: &str| Err(Failure::new(format!("{place}: input.{what}"), "give both, or neither"));
        if i.gain_db.is_none() && i.gain_tolerance_db.is_some() {
            return one_of("gain_tolerance_db stands without input.gain_db");
        }
        if i.resistance_ohm.is_none() && i.resistance_tolerance.is_some() {
            return one_of("resistance_tolerance stands without input.resistance_ohm");
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

    /// What the file leaves out, by its full key, and what is assumed instead, as far as it matters for such a take.
    pub fn open(&self, one_channel: bool) -> Vec<(&'static str, &'static str)> {
        let e = &self.exciter;
        let exact = "taken as exact";
        let mut open = Vec::new();
        let mut note = |missing: bool, key, assumed| open.extend(missing.then_some((key, assumed)));
        note(e.series_tolerance.is_none(), "exciter.series_tolerance", exact);
        let coil = self.corner_hz(one_channel).is_some() && e.inductance_tolerance.is_none();
        note(coil, "exciter.inductance_tolerance", exact);
        let source = one_channel && e.source_ohm.is_none();
        note(source, "exciter.source_ohm", "taken as zero");
        let sense = !one_channel && e.reference == Reference::Current && e.sense_ohm.is_none();
        note(sense, "exciter.sense_ohm", "series_ohm taken");
        note(e.sign.is_none(), "exciter.sign", "polarity is not referenced");
        let Some(i) = &self.input else {
            note(!one_channel, "input.delay_s", LATE);
            return open;
        };
        let loads = i.resistance_ohm.is_none();
        note(loads, "input.resistance_ohm", "taken as infinite");
        let [input, lead] = [i.capacitance_f, i.lead_capacitance_f].map(|f| f.is_none());
        note(input, "input.capacitance_f", "taken as zero");
        note(lead, "input.lead_capacitance_f", "taken as zero");
        let [pickup, reference, output] = i.corners().map(|c| c.0.is_some() && c.1.is_none());
        let (reference, output) = (reference && !one_channel, output && one_channel);
        for (missing, key, assumed) in [
            (pickup, "input.ac_pickup_tolerance_hz", "ac_pickup_hz taken as exact"),
            (
                reference,
                "input.ac_reference_tolerance_hz",
                "ac_reference_hz taken as exact",
            ),
            (output, "input.ac_output_tolerance_hz", "ac_output_hz taken as exact"),
        ] {
            note(missing, key, assumed);
        }
        if !one_channel {
            let (delay, tolerance) = (i.delay_s.is_some(), i.delay_tolerance_s.is_some());
            note(!delay && !tolerance, "input.delay_s", LATE);
            note(delay && !tolerance, "input.delay_tolerance_s", "delay_s taken as exact");
            note(i.gain_db.is_none(), "input.gain_db", "channels taken as equal");
        }
        open
    }

    /// The first thing about a live take that the file's measured values do not belong to.
    pub fn foreign(&self, used: &Used) -> Option<Foreign> {
        let i = self.interface.as_ref()?;
        let text = |n: Option<u32>| n.map(|n| n.to_string());
        let [rate, pickup] = [used.rate_hz, used.pickup_channel].map(|n| text(Some(n)));
        let all = [
            ("output", i.output.clone(), Some(used.output.clone())),
            ("input", i.input.clone(), Some(used.input.clone())),
            ("rate", text(i.rate_hz), rate),
            ("pickup's channel", text(i.pickup_channel), pickup),
            (
                "reference's channel",
                text(i.reference_channel),
                text(used.reference_channel),
            ),
        ];
        let both = |(what, stated, used)| Some((what, stated?, used?));
        let mut known = all.into_iter().filter_map(both);
        let (what, stated, used) = known.find(|(_, stated, used)| stated != used)?;
        Some(Foreign { what, stated, used })
    }
}

/// What is assumed of a delay that nobody states.
const LATE: &str = "taken as 0 with u 0.3 us";

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
mod tests;
