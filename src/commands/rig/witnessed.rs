//! The checks of a rig by what its file says today.

use crate::cli::context::folders_below;
use crate::commands::anew::{Became, Budget};
use crate::commands::known;
use crate::commands::prelude::*;
use crate::commands::wanted::Placed;
use crate::fileio;
use crate::record::identity::apart_from;
use crate::record::{Record, store};
use crate::rig::Rig;
use crate::shop::known::Known;
use crate::shop::witness::history::{Check, History};

/// What is kept beside a rig's file, all of it, its checks by what the file says today.
pub fn renewed(rig: &Rig, file: &Path, console: &mut Console) -> Result<Known> {
    let (mut known, failures) = known::beside(rig, file);
    if let Some(e) = failures.into_iter().next() {
        return Err(e);
    }
    known.eras.renew(|h| by_today(h, file, rig, console));
    Ok(known)
}

/// A history by what the rig's file says today: checks that would be read otherwise by now are read again, in memory, or left out.
pub fn by_today(history: History, path: &Path, rig: &Rig, console: &mut Console) -> History {
    let today = rig.summary();
    let all = history.checks.len();
    let unchanged = history.hash == today.chain_hash();
    let (mut budget, mut unknown, mut left_out) = (Budget::default(), 0, Vec::new());
    let mut records = Witnessed::new(path, &history);
    let mut checks = Vec::new();
    for check in &history.checks {
        let told = !check.entered.is_empty();
        if (told && apart_from(&check.entered, &today).is_empty()) || (!told && unchanged) {
            checks.push(check.clone());
            continue;
        }
        let found = records.of(check);
        match found.map(|(folder, record)| budget.read(&folder, record, rig)) {
            Some(read) if read.became == Became::Same => checks.push(check.clone()),
            Some(read) => match Some(&read.record)
                .filter(|_| read.became == Became::Anew)
                .map(Check::of)
            {
                Some(Ok(new)) => checks.push(Check {
                    go: check.go,
                    at: check.at.clone(),
                    ..new
                }),
                _ => left_out.extend(read.keys),
            },
            None if told => left_out.extend(apart_from(&check.entered, &today)),
            None => {
                unknown += 1;
                checks.push(check.clone());
            }
        }
    }
    if unknown > 0 {
        console.with_result(format!(
            "Of {unknown} checks nobody knows what the rig's file said then: they are taken as they are."
        ));
    }
    if checks.len() < all {
        left_out.sort();
        left_out.dedup();
        let (less, keys) = (all - checks.len(), left_out.join(", "));
        console.with_result(format!(
            "{less} of {all} checks are left out: {keys} is not what it was for them, and their takes are gone, or are more than can \
             be read again for one question."
        ));
    }
    History { checks, ..history }
}

/// Where the records of checks lie.
struct Witnessed {
    rig: PathBuf,
    /// Of the witness, where checks of version 0.1.0 do not say it.
    folder: PathBuf,
    found: Option<Vec<Placed>>,
}

impl Witnessed {
    fn new(rig: &Path, history: &History) -> Self {
        let folder = Defaults::here().ok().and_then(|d| d.folder);
        Witnessed {
            rig: fileio::real(rig),
            folder: folder.unwrap_or_default().join(&history.witness),
            found: None,
        }
    }

    fn of(&mut self, check: &Check) -> Option<(PathBuf, Record)> {
        let own = |record: &Record| record.id == check.id;
        if let Some(folder) = &check.folder {
            let folder = self.rig.parent()?.join(folder);
            return Some((folder.clone(), store::read(&folder).ok().filter(own)?));
        }
        let list = || {
            let folders = folders_below(&self.folder, |p| p.join("record.json").is_file()).unwrap_or_default();
            let read = |f: PathBuf| Some((f.clone(), store::read(&f).ok()?));
            folders.into_iter().filter_map(read).collect()
        };
        let found = self.found.get_or_insert_with(list);
        found.iter().find(|(_, record)| own(record)).cloned()
    }
}
