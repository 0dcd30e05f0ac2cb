//! What a page is asked of.

use crate::book::word::{Meant, Which, meant};
use crate::cli::args::PageArgs;
use crate::cli::inputs::names_toml;
use crate::commands::outcome::MOST_BYTES;
use crate::commands::prelude::*;
use crate::commands::wanted;
use crate::fileio;
use crate::shop::lot::TRAY;

pub struct Asked {
    pub of: Of,
    /// The page's file, without its ending.
    pub stem: String,
}

pub enum Of {
    /// One reading.
    Record(PathBuf),
    /// Several, laid over each other.
    Records,
    /// One side for each of these.
    Sheets,
    /// The same of a lot, in its folder.
    SheetsOfLot(PathBuf),
    Lot(PathBuf),
    Wax,
    Rig(PathBuf),
    Coil(PathBuf),
    Life(String),
}

impl Asked {
    /// As documents have it.
    pub fn kind(&self) -> &'static str {
        match self.of {
            Of::Record(_) => "record",
            Of::Records => "comparison",
            Of::Sheets | Of::SheetsOfLot(_) => "sheet",
            Of::Lot(_) => "lot",
            Of::Wax => "wax",
            Of::Rig(_) => "rig",
            Of::Coil(_) => "loads",
            Of::Life(_) => "life",
        }
    }
}

pub fn of(args: &PageArgs) -> Result<Asked> {
    let (of, stem) = named(args)?;
    let idle = [
        (
            args.with_recipe && !matches!(of, Of::Record(_) | Of::Life(_) | Of::Sheets | Of::SheetsOfLot(_)),
            "--with-recipe is of one pickup, and this page is of none",
            "leave it out, or name the pickup",
        ),
        (
            !args.load.is_empty() && !matches!(of, Of::Coil(_)),
            "--load hangs on the coil of a coil file, and none is given",
            "give the coil file first, as in `coilwright page neck.toml --load none`",
        ),
        (
            args.load.is_empty() && matches!(of, Of::Coil(_)),
            "a coil file alone shows nothing",
            "say what hangs on it, as in --load none --load one-pickup",
        ),
        (
            args.sheet && !matches!(of, Of::Sheets | Of::SheetsOfLot(_)),
            "--sheet is of pickups, and this is none",
            "name a pickup, a record or a lot",
        ),
    ];
    match idle.into_iter().find(|i| i.0) {
        Some((_, what, hint)) => Err(Failure::new(what, hint)),
        None => Ok(Asked { of, stem }),
    }
}

fn named(args: &PageArgs) -> Result<(Of, String)> {
    let of_lot = |folder: PathBuf, name: String| match args.sheet {
        true => (Of::SheetsOfLot(folder), format!("{name}-sheets")),
        false => (Of::Lot(folder), name),
    };
    if let Some(name) = &args.lot {
        let folder = wanted::notebook()?.join(name);
        return match is_lot(&folder) {
            true => Ok(of_lot(folder, name.clone())),
            false => Err(Failure::new(
                format!("no lot {name} lies in {}", folder.parent().unwrap_or(&folder).display()),
                "`coilwright tray` makes lots; name one, or the folder that `use --folder` is to remember",
            )),
        };
    }
    if !args.after.is_empty() {
        return Ok((Of::Wax, format!("{}-wax", joined(&args.what))));
    }
    let [one] = args.what.as_slice() else {
        return Ok(match args.sheet {
            true => (Of::Sheets, format!("{}-sheets", joined(&args.what))),
            false => (Of::Records, joined(&args.what)),
        });
    };
    let stem = joined(&args.what);
    // A lot's name stands for its folder in the notebook as well.
    let there = one.symlink_metadata().is_ok();
    let lots = [
        Some(one.clone()),
        (!there).then(|| wanted::notebook().ok()).flatten().map(|n| n.join(one)),
    ];
    if let Some(folder) = lots.into_iter().flatten().find(|f| is_lot(f)) {
        return Ok(of_lot(folder, stem));
    }
    if there && one.is_file() && names_toml(&one.to_string_lossy()) {
        return toml(one).map(|of| (of, stem));
    }
    if args.sheet {
        return Ok((Of::Sheets, format!("{stem}-sheet")));
    }
    Ok(match meant(one)? {
        Meant::Named(n) if n.is_pattern() => (Of::Records, stem),
        Meant::Named(n) if n.which == Which::Latest => (Of::Life(n.name), stem),
        _ => (Of::Record(one.clone()), stem),
    })
}

fn is_lot(folder: &Path) -> bool {
    folder.join(TRAY).is_file()
}

/// The file's own name, from what was given; of many, the first and how many more.
fn joined(words: &[PathBuf]) -> String {
    let name = |w: &PathBuf| {
        let own = fileio::name_of(w);
        let own = own.strip_suffix(".toml").unwrap_or(&own).to_owned();
        // A reading's folder is a number, or its file has every reading's name: its pickup's folder tells more.
        let above = |w: &Path| w.parent().map(fileio::name_of).filter(|n| !n.is_empty());
        match own.as_str() {
            "record.json" => above(w).unwrap_or(own),
            n if n.chars().all(|c| c.is_ascii_digit()) => above(w).map_or(own.clone(), |a| format!("{a}-{n}")),
            _ => own,
        }
    };
    let names: Vec<String> = words.iter().map(name).collect();
    match names.as_slice() {
        [] => "page".into(),
        [one] => one.replace('*', "all"),
        [first, second] => format!("{first}-and-{second}"),
        [first, rest @ ..] => format!("{first}-and-{}-more", rest.len()),
    }
    .replace(['@', '#'], "-")
}

/// A rig's file says what its exciter is, a coil's does not.
fn toml(path: &Path) -> Result<Of> {
    let text = fileio::read_text_limited(path, MOST_BYTES)?;
    let table: toml::Table = toml::from_str(&text)
        .map_err(|e| Failure::toml(&path.display().to_string(), &text, "TOML", &e, "correct it"))?;
    Ok(match table.contains_key("exciter") {
        true => Of::Rig(path.to_path_buf()),
        false => Of::Coil(path.to_path_buf()),
    })
}
