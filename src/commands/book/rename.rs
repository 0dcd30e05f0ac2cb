//! `book rename`: another name for a pickup, or for one reading of it.

use super::written;
use crate::book::entry::What;
use crate::book::index::Fresh;
use crate::book::row::Filter;
use crate::book::word::{self, Meant, Named, Which};
use crate::cli::args::RenameArgs;
use crate::commands::prelude::*;
use crate::commands::wanted;

/// What is to be called otherwise.
struct Old {
    pickup: String,
    /// Id of the one reading that is meant.
    record: Option<String>,
    /// As the screen names it.
    words: String,
}

pub fn run(args: &RenameArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let new = args.new.trim();
    word::folder_name(new)?;
    word::sound_name(new)?;
    let old = match word::meant(Path::new(&args.old))? {
        Meant::Named(old) => named(&old, &notebook)?,
        Meant::Path(path) | Meant::Folder(path) => {
            let placed = wanted::placed(&path)?;
            wanted::inside(&notebook, std::slice::from_ref(&placed))?;
            let (place, record) = placed;
            Old {
                words: format!("{} in {}", record.pickup.name, place.display()),
                pickup: record.pickup.name,
                record: Some(record.id),
            }
        }
    };
    if old.pickup == new {
        return Err(Failure::new(format!("{new} is its name already"), "give another one"));
    }
    let taken = wanted::ask(&notebook, Fresh::Usual, |index| {
        Ok(index.rows(&Filter::life(new))?.len())
    })?;
    let what = What::Rename {
        pickup: old.pickup,
        to: new.to_owned(),
        record: old.record,
    };
    let entry = wanted::say(&notebook, what)?;
    let had = match taken {
        0 => String::new(),
        taken => format!("{new} had {taken} readings already: they are one pickup's now.\n"),
    };
    let text = format!(
        "{} is {new} in everything kept so far; its folder and its records stay as they are.\n\
         {had}`coilwright book undo` takes it back.\n",
        old.words
    );
    written::tell(&entry, &text, args.shown, console)
}

fn named(old: &Named, notebook: &Path) -> Result<Old> {
    if old.is_pattern() || matches!(old.which, Which::Stage(_) | Which::Day(..)) {
        return Err(Failure::new(
            format!("{} may be several", old.word),
            "rename one pickup, or one reading by its number: neck-7#0003",
        ));
    }
    let rows = wanted::ask(notebook, Fresh::Now, |index| old.readings(index))?;
    let Some(last) = rows.last() else {
        return Err(old.nothing(notebook));
    };
    match old.which {
        // An old name may have a number in it.
        Which::Number(n) if last.name != old.word => {
            let one = word::one(old, &rows, notebook)?;
            Ok(Old {
                pickup: one.name.clone(),
                record: Some(one.id.clone()),
                words: format!("{} reading {n:04}", one.name),
            })
        }
        _ => Ok(Old {
            pickup: last.name.clone(),
            record: None,
            words: last.name.clone(),
        }),
    }
}
