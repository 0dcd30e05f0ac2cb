//! `rig changed`: something is another on the bench, which no file can know.

use super::beside::{aside, beside};
use super::file::rig_of;
use crate::cli::args::ChangedArgs;
use crate::cli::context::now;
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::fileio;
use crate::report::{rig_words, text};
use crate::shop::witness::checks::RigDocument;
use crate::shop::witness::history::{Change, History};

pub fn run(args: &ChangedArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let Some(witness) = &rig.witness else {
        return Err(Failure::new(
            format!(
                "the rig file {} names no witness, so no checks are kept of it",
                path.display()
            ),
            "write [witness] and below it name = \"witness one\": the pickup that is kept for checking",
        ));
    };
    let file = beside(&path, "checks.json");
    let (history, files) = fileio::alone(&file, || {
        let before = aside(&file)?;
        let mut history = History::new(&rig.summary(), &witness.name);
        history.changed = Some(Change {
            what: args.what.clone(),
            at: now(),
            before: before.as_deref().map(fileio::name_of),
        });
        fileio::write_atomically(&file, &outcome::pretty(&history, "the history")?)?;
        let files: Vec<_> = std::iter::once(file.clone()).chain(before).collect();
        Ok((history, files))
    })?;
    let document = RigDocument::of(&rig, Some(&history), rig_words::words(&rig));
    outcome::say(&document, args.shown, console, |_, style| {
        text::changed_text(&document, &files, style)
    })
}
