//! What `loads` shows on the screen.

use super::super::loads_plot::{answer, coil_words, name};
use super::screen::Screen;
use super::{BOLD, DIM, PLAIN, Style, WARN, columns, two, words};
use crate::coil::against::{Against, SaidOf, Undone};
use crate::coil::loads::{LoadPredicted, LoadsDocument, PartDrawn, ReachedFound};
use crate::estimate::{Estimate, Z95};
use crate::network::Knob;
use crate::quantity::{self, preferred};
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit};
use crate::stats::{Answer, Open};
use crate::wrap;

/// The wirings that can be named.
pub fn wirings_text(list: &[(String, String)], style: Style) -> String {
    let mut out = Screen::new(style);
    out.free("Wirings for --load (docs/wirings.md draws them):", PLAIN);
    for (name, about) in list {
        out.free("", PLAIN);
        out.raw(name, BOLD);
        out.listed("", about, PLAIN);
    }
    out.text
}

fn db(v: f64) -> String {
    number::short(v, Unit::Decibel)
}

fn level(v: Option<f64>) -> String {
    v.map_or("silent".into(), db)
}

pub(super) fn hz(v: f64) -> String {
    number::short(v, Unit::Hertz)
}

/// Of nothing but noise.
fn bare(value: f64, u: f64) -> Estimate {
    Estimate { value, u, u_noise: u }
}

/// "± 34 Hz" of a standard uncertainty, two digits; "exact" where none is left.
pub(super) fn half(u: f64, unit: Unit) -> String {
    if u <= 0.0 {
        return "exact".into();
    }
    let text = number::bare_interval(&bare(0.0, u), unit);
    match text.split_once(PLUS_MINUS) {
        Some((_, after)) => format!("{PLUS_MINUS}{after}"),
        None => text,
    }
}

/// Predictions of a coil: table, then what was asked besides.
pub fn loads_text(document: &LoadsDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    out.free(&format!("Coil {}", coil_words(document)), BOLD);
    if let Some(r) = &document.reached {
        reached(&mut out, document, r);
    }
    if !document.loads.is_empty() {
        table(&mut out, &document.loads);
        out.free(
            "above lows: the peak over the level at 10 Hz. Levels: output over the voltage that the string induces.",
            DIM,
        );
    }
    if document.loads.iter().any(|l| l.band.is_some()) {
        tolerances(&mut out, document);
    }
    if style.details {
        details(&mut out, document);
    }
    if let Some(a) = &document.against {
        laid_over(&mut out, a);
    }
    if let Some(u) = &document.undone {
        freed(&mut out, u);
    }
    for n in &document.notes {
        out.row("note", n, DIM);
    }
    out.text
}

const HEAD: &str = "   peak       above lows   100 Hz     5 kHz      ";

fn table(out: &mut Screen, loads: &[LoadPredicted]) {
    // A load with less room than this stands on lines of its own.
    const LEAST: usize = 16;
    let beside = out.style.usable() >= HEAD.len() + LEAST;
    if beside {
        out.raw(&format!("{HEAD}load"), DIM);
    }
    for (i, l) in loads.iter().enumerate() {
        let letter = words::letter(i);
        let peak = l.peak_hz.map_or("no peak".into(), hz);
        let height = l.height_db.map_or(String::new(), db);
        let (lows, highs) = (level(l.level_100_hz_db), level(l.level_5_khz_db));
        if beside {
            let mut head = format!("{letter:<2} {peak:<10} {height:<12} {lows:<10} {highs:<10} ");
            // A long load goes on below, under its own column.
            let room = out.style.usable() - HEAD.len();
            for line in wrap::lines(&name(l), |line| columns(line) <= room) {
                out.raw(format!("{head}{line}").trim_end(), PLAIN);
                head = " ".repeat(HEAD.len());
            }
        } else {
            let above = if height.is_empty() { "" } else { " above the lows" };
            out.listed(&letter, &format!("{peak} {height}{above}"), PLAIN);
            out.listed("", &format!("{lows} at 100 Hz, {highs} at 5 kHz"), PLAIN);
            out.listed("", &name(l), PLAIN);
        }
        if let Some(u) = &l.u
            && let (Some(f), Some(h)) = (u.peak_hz, u.height_db)
        {
            let text = format!(
                "   {:<10} {:<12} {LEVEL}, from the coil's uncertainty",
                half(f, Unit::Hertz),
                half(h, Unit::Decibel)
            );
            out.raw(&text, DIM);
        }
    }
}

