//! What `tray` and `standard` show on the screen.

use std::path::PathBuf;

use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::estimate::Estimate;
use crate::quantity::{self, signed};
use crate::record::meters::{Column, Reading};
use crate::record::{Cure, Finding, Record};
use crate::report::number::{self, PLUS_MINUS, Unit, two};
use crate::report::words;
use crate::shop::lot::{Entry, Tray, Undone};
use crate::shop::standard::{Call, Judged, Proposal, Standard};
use crate::shop::yardstick::Answer;
use crate::stats::grouped;
use crate::wrap;

pub fn standard_text(s: &Standard, p: Option<&Proposal>, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(format!("{}, version {}", words::clean(&s.name), s.version), BOLD);
    let f0 = number::four_digits(s.f0.hz, Unit::Hertz);
    out.row("f0", format!("{f0} {}", per_cent(s.f0.allow)));
    let q = number::four_digits(s.q.value, Unit::Ratio);
    out.row("Q", format!("{q} {}", per_cent(s.q.allow)));
    if let Some(l) = &s.level {
        let (db, allow) = (l.db, two(l.allow_db));
        out.row(
            "Level",
            format!("{db:+.2} dB {PLUS_MINUS} {allow} dB; coupling, not loudness"),
        );
    }
    if let Some((ohm, allow)) = s.r20_ohm.zip(s.r20_allow) {
        let meter = words::clean(s.ohmmeter.as_deref().unwrap_or_default());
        let ohms = quantity::show(ohm, quantity::Unit::Ohm, 4);
        out.row("Ohms", format!("{ohms} {} by {meter}", per_cent(allow)));
    }
    out.row("Polarity", s.polarity.map_or("not judged".into(), |p| format!("{p:+}")));
    out.rows("Proposed", p.map(proposed));
    out.written(files);
    out.text
}

fn per_cent(v: f64) -> String {
    format!("{PLUS_MINUS} {} %", two(100.0 * v))
}

fn proposed(p: &Proposal) -> String {
    let of = match p.pickups < p.readings {
        true => format!("{} readings of {} by name", p.readings, p.pickups),
        false => format!("{} good ones", p.readings),
    };
    let level = words::of(p.level_db, |l| format!(", level {PLUS_MINUS} {} dB", two(l)));
    let lots = match p.one_lot {
        true => "; all of one lot, and lots differ too: of several the limits would be wider",
        false => "",
    };
    format!(
        "from {of}, limits that together hold 95 % of all such with 95 % confidence ({} standard deviations): f0 {}, Q {}{level}{lots}",
        two(p.factor),
        per_cent(p.f0),
        per_cent(p.q)
    )
}

pub fn tray_keys(t: &Tray) -> String {
    let judged = match &t.standard {
        Some(s) => format!("against {} version {}", words::clean(&s.name), s.version),
        None => "without a standard: nothing is judged".into(),
    };
    format!(
        "Lot {}, {judged}.\nEnter measures, r again, k keeps, s skips, u takes back, n TEXT notes, q ends.",
        words::clean(&t.lot)
    )
}

pub fn tray_prompt(t: &Tray) -> String {
    let keys = match t.at(t.next) {
        Some(e) if e.f0_hz.is_some() => "Enter measures it again, k keeps it, s leaves it",
        Some(_) => "Enter measures it again, s leaves it",
        None => "lay it down, Enter",
    };
    format!("{}: {keys}", words::clean(&t.name(t.next)))
}

/// What a step back came to.
pub fn tray_undone(t: &Tray, undone: Undone, style: Style) -> String {
    match t.at(undone.number).filter(|_| undone.stands) {
        Some(e) => format!("taken back; this stands again:\n{}", line_alone(e, style)),
        None => {
            let mut takes = t.entries.iter().filter(|e| e.record.is_some());
            let what = match takes.any(|e| e.number == undone.number) {
                true => "taken back; its record stays",
                false => "no longer skipped",
            };
            format!("number {} is {what}", undone.number)
        }
    }
}

/// What a take was worth less than.
pub fn tray_before_stands(record: &Record) -> String {
    let why = match (record.rejected_for(), record.curable()) {
        (Some(f), _) => format!("no reading ({})", f.text),
        (None, Some(f)) => format!("to be measured again ({})", f.text),
        (None, None) => "no reading".into(),
    };
    format!("{why}; the one before stands")
}

