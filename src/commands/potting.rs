//! `potting`: wax before and after.

use std::path::{Path, PathBuf};

use super::coil::{refuse_any, write_all};
use super::rig::{beside, by_today, history_of, kept_with, repeat_of};
use super::{anew, outcome};
use crate::cli::args::PottingArgs;
use crate::cli::console::Console;
use crate::cli::context::{Fresh, folders_below};
use crate::cli::defaults::Defaults;
use crate::failure::{Failure, Result, Status};
use crate::fileio;
use crate::network::Load;
use crate::record::Record;
use crate::record::identity::same_rig;
use crate::record::when::moment;
use crate::report::{potting_plot, text};
use crate::rig::{Input, Rig};
use crate::shop::wax::document::{PotVerdict, PottingDocument};
use crate::shop::wax::own::WaxHistory;
use crate::shop::wax::{self, About, Placed};
use crate::shop::witness::history::{Change, History};

pub fn run(args: &PottingArgs, console: &mut Console) -> Result<Status> {
    let defaults = Defaults::read_from(Path::new("."))?;
    let path = args.rig.as_ref().or(defaults.rig.as_ref());
    let rig = path.map(|p| Rig::read(p).map(|rig| (p.as_path(), rig))).transpose()?;
    let today = rig.as_ref().map(|(_, rig)| rig.clone()).or_else(|| anew::today(None));
    let before = anew::records(&found(&args.before)?, today.as_ref(), console)?;
    let after = anew::records(&found(&args.after)?, today.as_ref(), console)?;
    let simulated = after.iter().any(Record::is_simulated);
    let known = rig.map(|r| Known::of(r, simulated, console)).transpose()?;
    let about = About {
        limits: args.limit.unwrap_or_default(),
        rested_h: args.rested,
        winding_f: args.cs,
        history: known.as_ref().and_then(|k| k.history.as_ref()),
        witness_load_f: known.as_ref().and_then(|k| witness_load(&k.rig)),
        placed: known.as_ref().and_then(|k| k.placed),
    };
    let mut document = wax::compare(&before, &after, &about)?;
    text::put_words(&mut document);
    let changed = about.history.and_then(|h| h.changed.as_ref());
    document.notes.extend(changed.and_then(|c| between(&before, &after, c)));
    let mut fresh = Fresh::default();
    let stem = match &args.out {
        Some(out) => Some(fresh.ready(out)?.join("potting")),
        None => None,
    };
    // Before anything is added to the history of wax.
    if let Some(stem) = &stem {
        refuse_any(outcome::picture_files(stem))?;
        refuse_any([stem.with_extension("json")])?;
    }
    let kept = match &known {
        Some(k) => wax(k.path, &k.rig, &before, args.keep, &mut document)?,
        None if args.keep => {
            return Err(Failure::new(
                "--keep needs a rig: what wax did is kept beside its file",
                "give --rig",
            ));
        }
        None => None,
    };
    let mut files = Vec::new();
    if let Some(stem) = &stem {
        let document = outcome::pretty(&document, "the comparison")?;
        files = write_all(vec![(stem.with_extension("json"), document)])?;
    }
    files.extend(kept);
    outcome::Told {
        document: &document,
        files,
        shown: args.shown,
    }
    .tell(console, text::potting_text, || {
        stem.map(|s| Ok((s, potting_plot::pairs(&document)?)))
            .into_iter()
            .collect()
    })?;
    let any = |v: PotVerdict| document.pairs.iter().any(|p| p.verdict == v);
    Ok(match (any(PotVerdict::Other), any(PotVerdict::Warm)) {
        (true, _) => Status::OutsideLimits,
        (_, true) => Status::NoReading,
        _ => Status::Done,
    })
}

/// What was changed on the bench after a reading before wax and before one after it.
fn between(before: &[Record], after: &[Record], change: &Change) -> Option<String> {
    let then = moment(&change.at)?;
    let any = |side: &[Record], is: fn(&jiff::Timestamp, &jiff::Timestamp) -> bool| {
        side.iter().filter_map(|r| moment(&r.taken_at)).any(|t| is(&t, &then))
    };
    let apart = any(before, |t, then| t < then) && any(after, |t, then| t >= then);
    apart.then(|| {
        format!(
            "the bench was changed in between ({}): what that did looks like wax",
            change.what
        )
    })
}

