//! `rig`: what the rig is, and whether it still is.

use std::path::{Path, PathBuf};

use super::measure;
use super::outcome;
use crate::capture::wav::Channels;
use crate::cli::args::{
    About, ChannelsArg, CheckArgs, DriveArgs, MeasureArgs, PolarityArgs, RepeatArgs, RigAction, RigFileArgs, Shown,
    SoundArgs, channels,
};
use crate::cli::console::Console;
use crate::cli::defaults::Defaults;
use crate::cli::inputs::LoadArg;
use crate::commands::sound::{Asked, Sound};
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::network::Load;
use crate::record::checks::{CheckDocument, PolarityDocument, RepeatDocument, RigDocument, Spread};
use crate::record::{Record, store};
use crate::report::{checks_plot, text};
use crate::rig::Rig;
use crate::rig::edit::{self, Change, Value};
use crate::rig::history::{Check, History};

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
        RigAction::Check(a) => check(*a, console),
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

/// Values into the rig file, everything else in it as it was. What comes out is a rig, or nothing is written. `changes` sees the
/// file as it is at that moment.
fn write_changes(path: &Path, changes: impl FnOnce(&Rig) -> Result<Vec<Change>>) -> Result<()> {
    fileio::alone(path, || {
        let place = path.display().to_string();
        let text = fileio::read_text_limited(path, MOST_BYTES)?;
        let new = edit::changed(&place, &text, &changes(&Rig::parse(&text, &place)?)?)?;
        Rig::parse(&new, &place)?;
        fileio::write_atomically(path, new.as_bytes())
    })
}

/// What the built-in bench says has no place in the file of a rig that is bound to a real interface.
fn not_into_a_real_rig(path: &Path, rig: &Rig, simulated: bool) -> Result<()> {
    let bound = rig
        .interface
        .as_ref()
        .and_then(|i| i.output.as_ref().or(i.input.as_ref()));
    match bound.filter(|d| simulated && *d != crate::capture::bench::DEVICE) {
        None => Ok(()),
        Some(device) => Err(Failure::new(
            format!(
                "{} is the file of a rig on {device}; simulated values have no place in it",
                path.display()
            ),
            "try the built-in bench with a copy of the file, without its [interface]",
        )),
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

/// Beside the rig file: north.toml has its checks in north.checks.json.
pub fn history_path(rig: &Path) -> PathBuf {
    rig.with_extension("checks.json")
}

/// The history of a rig; `None` where it has none.
pub fn history_of(rig: &Path) -> Result<Option<History>> {
    let path = history_path(rig);
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
                "The rig's file was changed since `coilwright rig repeat`: what laying a pickup down anew does is in no verdict. Measure it again.",
            ),
            Placement::OfAnotherKind => Some(
                "`coilwright rig repeat` had simulated takes where these are real, or real ones where these are simulated: what laying a pickup down anew does is in no verdict.",
            ),
            Placement::Unknown => Some(
                "What laying a pickup down anew does has not been measured, so it is in no verdict: `coilwright rig repeat`.",
            ),
        }
    }
}