/// A record that was found when the lot was opened.
pub fn tray_taken_in(t: &Tray, folder: &str, style: Style) -> String {
    let entry = t.entries.iter().find(|e| e.record.as_deref() == Some(folder));
    let what = words::of(entry, |e| line_alone(e, style));
    format!("The tray was cut off before this was entered; now it is:\n{what}")
}

/// Asks for a figure of another meter; `before` is what it read of the same one earlier.
pub fn tray_ask(c: &Column, before: Option<&Reading>) -> String {
    let skip = before.map_or("Enter skips".into(), |r| format!("Enter keeps {}", r.shown()));
    format!("  {} ({skip}):", words::clean(&c.to_string()))
}

fn judged(e: &Entry) -> Option<Call> {
    e.judged.as_ref().map(|j| j.call)
}

fn call(e: &Entry) -> (&'static str, anstyle::Style) {
    match judged(e) {
        Some(Call::Pass) => ("PASS", BOLD),
        Some(Call::Outside) => ("OUTSIDE", STOP),
        Some(Call::CannotTell) => ("CANNOT TELL", WARN),
        Some(Call::NoReading) => ("NO READING, measure again", STOP),
        Some(Call::MeasureAgain) => ("MEASURE AGAIN", STOP),
        Some(Call::Kept) => ("KEPT", WARN),
        None if e.record.is_some() => ("measured", BOLD),
        None => ("skipped", DIM),
    }
}

/// The last word on one, with the reason where another take may be rid of it.
pub(in crate::report) fn verdict(e: &Entry) -> String {
    let (word, warning) = (call(e).0, of_kind(e, Cure::AnotherTake).next());
    match (warning, judged(e)) {
        (Some(f), Some(Call::MeasureAgain)) => format!("{word}: {}", words::finding(f.code)),
        (Some(f), Some(Call::Kept)) => format!("{word} all the same: {}", words::finding(f.code)),
        (Some(f), Some(Call::Outside | Call::CannotTell)) => format!("{word}, and kept: {}", words::finding(f.code)),
        _ => word.into(),
    }
}

fn of_kind(e: &Entry, cure: Cure) -> impl Iterator<Item = &Finding> {
    e.warnings.iter().filter(move |f| f.code.cure() == cure)
}

/// The limits that a reading is within, or those that it is not; each with what decided.
fn limits(j: &Judged, within: bool) -> impl Iterator<Item = String> {
    let those = j
        .against
        .iter()
        .filter(move |a| (a.held.answer == Answer::Same) == within);
    those.map(|a| {
        let name = words::brief(a.quantity);
        let (scale, unit) = number::size(a.quantity.is_relative(), 1.0);
        let h = a.held;
        let usual = if h.usual { " as usual" } else { "" };
        // A meter's display tells no uncertainty.
        let known = Some(scale * h.half_95).filter(|half| *half > 0.0);
        let known = words::of(known, |half| format!(", known to {half:.2}{usual}"));
        let (off, allowed) = (signed(scale * h.off, 2), scale * h.limit);
        format!("{name} {off} {unit} (allowed {allowed:.2}{known})")
    })
}

/// Lines of the running table.
const TABLE: usize = 8;

/// The last one in large words, and the table of those before it.
pub fn tray_step(t: &Tray, style: Style) -> String {
    let mut out = Screen::new(style);
    let last: Vec<&Entry> = t.standing().rev().take(TABLE).collect();
    for e in last.iter().skip(1).rev() {
        line(&mut out, e, DIM);
    }
    if let Some(e) = last.first() {
        let paint = call(e).1;
        line(&mut out, e, PLAIN);
        out.line_in(format!("*** {}  {} ***", words::clean(&e.name), verdict(e)), paint);
        if let Some(j) = &e.judged {
            out.rows_in("", &j.fault, paint);
            out.rows("", j.reasons.iter().cloned().chain(limits(j, false)));
            out.rows_in("", words::joined(limits(j, true).map(Some)), DIM);
        }
        out.rows_in("", of_kind(e, Cure::Pickup).map(|f| &f.text), WARN);
        out.rows_in("", e.readings.iter().map(words::by_meter), DIM);
        out.rows_in("", e.readings.iter().filter_map(Reading::uneven), WARN);
    }
    out.text.trim_end().to_owned()
}