/// A rig, and what is kept beside its file.
struct Known<'a> {
    path: &'a Path,
    rig: Rig,
    history: Option<History>,
    placed: Option<Placed>,
}

impl<'a> Known<'a> {
    fn of((path, rig): (&'a Path, Rig), simulated: bool, console: &mut Console) -> Result<Self> {
        let history = history_of(path)?
            .filter(|h| h.is_of(&rig.summary()))
            .map(|h| by_today(h, path, &rig, console));
        let study = repeat_of(path, &rig.summary())?.for_kind(simulated);
        Ok(Known {
            path,
            rig,
            history,
            placed: study.told().map(|d| Placed {
                f0: d.f0.sd,
                q: d.q.sd,
                level_db: d.level_db.map(|l| l.sd),
                freedom: d.freedom as f64,
            }),
        })
    }
}

/// What hangs on the rig's witness, in farads; `None` where there is none.
fn witness_load(rig: &Rig) -> Option<f64> {
    let load = match &rig.witness.as_ref()?.load {
        Some(text) => Load::parse(text).ok()?.capacitance(),
        None => 0.0,
    };
    let of = |f: fn(&Input) -> Option<f64>| rig.input.as_ref().and_then(f).unwrap_or(0.0);
    Some(load + of(|i| i.capacitance_f) + of(|i| i.lead_capacitance_f))
}

/// Holds the changes against the rig's history of wax, and adds them to it where that is wanted: then the file that was written.
fn wax(
    rig_path: &Path,
    rig: &Rig,
    before: &[Record],
    keep: bool,
    document: &mut PottingDocument,
) -> Result<Option<PathBuf>> {
    let path = beside(rig_path, "wax.json");
    let read = || -> Result<WaxHistory> {
        if path.symlink_metadata().is_err() {
            return Ok(WaxHistory::new(&rig.name));
        }
        WaxHistory::parse(
            &path.display().to_string(),
            &fileio::read_limited(&path, outcome::MOST_BYTES)?,
        )
    };
    let own = rig.summary();
    if let Some(r) = before.iter().find(|r| !same_rig(&r.rig, &own)) {
        // Another rig's changes are no part of this one's history, nor held against it.
        if keep {
            return Err(Failure::new(
                format!("{} was measured on another rig than {}", r.pickup.name, rig.name),
                "give the rig it was measured on",
            ));
        }
        return Ok(None);
    }
    read()?.hold_against(document);
    if !keep {
        return Ok(None);
    }
    kept_with(rig_path, rig, document.simulated)?;
    fileio::alone(&path, || {
        let mut history = read()?;
        if history.keep(document) > 0 {
            fileio::write_atomically(&path, &outcome::again(&path, &history, "the history of wax")?)?;
            return Ok(Some(path.clone()));
        }
        Ok(None)
    })
}

/// Records that are named or whose place is, and those in folders of such folders.
fn found(words: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut out = Vec::new();
    for word in words {
        if !word.is_dir() || word.join("record.json").exists() {
            out.push(word.clone());
            continue;
        }
        let found = folders_below(word, |p| p.join("record.json").is_file())?;
        if found.is_empty() {
            return Err(Failure::new(
                format!("no record lies in {}", word.display()),
                "give a record, its folder, or a folder of such folders",
            ));
        }
        out.extend(found);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_between_the_sides_is_said() {
        let fixture = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/records/0.1.0");
        let on = |day: &str| {
            let mut record = crate::record::store::read(&fixture).unwrap();
            record.taken_at = format!("2026-01-{day}T10:00:00+01:00");
            vec![record]
        };
        let change = Change {
            what: "new lead".into(),
            at: "2026-01-05T09:30:00+00:00".into(),
            before: None,
        };
        let said = between(&on("05"), &on("06"), &change);
        assert!(said.is_some_and(|s| s.contains("new lead")));
        assert_eq!(between(&on("03"), &on("04"), &change), None);
        assert_eq!(between(&on("06"), &on("07"), &change), None);
    }
}
