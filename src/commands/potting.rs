//! `potting`: wax before and after.

use std::path::{Path, PathBuf};

use super::coil::write_all;
use super::outcome;
use super::rig::history_of;
use crate::cli::args::PottingArgs;
use crate::cli::console::Console;
use crate::cli::context::Fresh;
use crate::cli::defaults::Defaults;
use crate::failure::{Failure, Result, Status};
use crate::record::potting::{self, About, PotVerdict};
use crate::record::{Record, store};
use crate::report::{potting_plot, text};
use crate::rig::Rig;

pub fn run(args: &PottingArgs, console: &mut Console) -> Result<Status> {
    let (before, after) = (read(&args.before)?, read(&args.after)?);
    let defaults = Defaults::read_from(Path::new("."))?;
    let history = match args.rig.as_ref().or(defaults.rig.as_ref()) {
        Some(path) => {
            let rig = Rig::read(path)?;
            let history = history_of(path)?;
            if let Some(h) = history.as_ref().filter(|h| h.hash != rig.chain_hash()) {
                return Err(Failure::new(
                    format!(
                        "{} has been changed since its {} checks",
                        path.display(),
                        h.checks.len()
                    ),
                    "check the rig anew (rig check --begin-again), or give the rig file as it was",
                ));
            }
            history
        }
        None => None,
    };
    let about = About {
        limits: args.limit.map_or_else(Default::default, |l| l.0),
        rested_h: args.rested,
        winding_f: args.cs,
    };
    let document = potting::compare(&before, &after, history.as_ref(), &about)?;
    let mut fresh = Fresh::default();
    let files = match &args.out {
        Some(out) => {
            let folder = fresh.ready(out)?;
            let plot = potting_plot::pairs(&document, before.iter().chain(&after).any(Record::is_simulated))?;
            write_all(vec![
                (folder.join("potting.svg"), plot.svg.into_bytes()),
                (folder.join("potting.png"), plot.png),
                (
                    folder.join("potting.json"),
                    outcome::pretty(&document, "the comparison")?,
                ),
            ])?
        }
        None => Vec::new(),
    };
    if args.shown.json {
        console.json(&document)?;
    } else {
        console.result(&text::potting_text(&document, &files, outcome::style(args.shown)))?;
    }
    let any = |v: PotVerdict| document.pairs.iter().any(|p| p.verdict == v);
    Ok(match (any(PotVerdict::Other), any(PotVerdict::Warm)) {
        (true, _) => Status::OutsideLimits,
        (_, true) => Status::NoReading,
        _ => Status::Done,
    })
}

/// How deep records lie below a folder that is given: FOLDER/NAME/0001.
const DEPTH: usize = 3;

/// Records from files, their folders, or folders of such folders.
fn read(paths: &[PathBuf]) -> Result<Vec<Record>> {
    let mut out = Vec::new();
    for path in paths {
        if !path.is_dir() || path.join("record.json").exists() {
            out.push(store::read(path)?);
            continue;
        }
        let mut found = Vec::new();
        below(path, DEPTH, &mut found)?;
        if found.is_empty() {
            return Err(Failure::new(
                format!("no record lies in {}", path.display()),
                "give a record, its folder, or a folder of such folders",
            ));
        }
        found.sort();
        for f in found {
            out.push(store::read(&f)?);
        }
    }
    Ok(out)
}

fn below(folder: &Path, depth: usize, found: &mut Vec<PathBuf>) -> Result<()> {
    let list = std::fs::read_dir(folder).map_err(|e| Failure::io("read", folder, &e))?;
    for entry in list.flatten() {
        let path = entry.path();
        if path.join("record.json").is_file() {
            found.push(path);
        } else if depth > 1 && path.is_dir() {
            below(&path, depth - 1, found)?;
        }
    }
    Ok(())
}
