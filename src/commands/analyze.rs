//! `analyze`: from recordings to records.

use std::collections::{BTreeMap, BTreeSet};

use super::known;
use super::outcome::{Played, tell_all};
use super::{complete, kept, knock, outcome, progress};
use crate::analysis::Choice;
use crate::capture::Take;
use crate::capture::wav::{self, Channels};
use crate::cli::args::AnalyzeArgs;
use crate::cli::context::{Bench, Fresh, changed, ready_folder};
use crate::commands::asked::Asked;
use crate::commands::prelude::*;
use crate::estimate::Estimate;
use crate::fileio::{self, stem};
use crate::record::Record;
use crate::report::text;
use crate::rig::Rig;

/// Reads a take and sees to it that it can be analysed: one channel alone needs what was played, at its own rate, and what
/// the rig's inputs do was measured at one rate.
pub fn read(path: &Path, drive: Option<&Played>, channels: Option<Channels>, rig: Option<&Rig>) -> Result<Take> {
    let mut take = wav::read_take(path, channels)?;
    let (name, has) = (path.display(), take.rate_hz);
    let bound = rig.and_then(|r| Some((&r.name, r.interface.as_ref()?.rate_hz?)));
    if let Some((rig, rate)) = bound.filter(|(_, rate)| *rate != has) {
        return Err(Failure::new(
            format!("{name} has {has} Hz, and the rig {rig} was measured at {rate} Hz"),
            "give the rig it was taken on, or a rig file for that rate",
        ));
    }
    // What the bench made stays known as that: earlier versions' takes do not say so themselves.
    take.provenance.simulated |= record_beside(path).is_some_and(|r| r.is_simulated())
        || asked_beside(path)?.is_some_and(|a| a.takes.iter().any(|t| t.simulated));
    match drive {
        None if take.reference.is_none() => Err(Failure::new(
            format!("{name} has one channel: the signal that was played is needed"),
            "give --drive drive.wav",
        )),
        Some(d) if d.rate_hz != has => Err(Failure::new(
            format!("the drive file has {} Hz but {name} has {has} Hz", d.rate_hz),
            "give the drive file that was played for this take",
        )),
        _ => Ok(take),
    }
}

/// Analyses one WAV file: its record, and the answer that levels of taps are counted from.
pub fn one(
    path: &Path,
    bench: &Bench,
    drive: Option<&Played>,
    channels: Option<Channels>,
    model: Choice,
    name: Option<&str>,
) -> Result<(Record, Option<Estimate>)> {
    let take = read(path, drive, channels, bench.rig.as_ref())?;
    let beside = record_beside(path).map(|r| r.pickup.name);
    let name = name.map(str::to_owned).or(beside).unwrap_or_else(|| stem(path));
    let context = bench.context(&take, &name, &changed(path), "file", fileio::name_of(path));
    let (mut record, answer) = kept::read(&take, bench, drive, model, context)
        .map_err(|f| Failure::new(format!("{}: {}", path.display(), f.what), f.hint))?;
    if let Some((rig, file)) = bench.rig.as_ref().zip(bench.rig_file.as_ref()) {
        known::put_or_note(rig, file, &mut record);
    }
    Ok((record, answer))
}

/// The take of a record that nothing else lies beside, by another rig file.
pub fn by_rig(take: &Path, record: &Record, drive: Option<&Played>, rig: &Rig) -> Result<Record> {
    let bench = Bench::new(Some(rig.clone()), record.pickup.clone());
    // What was chosen once is not known: the better one is chosen anew.
    let (new, _) = one(take, &bench, drive, None, Choice::default(), Some(&record.pickup.name))?;
    Ok(Record {
        id: record.id.clone(),
        knock: record.knock.clone(),
        ..new
    })
}

/// The record beside a take, if it is of this take.
fn record_beside(path: &Path) -> Option<Record> {
    let record = crate::record::store::read(&path.with_file_name("record.json")).ok()?;
    let file = path.file_name()?.to_string_lossy();
    let own = record.capture.take.as_deref();
    // Repeats lie beside each other, and the record is of one of them.
    let kept = |name: &str| outcome::take_number(name).is_some();
    let repeat = own.is_some_and(kept) && kept(&file);
    (own.is_none() || own == Some(&*file) || repeat).then_some(record)
}

/// What was asked for this take, where its reading was never finished.
fn asked_beside(path: &Path) -> Result<Option<Asked>> {
    let own = outcome::take_number(&fileio::name_of(path)).is_some();
    path.parent().filter(|_| own).map_or(Ok(None), Asked::read)
}

