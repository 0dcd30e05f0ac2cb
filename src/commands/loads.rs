//! `loads`: what hangs on a pickup, predicted; and predictions laid beside takes.

use super::outcome::{self, refuse_any, write_all};
use super::readings;
use crate::cli::args::LoadsArgs;
use crate::cli::context::Fresh;
use crate::cli::wirings::{read_coil, resolve};
use crate::coil::against;
use crate::coil::against::{Instead, Stated};
use crate::coil::basis::Basis;
use crate::coil::loads::{LoadPredicted, LoadsDocument, Manner, predict_one};
use crate::commands::prelude::*;
use crate::network::reach::{self, ReachedFound};
use crate::network::{Coil, CoilFile, Knob, Load, Wiring, predict, spice, wirings as built_in};
use crate::record::Record;
use crate::report::plot::Plot;
use crate::report::{loads_plot, text};
use crate::rig::Rig;
use crate::shop::predicted;

/// What is asked, everything read that it needs.
struct Question {
    wirings: Vec<(String, Wiring)>,
    basis: Basis,
    takes: Vec<Record>,
    /// A take, and what is to be put in the place of its load.
    undo: Option<(Record, Instead)>,
    stated: Stated,
    manner: Manner,
}

pub fn run(args: &LoadsArgs, console: &mut Console) -> Result<Status> {
    if args.list {
        let style = outcome::style(args.shown.into());
        console.result(&text::wirings_text(&built_in::listed(), style))?;
        return Ok(Status::Done);
    }
    refuse_idle(args)?;
    let question = Question::of(args, console)?;
    let document = question.answered(args)?;
    let basis = &question.basis;
    let mut fresh = Fresh::default();
    let folder = args.out.as_ref().map(|out| fresh.ready(out)).transpose()?;
    let coil = basis.file.name.as_deref().unwrap_or("coil");
    let drawings = drawings(&document, coil);
    let stems = folder.iter().flat_map(|f| drawings.iter().map(|d| f.join(d.0)));
    let stems: Vec<PathBuf> = stems.collect();
    refuse_any(stems.iter().flat_map(|s| outcome::picture_files(s)))?;
    let files = write(
        args,
        folder.as_deref(),
        &document,
        spice::subcircuit(coil, &basis.coil, &[]),
    )?;
    outcome::tell((&document, files), args.shown, console, text::loads_text, || {
        let drawn = stems.into_iter().zip(&drawings);
        drawn.map(|(stem, (_, draw))| Ok((stem, draw()?))).collect()
    })?;
    Ok(Status::Done)
}

impl Question {
    fn of(args: &LoadsArgs, console: &mut Console) -> Result<Question> {
        let mut wirings: Vec<(String, Wiring)> = args.load.iter().map(resolve).collect::<Result<_>>()?;
        let basis = basis(args, &wirings)?;
        let (takes, _) = readings::known(&args.against, console)?;
        let mut undo = args
            .undo
            .as_ref()
            .map(|path| Ok((instead(&wirings)?, path)))
            .transpose()?;
        if wirings.is_empty() && takes.is_empty() && undo.is_none() && args.spice.is_none() {
            wirings.push(("none".into(), Wiring::default()));
        }
        if let Some(path) = &args.rig {
            let input = Rig::read(path)?.input.unwrap_or_default();
            let input = (input.resistance_ohm, input.load_f());
            if let Some((to, _)) = &mut undo {
                to.input = input;
            }
            for (name, w) in &mut wirings {
                w.load = w.load.with_input(input.0, input.1);
                name.push_str(" on the rig's input");
            }
        }
        let stated = args.tolerance.as_ref().map(|t| t.stated.clone());
        Ok(Question {
            wirings,
            basis,
            takes,
            undo: match undo {
                Some((to, path)) => readings::known(std::slice::from_ref(path), console)?
                    .0
                    .pop()
                    .map(|r| (r, to)),
                None => None,
            },
            manner: Manner {
                freq_hz: args.freq.clone().unwrap_or_else(predict::usual_grid),
                tolerances: stated.as_ref().map(|s| s.parts.clone()),
            },
            stated: stated.unwrap_or_default(),
        })
    }

