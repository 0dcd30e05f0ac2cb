//! Readings that are asked for, with what is known of their rigs today.

use std::collections::BTreeMap;

use super::asked::Asked;
use super::known::beside;
use super::wanted::Placed;
use super::{anew, wanted};
use crate::commands::prelude::*;
use crate::record::Record;
use crate::rig::Rig;
use crate::shop::difference::How;

/// Readings, by path or pickup's name: see [`known_of`].
pub fn known(words: &[PathBuf], console: &mut Console) -> Result<(Vec<Record>, How)> {
    known_of(&wanted::all(words)?, console)
}

/// Those that could be read, each with its place in a list.
pub fn numbered(list: Vec<(usize, Placed)>, console: &mut Console) -> Result<(Vec<(usize, Record)>, How)> {
    let (places, placed): (Vec<usize>, Vec<Placed>) = list.into_iter().unzip();
    let (records, how) = known_of(&placed, console)?;
    Ok((places.into_iter().zip(records).collect(), how))
}

/// Readings by what is known of their rigs today, and how they are held against each other by that: what is known of the rig
/// remembered, and of those that they were measured with. What cannot be read is said once.
pub fn known_of(placed: &[Placed], console: &mut Console) -> Result<(Vec<Record>, How)> {
    let mut records = anew::by_today(placed, anew::today().as_ref(), console);
    let defaults = Defaults::here()?;
    let measured_with = |place: &Path| {
        let asked = Asked::read(place).ok().flatten()?;
        Some(PathBuf::from(asked.rig?.file)).filter(|p| p.exists())
    };
    let (mut known, mut failures) = (BTreeMap::new(), Vec::new());
    for (record, (place, _)) in records.iter_mut().zip(placed) {
        for file in defaults.rig.clone().into_iter().chain(measured_with(place)) {
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
    let how = How {
        matters: defaults.matters(),
        in_place: false,
        known: known.into_values().flatten().collect(),
    };
    Ok((records, how))
}
