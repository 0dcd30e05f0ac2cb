//! What plays and records, or reads a recording.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::Job;
use crate::capture::stop::Stop;
use crate::capture::wav::{self, Channels};
use crate::capture::{Capture, Provenance, Request, Take};
use crate::cli::console::{self, Console};
use crate::cli::context::Bench;
use crate::cli::defaults::Defaults;
use crate::commands::analyze::{self, DriveFile};
use crate::commands::outcome::Played;
use crate::commands::sound::{self, Asked};
use crate::commands::{drive, knock};
use crate::failure::{Failure, Result};
use crate::rig::Rig;
use crate::stimulus::{self, Drive};

/// Where takes come from.
pub enum Source {
    Live,
    Sim,
    File(PathBuf),
}

impl Source {
    pub fn of(text: &str) -> Self {
        match text {
            "live" => Source::Live,
            "sim" => Source::Sim,
            path => Source::File(PathBuf::from(path)),
        }
    }
}

/// A take, and when it was begun.
pub struct Taken {
    pub take: Take,
    pub at: SystemTime,
}

/// Plays and records, or reads.
pub enum Player {
    Sound {
        capture: Box<dyn Capture>,
        drive: Drive,
        live: bool,
        stop: Stop,
    },
    File {
        path: PathBuf,
        channels: Option<Channels>,
        drive: Option<DriveFile>,
        rig: Option<Box<Rig>>,
    },
}

impl Player {
    pub fn plan(job: &Job, source: &Source, bench: &Bench, defaults: &Defaults, stop: Stop) -> Result<Self> {
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
                if job.repeats > 1 {
                    return Err(Failure::new("a recording cannot be repeated", "leave out --repeats"));
                }
                if let Some(option) = job.drive.first_given().or(job.devices.first_given()) {
                    return Err(Failure::new(
                        format!("{option} has no effect on a recording"),
                        format!("leave out {option}, or measure with --source live"),
                    ));
                }
                let drive = job.drive_file.as_deref().map(DriveFile::read).transpose()?;
                Ok(Player::File {
                    path: path.clone(),
                    channels: bench.channels,
                    drive,
                    rig: bench.rig.clone().map(Box::new),
                })
            }
            Source::Sim => sound(job, bench, defaults, "sim", stop),
            Source::Live => sound(job, bench, defaults, "live", stop),
        }
    }

    /// It plays: what it brings lies nowhere else.
    pub fn is_sound(&self) -> bool {
        matches!(self, Player::Sound { .. })
    }

    pub fn kind(&self) -> &'static str {
        match self {
            Player::Sound { live: true, .. } => "live",
            Player::Sound { .. } => "sim",
            Player::File { .. } => "file",
        }
    }

    pub fn played(&self) -> Option<Played<'_>> {
        match self {
            Player::Sound { drive, .. } => Some(drive.into()),
            Player::File { drive, .. } => drive.as_ref().map(Into::into),
        }
    }

    /// The recording of taps, if one is asked for.
    pub fn taps(&mut self, job: &Job, channels: Option<Channels>, console: &mut Console) -> Result<Option<Take>> {
        match self {
            Player::File { .. } => knock::given(job.knock_take.as_ref(), channels),
            Player::Sound {
                capture, drive, live, ..
            } => job
                .knock
                .map(|n| knock::listen(capture.as_mut(), drive.description.rate_hz, n, *live, console))
                .map(|take| take.and_then(as_kept))
                .transpose(),
        }
    }

    pub fn take(&mut self, n: u32, console: &mut Console) -> Result<Taken> {
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
            Player::Sound {
                capture,
                drive,
                live,
                stop,
            } => {
                if stop.asked() {
                    return Err(Failure::new("stopped by hand", "measure again when ready"));
                }
                if *live && n == 0 {
                    announce(drive, &capture.describe(), console);
                }
                let take = sound::take(capture.as_mut(), *live, &request(drive), console)?;
                Ok(Taken {
                    take: as_kept(take)?,
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
    sound::caution(console);
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
fn sound(job: &Job, bench: &Bench, defaults: &Defaults, source: &str, stop: Stop) -> Result<Player> {
    console::catch(&stop);
    let open = Asked {
        devices: &job.devices,
        drive: &job.drive,
        channels: bench.channels,
        rig: bench.rig.as_ref(),
        load: bench.load.as_ref(),
        sim: job.sim.as_deref(),
        defaults,
        bound: true,
        stop: stop.clone(),
    }
    .open(source)?;
    let mut settings = drive::settings(&job.drive, open.rate_hz)?;
    let own = bench.rig.as_ref().and_then(|r| r.interface.as_ref()?.level_dbfs);
    if let Some(level) = own.filter(|_| job.drive.level.is_none()) {
        settings.level_dbfs = level;
    }
    Ok(Player::Sound {
        capture: open.capture,
        drive: stimulus::make(&settings)?,
        live: open.live,
        stop,
    })
}
