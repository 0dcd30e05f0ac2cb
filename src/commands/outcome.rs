//! What every command does with its result: write it whole, tell it, draw it, and say how it ended.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::asked;
use super::knock;
use crate::capture::{Request, Take, wav};
use crate::cli::args::Shown;
use crate::cli::console::{self, Console};
use crate::cli::context::ready_folder;
use crate::commands::prelude::*;
use crate::fileio;
pub use crate::fileio::pretty;
use crate::parallel;
use crate::record::{Record, Verdict, store, unknown};
use crate::report::knock_plot;
use crate::report::plot::{self, Plot};
use crate::report::text::{self, Style};
use crate::stimulus::{Description, Drive};
use crate::wrap;

pub fn status(record: &Record) -> Status {
    match record.verdict {
        Verdict::Rejected => Status::NoReading,
        _ => Status::Done,
    }
}

/// A record as the file holds it.
pub fn to_json(record: &Record) -> Result<Vec<u8>> {
    pretty(record, "the record")
}

/// Refuses places of which one is taken.
pub fn refuse_taken(paths: impl IntoIterator<Item = impl AsRef<Path>>, hint: &str) -> Result<()> {
    let taken = |p: &_| AsRef::<Path>::as_ref(p).symlink_metadata().is_ok();
    match paths.into_iter().find(taken) {
        Some(path) => Err(Failure::new(
            format!("{} is there already", path.as_ref().display()),
            hint,
        )),
        None => Ok(()),
    }
}

/// The same of what goes by its own name.
pub fn refuse_any(paths: impl IntoIterator<Item = impl AsRef<Path>>) -> Result<()> {
    refuse_taken(paths, "choose another name: nothing is overwritten")
}

/// Writes files none of which may be there yet.
pub fn write_all(list: Vec<(PathBuf, Vec<u8>)>) -> Result<Vec<PathBuf>> {
    refuse_any(list.iter().map(|f| f.0.as_path()))?;
    for (path, bytes) in &list {
        fileio::write_new(path, bytes)?;
    }
    Ok(list.into_iter().map(|f| f.0).collect())
}

/// Where a picture goes, without ending, if a folder for it was given.
pub fn stem(out: Option<&PathBuf>, name: &str) -> Result<Option<PathBuf>> {
    out.map(|out| Ok(ready_folder(out)?.join(name))).transpose()
}

/// Writes a document, if a folder was given, where neither it nor the picture is that is to follow.
pub fn beside(stem: Option<&PathBuf>, file: &str, document: &impl Serialize, what: &str) -> Result<Vec<PathBuf>> {
    let Some(stem) = stem else { return Ok(Vec::new()) };
    let bytes = pretty(document, what)?;
    refuse_any(picture_files(stem))?;
    write_all(vec![(stem.with_file_name(file), bytes)])
}

/// Refuses a folder that holds a record already.
pub fn refuse_existing(folder: &Path) -> Result<()> {
    let hint = "choose another --out: no record is overwritten";
    refuse_taken([folder.join("record.json")], hint)
}

/// Writes the record, last of all that was measured: a folder with a record is complete but for its pictures.
pub fn write(record: &Record, folder: &Path) -> Result<PathBuf> {
    refuse_existing(folder)?;
    let path = folder.join("record.json");
    fileio::write_new(&path, &to_json(record)?)?;
    Ok(path)
}

/// Where a drawing goes, without ending, and the drawing.
pub type Pictures = Vec<(PathBuf, Plot)>;

/// One, if a folder for it was given.
pub fn picture(stem: Option<PathBuf>, draw: impl FnOnce() -> Result<Plot>) -> Result<Pictures> {
    stem.map(|stem| Ok((stem, draw()?))).into_iter().collect()
}

/// The two files of a drawing.
pub fn picture_files(stem: &Path) -> [PathBuf; 2] {
    ["svg", "png"].map(|ending| {
        let mut name = stem.as_os_str().to_owned();
        name.push(".");
        name.push(ending);
        name.into()
    })
}

/// A record's pictures, those that are not in its folder.
pub fn missing_pictures(record: &Record, folder: &Path) -> Result<Pictures> {
    let lacks = |stem: &PathBuf| picture_files(stem).iter().any(|f| f.symlink_metadata().is_err());
    let mut out = Vec::new();
    if let Some(stem) = Some(folder.join("response")).filter(lacks) {
        out.push((stem, plot::response_plot(record)?));
    }
    if let Some(knock) = &record.knock
        && let Some(stem) = Some(folder.join("knock")).filter(lacks)
    {
        out.push((stem, knock_plot::taps(record, knock)?));
    }
    Ok(out)
}

