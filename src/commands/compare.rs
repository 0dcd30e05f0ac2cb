//! `compare`: records over each other, and their differences.

use super::outcome;
use crate::cli::args::CompareArgs;
use crate::cli::console::Console;
use crate::cli::context::ready_folder;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::difference::{self, Limits};
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
    let comparison = difference::compare(&records, &Limits::default())?;
    let mut files = Vec::new();
    if let Some(out) = &args.out {
        let align = if args.levels {
            overlay::Align::Coupling
        } else {
            overlay::Align::LowFrequency
        };
        let plot = overlay::compare_plot(&records, align)?;
        let folder = ready_folder(out)?;
        let list: [(&str, Vec<u8>); 3] = [
            ("overlay.svg", plot.svg.into_bytes()),
            ("overlay.png", plot.png),
            ("compare.json", outcome::pretty(&comparison, "the comparison")?),
        ];
        for (name, _) in &list {
            let path = folder.join(name);
            if path.symlink_metadata().is_ok() {
                return Err(Failure::new(
                    format!("{} is there already", path.display()),
                    "choose another --out: nothing is overwritten",
                ));
            }
        }
        for (name, bytes) in list {
            let path = folder.join(name);
            fileio::write_new(&path, &bytes)?;
            files.push(path);
        }
    }
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
