//! What `loads` shows on the screen.

use super::super::loads_plot::{coil_words, name};
use super::screen::{BOLD, DIM, PLAIN, Screen, Style, WARN};
use crate::coil::against::{Against, SaidOf, Undone};
use crate::coil::loads::{LoadPredicted, LoadsDocument};
use crate::estimate::{Estimate, Z95};
use crate::network::Knob;
use crate::network::reach::{PartFound, ReachedFound, SoldFound};
use crate::network::spread::PartDrawn;
use crate::quantity;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit, db, hz, two};
use crate::report::words::{self, answer};
use crate::stats::{Answer, Open};
use crate::wrap::{self, columns};

/// The wirings that can be named.
pub fn wirings_text(list: &[(String, String)], style: Style) -> String {
    let mut out = Screen::new(style);
    out.line("Wirings for --load (docs/wirings.md draws them):");
    for (name, about) in list {
        out.line("");
        out.raw(name, BOLD);
        out.listed("", about);
    }
    out.text
}

fn level(v: Option<f64>) -> String {
    v.map_or("silent".into(), db)
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
    out.line_in(format!("Coil {}", coil_words(document)), BOLD);
    if let Some(r) = &document.reached {
        reached(&mut out, document, r);
    }
    if !document.loads.is_empty() {
        table(&mut out, &document.loads);
        let what =
            "above lows: the peak over the level at 10 Hz. Levels: output over the voltage that the string induces.";
        out.line_in(what, DIM);
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
    out.rows_in("note", &document.notes, DIM);
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
        let height = words::of(l.height_db, db);
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
            out.listed(&letter, format!("{peak} {height}{above}"));
            out.listed("", format!("{lows} at 100 Hz, {highs} at 5 kHz"));
            out.listed("", name(l));
        }
        if let Some(u) = &l.u
            && let (Some(f), Some(h)) = (u.peak_hz, u.height_db)
        {
            let (f, h) = (half(f, Unit::Hertz), half(h, Unit::Decibel));
            out.raw(&format!("   {f:<10} {h:<12} {LEVEL}, from the coil's uncertainty"), DIM);
        }
    }
}

/// "volume pot 250 kΩ ± 20 %", with whose it is.
fn part_words(p: &PartDrawn) -> String {
    let of: String = p.of.iter().map(|o| format!(" of {}", words::clean(o))).collect();
    let what = match Knob::by_name(&p.part) {
        Some(k) => format!("{}{of} {}", k.words(), quantity::show(p.printed, k.unit(), 3)),
        None => format!("{}{of}", p.part),
    };
    format!("{what} {PLUS_MINUS} {} %", two(100.0 * p.tolerance))
}

/// Is the difference that one hears the pickup or the pot?
fn tolerances(out: &mut Screen, document: &LoadsDocument) {
    out.line("");
    out.line("Parts within their tolerance, everything else as it is:");
    for (i, l) in document.loads.iter().enumerate() {
        let letter = words::letter(i);
        let Some(b) = &l.band else {
            out.listed(&letter, "no part of it has a tolerance");
            continue;
        };
        out.listed_in(&letter, words::list(b.parts.iter().map(part_words)), DIM);
        let text = match (l.peak_hz, b.peak_hz, b.height_db) {
            (Some(f), Some(hertz), Some(heights)) => {
                let ([a, z], [low, high], runs) = (hertz.map(hz), heights.map(db), b.runs);
                let [less, more] = hertz.map(|x| 100.0 * (x / f - 1.0));
                format!(
                    "peak {a} to {z} ({less:+.1} to {more:+.1} %), {low} to {high} above the lows (95 % of {runs} guitars)"
                )
            }
            (None, ..) => "no peak with the parts as printed".into(),
            _ => "some have a peak, some have none".into(),
        };
        out.listed("", text);
    }
    out.line(
        "Two pickups that differ by less than this may be one pickup with two pots: compare pickups on one harness.",
    );
    let known = document.loads.iter().find_map(|l| {
        let b = l.band.as_ref()?.peak_hz?;
        Some((Z95 * l.u.as_ref()?.peak_hz?, 0.5 * (b[1] - b[0])))
    });
    if let Some((coil, parts)) = known {
        let (better, worse) = match coil < parts {
            true => ("coil is", "parts"),
            false => ("parts are", "coil"),
        };
        let [low, high] = [coil.min(parts), coil.max(parts)].map(|x| format!("{PLUS_MINUS} {}", hz(x)));
        out.line(format!(
            "The {better} known better than the {worse}: {low} against {high}."
        ));
    }
}

fn reached(out: &mut Screen, document: &LoadsDocument, r: &ReachedFound) {
    for (p, knob) in r.parts.iter().filter_map(|p| Some((p, Knob::by_name(&p.quantity)?))) {
        let unit = knob.unit();
        let value = quantity::show(p.value, unit, 3);
        let text = match (p.u, unit) {
            (Some(u), quantity::Unit::Ohm) => number::interval(&bare(p.value, u), Unit::Ohm),
            (Some(u), quantity::Unit::Farad) => number::interval(&bare(p.value, u), Unit::Farad),
            (Some(u), _) => format!("{value} {PLUS_MINUS} {} {LEVEL}", two(Z95 * u)),
            (None, _) => value,
        };
        out.row_in(knob.words(), text, BOLD);
    }
    out.rows("as sold", r.as_sold.as_ref().map(as_sold));
    if document.loads.first().is_some_and(|l| l.u.is_none()) {
        out.row_in("", "exact for the coil as given; its uncertainty is not stated", DIM);
    }
    out.line("");
}

