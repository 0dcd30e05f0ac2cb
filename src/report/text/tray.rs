//! What `tray` and `standard` show on the screen.

use std::path::PathBuf;

use super::screen::Screen;
use super::{BOLD, DIM, PLAIN, STOP, Style, WARN, two, words, written};
use crate::record::meters::{Column, Reading};
use crate::record::standard::{Call, Proposal, Standard};
use crate::record::tray::{Entry, Tray};
use crate::report::number::{self, PLUS_MINUS, Unit};

pub fn standard_text(s: &Standard, p: Option<&Proposal>, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.free(&format!("{}, version {}", words::clean(&s.name), s.version), BOLD);
    let per_cent = |v: f64| format!("{PLUS_MINUS} {} %", two(100.0 * v));
    out.row(
        "f0",
        &format!("{} {}", number::four_digits(s.f0.hz, Unit::Hertz), per_cent(s.f0.allow)),
        PLAIN,
    );
    out.row(
        "Q",
        &format!(
            "{} {}",
            number::four_digits(s.q.value, Unit::Ratio),
            per_cent(s.q.allow)
        ),
        PLAIN,
    );
    if let Some(l) = &s.level {
        out.row(
            "Level",
            &format!(
                "{:+.2} dB {PLUS_MINUS} {} dB; coupling, not loudness",
                l.db,
                two(l.allow_db)
            ),
            PLAIN,
        );
    }
    match s.polarity {
        Some(p) => out.row("Polarity", &format!("{p:+}"), PLAIN),
        None => out.row("Polarity", "not judged", PLAIN),
    }
    if let Some(p) = p {
        let of = match p.pickups < p.readings {
            true => format!("{} readings of {} by name", p.readings, p.pickups),
            false => format!("{} good ones", p.readings),
        };
        out.row(
            "Proposed",
            &format!(
                "from {of}, limits that hold 95 % of all such with 95 % confidence ({} standard deviations): f0 {}, Q {}",
                two(p.factor),
                per_cent(p.f0),
                per_cent(p.q)
            ),
            PLAIN,
        );
    }
    written(&mut out, files);
    out.text
}

pub fn tray_keys(t: &Tray) -> String {
    let judged = match &t.standard {
        Some(s) => format!("against {} version {}", words::clean(&s.name), s.version),
        None => "without a standard: nothing is judged".into(),
    };
    format!(
        "Lot {}, {judged}.\nEnter measures, r again, s skips, u takes back, n TEXT notes, q ends.",
        words::clean(&t.lot)
    )
}

pub fn tray_prompt(t: &Tray) -> String {
    format!("{}: lay it down, Enter", words::clean(&t.name(t.next)))
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
        None if e.record.is_some() => ("measured", BOLD),
        None => ("skipped", DIM),
    }
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
        let (word, paint) = call(e);
        line(&mut out, e, PLAIN);
        out.free(&format!("*** {}  {word} ***", words::clean(&e.name)), paint);
        if let Some(j) = &e.judged {
            if let Some(f) = &j.fault {
                out.row("", f, paint);
            }
            for r in &j.reasons {
                out.row("", r, PLAIN);
            }
        }
        for r in &e.readings {
            out.row(
                "",
                &format!("{} {}", words::clean(&r.column().to_string()), r.shown()),
                DIM,
            );
        }
        for u in e.readings.iter().filter_map(Reading::uneven) {
            out.row("", &u, WARN);
        }
    }
    out.text.trim_end().to_owned()
}

/// One entry in columns, or where these do not fit, in words.
fn line(out: &mut Screen, e: &Entry, paint: anstyle::Style) {
    const WIDEST: usize = 58;
    let f0 = e
        .f0_hz
        .map_or("-".into(), |x| number::four_digits(x.value, Unit::Hertz));
    let q = e.q.map_or("-".into(), |x| number::four_digits(x.value, Unit::Ratio));
    let word = call(e).0.split(',').next().unwrap_or("");
    let name: String = words::clean(&e.name).chars().take(24).collect();
    if out.style.usable() < WIDEST {
        out.free(&format!("{name}: f0 {f0}, Q {q}, {word}"), paint);
    } else {
        out.raw(&format!("{name:<24} {f0:>10}  Q {q:<7} {word}"), paint);
    }
}

pub fn tray_summary(t: &Tray, style: Style) -> String {
    let mut out = Screen::new(style);
    let c = t.counts();
    let parts: Vec<String> = [
        (c.pass, "pass"),
        (c.outside, "outside"),
        (c.cannot_tell, "cannot tell"),
        (c.no_reading, "no reading"),
        (c.measured, "measured"),
        (c.skipped, "skipped"),
    ]
    .into_iter()
    .filter(|p| p.0 > 0)
    .map(|(n, w)| format!("{n} {w}"))
    .collect();
    let parts = if parts.is_empty() {
        "nothing measured yet".into()
    } else {
        parts.join(", ")
    };
    out.free(&format!("Lot {}: {parts}", words::clean(&t.lot)), BOLD);
    for e in t.standing() {
        let pass = e.judged.as_ref().is_none_or(|j| j.call == Call::Pass);
        let uneven: Vec<String> = e.readings.iter().filter_map(Reading::uneven).collect();
        if pass && e.notes.is_empty() && uneven.is_empty() && e.record.is_some() {
            continue;
        }
        let (word, paint) = call(e);
        let mut why: Vec<String> = e
            .judged
            .iter()
            .flat_map(|j| j.fault.iter().chain(&j.reasons))
            .cloned()
            .collect();
        why.extend(uneven);
        why.extend(e.notes.iter().map(|n| format!("note: {}", words::clean(n))));
        out.free(&format!("{}: {word}", words::clean(&e.name)), paint);
        for w in why {
            out.row("", &w, PLAIN);
        }
    }
    for m in t.tallies() {
        let scatter =
            m.sd.map_or(String::new(), |s| format!(", scatter {} %", two(100.0 * s / m.mean)));
        out.free(
            &format!(
                "{}: {} of {}{scatter}, {} to {}",
                words::clean(&m.column.to_string()),
                m.shown(m.mean),
                m.readings,
                m.shown(m.least),
                m.shown(m.most)
            ),
            PLAIN,
        );
    }
    out.row("", "the same command goes on with the lot where it stopped", DIM);
    out.text
}
