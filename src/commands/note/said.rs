//! What `note` says of pickups rather than of one reading: entries of the notebook.

use crate::book::entry::{Entry, Version, What, Words};
use crate::book::index::Fresh;
use crate::book::life;
use crate::book::word::{self, Meant, Which};
use crate::book::{entries, row};
use crate::cli::args::{Design, NoteArgs};
use crate::commands::prelude::*;
use crate::commands::wanted::{self, Placed};
use crate::record::about::About;

/// Whether anything of the kind is asked for.
pub fn is_asked(args: &NoteArgs) -> bool {
    args.stage.is_some() || is_of_pickups(args)
}

fn is_of_pickups(args: &NoteArgs) -> bool {
    args.about.is_some() || args.by.is_some() || args.recipe.is_some() || args.design.is_some()
}

/// The entries to be written, all found out before the first one is.
pub fn planned(args: &NoteArgs, records: &[Placed]) -> Result<(PathBuf, Vec<What>)> {
    let notebook = wanted::notebook()?;
    let mut out = Vec::new();
    if let Some(stage) = &args.stage {
        wanted::inside(&notebook, records)?;
        out.extend(records.iter().map(|(_, record)| What::Stage {
            pickup: record.pickup.name.clone(),
            record: record.id.clone(),
            stage: stage.clone(),
        }));
    }
    if !is_of_pickups(args) {
        return Ok((notebook, out));
    }
    let all = entries::all(&notebook).hold;
    if args.records.is_empty() {
        out.push(new_version(args, &all)?);
        return Ok((notebook, out));
    }
    let version = args.design.as_ref().map(|d| known_version(d, &all)).transpose()?;
    let pickups = args
        .records
        .iter()
        .map(|word| pickup(word, &notebook))
        .collect::<Result<Vec<_>>>()?;
    for pickup in pickups {
        if args.about.is_some() || args.by.is_some() {
            let told = args.about.clone().unwrap_or_default();
            let by = About {
                by: args.by.clone(),
                ..About::default()
            };
            out.push(What::About {
                pickup: pickup.clone(),
                about: told.and(by),
            });
        }
        if version.is_some() || args.recipe.is_some() {
            out.push(What::Recipe {
                pickup,
                design: version.clone(),
                words: args.recipe.clone().unwrap_or_default(),
            });
        }
    }
    Ok((notebook, out))
}

pub fn write(notebook: &Path, planned: Vec<What>) -> Result<Vec<Entry>> {
    planned.into_iter().map(|what| wanted::say(notebook, what)).collect()
}

/// The pickup that a word means; one that was never measured by its name.
fn pickup(word: &Path, notebook: &Path) -> Result<String> {
    match word::meant(word)? {
        Meant::Path(_) | Meant::Folder(_) => Ok(wanted::placed(word)?.1.pickup.name),
        Meant::Named(named) if named.is_pattern() || !matches!(named.which, Which::Latest) => Err(Failure::new(
            format!("{} is not one pickup's name", named.word),
            "what a pickup is and what went into it is said of one name at a time, or of several names",
        )),
        Meant::Named(named) => {
            let rows = match notebook.is_dir() {
                true => wanted::ask(notebook, Fresh::Usual, |index| {
                    index.rows(&row::Filter::life(&named.name))
                })?,
                false => Vec::new(),
            };
            Ok(rows.last().map_or(named.name, |r| r.name.clone()))
        }
    }
}

fn new_version(args: &NoteArgs, all: &[Entry]) -> Result<What> {
    let (Some(design), Some(recipe)) = (&args.design, &args.recipe) else {
        return Err(Failure::new(
            "no pickup is named",
            "name one, or give --design with --recipe for a new version of the design",
        ));
    };
    if args.about.is_some() || args.by.is_some() || args.stage.is_some() {
        return Err(Failure::new(
            "--about, --by and --stage are of a pickup, and none is named",
            "name one, or leave them out",
        ));
    }
    let next = life::last_version(all, &design.name) + 1;
    if design.version.is_some_and(|v| v != next) {
        return Err(Failure::new(
            format!("the next version of {} is {next}", design.name),
            "no version is written over; leave the number out",
        ));
    }
    let version = |version| Version {
        design: design.name.clone(),
        version,
    };
    // What is not said anew is as it was.
    let mut words: Words = life::words_of(all, &version(next - 1)).cloned().unwrap_or_default();
    words.extend(recipe.clone());
    Ok(What::Design {
        design: version(next),
        words,
    })
}

fn known_version(design: &Design, all: &[Entry]) -> Result<Version> {
    let last = life::last_version(all, &design.name);
    let version = design.version.unwrap_or(last);
    match (1..=last).contains(&version) {
        true => Ok(Version {
            design: design.name.clone(),
            version,
        }),
        false => Err(Failure::new(
            match last {
                0 => format!("there is no design {}", design.name),
                _ => format!("{} has {last} versions", design.name),
            },
            format!(
                "`coilwright note --design {} --recipe \"turns=...\"` writes a new one",
                design.name
            ),
        )),
    }
}
