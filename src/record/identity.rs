//! When two records are of one rig, and when their signs may be compared.

use std::collections::BTreeMap;

use super::{Open, Record, RigSummary};
use crate::fileio;
use crate::rig::Rig;

/// The sign is found with a rig that measures already; writing it down makes no other rig.
const SIGN: &str = "exciter.sign";

impl RigSummary {
    /// What the rig file states about the measuring chain, a number being itself however it is spelt.
    fn chain(&self) -> BTreeMap<&str, serde_json::Value> {
        let values = self.values.iter().filter(|(key, _)| *key != SIGN);
        let plain = |v: &serde_json::Value| v.as_f64().map_or_else(|| v.clone(), Into::into);
        values.map(|(key, v)| (key.as_str(), plain(v))).collect()
    }

    /// First 16 hex digits of the SHA-256 of what the rig file states about the measuring chain. Remarks in the file, what is
    /// packed with the rig, and the sign may be written anew without making it another rig.
    pub fn chain_hash(&self) -> String {
        fileio::short_hash(serde_json::to_string(&self.chain()).unwrap_or_default().as_bytes())
    }

    /// The same, where the record tells its chain at all.
    pub fn told_chain(&self) -> Option<String> {
        (!self.values.is_empty()).then(|| self.chain_hash())
    }

    /// Whether the two state the same measuring chain.
    pub fn same_chain(&self, other: &RigSummary) -> bool {
        self.chain() == other.chain()
    }

    /// The sign that the rig file states.
    pub fn sign(&self) -> Option<i8> {
        let sign = self.values.get(SIGN)?.as_i64()?;
        Some(if sign < 0 { -1 } else { 1 })
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

/// Whether two records were made on one rig: by name, and by what its file states. Records without a rig are on no common one.
pub fn same_rig(a: &RigSummary, b: &RigSummary) -> bool {
    let told = !a.values.is_empty() && !b.values.is_empty();
    let content = match (&a.hash, &b.hash) {
        (Some(x), Some(y)) if x == y => true,
        _ if told => a.same_chain(b),
        (None, None) => a.same_chain(b),
        _ => false,
    };
    a.given && b.given && a.name == b.name && content
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
    fn a_sign_or_a_remark_makes_no_other_rig() {
        let was = rig(&[("input.resistance_ohm", 1e6)], "a");
        let mut signed = rig(&[("input.resistance_ohm", 1e6)], "b");
        signed.values.insert(SIGN.into(), (-1).into());
        assert!(same_rig(&was, &signed) && was.chain_hash() == signed.chain_hash());
        assert_eq!((was.sign(), signed.sign()), (None, Some(-1)));
        let other = rig(&[("input.resistance_ohm", 1.1e6)], "c");
        assert!(!same_rig(&was, &other) && was.chain_hash() != other.chain_hash());
        let mut whole = rig(&[], "d");
        whole.values.insert("input.resistance_ohm".into(), 1_000_000.into());
        assert!(same_rig(&was, &whole) && was.chain_hash() == whole.chain_hash());
        // Records of other programs may leave the values out; then the content decides.
        assert!(!same_rig(&rig(&[], "a"), &rig(&[], "b")) && same_rig(&rig(&[], "a"), &rig(&[], "a")));
        assert!(!same_rig(&was, &rig(&[], "b")));
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
