//! `rig`: what the rig is, and whether it still is.

use std::path::{Path, PathBuf};

use super::outcome;
use crate::capture::wav::Channels;
use crate::cli::args::{
    ChannelsArg, DriveArgs, PolarityArgs, RepeatArgs, RigAction, RigFileArgs, Shown, SoundArgs, channels,
};
use crate::cli::console::Console;
use crate::cli::defaults::Defaults;
use crate::commands::sound::{Asked, Sound, of_bench};
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::{Record, store};
use crate::report::text;
use crate::rig::{Interface, Rig};
use crate::setup::edit::{self, Change, Replaced, Value};
use crate::shop::witness::checks::{PolarityDocument, RepeatDocument, RigDocument};
use crate::shop::witness::history::History;

mod check;
mod create;
mod inputs;
mod level;

const MOST_BYTES: u64 = 64 << 20;

pub fn run(action: RigAction, console: &mut Console) -> Result<Status> {
    match action {
        RigAction::New(a) => create::run(&a, console),
        RigAction::Level(a) => level::run(&a, console),
        RigAction::Inputs(a) => inputs::run(&a, console),
        RigAction::Show(a) => show(&a, console),
        RigAction::Check(a) => check::run(*a, console),
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
        let text = fileio::read_text_limited(path, MOST_BYTES)?;
        let changes = changes(&Rig::parse(&text, &place)?)?;
        let (new, replaced) = edit::changed(&format!("rig {place}"), &text, &changes, Some(&today()))?;
        Rig::parse(&new, &place)?;
        fileio::write_atomically(path, new.as_bytes())?;
        Ok(replaced)
    })
}

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
        defaults: &defaults,
        bound,
        stop: console.stop(),
    }
    .open(&args.source)
}

/// "2026-01-31", here.
fn today() -> String {
    let stamp = crate::cli::context::stamp(std::time::SystemTime::now());
    stamp.split('T').next().unwrap_or_default().to_owned()
}

/// The channels asked for, else the rig's, else those remembered.
fn channels_of(asked: Option<ChannelsArg>, rig: &Rig, defaults: &Defaults) -> Result<Option<Channels>> {
    if let Some(c) = asked {
        return Ok(Some(c.0));
    }
    let of_rig = rig.interface.as_ref().and_then(|i| {
        Some(Channels {
            pickup: i.pickup_channel? as usize,
            reference: i.reference_channel.map(|c| c as usize),
        })
    });
    match (of_rig, &defaults.channels) {
        (Some(c), _) => Ok(Some(c)),
        (None, Some(text)) => channels(text)
            .map(|c| Some(c.0))
            .map_err(|e| Failure::new("channels in coilwright.toml cannot be read", e)),
        (None, None) => Ok(None),
    }
}

/// What is kept beside the rig file, whatever link led to that: north.toml has its checks in north.checks.json.
pub fn beside(rig: &Path, ending: &str) -> PathBuf {
    fileio::real(rig).with_extension(ending)
}

/// The history of a rig; `None` where it has none.
pub fn history_of(rig: &Path) -> Result<Option<History>> {
    let path = beside(rig, "checks.json");
    if path.symlink_metadata().is_err() {
        return Ok(None);
    }
    History::parse(&path.display().to_string(), &fileio::read_limited(&path, MOST_BYTES)?).map(Some)
}

/// What laying a pickup down anew does on a rig.
pub enum Placement {
    Told(Box<RepeatDocument>),
    /// The rig's file says something else than when it was measured.
    Changed,
    /// Measured on the built-in bench, and the takes are real, or the other way round.
    OfAnotherKind,
    /// Nobody measured it.
    Unknown,
}

impl Placement {
    /// For takes of this kind.
    pub fn for_kind(self, simulated: bool) -> Self {
        match self {
            Placement::Told(d) if d.simulated != simulated => Placement::OfAnotherKind,
            p => p,
        }
    }

