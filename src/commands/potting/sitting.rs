//! `potting --sitting`: a dip measured on the bench, Enter by Enter, before the wax and after it.

use std::fs::File;

use crate::book::word::{folder_name, sound_name};
use crate::cli::args::{About, Job, Life, OhmsRead, PottingArgs, read_ohms};
use crate::cli::context::{Fresh, folders_below, free_folder};
use crate::commands::measure::{self, Measured};
use crate::commands::prelude::*;
use crate::commands::sound::{self, Sources};
use crate::commands::{outcome, setting};
use crate::fileio;
use crate::record::stage::Stage;
use crate::record::{Record, store};
use crate::report::text;
use crate::shop::wax::sitting::{Sitting, Step};
use crate::shop::wax::warmth::not_back;

/// How it was left.
pub enum Left {
    /// The wax, or more of a half, is still to come: what is to be said of that.
    Half(Sitting, String),
    /// Both halves, in these folders.
    Both { halves: [PathBuf; 2], stays: Vec<PathBuf> },
}

/// A dip, its folder, and how it is measured.
struct Dip<'a> {
    args: &'a PottingArgs,
    folder: PathBuf,
    sitting: Sitting,
    about: About,
    /// One for each take.
    sources: Sources,
    /// Before and after: each record that holds a reading.
    read: [Vec<Record>; 2],
    _fresh: Fresh,
    /// The dip is this bench's alone.
    _held: File,
}

pub fn walk(args: &PottingArgs, folder: &Path, console: &mut Console) -> Result<Left> {
    let mut dip = Dip::open(args, folder, console)?;
    let mut made = Vec::new();
    let ended = dip.half(console, &mut made);
    outcome::draw_missing(&made, console);
    ended?;
    let in_both = |name: &String| dip.read.iter().all(|half| has(half, name));
    Ok(match dip.sitting.pickups.iter().any(in_both) {
        true => Left::Both {
            halves: HALVES.map(|half| dip.folder.join(half)),
            stays: dip.sitting.stays.iter().map(PathBuf::from).collect(),
        },
        false => {
            let style = outcome::style(args.shown.into());
            let said = text::sitting_left(&dip.sitting, dip.steps().len(), &folder.to_string_lossy(), style);
            Left::Half(dip.sitting, said)
        }
    })
}

/// Folders of the halves, and the stage of what goes into the wax.
const HALVES: [&str; 2] = ["before", "after"];
const STAGES: [&str; 2] = ["before wax", "after wax"];

impl<'a> Dip<'a> {
    fn open(args: &'a PottingArgs, folder: &Path, console: &mut Console) -> Result<Self> {
        let defaults = Defaults::here()?;
        let path = folder.join("sitting.json");
        // What is refused leaves no folder behind.
        let is_new = path.symlink_metadata().is_err();
        let new = is_new.then(|| begun_now(args, &defaults)).transpose()?;
        let mut fresh = Fresh::default();
        let folder = fresh.ready(folder)?;
        let held = fileio::hold(&path)?.ok_or_else(|| {
            Failure::new(
                format!("{} is on another bench at this moment", folder.display()),
                "end that one with q, or give this dip another folder",
            )
        })?;
        let (about, sitting) = match new {
            Some(new) => {
                // The records of the first take would lie in a dip that nobody knows.
                fileio::write_new(&path, &outcome::pretty(&new.1, "the dip")?)?;
                new
            }
            None => gone_on(args, &defaults, &path)?,
        };
        for half in HALVES {
            fresh.ready(&folder.join(half))?;
        }
        let mut dip = Dip {
            args,
            folder,
            sitting,
            about,
            sources: Sources::of(&args.source)?,
            read: [Vec::new(), Vec::new()],
            _fresh: fresh,
            _held: held,
        };
        for half in 0..HALVES.len() {
            dip.read[half] = dip.found(half, console)?;
        }
        if dip.left(0).is_empty() {
            dip.sitting.waxed = true;
        }
        Ok(dip)
    }

    /// A half's readings; a take that was never read is said.
    fn found(&self, half: usize, console: &mut Console) -> Result<Vec<Record>> {
        let folders = folders_below(&self.folder.join(HALVES[half]), |p| {
            holds(p, "record.json") || holds(p, "take.wav")
        })?;
        let (whole, cut): (Vec<PathBuf>, Vec<PathBuf>) = folders.into_iter().partition(|p| holds(p, "record.json"));
        for folder in cut {
            let shell = text::shell(&folder.to_string_lossy());
            console.remark(&format!(
                "{} holds a take that was never read: `coilwright analyze {shell}` completes it.",
                folder.display()
            ));
        }
        let records: Vec<Record> = whole.iter().map(|p| store::read(p)).collect::<Result<_>>()?;
        Ok(records.into_iter().filter(|r| r.reading().is_some()).collect())
    }

    fn now(&self) -> usize {
        usize::from(self.sitting.waxed)
    }

    /// A half: what was not measured before has nothing to be held against.
    fn all(&self, half: usize) -> Vec<Step> {
        let mut steps = self.sitting.steps();
        steps.retain(|s| half == 0 || has(&self.read[0], &s.pickup));
        steps
    }

    /// What a half still wants, by its readings.
    fn left(&self, half: usize) -> Vec<Step> {
        let times = |name: &str| self.read[half].iter().filter(|r| r.pickup.name == name).count();
        let mut steps = self.all(half);
        steps.retain(|s| times(&s.pickup) < s.placement);
        steps
    }

