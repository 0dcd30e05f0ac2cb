//! What `coil` shows on the screen.

use super::loads::half;
use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::coil::behind::{CoilDocument, InputFound, KnownFrom, PartKnown, TakeAgreement};
use crate::estimate::Estimate;
use crate::network::knob::{Knob, METER, UNIFORM};
use crate::record::Level;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit, hz, two_or_more};
use crate::report::words;

/// The coil behind some takes.
pub fn coil_text(coil: &CoilDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let takes = coil.takes.len();
    out.line_in(format!("{}, from {takes} takes", words::clean(&coil.pickup.name)), BOLD);
    values(&mut out, coil);
    let agree = match coil.reduced_chi2 {
        Some(c) if c < 4.0 => "agree within noise and tolerances".to_owned(),
        Some(c) => format!("scatter {:.1} times as much as noise and tolerances explain", c.sqrt()),
        None => "just enough to tell; a further one would check them".to_owned(),
    };
    out.row("Takes", agree);
    out.rows_in("", coil.takes.iter().map(agreement), DIM);
    if let Some(a) = &coil.advice {
        let (load, l, c) = (&a.load, half(a.u_l_h, Unit::Henry), half(a.u_c_f, Unit::Farad));
        out.row(
            "Next",
            format!("a take with --load \"{load}\" would bring L to {l} and C_s to {c} {LEVEL}"),
        );
    }
    for f in &coil.findings {
        let (label, paint) = match f.level {
            Level::Note => ("note", PLAIN),
            Level::Warning => ("WARNING", WARN),
            Level::Reject => ("STOP", STOP),
        };
        out.row_in(label, &f.text, paint);
    }
    assumed(&mut out, &coil.known);
    if style.details {
        details(&mut out, coil);
    }
    out.rows_in("note", &coil.notes, DIM);
    out.text
}

fn values(out: &mut Screen, coil: &CoilDocument) {
    out.row_in("L", number::interval(&coil.l_h, Unit::Henry), BOLD);
    out.row_in("C_s", number::interval(&coil.c_f, Unit::Farad), BOLD);
    let at = words::of(coil.temperature_c, |t| format!(", at {t:.0} °C"));
    let r = match coil.r_ohm.u > 0.0 {
        true => number::interval(&coil.r_ohm, Unit::Ohm),
        false => format!("{}, taken as exact", number::short(coil.r_ohm.value, Unit::Ohm)),
    };
    out.row("R", format!("{r}{at}"));
    if let Some(loss) = &coil.loss_ohm {
        out.row("Loss", format!("{} parallel to L", number::interval(loss, Unit::Ohm)));
    }
    if let Some(e) = &coil.eddy {
        let bare = |e: &Estimate| number::bare_interval(e, Unit::Ratio);
        let shape = [("a", e.a), ("b", e.b)].into_iter();
        let shape: String = shape
            .filter_map(|(name, v)| Some(format!(", {name} {}", bare(&v?))))
            .collect();
        let [k, emf] = [&e.k, &e.emf].map(bare);
        let tau = number::bare_interval(&e.tau, Unit::Second);
        let what = "a cover, a plate or poles that conduct";
        out.row("Metal", format!("k {k}, tau {tau}, emf {emf}{shape} {LEVEL}: {what}"));
    }
}

/// What was taken as it usually is, for want of a word about it.
fn assumed(out: &mut Screen, known: &[PartKnown]) {
    let list = |from: KnownFrom, words: fn(&PartKnown) -> String| {
        let mut all: Vec<String> = known.iter().filter(|p| p.from == from).map(words).collect();
        all.dedup();
        (!all.is_empty()).then(|| all.join(", "))
    };
    let half = |p: &PartKnown| format!("{} {PLUS_MINUS} {:.0} %", part(p), 100.0 * p.u / UNIFORM);
    let usual = list(KnownFrom::Usual, half);
    let meter = list(KnownFrom::Meter, |p| {
        format!("{} {}", part(p), number::short(p.value, Unit::Farad))
    });
    let exact = list(KnownFrom::Exact, |p| part(p).into());
    let [share, farads] = [format!("{:.0} %", 100.0 * METER.0), number::short(METER.1, Unit::Farad)];
    let notes = [
        usual.map(|l| format!("no tolerance is stated, so the usual one is taken: {l} (--tolerance cap=1% and so on)")),
        meter.map(|l| format!("taken as read on one meter, {PLUS_MINUS} {share} and {PLUS_MINUS} {farads}: {l}")),
        exact.map(|l| format!("taken as exact: {l} (--tolerance amp=1% and so on)")),
    ];
    out.rows("note", notes.into_iter().flatten());
}

fn part(p: &PartKnown) -> &str {
    match p.part.as_str() {
        "input-resistance" => "the input's resistance",
        "input-capacitance" => "the input's capacitance",
        name => Knob::by_name(name).map_or(name, |k| k.words()),
    }
}

fn details(out: &mut Screen, coil: &CoilDocument) {
    let c = coil.reduced_chi2.map_or("not known".into(), two_or_more);
    out.row_in("fit", format!("chi-square {c} per degree of freedom"), DIM);
    let [l, c] = coil.from_parts.map(|v| format!("{:.0} %", 100.0 * v));
    out.row_in(
        "variance",
        format!("from the parts' tolerances: {l} of L's, {c} of C_s's"),
        DIM,
    );
    out.rows_in("input", coil.inputs.iter().map(input), DIM);
    let correlation = coil.correlations.get(1).and_then(|row| row.get(2));
    out.rows_in(
        "",
        correlation.map(|r| format!("correlation of L and C_s {r:+.3}")),
        DIM,
    );
}

fn input(i: &InputFound) -> String {
    let parts = [("resistance", &i.resistance), ("capacitance", &i.capacitance)];
    let told = |(name, e): (_, &Option<_>)| {
        let factor = number::bare_interval(e.as_ref()?, Unit::Ratio);
        Some(format!("{name} times {factor}"))
    };
    let rig = words::clean(i.rig.as_deref().unwrap_or("the rig"));
    format!("of {rig}: {} {LEVEL}", words::list(parts.into_iter().filter_map(told)))
}

fn agreement(t: &TakeAgreement) -> String {
    let f0 = t.f0_off.map(|d| format!("f0 off by {:+.3} %", 100.0 * d));
    let q = t.q_off.map(|d| format!("Q by {:+.2} %", 100.0 * d));
    let curve = t.curve_db.map(|d| format!("curve off by {d:.3} dB rms"));
    let parts = words::list([f0, q, curve].into_iter().flatten());
    let peak = t.peak_hz.map_or("no peak".into(), |f| format!("peak {}", hz(f)));
    format!("{peak} at {}: {parts}", words::clean(&t.load))
}
