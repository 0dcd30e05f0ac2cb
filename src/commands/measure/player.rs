//! What plays and records.

use std::time::SystemTime;

use crate::capture::stop::Stop;
use crate::capture::wav;
use crate::capture::{Provenance, Take};
use crate::cli::args::Job;
use crate::cli::console::{self, Console};
use crate::cli::context::Bench;
use crate::commands::knock;
use crate::commands::outcome::Played;
use crate::commands::prelude::*;
use crate::commands::sound::{self, Asked, Sound};
use crate::stimulus;

/// A take, and when it was begun.
pub struct Taken {
    pub take: Take,
    pub at: SystemTime,
}

/// Plays and records.
pub struct Player {
    sound: Sound,
    pub played: Played,
    stop: Stop,
}

impl Player {
    /// The level is the one asked for, else the rig's own.
    pub fn plan(job: &Job, bench: &Bench, defaults: &Defaults, stop: Stop) -> Result<Self> {
        console::catch(&stop);
        let drive = sound::at_level(&job.drive, bench);
        let sound = Asked {
            source: &job.source,
            drive: &drive,
            bench,
            guitar: job.guitar.as_ref(),
            defaults,
            bound: true,
            stop: stop.clone(),
        }
        .open()?;
        let settings = sound::settings(&drive, sound.rate_hz)?;
        Ok(Player {
            sound,
            played: stimulus::make(&settings)?.into(),
            stop,
        })
    }

    /// The recording of so many taps.
    pub fn taps(&mut self, count: u32, console: &mut Console) -> Result<Take> {
        as_kept(knock::listen(&mut self.sound, count, console)?)
    }

    pub fn take(&mut self, n: u32, console: &mut Console) -> Result<Taken> {
        let at = SystemTime::now();
        if self.stop.asked() {
            return Err(Failure::new("stopped by hand", "measure again when ready"));
        }
        if self.sound.live && n == 0 {
            announce(&self.played, &self.sound.capture.describe(), console);
        }
        let take = self.sound.take(&self.played.request(), console)?;
        Ok(Taken {
            take: as_kept(take)?,
            at,
        })
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
