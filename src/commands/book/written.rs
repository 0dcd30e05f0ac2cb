//! An entry that was written, told.

use serde::Serialize;

use crate::book::entry::Entry;
use crate::cli::args::Shown;
use crate::commands::outcome;
use crate::commands::prelude::*;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/written/1")]
struct Written<'a> {
    entry: &'a Entry,
}

pub fn tell(entry: &Entry, words: &str, shown: Shown, console: &mut Console) -> Result<Status> {
    outcome::say_words(&Written { entry }, shown, console, words)
}
