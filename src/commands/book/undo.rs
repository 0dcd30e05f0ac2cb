//! `book undo`: the last entry holds no more. Its file stays.

use super::written;
use crate::book::entries;
use crate::book::entry::What;
use crate::cli::args::UndoArgs;
use crate::commands::prelude::*;
use crate::commands::wanted;
use crate::report::entry_words;

pub fn run(args: &UndoArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let all = entries::all(&notebook);
    for why in &all.unread {
        console.remark(&format!("left out: {why}"));
    }
    let last = all.hold.iter().rfind(|e| !matches!(e.what, What::Undo { .. }));
    let Some(last) = last else {
        return Err(Failure::new(
            format!("{} has no entry to take back", notebook.display()),
            "readings are never taken back; measure again, or rename one that was another pickup's",
        ));
    };
    if let What::Thinned { to, .. } = &last.what {
        return Err(Failure::new(
            format!("the last entry says that takes were put away in {to}"),
            format!("`coilwright book thin --back --to {to}` brings them back, and the entry with them"),
        ));
    }
    let entry = wanted::say(&notebook, What::Undo { entry: last.id.clone() })?;
    let text = format!("taken back: {}\n", entry_words::sentence(last));
    written::tell(&entry, &text, args.shown, console)
}