/// How far the rig can tell pickups apart.
pub fn repeat_of(rig: &Path) -> Result<Placement> {
    let path = rig.with_extension("repeat.json");
    if path.symlink_metadata().is_err() {
        return Ok(Placement::Unknown);
    }
    let bytes = fileio::read_limited(&path, MOST_BYTES)?;
    let document: RepeatDocument = serde_json::from_slice(&bytes).map_err(|e| {
        Failure::new(
            format!("{} tells no repeatability: {e}", path.display()),
            "measure it again with `coilwright rig repeat`",
        )
    })?;
    let sound = |s: &Spread| s.sd.is_finite() && s.sd >= 0.0;
    let of_levels = [&document.peak_db, &document.level_db];
    if !(sound(&document.f0) && sound(&document.q) && of_levels.into_iter().flatten().all(sound)) {
        return Err(Failure::new(
            format!("{} holds a scatter that no readings have", path.display()),
            "measure it again with `coilwright rig repeat`",
        ));
    }
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

fn check(args: CheckArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let Some(witness) = rig.witness.clone() else {
        return Err(Failure::new(
            format!("the rig file {} names no witness", path.display()),
            "write [witness] and below it name = \"tin one\": the pickup that is kept for checking",
        ));
    };
    let given = args.record.as_ref().map(|p| store::read(p)).transpose()?;
    let simulated = given.as_ref().map_or(args.source == "sim", Record::is_simulated);
    // Found out before anything sounds: the history can be read, and is this rig's.
    not_into_a_real_rig(&path, &rig, simulated)?;
    if let Some(standing) = history_of(&path)?.filter(|_| !args.begin_again) {
        one_kind(&standing, simulated, &path)?;
        belongs(&standing, &rig, &witness.name, &path)?;
    }
    let (record, files) = match given {
        Some(record) => (record, Vec::new()),
        None => witnessed(&args, &path, &witness.name, witness.load.as_deref(), console)?,
    };
    of_this_rig(&record, &rig, &witness.name)?;
    let mut new = Check::of(&record).map_err(|e| no_reading(e, &record, &files))?;
    let history_file = history_path(&path);
    let (judgement, history, old) = fileio::alone(&history_file, || {
        let mut history = match history_of(&path)? {
            Some(h) if !args.begin_again => h,
            _ => History::new(&rig.name, &rig.chain_hash(), &witness.name),
        };
        // As it is at this moment: another check may have come in since.
        let old = match args.begin_again && history_file.symlink_metadata().is_ok() {
            true => Some(aside(&history_file, &fileio::read_limited(&history_file, MOST_BYTES)?)?),
            false => None,
        };
        if history.checks.iter().any(|c| c.id == new.id) {
            return Err(Failure::new(
                "this take of the witness is in the history already",
                "measure the witness anew",
            ));
        }
        let judgement = history.judge(&new);
        new.go = judgement.go();
        history.checks.push(new.clone());
        fileio::write_atomically(&history_file, &outcome::pretty(&history, "the history")?)?;
        Ok((judgement, history, old))
    })?;
    let plot = checks_plot::history(&history)?;
    let mut written = files;
    for (ending, bytes) in [("checks.svg", plot.svg.into_bytes()), ("checks.png", plot.png)] {
        let file = path.with_extension(ending);
        // Drawn anew after every check: nothing measured is in it that the history has not.
        fileio::write_atomically(&file, &bytes)?;
        written.push(file);
    }
    written.push(history_file);
    written.extend(old);
    let document = CheckDocument::of(&rig, &witness.name, &new, &judgement, &history);
    print(args.shown, console, &document, |style| {
        text::check_text(&document, &written, style)
    })?;
    Ok(if judgement.go() {
        Status::Done
    } else {
        Status::OutsideLimits
    })
}

/// Why the witness could not be read, and where its take lies.
fn no_reading(e: Failure, record: &Record, files: &[PathBuf]) -> Failure {
    let kept = files.first().and_then(|f| f.parent());
    Failure::new(
        [
            Some(e.what),
            record.rejected_for().map(|f| f.text.clone()),
            kept.map(|k| format!("its take is kept in {}", k.display())),
        ]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join("; "),
        e.hint,
    )
}

/// Checks of the built-in bench and of real takes never stand in one history.
fn one_kind(h: &History, simulated: bool, path: &Path) -> Result<()> {
    if h.checks.iter().all(|c| c.simulated == simulated) {
        return Ok(());
    }
    let (have, new) = match simulated {
        true => ("real takes", "a simulated one"),
        false => ("the built-in bench", "a real one"),
    };
    Err(Failure::new(
        format!(
            "the {} checks of {} are of {have}, and {new} has no place among them",
            h.checks.len(),
            path.display()
        ),
        match simulated {
            true => "try the built-in bench with a copy of the rig file under another name",
            false => "begin a history of real ones with --begin-again",
        },
    ))
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

fn belongs(h: &History, rig: &Rig, witness: &str, path: &Path) -> Result<()> {
    let what = if h.witness != witness {
        format!("its checks are of the witness {:?}, not {witness:?}", h.witness)
    } else if h.hash != rig.chain_hash() {
        "its file has been changed since its checks began".to_owned()
    } else {
        return Ok(());
    };
    Err(Failure::new(
        format!("{}: {what}", path.display()),
        "undo that, or begin a new baseline with --begin-again: another rig has other readings",
    ))
}

fn of_this_rig(record: &Record, rig: &Rig, witness: &str) -> Result<()> {
    if record.pickup.name != witness {
        return Err(Failure::new(
            format!(
                "the record is of {:?}, not of the witness {witness:?}",
                record.pickup.name
            ),
            "give a record of the witness",
        ));
    }
    if !record.rig.same_chain(&rig.summary()) {
        return Err(Failure::new(
            "the record was made with another rig, or before the rig file was changed",
            "measure the witness with this rig",
        ));
    }
    Ok(())
}

fn witnessed(
    args: &CheckArgs,
    rig: &Path,
    witness: &str,
    load: Option<&str>,
    console: &mut Console,
) -> Result<(Record, Vec<PathBuf>)> {
    let load: Load = match load {
        Some(text) => text.parse()?,
        None => Load::default(),
    };
    let args = MeasureArgs {
        pickup: witness.to_owned(),
        source: args.source.clone(),
        about: About {
            rig: Some(rig.to_path_buf()),
            load: Some(LoadArg::Load(load)),
            over: args.over.clone(),
            room: args.room,
            ..About::default()
        },
        repeats: 1,
        knock: None,
        knock_take: None,
        devices: args.devices.clone(),
        drive: args.drive.clone(),
        sim: args.sim.clone(),
        drive_file: None,
        model: None,
        out: args.out.clone(),
        shown: Shown::default(),
    };
    let taken = measure::taken(&args, console)?;
    Ok((taken.record, taken.files))
}

fn repeat(args: &RepeatArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    let records: Vec<Record> = args.records.iter().map(|p| store::read(p)).collect::<Result<_>>()?;
    let document = RepeatDocument::of(&rig, &records)?;
    not_into_a_real_rig(&path, &rig, document.simulated)?;
    let file = path.with_extension("repeat.json");
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
        not_into_a_real_rig(path, &rig, record.is_simulated())?;
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
