//! What every measuring command does with its record: write it whole, with its plots, and say how it ended.

use std::path::{Path, PathBuf};

use super::knock;
use crate::capture::{Take, wav};
use crate::cli::args::Shown;
use crate::cli::console::{self, Console};
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::{Record, Verdict};
use crate::report::text::{self, Style};
use crate::report::{knock_plot, plot};
use crate::stimulus::{Description, Drive};

pub fn status(record: &Record) -> Status {
    if record.verdict == Verdict::Rejected {
        Status::NoReading
    } else {
        Status::Done
    }
}

/// A record as the file holds it.
pub fn to_json(record: &Record) -> Result<Vec<u8>> {
    pretty(record, "the record")
}

/// A document as its file holds it; `what` names it in a message.
pub fn pretty(document: &impl serde::Serialize, what: &str) -> Result<Vec<u8>> {
    let mut bytes = serde_json::to_vec_pretty(document).map_err(|e| {
        Failure::new(
            format!("cannot write {what}: {e}"),
            "report this as a fault of the program",
        )
    })?;
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
    let knock = record.knock.as_ref().map(|k| knock_plot::taps(record, k)).transpose()?;
    let mut files = Vec::new();
    let mut put = |name: &str, bytes: &[u8]| -> Result<()> {
        let path = folder.join(name);
        fileio::write_atomically(&path, bytes)?;
        files.push(path);
        Ok(())
    };
    put("response.svg", plot.svg.as_bytes())?;
    put("response.png", &plot.png)?;
    if let Some(knock) = knock {
        put("knock.svg", knock.svg.as_bytes())?;
        put("knock.png", &knock.png)?;
    }
    let path = folder.join("record.json");
    fileio::write_new(&path, &to_json(record)?)?;
    files.insert(0, path);
    Ok(files)
}

/// What a measurement keeps beside its record, so that any later version can compute the record again.
const KEPT: [&str; 4] = ["take.wav", "drive.wav", "drive.json", knock::NAME];

/// The file of a measurement's n-th take, counted from 0.
pub fn take_name(n: usize) -> String {
    match n {
        0 => KEPT[0].into(),
        n => format!("take-{}.wav", n + 1),
    }
}

/// The number of such a file, counted from 0; `None` for the name of any other.
pub fn take_number(name: &str) -> Option<usize> {
    let number = name.strip_prefix("take")?.strip_suffix(".wav")?;
    match number {
        "" => Some(0),
        n => n.strip_prefix('-')?.parse::<usize>().ok()?.checked_sub(1),
    }
}

/// Refuses a folder that holds a record, a take or a drive already: none of them is ever overwritten.
pub fn refuse_occupied(folder: &Path, takes: usize) -> Result<()> {
    refuse_existing(folder)?;
    let names = KEPT.map(String::from).into_iter().chain((1..takes).map(take_name));
    match names.map(|n| folder.join(n)).find(|p| p.symlink_metadata().is_ok()) {
        Some(path) => Err(Failure::new(
            format!("{} is there already", path.display()),
            "choose another --out: no take is overwritten",
        )),
        None => Ok(()),
    }
}

/// What was played, as far as it is known.
#[derive(Debug, Clone, Copy)]
pub struct Played<'a> {
    pub rate_hz: u32,
    pub samples: &'a [f32],
    pub description: Option<&'a Description>,
}

impl<'a> From<&'a Drive> for Played<'a> {
    fn from(d: &'a Drive) -> Self {
        Played {
            rate_hz: d.description.rate_hz,
            samples: &d.samples,
            description: Some(&d.description),
        }
    }
}

/// Writes the take, what was played (where it is known), the plots and, last, the record.
pub fn write_with_take(record: &Record, take: &Take, drive: Option<&Drive>, folder: &Path) -> Result<Vec<PathBuf>> {
    write_with_takes(record, &[take], None, drive.map(Into::into), folder)
}

/// As [`write_with_take`], with all takes of one measurement: take.wav, take-2.wav and so on, and with the recording of taps.
pub fn write_with_takes(
    record: &Record,
    takes: &[&Take],
    taps: Option<&Take>,
    played: Option<Played>,
    folder: &Path,
) -> Result<Vec<PathBuf>> {
    refuse_occupied(folder, takes.len())?;
    let bytes = |take: &Take| {
        let mut channels: Vec<&[f32]> = vec![&take.pickup];
        channels.extend(take.reference.as_deref());
        wav::to_bytes(take.rate_hz, &channels)
    };
    let [_, drive_wav, drive_json, knock_wav] = KEPT.map(|n| folder.join(n));
    let mut kept = Vec::new();
    for (n, take) in takes.iter().enumerate() {
        let path = folder.join(take_name(n));
        fileio::write_new(&path, &bytes(take)?)?;
        kept.push(path);
    }
    if let Some(taps) = taps {
        fileio::write_new(&knock_wav, &bytes(taps)?)?;
        kept.push(knock_wav);
    }
    if let Some(played) = played {
        fileio::write_new(&drive_wav, &wav::to_bytes(played.rate_hz, &[played.samples])?)?;
        kept.push(drive_wav);
        if let Some(d) = played.description {
            fileio::write_new(&drive_json, &pretty(d, "the drive's description")?)?;
            kept.push(drive_json);
        }
    }
    let mut files = write(record, folder)?;
    files.extend(kept);
    Ok(files)
}

/// Shows a record on the screen or as JSON.
pub fn show(record: &Record, files: &[PathBuf], shown: Shown, console: &mut Console) -> Result<()> {
    if shown.json {
        return console.json(record);
    }
    console.result(&text::measure_text(record, files, style(shown)))
}

/// How text is laid out on this terminal. Colours are written always; the stream takes them out where nobody sees them.
pub fn style(shown: Shown) -> Style {
    Style {
        colour: true,
        width: console::width(),
        details: shown.details,
    }
}