    fn answered(&self, args: &LoadsArgs) -> Result<LoadsDocument> {
        let Question { basis, stated, .. } = self;
        let (loads, reached) = self.predictions(args)?;
        let mut document = LoadsDocument::of(basis, loads);
        document.reached = reached;
        document
            .notes
            .extend(self.wirings.iter().flat_map(|w| w.1.load.remarks()));
        let loads = &document.loads;
        if self.manner.tolerances.is_some() && !loads.is_empty() && loads.iter().all(|l| l.band.is_none()) {
            document.notes.push("no part of these loads has a tolerance".into());
        }
        if !self.takes.is_empty() {
            let mut laid = against::against(&self.takes, basis, stated)?;
            predicted::judge(&mut laid, &self.takes, &Defaults::here()?.matters());
            document.against = Some(laid);
        }
        if let Some((take, to)) = &self.undo {
            document.undone = Some(predicted::laid_down(against::undo(take, basis, to, stated)?, take));
        }
        Ok(document)
    }

    /// Of the load that reaches what was wished for, else of all that are given.
    fn predictions(&self, args: &LoadsArgs) -> Result<(Vec<LoadPredicted>, Option<ReachedFound>)> {
        let Question { basis, manner, .. } = self;
        if let (Some(goal), Some(by)) = (args.reach, &args.by) {
            let (_, wiring) = first(&self.wirings, "--reach")?;
            let (found, there) = reach::reach(wiring, &basis.coil, goal, by, basis.covariance.as_ref())?;
            let load = predict_one(basis, &spelt(&there.load, by), &there, None, manner);
            return Ok((vec![load], Some(found)));
        }
        let of = |(name, wiring): &(String, Wiring)| self.swept(args, name, wiring);
        let loads: Vec<Vec<LoadPredicted>> = self.wirings.iter().map(of).collect::<Result<_>>()?;
        Ok((loads.concat(), None))
    }

    /// One prediction, or one for each step of a sweep.
    fn swept(&self, args: &LoadsArgs, name: &str, wiring: &Wiring) -> Result<Vec<LoadPredicted>> {
        let Question { basis, manner, .. } = self;
        let Some(vary) = &args.vary else {
            return Ok(vec![predict_one(basis, name, wiring, None, manner)]);
        };
        let step = |v: f64| {
            let mut w = wiring.clone();
            if !vary.knob.set(&mut w.load, v) {
                return Err(lacks(name, vary.knob));
            }
            let text = match w.pickups.is_empty() {
                true => w.load.to_string(),
                false => name.to_owned(),
            };
            Ok(predict_one(basis, &text, &w, Some((vary.knob, v)), manner))
        };
        vary.values(args.steps.map(usize::from))?
            .into_iter()
            .map(step)
            .collect()
    }
}

/// A file's name without ending, and what draws it.
type Drawing<'a> = (&'static str, Box<dyn Fn() -> Result<Plot> + 'a>);

