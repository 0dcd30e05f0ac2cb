//! What is kept beside a rig's file: its checks and its repeatability, and of which kind they are.

use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::commands::sound::of_bench;
use crate::fileio;
use crate::record::RigSummary;
use crate::rig::{Interface, Rig};
use crate::shop::known::Study;
use crate::shop::witness::history::History;
use crate::shop::witness::repeat::RepeatDocument;

/// What the built-in bench says has its place in the files of a rig that is of that bench, and nowhere else; nor has anything real
/// a place in those.
pub fn of_one_kind(path: &Path, rig: &Rig, simulated: bool) -> Result<()> {
    let file = path.display();
    match (simulated, of_bench(rig)) {
        (true, false) => Err(Failure::new(
            format!("{file} is the file of a real rig; simulated values have no place in it"),
            "make one of the built-in bench with `coilwright rig new FILE --source sim`",
        )),
        (false, true) => Err(Failure::new(
            format!("{file} is of the built-in bench; what is measured on a real rig has no place in it"),
            "make the real rig's file with `coilwright rig new FILE`, or give --source sim",
        )),
        _ => Ok(()),
    }
}

/// The same for what is kept beside the rig's file, each document of one kind by itself: a rig that is bound to nothing may be tried
/// on the bench.
pub fn kept_with(path: &Path, rig: &Rig, simulated: bool) -> Result<()> {
    let bound = |i: &Interface| i.output.is_some() || i.input.is_some();
    match rig.interface.as_ref().is_some_and(bound) {
        true => of_one_kind(path, rig, simulated),
        false => Ok(()),
    }
}

/// What is kept beside the rig file, whatever link led to that: north.toml has its checks in north.checks.json.
pub fn beside(rig: &Path, ending: &str) -> PathBuf {
    fileio::real(rig).with_extension(ending)
}

/// The history of a rig; `None` where it has none.
pub fn history_of(rig: &Path) -> Result<Option<History>> {
    outcome::read(&beside(rig, "checks.json"), History::parse)
}

/// One that was put aside, by its file's name.
pub fn history_kept(rig: &Path, name: &str) -> Result<Option<History>> {
    match Path::new(name).file_name() {
        Some(own) if own == name => outcome::read(&beside(rig, "checks.json").with_file_name(own), History::parse),
        _ => Ok(None),
    }
}

/// What laying a pickup down anew does on the rig of this file and this name.
pub fn study_of(rig: &Path, own: &RigSummary) -> Result<Study> {
    Ok(
        match outcome::read(&beside(rig, "repeat.json"), RepeatDocument::parse)? {
            None => Study::Unknown,
            // A scatter is relative: what the file says by now moves all of its readings alike.
            Some(study) if own.is(Some(&study.rig), study.unit.as_deref()) => Study::Told(Box::new(study)),
            Some(_) => Study::OfAnotherRig,
        },
    )
}

/// Puts the document that is there, if any, aside under a name of its own: north.checks.1.json and so on.
pub fn aside(path: &Path) -> Result<Option<PathBuf>> {
    if path.symlink_metadata().is_err() {
        return Ok(None);
    }
    let old = fileio::read_limited(path, outcome::MOST_BYTES)?;
    for n in 1..1000 {
        let place = path.with_extension(format!("{n}.json"));
        if place.symlink_metadata().is_err() {
            fileio::write_new(&place, &old)?;
            return Ok(Some(place));
        }
    }
    Err(Failure::new(
        format!("too many old ones of {} lie beside it", path.display()),
        "move some of them away",
    ))
}

/// A folder as a check keeps it.
pub fn from_rig(rig: &Path, folder: &Path) -> Option<PathBuf> {
    let whole = std::path::absolute(folder).ok()?;
    let rig = std::path::absolute(fileio::real(rig)).ok()?;
    let below = rig.parent().and_then(|p| whole.strip_prefix(p).ok());
    Some(below.map_or(whole.clone(), Path::to_path_buf))
}
