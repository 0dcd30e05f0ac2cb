//! `book check`: everything read, and a backup proven.

use serde::Serialize;

use crate::book::check::{self, Checked, Proof};
use crate::book::look;
use crate::cli::args::BookCheckArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, progress, wanted};
use crate::report::text;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/checked/1")]
struct Document<'a> {
    #[serde(flatten)]
    checked: &'a Checked,
    /// Null where none was given.
    backup: Option<&'a Proof>,
}

pub fn run(args: &BookCheckArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    for folder in [Some(&notebook), args.backup.as_ref()].into_iter().flatten() {
        look::there(folder, "give the folder in which its pickups lie")?;
    }
    let checked = progress::counted("readings", |tick| check::check(&notebook, tick))?;
    let prove = |backup| progress::counted("files", |tick| check::prove(&notebook, backup, tick));
    let proof = args.backup.as_deref().map(prove).transpose()?;
    let good = checked.faults.is_empty() && proof.as_ref().is_none_or(Proof::holds);
    let document = Document {
        checked: &checked,
        backup: proof.as_ref(),
    };
    let mut words = text::checked_text(&checked);
    if let (Some(proof), Some(backup)) = (&proof, &args.backup) {
        words.push_str(&text::proof_text(proof, &backup.display(), checked.put_away));
    }
    outcome::say_words(&document, args.shown, console, &words)?;
    Ok(if good { Status::Done } else { Status::OutsideLimits })
}
