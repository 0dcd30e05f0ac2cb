//! What the commands on rigs show on the screen.

use std::path::{Path, PathBuf};

use super::screen::Screen;
use super::{BOLD, DIM, PLAIN, SIMULATED, STOP, Style, WARN, two, words, written};
use crate::quantity::signed;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit};
use crate::shop::witness::checks::{CheckDocument, RigDocument};
use crate::shop::witness::history::Change;
use crate::shop::witness::repeat::{PolarityDocument, RepeatDocument, Spread};

pub fn rig_text(d: &RigDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let unit = d
        .unit
        .as_deref()
        .map_or(String::new(), |u| format!(", unit {}", words::clean(u)));
    out.free(&format!("{}{unit}", words::clean(&d.name)), BOLD);
    for w in &d.words {
        out.free(w, PLAIN);
    }
    match (&d.witness, d.checks, &d.last_good) {
        (None, ..) => out.free(
            "No witness is named: nothing can tell whether this rig is still what it was.",
            PLAIN,
        ),
        (Some(w), 0, _) => out.free(
            &format!("Its witness is {}; it has not been checked yet.", words::clean(w)),
            PLAIN,
        ),
        (Some(w), n, last) => out.free(
            &format!(
                "Its witness is {}: {n} checks, the last good one {}.",
                words::clean(w),
                last.as_deref().map_or("none".into(), words::when)
            ),
            PLAIN,
        ),
    }
    if let Some(c) = &d.changed {
        out.free(&changed(c), PLAIN);
    }
    for o in &d.open {
        out.row("open", o, DIM);
    }
    out.row("hash", &d.hash, DIM);
    out.text
}

/// "Changed 2026-02-01: new lead. The checks before that are kept in north.checks.1.json."
fn changed(c: &Change) -> String {
    let kept = c.before.as_deref().map_or(String::new(), |b| {
        format!(" The checks before that are kept in {}.", words::clean(b))
    });
    format!("Changed {}: {}.{kept}", words::when(&c.at), words::clean(&c.what))
}

pub fn changed_text(d: &RigDocument, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.free("From now on this rig's checks are counted anew.", BOLD);
    out.free(&d.changed.as_ref().map_or(String::new(), changed), PLAIN);
    out.free(
        "What its file says of the part that was changed is to be measured again (`coilwright rig inputs`, docs/bench.md).",
        PLAIN,
    );
    written(&mut out, files);
    out.text
}

pub fn pack_text(d: &RigDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    out.free(&format!("To pack with {}:", words::clean(&d.name)), BOLD);
    for (what, text) in &d.pack {
        out.listed("[ ]", &format!("{what}: {}", words::clean(text)), PLAIN);
    }
    out.free("", PLAIN);
    out.free(
        "On arrival: headphones off the ears, phantom power off, then `coilwright rig check`: go or no-go.",
        PLAIN,
    );
    out.text
}

