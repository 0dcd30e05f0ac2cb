//! What the index keeps of a reading: read from its record without the curve, and from the notes beside it.

use std::path::Path;

use serde::Deserialize;

use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::fileio;
use crate::record::when::moment;
use crate::record::{Definition, LoadSummary, Pickup, Verdict, notes, ohms};

/// Of a record, those fields that are asked for; all others are passed over.
#[derive(Debug, Deserialize)]
struct Lean {
    schema: String,
    id: String,
    taken_at: String,
    pickup: Pickup,
    rig: Rig,
    load: Option<LoadSummary>,
    capture: Capture,
    resonance: Option<Resonance>,
    verdict: Verdict,
    #[serde(default)]
    notes: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct Rig {
    name: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Capture {
    channels: u32,
    #[serde(default)]
    source: String,
    #[serde(default)]
    simulated: bool,
    #[serde(default)]
    take: Option<String>,
}

#[derive(Debug, Deserialize)]
struct Resonance {
    f0_hz: Estimate,
    q: Estimate,
    peak_hz: Option<Estimate>,
    peak_db: Option<Estimate>,
    #[serde(default)]
    level_db: Option<Estimate>,
    #[serde(default)]
    definition: Definition,
}

/// A figure and its standard uncertainty.
pub type Figure = Option<(f64, f64)>;

/// A reading as lists have it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Seen {
    pub id: String,
    pub taken_at: String,
    /// Second since 1970; 0 where the time cannot be read.
    pub second: i64,
    pub pickup: Pickup,
    pub rig: Option<String>,
    pub load: Option<String>,
    pub channels: u32,
    pub f0_hz: Figure,
    pub q: Figure,
    pub peak_hz: Figure,
    pub peak_db: Figure,
    pub level_db: Figure,
    pub ohm20: Option<f64>,
    pub verdict: Option<Verdict>,
    pub definition: Definition,
    pub simulated: bool,
    /// The recording that it was read from, in its folder.
    pub take: Option<String>,
}

/// The record in a folder.
pub fn read(folder: &Path) -> Result<Seen> {
    let path = folder.join("record.json");
    let bytes = fileio::read_limited(&path, fileio::DOCUMENT_BYTES)?;
    let seen = parse(&bytes, &path)?;
    let noted = notes::beside(folder, &seen.id)?;
    Ok(Seen {
        ohm20: ohms::of(&seen.pickup, &noted).last().map(ohms::Ohms::at_20),
        ..seen
    })
}

fn parse(bytes: &[u8], path: &Path) -> Result<Seen> {
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
    let simulated = lean.capture.simulated || lean.capture.source == "sim" || lean.noted_simulated();
    let figure = |e: Option<Estimate>| e.map(|e| (e.value, e.u));
    let r = lean.resonance.filter(|_| lean.verdict != Verdict::Rejected);
    let r = r.as_ref();
    Ok(Seen {
        second: moment(&lean.taken_at).map_or(0, |t| t.as_second()),
        rig: lean.rig.name,
        load: lean.load.map(|l| l.text),
        channels: lean.capture.channels,
        f0_hz: figure(r.map(|r| r.f0_hz)),
        q: figure(r.map(|r| r.q)),
        peak_hz: figure(r.and_then(|r| r.peak_hz)),
        peak_db: figure(r.and_then(|r| r.peak_db)),
        level_db: figure(r.and_then(|r| r.level_db)),
        definition: r.map(|r| r.definition).unwrap_or_default(),
        ohm20: None,
        verdict: Some(lean.verdict),
        id: lean.id,
        taken_at: lean.taken_at,
        pickup: lean.pickup,
        simulated,
        take: lean.capture.take,
    })
}

impl Lean {
    fn noted_simulated(&self) -> bool {
        let marked = |n: &String| n.trim_start().to_lowercase().starts_with("simulated");
        self.notes.iter().any(marked)
    }

    fn is_sound(&self) -> bool {
        let Some(r) = &self.resonance else { return true };
        let all = [Some(r.f0_hz), Some(r.q), r.peak_hz, r.peak_db, r.level_db];
        let sound = |e: Estimate| Estimate::new(e.value, e.u, e.u_noise).is_some() && e.value.abs() < 1e100;
        all.into_iter().flatten().all(sound)
    }
}
