//! A lot begun, or gone on with.

use std::fs::File;

use super::Lot;
use crate::book::look;
use crate::cli::args::TrayArgs;
use crate::cli::context::{Fresh, now};
use crate::commands::outcome::MOST_BYTES;
use crate::commands::prelude::*;
use crate::commands::setting::{self, Set};
use crate::commands::sound::Sources;
use crate::commands::{known, sound};
use crate::fileio;
use crate::record::meters::Kind;
use crate::report::{judged_words, rig_words};
use crate::rig::Rig;
use crate::shop::known::Known;
use crate::shop::lot::{TRAY, Tray};
use crate::shop::standard::Standard;

impl<'a> Lot<'a> {
    pub(super) fn open(args: &'a TrayArgs) -> Result<Self> {
        let defaults = Defaults::here()?;
        let mut fresh = Fresh::default();
        let notebook = args.folder.clone().or_else(|| defaults.folder.clone());
        let notebook = fresh.ready(&notebook.unwrap_or_else(|| PathBuf::from(".")))?;
        let folder = fresh.ready(&notebook.join(args.lot()))?;
        let standard = args.standard.as_deref().map(|path| {
            let text = fileio::read_text_limited(path, MOST_BYTES)?;
            Standard::parse(&path.display().to_string(), &text)
        });
        let standard = standard.transpose()?;
        let path = folder.join(TRAY);
        let held = held(args.lot(), &path)?;
        let mut remarks = Vec::new();
        let (mut tray, standard_anew) = match path.symlink_metadata().is_ok() {
            true => begun(args, &path, standard, &mut remarks)?,
            false => (Tray::new(args.lot(), standard, args.first), false),
        };
        let usual = || {
            tray.entries
                .is_empty()
                .then(|| defaults.columns.clone().unwrap_or_default())
        };
        if let Some(columns) = args.columns.clone().or_else(usual) {
            tray.columns = columns;
        }
        let begun = tray.setting.as_ref().filter(|_| tray.standing().next().is_some());
        let mut set = setting::of(&args.on, &defaults, begun, &format!("the lot {}", args.lot()))?;
        set.about.life = args.life.clone();
        tray.setting = Some(set.setting.clone());
        let known = told_of_rig(&set, args.source.is_sim(), tray.standard.is_some(), &mut remarks);
        remarks.extend(
            tray.standard
                .iter()
                .flat_map(|s| open_questions(s, &tray, &set, &known)),
        );
        let mut lot = Lot {
            args,
            folder,
            tray,
            rig: set.bench.rig,
            known,
            standard_anew,
            about: set.about,
            remarks,
            said: Vec::new(),
            sources: Sources::of(&args.source)?,
            _fresh: fresh,
            _held: held,
        };
        for name in lot.tray.entries.iter().filter_map(|e| e.record.as_ref()) {
            lot.own(name)?;
        }
        lot.agree()?;
        Ok(lot)
    }

    /// What is to be known before the first one is laid down.
    pub(super) fn opening(&self, console: &mut Console) {
        sound::opening(&self.args.source, console);
        let of_bench = self.tray.standard.as_ref().is_some_and(|s| s.simulated);
        if of_bench && !self.args.source.is_sim() {
            console.remark("The standard is of simulated pickups of the built-in bench.");
        }
        if self.tray.columns.iter().any(|c| c.kind == Kind::Gauss) {
            console.remark("Strong magnets: implants, cards and watches keep away.");
        }
        for r in &self.remarks {
            console.remark(r);
        }
    }
}

/// The lot's file, for this tray alone: two at one lot would each write over what the other has measured.
fn held(lot: &str, path: &Path) -> Result<File> {
    if path.is_symlink() {
        return Err(Failure::new(
            format!("{} is a link to another lot's file, or to anything", path.display()),
            "put a copy in its place, or give the lot another name",
        ));
    }
    fileio::hold(path)?.ok_or_else(|| {
        Failure::new(
            format!("the lot {lot} is on another tray at this moment"),
            "end that one with q, or give this lot another name",
        )
    })
}

