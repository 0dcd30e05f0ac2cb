//! `book sold`: pickups that are another's from now on, and no longer the shop's to choose from.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::book::entry::{Entry, What};
use crate::book::index::Fresh;
use crate::book::row::Filter;
use crate::book::{entries, life};
use crate::cli::args::SoldArgs;
use crate::commands::prelude::*;
use crate::commands::{outcome, wanted};
use crate::report::text;

#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/sold/1")]
struct Sold {
    /// Whether they are the shop's again.
    back: bool,
    pickups: Vec<String>,
    entries: Vec<Entry>,
}

pub fn run(args: &SoldArgs, console: &mut Console) -> Result<Status> {
    let notebook = wanted::notebook()?;
    let all = entries::all(&notebook).hold;
    let names: BTreeSet<&String> = args.names.iter().collect();
    // All of them are found before anything is written.
    let planned: Vec<What> = match args.back {
        true => names.iter().map(|name| taken_back(name, &all)).collect::<Result<_>>(),
        false => {
            let each = names.iter().zip(measured(&names, &notebook)?);
            each.map(|(name, measured)| said(name, &all, measured, &notebook))
                .collect()
        }
    }?;
    let written = planned.into_iter().map(|what| wanted::say(&notebook, what));
    let sold = Sold {
        back: args.back,
        entries: written.collect::<Result<_>>()?,
        pickups: names.into_iter().cloned().collect(),
    };
    let words = text::sold_text(&sold.pickups, sold.back);
    outcome::say_words(&sold, args.shown, console, &words)
}

/// Whether the notebook has a reading of each; its folders are looked through once.
fn measured(names: &BTreeSet<&String>, notebook: &Path) -> Result<Vec<bool>> {
    wanted::ask(notebook, Fresh::Now, |index| {
        let has = |name: &&String| {
            let filter = Filter {
                paper: true,
                ..Filter::life(name)
            };
            Ok(!index.rows(&filter)?.is_empty())
        };
        names.iter().map(has).collect()
    })
}

fn said(name: &str, all: &[Entry], measured: bool, notebook: &Path) -> Result<What> {
    let told = life::of(all, name);
    if life::sold(&told).is_some() {
        return Err(Failure::new(
            format!("{name} is sold already"),
            format!("where it is the shop's again: coilwright book sold {name} --back"),
        ));
    }
    if told.is_empty() && !measured {
        return Err(Failure::new(
            format!("{} knows no pickup {name}", notebook.display()),
            "give the name as `coilwright book` lists it",
        ));
    }
    Ok(What::Sold {
        pickup: name.to_owned(),
    })
}

fn taken_back(name: &str, all: &[Entry]) -> Result<What> {
    match life::sold(&life::of(all, name)) {
        Some(entry) => Ok(What::Undo {
            entry: entry.id.clone(),
        }),
        None => Err(Failure::new(
            format!("{name} is not sold"),
            "`coilwright book NAME` tells what was said of it",
        )),
    }
}
