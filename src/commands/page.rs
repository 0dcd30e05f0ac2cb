//! `page`: one file for a browser or a printer.

use serde::Serialize;

use super::outcome::{self, MOST_BYTES};
use crate::book::word::folder_name;
use crate::cli::args::PageArgs;
use crate::cli::context::Fresh;
use crate::commands::prelude::*;
use crate::fileio;
use crate::report::page::MARK;
use crate::report::text;

mod asked;
mod made;

pub use made::of_rig;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/page/1")]
struct Document {
    /// What is on it.
    kind: &'static str,
    files: [PathBuf; 1],
}

pub fn run(args: &PageArgs, console: &mut Console) -> Result<Status> {
    let asked = asked::of(args)?;
    let mut fresh = Fresh::default();
    let folder = args.out.as_deref().map(|out| fresh.ready(out)).transpose()?;
    let folder = folder.unwrap_or_default();
    let file = folder.join(format!("{}.html", folder_name(&asked.stem)?));
    ours_or_nothing(&file)?;
    let page = made::of(&asked, args, console)?;
    fileio::write_atomically(&file, page.html().as_bytes())?;
    let document = Document {
        kind: asked.kind(),
        files: [file],
    };
    outcome::say(&document, args.shown, console, |d, style| {
        text::written_text(&d.files, style)
    })
}

/// A page holds nothing that its sources do not, so that it is made anew over an earlier one; over nothing else.
fn ours_or_nothing(file: &Path) -> Result<()> {
    if file.symlink_metadata().is_err() {
        return Ok(());
    }
    let ours = !file.is_symlink()
        && fileio::read_limited(file, MOST_BYTES)
            .is_ok_and(|b| b.windows(MARK.len()).take(4096).any(|w| w == MARK.as_bytes()));
    match ours {
        true => Ok(()),
        false => Err(Failure::new(
            format!("{} is there already, and is no page of this program", file.display()),
            "choose another folder with --out, or move it away",
        )),
    }
}
