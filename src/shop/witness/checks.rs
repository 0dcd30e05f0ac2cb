//! Documents of the rig: what it is, and a check of it.

use serde::Serialize;

use super::history::{BASELINE, Change, Check, History, Quantity};
use super::judging::{Charted, Judgement, Stepped, Unjudged};
use crate::estimate::Estimate;
use crate::rig::Rig;
use crate::shop::reading::Shown;

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RigDocument {
    pub schema: String,
    pub name: String,
    pub unit: Option<String>,
    pub hash: String,
    /// Sentences.
    pub words: Vec<String>,
    /// What is not stated, and what is assumed then.
    pub open: Vec<String>,
    /// (what, in words)
    pub pack: Vec<(String, String)>,
    pub witness: Option<String>,
    pub checks: usize,
    pub last_good: Option<String>,
    /// What was changed on the bench before these checks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub changed: Option<Change>,
}

impl RigDocument {
    /// `words` tell what the file says.
    pub fn of(rig: &Rig, history: Option<&History>, words: Vec<String>) -> Self {
        let parts = [
            "interface",
            "exciter",
            "stop",
            "box",
            "leads",
            "witness",
            "meters",
            "other",
        ];
        let packed = |key: &str| {
            let what = if key == "stop" { "height stop" } else { key };
            Some((what.to_owned(), rig.pack.as_ref()?.get(key)?.clone()))
        };
        RigDocument {
            schema: "coilwright/rig/1".into(),
            name: rig.name.clone(),
            unit: rig.unit.clone(),
            hash: rig.content_hash().into(),
            words,
            open: rig.notes(false),
            pack: parts.into_iter().filter_map(packed).collect(),
            witness: rig.witness.as_ref().map(|w| w.name.clone()),
            checks: history.map_or(0, |h| h.checks.len()),
            last_good: history.and_then(|h| h.good().last()).map(|c| c.taken_at.clone()),
            changed: history.and_then(|h| h.changed.clone()),
        }
    }
}

/// What of a witness is shown; no peak where it has none.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct WitnessShown {
    pub peak: Option<Shown>,
    pub f0: Shown,
    pub q: Shown,
}

/// A check of the rig: `coilwright/check/1`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckDocument {
    pub schema: String,
    pub rig: String,
    pub witness: String,
    pub taken_at: String,
    /// Where, if not at home.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// "go", "no-go", or "baseline" of the first check, which there is nothing to hold against.
    pub verdict: String,
    /// The limits stand on fewer than `baseline_needed` good checks, and on what is known of such rigs.
    pub provisional: bool,
    /// Good checks before this one, and how many make a baseline.
    pub baseline: usize,
    pub baseline_needed: usize,
    /// Null where the witness has none.
    pub peak_hz: Option<Estimate>,
    pub f0_hz: Estimate,
    pub q: Estimate,
    pub level_db: Option<Estimate>,
    /// Peak, f0 and Q with the interval that is shown: of a witness that is laid down anew for each check, that too is in it.
    pub shown: WitnessShown,
    pub clock_ppm: Option<f64>,
    pub quantities: Vec<QuantityFound>,
    /// What has no chart yet, or is not told by this take, with how many good checks know it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub unjudged: Vec<Unjudged>,
    pub turned: bool,
    pub noisy: bool,
    /// A step among the first checks; null where there is none.
    pub stepped: Option<Stepped>,
    /// What it looks like, and what to look at.
    pub advice: Vec<String>,
    /// Made by the built-in bench.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct QuantityFound {
    /// Of f0 and q differences of natural logarithms, else dB.
    pub quantity: Quantity,
    /// From the baseline's centre.
    pub off: f64,
    pub limit: f64,
    /// Moving average from the centre, and its limit; null where it is not averaged.
    pub average_off: Option<f64>,
    pub average_limit: Option<f64>,
    /// "within", "jump" or "drift".
    pub state: String,
}

impl QuantityFound {
    fn of(c: &Charted) -> Self {
        QuantityFound {
            quantity: c.quantity,
            off: c.off(),
            limit: c.half,
            average_off: c.average.map(|a| a.0 - c.centre),
            average_limit: c.average.map(|a| a.1),
            state: match (c.jumped(), c.drifted()) {
                (true, _) => "jump",
                (false, true) => "drift",
                _ => "within",
            }
            .into(),
        }
    }
}

impl CheckDocument {
    /// `advice` says what it looks like.
    pub fn of(
        history: &History,
        check: &Check,
        judgement: &Judgement,
        shown: WitnessShown,
        advice: Vec<String>,
    ) -> Self {
        let verdict = match (judgement.go(), judgement.baseline) {
            (false, _) => "no-go",
            (true, 0) => "baseline",
            (true, _) => "go",
        };
        CheckDocument {
            schema: "coilwright/check/1".into(),
            rig: history.rig.clone(),
            witness: history.witness.clone(),
            taken_at: check.taken_at.clone(),
            at: check.at.clone(),
            verdict: verdict.into(),
            provisional: judgement.provisional(),
            baseline: judgement.baseline,
            baseline_needed: BASELINE,
            peak_hz: check.peak_hz,
            f0_hz: check.f0_hz,
            q: check.q,
            level_db: check.level_db,
            shown,
            clock_ppm: check.clock_ppm,
            quantities: judgement.charted.iter().map(QuantityFound::of).collect(),
            unjudged: judgement.unjudged.clone(),
            turned: judgement.turned,
            noisy: judgement.get(Quantity::Noise).is_some_and(|c| c.jumped()),
            stepped: judgement.stepped.clone(),
            advice,
            simulated: check.simulated,
        }
    }
}