/// "volume pot 250 kΩ ± 20 %", with whose it is.
fn part_words(p: &PartDrawn) -> String {
    let knob = Knob::by_name(&p.part);
    let words = knob.map_or_else(|| p.part.clone(), |k| k.words().to_owned());
    let printed = knob.map_or(String::new(), |k| {
        format!(" {}", quantity::show(p.printed, k.unit(), 3))
    });
    let of =
        p.of.as_ref()
            .map_or(String::new(), |o| format!(" of {}", words::clean(o)));
    format!("{words}{of}{printed} {PLUS_MINUS} {} %", two(100.0 * p.tolerance))
}

/// Is the difference that one hears the pickup or the pot?
fn tolerances(out: &mut Screen, document: &LoadsDocument) {
    out.free("", PLAIN);
    out.free("Parts within their tolerance, everything else as it is:", PLAIN);
    for (i, l) in document.loads.iter().enumerate() {
        let letter = words::letter(i);
        let Some(b) = &l.band else {
            out.listed(&letter, "no part of it has a tolerance", PLAIN);
            continue;
        };
        let parts: Vec<String> = b.parts.iter().map(part_words).collect();
        out.listed(&letter, &parts.join(", "), DIM);
        let text = match (l.peak_hz, b.peak_hz, b.height_db) {
            (Some(f), Some([a, z]), Some([low, high])) => format!(
                "peak {} to {} ({:+.1} to {:+.1} %), {} to {} above the lows (95 % of {} guitars)",
                hz(a),
                hz(z),
                100.0 * (a / f - 1.0),
                100.0 * (z / f - 1.0),
                db(low),
                db(high),
                b.runs
            ),
            (None, ..) => "no peak with the parts as printed".into(),
            _ => "some have a peak, some have none".into(),
        };
        out.listed("", &text, PLAIN);
    }
    out.free(
        "Two pickups that differ by less than this may be one pickup with two pots: compare pickups on one harness.",
        PLAIN,
    );
    let known = document.loads.iter().find_map(|l| {
        let b = l.band.as_ref()?.peak_hz?;
        Some((Z95 * l.u.as_ref()?.peak_hz?, 0.5 * (b[1] - b[0])))
    });
    if let Some((coil, parts)) = known {
        let (better, worse, low, high) = match coil < parts {
            true => ("coil is", "parts", coil, parts),
            false => ("parts are", "coil", parts, coil),
        };
        let text = format!(
            "The {better} known better than the {worse}: {PLUS_MINUS} {} against {PLUS_MINUS} {}.",
            hz(low),
            hz(high)
        );
        out.free(&text, PLAIN);
    }
}

fn reached(out: &mut Screen, document: &LoadsDocument, r: &ReachedFound) {
    for p in &r.parts {
        let Some(knob) = Knob::by_name(&p.quantity) else {
            continue;
        };
        let unit = knob.unit();
        let value = quantity::show(p.value, unit, 3);
        let text = match (p.u, report_unit(unit)) {
            (Some(u), Some(unit)) => number::interval(&bare(p.value, u), unit),
            (Some(u), None) => format!("{value} {PLUS_MINUS} {} {LEVEL}", two(Z95 * u)),
            (None, _) => value,
        };
        out.row(knob.words(), &text, BOLD);
        if matches!(unit, quantity::Unit::Ohm | quantity::Unit::Farad) {
            let nearest = preferred::nearest_e12(p.value);
            out.row(
                "",
                &format!("nearest in E12: {}", quantity::show(nearest, unit, 2)),
                DIM,
            );
        }
    }
    if document.loads.first().is_some_and(|l| l.u.is_none()) {
        out.row("", "exact for the coil as given; its uncertainty is not stated", DIM);
    }
    out.free("", PLAIN);
}

fn report_unit(unit: quantity::Unit) -> Option<Unit> {
    match unit {
        quantity::Unit::Ohm => Some(Unit::Ohm),
        quantity::Unit::Farad => Some(Unit::Farad),
        _ => None,
    }
}

