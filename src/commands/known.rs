//! What is known of a record's rig besides its file: read from what is kept beside that, and put into records.

use std::path::Path;

use super::rig::{history_kept, history_of, study_of};
use crate::failure::Failure;
use crate::record::Record;
use crate::rig::Rig;
use crate::shop::known::Known;
use crate::shop::witness::eras::Eras;

/// What is kept beside a rig's file, and why not all of it could be read.
pub fn beside(rig: &Rig, file: &Path) -> (Known, Vec<Failure>) {
    let mut failures = Vec::new();
    let own = rig.summary();
    let study = study_of(file, &own).map_err(|e| failures.push(e)).unwrap_or_default();
    let history = history_of(file).map_err(|e| failures.push(e)).unwrap_or_default();
    let history = history.filter(|h| h.is_of(&own));
    let eras = Eras::of(history, |name| history_kept(file, name).ok().flatten());
    (Known::of(rig, study, eras), failures)
}

/// Puts into a new record what is known of its rig: the record stands whatever became of those files.
pub fn put_or_note(rig: &Rig, file: &Path, record: &mut Record) -> Known {
    let (known, failures) = beside(rig, file);
    known.put(record, None);
    let notes = failures
        .iter()
        .map(|e| format!("usual values for what the rig does: {}", e.what));
    record.notes.extend(notes);
    known
}
