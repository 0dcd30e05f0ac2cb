//! `measure`: one measurement, from test signal to record.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::analyze::{self, DriveFile};
use super::outcome::Played;
use super::sound::Asked;
use super::{drive, knock, outcome};
use crate::analysis::{self, Choice, Options};
use crate::capture::stop::Stop;
use crate::capture::wav::{self, Channels};
use crate::capture::{Capture, Provenance, Request, Take};
use crate::cli::args::MeasureArgs;
use crate::cli::console::Console;
use crate::cli::context::{Bench, Fresh, stamp};
use crate::cli::defaults::Defaults;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result, Status};
use crate::record::{Record, compose, repeats};
use crate::rig::Rig;
use crate::stimulus::{self, Drive};

/// Where takes come from.
enum Source {
    Live,
    Sim,
    File(PathBuf),
}

impl Source {
    fn of(text: &str) -> Self {
        match text {
            "live" => Source::Live,
            "sim" => Source::Sim,
            path => Source::File(PathBuf::from(path)),
        }
    }
}

/// Where the record goes.
enum Place {
    /// As given with --out.
    Given(PathBuf),
    /// The next number in the pickup's folder.
    Numbered(PathBuf),
}

impl Place {
    /// Checks before anything sounds that the record can be written.
    fn plan(args: &MeasureArgs, defaults: &Defaults, fresh: &mut Fresh) -> Result<Self> {
        if let Some(out) = &args.out {
            outcome::refuse_occupied(out, args.repeats as usize)?;
            return Ok(Place::Given(fresh.ready(out)?));
        }
        let notebook = defaults.folder.clone().unwrap_or_else(|| PathBuf::from("."));
        let notebook = fresh.ready(&notebook)?;
        Ok(Place::Numbered(
            fresh.ready(&notebook.join(folder_name(&args.pickup)?))?,
        ))
    }

    /// The folder itself; a number is taken only now, so that a stopped measurement leaves no gap.
    fn folder(&self) -> Result<PathBuf> {
        let parent = match self {
            Place::Given(folder) => return Ok(folder.clone()),
            Place::Numbered(parent) => parent,
        };
        let list = std::fs::read_dir(parent).map_err(|e| Failure::io("read", parent, &e))?;
        let last = list
            .flatten()
            .filter_map(|e| e.file_name().to_string_lossy().parse::<u32>().ok())
            .max()
            .unwrap_or(0);
        for n in last + 1..last + 1000 {
            let folder = parent.join(format!("{n:04}"));
            match std::fs::create_dir(&folder) {
                Ok(()) => return Ok(folder),
                // Somebody else was faster: the next number then.
                Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(Failure::io("make", &folder, &e)),
            }
        }
        Err(Failure::new(
            format!("no free number in {}", parent.display()),
            "give a folder with --out",
        ))
    }
}

/// A pickup's name as a folder's: what file systems do not take becomes a dash.
fn folder_name(name: &str) -> Result<String> {
    let safe: String = name
        .trim()
        .chars()
        .map(|c| {
            if c.is_control() || "/\\:*?\"<>|".contains(c) {
                '-'
            } else {
                c
            }
        })
        .collect();
    let safe = safe.trim_matches('.').trim().to_string();
    if safe.is_empty() {
        return Err(Failure::new(
            format!("\"{name}\" cannot be a pickup's name"),
            "give --pickup a name with letters or digits",
        ));
    }
    Ok(safe)
}

struct Taken {
    take: Take,
    at: SystemTime,
}

pub fn run(args: MeasureArgs, console: &mut Console) -> Result<Status> {
    let Measured { record, files, lost } = taken(&args, console)?;
    outcome::show(&record, &files, args.shown, console)?;
    Ok(match lost {
        // The measurement stands, and what was asked for besides gave no reading.
        Some(failure) => {
            console.error(&failure);
            Status::NoReading
        }
        None => outcome::status(&record),
    })
}

/// One measurement, kept.
pub struct Measured {
    pub record: Record,
    pub files: Vec<PathBuf>,
    /// Why there are no taps, though they were asked for: what was measured before them stands.
    pub lost: Option<Failure>,
}

