//! How well what hangs on the winding is known: as stated, else as such parts usually are.

use super::super::told::{Stated, input_of, input_u, usual_input_u};
use super::document::{KnownFrom, PartKnown};
use crate::fit::joint::{Read, Take};
use crate::network::knob::{Knob, METER, Tolerances, UNIFORM};
use crate::quantity::Unit;
use crate::record::Record;

/// What is known of the parts of some takes.
pub fn known(used: &[&Record], takes: &[Take], stated: &Stated) -> Vec<PartKnown> {
    let mut all: Vec<PartKnown> = Vec::new();
    for (record, take) in used.iter().zip(takes) {
        let parts = Knob::all().filter(|k| k.is_part());
        let there = parts.filter_map(|k| Some((k, k.get(&take.load).filter(|v| *v > 0.0)?)));
        let of_load = there.map(|(knob, value)| of_load(knob, value, stated));
        for part in of_input(record, stated.input).into_iter().chain(of_load) {
            if !all.iter().any(|p| p.part == part.part && p.value == part.value) {
                all.push(part);
            }
        }
    }
    all
}

fn of_input(record: &Record, half: Option<f64>) -> Vec<PartKnown> {
    let (ohm, farad) = input_of(record);
    let stated = input_u(record, half);
    let usual = usual_input_u(record);
    let from = |i: usize, usual: KnownFrom| match (half, stated[i]) {
        (Some(_), _) => KnownFrom::Stated,
        (None, Some(_)) => KnownFrom::Rig,
        (None, None) => usual,
    };
    let of = |(i, part, value, unsaid): (usize, &str, Option<f64>, KnownFrom)| {
        Some(PartKnown {
            part: part.into(),
            value: value?,
            u: stated[i].unwrap_or(usual[i]),
            from: from(i, unsaid),
        })
    };
    let parts = [
        (0, "input-resistance", ohm, KnownFrom::Usual),
        (
            1,
            "input-capacitance",
            Some(farad).filter(|f| *f > 0.0),
            KnownFrom::Meter,
        ),
    ];
    parts.into_iter().filter_map(of).collect()
}

/// On a capacitor two digits are printed; a capacitance of more, or of a lead, somebody has read on a meter.
fn of_load(knob: Knob, value: f64, stated: &Stated) -> PartKnown {
    let two_digits: f64 = format!("{value:.1e}").parse().unwrap_or(value);
    let printed = (two_digits / value - 1.0).abs() < 1e-9;
    let usual = Tolerances::usual().of(knob);
    let (u, from) = match (stated.parts.of(knob), usual) {
        (Some(half), _) if stated.shared.contains(&knob) => (UNIFORM * half, KnownFrom::Shared),
        (Some(half), _) => (UNIFORM * half, KnownFrom::Stated),
        (None, Some(half)) if printed || knob.unit() != Unit::Farad => (UNIFORM * half, KnownFrom::Usual),
        (None, _) if knob.unit() == Unit::Farad => (UNIFORM * METER.0.hypot(METER.1 / value), KnownFrom::Meter),
        (None, _) => (0.0, KnownFrom::Exact),
    };
    PartKnown {
        part: knob.name().into(),
        value,
        u,
        from,
    }
}

/// What was read on a meter, as the fit wants it.
pub fn read(used: &[&Record], takes: &[Take], known: &[PartKnown], half: Option<f64>) -> Read {
    let of = |from: KnownFrom| known.iter().filter(move |p| p.from == from);
    let stated = |p: &PartKnown| Some((Knob::by_name(&p.part)?, p.value, p.u / UNIFORM));
    let unsaid = |(r, t): (&&Record, &Take)| input_u(r, half)[1].is_none().then_some(t.rig);
    Read {
        parts: of(KnownFrom::Meter)
            .filter_map(|p| Some((Knob::by_name(&p.part)?, p.value)))
            .collect(),
        stated: of(KnownFrom::Shared).filter_map(stated).collect(),
        rigs: used.iter().zip(takes).filter_map(unsaid).collect(),
    }
}

/// The usual tolerances where none is stated.
pub fn with_usual(stated: &Tolerances) -> Tolerances {
    let mut all = Tolerances::usual();
    stated.0.iter().for_each(|(k, t)| all.put(*k, *t));
    all
}
