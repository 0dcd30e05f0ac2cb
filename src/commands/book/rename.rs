//! `book rename`: another name for a pickup, or for one reading of it.

use serde::Serialize;

use crate::book::entry::{Entry, What};
use crate::book::index::Fresh;
use crate::book::word::{self, Which, named};
use crate::cli::args::RenameArgs;
use crate::cli::console::Console;
use crate::commands::wanted;
use crate::failure::{Failure, Result, Status};

#[derive(Debug, Serialize)]
pub(super) struct Written<'a> {
    pub schema: &'static str,
    pub entry: &'a Entry,
}

pub fn run(args: &RenameArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let old = named(&args.old)?;
    let new = args.new.trim();
    word::folder_name(new)?;
    if new.contains(['*', '@', '#']) {
        return Err(Failure::new(
            format!("{new:?} would not be understood as a name: *, @ and # mean something behind one"),
            "give it another",
        ));
    }
    if old.is_pattern() || matches!(old.which, Which::Stage(_) | Which::Day(..)) {
        return Err(Failure::new(
            format!("{} may be several", args.old),
            "rename one pickup, or one reading by its number: neck-7#0003",
        ));
    }
    let rows = wanted::ask(&notebook, Fresh::Now, |index| old.readings(index))?;
    let Some(last) = rows.last() else {
        return Err(old.nothing(&notebook));
    };
    if last.name == new {
        return Err(Failure::new(format!("{new} is its name already"), "give another one"));
    }
    let taken = wanted::ask(&notebook, Fresh::Usual, |index| named_so(index, new))?;
    let what = What::Rename {
        pickup: last.name.clone(),
        to: new.to_owned(),
        record: matches!(old.which, Which::Number(_)).then(|| last.id.clone()),
    };
    let entry = wanted::say(&notebook, what)?;
    if args.shown.json {
        console.json(&Written {
            schema: "coilwright/written/1",
            entry: &entry,
        })?;
        return Ok(Status::Done);
    }
    let what = match old.which {
        Which::Number(n) => format!("{} reading {n:04}", last.name),
        _ => last.name.clone(),
    };
    let mut text = format!("{what} is {new} from here back; its folder and its records stay as they are.\n");
    if taken > 0 {
        text.push_str(&format!(
            "{new} had {taken} readings already: they are one pickup's now.\n"
        ));
    }
    text.push_str("`coilwright book undo` takes it back.\n");
    console.words(&text)?;
    Ok(Status::Done)
}

fn named_so(index: &crate::book::index::Index, name: &str) -> crate::book::index::Asked<usize> {
    Ok(index.rows(&crate::book::row::Filter::life(name))?.len())
}
