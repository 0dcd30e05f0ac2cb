//! What is said of pickups rather than of one reading: entries, each a file of its own, written once.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::record::about::About;
use crate::record::stage::Stage;

pub const SCHEMA: &str = "coilwright/entry/1";
const VERSIONS: &str = "coilwright/entry/";

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    pub schema: String,
    /// The name of its file, too.
    pub id: String,
    /// RFC 3339 with offset.
    pub at: String,
    /// Who wrote it.
    pub by: Option<String>,
    #[serde(flatten)]
    pub what: What,
}

/// Words of a recipe: "turns" is "8000".
pub type Words = BTreeMap<String, String>;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum What {
    /// What a pickup is.
    About {
        pickup: String,
        #[serde(flatten)]
        about: About,
    },
    /// The stage of a reading that has none, or another.
    Stage {
        pickup: String,
        /// The reading's id.
        record: String,
        stage: Stage,
    },
    /// Another name, from here back; of one reading where its id stands.
    Rename {
        pickup: String,
        to: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        record: Option<String>,
    },
    /// What went into a pickup: of a design, and its own words, which go before those.
    Recipe {
        pickup: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        design: Option<Version>,
        #[serde(default, skip_serializing_if = "Words::is_empty")]
        words: Words,
    },
    /// A version of what several pickups share.
    Design {
        #[serde(flatten)]
        design: Version,
        #[serde(default, skip_serializing_if = "Words::is_empty")]
        words: Words,
    },
    /// The pickup left the shop.
    Sent {
        pickup: String,
        /// The reading it left with.
        record: Option<String>,
        /// To whom: never exported.
        to: Option<String>,
    },
    /// It came back.
    Returned {
        pickup: String,
        /// The reading on its return.
        record: String,
        /// What was found, as a code.
        found: String,
    },
    /// These belong together.
    Set { set: String, pickups: Vec<String> },
    /// It is no longer the shop's.
    Sold { pickup: String },
    /// Readings of an older notebook on paper, read by hand; of one import all.
    Paper {
        /// The file that they were read from.
        file: String,
        rows: Vec<Line>,
    },
    /// The takes of these readings were put away.
    Thinned {
        /// The folder that they lie in since.
        to: String,
        /// The readings' ids.
        records: Vec<String>,
    },
    /// An earlier entry holds no more.
    Undo { entry: String },
}

/// One line of a notebook on paper.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    pub pickup: String,
    /// YYYY-MM-DD, or as much of it as was written.
    pub day: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<Stage>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ohm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub henry: Option<f64>,
    /// All other columns.
    #[serde(default, skip_serializing_if = "Words::is_empty")]
    pub words: Words,
}

/// One version of a design.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Version {
    pub design: String,
    pub version: u32,
}

impl std::fmt::Display for Version {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} version {}", self.design, self.version)
    }
}

impl What {
    /// The pickups that it is about.
    pub fn pickups(&self) -> Vec<&str> {
        match self {
            What::About { pickup, .. }
            | What::Stage { pickup, .. }
            | What::Rename { pickup, .. }
            | What::Recipe { pickup, .. }
            | What::Sent { pickup, .. }
            | What::Returned { pickup, .. }
            | What::Sold { pickup } => vec![pickup],
            What::Set { pickups, .. } => pickups.iter().map(String::as_str).collect(),
            What::Paper { rows, .. } => rows.iter().map(|r| r.pickup.as_str()).collect(),
            What::Design { .. } | What::Thinned { .. } | What::Undo { .. } => Vec::new(),
        }
    }
}

impl Entry {
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Entry> {
        let name = path.display();
        let wrong = |why: String| {
            Failure::new(
                format!("{name} is no entry: {why}"),
                "correct it, or move it out of the folder",
            )
        };
        #[derive(Deserialize)]
        struct Kind {
            schema: String,
        }
        let kind: Kind = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
        let version = kind.schema.strip_prefix(VERSIONS).and_then(|v| v.parse::<u32>().ok());
        match version {
            Some(1) => {}
            Some(v) if v > 1 => {
                return Err(Failure::new(
                    format!("{name} was written by a newer coilwright (entry version {v})"),
                    "update coilwright",
                ));
            }
            _ => return Err(wrong(format!("it is of the kind {:?}", kind.schema))),
        }
        let entry: Entry = serde_json::from_slice(bytes).map_err(|e| wrong(e.to_string()))?;
        if crate::record::when::moment(&entry.at).is_none() {
            return Err(wrong(format!("{:?} is no time", entry.at)));
        }
        Ok(entry)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_as_its_file_has_it() {
        let text = r#"{"schema": "coilwright/entry/1", "id": "20260302T091500-a1b2", "at": "2026-03-02T09:15:00+01:00", "by": null,
            "kind": "sent", "pickup": "neck-7", "record": "r1", "to": null}"#;
        let entry = Entry::parse(text.as_bytes(), Path::new("e.json")).unwrap();
        assert_eq!(entry.what.pickups(), ["neck-7"]);
        let again = serde_json::to_vec(&entry).unwrap();
        assert_eq!(Entry::parse(&again, Path::new("e.json")).unwrap(), entry);
        let about = r#"{"schema": "coilwright/entry/1", "id": "x", "at": "2026-03-02T09:15:00+01:00", "by": null,
            "kind": "about", "pickup": "neck-7", "position": "neck", "spacing_m": 0.052, "made_by": "mara"}"#;
        let entry = Entry::parse(about.as_bytes(), Path::new("e.json")).unwrap();
        assert!(
            matches!(entry.what, What::About { about, .. } if about.spacing_m == Some(0.052) && about.by.as_deref() == Some("mara"))
        );
    }

    #[test]
    fn what_is_no_entry() {
        let refused = |text: &str| Entry::parse(text.as_bytes(), Path::new("e.json")).unwrap_err().what;
        assert!(refused("{").contains("is no entry"));
        assert!(refused(r#"{"schema": "coilwright/entry/2"}"#).contains("newer"));
        assert!(refused(r#"{"schema": "coilwright/note/1"}"#).contains("of the kind"));
        let when =
            r#"{"schema": "coilwright/entry/1", "id": "x", "at": "soon", "by": null, "kind": "sold", "pickup": "a"}"#;
        assert!(refused(when).contains("no time"));
    }
}
