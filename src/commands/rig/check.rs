//! `rig check`: is it still the rig, by its witness.

use super::beside::{aside, beside, from_rig, history_of, kept_with};
use super::file::rig_of;
use super::witnessed::by_today;
use crate::cli::args::{About, CheckArgs, Job, Surroundings};
use crate::cli::inputs::LoadArg;
use crate::commands::measure::{self, Measured};
use crate::commands::outcome;
use crate::commands::prelude::*;
use crate::commands::{anew, known};
use crate::fileio;
use crate::network::Load;
use crate::record::Record;
use crate::record::identity::{apart_from, same_rig};
use crate::report::{checks_plot, rig_words, text};
use crate::rig::{Rig, Witness};
use crate::shop::known::Known;
use crate::shop::witness::checks::{CheckDocument, WitnessShown};
use crate::shop::witness::history::{Check, History};
use crate::shop::witness::judging::{Expected, Judgement};

pub fn run(args: CheckArgs, console: &mut Console) -> Result<Status> {
    let (path, rig) = rig_of(args.file.as_ref().or(args.rig.as_ref()))?;
    let Some(witness) = &rig.witness else {
        return Err(Failure::new(
            format!("the rig file {} names no witness", path.display()),
            "write [witness] and below it name = \"witness one\": the pickup that is kept for checking",
        ));
    };
    let given = args.record.as_ref().map(|p| anew::one(p, Some(&rig), console));
    let given = given.transpose()?;
    let simulated = given.as_ref().map_or(args.source.is_sim(), Record::is_simulated);
    // Found out before anything sounds: the history can be read, and is this rig's.
    kept_with(&path, &rig, simulated)?;
    let whose = Whose {
        path: &path,
        rig: &rig,
        witness,
    };
    if let Some(standing) = history_of(&path)?.filter(|_| !args.begin_again) {
        whose.goes_on(&standing, simulated)?;
    }
    let (record, files, folder) = match given {
        Some(record) => (record, Vec::new(), None),
        None => {
            let measured = whose.measured(&args, console)?;
            (measured.record, measured.files, Some(measured.folder))
        }
    };
    whose.of_this_rig(&record)?;
    // A recording may have been made by the bench.
    kept_with(&path, &rig, record.is_simulated())?;
    let mut new = check_of(&record, &args, folder.as_deref(), &path)?;
    let (known, _) = known::beside(&rig, &path);
    let expected = known.expected(record.is_simulated());
    let (history, judgement, written) = whose
        .count(&mut new, &expected, args.begin_again, console)
        .map_err(|e| not_counted(e, folder.as_deref()))?;
    let advice = rig_words::advice(&rig, &new, &judgement, &history);
    let document = CheckDocument::of(&history, &new, &judgement, shown(&record, &known)?, advice);
    let files = [files, written].concat();
    outcome::tell((&document, files), args.shown, console, text::check_text, || {
        let own = folder.map_or(Ok(Vec::new()), |f| outcome::missing_pictures(&record, &f))?;
        Ok([own, charts(&path, &history, &expected)?].concat())
    })?;
    Ok(match judgement.go() {
        true => Status::Done,
        false => Status::OutsideLimits,
    })
}

/// Drawn anew after every check: nothing measured is in it that the history has not.
fn charts(rig: &Path, history: &History, expected: &Expected) -> Result<outcome::Pictures> {
    let judged = history.judged(expected, checks_plot::MOST);
    Ok(vec![(beside(rig, "checks"), checks_plot::history(history, &judged)?)])
}

/// What of the witness's record goes into the history.
fn check_of(record: &Record, args: &CheckArgs, measured: Option<&Path>, rig: &Path) -> Result<Check> {
    Ok(Check {
        at: args.at.clone(),
        folder: folder_of(measured, args).and_then(|f| from_rig(rig, f)),
        ..Check::of(record).map_err(|e| no_reading(e, record, measured))?
    })
}

/// Peak, f0 and Q within what the yardstick says of them, by the study that lies beside the rig's file.
fn shown(record: &Record, known: &Known) -> Result<WitnessShown> {
    let mut record = record.clone();
    known.put(&mut record, None);
    known
        .shown(&record)
        .ok_or_else(|| Failure::new("the take of the witness gives no reading", "check again"))
}

/// Where the record of the witness lies.
fn folder_of<'a>(measured: Option<&'a Path>, args: &'a CheckArgs) -> Option<&'a Path> {
    let given = args.record.as_deref().filter(|r| r.exists());
    let folder = given.map(|r| if r.is_dir() { r } else { r.parent().unwrap_or(r) });
    measured.or(folder)
}

/// Whose checks are counted, and where.
struct Whose<'a> {
    path: &'a Path,
    rig: &'a Rig,
    witness: &'a Witness,
}

/// A history as today's file reads it, what it says of a check, and the files that were written.
type Counted = (History, Judgement, Vec<PathBuf>);

