//! Readings that are asked for, with what is known of their rigs today.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::asked::Asked;
use super::known::beside;
use super::wanted::Placed;
use super::{anew, wanted};
use crate::cli::console::Console;
use crate::cli::defaults::Defaults;
use crate::failure::Result;
use crate::record::Record;
use crate::rig::Rig;
use crate::shop::known::Known;

/// Readings, by path or pickup's name: see [`known_of`].
pub fn known(words: &[PathBuf], today: Option<&Rig>, console: &mut Console) -> Result<(Vec<Record>, Vec<Known>)> {
    known_of(&wanted::all(words)?, today, console)
}

/// Readings by what is known of their rigs today, and that of those rigs: of the one remembered, and of those that they were
/// measured with. What cannot be read is said once.
pub fn known_of(placed: &[Placed], today: Option<&Rig>, console: &mut Console) -> Result<(Vec<Record>, Vec<Known>)> {
    let mut records = anew::by_today(placed, today, console);
    let remembered = Defaults::read_from(Path::new("."))?.rig;
    let measured_with = |place: &Path| {
        let asked = Asked::read(place).ok().flatten()?;
        Some(PathBuf::from(asked.rig?.file)).filter(|p| p.exists())
    };
    let (mut known, mut failures) = (BTreeMap::new(), Vec::new());
    for (record, (place, _)) in records.iter_mut().zip(placed) {
        for file in remembered.clone().into_iter().chain(measured_with(place)) {
            let of_rig = known.entry(file.clone()).or_insert_with(|| match Rig::read(&file) {
                Ok(rig) => {
                    let (known, unread) = beside(&rig, &file);
                    failures.extend(unread);
                    Some(known)
                }
                Err(e) => {
                    failures.push(e);
                    None
                }
            });
            if let Some(known) = of_rig {
                known.put(record, None);
            }
        }
    }
    for e in failures {
        console.remark(&format!("usual values for what the rig does: {e}"));
    }
    Ok((records, known.into_values().flatten().collect()))
}