/// Measures once, with whatever repeats and taps are asked for.
pub fn taken(args: &MeasureArgs, console: &mut Console) -> Result<Measured> {
    let defaults = Defaults::read_from(Path::new("."))?;
    let bench = Bench::plan(&args.about, &defaults)?;
    let source = Source::of(&args.source);
    if args.sim.is_some() && !matches!(source, Source::Sim) {
        return Err(Failure::new(
            "--sim describes the built-in bench, which is not used",
            "add --source sim",
        ));
    }
    knock::check(args, matches!(source, Source::File(_)))?;
    let mut player = Player::plan(args, &source, &bench, &defaults, console.stop())?;
    let mut fresh = Fresh::default();
    let place = Place::plan(args, &defaults, &mut fresh)?;
    let mut taken = Vec::new();
    for n in 0..args.repeats {
        if args.repeats > 1 {
            console.remark(&format!("take {} of {}", n + 1, args.repeats));
        }
        taken.push(player.take(n, console)?);
    }
    let (taps, lost) = match player.taps(args, bench.channels, console) {
        Ok(taps) => (taps, None),
        Err(e) if matches!(player, Player::Sound { .. }) => (
            None,
            Some(Failure::new(
                format!("the taps were lost: {}; the measurement before them is kept", e.what),
                "measure again with --knock when ready",
            )),
        ),
        Err(e) => return Err(e),
    };
    let (mut records, mut answer) = (Vec::new(), None);
    for (n, t) in taken.iter().enumerate() {
        let (record, of_take) = record(args, &bench, &player, t, n)?;
        // Of repeats the first one that was read tells, so that its file alone gives the same again.
        answer = answer.or(of_take);
        records.push(record);
    }
    let mut record = repeats::combine(records)?;
    if let Some(taps) = &taps {
        knock::put(&mut record, taps, answer, knock::NAME);
    }
    record.notes.extend(lost.iter().map(|f| f.what.clone()));
    if let Some(path) = args.about.rig.as_ref().or(defaults.rig.as_ref()) {
        // What was measured is kept, whatever became of the checks' file.
        let note = last_check(path, bench.rig.as_ref(), taken.first().map(|t| t.at));
        record.notes.extend(note.unwrap_or_else(|e| Some(e.what)));
    }
    let folder = place.folder()?;
    let takes: Vec<&Take> = taken.iter().map(|t| &t.take).collect();
    let files = outcome::write_with_takes(&record, &takes, taps.as_ref(), player.played(), &folder)?;
    Ok(Measured { record, files, lost })
}

/// How old the rig's last good check is; nothing where the rig has no checks, or was changed since.
fn last_check(path: &Path, rig: Option<&Rig>, at: Option<SystemTime>) -> Result<Option<String>> {
    let history = super::rig::history_of(path)?.filter(|h| rig.is_some_and(|r| r.chain_hash() == h.hash));
    let Some(history) = history else {
        return Ok(None);
    };
    let Some(good) = history.checks.iter().rev().find(|c| c.go) else {
        return Ok(Some("the rig has no good check yet".into()));
    };
    let days = good
        .taken_at
        .parse::<jiff::Timestamp>()
        .ok()
        .zip(at.and_then(|t| jiff::Timestamp::try_from(t).ok()))
        .map(|(then, now)| now.duration_since(then).as_hours() / 24);
    let since = match days {
        Some(0) => "less than a day ago".to_owned(),
        Some(1) => "a day ago".to_owned(),
        Some(n) => format!("{n} days ago"),
        None => good.taken_at.clone(),
    };
    let after = history.checks.last().is_some_and(|c| !c.go);
    let after = if after { "; the last check was no-go" } else { "" };
    Ok(Some(format!("rig last checked good {since}{after}")))
}

/// The record of one take, and the answer that levels of taps are counted from.
fn record(
    args: &MeasureArgs,
    bench: &Bench,
    player: &Player,
    t: &Taken,
    n: usize,
) -> Result<(Record, Option<Estimate>)> {
    let one_channel = t.take.reference.is_none();
    let played = player.played();
    let options = Options {
        chain: &bench.chain,
        drive: played.map(|p| p.samples),
        model: Choice::from(args.model),
    };
    let analysis = analysis::analyse(&t.take, &options)?;
    let mut context = bench.context(&args.pickup, one_channel, stamp(t.at));
    context.drive = played.and_then(|p| p.description).map(Into::into);
    context.source = player.kind().into();
    context.device = t.take.provenance.device.clone();
    context.take = Some(outcome::take_name(n));
    let answer = analysis.answer_db;
    Ok((compose::record(&t.take, analysis, context), answer))
}

/// Plays and records, or reads.
enum Player {
    Sound {
        capture: Box<dyn Capture>,
        drive: Drive,
        live: bool,
    },
    File {
        path: PathBuf,
        channels: Option<Channels>,
        drive: Option<DriveFile>,
        rig: Option<Box<Rig>>,
    },
}

