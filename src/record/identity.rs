//! When two records are of one rig, what of its file is in a reading, and when signs may be compared.
//!
//! A rig is its name and its unit. What else its file says is knowledge of it, and knowing more makes no other rig: most keys are in
//! no reading at all, and those that are ([`RigSummary::entered`]) can be put right by reading the take again. What was changed on
//! the bench no file knows: the witness finds it.

use std::collections::BTreeMap;

use serde_json::Value;

use super::{Open, Record, RigSummary};
use crate::fileio;
use crate::rig::Rig;

/// Polarities have it in them, and are compared with it ([`Sense`]).
const SIGN: &str = "exciter.sign";
const UNIT: &str = "unit";
const REFERENCE: &str = "exciter.reference";

/// What of a rig's file is in a reading: by key, and as it counts where the file leaves a key out.
pub type Entered = BTreeMap<String, Value>;

/// In levels only: f0, Q and the peak are the same without them.
pub fn is_of_level(key: &str) -> bool {
    ["exciter.sense_ohm", "input.gain_db"].contains(&key)
}

/// The keys by which two readings were worked out otherwise.
pub fn apart(a: &Entered, b: &Entered) -> Vec<String> {
    let keys = a.keys().chain(b.keys().filter(|k| !a.contains_key(*k)));
    keys.filter(|k| !alike(k, a.get(*k), b.get(*k))).cloned().collect()
}

/// Whether no reading tells the two values of a key apart: what is measured again comes out a little otherwise each time. A
/// nanosecond between the inputs turns the phase by 1e-4 at 20 kHz.
fn alike(key: &str, a: Option<&Value>, b: Option<&Value>) -> bool {
    let (Some(x), Some(y)) = (a.and_then(Value::as_f64), b.and_then(Value::as_f64)) else {
        return a == b;
    };
    let least = match key {
        "input.delay_s" => 1e-9,
        "input.gain_db" => 5e-3,
        _ => 1e-5 * x.abs().max(y.abs()),
    };
    (x - y).abs() <= least
}

/// The same of a reading that was made earlier, by the rig as it is known today.
pub fn apart_from(entered: &Entered, today: &RigSummary) -> Vec<String> {
    // A reading of one channel has no reference in it.
    let channels = if entered.contains_key(REFERENCE) { 2 } else { 1 };
    apart(entered, &today.entered(channels))
}

/// The same of two records of one rig, for what takes of so many channels have in common.
pub fn unlike(a: &Record, b: &Record) -> Vec<String> {
    let (x, y) = (a.rig.entered(a.capture.channels), b.rig.entered(b.capture.channels));
    match (x.is_empty(), y.is_empty()) {
        _ if a.rig.hash.is_some() && a.rig.hash == b.rig.hash => Vec::new(),
        (false, false) if a.capture.channels == b.capture.channels => apart(&x, &y),
        (false, false) => apart(&x, &y)
            .into_iter()
            .filter(|k| x.contains_key(k) && y.contains_key(k))
            .collect(),
        (true, true) if a.rig.hash == b.rig.hash => Vec::new(),
        // Records of other programs may leave out what their rig's file stated.
        _ => vec!["what the rig's file states".into()],
    }
}

impl RigSummary {
    /// First 16 hex digits of the SHA-256 of what the rig file states about the measuring chain, its sign left out and a number
    /// being itself however it is spelt. Provenance: it decides nothing.
    pub fn chain_hash(&self) -> String {
        let values = self.values.iter().filter(|(key, _)| *key != SIGN);
        let plain = |v: &Value| v.as_f64().map_or_else(|| v.clone(), Into::into);
        let chain: BTreeMap<&str, Value> = values.map(|(key, v)| (key.as_str(), plain(v))).collect();
        fileio::short_hash(serde_json::to_string(&chain).unwrap_or_default().as_bytes())
    }

    /// The same, where the record tells its chain at all.
    pub fn told_chain(&self) -> Option<String> {
        (!self.values.is_empty()).then(|| self.chain_hash())
    }

