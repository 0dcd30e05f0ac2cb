//! `analyze`: from recordings to records.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde::Serialize;

use super::{knock, outcome};
use crate::analysis::{self, Options};
use crate::capture::Take;
use crate::capture::wav::{self, Channels};
use crate::cli::args::AnalyzeArgs;
use crate::cli::console::Console;
use crate::cli::context::{Bench, Fresh, changed, ready_folder, stem};
use crate::cli::defaults::Defaults;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::record::{Record, compose};
use crate::report::text;
use crate::rig::Rig;

/// The document of several takes.
#[derive(Debug, Serialize)]
struct Batch<'a> {
    schema: &'static str,
    records: &'a [Record],
    failed: Vec<Failed>,
}

#[derive(Debug, Serialize)]
struct Failed {
    file: String,
    error: String,
}

/// A drive file that was read once for all takes.
pub struct DriveFile {
    pub rate_hz: u32,
    pub samples: Vec<f32>,
    pub description: Option<crate::stimulus::Description>,
}

impl DriveFile {
    pub fn read(path: &Path) -> Result<Self> {
        let mut wave = wav::read_drive(path)?;
        let beside = path.with_extension("json");
        // The description is welcome but not needed; one that does not belong to the file is left alone.
        let description = std::fs::read(&beside)
            .ok()
            .and_then(|b| serde_json::from_slice::<crate::stimulus::Description>(&b).ok())
            .filter(|d| d.rate_hz == wave.rate_hz && d.frames as usize == wave.samples[0].len());
        Ok(DriveFile {
            rate_hz: wave.rate_hz,
            samples: wave.samples.pop().unwrap_or_default(),
            description,
        })
    }
}

/// Reads a take and sees to it that it can be analysed: one channel alone needs what was played, at its own rate, and what
/// the rig's inputs do was measured at one rate.
pub fn read(path: &Path, drive: Option<&DriveFile>, channels: Option<Channels>, rig: Option<&Rig>) -> Result<Take> {
    let mut take = wav::read_take(path, channels)?;
    let bound = rig.and_then(|r| Some((r, r.interface.as_ref()?.rate_hz?)));
    if let Some((rig, rate)) = bound.filter(|(_, rate)| *rate != take.rate_hz) {
        return Err(Failure::new(
            format!(
                "{} has {} Hz, and the rig {} was measured at {rate} Hz",
                path.display(),
                take.rate_hz,
                rig.name
            ),
            "give the rig it was taken on, or a rig file for that rate",
        ));
    }
    // What the bench made stays known as that.
    take.provenance.simulated = record_beside(path).is_some_and(|r| r.notes.iter().any(|n| n == "simulated"));
    let name = path.display();
    match drive {
        None if take.reference.is_none() => Err(Failure::new(
            format!("{name} has one channel: the signal that was played is needed"),
            "give --drive drive.wav",
        )),
        Some(d) if d.rate_hz != take.rate_hz => Err(Failure::new(
            format!("the drive file has {} Hz but {name} has {} Hz", d.rate_hz, take.rate_hz),
            "give the drive file that was played for this take",
        )),
        _ => Ok(take),
    }
}

