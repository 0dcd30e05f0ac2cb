//! `book returned --in-guitar`: at the jack, position by position, Enter by Enter.

use std::f64::consts::TAU;

use crate::cli::args::{Job, ReturnedArgs};
use crate::cli::inputs::LoadArg;
use crate::cli::wirings::{one_load, read_coil, resolve};
use crate::coil::basis::Basis;
use crate::coil::behind::whole_load;
use crate::commands::measure;
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::commands::sound::Sources;
use crate::network::predict::db;
use crate::network::{Coil, CoilFile, Load, Tolerances, Wiring, peak};
use crate::record::about::Pole;
use crate::record::stage::Stage;
use crate::record::{AT_THE_JACK, Record};
use crate::report::text;
use crate::rig::Rig;
use crate::shop::in_guitar::{Bench, Step, StepRead, Took, conclude, expected, positions, step, steps};
use crate::shop::yardstick::Answer;

/// What is known of the pickup besides the options.
pub struct Guitar<'a> {
    pub args: &'a ReturnedArgs,
    pub name: &'a str,
    /// Where it goes in a guitar, if that was told: a wiring calls its pickups so.
    pub place: Option<&'a str>,
    /// The reading that it left with.
    pub left: Record,
    /// Which pole of a pickup is up.
    pub pole: &'a dyn Fn(&str) -> Option<Pole>,
}

/// A guitar ready to be measured.
struct Ready {
    /// Its name.
    wiring: String,
    steps: Vec<Step>,
    basis: Basis,
    bench: Bench,
    /// One for each take.
    sources: Sources,
}

