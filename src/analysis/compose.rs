//! Puts a record together from an analysis and what is known around it.

use sha2::{Digest, Sha256};

use crate::analysis::Analysis;
use crate::capture::Take;
use crate::copper;
use crate::record::{CaptureSummary, Drive, Pickup, Record, SCHEMA};
use crate::stimulus::{Description, Shape};

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

/// The record of one take; `around`: what is known besides the take itself.
pub fn record(take: &Take, analysis: Analysis, around: Record) -> Record {
    let simulated = take.provenance.simulated;
    let mut notes = around.notes;
    if simulated {
        notes.insert(0, "simulated".into());
    }
    for n in analysis.notes {
        if !notes.contains(&n) {
            notes.push(n);
        }
    }
    Record {
        schema: SCHEMA.into(),
        id: identity(take, &around.taken_at, &around.pickup.name),
        tool_version: env!("COILWRIGHT_VERSION").into(),
        pickup: Pickup {
            r20_ohm: copper::r20(around.pickup.r_ohm, around.pickup.temperature_c),
            ..around.pickup
        },
        capture: CaptureSummary {
            source: around.capture.source,
            device: around.capture.device,
            take: around.capture.take,
            simulated,
            ..analysis.capture
        },
        resonance: analysis.resonance,
        fit: analysis.fit,
        budget: analysis.budget,
        curve: analysis.curve,
        verdict: analysis.verdict,
        findings: analysis.findings,
        notes,
        ..around
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
