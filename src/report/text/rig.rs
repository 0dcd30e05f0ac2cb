//! What the commands on rigs show on the screen.

use std::path::{Path, PathBuf};

use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::quantity::signed;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit, two};
use crate::report::words;
use crate::shop::witness::checks::{CheckDocument, QuantityFound, RigDocument};
use crate::shop::witness::history::{Change, Quantity};
use crate::shop::witness::repeat::{PolarityDocument, RepeatDocument, Spread};

pub fn rig_text(d: &RigDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let unit = words::of(d.unit.as_deref(), |u| format!(", unit {}", words::clean(u)));
    out.line_in(words::clean(&d.name) + &unit, BOLD);
    out.lines(&d.words);
    let witness = d.witness.as_deref().map(words::clean);
    out.line(match (witness, d.checks, &d.last_good) {
        (None, ..) => "No witness is named: nothing can tell whether this rig is still what it was.".to_owned(),
        (Some(w), 0, _) => format!("Its witness is {w}; it has not been checked yet."),
        (Some(w), n, last) => {
            let last = last.as_deref().map_or("none".into(), words::when);
            format!("Its witness is {w}: {n} checks, the last good one {last}.")
        }
    });
    out.lines(d.changed.as_ref().map(changed));
    out.rows_in("open", &d.open, DIM);
    out.row_in("hash", &d.hash, DIM);
    out.text
}

/// "Changed 2026-02-01: new lead. The checks before that are kept in north.checks.1.json."
fn changed(c: &Change) -> String {
    let kept = words::of(c.before.as_deref(), |b| {
        format!(" The checks before that are kept in {}.", words::clean(b))
    });
    format!("Changed {}: {}.{}", words::when(&c.at), words::clean(&c.what), kept)
}

pub fn changed_text(d: &RigDocument, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in("From now on this rig's checks are counted anew.", BOLD);
    out.lines(d.changed.as_ref().map(changed));
    out.line("If the rig file states a value of the part that was changed, measure it again (`coilwright rig inputs`, docs/bench.md).");
    out.written(files);
    out.text
}

pub fn pack_text(d: &RigDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    out.line_in(format!("To pack with {}:", words::clean(&d.name)), BOLD);
    for (what, text) in &d.pack {
        out.listed("[ ]", format!("{what}: {}", words::clean(text)));
    }
    out.line("");
    out.line("On arrival: headphones off the ears, phantom power off, then `coilwright rig check`: go or no-go.");
    out.text
}

pub fn check_text(d: &CheckDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let (word, paint) = match (d.verdict.as_str(), d.provisional) {
        ("go", false) => ("GO: the rig is still the rig", BOLD),
        ("go", true) => ("GO, by provisional limits: the rig is still the rig", BOLD),
        ("no-go", false) => ("NO GO: something has changed", STOP),
        ("no-go", true) => ("NO GO, by provisional limits: something has changed", STOP),
        _ => ("noted: the first check; later ones are judged against it", BOLD),
    };
    out.line_in(word, paint);
    out.stamp(d.simulated);
    let [rig, witness] = [&d.rig, &d.witness].map(|s| words::clean(s));
    out.row("Rig", format!("{rig}, by {witness}"));
    let within = |s, unit| words::within(&s, unit);
    out.rows("Peak", d.shown.peak.map(|s| within(s, Unit::Hertz)));
    out.row("f0", within(d.shown.f0, Unit::Hertz));
    out.row("Q", within(d.shown.q, Unit::Ratio));
    if let Some(at) = &d.at {
        let at = words::clean(at);
        let changed = match d.verdict.as_str() {
            "no-go" => "the journey changed what stands below",
            "go" => "the journey changed nothing that the witness hears",
            _ => "there is no check from home to compare it with",
        };
        out.row("At", format!("{at}: {changed}"));
    }
    out.rows_in("", &d.advice, if d.verdict == "no-go" { WARN } else { PLAIN });
    for q in &d.quantities {
        let paint = if q.state == "within" { DIM } else { WARN };
        out.row_in(quantity(q.quantity), charted(q), paint);
    }
    for u in &d.unjudged {
        let why = match u.checks {
            0 => "not judged: no good check before knows it",
            _ => "not judged: this take does not tell it",
        };
        out.row_in(quantity(u.quantity), why, DIM);
    }
    out.text
}

