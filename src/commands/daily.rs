//! What is said once a day: a reading's remarks that were on the screen already.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::cli::context::{cache, now};
use crate::fileio;

/// Kept where the system keeps what may be lost: then it is said once more.
#[derive(Debug, Default, Serialize, Deserialize)]
pub struct Daily {
    day: String,
    pub said: BTreeSet<String>,
    #[serde(skip)]
    file: Option<PathBuf>,
}

/// A day's remarks take no more.
const MOST_BYTES: u64 = 1 << 20;

impl Daily {
    /// Of this notebook, today.
    pub fn of(notebook: &Path) -> Daily {
        let day = now().get(..10).unwrap_or_default().to_owned();
        let file = cache().and_then(|c| fileio::kept_of(notebook, &c, "said.json"));
        let read = file.as_deref().and_then(|f| fileio::read_limited(f, MOST_BYTES).ok());
        let kept = read.and_then(|b| serde_json::from_slice::<Daily>(&b).ok());
        let said = kept.filter(|k| k.day == day).map(|k| k.said).unwrap_or_default();
        Daily { day, said, file }
    }

    /// From now on these are known.
    pub fn and(mut self, said: impl Iterator<Item = String>) {
        let before = self.said.len();
        self.said.extend(said);
        let Some(file) = self.file.as_deref().filter(|_| self.said.len() > before) else {
            return;
        };
        // Where it cannot be kept it is said again.
        if let (Some(folder), Ok(bytes)) = (file.parent(), fileio::pretty(&self, "what was said")) {
            let _ = std::fs::create_dir_all(folder);
            let _ = fileio::write_atomically(file, &bytes);
        }
    }
}
