//! `potting`: wax before and after.

use super::rig::{beside, kept_with, renewed};
use super::wanted::{self, Placed};
use super::{anew, outcome};
use crate::cli::args::{PottingArgs, first_of};
use crate::cli::context::{Fresh, folders_below};
use crate::commands::prelude::*;
use crate::fileio;
use crate::record::Record;
use crate::report::{potting_plot, text};
use crate::rig::Rig;
use crate::shop::known::Known;
use crate::shop::wax::document::{PotVerdict, PottingDocument, Reason};
use crate::shop::wax::own::WaxHistory;
use crate::shop::wax::stays::put_by_time;
use crate::shop::wax::{self, About};

mod sitting;

use sitting::Left;

pub fn run(mut args: PottingArgs, console: &mut Console) -> Result<Status> {
    let Some(folder) = &args.sitting else {
        at_the_bench_alone(&args)?;
        return told(&args, console);
    };
    if let Some(out) = &args.out {
        refuse_taken(&out.join(STEM))?;
    }
    if args.keep && rig_file(&args)?.is_none() {
        return Err(keeps_nothing());
    }
    match sitting::walk(&args, folder, console)? {
        Left::Both { halves, stays } => {
            [args.before, args.after] = halves.map(|half| vec![half]);
            args.stays = stays;
            told(&args, console)
        }
        Left::Half(begun, said) => outcome::say(&begun, args.shown, console, |_, _| said),
    }
}

/// Files of a comparison, without their endings.
const STEM: &str = "potting";

fn refuse_taken(stem: &Path) -> Result<()> {
    outcome::refuse_any(outcome::picture_files(stem))?;
    outcome::refuse_any([stem.with_extension("json")])
}

fn keeps_nothing() -> Failure {
    Failure::new("--keep needs a rig: what wax did is kept beside its file", "give --rig")
}

/// Options that only a take has a use for.
fn at_the_bench_alone(args: &PottingArgs) -> Result<()> {
    let (on, source) = (&args.on, &args.source);
    let idle = [
        ("--load", on.load.is_some()),
        ("--over", on.over.is_some()),
        ("--room", on.room.is_some()),
        ("--source", source.is_sim()),
        ("--sim", source.sim.is_some()),
    ];
    match first_of(&idle)
        .or(args.drive.first_given())
        .or(source.devices.first_given())
    {
        Some(option) => Err(Failure::new(
            format!("{option} is for what is measured, and these are records"),
            "leave it out, or measure the dip with --sitting",
        )),
        None => Ok(()),
    }
}

fn told(args: &PottingArgs, console: &mut Console) -> Result<Status> {
    let of_rig = OfRig::of(args, console)?;
    let mut document = judged(args, of_rig.as_ref(), console)?;
    let mut fresh = Fresh::default();
    let folder = args.out.as_ref().map(|out| fresh.ready(out)).transpose()?;
    let stem = folder.map(|f| f.join(STEM));
    // Before anything is added to the history of wax.
    if let Some(stem) = &stem {
        refuse_taken(stem)?;
    }
    let kept = match &of_rig {
        Some(r) => wax(r, args.keep, &mut document)?,
        None if args.keep => return Err(keeps_nothing()),
        None => None,
    };
    let mut files = outcome::beside(stem.as_ref(), "potting.json", &document, "the comparison")?;
    files.extend(kept);
    outcome::tell((&document, files), args.shown, console, text::potting_text, || {
        outcome::picture(stem, || potting_plot::pairs(&document))
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

fn rig_file(args: &PottingArgs) -> Result<Option<PathBuf>> {
    Ok(args.on.rig.clone().or(Defaults::here()?.rig))
}

impl OfRig {
    fn of(args: &PottingArgs, console: &mut Console) -> Result<Option<OfRig>> {
        let Some(path) = rig_file(args)? else {
            return Ok(None);
        };
        let rig = Rig::read(&path)?;
        let known = renewed(&rig, &path, console)?;
        Ok(Some(OfRig { path, rig, known }))
    }
}

fn judged(args: &PottingArgs, of_rig: Option<&OfRig>, console: &mut Console) -> Result<PottingDocument> {
    let today = of_rig.map(|r| r.rig.clone()).or_else(anew::today);
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
    let (names, others): (Vec<PathBuf>, Vec<PathBuf>) = args.stays.iter().cloned().partition(there);
    let more = wanted::every(&found(&others)?)?;
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
        let there = outcome::read(&path, WaxHistory::parse)?;
        Ok(there.unwrap_or_else(|| WaxHistory::new(&rig.name)))
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