/// "220 pF: peak 3.16 kHz ± 19 Hz, +3.8 dB ± 0.037 dB above the lows (95 %)".
fn as_sold(sold: &SoldFound) -> String {
    let part = |p: &PartFound| {
        let knob = Knob::by_name(&p.quantity)?;
        let value = quantity::show(p.value, knob.unit(), 2);
        Some(match sold.parts.len() {
            1 => value,
            _ => format!("{} {value}", knob.words()),
        })
    };
    // Where the coil's uncertainty is not stated, the line below says so.
    let sure = |u: Option<f64>, unit| words::of(u, |u| format!(" {}", half(u, unit)));
    let (of_peak, of_height) = sold.u.map_or((None, None), |u| (u.peak_hz, u.height_db));
    let above = |h| format!(", {h:+.1} dB{} above the lows", sure(of_height, Unit::Decibel));
    let height = words::of(sold.height_db, above);
    let level = words::of(of_peak, |_| format!(" {LEVEL}"));
    let peak = sold
        .peak_hz
        .map(|f| format!("peak {}{}{height}{level}", hz(f), sure(of_peak, Unit::Hertz)));
    let peak = peak.unwrap_or("no peak".into());
    format!("{}: {peak}", words::list(sold.parts.iter().filter_map(part)))
}

fn details(out: &mut Screen, document: &LoadsDocument) {
    let p = &document.pickup;
    if let Some(loss) = p.loss_ohm {
        out.row_in("loss", format!("{} parallel to L", number::short(loss, Unit::Ohm)), DIM);
    }
    if let Some(e) = &p.eddy {
        let shape = e.shape();
        let shape: String = shape.iter().map(|(name, v)| format!(", {name} {}", two(*v))).collect();
        let (k, tau, emf) = (two(e.k), number::short(e.tau_s, Unit::Second), two(e.emf));
        out.row_in("metal", format!("metal: k {k}, tau {tau}, emf {emf}{shape}"), DIM);
    }
    for (i, l) in document.loads.iter().enumerate() {
        let [f0, q] = [(l.f0_hz, Unit::Hertz), (l.q, Unit::Ratio)].map(|(v, unit)| Some(number::four_digits(v?, unit)));
        let order = f0
            .zip(q)
            .map_or("not of second order".into(), |(f0, q)| format!("f0 {f0}, Q {q}"));
        let peak = l.peak_db.map_or("none".into(), |d| format!("{d:+.3} dB"));
        out.listed_in(&words::letter(i), format!("{order}, peak {peak} re EMF"), DIM);
    }
}

fn laid_over(out: &mut Screen, a: &Against) {
    out.line("");
    let verdict = match a.answer {
        Answer::Same => "it predicts these takes",
        Answer::Different => "it misses these takes by more than matters",
        Answer::CannotTell => "coil, parts and takes are not known well enough",
    };
    let text = format!("{:.2} dB apart (rms): {}: {verdict}", a.rms_db, answer(a.answer));
    out.row_in("Coil file", text, BOLD);
    for (i, t) in a.takes.iter().enumerate() {
        let paint = if t.answer == Answer::Same { PLAIN } else { WARN };
        let [name, load] = [&t.name, &t.load].map(|s| words::clean(s));
        let text = format!("{name}, {load}: {:.2} dB apart: {}", t.rms_db, answer(t.answer));
        out.row_in(&words::letter(i), text, paint);
        out.rows("", t.said.iter().map(said));
    }
    out.rows("note", &a.notes);
}

/// "peak off by -0.02 ± 0.20 % (95 %); 1 % matters (usual): the same".
fn said(s: &SaidOf) -> String {
    let off = |scale: f64, unit| number::bare_interval(&bare(scale * s.difference, scale * s.half / Z95), unit);
    let (off, unit) = match s.quantity.as_str() {
        "peak" => (off(100.0, Unit::Ratio) + " %", quantity::Unit::Relative),
        _ => (off(1.0, Unit::Decibel), quantity::Unit::Decibel),
    };
    let matters = quantity::show(s.matters, unit, 2);
    let usual = if s.usual { " (usual)" } else { "" };
    let level = number::level(s.usual_laying);
    let would = match s.open {
        None => "",
        Some(Open::Noise) => "; a take with less noise would",
        Some(Open::Laying) => "; a pickup laid down more steadily would",
        Some(Open::Near) => "; too near to what matters",
        Some(Open::Stated | Open::Days | Open::Rigs) => "; a closer coil file or closer parts would",
    };
    let name = if s.quantity == "height" {
        words::HEIGHT
    } else {
        &s.quantity
    };
    let answer = answer(s.answer);
    format!("{name} off by {off} {level}; {matters} matters{usual}: {answer}{would}")
}

fn freed(out: &mut Screen, u: &Undone) {
    out.line("");
    let name = words::clean(&u.name);
    out.row("Without it", format!("{name}: {} taken off, {} put on", u.from, u.to));
    match (&u.peak_hz, &u.height_db) {
        (Some(f), Some(d)) => {
            out.row_in("Peak", format!("{} at {}", hz(f.value), db(d.value)), BOLD);
            let [f, d] = [(f, Unit::Hertz), (d, Unit::Decibel)].map(|(e, unit)| number::bare_interval(e, unit));
            out.row("", format!("{f}, {d} above the lows {}", number::level(u.usual_laying)));
        }
        _ => out.row_in("Peak", "none that a model can tell: see the curve", BOLD),
    }
    out.rows("note", &u.notes);
}
