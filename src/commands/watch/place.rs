//! Where it is watched: the sound card, or the built-in bench with a pot and a cable to turn.

use crate::capture::stop::Stop;
use crate::capture::{Capture, Rounds};
use crate::cli::args::{About, DriveArgs, Surroundings, WatchArgs};
use crate::cli::console::{self, Console};
use crate::cli::context::Bench;
use crate::cli::inputs::LoadArg;
use crate::commands::prelude::*;
use crate::commands::sound::{self, Asked};
use crate::network::Load;
use crate::stimulus::{self, Round};

/// On the built-in bench, where no load is told: something to turn.
const LOAD_OF_BENCH: &str = "vol=250k cable=3m@100p/m";
/// A step of the pot, of the cable in metres, and how far they go.
const POT_STEP: f64 = 0.05;
const POT: [f64; 2] = [0.1, 1.0];
const CABLE_STEP_M: f64 = 1.0;
const CABLE_M: [f64; 2] = [0.0, 20.0];
/// Up to a day is watched.
const FOR_S: std::ops::RangeInclusive<f64> = 0.0..=86_400.0;
/// What can be averaged over.
const OVER_S: std::ops::RangeInclusive<f64> = 0.4..=10.0;

/// What was turned on the built-in bench, and which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turned {
    Pot(i8),
    Cable(i8),
}

pub(super) struct Place {
    pub bench: Bench,
    pub round: Round,
    pub live: bool,
    pub stop: Stop,
    /// As the records that are kept are measured.
    pub drive: DriveArgs,
    on: Surroundings,
    capture: Box<dyn Capture>,
    rounds: Option<Box<dyn Rounds>>,
}

/// What was told, and on the built-in bench something to turn where nothing was.
fn surroundings(args: &WatchArgs, defaults: &Defaults) -> Result<Surroundings> {
    let nothing = args.source.is_sim() && args.load.is_none() && defaults.load.is_none();
    Ok(Surroundings {
        rig: args.rig.clone(),
        load: match nothing {
            true => Some(LoadArg::Load(Load::parse(LOAD_OF_BENCH)?)),
            false => args.load.clone(),
        },
        over: None,
        room: args.room,
    })
}

impl Place {
    /// Finds what stands in the way before anything sounds.
    pub fn plan(args: &WatchArgs, console: &Console) -> Result<Self> {
        if args.for_s.is_some_and(|s| !FOR_S.contains(&s)) {
            return Err(Failure::new(
                "--for is no time to watch",
                "give seconds, up to a day, or leave it out and end with q",
            ));
        }
        if !OVER_S.contains(&args.over) {
            return Err(Failure::new(
                format!("--over {} s cannot be averaged over", args.over),
                format!("give {} s to {} s", OVER_S.start(), OVER_S.end()),
            ));
        }
        let defaults = Defaults::here()?;
        let on = surroundings(args, &defaults)?;
        let about = About {
            on: on.clone(),
            ..About::default()
        };
        let bench = Bench::plan(&about, &defaults)?;
        if bench.channels.is_some_and(|c| c.reference.is_none()) {
            return Err(Failure::new(
                "a pickup cannot be watched without the reference on a second input",
                "wire one up as docs/bench.md says; `coilwright measure` does with one input",
            ));
        }
        let stop = console.stop();
        console::catch(&stop);
        let asked = DriveArgs {
            rate: args.rate,
            level: args.level,
            ..DriveArgs::default()
        };
        let drive = sound::at_level(&asked, &bench);
        let sound = Asked {
            source: &args.source,
            drive: &drive,
            bench: &bench,
            guitar: None,
            defaults: &defaults,
            bound: true,
            stop: stop.clone(),
        }
        .open()?;
        Ok(Place {
            round: stimulus::round(&sound::settings(&drive, sound.rate_hz)?)?,
            live: sound.live,
            capture: sound.capture,
            drive,
            rounds: None,
            bench,
            stop,
            on,
        })
    }

    pub fn sounds(&self) -> bool {
        self.rounds.is_some()
    }

    pub fn begin(&mut self) -> Result<()> {
        let mut rounds = self.capture.rounds(self.round.rate_hz, &self.round.samples)?;
        if let Some(load) = &self.bench.load {
            rounds.hang(load);
        }
        self.rounds = Some(rounds);
        Ok(())
    }

    /// Down the ramp, and the sound card free for others.
    pub fn silence(&mut self) {
        self.rounds = None;
    }

    pub fn next(&mut self) -> Result<Vec<[Vec<f32>; 2]>> {
        match &mut self.rounds {
            Some(rounds) => rounds.next(),
            None => Ok(Vec::new()),
        }
    }

    /// What hangs on the pickup, as far as it was told.
    pub fn load_words(&self) -> Option<String> {
        self.bench.load.as_ref().map(ToString::to_string)
    }

    /// What a record that is kept is to say of it.
    pub fn about(&self) -> About {
        let mut on = self.on.clone();
        if !self.live {
            on.load = self.bench.load.clone().map(LoadArg::Load);
        }
        About { on, ..About::default() }
    }

    /// Turns something on the built-in bench; what there is to say of it.
    pub fn turn(&mut self, turned: Turned) -> String {
        if self.live {
            return String::new();
        }
        let Some(load) = &mut self.bench.load else {
            return "nothing hangs on the pickup: give a --load with a pot or a cable".into();
        };
        let step = |value: f64, way: i8, step: f64, [low, high]: [f64; 2]| {
            let steps = (value / step).round() + f64::from(way);
            // As it would be typed in.
            ((steps * step * 1e3).round() / 1e3).clamp(low, high)
        };
        match (turned, &mut load.vol, &mut load.cable) {
            (Turned::Pot(way), Some(vol), _) => vol.rotation = step(vol.rotation, way, POT_STEP, POT),
            (Turned::Cable(way), _, Some(cable)) => cable.length_m = step(cable.length_m, way, CABLE_STEP_M, CABLE_M),
            (Turned::Pot(_), None, _) => return "there is no volume pot in --load".into(),
            (Turned::Cable(_), _, None) => return "there is no cable in --load".into(),
        }
        if let Some(rounds) = &mut self.rounds {
            rounds.hang(load);
        }
        load.to_string()
    }
}
