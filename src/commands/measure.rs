//! `measure`: one measurement, from test signal to record.

use super::daily::Daily;
use super::kept::{Kept, taps_lost};
use super::{outcome, wanted};
use crate::cli::args::{Job, MeasureArgs, Shown};
use crate::cli::context::{Bench, Fresh, stamp};
use crate::commands::asked::{self, Asked, RigFile};
use crate::commands::prelude::*;
use crate::record::Record;
use crate::report::text;
use place::Place;
use player::Player;

mod place;
mod player;

pub fn run(args: MeasureArgs, console: &mut Console) -> Result<Status> {
    let (shown, taps) = (Shown::from(args.shown), args.job.knock.is_some());
    if let Some(file) = args.pickup.bare().filter(|name| Path::new(name).is_file()) {
        return Err(Failure::new(
            format!("{file} is a file, and no pickup's name"),
            format!("`coilwright analyze {file}` reads a recording; a rig's file goes with --rig"),
        ));
    }
    // Whatever becomes of the working folder's file meanwhile, the reading is shown.
    let notebook = wanted::notebook()?;
    let measured = taken(&args.pickup.given(), &args.job, console)?;
    let record = &measured.record;
    let daily = Daily::of(&notebook);
    outcome::tell(
        (record, measured.files),
        shown,
        console,
        |record, style| text::measure_text_after(record, style, &daily.said),
        || outcome::missing_pictures(record, &measured.folder),
    )?;
    if !shown.json {
        daily.and(text::said_of(record));
    }
    if let Some(failure) = &measured.lost {
        console.error(failure);
    }
    Ok(match measured.lost {
        // The measurement stands, and what was asked for besides gave no reading.
        Some(_) if taps => Status::NoReading,
        _ => outcome::status(record),
    })
}

/// One measurement, kept; its pictures are not drawn yet.
pub struct Measured {
    pub record: Record,
    pub folder: PathBuf,
    pub files: Vec<PathBuf>,
    /// Why there are fewer takes than were asked for, or no taps: what was measured before stands.
    pub lost: Option<Failure>,
}

/// Measures once, with whatever repeats and taps are asked for.
pub fn taken(pickup: &str, job: &Job, console: &mut Console) -> Result<Measured> {
    let defaults = Defaults::here()?;
    let mut bench = Bench::plan(&job.about, &defaults)?;
    if job.guitar.is_some() {
        // What is usually hung on a pickup is not there, and what is cannot be said as a load.
        bench.load = None;
    }
    let mut player = Player::plan(job, &bench, &defaults, console.stop())?;
    let mut fresh = Fresh::default();
    let place = Place::plan(pickup, job, &defaults, &mut fresh)?;
    say_number(0, job.repeats, console);
    let first = player.take(0, console)?;
    let rig = job.about.on.rig.as_deref().or(defaults.rig.as_deref());
    let asked = Asked {
        schema: asked::SCHEMA.into(),
        taken_at: stamp(first.at),
        source: job.source.source.clone(),
        pickup: bench.pickup(pickup),
        rig: rig.zip(bench.rig.as_ref()).map(|(path, rig)| RigFile::new(path, rig)),
        load: bench.load.as_ref().map(ToString::to_string),
        model: job.model.unwrap_or_default(),
        repeats: job.repeats,
        knock: job.knock.is_some(),
        takes: Vec::new(),
        taps: None,
    };
    let mut kept = Kept::begin(place.folder(&mut fresh)?, asked, &player.played, first.take)?;
    let lost = match repeats(job.repeats, &mut player, &mut kept, console) {
        Some(failure) => Some(failure),
        None => taps(job, &mut player, &mut kept, console),
    };
    let record = kept.finish(&bench, &player.played, lost.as_ref())?;
    wanted::entered(&kept.folder);
    Ok(Measured {
        record,
        folder: kept.folder.clone(),
        files: std::mem::take(&mut kept.files),
        lost,
    })
}

fn say_number(n: u32, of: u32, console: &mut Console) {
    if of > 1 {
        console.remark(&format!("take {} of {of}", n + 1));
    }
}

/// The takes after the first. Where one does not come, those before it are the measurement, and why is given back.
fn repeats(of: u32, player: &mut Player, kept: &mut Kept, console: &mut Console) -> Option<Failure> {
    for n in 1..of {
        say_number(n, of, console);
        let ended = player.take(n, console).and_then(|t| kept.put(t.take));
        if let Err(e) = ended {
            return Some(Failure::new(
                kept.of.ended_early(&e.what),
                "measure again for all of them",
            ));
        }
    }
    None
}

/// The taps that are asked for; why there are none, where what was measured before them stands.
fn taps(job: &Job, player: &mut Player, kept: &mut Kept, console: &mut Console) -> Option<Failure> {
    let ended = player.taps(job.knock?, console).and_then(|t| kept.put_taps(t));
    let why = ended.err()?;
    Some(Failure::new(
        taps_lost(&why.what),
        "measure again with --knock when ready",
    ))
}
