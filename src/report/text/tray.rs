//! What `tray` and `standard` show on the screen.

use std::path::PathBuf;

use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::estimate::Estimate;
use crate::quantity::{self, signed};
use crate::record::meters::{Column, Reading};
use crate::record::{Code, Cure, Finding, Record};
use crate::report::number::{self, PLUS_MINUS, Unit, two};
use crate::report::words;
use crate::shop::lot::{Entry, Tray, Undone};
use crate::shop::standard::{Call, Judged, Proposal, Standard};
use crate::shop::yardstick::{Answer, Quantity};

pub fn standard_text(s: &Standard, p: Option<&Proposal>, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(format!("{}, version {}", words::clean(&s.name), s.version), BOLD);
    let f0 = number::four_digits(s.f0.hz, Unit::Hertz);
    out.row("f0", format!("{f0} {}", per_cent(s.f0.allow)));
    let q = number::four_digits(s.q.value, Unit::Ratio);
    out.row("Q", format!("{q} {}", per_cent(s.q.allow)));
    if let Some(l) = &s.level {
        let allow = two(l.allow_db);
        out.row(
            "Level",
            format!("{:+.2} dB {PLUS_MINUS} {allow} dB; coupling, not loudness", l.db),
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
    let level = p
        .level_db
        .map_or(String::new(), |l| format!(", level {PLUS_MINUS} {} dB", two(l)));
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
    let what = entry.map(|e| line_alone(e, style)).unwrap_or_default();
    format!("The tray was cut off before this was entered; now it is:\n{what}")
}

/// Asks for a figure of another meter; `before` is what it read of the same one earlier.
pub fn tray_ask(c: &Column, before: Option<&Reading>) -> String {
    let skip = before.map_or("Enter skips".into(), |r| format!("Enter keeps {}", r.shown()));
    format!("  {} ({skip}):", words::clean(&c.to_string()))
}

fn call(e: &Entry) -> (&'static str, anstyle::Style) {
    match e.judged.as_ref().map(|j| j.call) {
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
    match (warning, e.judged.as_ref().map(|j| j.call)) {
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
        let name = if a.quantity == Quantity::Q {
            "Q"
        } else {
            a.quantity.code()
        };
        let (scale, unit) = match a.quantity.is_relative() {
            true => (100.0, "%"),
            false => (1.0, "dB"),
        };
        let h = a.held;
        // A meter's display tells no uncertainty.
        let known = match (h.half_95 > 0.0, h.usual) {
            (false, _) => String::new(),
            (true, false) => format!(", known to {:.2}", scale * h.half_95),
            (true, true) => format!(", known to {:.2} as usual", scale * h.half_95),
        };
        let off = signed(scale * h.off, 2);
        format!("{name} {off} {unit} (allowed {:.2}{known})", scale * h.limit)
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
        for r in &e.readings {
            let column = words::clean(&r.column().to_string());
            out.row_in("", format!("{column} {}", r.shown()), DIM);
        }
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
    let name: String = words::clean(&e.name).chars().take(24).collect();
    if out.style.usable() < WIDEST {
        out.line_in(format!("{name}: peak {peak}, f0 {f0}, Q {q}, {word}"), paint);
    } else {
        out.raw(
            &format!("{name:<24} peak {peak:>9}  f0 {f0:>9}  Q {q:<6} {word}"),
            paint,
        );
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
    for e in t.standing() {
        let pass = e.judged.as_ref().is_none_or(|j| j.call == Call::Pass);
        let why = why(e);
        if pass && why.is_empty() && e.record.is_some() {
            continue;
        }
        out.line_in(format!("{}: {}", words::clean(&e.name), verdict(e)), call(e).1);
        out.rows("", why);
    }
    out.lines(of_all(t));
    out.row_in("", "the same command goes on with the lot where it stopped", DIM);
    out.text
}

/// All that is odd about one, and what was noted.
pub(in crate::report) fn why(e: &Entry) -> Vec<String> {
    let judged = e.judged.iter();
    let mut why: Vec<String> = judged
        .flat_map(|j| j.fault.iter().chain(&j.reasons).cloned().chain(limits(j, false)))
        .collect();
    why.extend(of_kind(e, Cure::Pickup).map(|f| f.text.clone()));
    why.extend(e.readings.iter().filter_map(Reading::uneven));
    why.extend(e.notes.iter().map(|n| format!("note: {}", words::clean(n))));
    why
}

/// What is said of the whole lot: the rig's warnings, the ohms that are missing, and a line for each instrument.
pub(in crate::report) fn of_all(t: &Tray) -> Vec<String> {
    let mut out = Vec::new();
    let mut said: Vec<Code> = Vec::new();
    for f in t.standing().flat_map(|e| of_kind(e, Cure::Rig)) {
        if !said.contains(&f.code) {
            said.push(f.code);
            out.push(format!("Of this rig: {}", f.text));
        }
    }
    if let Some(s) = t.standard.as_ref().filter(|s| s.r20_allow.is_some()) {
        let unread = |e: &&Entry| {
            let passed = matches!(e.judged.as_ref().map(|j| j.call), Some(Call::Pass | Call::Kept));
            passed && !e.readings.iter().any(|r| s.judges(&r.column()))
        };
        let names: Vec<String> = t.standing().filter(unread).map(|e| words::clean(&e.name)).collect();
        if !names.is_empty() {
            let names = names.join(", ");
            out.push(format!("Ohms not judged, as none were typed: {names}"));
        }
    }
    for m in t.tallies() {
        let scatter =
            m.sd.map_or(String::new(), |s| format!(", scatter {} %", two(100.0 * s / m.mean)));
        let column = words::clean(&m.column.to_string());
        let [middle, least, most] = [m.mean, m.least, m.most].map(|v| m.shown(v));
        out.push(format!(
            "{column}: {middle} of {}{scatter}, {least} to {most}",
            m.readings
        ));
    }
    out
}