/// Writes pictures, new or anew: nothing measured is in them that the files they were drawn from have not. What is written, and
/// what cannot be.
pub fn put(pictures: Result<Pictures>) -> (Vec<PathBuf>, Vec<Failure>) {
    let (mut files, mut failures) = (Vec::new(), Vec::new());
    let pictures = pictures.map_err(|e| failures.push(e)).unwrap_or_default();
    for (stem, plot) in pictures {
        let bytes = [plot.svg.as_bytes(), &plot.png];
        for (file, bytes) in picture_files(&stem).into_iter().zip(bytes) {
            match own_place(&file).and_then(|()| fileio::write_atomically(&file, bytes)) {
                Ok(()) => files.push(file),
                Err(e) => failures.push(e),
            }
        }
    }
    (files, failures)
}

/// A picture is written over only where it lies itself: a link that came with a folder may lead to anything.
fn own_place(file: &Path) -> Result<()> {
    match file.is_symlink() {
        false => Ok(()),
        true => Err(Failure::new(
            format!("{} is a link to something else", file.display()),
            "move it away to have the picture",
        )),
    }
}

/// Draws what is missing in folders of records. A picture that cannot be drawn is a remark.
pub fn draw_missing(folders: &[PathBuf], console: &mut Console) {
    let draw = |folder: &PathBuf| put(store::read(folder).and_then(|r| missing_pictures(&r, folder))).1;
    for failure in parallel::each(folders, draw).into_iter().flatten() {
        no_picture(&failure, console);
    }
}

fn no_picture(failure: &Failure, console: &mut Console) {
    console.remark(&format!("a picture is missing: {failure}"));
}

/// A result without files: its document, or what it says on the screen.
pub fn say<D: Serialize>(
    document: &D,
    shown: impl Into<Shown>,
    console: &mut Console,
    text: impl FnOnce(&D, Style) -> String,
) -> Result<Status> {
    let shown = shown.into();
    match shown.json {
        true => console.json(document)?,
        false => console.result(&text(document, style(shown)))?,
    }
    Ok(Status::Done)
}

/// The same in words that are laid out nowhere else.
pub fn say_words(document: &impl Serialize, shown: Shown, console: &mut Console, words: &str) -> Result<Status> {
    say(document, shown, console, |_, style| wrap::indented(words, style.width))
}

/// First what was found, whole, then the pictures, then where everything lies, `files` being written already. A picture that cannot
/// be drawn or written is a remark.
pub fn tell<D: Serialize>(
    (document, files): (&D, Vec<PathBuf>),
    shown: impl Into<Shown>,
    console: &mut Console,
    text: impl FnOnce(&D, Style) -> String,
    draw: impl FnOnce() -> Result<Pictures>,
) -> Result<()> {
    let shown = shown.into();
    say(document, shown, console, text)?;
    let (drawn, failures) = put(draw());
    for failure in failures {
        no_picture(&failure, console);
    }
    let files = [files, drawn].concat();
    if shown.json || files.is_empty() {
        return Ok(());
    }
    console.result(&text::written_text(&files, style(shown)))
}

/// The document of several takes.
#[derive(Debug, Serialize)]
#[serde(tag = "schema", rename = "coilwright/batch/1")]
struct Batch<'a> {
    records: &'a [Record],
    failed: Vec<Failed>,
}

#[derive(Debug, Serialize)]
struct Failed {
    file: String,
    error: String,
}

/// Says what came of each of several takes.
pub fn tell_all(
    paths: &[PathBuf],
    list: Vec<Result<Record>>,
    shown: impl Into<Shown>,
    console: &mut Console,
) -> Result<Status> {
    let (mut records, mut failed) = (Vec::new(), Vec::new());
    for (path, ended) in paths.iter().zip(list) {
        match ended {
            Ok(r) => records.push(r),
            Err(f) => failed.push((path.clone(), f.to_string())),
        }
    }
    if let (true, Some((path, error))) = (records.is_empty(), failed.first()) {
        return Err(Failure::new(
            format!(
                "none of {} takes could be used (first: {}: {error})",
                failed.len(),
                path.display()
            ),
            "see to the first one alone",
        ));
    }
    let listed = failed.iter().map(|(file, error)| Failed {
        file: file.display().to_string(),
        error: error.clone(),
    });
    let batch = Batch {
        records: &records,
        failed: listed.collect(),
    };
    say(&batch, shown, console, |_, style| {
        text::batch_text(&records, &failed, style)
    })?;
    let bad = !failed.is_empty() || records.iter().any(|r| status(r) != Status::Done);
    Ok(if bad { Status::NoReading } else { Status::Done })
}

/// What a measurement keeps beside its record, so that any later version can compute the record again.
const KEPT: [&str; 5] = ["take.wav", DRIVE, "drive.json", knock::NAME, asked::NAME];

