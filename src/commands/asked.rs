//! What was asked of a measurement, kept beside its takes before they are read: the reading can be finished later from the folder
//! alone.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::analysis::Choice;
use crate::capture::Provenance;
use crate::failure::{Failure, Result, of_kind};
use crate::fileio;
use crate::record::Pickup;
use crate::rig::Rig;

pub const SCHEMA: &str = "coilwright/asked/1";
/// The file beside the takes.
pub const NAME: &str = "asked.json";

const MOST_BYTES: u64 = 1 << 20;

/// Fields of later versions are passed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Asked {
    pub schema: String,
    /// When the first take was begun; of a recording, when its file was last changed. RFC 3339 with offset.
    pub taken_at: String,
    /// "live", "sim" or "file".
    pub source: String,
    pub pickup: Pickup,
    /// Null: none was given.
    pub rig: Option<RigFile>,
    /// In the load notation; null: not told.
    pub load: Option<String>,
    pub model: Choice,
    /// How many takes were asked for.
    pub repeats: u32,
    /// Taps were asked for.
    pub knock: bool,
    /// What is known of each take besides its samples, in order of taking.
    pub takes: Vec<Provenance>,
    /// The same of the recording of taps.
    pub taps: Option<Provenance>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RigFile {
    /// From the top of the file system.
    pub file: String,
    /// Of what it stated of the measuring chain.
    pub hash: String,
}

impl RigFile {
    pub fn new(path: &Path, rig: &Rig) -> Self {
        let whole = std::path::absolute(path);
        RigFile {
            file: whole.unwrap_or_else(|_| path.into()).to_string_lossy().into_owned(),
            hash: rig.chain_hash(),
        }
    }
}

impl Asked {
    /// What lies in this folder; `None` where nothing does.
    pub fn read(folder: &Path) -> Result<Option<Asked>> {
        let path = folder.join(NAME);
        if path.symlink_metadata().is_err() {
            return Ok(None);
        }
        let wrong = |why: String| {
            Failure::new(
                format!("{} does not tell what was asked: {why}", path.display()),
                "give the take itself, with --out for another folder",
            )
        };
        let asked: Asked =
            serde_json::from_slice(&fileio::read_limited(&path, MOST_BYTES)?).map_err(|e| wrong(e.to_string()))?;
        of_kind(&asked.schema, SCHEMA).map_err(|what| wrong(format!("it {what}")))?;
        Ok(Some(asked))
    }
}
