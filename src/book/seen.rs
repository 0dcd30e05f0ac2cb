//! What the index keeps of a reading: read from its record without the curve, and from the notes beside it.

use std::path::Path;

use serde::Deserialize;

use super::row::Row;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::fileio;
use crate::record::when::moment;
use crate::record::{CaptureSummary, LoadSummary, Pickup, Resonance, Verdict, is_simulated_note, notes, ohms};

/// Of a record, those fields that are asked for; all others are passed over.
#[derive(Debug, Deserialize)]
struct Lean {
    schema: String,
    id: String,
    taken_at: String,
    pickup: Pickup,
    rig: Rig,
    load: Option<LoadSummary>,
    capture: CaptureSummary,
    resonance: Option<Resonance>,
    verdict: Verdict,
    #[serde(default)]
    notes: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct Rig {
    name: Option<String>,
}

/// The record in a folder.
pub fn read(folder: &Path) -> Result<Row> {
    let path = folder.join("record.json");
    let bytes = fileio::read_limited(&path, fileio::DOCUMENT_BYTES)?;
    let lean = parse(&bytes, &path)?;
    let noted = notes::beside(folder, &lean.id)?;
    let second = moment(&lean.taken_at).map_or(0, |t| t.as_second());
    let figure = |e: Option<Estimate>| e.map(|e| (e.value, e.u));
    let r = lean.resonance.filter(|_| lean.verdict != Verdict::Rejected);
    let r = r.as_ref();
    Ok(Row {
        id: lean.id,
        over: lean.pickup.over.clone(),
        stage: lean.pickup.stage.as_ref().map(|s| s.text().to_owned()),
        by: lean.pickup.by.clone(),
        taken_at: lean.taken_at,
        rig: lean.rig.name,
        load: lean.load.map(|l| l.text),
        channels: lean.capture.channels,
        f0_hz: figure(r.map(|r| r.f0_hz)),
        q: figure(r.map(|r| r.q)),
        peak_hz: figure(r.and_then(|r| r.peak_hz)),
        peak_db: figure(r.and_then(|r| r.peak_db)),
        level_db: figure(r.and_then(|r| r.level_db)),
        ohm20: ohms::of(&lean.pickup, &noted).last().map(ohms::Ohms::at_20),
        verdict: Some(lean.verdict),
        simulated: lean.capture.simulated
            || lean.capture.source == "sim"
            || lean.notes.iter().any(|n| is_simulated_note(n)),
        seq: sequence(second, &fileio::name_of(folder)),
        name: lean.pickup.name,
        ..Row::default()
    })
}

/// Readings in order of their time; a number that was counted up tells two of one second apart.
pub fn sequence(second: i64, folder: &str) -> i64 {
    let number: i64 = folder.parse().unwrap_or(0);
    second.saturating_mul(10_000).saturating_add(number.clamp(0, 9_999))
}

fn parse(bytes: &[u8], path: &Path) -> Result<Lean> {
    // The whole reader has the words for whatever is wrong.
    let Ok(lean) = serde_json::from_slice::<Lean>(bytes) else {
        return Err(match crate::record::store::parse(bytes, path) {
            Err(why) => why,
            Ok(_) => Failure::new(format!("{} cannot be read", path.display()), "measure again"),
        });
    };
    if lean.schema != crate::record::SCHEMA || !lean.is_sound() {
        crate::record::store::parse(bytes, path)?;
    }
    Ok(lean)
}

impl Lean {
    fn is_sound(&self) -> bool {
        let Some(r) = &self.resonance else { return true };
        let all = [Some(r.f0_hz), Some(r.q), r.peak_hz, r.peak_db, r.level_db];
        let sound = |e: Estimate| Estimate::new(e.value, e.u, e.u_noise).is_some() && e.value.abs() < 1e100;
        all.into_iter().flatten().all(sound)
    }
}
