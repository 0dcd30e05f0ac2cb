//! `compare`: records over each other, and their differences.

use super::{outcome, readings, wanted};
use crate::cli::args::CompareArgs;
use crate::commands::prelude::*;
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
    let stem = outcome::stem(args.out.as_ref(), "overlay")?;
    let files = write(&comparison, stem.as_ref())?;
    let align = match args.levels {
        true => overlay::Align::Coupling,
        false => overlay::Align::LowFrequency,
    };
    outcome::tell(
        (&comparison, files),
        args.shown,
        console,
        |comparison, style| text::compare_text(&records, comparison, style),
        || outcome::picture(stem, || overlay::compare_plot(&records, align)),
    )?;
    Ok(Status::Done)
}

/// The records that are meant, by what is known of their rigs today, and how they are held against each other.
pub fn asked(words: &[PathBuf], console: &mut Console) -> Result<(Vec<Record>, How)> {
    let (records, how) = readings::known_of(&wanted::compared(words)?, console)?;
    if records.len() < 2 {
        return Err(Failure::new(
            "one record cannot be compared with itself",
            "give two or more",
        ));
    }
    Ok((records, how))
}

/// Writes the table, if it is to be written.
pub fn write(comparison: &Comparison, stem: Option<&PathBuf>) -> Result<Vec<PathBuf>> {
    outcome::beside(stem, "compare.json", comparison, "the comparison")
}