pub fn check_text(d: &CheckDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let (word, paint) = match d.verdict.as_str() {
        "go" => ("GO: the rig is still the rig", BOLD),
        "no-go" => ("NO GO: something has changed", STOP),
        _ => ("noted: too few checks yet to judge by", BOLD),
    };
    out.free(word, paint);
    if d.simulated {
        out.free(SIMULATED, WARN);
    }
    out.row(
        "Rig",
        &format!("{}, by {}", words::clean(&d.rig), words::clean(&d.witness)),
        PLAIN,
    );
    if let Some(peak) = &d.peak_hz {
        out.row("Peak", &number::interval(peak, Unit::Hertz), PLAIN);
    }
    out.row("f0", &number::interval(&d.f0_hz, Unit::Hertz), PLAIN);
    out.row("Q", &number::interval(&d.q, Unit::Ratio), PLAIN);
    for a in &d.advice {
        out.row("", a, if d.verdict == "no-go" { WARN } else { PLAIN });
    }
    for q in &d.quantities {
        let (scale, unit) = match q.quantity.as_str() {
            "f0" | "q" => (100.0, "%"),
            _ => (1.0, "dB"),
        };
        let name = match q.quantity.as_str() {
            "q" => "Q",
            other => other,
        };
        let mut text = format!(
            "{} {unit} from the baseline ({})",
            signed(scale * q.off, 3),
            match q.quantity.as_str() {
                "noise" | "hum" => format!("at most +{}", two(scale * q.limit)),
                _ => format!("limits {PLUS_MINUS} {}", two(scale * q.limit)),
            }
        );
        if let (Some(a), Some(l)) = (q.average_off, q.average_limit) {
            text.push_str(&format!(
                ", average {} ({PLUS_MINUS} {})",
                signed(scale * a, 3),
                two(scale * l)
            ));
        }
        let paint = if q.state == "within" { DIM } else { WARN };
        out.row(name, &text, paint);
    }
    for u in &d.unjudged {
        let why = match u.checks < d.baseline_needed {
            true => format!("not judged: {} of {} good checks know it", u.checks, d.baseline_needed),
            false => "not judged: this take does not tell it".to_owned(),
        };
        out.row(&u.quantity, &why, DIM);
    }
    out.text
}

fn spread(s: &Spread, scale: f64, unit: &str) -> String {
    format!(
        "{} {unit} ({} to {} {LEVEL})",
        two(scale * s.sd),
        two(scale * s.low),
        two(scale * s.high)
    )
}

pub fn repeat_text(d: &RepeatDocument, files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    out.free(
        &format!(
            "This rig can tell {} % in f0 apart, and {} % in Q.",
            two(100.0 * d.tells_f0),
            two(100.0 * d.tells_q)
        ),
        BOLD,
    );
    if d.simulated {
        out.free(SIMULATED, WARN);
    }
    out.row(
        "From",
        &format!(
            "{} readings of {} on {}, taken out and laid back",
            d.readings,
            match d.pickups {
                1 => "1 pickup".to_owned(),
                n => format!("{n} pickups"),
            },
            words::clean(&d.rig)
        ),
        PLAIN,
    );
    out.row("f0", &format!("scatter {}", spread(&d.f0, 100.0, "%")), PLAIN);
    out.row("Q", &format!("scatter {}", spread(&d.q, 100.0, "%")), PLAIN);
    if let Some(s) = &d.peak_db {
        out.row("Peak height", &format!("scatter {}", spread(s, 1.0, "dB")), PLAIN);
    }
    if let Some(s) = &d.level_db {
        out.row("Level", &format!("scatter {}", spread(s, 1.0, "dB")), PLAIN);
    }
    if d.freedom < 8 {
        out.row(
            "note",
            "few repeats: five pickups, three times each, would tell better",
            DIM,
        );
    }
    written(&mut out, files);
    out.text
}

/// `into`: the file it has been written into; `there`: what it said before.
pub fn polarity_text(d: &PolarityDocument, into: Option<&Path>, there: Option<i8>, style: Style) -> String {
    let mut out = Screen::new(style);
    out.free(
        &match into {
            Some(_) if there == Some(d.sign) => {
                format!("The rig's sign is {:+} already; nothing was to be written.", d.sign)
            }
            Some(_) => format!("The rig's sign is {:+}; it is written into the rig file.", d.sign),
            None => format!("Write into the rig file, below [exciter]: sign = {}", d.sign),
        },
        BOLD,
    );
    if let Some(s) = there.filter(|s| *s != d.sign) {
        out.free(
            &format!("{s:+} stood there: is the exciter as it was, and the pickup the right one?"),
            WARN,
        );
    }
    out.free(
        &format!(
            "From {}, whose winding you said to be {:+}. The magnet plays no part in this.",
            words::clean(&d.pickup),
            d.known
        ),
        PLAIN,
    );
    out.text
}