    /// The sign that the rig file states.
    pub fn sign(&self) -> Option<i8> {
        let sign = self.values.get(SIGN)?.as_i64()?;
        Some(if sign < 0 { -1 } else { 1 })
    }

    /// A number that the rig file states, by its full key.
    pub fn number(&self, key: &str) -> Option<f64> {
        self.values.get(key).and_then(Value::as_f64)
    }

    pub fn unit(&self) -> Option<&str> {
        self.values.get(UNIT)?.as_str()
    }

    /// Whether it is the rig of this name and unit. One that does not tell its unit may be any of its name.
    pub fn is(&self, name: Option<&str>, unit: Option<&str>) -> bool {
        let one = match (self.unit(), unit) {
            (Some(a), Some(b)) => a == b,
            _ => true,
        };
        self.given && self.name.as_deref() == name && one
    }

    /// What is in the reading of a take of so many channels; nothing where the file's values are not told.
    ///
    /// The corners of the AC coupling are in readings of one channel only: with two, what both have in common is no part of the
    /// quotient, and what they differ by is fitted where it is not stated. The input's ohms and picofarads are in what was
    /// measured, and so in no reading.
    pub fn entered(&self, channels: u32) -> Entered {
        if self.values.is_empty() {
            return Entered::new();
        }
        let number = |key: &str| self.number(key);
        let one = channels == 1;
        let reference = self.values.get(REFERENCE);
        let voltage = reference.and_then(Value::as_str) == Some("voltage");
        let series = number("exciter.series_ohm");
        let coil = number("exciter.inductance_h").unwrap_or(0.0);
        let corner = (one || voltage) && coil != 0.0;
        let numbers = [
            (one || voltage, "exciter.inductance_h", Some(coil)),
            (corner, "exciter.series_ohm", series),
            (
                corner && one,
                "exciter.source_ohm",
                number("exciter.source_ohm").or(Some(0.0)),
            ),
            (
                !one && !voltage,
                "exciter.sense_ohm",
                number("exciter.sense_ohm").or(series),
            ),
            (!one, "input.delay_s", number("input.delay_s").or(Some(0.0))),
            (true, "input.gain_db", number("input.gain_db").or(Some(0.0))),
            (one, "input.ac_pickup_hz", number("input.ac_pickup_hz")),
            (one, "input.ac_output_hz", number("input.ac_output_hz")),
        ];
        let numbers = numbers.into_iter().filter(|n| n.0);
        let mut entered: Entered = numbers
            .filter_map(|(_, key, v)| Some((key.into(), v?.into())))
            .collect();
        if let Some(reference) = reference.filter(|_| !one) {
            entered.insert(REFERENCE.into(), reference.clone());
        }
        entered
    }

    /// As today's file tells what is in no reading, where the readings are those of today's file. The sign stays the one that
    /// the polarity has in it, and the hash that of the file as it was.
    pub fn known_today(&mut self, today: &RigSummary) {
        let sign = self.values.remove(SIGN);
        self.values.clone_from(&today.values);
        self.values.remove(SIGN);
        self.values.extend(sign.map(|s| (SIGN.to_owned(), s)));
    }

    /// The rig as these values state it.
    pub fn rig(&self) -> Option<Rig> {
        let mut file = serde_json::Map::new();
        for (key, value) in &self.values {
            match key.split_once('.') {
                Some((table, key)) => {
                    let table = file.entry(table).or_insert_with(|| Value::Object(Default::default()));
                    table.as_object_mut()?.insert(key.into(), value.clone());
                }
                None => {
                    file.insert(key.clone(), value.clone());
                }
            }
        }
        file.insert("name".into(), self.name.clone().unwrap_or_default().into());
        serde_json::from_value(Value::Object(file)).ok()
    }
}

impl Rig {
    /// See [`RigSummary::chain_hash`].
    pub fn chain_hash(&self) -> String {
        self.summary().chain_hash()
    }