impl Player {
    fn plan(args: &MeasureArgs, source: &Source, bench: &Bench, defaults: &Defaults, stop: Stop) -> Result<Self> {
        match source {
            Source::File(path) => {
                // A word that is no file name is a slip of the fingers.
                if path.extension().is_none() && !path.exists() {
                    return Err(Failure::new(
                        format!(
                            "--source {} is neither live nor sim, nor a file that is there",
                            path.display()
                        ),
                        "give live, sim or a WAV file",
                    ));
                }
                if args.repeats > 1 {
                    return Err(Failure::new("a recording cannot be repeated", "leave out --repeats"));
                }
                if let Some(option) = args.drive.first_given().or(args.devices.first_given()) {
                    return Err(Failure::new(
                        format!("{option} has no effect on a recording"),
                        format!("leave out {option}, or measure with --source live"),
                    ));
                }
                let drive = args.drive_file.as_deref().map(DriveFile::read).transpose()?;
                Ok(Player::File {
                    path: path.clone(),
                    channels: bench.channels,
                    drive,
                    rig: bench.rig.clone().map(Box::new),
                })
            }
            Source::Sim => sound(args, bench, defaults, "sim", stop),
            Source::Live => sound(args, bench, defaults, "live", stop),
        }
    }

    fn kind(&self) -> &'static str {
        match self {
            Player::Sound { live: true, .. } => "live",
            Player::Sound { .. } => "sim",
            Player::File { .. } => "file",
        }
    }

    fn played(&self) -> Option<Played<'_>> {
        match self {
            Player::Sound { drive, .. } => Some(drive.into()),
            Player::File { drive, .. } => drive.as_ref().map(|d| Played {
                rate_hz: d.rate_hz,
                samples: &d.samples,
                description: d.description.as_ref(),
            }),
        }
    }

    /// The recording of taps, if one is asked for.
    fn taps(&mut self, args: &MeasureArgs, channels: Option<Channels>, console: &mut Console) -> Result<Option<Take>> {
        match self {
            Player::File { .. } => knock::given(args.knock_take.as_ref(), channels),
            Player::Sound { capture, drive, live } => args
                .knock
                .map(|n| knock::listen(capture.as_mut(), drive.description.rate_hz, n, *live, console))
                .map(|take| take.and_then(as_kept))
                .transpose(),
        }
    }

    fn take(&mut self, n: u32, console: &mut Console) -> Result<Taken> {
        let at = SystemTime::now();
        match self {
            Player::File {
                path,
                channels,
                drive,
                rig,
            } => {
                let take = analyze::read(path, drive.as_ref(), *channels, rig.as_deref())?;
                let at = std::fs::metadata(&*path).and_then(|m| m.modified()).unwrap_or(at);
                Ok(Taken { take, at })
            }
            Player::Sound { capture, drive, live } => {
                if *live && n == 0 {
                    announce(drive, &capture.describe(), console);
                }
                let bar = live.then(super::progress::TakeBar::new);
                let take = capture.take(&request(drive), &mut |p| {
                    if let Some(bar) = &bar {
                        bar.show(p);
                    }
                });
                if let Some(bar) = bar {
                    bar.done();
                }
                Ok(Taken {
                    take: as_kept(take?)?,
                    at,
                })
            }
        }
    }
}

fn request(drive: &Drive) -> Request {
    Request {
        rate_hz: drive.description.rate_hz,
        drive: drive.samples.clone(),
    }
}

/// The level is said before the first sound.
fn announce(drive: &Drive, device: &str, console: &mut Console) {
    let d = &drive.description;
    super::sound::caution(console);
    console.remark(&format!(
        "Test signal of {:.1} s, peak {:.0} dBFS; {device}.",
        d.seconds, d.level_dbfs
    ));
}

/// The take as its file will hold it, so that analysing the file later gives the same numbers to the last digit.
fn as_kept(take: Take) -> Result<Take> {
    let mut channels: Vec<&[f32]> = vec![&take.pickup];
    channels.extend(take.reference.as_deref());
    let bytes = wav::to_bytes(take.rate_hz, &channels)?;
    let kept = wav::take_from_bytes(&bytes, Path::new("take.wav"), None)?;
    Ok(Take {
        provenance: Provenance {
            file: None,
            notes: take.provenance.notes,
            ..take.provenance
        },
        ..kept
    })
}

/// The level is the one asked for, else the rig's own.
fn sound(args: &MeasureArgs, bench: &Bench, defaults: &Defaults, source: &str, stop: Stop) -> Result<Player> {
    let open = Asked {
        devices: &args.devices,
        drive: &args.drive,
        channels: bench.channels,
        rig: bench.rig.as_ref(),
        load: bench.load.as_ref(),
        sim: args.sim.as_deref(),
        defaults,
        bound: true,
        stop,
    }
    .open(source)?;
    let mut settings = drive::settings(&args.drive, open.rate_hz)?;
    let own = bench.rig.as_ref().and_then(|r| r.interface.as_ref()?.level_dbfs);
    if let Some(level) = own.filter(|_| args.drive.level.is_none()) {
        settings.level_dbfs = level;
    }
    Ok(Player::Sound {
        capture: open.capture,
        drive: stimulus::make(&settings)?,
        live: open.live,
    })
}
