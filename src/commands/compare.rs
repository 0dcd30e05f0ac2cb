//! `compare`: records over each other, and their differences.

use std::path::{Path, PathBuf};

use super::outcome;
use crate::cli::args::CompareArgs;
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::difference::{self, Comparison, Limits};
use crate::record::{Record, store};
use crate::report::{overlay, text};

pub fn run(args: &CompareArgs, console: &mut Console) -> Result<Status> {
    let records: Vec<Record> = args.records.iter().map(|p| store::read(p)).collect::<Result<_>>()?;
    if records.len() < 2 {
        return Err(Failure::new(
            "one record cannot be compared with itself",
            "give two or more",
        ));
    }
    let (records, comparison) = if args.by_load {
        difference::compare_by_load(records, &Limits::default())?
    } else {
        let comparison = difference::compare(&records, &Limits::default())?;
        (records, comparison)
    };
    let files = match &args.out {
        Some(out) => {
            let align = if args.levels {
                overlay::Align::Coupling
            } else {
                overlay::Align::LowFrequency
            };
            write(&records, &comparison, align, &ready_folder(out)?)?
        }
        None => Vec::new(),
    };
    if args.shown.json {
        console.json(&comparison)?;
    } else {
        let mut words = text::compare_text(&records, &comparison, outcome::style(args.shown));
        for f in files {
            words.push_str(&format!("written to {}\n", f.display()));
        }
        console.result(&words)?;
    }
    Ok(Status::Done)
}

/// Writes overlay plot and table into a folder that holds neither.
pub fn write(
    records: &[Record],
    comparison: &Comparison,
    align: overlay::Align,
    folder: &Path,
) -> Result<Vec<PathBuf>> {
    let plot = overlay::compare_plot(records, align)?;
    let list: [(&str, Vec<u8>); 3] = [
        ("overlay.svg", plot.svg.into_bytes()),
        ("overlay.png", plot.png),
        ("compare.json", outcome::pretty(comparison, "the comparison")?),
    ];
    let paths: Vec<PathBuf> = list.iter().map(|(name, _)| folder.join(name)).collect();
    if let Some(path) = paths.iter().find(|p| p.symlink_metadata().is_ok()) {
        return Err(Failure::new(
            format!("{} is there already", path.display()),
            "choose another --out: nothing is overwritten",
        ));
    }
    for (path, (_, bytes)) in paths.iter().zip(&list) {
        fileio::write_new(path, bytes)?;
    }
    Ok(paths)
}
