//! What is known of a record's rig besides its file: how readings scatter as pickups are laid down anew and as days go by.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::asked::Asked;
use super::rig::{Placement, history_kept, history_of, repeat_of};
use crate::cli::console::Console;
use crate::cli::defaults::Defaults;
use crate::failure::Result;
use crate::record::identity::same_rig;
use crate::record::{Record, RigSummary};
use crate::rig::Rig;
use crate::shop::reading;
use crate::shop::witness::history::History;
use crate::shop::witness::repeat::RepeatDocument;

/// A rig, and what is kept beside its file: each read once, whatever it is asked for.
pub struct Beside {
    own: RigSummary,
    study: Result<Option<RepeatDocument>>,
    pub history: Result<Option<History>>,
}

impl Beside {
    pub fn of(rig: &Rig, file: &Path) -> Beside {
        let own = rig.summary();
        Beside {
            study: repeat_of(file, &own).map(Placement::told),
            history: history_of(file),
            own,
        }
    }

    /// Puts into the record what is known, if it is this rig's; what nobody measured stays as it was.
    fn put(&self, record: &mut Record) -> Result<()> {
        if !same_rig(&record.rig, &self.own) {
            return Ok(());
        }
        let simulated = record.is_simulated();
        let Some(r) = record.resonance.as_mut() else {
            return Ok(());
        };
        let study = self.study.as_ref().map_err(Clone::clone)?;
        if let Some(study) = study.as_ref().filter(|s| s.simulated == simulated) {
            r.u_lay = Some(reading::laying(study, r));
        }
        let history = self.history.as_ref().map_err(Clone::clone)?;
        let of_kind = |h: &&History| h.checks.iter().all(|c| c.simulated == simulated);
        if let Some(days) = history.as_ref().filter(of_kind).and_then(History::between_days) {
            r.u_day = Some(reading::days(&days, r));
        }
        Ok(())
    }

    /// The same of a new record, which stands whatever became of those files.
    pub fn put_or_note(&self, record: &mut Record) {
        if let Err(e) = self.put(record) {
            record
                .notes
                .push(format!("usual values for what laying a pickup down does: {}", e.what));
        }
    }
}

/// What is known of the rigs of records that are compared: of the one remembered, and of those that they were measured with.
pub struct Rigs {
    known: BTreeMap<PathBuf, Result<Beside>>,
    /// For each record, in order.
    files: Vec<Vec<PathBuf>>,
}

impl Rigs {
    /// `places`: where the records lie.
    pub fn of<'a>(places: impl Iterator<Item = &'a Path>, defaults: &Defaults) -> Rigs {
        let measured_with = |place: &Path| {
            let asked = Asked::read(place).ok().flatten();
            asked
                .and_then(|a| a.rig)
                .map(|r| PathBuf::from(r.file))
                .filter(|p| p.exists())
        };
        let files: Vec<Vec<PathBuf>> = places
            .map(|place| defaults.rig.clone().into_iter().chain(measured_with(place)).collect())
            .collect();
        let mut known = BTreeMap::new();
        for file in files.iter().flatten() {
            known
                .entry(file.clone())
                .or_insert_with(|| Ok(Beside::of(&Rig::read(file)?, file)));
        }
        Rigs { known, files }
    }

    /// Puts into each record what is known of its rig; what cannot be read is said once.
    pub fn put(&self, records: &mut [Record], console: &mut Console) {
        let mut told = Vec::new();
        for (record, files) in records.iter_mut().zip(&self.files) {
            for beside in files.iter().filter_map(|f| self.known.get(f)) {
                let ended = beside.as_ref().map_err(Clone::clone).and_then(|b| b.put(record));
                if let Err(e) = ended
                    && !told.contains(&e)
                {
                    console.remark(&format!("usual values for what the rig does: {e}"));
                    told.push(e);
                }
            }
        }
    }

    /// All histories, and those that a change of the bench put aside, as far as they can be read.
    pub fn histories(self) -> Vec<History> {
        let mut out = Vec::new();
        for (file, beside) in self.known {
            let mut next = beside.ok().and_then(|b| b.history.ok().flatten());
            while let Some(history) = next.take() {
                let before = history.changed.as_ref().and_then(|c| c.before.clone());
                // A file that names itself would be read for ever.
                if let Some(name) = before.filter(|_| out.len() < 1000) {
                    next = history_kept(&file, &name).ok().flatten();
                }
                out.push(history);
            }
        }
        out
    }
}