fn details(out: &mut Screen, document: &LoadsDocument) {
    let p = &document.pickup;
    if let Some(loss) = p.loss_ohm {
        out.row(
            "loss",
            &format!("{} parallel to L", number::short(loss, Unit::Ohm)),
            DIM,
        );
    }
    if let Some(e) = &p.eddy {
        let shape: String = e
            .shape()
            .iter()
            .map(|(name, v)| format!(", {name} {}", two(*v)))
            .collect();
        let text = format!(
            "metal: k {}, tau {}, emf {}{}",
            two(e.k),
            number::short(e.tau_s, Unit::Second),
            two(e.emf),
            shape
        );
        out.row("metal", &text, DIM);
    }
    for (i, l) in document.loads.iter().enumerate() {
        let order = match (l.f0_hz, l.q) {
            (Some(f0), Some(q)) => format!(
                "f0 {}, Q {}",
                number::four_digits(f0, Unit::Hertz),
                number::four_digits(q, Unit::Ratio)
            ),
            _ => "not of second order".into(),
        };
        let peak = l.peak_db.map_or("none".into(), |d| format!("{d:+.3} dB"));
        let text = format!("{order}, peak {peak} re EMF");
        out.listed(&words::letter(i), &text, DIM);
    }
}

fn laid_over(out: &mut Screen, a: &Against) {
    out.free("", PLAIN);
    let verdict = match a.answer {
        Answer::Same => "it predicts these takes",
        Answer::Different => "it misses these takes by more than matters",
        Answer::CannotTell => "coil, parts and takes are not known well enough",
    };
    let text = format!("{:.2} dB apart (rms): {}: {verdict}", a.rms_db, answer(a.answer));
    out.row("Coil file", &text, BOLD);
    for (i, t) in a.takes.iter().enumerate() {
        let paint = match t.answer {
            Answer::Same => PLAIN,
            _ => WARN,
        };
        let text = format!(
            "{}, {}: {:.2} dB apart: {}",
            words::clean(&t.name),
            words::clean(&t.load),
            t.rms_db,
            answer(t.answer)
        );
        out.row(&words::letter(i), &text, paint);
        for s in &t.said {
            out.row("", &said(s), PLAIN);
        }
    }
    for n in &a.notes {
        out.row("note", n, PLAIN);
    }
}

/// "peak off by -0.02 ± 0.20 % (95 %); 1 % matters (usual): the same".
fn said(s: &SaidOf) -> String {
    let relative = s.quantity == "peak";
    let off = match relative {
        true => {
            let e = bare(100.0 * s.difference, 100.0 * s.half / Z95);
            format!("{} %", number::bare_interval(&e, Unit::Ratio))
        }
        false => number::bare_interval(&bare(s.difference, s.half / Z95), Unit::Decibel),
    };
    let unit = if relative {
        quantity::Unit::Relative
    } else {
        quantity::Unit::Decibel
    };
    let matters = quantity::show(s.matters, unit, 2);
    let usual = if s.usual { " (usual)" } else { "" };
    let level = if s.usual_laying { number::USUAL } else { LEVEL };
    let would = match s.open {
        None => "",
        Some(Open::Noise) => "; a take with less noise would",
        Some(Open::Laying) => "; a pickup laid down more steadily would",
        Some(Open::Near) => "; too near to what matters",
        Some(Open::Stated | Open::Days | Open::Rigs) => "; a closer coil file or closer parts would",
    };
    format!(
        "{} off by {off} {level}; {matters} matters{usual}: {}{would}",
        s.quantity,
        answer(s.answer)
    )
}

fn freed(out: &mut Screen, u: &Undone) {
    out.free("", PLAIN);
    out.row(
        "Without it",
        &format!("{}: {} taken off, {} put on", words::clean(&u.name), u.from, u.to),
        PLAIN,
    );
    match (&u.peak_hz, &u.height_db) {
        (Some(f), Some(d)) => {
            out.row("Peak", &format!("{} at {}", hz(f.value), db(d.value)), BOLD);
            out.row(
                "",
                &format!(
                    "{}, {} above the lows {}",
                    number::bare_interval(f, Unit::Hertz),
                    number::bare_interval(d, Unit::Decibel),
                    if u.usual_laying { number::USUAL } else { LEVEL }
                ),
                PLAIN,
            );
        }
        _ => out.row("Peak", "none that a model can tell: see the curve", BOLD),
    }
    for n in &u.notes {
        out.row("note", n, PLAIN);
    }
}
