//! `book import`: a notebook on paper, typed as a table, as one entry.

use serde::Serialize;

use crate::book::entries;
use crate::book::entry::{Entry, Line, What};
use crate::book::{look, paper};
use crate::cli::args::ImportArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, wanted};
use crate::fileio;
use crate::report::text;

/// More lines than an entry can hold, and than anybody has written by hand.
const MOST_BYTES: u64 = 8 << 20;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/imported/1")]
struct Document<'a> {
    /// Null where all of it was here, or nothing was to be written.
    entry: Option<&'a Entry>,
    rows: &'a [Line],
    known: usize,
    remarks: &'a [String],
}

pub fn run(args: &ImportArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let hint = "make the folder first, or say which with `coilwright use --folder DIR`";
    look::there(&notebook, hint)?;
    let file = fileio::name_of(&args.file);
    let read = paper::read(&fileio::read_text_limited(&args.file, MOST_BYTES)?, &file, args.day)?;
    let said = entries::all(&notebook).hold;
    let known: Vec<&Line> = said
        .iter()
        .flat_map(|e| match &e.what {
            What::Paper { rows, .. } => rows.as_slice(),
            _ => &[],
        })
        .collect();
    let all = read.lines.len();
    let rows = paper::new_ones(read.lines, &known);
    let entry = (!rows.is_empty() && !args.dry).then(|| {
        let rows = rows.clone();
        wanted::say(&notebook, What::Paper { file, rows })
    });
    let entry = entry.transpose()?;
    let document = Document {
        entry: entry.as_ref(),
        rows: &rows,
        known: all - rows.len(),
        remarks: &read.remarks,
    };
    let words = text::imported_text(&read.columns, &rows, document.known, entry.is_some());
    outcome::say_words(&document, args.shown, console, &words)?;
    for remark in read.remarks.iter().filter(|_| !args.shown.json) {
        console.remark(remark);
    }
    Ok(Status::Done)
}
