//! What is found of a coil besides its values: what limits it, and what does not go together.

use super::super::told::{input_of, spelt};
use super::document::{CoilCode, CoilFinding, Decides, Furthest, Grounds};
use crate::estimate::Estimate;
use crate::fit::joint::{CoilFit, Seen, Take};
use crate::record::{Level, Record, Verdict};
use crate::stats::grouped;

/// From this relative uncertainty (95 %) on C_s, or L, is not told.
const VAGUE_C: f64 = 0.5;
const VAGUE_L: f64 = 0.1;
/// From this share of the variance on it is the parts' printed values that decide.
const MOST: f64 = 0.8;
/// Beyond this the takes contradict each other.
const UNLIKELY: f64 = 0.001;

/// What of the known parts and inputs decides most how well L and C_s are known; nothing where the takes do.
fn parts_that_decide(fit: &CoilFit) -> Vec<Decides> {
    let of = |i: usize| {
        // A part of several values is one kind of part all the same.
        let kinds = grouped(fit.shares.iter().map(|(source, shares)| (*source, shares[i])));
        let whole = kinds
            .into_iter()
            .map(|(source, shares)| (source, shares.iter().sum::<f64>()));
        let (source, share) = whole.max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(Decides {
            name: ["L", "C_s"][i],
            source,
            share: share.min(1.0),
        })
    };
    let most = (0..2).filter(|i| fit.from_parts[*i] > MOST);
    most.filter_map(of).collect()
}

fn furthest(takes: &[Take]) -> Option<Furthest> {
    let f0 = |t: &Take| match &t.seen {
        Seen::Resonance { f0_hz, .. } | Seen::Curve { f0_hz, .. } => f0_hz.value,
    };
    let by = |a: &&Take, b: &&Take| f0(a).total_cmp(&f0(b));
    let (low, high) = (takes.iter().min_by(by)?, takes.iter().max_by(by)?);
    Some(Furthest {
        loads: [high, low].map(|t| spelt(&t.load)),
        apart: f0(high) / f0(low) - 1.0,
    })
}

fn finding(code: CoilCode, level: Level, grounds: Grounds) -> CoilFinding {
    CoilFinding {
        code,
        level,
        grounds,
        text: String::new(),
    }
}

/// `lc`: L and C_s as they were found.
pub fn findings(used: &[&Record], takes: &[Take], fit: &CoilFit, lc: [&Estimate; 2], stated: f64) -> Vec<CoilFinding> {
    let note = |code, grounds| finding(code, Level::Note, grounds);
    let warning = |code, grounds| finding(code, Level::Warning, grounds);
    let ohms = fit.other_r.map(|found| Grounds::OhmsApart { stated, found });
    // Ohms of another coil are a reason for it, and are told above.
    let damping = fit.damping_apart && fit.other_r.is_none();
    let warned = used.iter().any(|r| r.verdict == Verdict::Suspect);
    let all = [
        fit.c_at_bound
            .then(|| warning(CoilCode::NoCapacitance, Grounds::NoCapacitance)),
        hardly_told(takes, fit, lc),
        ohms.map(|g| warning(CoilCode::OhmsApart, g)),
        damping.then(|| note(CoilCode::DampingApart, Grounds::DampingApart)),
        takes_disagree(fit).map(|g| warning(CoilCode::TakesDisagree, g)),
        input_unknown(used).map(|g| warning(CoilCode::InputUnknown, g)),
        two_pickups(used).map(|g| warning(CoilCode::Mixed, g)),
        warned.then(|| note(CoilCode::Mixed, Grounds::Warned)),
    ];
    all.into_iter().flatten().collect()
}

/// What is too uncertain to be told, or what decides how uncertain it is.
fn hardly_told(takes: &[Take], fit: &CoilFit, [l, c]: [&Estimate; 2]) -> Option<CoilFinding> {
    let vague =
        |e: &Estimate, limit: f64, least: f64| e.half_width_95() > limit * e.value.max(least) && !fit.c_at_bound;
    let (l, c) = (vague(l, VAGUE_L, 0.0), vague(c, VAGUE_C, 1e-12));
    let decide = parts_that_decide(fit);
    if l || c {
        let furthest = furthest(takes);
        let grounds = Grounds::Vague { l, c, decide, furthest };
        return Some(finding(CoilCode::LoadsAlike, Level::Warning, grounds));
    }
    (!decide.is_empty()).then(|| finding(CoilCode::PartsDominate, Level::Note, Grounds::PartsDecide(decide)))
}

fn takes_disagree(fit: &CoilFit) -> Option<Grounds> {
    let chi2 = fit.reduced_chi2.filter(|_| fit.chance.is_some_and(|p| p < UNLIKELY))?;
    Some(Grounds::Disagree {
        times: chi2.sqrt(),
        ohms: fit.other_r.is_some(),
    })
}

fn input_unknown(used: &[&Record]) -> Option<Grounds> {
    let unknown = |r: &&&Record| {
        let (ohm, farad) = input_of(r);
        ohm.is_none() || farad == 0.0
    };
    let name = used.iter().find(unknown)?.pickup.name.clone();
    Some(Grounds::InputUnknown(name))
}

fn two_pickups(used: &[&Record]) -> Option<Grounds> {
    let first = &used.first()?.pickup;
    let another = |r: &&&Record| r.pickup.name != first.name || r.pickup.over != first.over;
    let other = &used.iter().find(another)?.pickup;
    Some(Grounds::TwoPickups([first, other].map(|p| p.name.clone())))
}
