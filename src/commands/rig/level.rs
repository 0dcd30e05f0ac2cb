//! `rig level`: the strongest clean drive.

use std::io::IsTerminal;

use super::beside::of_one_kind;
use super::file::{open, rig_of, today, write_changes};
use crate::capture::{Cause, Request};
use crate::cli::args::LevelArgs;
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::commands::sound::{self, Sound};
use crate::report::{rig_words, text};
use crate::setup::interface::LevelDocument;
use crate::setup::level::{FIRST_DBFS, Limits, Next, Step};
use crate::setup::tone;
use crate::stimulus::probe;

pub fn run(args: &LevelArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.rig.as_ref())?;
    of_one_kind(&path, &rig, args.sound.source.is_sim())?;
    if !(FIRST_DBFS..=0.0).contains(&args.limit) {
        return Err(Failure::new(
            format!("a limit of {} dBFS cannot be played up to", args.limit),
            "give one from -60dBFS to 0dBFS, such as --limit -12dBFS; nothing was played",
        ));
    }
    let mut sound = open(&args.sound, &rig, true, console)?;
    let limits = Limits {
        most_dbfs: args.limit,
        ..Limits::default()
    };
    if !begins(console, &limits, sound.live) {
        let hint = "nothing was played; begin again when ready";
        return Err(Failure::new("stopped by hand", hint));
    }
    let mut steps = Vec::new();
    let mut at = FIRST_DBFS.min(args.limit);
    let end = loop {
        let step = played(at, &mut sound, console)?;
        // Held against the one before it.
        let step = steps.last().map_or(step, |before: &Step| step.after(before));
        console.remark(&text::level_step(&step));
        let next = step.next(&limits);
        steps.push(step);
        match next {
            Next::Try(next) => at = next,
            Next::Stop(end) => break end,
        }
    };
    let advice = rig_words::level_advice(&steps, end, &limits);
    let mut document = LevelDocument {
        simulated: !sound.live,
        ..LevelDocument::of(&rig, (&steps, end), &limits, advice)
    };
    let written = document.level_dbfs.map(|_| path);
    if let Some(path) = &written {
        document.replaced = write_changes(path, |_| Ok(document.changes(&sound.used, &today())))?;
    }
    outcome::say(&document, args.shown, console, |_, style| {
        text::level_text(&document, written.as_deref(), style)
    })?;
    Ok(match document.level_dbfs {
        Some(_) => Status::Done,
        None => Status::NoReading,
    })
}

/// One level, played and read.
fn played(at: f64, sound: &mut Sound, console: &mut Console) -> Result<Step> {
    let probe = probe::at_level(sound.rate_hz, at)?;
    let request = Request {
        rate_hz: sound.rate_hz,
        drive: probe.samples.clone(),
    };
    let take = sound.take(&request, console)?;
    let unheard = tone::broken(&take, &probe).then(|| ("samples are missing or doubled".to_owned(), Cause::Busy));
    let reported = take.provenance.trouble.first().cloned();
    if let Some((trouble, cause)) = reported.map(|t| (t, take.provenance.cause)).or(unheard) {
        return Err(Failure::new(
            format!("{trouble}; no level is read from such a take, and the rig file is as it was"),
            format!("{}, and begin again", cause.remedy()),
        ));
    }
    Ok(tone::read(&take, &probe))
}

/// Before the first sound; on a terminal it waits for a word. Whether it begins.
fn begins(console: &mut Console, limits: &Limits, live: bool) -> bool {
    sound::caution(console);
    console.remark(&format!(
        "A pickup in its place. From {FIRST_DBFS:.0} dBFS up to {:.0} dBFS at most, a few seconds each.",
        limits.most_dbfs
    ));
    console.remark(
        "The exciter's current grows with the level: if anything on the bench gets warm, stop and look at the wiring.",
    );
    if !live || !std::io::stdin().is_terminal() {
        return true;
    }
    console.ask("Enter begins.").is_some()
}