/// What there is to draw.
fn drawings<'a>(document: &'a LoadsDocument, coil: &'a str) -> Vec<Drawing<'a>> {
    let mut all: Vec<(_, Box<dyn Fn() -> _ + 'a>)> = Vec::new();
    if !document.loads.is_empty() {
        all.push(("loads", Box::new(|| loads_plot::family(document))));
    }
    if let Some(a) = &document.against {
        all.push(("against", Box::new(move || loads_plot::against(a, coil))));
    }
    if let Some(u) = &document.undone {
        all.push(("undone", Box::new(move || loads_plot::undone(u))));
    }
    all
}

/// Options that would have no say here: better refused than passed over.
fn refuse_idle(args: &LoadsArgs) -> Result<()> {
    let of_takes = !args.against.is_empty() || args.undo.is_some();
    let tolerance = args.tolerance.as_ref();
    let idle = [
        (
            tolerance.is_some_and(|t| t.ohmmeter.is_some()),
            "--tolerance ohms= is of the ohmmeter, and a prediction reads none",
            "give it to `coilwright coil`, whose coil file states the u of the resistance, and leave it out here",
        ),
        (
            tolerance.is_some_and(|t| t.stated.input.is_some()) && !of_takes,
            "--tolerance input= is of the rig that a take was made on, and no take is given",
            "give it with --against or --undo, or leave it out",
        ),
        (
            tolerance.is_some_and(|t| !t.stated.shared.is_empty()),
            "--tolerance ... shared is of capacitors read on one meter, which tell a coil from several takes",
            "give it to `coilwright coil`, and leave the word out here",
        ),
        (
            args.undo.is_some() && args.vary.is_some(),
            "--undo puts one load in the place of another, and --vary makes many",
            "give one --load, or ask for the sweep by itself",
        ),
        (
            args.undo.is_some() && args.reach.is_some(),
            "--undo puts a known load in the place of another, and --reach looks for one",
            "ask for --reach first, then --undo with the --load it finds",
        ),
    ];
    match idle.into_iter().find(|i| i.0) {
        Some((_, what, hint)) => Err(Failure::new(what, hint)),
        None => Ok(()),
    }
}

/// What --undo puts in the place of the take's load.
fn instead(wirings: &[(String, Wiring)]) -> Result<Instead> {
    if wirings.is_empty() {
        return Ok(Instead::default());
    }
    let (name, wiring) = first(wirings, "--undo")?;
    let load = wiring.as_load().ok_or_else(|| {
        Failure::new(
            format!("the wiring {name} is more than one pickup"),
            "give --undo a load on one pickup",
        )
    })?;
    Ok(Instead {
        load,
        ..Instead::default()
    })
}

/// The load that was found, its values with as many digits as one would say them with.
fn spelt(load: &Load, by: &[Knob]) -> String {
    let mut short = load.clone();
    for (knob, value) in by.iter().filter_map(|k| Some((k, k.get(load)?))) {
        let _ = knob.set(&mut short, format!("{value:.3e}").parse().unwrap_or(value));
    }
    short.to_string()
}

fn first<'a>(wirings: &'a [(String, Wiring)], option: &str) -> Result<&'a (String, Wiring)> {
    match wirings {
        [one] => Ok(one),
        _ => Err(Failure::new(
            format!("{option} wants one --load, and {} are given", wirings.len()),
            "give the one that is meant",
        )),
    }
}

fn lacks(name: &str, knob: Knob) -> Failure {
    let hint = match knob {
        Knob::Vol | Knob::VolPot => "put vol=250k into --load",
        Knob::Tone | Knob::TonePot | Knob::ToneCap => "put tone=250k+22n into --load",
        Knob::BleedCap => "put bleed=1n into --load",
        Knob::BleedRes => "put bleed=1n//150k into --load",
        Knob::Cable => "put cable=5m@100p/m into --load",
        _ => "put amp=1M//20p into --load",
    };
    Failure::new(format!("load {name:?} has no {} to vary", knob.words()), hint)
}

/// The coil in question, with what is known of its uncertainty.
fn basis(args: &LoadsArgs, wirings: &[(String, Wiring)]) -> Result<Basis> {
    let file = match (&args.coil, args.r, args.l, args.cs) {
        (Some(path), ..) => read_coil(path)?,
        (None, Some(r_ohm), Some(l_h), Some(c_f)) => {
            let coil = Coil {
                r_ohm,
                l_h,
                c_f,
                loss_ohm: args.loss,
                eddy: args.eddy,
            };
            coil.check()?;
            coil.into()
        }
        // A wiring may hold all its coils itself; then any coil will do.
        _ if !wirings.is_empty() && wirings.iter().all(|w| !w.1.asks_for_a_coil()) => own_coil(&wirings[0].1),
        _ => {
            return Err(Failure::new(
                "no coil is given",
                "give --coil FILE, or --r 6k --l 2.4H --cs 120p",
            ));
        }
    };
    Basis::of(file)
}

/// The first coil of a wiring, to stand for the pickup in the document.
fn own_coil(wiring: &Wiring) -> CoilFile {
    let member = wiring.pickups.iter().flat_map(|p| &p.coils).next();
    CoilFile {
        name: member.and_then(|m| m.name.clone()),
        ..member
            .and_then(|m| m.coil)
            .unwrap_or(Coil::new(6e3, 2.4, 120e-12))
            .into()
    }
}

fn write(args: &LoadsArgs, folder: Option<&Path>, document: &LoadsDocument, spice: String) -> Result<Vec<PathBuf>> {
    let mut list: Vec<(PathBuf, Vec<u8>)> = Vec::new();
    if let Some(folder) = folder {
        list.push((folder.join("loads.json"), outcome::pretty(document, "the predictions")?));
    }
    list.extend(args.spice.clone().map(|path| (path, spice.into_bytes())));
    write_all(list)
}