/// Analyses one WAV file: its record, and the answer that levels of taps are counted from.
pub fn one(
    path: &Path,
    bench: &Bench,
    drive: Option<&DriveFile>,
    channels: Option<Channels>,
    model: analysis::Choice,
    name: Option<&str>,
) -> Result<(Record, Option<Estimate>)> {
    let take = read(path, drive, channels, bench.rig.as_ref())?;
    let one_channel = take.reference.is_none();
    let options = Options {
        chain: &bench.chain,
        drive: drive.map(|d| d.samples.as_slice()),
        model,
    };
    let analysis = analysis::analyse(&take, &options)
        .map_err(|f| Failure::new(format!("{}: {}", path.display(), f.what), f.hint))?;
    let beside = record_beside(path).map(|r| r.pickup.name);
    let name = name.map(str::to_owned).or(beside).unwrap_or_else(|| stem(path));
    let mut context = bench.context(&name, one_channel, changed(path));
    context.drive = drive.and_then(|d| d.description.as_ref()).map(Into::into);
    context.source = "file".into();
    context.take = Some(fileio::name_of(path));
    let answer = analysis.answer_db;
    Ok((compose::record(&take, analysis, context), answer))
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
    let defaults = Defaults::read_from(Path::new("."))?;
    let bench = Bench::plan(&args.about, &defaults)?;
    let drive = args.drive.as_deref().map(DriveFile::read).transpose()?;
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
    drive: Option<&DriveFile>,
    console: &mut Console,
) -> Result<Status> {
    if let Some(out) = &args.out {
        outcome::refuse_existing(out)?;
    }
    let taps = knock::given(args.knock_take.as_ref(), bench.channels)?;
    let (mut record, answer) = one(
        path,
        bench,
        drive,
        bench.channels,
        args.model.into(),
        args.pickup.as_deref(),
    )?;
    match (&taps, &args.knock_take) {
        (Some(taps), Some(file)) => knock::put(&mut record, taps, answer, &fileio::name_of(file)),
        _ => put_taps_beside(path, &mut record, answer, bench.channels),
    }
    let files = match &args.out {
        Some(out) => outcome::write(&record, &ready_folder(out)?)?,
        None => Vec::new(),
    };
    outcome::show(&record, &files, args.shown, console)?;
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
    names
        .iter()
        .map(|name| {
            // Even parents may repeat; a number then tells them apart, one that makes nobody else's name.
            let numbered = (2..).map(|n| format!("{name}-{n}")).filter(|n| !names.contains(n));
            let free = std::iter::once(name.clone())
                .chain(numbered)
                .find(|n| !used.contains(n));
            let free = free.unwrap_or_default();
            used.insert(free.clone());
            free
        })
        .collect()
}

fn batch(args: &AnalyzeArgs, bench: &Bench, drive: Option<&DriveFile>, console: &mut Console) -> Result<Status> {
    let names = folder_names(&args.takes);
    let mut fresh = Fresh::default();
    if let Some(out) = &args.out {
        fresh.ready(out)?;
    }
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<Option<Result<Record>>>> = Mutex::new((0..args.takes.len()).map(|_| None).collect());
    let workers = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(args.takes.len());
    let bar = super::progress::takes(args.takes.len());
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(path) = args.takes.get(i) else { break };
                    let ended = one(
                        path,
                        bench,
                        drive,
                        bench.channels,
                        args.model.into(),
                        args.pickup.as_deref(),
                    )
                    .and_then(|(mut record, answer)| {
                        put_taps_beside(path, &mut record, answer, bench.channels);
                        if let Some(out) = &args.out {
                            outcome::write(&record, &ready_folder(&out.join(&names[i]))?)?;
                        }
                        Ok(record)
                    });
                    if let Ok(mut list) = done.lock() {
                        list[i] = Some(ended);
                    }
                    bar.inc(1);
                }
            });
        }
    });
    bar.finish_and_clear();
    let list = done.into_inner().unwrap_or_default();
    let (mut records, mut failed) = (Vec::new(), Vec::new());
    for (path, ended) in args.takes.iter().zip(list) {
        match ended {
            Some(Ok(r)) => records.push(r),
            Some(Err(f)) => failed.push((path.clone(), f.to_string())),
            None => failed.push((path.clone(), "not analysed; try it alone".into())),
        }
    }
    if records.is_empty() {
        let (path, error) = &failed[0];
        return Err(Failure::new(
            format!(
                "none of {} takes could be used (first: {}: {error})",
                failed.len(),
                path.display()
            ),
            "give WAV takes",
        ));
    }
    if args.shown.json {
        console.json(&Batch {
            schema: "coilwright/batch/1",
            records: &records,
            failed: failed
                .iter()
                .map(|(file, error)| Failed {
                    file: file.display().to_string(),
                    error: error.clone(),
                })
                .collect(),
        })?;
    } else {
        console.result(&text::batch_text(&records, &failed, outcome::style(args.shown)))?;
    }
    let bad = !failed.is_empty() || records.iter().any(|r| outcome::status(r) != Status::Done);
    Ok(if bad { Status::NoReading } else { Status::Done })
}