/// The taps that `measure` recorded with a take it kept, into the take's record. Nobody asked for them: one that cannot be read is
/// a note.
fn put_taps_beside(path: &Path, record: &mut Record, answer: Option<Estimate>, channels: Option<Channels>) {
    if record_beside(path).is_none_or(|r| r.knock.is_none()) {
        return;
    }
    match knock::read(&path.with_file_name(knock::NAME), channels) {
        Ok(taps) => knock::put(record, &taps, answer, knock::NAME),
        Err(e) => record
            .notes
            .push(format!("the taps beside the take are left out: {}", e.what)),
    }
}

pub fn run(args: &AnalyzeArgs, console: &mut Console) -> Result<Status> {
    if args.takes.iter().any(|t| t.is_dir()) {
        return complete::run(args, console);
    }
    let defaults = Defaults::here()?;
    let bench = Bench::plan(&args.about, &defaults)?;
    let drive = args.drive.as_deref().map(Played::read).transpose()?;
    if let [path] = args.takes.as_slice() {
        return single(args, path, &bench, drive.as_ref(), console);
    }
    if args.knock_take.is_some() {
        return Err(Failure::new(
            "--knock-take belongs to one take",
            "analyse the takes one by one, each with its own recording of taps",
        ));
    }
    batch(args, &bench, drive.as_ref(), console)
}

fn single(
    args: &AnalyzeArgs,
    path: &Path,
    bench: &Bench,
    drive: Option<&Played>,
    console: &mut Console,
) -> Result<Status> {
    if let Some(out) = &args.out {
        outcome::refuse_existing(out)?;
    }
    let taps = args
        .knock_take
        .as_ref()
        .map(|file| Ok((knock::read(file, bench.channels)?, file)));
    let taps = taps.transpose()?;
    let (model, name) = (args.model.unwrap_or_default(), args.pickup.as_deref());
    let (mut record, answer) = one(path, bench, drive, bench.channels, model, name)?;
    match &taps {
        Some((taps, file)) => knock::put(&mut record, taps, answer, &fileio::name_of(file)),
        None => put_taps_beside(path, &mut record, answer, bench.channels),
    }
    let folder = args.out.as_deref().map(ready_folder).transpose()?;
    let written = folder.as_ref().map(|f| outcome::write(&record, f)).transpose()?;
    let told = (&record, Vec::from_iter(written));
    outcome::tell(told, args.shown, console, text::measure_text, || {
        folder.map_or(Ok(Vec::new()), |f| outcome::missing_pictures(&record, &f))
    })?;
    Ok(outcome::status(&record))
}

/// A folder's name for each take: its stem, with the parent folder's name in front where stems repeat.
fn folder_names(takes: &[PathBuf]) -> Vec<String> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for t in takes {
        *seen.entry(stem(t)).or_default() += 1;
    }
    let own = |t: &PathBuf| {
        let stem = stem(t);
        match t.parent().and_then(Path::file_name) {
            Some(p) if seen[&stem] > 1 => format!("{}-{stem}", p.to_string_lossy()),
            _ => stem,
        }
    };
    let names: Vec<String> = takes.iter().map(own).collect();
    let mut used = BTreeSet::new();
    let free = |name: &String| {
        // Even parents may repeat; a number then tells them apart, one that makes nobody else's name.
        let numbered = (2..).map(|n| format!("{name}-{n}")).filter(|n| !names.contains(n));
        let mut all = std::iter::once(name.clone()).chain(numbered);
        let free = all.find(|n| used.insert(n.clone()));
        free.unwrap_or_default()
    };
    names.iter().map(free).collect()
}

fn batch(args: &AnalyzeArgs, bench: &Bench, drive: Option<&Played>, console: &mut Console) -> Result<Status> {
    let mut fresh = Fresh::default();
    let out = args.out.as_ref().map(|out| fresh.ready(out)).transpose()?;
    let (model, name) = (args.model.unwrap_or_default(), args.pickup.as_deref());
    let takes: Vec<_> = args.takes.iter().zip(folder_names(&args.takes)).collect();
    let list = progress::each(&takes, |(path, folder)| {
        let (mut record, answer) = one(path, bench, drive, bench.channels, model, name)?;
        put_taps_beside(path, &mut record, answer, bench.channels);
        if let Some(out) = &out {
            outcome::write(&record, &ready_folder(&out.join(folder))?)?;
        }
        Ok(record)
    });
    let status = tell_all(&args.takes, list, args.shown, console)?;
    if let Some(out) = &out {
        let folders = takes.iter().map(|(_, folder)| out.join(folder));
        outcome::draw_missing(&folders.filter(|f| f.is_dir()).collect::<Vec<_>>(), console);
    }
    Ok(status)
}