impl Guitar<'_> {
    pub fn run(&self, wiring: &LoadArg, console: &mut Console) -> Result<Status> {
        let ready = self.ready(wiring)?;
        let (read, simulated, early) = self.all(&ready, console);
        let mut document = conclude(self.name, &ready.wiring, read, self.pole);
        (document.simulated, document.ended_early) = (simulated, early);
        if self.args.tolerance.is_none() {
            document
                .notes
                .push("pots count ±20 % and capacitors ±10 %, as they are sold (common practice)".into());
        }
        text::put_guitar_words(&mut document);
        outcome::say(&document, self.args.measure.shown, console, text::guitar_text)?;
        Ok(match document.answer {
            Answer::Different => Status::OutsideLimits,
            Answer::Same | Answer::CannotTell => Status::Done,
        })
    }

    fn ready(&self, wiring: &LoadArg) -> Result<Ready> {
        let (name, wiring) = resolve(wiring)?;
        let on = &self.args.measure.job.about.on;
        let between = on.load.as_ref().map(one_load).transpose()?.unwrap_or_default();
        let cable_only = Load {
            cable: between.cable,
            lead_f: between.lead_f,
            ..Load::default()
        };
        if between != cable_only {
            return Err(Failure::new(
                "between the jack and the rig there is more than a cable",
                "give --load \"cable=3m@100p/m\" for the cable there; what is in the guitar stands in its wiring",
            ));
        }
        let rig = on.rig.clone().or(Defaults::here()?.rig);
        let rig = rig.map(|path| Rig::read(&path)).transpose()?;
        let input = rig.and_then(|r| r.input).unwrap_or_default();
        let places = positions(&wiring, self.name, self.args.positions.as_deref())?;
        let stated = self.args.tolerance.as_ref().map(|t| t.stated.parts.clone());
        Ok(Ready {
            steps: steps(&wiring, self.name, &places),
            basis: self.basis(&wiring)?,
            bench: Bench {
                between,
                input: (input.resistance_ohm, input.load_f()),
                tolerances: usual_but(stated.unwrap_or_default()),
            },
            sources: Sources::of(&self.args.measure.job.source)?,
            wiring: name,
        })
    }

    fn basis(&self, wiring: &Wiring) -> Result<Basis> {
        match &self.args.coil {
            Some(path) => Basis::of(read_coil(path)?),
            None if wiring.asks_for_a_coil() => Err(Failure::new(
                format!(
                    "the coil behind {} is not known, so nothing can be predicted at the jack",
                    self.name
                ),
                "give --coil FILE, as `coilwright coil` writes it, or name a file for each pickup in the wiring",
            )),
            // The wiring holds all coils itself.
            None => Basis::of(CoilFile::from(Coil::new(6e3, 2.4, 120e-12))),
        }
    }

    /// What was read, whether it is simulated, and whether it ended before its end.
    fn all(&self, ready: &Ready, console: &mut Console) -> (Vec<StepRead>, bool, bool) {
        console.remark(text::guitar_keys());
        let (mut read, mut simulated): (Vec<Option<StepRead>>, bool) = (vec![None; ready.steps.len()], false);
        let (mut next, mut takes) = (0, 0);
        while let Some(now) = ready.steps.get(next) {
            let key = console.ask(&text::guitar_prompt(now, next + 1, ready.steps.len()));
            let at = match key.as_deref() {
                Some("") => next,
                Some("r") if next > 0 => next - 1,
                Some("s") => {
                    next += 1;
                    continue;
                }
                Some("q") | None => break,
                Some(_) => {
                    console.remark(text::guitar_keys());
                    continue;
                }
            };
            match self.take(ready, at, takes, console) {
                Ok((one, sim)) => {
                    console.remark(&text::guitar_step(&one));
                    simulated |= sim;
                    (read[at], next) = (Some(one), at + 1);
                    takes += 1;
                }
                // What is there stays, and one goes on when the device is back.
                Err(failure) => {
                    console.remark(&failure.to_string());
                    console.stop().heed();
                }
            }
        }
        // One that was skipped was not read either.
        let early = read.iter().any(Option::is_none);
        (read.into_iter().flatten().collect(), simulated, early)
    }

    fn take(&self, ready: &Ready, at: usize, takes: usize, console: &mut Console) -> Result<(StepRead, bool)> {
        let now = &ready.steps[at];
        let asked = &self.args.measure.job;
        let mut about = asked.about.clone();
        about.on.load = None;
        about.life.stage = about.life.stage.or_else(|| Stage::of("returned"));
        about.on.over = Some(format!("{} in {}, {AT_THE_JACK}", now.pickup, now.position));
        let job = Job {
            about,
            source: ready.sources.nth(takes),
            drive: asked.drive.clone(),
            // The bench puts its own input there.
            guitar: Some(ready.bench.to_the_rig(&now.wiring)),
            ..Job::default()
        };
        let measured = measure::taken(self.name, &job, console)?;
        outcome::draw_missing(&[measured.folder], console);
        let record = measured.record;
        let own = now.pickup == self.name || Some(now.pickup.as_str()) == self.place;
        let left = Some(&self.left).filter(|_| own);
        let took = Took {
            record: &record,
            left,
            // A coil of another kind would tell another level.
            left_db: left
                .filter(|_| self.args.coil.is_some())
                .and_then(|l| low_db(&ready.basis, l)),
        };
        let told = expected(now, &ready.basis, &ready.bench);
        let matters = Defaults::here()?.matters();
        Ok((step(now, &told, &took, &matters), record.is_simulated()))
    }
}

/// Response at low frequency under the load that a reading was made with.
fn low_db(basis: &Basis, left: &Record) -> Option<f64> {
    let wiring = Wiring::from(whole_load(left).ok()?);
    let low = wiring.response(&basis.coil, TAU * peak::LOW_HZ);
    Some(db(low.norm())).filter(|d| d.is_finite())
}

/// What somebody stated of the parts, and the rest as they are sold.
fn usual_but(stated: Tolerances) -> Tolerances {
    let mut all = Tolerances::usual();
    stated
        .0
        .into_iter()
        .for_each(|(knob, tolerance)| all.put(knob, tolerance));
    all
}
