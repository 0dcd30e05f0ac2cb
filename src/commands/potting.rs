//! `potting`: wax before and after.

use std::path::{Path, PathBuf};

use super::coil::{refuse_any, write_all};
use super::rig::{beside, by_today, kept_with};
use super::wanted::{self, Placed};
use super::{anew, known, outcome};
use crate::cli::args::PottingArgs;
use crate::cli::console::Console;
use crate::cli::context::{Fresh, folders_below};
use crate::cli::defaults::Defaults;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::Record;
use crate::report::{potting_plot, text};
use crate::rig::Rig;
use crate::shop::known::Known;
use crate::shop::wax::document::{PotVerdict, PottingDocument, Reason};
use crate::shop::wax::own::WaxHistory;
use crate::shop::wax::stays::put_by_time;
use crate::shop::wax::{self, About};

pub fn run(args: &PottingArgs, console: &mut Console) -> Result<Status> {
    let of_rig = OfRig::of(args, console)?;
    let mut document = judged(args, of_rig.as_ref(), console)?;
    let mut fresh = Fresh::default();
    let stem = match &args.out {
        Some(out) => Some(fresh.ready(out)?.join("potting")),
        None => None,
    };
    // Before anything is added to the history of wax.
    if let Some(stem) = &stem {
        refuse_any(outcome::picture_files(stem))?;
        refuse_any([stem.with_extension("json")])?;
    }
    let kept = match &of_rig {
        Some(r) => wax(r, args.keep, &mut document)?,
        None if args.keep => {
            return Err(Failure::new(
                "--keep needs a rig: what wax did is kept beside its file",
                "give --rig",
            ));
        }
        None => None,
    };
    let mut files = Vec::new();
    if let Some(stem) = &stem {
        let document = outcome::pretty(&document, "the comparison")?;
        files = write_all(vec![(stem.with_extension("json"), document)])?;
    }
    files.extend(kept);
    outcome::Told {
        document: &document,
        files,
        shown: args.shown.into(),
    }
    .tell(console, text::potting_text, || {
        stem.map(|s| Ok((s, potting_plot::pairs(&document)?)))
            .into_iter()
            .collect()
    })?;
    let any = |v: PotVerdict| document.pairs.iter().any(|p| p.verdict == v);
    Ok(match (any(PotVerdict::Other), any(PotVerdict::Warm)) {
        (true, _) => Status::OutsideLimits,
        (_, true) => Status::NoReading,
        _ => Status::Done,
    })
}

/// The changes as they are judged; nothing is written.
pub fn asked(args: &PottingArgs, console: &mut Console) -> Result<PottingDocument> {
    let of_rig = OfRig::of(args, console)?;
    let mut document = judged(args, of_rig.as_ref(), console)?;
    if let Some(of) = &of_rig {
        wax(of, false, &mut document)?;
    }
    Ok(document)
}

/// The rig, and what is kept beside its file.
struct OfRig {
    path: PathBuf,
    rig: Rig,
    known: Known,
}

impl OfRig {
    fn of(args: &PottingArgs, console: &mut Console) -> Result<Option<OfRig>> {
        let Some(path) = args.rig.clone().or(Defaults::read_from(Path::new("."))?.rig) else {
            return Ok(None);
        };
        let rig = Rig::read(&path)?;
        let (mut known, failures) = known::beside(&rig, &path);
        if let Some(e) = failures.into_iter().next() {
            return Err(e);
        }
        known.eras.renew(|h| by_today(h, &path, &rig, console));
        Ok(Some(OfRig { path, rig, known }))
    }
}

fn judged(args: &PottingArgs, of_rig: Option<&OfRig>, console: &mut Console) -> Result<PottingDocument> {
    let today = of_rig.map(|r| r.rig.clone()).or_else(|| anew::today(None));
    let mut side = |placed: Vec<Placed>| -> Vec<Record> {
        let mut records = anew::by_today(&placed, today.as_ref(), console);
        if let Some(r) = of_rig {
            records.iter_mut().for_each(|record| r.known.put(record, args.cs));
        }
        records
    };
    let (mut before, mut after) = (
        side(wanted::all(&found(&args.before)?)?),
        side(wanted::all(&found(&args.after)?)?),
    );
    let there = |word: &PathBuf| {
        let mut all = before.iter().chain(&after);
        all.any(|r| word.as_os_str() == r.pickup.name.as_str())
    };
    let (names, words): (Vec<PathBuf>, Vec<PathBuf>) = args.stays.iter().cloned().partition(there);
    let more = wanted::every(&found(&words)?)?;
    let mut stays: Vec<String> = names.iter().map(|n| n.display().to_string()).collect();
    stays.extend(more.iter().map(|r| r.1.pickup.name.clone()));
    stays.sort();
    stays.dedup();
    put_by_time(side(more), &mut before, &mut after);
    let about = About {
        stays: &stays,
        limits: args.limit.unwrap_or_default(),
        rested_h: args.rested,
        winding_f: args.cs,
        known: of_rig.map(|r| &r.known),
    };
    let mut document = wax::compare(&before, &after, &about)?;
    text::put_words(&mut document);
    Ok(document)
}

/// Holds the changes against the rig's history of wax, and adds them to it where that is wanted: then the file that was written.
fn wax(of: &OfRig, keep: bool, document: &mut PottingDocument) -> Result<Option<PathBuf>> {
    let OfRig {
        path: rig_path, rig, ..
    } = of;
    let path = beside(rig_path, "wax.json");
    let read = || -> Result<WaxHistory> {
        if path.symlink_metadata().is_err() {
            return Ok(WaxHistory::new(&rig.name));
        }
        WaxHistory::parse(
            &path.display().to_string(),
            &fileio::read_limited(&path, outcome::MOST_BYTES)?,
        )
    };
    let other = document
        .pairs
        .iter()
        .find(|p| matches!(p.reason, Reason::OtherRig { .. }));
    if let Some(p) = other {
        // Another rig's changes are no part of this one's history, nor held against it.
        if keep {
            return Err(Failure::new(
                format!("{} was measured on another rig than {}", p.pickup, rig.name),
                "give the rig it was measured on",
            ));
        }
        return Ok(None);
    }
    read()?.hold_against(document);
    if !keep {
        return Ok(None);
    }
    kept_with(rig_path, rig, document.simulated)?;
    fileio::alone(&path, || {
        let mut history = read()?;
        if history.keep(document) > 0 {
            fileio::write_atomically(&path, &outcome::again(&path, &history, "the history of wax")?)?;
            return Ok(Some(path.clone()));
        }
        Ok(None)
    })
}

/// Records that are named or whose place is, and those in folders of such folders.
fn found(words: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut out = Vec::new();
    for word in words {
        if !word.is_dir() || word.join("record.json").exists() {
            out.push(word.clone());
            continue;
        }
        let found = folders_below(word, |p| p.join("record.json").is_file())?;
        if found.is_empty() {
            return Err(Failure::new(
                format!("no record lies in {}", word.display()),
                "give a record, its folder, or a folder of such folders",
            ));
        }
        out.extend(found);
    }
    Ok(out)
}