    pub fn told(self) -> Option<RepeatDocument> {
        match self {
            Placement::Told(d) => Some(*d),
            _ => None,
        }
    }

    pub fn missing(&self) -> Option<&'static str> {
        match self {
            Placement::Told(_) => None,
            Placement::Changed => Some(
                "The rig's file was changed since `coilwright rig repeat`: verdicts count what laying a pickup down anew usually does, which promises nothing. Measure it again.",
            ),
            Placement::OfAnotherKind => Some(
                "`coilwright rig repeat` had simulated takes where these are real, or real ones where these are simulated: verdicts count what laying a pickup down anew usually does, which promises nothing.",
            ),
            Placement::Unknown => Some(
                "What laying a pickup down anew does has not been measured: verdicts count the usual, which promises nothing. `coilwright rig repeat` measures it.",
            ),
        }
    }
}

/// How far the rig can tell pickups apart.
pub fn repeat_of(rig: &Path) -> Result<Placement> {
    let path = beside(rig, "repeat.json");
    if path.symlink_metadata().is_err() {
        return Ok(Placement::Unknown);
    }
    let bytes = fileio::read_limited(&path, MOST_BYTES)?;
    let document = RepeatDocument::parse(&path.display().to_string(), &bytes)?;
    let hash = Rig::read(rig)?.chain_hash();
    Ok(match document.hash == hash {
        true => Placement::Told(Box::new(document)),
        false => Placement::Changed,
    })
}

fn show(args: &RigFileArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let document = RigDocument::of(&rig, history_of(&path)?.as_ref());
    print(args.shown, console, &document, |style| text::rig_text(&document, style))?;
    Ok(Status::Done)
}

fn pack(args: &RigFileArgs, console: &mut Console) -> Result<Status> {
    let (_, rig) = rig_of(args.rig.as_ref())?;
    let document = RigDocument::of(&rig, None);
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

/// An old document under a name of its own: north.checks.1.json and so on.
fn aside(path: &Path, old: &[u8]) -> Result<PathBuf> {
    for n in 1..1000 {
        let place = path.with_extension(format!("{n}.json"));
        if place.symlink_metadata().is_err() {
            fileio::write_new(&place, old)?;
            return Ok(place);
        }
    }
    Err(Failure::new(
        format!("too many old ones of {} lie beside it", path.display()),
        "move some of them away",
    ))
}

fn repeat(args: &RepeatArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let records: Vec<Record> = args.records.iter().map(|p| store::read(p)).collect::<Result<_>>()?;
    let document = RepeatDocument::of(&rig, &records)?;
    kept_with(&path, &rig, document.simulated)?;
    let file = beside(&path, "repeat.json");
    let mut files = vec![file.clone()];
    fileio::alone(&file, || {
        // An earlier study may have been the better one: it is put aside, as old checks are.
        if file.symlink_metadata().is_ok() {
            files.push(aside(&file, &fileio::read_limited(&file, MOST_BYTES)?)?);
        }
        fileio::write_atomically(&file, &outcome::pretty(&document, "the repeatability")?)
    })?;
    print(args.shown, console, &document, |style| {
        text::repeat_text(&document, &files, style)
    })?;
    Ok(Status::Done)
}

fn polarity(args: &PolarityArgs, console: &mut Console) -> Result<Status> {
    let record = store::read(&args.record)?;
    let known = if args.is == "-1" { -1 } else { 1 };
    let document = PolarityDocument::of(&record, known)?;
    let mut there = document.stated;
    if let Some(path) = &args.rig {
        let rig = Rig::read(path)?;
        of_one_kind(path, &rig, record.is_simulated())?;
        let of_it = |rig: &Rig| match record.rig.same_chain(&rig.summary()) {
            true => Ok(()),
            false => Err(Failure::new(
                format!("the record was not made with the rig file {} as it is", path.display()),
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