    /// For the record: every value that the file states, by its full key.
    pub fn summary(&self) -> RigSummary {
        let mut values = BTreeMap::new();
        if let Ok(serde_json::Value::Object(tables)) = serde_json::to_value(self) {
            // What measures; what is kept beside it or packed with it is no part of a reading.
            let measuring = |table: &str| ["exciter", "input", "mains"].contains(&table);
            for (table, inner) in tables.into_iter().filter(|t| measuring(&t.0)) {
                if let serde_json::Value::Object(inner) = inner {
                    let stated = inner.into_iter().filter(|(_, v)| !v.is_null());
                    values.extend(stated.map(|(key, v)| (format!("{table}.{key}"), v)));
                }
            }
            // Another interface of the same model is another rig.
            values.extend(self.unit.clone().map(|u| (UNIT.to_owned(), u.into())));
        }
        RigSummary {
            given: true,
            name: Some(self.name.clone()),
            hash: Some(self.hash.clone()),
            values,
            open: Vec::new(),
        }
    }

    /// What the file leaves open for such a take.
    pub fn left_open(&self, one_channel: bool) -> Vec<Open> {
        let open = self.open(one_channel).into_iter();
        open.map(|(key, assumed)| Open {
            key: key.into(),
            assumed: assumed.into(),
        })
        .collect()
    }

    /// The same as remarks, and what a file without any input loads.
    pub fn notes(&self, one_channel: bool) -> Vec<String> {
        let mut notes: Vec<String> = self.left_open(one_channel).iter().map(Open::note).collect();
        if self.input.is_none() {
            notes.push("rig: no [input]: taken to load nothing".into());
        }
        notes
    }
}

/// Whether two records were made on one rig. Records without a rig are on no common one.
pub fn same_rig(a: &RigSummary, b: &RigSummary) -> bool {
    a.given && b.is(a.name.as_deref(), a.unit())
}

/// A winding's sign, and the rig's as it was stated for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sense {
    /// With the stated sign in it.
    pub polarity: i8,
    pub stated: Option<i8>,
}

impl Sense {
    pub fn of(record: &Record) -> Option<Sense> {
        let r = record.resonance.as_ref()?;
        Some(Sense {
            polarity: r.polarity.signum(),
            stated: record.rig.sign(),
        })
    }

    /// As the chain gave it, whatever its file said of the sign.
    fn raw(self) -> i8 {
        self.polarity * self.stated.unwrap_or(1)
    }

