//! What plays and records.

use std::path::Path;
use std::time::SystemTime;

use crate::capture::stop::Stop;
use crate::capture::wav;
use crate::capture::{Capture, Provenance, Request, Take};
use crate::cli::args::Job;
use crate::cli::console::{self, Console};
use crate::cli::context::Bench;
use crate::cli::defaults::Defaults;
use crate::commands::outcome::Played;
use crate::commands::sound::{self, Asked};
use crate::commands::{drive, knock};
use crate::failure::{Failure, Result};
use crate::stimulus;

/// A take, and when it was begun.
pub struct Taken {
    pub take: Take,
    pub at: SystemTime,
}

/// Plays and records.
pub struct Player {
    capture: Box<dyn Capture>,
    played: Played,
    live: bool,
    stop: Stop,
}

impl Player {
    /// The level is the one asked for, else the rig's own.
    pub fn plan(job: &Job, bench: &Bench, defaults: &Defaults, stop: Stop) -> Result<Self> {
        console::catch(&stop);
        let open = Asked {
            source: &job.source,
            drive: &job.drive,
            channels: bench.channels,
            rig: bench.rig.as_ref(),
            load: bench.load.as_ref(),
            guitar: job.guitar.as_ref(),
            defaults,
            bound: true,
            stop: stop.clone(),
        }
        .open()?;
        let mut settings = drive::settings(&job.drive, open.rate_hz)?;
        let own = bench.rig.as_ref().and_then(|r| r.interface.as_ref()?.level_dbfs);
        if let Some(level) = own.filter(|_| job.drive.level.is_none()) {
            settings.level_dbfs = level;
        }
        Ok(Player {
            capture: open.capture,
            played: stimulus::make(&settings)?.into(),
            live: open.live,
            stop,
        })
    }

    pub fn played(&self) -> &Played {
        &self.played
    }

    /// The recording of so many taps.
    pub fn taps(&mut self, count: u32, console: &mut Console) -> Result<Take> {
        let rate_hz = self.played.rate_hz;
        as_kept(knock::listen(
            self.capture.as_mut(),
            rate_hz,
            count,
            self.live,
            console,
        )?)
    }

    pub fn take(&mut self, n: u32, console: &mut Console) -> Result<Taken> {
        let at = SystemTime::now();
        if self.stop.asked() {
            return Err(Failure::new("stopped by hand", "measure again when ready"));
        }
        if self.live && n == 0 {
            announce(&self.played, &self.capture.describe(), console);
        }
        let take = sound::take(self.capture.as_mut(), self.live, &request(&self.played), console)?;
        Ok(Taken {
            take: as_kept(take)?,
            at,
        })
    }
}

fn request(played: &Played) -> Request {
    Request {
        rate_hz: played.rate_hz,
        drive: played.samples.clone(),
    }
}

/// The level is said before the first sound.
fn announce(played: &Played, device: &str, console: &mut Console) {
    sound::caution(console);
    if let Some(d) = &played.description {
        let (seconds, level) = (d.settings.seconds, d.settings.level_dbfs);
        console.remark(&format!(
            "Test signal of {seconds:.1} s, peak {level:.0} dBFS; {device}."
        ));
    }
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
