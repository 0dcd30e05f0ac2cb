//! `rig`: what the rig is, and whether it still is.

use std::path::{Path, PathBuf};

use super::{anew, outcome, wanted};
use crate::capture::wav::Channels;
use crate::cli::args::{DriveArgs, PolarityArgs, RepeatArgs, RigAction, RigFileArgs, Shown, SoundArgs};
use crate::cli::console::Console;
use crate::cli::defaults::Defaults;
use crate::commands::sound::{Asked, Sound};
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::identity::same_rig;
use crate::report::{rig_words, text};
use crate::rig::Rig;
use crate::setup::edit::{self, Change, Replaced, Value};
use crate::shop::witness::checks::RigDocument;
use crate::shop::witness::repeat::{PolarityDocument, RepeatDocument};

mod beside;
mod changed;
mod check;
mod create;
mod inputs;
mod level;

use crate::record::when::day;
use beside::{aside, of_one_kind};
pub use beside::{beside, by_today, history_kept, history_of, kept_with, study_of};

pub fn run(action: RigAction, console: &mut Console) -> Result<Status> {
    match action {
        RigAction::New(a) => create::run(&a, console),
        RigAction::Level(a) => level::run(&a, console),
        RigAction::Inputs(a) => inputs::run(&a, console),
        RigAction::Show(a) => show(&a, console),
        RigAction::Check(a) => check::run(*a, console),
        RigAction::Changed(a) => changed::run(&a, console),
        RigAction::Repeat(a) => repeat(&a, console),
        RigAction::Polarity(a) => polarity(&a, console),
        RigAction::Pack(a) => pack(&a, console),
    }
}

/// The rig file given, or the one remembered.
fn rig_of(given: Option<&PathBuf>) -> Result<(PathBuf, Rig)> {
    let path = match given {
        Some(path) => path.clone(),
        None => Defaults::read_from(Path::new("."))?.rig.ok_or_else(|| {
            Failure::new(
                "no rig file is given, and none is remembered for this folder",
                "give it, or remember it with `coilwright use --rig FILE`",
            )
        })?,
    };
    let rig = Rig::read(&path)?;
    Ok((path, rig))
}

/// Values into the rig file, everything else in it as it was, and what they replace as remarks. What comes out is a rig, or nothing
/// is written. `changes` sees the file as it is at that moment.
fn write_changes(path: &Path, changes: impl FnOnce(&Rig) -> Result<Vec<Change>>) -> Result<Vec<Replaced>> {
    fileio::alone(path, || {
        let place = path.display().to_string();
        let text = fileio::read_text_limited(path, outcome::MOST_BYTES)?;
        let changes = changes(&Rig::parse(&text, &place)?)?;
        let (new, replaced) = edit::changed(&format!("rig {place}"), &text, &changes, Some(&today()))?;
        Rig::parse(&new, &place)?;
        fileio::write_atomically(path, new.as_bytes())?;
        Ok(replaced)
    })
}

/// What a rig is set up on; `bound`: only on what its file names.
fn open(args: &SoundArgs, rig: &Rig, bound: bool, console: &Console) -> Result<Sound> {
    let defaults = Defaults::read_from(Path::new("."))?;
    Asked {
        devices: &args.devices,
        drive: &DriveArgs {
            rate: args.rate,
            ..DriveArgs::default()
        },
        channels: channels_of(args.channels, rig, &defaults)?,
        rig: Some(rig),
        load: None,
        sim: args.sim.as_deref(),
        guitar: None,
        defaults: &defaults,
        bound,
        stop: console.stop(),
    }
    .open(&args.source)
}

/// "2026-01-31", here.
fn today() -> String {
    let stamp = crate::cli::context::stamp(std::time::SystemTime::now());
    day(&stamp).unwrap_or_default().to_owned()
}

/// The channels asked for, else the rig's, else those remembered.
fn channels_of(asked: Option<Channels>, rig: &Rig, defaults: &Defaults) -> Result<Option<Channels>> {
    if let Some(c) = asked {
        return Ok(Some(c));
    }
    let of_rig = rig.interface.as_ref().and_then(|i| {
        Some(Channels {
            pickup: i.pickup_channel? as usize,
            reference: i.reference_channel.map(|c| c as usize),
        })
    });
    of_rig.map_or_else(|| defaults.channels(), |c| Ok(Some(c)))
}

fn show(args: &RigFileArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let document = RigDocument::of(&rig, history_of(&path)?.as_ref(), rig_words::words(&rig));
    print(args.shown, console, &document, |style| text::rig_text(&document, style))?;
    Ok(Status::Done)
}

fn pack(args: &RigFileArgs, console: &mut Console) -> Result<Status> {
    let (_, rig) = rig_of(args.rig.as_ref())?;
    let document = RigDocument::of(&rig, None, rig_words::words(&rig));
    if document.pack.is_empty() {
        return Err(Failure::new(
            format!("the rig file of {} has no [pack]", rig.name),
            "list there what belongs to the rig: interface, exciter, stop, box, leads, witness, meters, other",
        ));
    }
    print(args.shown, console, &document, |style| {
        text::pack_text(&document, style)
    })?;
    Ok(Status::Done)
}

fn print<D: serde::Serialize>(
    shown: Shown,
    console: &mut Console,
    document: &D,
    text: impl FnOnce(text::Style) -> String,
) -> Result<()> {
    if shown.json {
        console.json(document)
    } else {
        console.result(&text(outcome::style(shown)))
    }
}

fn repeat(args: &RepeatArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let records = anew::records(&args.records, Some(&rig), console)?;
    let document = RepeatDocument::of(&rig, &records)?;
    kept_with(&path, &rig, document.simulated)?;
    let file = beside(&path, "repeat.json");
    let mut files = vec![file.clone()];
    fileio::alone(&file, || {
        // An earlier study may have been the better one: it is put aside, as old checks are.
        if file.symlink_metadata().is_ok() {
            files.push(aside(&file, &fileio::read_limited(&file, outcome::MOST_BYTES)?)?);
        }
        fileio::write_atomically(&file, &outcome::pretty(&document, "the repeatability")?)
    })?;
    print(args.shown, console, &document, |style| {
        text::repeat_text(&document, &files, style)
    })?;
    Ok(Status::Done)
}

fn polarity(args: &PolarityArgs, console: &mut Console) -> Result<Status> {
    let (_, record) = wanted::placed(&args.record)?;
    let known = if args.is == "-1" { -1 } else { 1 };
    let document = PolarityDocument::of(&record, known)?;
    let mut there = document.stated;
    if let Some(path) = &args.rig {
        let rig = Rig::read(path)?;
        of_one_kind(path, &rig, record.is_simulated())?;
        let of_it = |rig: &Rig| match same_rig(&record.rig, &rig.summary()) {
            true => Ok(()),
            false => Err(Failure::new(
                format!("the record was not made with the rig of {}", path.display()),
                "measure the known pickup with that rig",
            )),
        };
        of_it(&rig)?;
        there = rig.exciter.sign;
        if there != Some(document.sign) {
            let sign = Value::Whole(i64::from(document.sign));
            write_changes(path, |rig| {
                of_it(rig)?;
                Ok(vec![("exciter", "sign", Some(sign))])
            })?;
        }
    }
    print(args.shown, console, &document, |style| {
        text::polarity_text(&document, args.rig.as_deref(), there, style)
    })?;
    Ok(Status::Done)
}
