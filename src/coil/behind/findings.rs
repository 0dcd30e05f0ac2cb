//! What is to be said of a coil that was found: what limits it, and what does not go together.

use super::super::told::{input_of, spelt};
use super::document::{CoilCode, CoilFinding};
use crate::estimate::Estimate;
use crate::fit::joint::{CoilFit, InputPart, Seen, Source, Take};
use crate::quantity::{self, Unit};
use crate::record::{Level, Record, Verdict};

/// From this relative uncertainty (95 %) on C_s, or L, is not told.
const VAGUE_C: f64 = 0.5;
const VAGUE_L: f64 = 0.1;
/// From this share of the variance on it is the parts' printed values that decide.
const MOST: f64 = 0.8;
/// Beyond this the takes contradict each other.
const UNLIKELY: f64 = 0.001;

/// What of the known parts and inputs decides most how well L (0) or C_s (1) is known, with its share in the variance.
fn decides(fit: &CoilFit, i: usize) -> Option<(String, f64)> {
    // A part of several values is one kind of part all the same.
    let mut kinds: Vec<(Source, f64)> = Vec::new();
    for (source, shares) in &fit.shares {
        match kinds.iter_mut().find(|k| k.0 == *source) {
            Some(k) => k.1 += shares[i],
            None => kinds.push((*source, shares[i])),
        }
    }
    let (source, share) = kinds.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let what = match source {
        Source::Part(k) => format!("what is printed on the {} ({})", k.words(), k.name()),
        Source::Input(InputPart::Capacitance) => "what the rig states of its input's capacitance".into(),
        Source::Meter => "what a meter within 1 % + 2 pF reads".into(),
        Source::Input(InputPart::Resistance) => "what the rig states of its input's resistance".into(),
    };
    Some((what, share.min(1.0)))
}

/// "L hangs on what is printed on the capacitor (cap), 96 % of its variance"; `None` where the takes decide.
fn parts_that_decide(fit: &CoilFit) -> Option<String> {
    let told: Vec<String> = (0..2)
        .filter(|i| fit.from_parts[*i] > MOST)
        .filter_map(|i| {
            let (what, share) = decides(fit, i)?;
            let name = ["L", "C_s"][i];
            Some(format!(
                "{name} hangs on {what}, {:.0} % of its variance",
                100.0 * share
            ))
        })
        .collect();
    (!told.is_empty()).then(|| told.join("; "))
}

/// The takes whose frequencies are furthest apart, and by how much (relative).
fn furthest(takes: &[Take]) -> Option<(&Take, &Take, f64)> {
    let f0 = |t: &Take| match &t.seen {
        Seen::Resonance { f0_hz, .. } | Seen::Curve { f0_hz, .. } => f0_hz.value,
    };
    let by = |a: &&Take, b: &&Take| f0(a).total_cmp(&f0(b));
    let (low, high) = (takes.iter().min_by(by)?, takes.iter().max_by(by)?);
    Some((high, low, f0(high) / f0(low) - 1.0))
}

fn finding(code: CoilCode, level: Level, text: impl Into<String>) -> CoilFinding {
    CoilFinding {
        code,
        level,
        text: text.into(),
    }
}

/// `lc`: L and C_s as they were found.
pub fn findings(
    used: &[&Record],
    takes: &[Take],
    fit: &CoilFit,
    lc: [&Estimate; 2],
    stated_ohm: f64,
) -> Vec<CoilFinding> {
    let all = [
        fit.c_at_bound.then(|| {
            finding(
                CoilCode::NoCapacitance,
                Level::Warning,
                "the winding's capacitance came out as nothing: a load is larger than it was told, or the takes err",
            )
        }),
        hardly_told(takes, fit, lc),
        ohms_apart(fit, stated_ohm),
        // Ohms of another coil are a reason for it, and are told above.
        (fit.damping_apart && fit.other_r.is_none()).then(|| {
            finding(
                CoilCode::DampingApart,
                Level::Note,
                "the Qs do not follow one resistance and one loss, so L and C_s are taken from the frequencies",
            )
        }),
        takes_disagree(fit),
        input_unknown(used),
        two_pickups(used),
        used.iter().any(|r| r.verdict == Verdict::Suspect).then(|| {
            finding(
                CoilCode::Mixed,
                Level::Note,
                "some of the takes carry warnings of their own",
            )
        }),
    ];
    all.into_iter().flatten().collect()
}