impl Whose<'_> {
    /// Judges a check by the history as it is at this moment, and puts it there. What was kept stays as it was. `expected`: what
    /// checks scatter by.
    fn count(&self, new: &mut Check, expected: &Expected, begin_again: bool, console: &mut Console) -> Result<Counted> {
        let file = beside(self.path, "checks.json");
        fileio::alone(&file, || {
            let today = self.rig.summary();
            let mut kept = match history_of(self.path)? {
                Some(h) if !begin_again => h,
                _ => History::new(&today, &self.witness.name),
            };
            // Another check may have come in since.
            let old = if begin_again { aside(&file)? } else { None };
            if kept.checks.iter().any(|c| c.id == new.id) {
                return Err(Failure::new(
                    "this take of the witness is in the history already",
                    "measure the witness anew",
                ));
            }
            let mut history = by_today(kept.clone(), self.path, self.rig, console);
            let judgement = history.judge(new, expected);
            new.go = judgement.go();
            if kept.hash == today.chain_hash() {
                // The file says what it said when they were made, and that may change.
                let untold = kept.checks.iter_mut().filter(|c| c.entered.is_empty());
                untold.for_each(|c| c.entered = new.entered.clone());
            }
            kept.checks.push(new.clone());
            history.checks.push(new.clone());
            let bytes = match old {
                Some(_) => outcome::pretty(&kept, "the history")?,
                None => outcome::again(&file, &kept, "the history")?,
            };
            fileio::write_atomically(&file, &bytes)?;
            Ok((history, judgement, std::iter::once(file.clone()).chain(old).collect()))
        })
    }

    fn goes_on(&self, h: &History, simulated: bool) -> Result<()> {
        one_kind(h, simulated, self.path)?;
        let witness = &self.witness.name;
        let what = if h.witness != *witness {
            format!("its checks are of the witness {:?}, not {witness:?}", h.witness)
        } else if !h.is_of(&self.rig.summary()) {
            format!("its checks are of the rig {:?}", h.rig)
        } else {
            return Ok(());
        };
        Err(Failure::new(
            format!("{}: {what}", self.path.display()),
            "undo that, or begin a new baseline with --begin-again: another rig has other readings",
        ))
    }

    fn of_this_rig(&self, record: &Record) -> Result<()> {
        let (own, witness) = (&record.pickup.name, &self.witness.name);
        if own != witness {
            return Err(Failure::new(
                format!("the record is of {own:?}, not of the witness {witness:?}"),
                "give a record of the witness",
            ));
        }
        let today = self.rig.summary();
        if !same_rig(&record.rig, &today) {
            return Err(Failure::new(
                "the record was made with another rig",
                "measure the witness with this rig",
            ));
        }
        match apart_from(&record.rig.entered(record.capture.channels), &today).as_slice() {
            [] => Ok(()),
            keys => Err(Failure::new(
                format!(
                    "{} is not what it was when the record was made, and its take is gone",
                    keys.join(", ")
                ),
                "measure the witness anew",
            )),
        }
    }

    fn measured(&self, args: &CheckArgs, console: &mut Console) -> Result<Measured> {
        let load: Load = self.witness.load.as_deref().unwrap_or_default().parse()?;
        let on = Surroundings {
            rig: Some(self.path.to_path_buf()),
            load: Some(LoadArg::Load(load)),
            over: args.over.clone(),
            room: args.room,
        };
        let job = Job {
            about: About { on, ..About::default() },
            source: args.source.clone(),
            drive: args.drive.clone(),
            out: args.out.clone(),
            ..Job::default()
        };
        measure::taken(&self.witness.name, &job, console)
    }
}

/// The witness was measured and its check could not be kept: it is none, until its record is given.
fn not_counted(e: Failure, folder: Option<&Path>) -> Failure {
    match folder {
        None => e,
        Some(folder) => {
            let folder = text::shell(&folder.to_string_lossy());
            Failure::new(
                format!("this check does not count: {}", e.what),
                format!("{}, then `coilwright rig check --record {folder}`", e.hint),
            )
        }
    }
}

/// Why the witness could not be read, and where its take lies.
fn no_reading(e: Failure, record: &Record, kept: Option<&Path>) -> Failure {
    let why = record.rejected_for().map(|f| f.text.clone());
    let kept = kept.map(|k| format!("its take is kept in {}", k.display()));
    let what: Vec<String> = [Some(e.what), why, kept].into_iter().flatten().collect();
    Failure::new(what.join("; "), e.hint)
}

/// Checks of the built-in bench and of real takes never stand in one history.
fn one_kind(h: &History, simulated: bool, path: &Path) -> Result<()> {
    if h.checks.iter().all(|c| c.simulated == simulated) {
        return Ok(());
    }
    let (have, new, hint) = match simulated {
        true => (
            "real takes",
            "a simulated one",
            "try the built-in bench with a copy of the rig file under another name",
        ),
        false => (
            "the built-in bench",
            "a real one",
            "begin a history of real ones with --begin-again",
        ),
    };
    let (checks, file) = (h.checks.len(), path.display());
    Err(Failure::new(
        format!("the {checks} checks of {file} are of {have}, and {new} has no place among them"),
        hint,
    ))
}