/// One entry in columns, or where these do not fit, in words.
fn line(out: &mut Screen, e: &Entry, paint: anstyle::Style) {
    const WIDEST: usize = 78;
    let shown = |x: Option<Estimate>, unit| x.map_or("-".into(), |x| number::four_digits(x.value, unit));
    let [peak, f0] = [e.peak_hz, e.f0_hz].map(|x| shown(x, Unit::Hertz));
    let q = shown(e.q, Unit::Ratio);
    let word = call(e).0.split(',').next().unwrap_or("");
    let name = words::clean(&e.name);
    let name = wrap::cut(&name, 24);
    if out.style.usable() < WIDEST {
        out.line_in(format!("{name}: peak {peak}, f0 {f0}, Q {q}, {word}"), paint);
    } else {
        let name = wrap::padded(name, 24);
        let columns = format!("{name} peak {peak:>9}  f0 {f0:>9}  Q {q:<6} {word}");
        out.raw(&columns, paint);
    }
}

fn line_alone(e: &Entry, style: Style) -> String {
    let mut out = Screen::new(style);
    line(&mut out, e, PLAIN);
    out.text.trim_end().to_owned()
}

/// "11 pass, 1 outside".
pub(in crate::report) fn counted(t: &Tray) -> String {
    let c = t.counts();
    let counts = [
        (c.pass, "pass"),
        (c.outside, "outside"),
        (c.cannot_tell, "cannot tell"),
        (c.kept, "kept all the same"),
        (c.measure_again, "to be measured again"),
        (c.no_reading, "no reading"),
        (c.measured, "measured"),
        (c.skipped, "skipped"),
    ];
    let parts = words::joined(counts.map(|(n, what)| (n > 0).then(|| format!("{n} {what}"))));
    parts.unwrap_or("nothing measured yet".into())
}

pub fn tray_summary(t: &Tray, style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(format!("Lot {}: {}", words::clean(&t.lot), counted(t)), BOLD);
    for (e, why) in t.standing().map(|e| (e, why(e))) {
        let pass = judged(e).is_none_or(|call| call == Call::Pass);
        if !pass || !why.is_empty() || e.record.is_none() {
            out.line_in(format!("{}: {}", words::clean(&e.name), verdict(e)), call(e).1);
            out.rows("", why);
        }
    }
    out.lines(of_all(t));
    out.row_in("", "the same command goes on with the lot where it stopped", DIM);
    out.text
}

/// All that is odd about one, and what was noted.
pub(in crate::report) fn why(e: &Entry) -> Vec<String> {
    let judged = e.judged.iter();
    let judged = judged.flat_map(|j| j.fault.iter().chain(&j.reasons).cloned().chain(limits(j, false)));
    let warned = of_kind(e, Cure::Pickup).map(|f| f.text.clone());
    let uneven = e.readings.iter().filter_map(Reading::uneven);
    let notes = e.notes.iter().map(|n| format!("note: {}", words::clean(n)));
    judged.chain(warned).chain(uneven).chain(notes).collect()
}

/// What is said of the whole lot: the rig's warnings, the ohms that are missing, and a line for each instrument.
pub(in crate::report) fn of_all(t: &Tray) -> Vec<String> {
    let of_rig = grouped(
        t.standing()
            .flat_map(|e| of_kind(e, Cure::Rig))
            .map(|f| (f.code, &f.text)),
    );
    let mut out: Vec<String> = of_rig
        .iter()
        .map(|(_, texts)| format!("Of this rig: {}", texts[0]))
        .collect();
    if let Some(s) = t.standard.as_ref().filter(|s| s.r20_allow.is_some()) {
        let passed = t
            .standing()
            .filter(|e| matches!(judged(e), Some(Call::Pass | Call::Kept)));
        let unread = passed.filter(|e| !e.readings.iter().any(|r| s.judges(&r.column())));
        let names = words::joined(unread.map(|e| Some(words::clean(&e.name))));
        out.extend(names.map(|names| format!("Ohms not judged, as none were typed: {names}")));
    }
    for m in t.tallies() {
        let scatter = words::of(m.sd, |s| format!(", scatter {} %", two(100.0 * s / m.mean)));
        let (column, n) = (words::clean(&m.column.to_string()), m.readings);
        let [middle, least, most] = [m.mean, m.least, m.most].map(|v| m.shown(v));
        out.push(format!("{column}: {middle} of {n}{scatter}, {least} to {most}"));
    }
    out
}