    /// Of two on one rig. Where its sign was stated for one of them only, what the chain gave is compared.
    pub fn same(self, other: Sense) -> bool {
        match (self.stated, other.stated) {
            (Some(_), Some(_)) => self.polarity == other.polarity,
            _ => self.raw() == other.raw(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rig(values: &[(&str, f64)], hash: &str) -> RigSummary {
        RigSummary {
            given: true,
            name: Some("north".into()),
            hash: Some(hash.into()),
            values: values.iter().map(|(k, v)| ((*k).to_owned(), (*v).into())).collect(),
            open: Vec::new(),
        }
    }

    #[test]
    fn a_rig_is_its_name_and_its_unit() {
        let was = rig(&[("input.resistance_ohm", 1e6)], "a");
        let mut more = rig(&[("input.resistance_ohm", 1.1e6), ("exciter.inductance_h", 1e-3)], "b");
        assert!(same_rig(&was, &more));
        more.values.insert(UNIT.into(), "B".into());
        assert!(same_rig(&was, &more) && same_rig(&more, &was));
        let mut another = more.clone();
        another.values.insert(UNIT.into(), "A".into());
        assert!(!same_rig(&more, &another));
        another = was.clone();
        another.name = Some("south".into());
        assert!(!same_rig(&was, &another));
        let none = RigSummary::default();
        assert!(!same_rig(&none, &none) && !same_rig(&was, &none) && !same_rig(&none, &was));
    }

    /// Every key of the rig file by what a change of it does to a reading.
    #[test]
    fn what_is_in_a_reading() {
        let file = |more: &str| {
            let text = format!("[exciter]\nseries_ohm = 100.0\ninductance_h = 5e-4\n{more}");
            Rig::parse(&text, "north").unwrap().summary()
        };
        let voltage = "reference = \"voltage\"\n";
        let current = "reference = \"current\"\n";
        let differ = |a: &str, b: &str, channels| apart(&file(a).entered(channels), &file(b).entered(channels));
        for (key, two, one) in [
            ("series_tolerance = 0.01", false, false),
            ("inductance_tolerance = 0.01", false, false),
            ("sign = -1", false, false),
            ("source_ohm = 3.0", false, true),
            ("[input]\nresistance_ohm = 1e6", false, false),
            ("[input]\ncapacitance_f = 6e-11", false, false),
            ("[input]\nlead_capacitance_f = 6e-11", false, false),
            ("[input]\nac_pickup_hz = 2.7", false, true),
            ("[input]\nac_output_hz = 2.7", false, true),
            ("[input]\nac_reference_hz = 2.7", false, false),
            ("[input]\ndelay_s = 5e-6", true, false),
            ("[input]\ngain_db = 0.5", true, true),
            ("[mains]\nfrequency_hz = 60", false, false),
            ("[pack]\nleads = \"two\"", false, false),
            ("[setup]\nphantom = \"off\"", false, false),
            ("[interface]\nlevel_dbfs = -12.0", false, false),
            // Stated as what was taken for it.
            ("[input]\ndelay_s = 0\ngain_db = 0.0", false, false),
        ] {
            let more = format!("{voltage}{key}\n");
            assert_eq!(!differ(voltage, &more, 2).is_empty(), two, "{key}, two channels");
            assert_eq!(!differ(voltage, &more, 1).is_empty(), one, "{key}, one channel");
        }
        let other = |e: &str| Rig::parse(&format!("[exciter]\n{e}"), "north").unwrap().summary();
        let coil = other("series_ohm = 100.0\ninductance_h = 6e-4\nreference = \"voltage\"");
        assert_eq!(
            apart(&file(voltage).entered(2), &coil.entered(2)),
            ["exciter.inductance_h"]
        );
        let ohms = other("series_ohm = 90.0\ninductance_h = 5e-4\nreference = \"current\"");
        let levels = apart(&file(current).entered(2), &ohms.entered(2));
        assert!(levels == ["exciter.sense_ohm"] && is_of_level(&levels[0]));
        assert!(differ(voltage, current, 2).contains(&"exciter.reference".to_owned()));
    }

    #[test]
    fn a_rig_is_what_its_record_states() {
        let text = "unit = \"B\"\n[exciter]\nreference = \"current\"\nseries_ohm = 100\ninductance_h = 5e-4\n[input]\ndelay_s = 5e-6\n";
        let summary = Rig::parse(text, "north").unwrap().summary();
        let again = summary.rig().unwrap().summary();
        assert_eq!((&again.values, &again.name), (&summary.values, &summary.name));
        assert_eq!(again.chain_hash(), summary.chain_hash());
        let mut old = summary.clone();
        old.values.insert(SIGN.into(), (-1).into());
        old.values.insert("input.capacitance_f".into(), 1e-11.into());
        old.known_today(&summary);
        assert_eq!(old.sign(), Some(-1));
        assert!(!old.values.contains_key("input.capacitance_f"));
    }

    #[test]
    fn signs_are_compared_as_they_may_be() {
        let sense = |polarity, stated| Sense { polarity, stated };
        // The same pickup before and after the sign of a rig that turns all was written down.
        assert!(sense(1, None).same(sense(-1, Some(-1))));
        assert!(!sense(1, None).same(sense(1, Some(-1))));
        // The exciter turned over, and its sign found anew.
        assert!(sense(1, Some(1)).same(sense(1, Some(-1))));
        assert!(!sense(1, None).same(sense(-1, None)));
    }
}