    fn steps(&self) -> Vec<Step> {
        self.left(self.now())
    }

    fn keep(&self) -> Result<()> {
        let path = self.folder.join("sitting.json");
        fileio::write_atomically(&path, &outcome::again(&path, &self.sitting, "the dip")?)
    }

    /// One half, as far as it is gone on with.
    fn half(&mut self, console: &mut Console, made: &mut Vec<PathBuf>) -> Result<()> {
        if self.steps().is_empty() {
            return Ok(());
        }
        sound::opening(&self.args.source, console);
        console.remark(&text::sitting_keys(self.sitting.waxed));
        let mut skipped: Vec<Step> = Vec::new();
        loop {
            let steps = self.steps();
            let Some(step) = steps.iter().find(|s| !skipped.contains(s)) else {
                return Ok(());
            };
            let of = self.all(self.now()).len();
            let prompt = text::sitting_prompt(step, of + 1 - steps.len(), of, self.sitting.waxed);
            let typed = console.ask(&prompt);
            let ohms = match typed.as_deref() {
                None | Some("q") => return Ok(()),
                Some("s") => {
                    skipped.push(step.clone());
                    continue;
                }
                Some("w") if !self.sitting.waxed && self.sitting.pickups.iter().any(|n| has(&self.read[0], n)) => {
                    self.sitting.waxed = true;
                    self.keep()?;
                    skipped.clear();
                    console.remark(&text::sitting_keys(true));
                    continue;
                }
                Some("") => None,
                Some(figure) => match read_ohms(figure) {
                    Ok(read) => Some(read),
                    Err(_) => {
                        console.remark(&text::sitting_keys(self.sitting.waxed));
                        continue;
                    }
                },
            };
            match self.take(step, ohms, console) {
                Ok(Measured { record, folder, .. }) => {
                    let warm = not_back(&self.read[0], &record).filter(|_| self.sitting.waxed);
                    console.remark(&text::sitting_step(&record, warm));
                    made.push(folder);
                }
                // What is there stays, and one goes on when the device is back.
                Err(failure) => {
                    console.remark(&failure.to_string());
                    console.stop().heed();
                }
            }
        }
    }

    fn take(&mut self, step: &Step, ohms: Option<OhmsRead>, console: &mut Console) -> Result<Measured> {
        let half = self.now();
        if half == 1 && self.read[1].is_empty() {
            // From here on there is no way back to the first half.
            self.keep()?;
        }
        let takes = self.read.iter().map(Vec::len).sum::<usize>();
        let job = Job {
            about: About {
                ohms,
                life: Life {
                    // What stays out is at no stage of the wax.
                    stage: Stage::of(STAGES[half]).filter(|_| !step.stays),
                    by: None,
                },
                ..self.about.clone()
            },
            source: self.sources.nth(takes),
            drive: self.args.drive.clone(),
            out: Some(free_folder(
                &self.folder.join(HALVES[half]),
                &folder_name(&step.pickup)?,
            )),
            ..Job::default()
        };
        let measured = measure::taken(&step.pickup, &job, console)?;
        if measured.record.reading().is_some() {
            self.read[half].push(measured.record.clone());
        }
        Ok(measured)
    }
}

fn holds(folder: &Path, file: &str) -> bool {
    folder.join(file).symlink_metadata().is_ok()
}

fn has(half: &[Record], name: &str) -> bool {
    half.iter().any(|r| r.pickup.name == name)
}

/// A new dip, and on what it is measured.
fn begun_now(args: &PottingArgs, defaults: &Defaults) -> Result<(About, Sitting)> {
    let set = setting::of(&args.on, defaults, None, "")?;
    let (pickups, stays) = (names(&args.before)?, names(&args.stays)?);
    let sitting = Sitting::new(pickups, stays, set.setting, args.source.is_sim())?;
    Ok((set.about, sitting))
}

/// A dip that was begun, with the same pickups on the same bench.
fn gone_on(args: &PottingArgs, defaults: &Defaults, path: &Path) -> Result<(About, Sitting)> {
    let place = path.display().to_string();
    let begun = Sitting::parse(&place, &fileio::read_limited(path, outcome::MOST_BYTES)?)?;
    let dip = format!("the dip {}", path.parent().unwrap_or(path).display());
    let set = setting::of(&args.on, defaults, Some(&begun.setting), &dip)?;
    let same = |given: &[PathBuf], own: &[String]| -> Result<bool> { Ok(given.is_empty() || names(given)? == own) };
    if !same(&args.before, &begun.pickups)? || !same(&args.stays, &begun.stays)? {
        let (pickups, stays) = (begun.pickups.join(", "), begun.stays.join(", "));
        return Err(Failure::new(
            format!("this dip was begun with {pickups}, and {stays} staying out of the wax"),
            "leave the names out to go on with it, or give another folder",
        ));
    }
    if begun.simulated != args.source.is_sim() {
        let kind = if begun.simulated { "simulated" } else { "real" };
        return Err(Failure::new(
            format!("this dip holds {kind} takes"),
            "simulated and real ones are never one dip: give another folder",
        ));
    }
    Ok((set.about, begun))
}

fn names(words: &[PathBuf]) -> Result<Vec<String>> {
    let one = |word: &PathBuf| {
        let name = word.to_string_lossy().trim().to_owned();
        sound_name(&name)?;
        folder_name(&name)?;
        Ok(name)
    };
    words.iter().map(one).collect()
}
