//! An entry that was written, told.

use serde::Serialize;

use crate::book::entry::Entry;
use crate::cli::args::Shown;
use crate::cli::console::Console;
use crate::failure::{Result, Status};

#[derive(Debug, Serialize)]
struct Written<'a> {
    schema: &'static str,
    entry: &'a Entry,
}

pub fn tell(entry: &Entry, words: &str, shown: Shown, console: &mut Console) -> Result<Status> {
    match shown.json {
        true => console.json(&Written {
            schema: "coilwright/written/1",
            entry,
        })?,
        false => console.words(words)?,
    }
    Ok(Status::Done)
}
