//! `rig`: what the rig is, and whether it still is.

use super::{anew, outcome, wanted};
use crate::cli::args::{PolarityArgs, RepeatArgs, RigAction, RigFileArgs};
use crate::commands::prelude::*;
use crate::fileio;
use crate::record::identity::same_rig;
use crate::report::{rig_words, text};
use crate::rig::Rig;
use crate::setup::edit::Value;
use crate::shop::witness::checks::RigDocument;
use crate::shop::witness::repeat::{PolarityDocument, RepeatDocument};

mod beside;
mod changed;
mod check;
mod create;
mod file;
mod inputs;
mod level;
mod witnessed;

use beside::{aside, of_one_kind};
pub use beside::{beside, history_kept, history_of, kept_with, study_of};
use file::{rig_of, write_changes};
pub use witnessed::renewed;

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

fn show(args: &RigFileArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let document = RigDocument::of(&rig, history_of(&path)?.as_ref(), rig_words::words(&rig));
    outcome::say(&document, args.shown, console, |_, style| {
        text::rig_text(&document, style)
    })
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
    outcome::say(&document, args.shown, console, |_, style| {
        text::pack_text(&document, style)
    })
}

fn repeat(args: &RepeatArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let records = anew::by_today(&wanted::all(&args.records)?, Some(&rig), console);
    let document = RepeatDocument::of(&rig, &records)?;
    kept_with(&path, &rig, document.simulated)?;
    let file = beside(&path, "repeat.json");
    let mut files = vec![file.clone()];
    fileio::alone(&file, || {
        // An earlier study may have been the better one: it is put aside, as old checks are.
        files.extend(aside(&file)?);
        fileio::write_atomically(&file, &outcome::pretty(&document, "the repeatability")?)
    })?;
    outcome::say(&document, args.shown, console, |_, style| {
        text::repeat_text(&document, &files, style)
    })
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
    outcome::say(&document, args.shown, console, |_, style| {
        text::polarity_text(&document, args.rig.as_deref(), there, style)
    })
}