fn quantity(q: Quantity) -> &'static str {
    match q {
        Quantity::F0 => "f0",
        Quantity::Q => "Q",
        Quantity::Level => "level",
        Quantity::Noise => "noise",
        Quantity::Hum => "hum",
    }
}

/// "+0.012 % from the checks before (limits ± 0.15), average ...".
fn charted(q: &QuantityFound) -> String {
    let apart = |v| number::apart(matches!(q.quantity, Quantity::F0 | Quantity::Q), v);
    let (off, limit) = (|v| signed(apart(v).0, 3), |v| two(apart(v).0));
    let limits = match q.quantity.one_sided() {
        true => "at most +".to_owned(),
        false => format!("limits {PLUS_MINUS} "),
    };
    let average = q.average_off.zip(q.average_limit);
    let average = words::of(average, |(a, l)| {
        format!(", average {} ({PLUS_MINUS} {})", off(a), limit(l))
    });
    let unit = apart(0.0).1;
    format!(
        "{} {unit} from the checks before ({limits}{}){average}",
        off(q.off),
        limit(q.limit)
    )
}

fn spread(s: &Spread, scale: f64, unit: &str) -> String {
    let [sd, low, high] = [s.sd, s.low, s.high].map(|v| two(scale * v));
    format!("scatter {sd} {unit} ({low} to {high} {LEVEL})")
}

pub fn repeat_text(d: &RepeatDocument, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    let [f0, q] = [d.tells_f0, d.tells_q].map(|v| two(100.0 * v));
    let tells = format!("This rig can tell pickups apart that differ by {f0} % in f0, or by {q} % in Q.");
    out.line_in(tells, BOLD);
    out.stamp(d.simulated);
    let (n, s, rig, all) = (d.pickups, words::plural(d.pickups), words::clean(&d.rig), d.readings);
    out.row(
        "From",
        format!("{all} readings of {n} pickup{s} on {rig}, taken out and laid back"),
    );
    out.row("f0", spread(&d.f0, 100.0, "%"));
    out.row("Q", spread(&d.q, 100.0, "%"));
    let decibels = |s: &Spread| spread(s, 1.0, "dB");
    out.rows("Peak height", d.peak_db.as_ref().map(decibels));
    out.rows("Level", d.level_db.as_ref().map(decibels));
    let few = "few repeats: five pickups, three times each, would tell better";
    out.rows_in("note", (d.freedom < 8).then_some(few), DIM);
    out.written(files);
    out.text
}

/// `into`: the file it has been written into; `there`: what it said before.
pub fn polarity_text(d: &PolarityDocument, into: Option<&Path>, there: Option<i8>, style: Style) -> String {
    let mut out = Screen::new(style);
    let (sign, name, known) = (d.sign, words::clean(&d.pickup), d.known);
    let said = match into {
        Some(_) if there == Some(sign) => format!("The rig's sign is {sign:+} already; nothing was to be written."),
        Some(_) => format!("The rig's sign is {sign:+}; it is written into the rig file."),
        None => format!("Write into the rig file, below [exciter]: sign = {sign}"),
    };
    out.line_in(said, BOLD);
    if let Some(s) = there.filter(|s| *s != sign) {
        let other = format!("{s:+} stood there: is the exciter as it was, and the pickup the right one?");
        out.line_in(other, WARN);
    }
    out.line(format!(
        "From {name}, whose winding you said to be {known:+}. The magnet plays no part in this."
    ));
    out.text
}
