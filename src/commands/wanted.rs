//! Records that are asked for on the command line.

use std::path::{Path, PathBuf};

use crate::book::lookup;
use crate::cli::defaults::Defaults;
use crate::failure::Result;
use crate::record::Record;

/// Where the record lies that a path or a pickup's name means, and the record.
pub fn placed(word: &Path) -> Result<(PathBuf, Record)> {
    let notebook = Defaults::read_from(Path::new("."))?.folder;
    lookup::record(word, notebook.as_deref().unwrap_or(Path::new(".")))
}
