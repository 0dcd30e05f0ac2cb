//! What is known of a record's rig besides its file: how readings scatter as pickups are laid down anew and as days go by.

use std::path::{Path, PathBuf};

use super::asked::Asked;
use super::rig::{history_kept, history_of, repeat_of};
use super::wanted;
use crate::cli::console::Console;
use crate::cli::defaults::Defaults;
use crate::failure::Result;
use crate::record::Record;
use crate::record::identity::same_rig;
use crate::rig::Rig;
use crate::shop::reading;
use crate::shop::witness::history::History;

/// Puts into the record what is kept beside this rig's file, if it is the record's rig; what nobody measured stays as it was.
pub fn put(record: &mut Record, rig: &Path) -> Result<()> {
    if !same_rig(&record.rig, &Rig::read(rig)?.summary()) {
        return Ok(());
    }
    let simulated = record.is_simulated();
    let Some(r) = record.resonance.as_mut() else {
        return Ok(());
    };
    if let Some(study) = repeat_of(rig)?.for_kind(simulated).told() {
        r.u_lay = Some(reading::laying(&study, r));
    }
    let of_kind = history_of(rig)?.filter(|h| h.checks.iter().all(|c| c.simulated == simulated));
    if let Some(days) = of_kind.and_then(|h| h.between_days()) {
        r.u_day = Some(reading::days(&days, r));
    }
    Ok(())
}

/// The same of a new record, which stands whatever became of those files.
pub fn put_or_note(record: &mut Record, rig: &Path) {
    if let Err(e) = put(record, rig) {
        record
            .notes
            .push(format!("usual values for what laying a pickup down does: {}", e.what));
    }
}

/// The rigs that are remembered, or that a record was measured with.
fn rigs_of(word: &Path, defaults: &Defaults) -> Vec<PathBuf> {
    let own = wanted::placed(word).and_then(|(place, _)| Asked::read(&place));
    let own = own.ok().flatten().and_then(|a| a.rig).map(|r| PathBuf::from(r.file));
    defaults
        .rig
        .clone()
        .into_iter()
        .chain(own.filter(|p| p.exists()))
        .collect()
}

/// The histories of these records' rigs, and those that a change of the bench put aside, as far as they can be read.
pub fn histories(words: &[PathBuf], defaults: &Defaults) -> Vec<History> {
    let mut rigs: Vec<PathBuf> = words.iter().flat_map(|w| rigs_of(w, defaults)).collect();
    rigs.sort();
    rigs.dedup();
    let mut out = Vec::new();
    for rig in &rigs {
        let mut next = history_of(rig).ok().flatten();
        while let Some(history) = next.take() {
            let before = history.changed.as_ref().and_then(|c| c.before.clone());
            // A file that names itself would be read for ever.
            if let Some(name) = before.filter(|_| out.len() < 1000) {
                next = history_kept(rig, &name).ok().flatten();
            }
            out.push(history);
        }
    }
    out
}

/// The same of records that are compared: by the rig remembered, or the one that a record was measured with.
pub fn put_all(records: &mut [Record], words: &[PathBuf], defaults: &Defaults, console: &mut Console) {
    let mut told = Vec::new();
    for (record, word) in records.iter_mut().zip(words) {
        for rig in rigs_of(word, defaults) {
            if let Err(e) = put(record, &rig)
                && !told.contains(&e)
            {
                console.remark(&format!("usual values for what the rig does: {e}"));
                told.push(e);
            }
        }
    }
}