/// What is too uncertain to be told, or what decides how uncertain it is.
fn hardly_told(takes: &[Take], fit: &CoilFit, [l, c]: [&Estimate; 2]) -> Option<CoilFinding> {
    let vague_l = l.half_width_95() > VAGUE_L * l.value;
    let vague_c = c.half_width_95() > VAGUE_C * c.value.max(1e-12);
    let parts = parts_that_decide(fit);
    let what = match (vague_l, vague_c) {
        _ if fit.c_at_bound => None,
        (true, true) => Some("L and C_s are"),
        (true, false) => Some("L is"),
        (false, true) => Some("C_s is"),
        (false, false) => None,
    };
    let Some(what) = what else {
        let text = format!(
            "{}: measure that, or use a closer one; the takes are good enough",
            parts?
        );
        return Some(finding(CoilCode::PartsDominate, Level::Note, text));
    };
    let why = match (parts, furthest(takes)) {
        (Some(parts), _) => format!("{parts}: measure it, or use a closer one"),
        (None, Some((a, b, apart))) => format!(
            "the loads are too alike: the two furthest apart, {} and {}, move f0 by {} only",
            spelt(&a.load),
            spelt(&b.load),
            quantity::show(apart, Unit::Relative, 2)
        ),
        (None, None) => "the loads are too alike".into(),
    };
    let text = format!("{what} hardly told: {why}");
    Some(finding(CoilCode::LoadsAlike, Level::Warning, text))
}

fn ohms_apart(fit: &CoilFit, stated_ohm: f64) -> Option<CoilFinding> {
    let other = fit.other_r.as_ref()?;
    let show = |v: f64| quantity::show(v, Unit::Ohm, 3);
    let text = format!(
        "the stated {} and the takes do not go together, which by themselves speak for {} within {}: check which coil \
         and lead it was read on, and at what temperature, and whether the capacitors are what they are said to be: Q tells R by \
         way of L, which goes by them",
        show(stated_ohm),
        show(other.value),
        show(other.half_width_95())
    );
    Some(finding(CoilCode::OhmsApart, Level::Warning, text))
}

fn takes_disagree(fit: &CoilFit) -> Option<CoilFinding> {
    let chi2 = fit.reduced_chi2.filter(|_| fit.chance.is_some_and(|p| p < UNLIKELY))?;
    let question = match fit.other_r {
        // Asked already.
        Some(_) => "",
        None => ": is every load what its record says, and nothing moved or warmed in between?",
    };
    let text = format!(
        "the takes contradict each other {:.1} times more than noise and tolerances explain; the uncertainties are \
         widened by that{question}",
        chi2.sqrt()
    );
    Some(finding(CoilCode::TakesDisagree, Level::Warning, text))
}

fn input_unknown(used: &[&Record]) -> Option<CoilFinding> {
    let unknown = |r: &&&Record| {
        let (ohm, farad) = input_of(r);
        ohm.is_none() || farad == 0.0
    };
    let text = format!(
        "the rig of {:?} does not state resistance and capacitance of its input and lead: both are counted into the \
         winding, C_s and loss are too large",
        used.iter().find(unknown)?.pickup.name
    );
    Some(finding(CoilCode::InputUnknown, Level::Warning, text))
}

fn two_pickups(used: &[&Record]) -> Option<CoilFinding> {
    let first = &used.first()?.pickup;
    let another = |r: &&&Record| r.pickup.name != first.name || r.pickup.over != first.over;
    let text = format!(
        "the records are of more than one pickup or coil: {:?} and {:?}",
        first.name,
        used.iter().find(another)?.pickup.name
    );
    Some(finding(CoilCode::Mixed, Level::Warning, text))
}