/// What was played.
const DRIVE: &str = "drive.wav";

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
    let hint = match folder.join(take_name(0)).symlink_metadata() {
        Ok(_) => "choose another --out: no take is overwritten",
        Err(_) => "its take was never kept: remove the folder, or choose another --out",
    };
    refuse_taken(names.map(|n| folder.join(n)), hint)
}

/// No description of a drive is larger.
const DESCRIPTION_BYTES: u64 = 64 * 1024;

/// What was played, as far as it is known.
pub struct Played {
    pub rate_hz: u32,
    pub samples: Vec<f32>,
    pub description: Option<Description>,
}

impl From<Drive> for Played {
    fn from(d: Drive) -> Self {
        Played {
            rate_hz: d.description.settings.rate_hz,
            samples: d.samples,
            description: Some(d.description),
        }
    }
}

impl Played {
    pub fn request(&self) -> Request {
        Request {
            rate_hz: self.rate_hz,
            drive: self.samples.clone(),
        }
    }

    /// From the drive file.
    pub fn read(path: &Path) -> Result<Self> {
        let mut wave = wav::read_drive(path)?;
        let beside = path.with_extension("json");
        // The description is welcome but not needed; one that does not belong to the file is left alone.
        let description = fileio::read_limited(&beside, DESCRIPTION_BYTES)
            .ok()
            .and_then(|b| serde_json::from_slice::<Description>(&b).ok())
            .filter(|d| d.settings.rate_hz == wave.rate_hz && d.frames as usize == wave.samples[0].len());
        Ok(Played {
            rate_hz: wave.rate_hz,
            samples: wave.samples.pop().unwrap_or_default(),
            description,
        })
    }

    /// As it lies in the folder of a measurement.
    pub fn beside(folder: &Path) -> Result<Option<Self>> {
        let file = folder.join(DRIVE);
        file.is_file().then(|| Played::read(&file)).transpose()
    }
}

/// Writes a take.
pub fn keep_take(path: PathBuf, take: &Take) -> Result<PathBuf> {
    fileio::write_new(&path, &wav::of_take(take)?)?;
    Ok(path)
}

/// Writes what was played, and its description where there is one, and lists them.
pub fn keep_drive(folder: &Path, played: &Played, files: &mut Vec<PathBuf>) -> Result<()> {
    let [_, drive_wav, drive_json, ..] = KEPT.map(|n| folder.join(n));
    fileio::write_new(&drive_wav, &wav::to_bytes(played.rate_hz, &[&played.samples])?)?;
    files.push(drive_wav);
    if let Some(d) = &played.description {
        fileio::write_new(&drive_json, &pretty(d, "the drive's description")?)?;
        files.push(drive_json);
    }
    Ok(())
}

/// How results are laid out on this terminal.
pub fn style(shown: Shown) -> Style {
    Style {
        colour: console::painted(),
        width: console::width(),
        details: shown.details,
    }
}

/// The same for what is shown among the remarks: their stream takes the colours out where nobody sees them.
pub fn remark_style(shown: Shown) -> Style {
    Style {
        colour: true,
        width: console::remark_width(),
        ..style(shown)
    }
}

/// No document is larger.
pub const MOST_BYTES: u64 = 64 << 20;

/// The document in a file, as this reads it by its place and bytes; `None` where there is none.
pub fn read<D>(path: &Path, parse: impl FnOnce(&str, &[u8]) -> Result<D>) -> Result<Option<D>> {
    if path.symlink_metadata().is_err() {
        return Ok(None);
    }
    parse(&path.display().to_string(), &fileio::read_limited(path, MOST_BYTES)?).map(Some)
}

/// A document as it is to be written in this file: what the file holds already and this version does not know stays in it.
pub fn whole<D: Serialize + DeserializeOwned>(path: &Path, document: &D, what: &str) -> Result<Value> {
    let there = path.symlink_metadata().is_ok();
    let old = there.then(|| fileio::read_limited(path, MOST_BYTES)).transpose()?;
    let both = || {
        let mut new = serde_json::to_value(document)?;
        if let Some(bytes) = &old {
            let old: Value = serde_json::from_slice(bytes)?;
            unknown::keep(&old, &serde_json::to_value(D::deserialize(&old)?)?, &mut new);
        }
        Ok(new)
    };
    both().map_err(|e: serde_json::Error| {
        Failure::new(
            format!("cannot write {what} to {}: {e}", path.display()),
            "move that file aside, and write again",
        )
    })
}

/// The same, in bytes.
pub fn again<D: Serialize + DeserializeOwned>(path: &Path, document: &D, what: &str) -> Result<Vec<u8>> {
    pretty(&whole(path, document, what)?, what)
}
