//! Records that are asked for on the command line.

use std::path::{Path, PathBuf};

use crate::book::lookup;
use crate::cli::defaults::Defaults;
use crate::failure::Result;
use crate::record::Record;

fn notebook() -> Result<PathBuf> {
    let folder = Defaults::read_from(Path::new("."))?.folder;
    Ok(folder.unwrap_or_else(|| PathBuf::from(".")))
}

/// Where the record lies that a path or a pickup's name means, and the record.
pub fn placed(word: &Path) -> Result<(PathBuf, Record)> {
    lookup::record(word, &notebook()?)
}

/// The same of several.
pub fn all(words: &[PathBuf]) -> Result<Vec<(PathBuf, Record)>> {
    let notebook = notebook()?;
    words.iter().map(|w| lookup::record(w, &notebook)).collect()
}