/// The lot as it was left, and whether its standard was made anew since.
fn begun(args: &TrayArgs, path: &Path, standard: Option<Standard>, remarks: &mut Vec<String>) -> Result<(Tray, bool)> {
    let lot = args.lot();
    let mut tray = look::tray(path)?;
    let mut standard_anew = false;
    if let Some(given) = standard.filter(|given| tray.standard.as_ref() != Some(given)) {
        standard_anew = tray.standard.as_ref().is_some_and(|old| given.is_made_anew(old));
        if !tray.entries.is_empty() && !standard_anew {
            return Err(Failure::new(
                format!("the lot {lot} was begun with another standard"),
                "leave --standard out to go on with that one, or give the lot another name",
            ));
        }
        tray.standard = Some(given);
    }
    let simulated = args.source.is_sim();
    if tray.standing().any(|e| e.record.is_some() && e.simulated != simulated) {
        let kind = if simulated { "real" } else { "simulated" };
        return Err(Failure::new(
            format!("the lot {lot} holds {kind} takes"),
            "simulated and real ones are never one lot: give this one another name",
        ));
    }
    if tray.lot != lot {
        remarks.push(format!(
            "This folder is the lot {}'s, copied or renamed: from now on it is the lot {lot}, and what was measured keeps its name.",
            tray.lot
        ));
        tray.copied_from = Some(std::mem::replace(&mut tray.lot, lot.to_owned()));
    }
    Ok((tray, standard_anew))
}

/// What lies beside the rig's file: what it does to readings, and whether the last check was good. What cannot be read is said, and
/// stops nobody from working.
fn told_of_rig(set: &Set, simulated: bool, judging: bool, remarks: &mut Vec<String>) -> Known {
    let file = set.about.on.rig.as_deref().zip(set.bench.rig.as_ref());
    let (known, failures) = file.map_or_else(Default::default, |(path, rig)| known::beside(rig, path));
    remarks.extend(failures.iter().map(ToString::to_string));
    let unstudied = rig_words::unstudied(&known, simulated).filter(|_| judging);
    remarks.extend(unstudied.map(str::to_owned));
    let last = known.eras.newest().and_then(|h| h.checks.last());
    if last.is_some_and(|c| !c.go && c.simulated == simulated) {
        remarks.push("The rig's last check was NO GO: see to that first, `coilwright rig check`.".into());
    }
    known
}

/// What would leave every verdict open, or a part of it.
fn open_questions(standard: &Standard, tray: &Tray, set: &Set, known: &Known) -> Vec<String> {
    let mut out = Vec::new();
    let summary = set.bench.rig.as_ref().map(Rig::summary).unwrap_or_default();
    let changed = standard.changed(&known.eras, &summary, &now());
    let elsewhere = standard.elsewhere(&summary, set.setting.load.as_deref());
    let both = changed.into_iter().chain(elsewhere);
    out.extend(both.map(|e| format!("No verdict: {}.", judged_words::elsewhere(&e))));
    let other = standard.rig_hash.is_some() && standard.rig_hash != set.setting.rig_hash;
    if standard.is_of(&summary) && standard.entered.is_empty() && other {
        out.push(
            "What the rig's file said when the standard was made nobody knows; it was something else than today. If the reference, \
             the exciter or the inputs' delay or gain were changed, make the standard anew."
                .into(),
        );
    }
    if let Some(rig) = standard.rig.as_ref().filter(|_| !standard.is_of(&summary)) {
        out.push(format!(
            "The standard is of another rig, {rig}: what this one's values leave open counts in every verdict."
        ));
    }
    if standard.r20_allow.is_some() {
        let meter = standard.ohmmeter.as_deref().unwrap_or_default();
        if !tray.columns.iter().any(|c| standard.judges(c)) {
            out.push(format!(
                "The standard judges ohms by {meter}, and nothing asks for them: --columns \"ohms by {meter}\"."
            ));
        } else if set.bench.told.temperature_c.is_none() {
            out.push("Ohms are judged as they are read, not at 20 degC: --room 21C tells the room.".into());
        }
    }
    out
}
