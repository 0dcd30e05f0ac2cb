//! `book check`: everything read, and a backup proven.

use serde::Serialize;

use crate::book::check::{self, Checked, Proof};
use crate::book::look;
use crate::cli::args::BookCheckArgs;
use crate::cli::console::Console;
use crate::commands::progress;
use crate::commands::wanted;
use crate::failure::{Result, Status};
use crate::report::text;

#[derive(Debug, Serialize)]
struct Document<'a> {
    schema: &'static str,
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
    let bar = progress::things("readings");
    let checked = check::check(&notebook, || bar.inc(1))?;
    bar.finish_and_clear();
    let bar = progress::things("files");
    let proof = args
        .backup
        .as_deref()
        .map(|b| check::prove(&notebook, b, || bar.inc(1)))
        .transpose()?;
    bar.finish_and_clear();
    let good = checked.faults.is_empty() && proof.as_ref().is_none_or(Proof::holds);
    if args.shown.json {
        console.json(&Document {
            schema: "coilwright/checked/1",
            checked: &checked,
            backup: proof.as_ref(),
        })?;
    } else {
        let mut text = text::checked_text(&checked);
        if let (Some(proof), Some(backup)) = (&proof, &args.backup) {
            text.push_str(&text::proof_text(proof, &backup.display(), checked.put_away));
        }
        console.words(&text)?;
    }
    Ok(if good { Status::Done } else { Status::OutsideLimits })
}
