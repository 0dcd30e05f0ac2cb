//! `compare`: records over each other, and their differences.

use std::path::{Path, PathBuf};

use super::coil::{refuse_any, write_all};
use super::{anew, outcome, readings, wanted};
use crate::cli::args::CompareArgs;
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::cli::defaults::Defaults;
use crate::failure::{Failure, Result, Status};
use crate::record::Record;
use crate::report::{difference_words, overlay, text};
use crate::shop::difference::{self, Comparison, How};

pub fn run(args: &CompareArgs, console: &mut Console) -> Result<Status> {
    let (records, mut how) = asked(&args.records, console)?;
    how.in_place = args.in_place;
    let (records, mut comparison) = if args.by_load {
        difference::compare_by_load(records, &how)?
    } else {
        let comparison = difference::compare(&records, &how)?;
        (records, comparison)
    };
    difference_words::put(&mut comparison, &records);
    let stem = match &args.out {
        Some(out) => Some(ready_folder(out)?.join("overlay")),
        None => None,
    };
    let files = match &stem {
        Some(stem) => write(&comparison, stem)?,
        None => Vec::new(),
    };
    let align = match args.levels {
        true => overlay::Align::Coupling,
        false => overlay::Align::LowFrequency,
    };
    outcome::Told {
        document: &comparison,
        files,
        shown: args.shown.into(),
    }
    .tell(
        console,
        |comparison, style| text::compare_text(&records, comparison, style),
        || {
            let picture = |stem| Ok((stem, overlay::compare_plot(&records, align)?));
            stem.map(picture).into_iter().collect()
        },
    )?;
    Ok(Status::Done)
}

/// The records that are meant, by what is known of their rigs today, and how they are held against each other.
pub fn asked(words: &[PathBuf], console: &mut Console) -> Result<(Vec<Record>, How)> {
    let placed = wanted::compared(words)?;
    let (records, known) = readings::known_of(&placed, anew::today(None).as_ref(), console)?;
    if records.len() < 2 {
        return Err(Failure::new(
            "one record cannot be compared with itself",
            "give two or more",
        ));
    }
    let how = How {
        matters: Defaults::read_from(Path::new("."))?.matters(),
        in_place: false,
        known,
    };
    Ok((records, how))
}

/// Writes the table into a folder that holds neither it nor the plot that is to follow.
pub fn write(comparison: &Comparison, stem: &Path) -> Result<Vec<PathBuf>> {
    let table = outcome::pretty(comparison, "the comparison")?;
    refuse_any(outcome::picture_files(stem))?;
    write_all(vec![(stem.with_file_name("compare.json"), table)])
}
