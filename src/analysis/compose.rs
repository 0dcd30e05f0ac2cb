//! Puts a record together from an analysis and what is known around it.

use sha2::{Digest, Sha256};

use crate::analysis::Analysis;
use crate::capture::Take;
use crate::copper;
use crate::record::{Drive, LoadSummary, Pickup, Record, RigSummary, SCHEMA};
use crate::stimulus::{Description, Shape};

/// What surrounds a measurement, besides the take itself.
#[derive(Debug, Clone, Default)]
pub struct Context {
    pub pickup: Pickup,
    pub rig: RigSummary,
    pub load: Option<LoadSummary>,
    pub drive: Option<Drive>,
    /// RFC 3339 with offset.
    pub taken_at: String,
    /// "live", "sim" or "file".
    pub source: String,
    pub device: Option<String>,
    /// File name of the take as the record names it.
    pub take: Option<String>,
    pub notes: Vec<String>,
}

impl From<&Description> for Drive {
    fn from(d: &Description) -> Self {
        let s = &d.settings;
        Drive {
            shape: match s.shape {
                Shape::Sweep => "sweep".into(),
                Shape::Noise => "noise".into(),
            },
            rate_hz: s.rate_hz,
            seconds: s.seconds,
            from_hz: s.from_hz,
            to_hz: s.to_hz,
            level_dbfs: s.level_dbfs,
            seed: (s.shape == Shape::Noise).then_some(s.seed),
        }
    }
}

/// The record of one take.
pub fn record(take: &Take, analysis: Analysis, context: Context) -> Record {
    let mut pickup = context.pickup;
    pickup.r20_ohm = copper::r20(pickup.r_ohm, pickup.temperature_c);
    let mut capture = analysis.capture;
    capture.source = context.source;
    capture.device = context.device;
    capture.take = context.take;
    capture.simulated = take.provenance.simulated;
    let mut notes = context.notes;
    if take.provenance.simulated {
        notes.insert(0, "simulated".into());
    }
    for n in analysis.notes {
        if !notes.contains(&n) {
            notes.push(n);
        }
    }
    Record {
        schema: SCHEMA.into(),
        id: identity(take, &context.taken_at, &pickup.name),
        taken_at: context.taken_at,
        tool_version: env!("COILWRIGHT_VERSION").into(),
        pickup,
        rig: context.rig,
        load: context.load,
        drive: context.drive,
        capture,
        resonance: analysis.resonance,
        fit: analysis.fit,
        budget: analysis.budget,
        curve: analysis.curve,
        verdict: analysis.verdict,
        findings: analysis.findings,
        notes,
        repeats: Vec::new(),
        noted: Vec::new(),
        knock: None,
    }
}

/// The same take under the same name has the same identity, whenever it is analysed.
pub fn identity(take: &Take, taken_at: &str, name: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(take.rate_hz.to_le_bytes());
    // In pieces of some size: called for each sample, the hash would take longer than the transforms.
    let mut piece = [0u8; 4096];
    for channel in std::iter::once(&take.pickup).chain(&take.reference) {
        for samples in channel.chunks(1024) {
            for (bytes, x) in piece.chunks_exact_mut(4).zip(samples) {
                bytes.copy_from_slice(&x.to_le_bytes());
            }
            hash.update(&piece[..4 * samples.len()]);
        }
    }
    hash.update(taken_at.as_bytes());
    hash.update(name.as_bytes());
    hash.finalize().iter().take(8).map(|b| format!("{b:02x}")).collect()
}
