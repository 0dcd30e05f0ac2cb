//! What `potting` shows on the screen.

use super::screen::Screen;
use super::{BOLD, DIM, PLAIN, SIMULATED, STOP, Style, WARN, two, words};
use crate::estimate::{Estimate, Z95};
use crate::quantity::signed;
use crate::report::number::{self, LEVEL, PLUS_MINUS, Unit};
use crate::shop::wax::{Pair, PotVerdict, PottingDocument};

fn verdict(p: &Pair) -> &'static str {
    match p.verdict {
        PotVerdict::Unchanged => "unchanged",
        PotVerdict::Wax => "as wax does",
        PotVerdict::Other => "LOOK AT IT",
        PotVerdict::CannotTell => "cannot tell",
        PotVerdict::Warm => "WARM",
    }
}

pub fn potting_text(d: &PottingDocument, style: Style) -> String {
    let mut out = Screen::new(style);
    let rig = d.rig.as_deref().map_or("no history of a rig".into(), |r| {
        format!("judged by the days of {}", words::clean(r))
    });
    let count = match d.pairs.len() {
        1 => "1 pickup".to_owned(),
        n => format!("{n} pickups"),
    };
    out.free(&format!("{count} before and after the wax, {rig}"), BOLD);
    if d.simulated {
        out.free(SIMULATED, WARN);
    }
    let alone = if d.rig.is_none() {
        ", the takes' noise alone"
    } else {
        ""
    };
    for p in &d.pairs {
        let paint = match p.verdict {
            PotVerdict::Other => STOP,
            PotVerdict::Warm => WARN,
            _ => PLAIN,
        };
        out.free(
            &format!("{}: {}", words::clean(&p.pickup), verdict(p)),
            if paint == PLAIN { BOLD } else { paint },
        );
        out.row("", &p.text, paint);
        if let Some(u) = &p.usual {
            let (pf, percent) = (|c: f64| signed(1e12 * c, 1), |q: f64| signed(100.0 * q, 1));
            let text = format!(
                "{} your wax before ({} changes: winding {} to {} pF, Q {} to {} %)",
                if u.within { "as" } else { "NOT as" },
                u.changes,
                pf(u.c_f[0]),
                pf(u.c_f[1]),
                percent(u.q[0]),
                percent(u.q[1])
            );
            out.row("", &text, if u.within { PLAIN } else { WARN });
        }
        if let Some(text) = &p.knock_text {
            out.row("", text, PLAIN);
        }
        // The rig's days are known from few checks: u counts for more than 1.96 of it.
        let wide = |e: Estimate| Estimate {
            u: e.u * d.coverage / Z95,
            ..e
        };
        let parts: Vec<String> = [
            p.f0_hz
                .map(|e| format!("f0 {}", number::bare_interval(&wide(e), Unit::Hertz))),
            p.q.map(|e| format!("Q {}", number::bare_interval(&wide(e), Unit::Ratio))),
            p.peak_db
                .map(|e| format!("height {}", number::bare_interval(&wide(e), Unit::Decibel))),
            p.level_db
                .map(|e| format!("level {}", number::bare_interval(&wide(e), Unit::Decibel))),
            p.c_f
                .map(|e| format!("winding {}", number::bare_interval(&wide(e), Unit::Farad))),
            p.knock_db
                .map(|e| format!("knock {}", number::bare_interval(&e, Unit::Decibel))),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !parts.is_empty() {
            out.row("", &format!("{} {LEVEL}{alone}", parts.join(", ")), DIM);
        }
    }
    if let Some(l) = &d.lot {
        let word = match l.verdict {
            PotVerdict::Unchanged => "unchanged",
            PotVerdict::Wax => "changed as wax does",
            PotVerdict::Other => "changed, and not as wax does",
            _ => "cannot tell",
        };
        let text = format!(
            "all {}, {word}: f0 {} {PLUS_MINUS} {} %, windings {} {PLUS_MINUS} {} pF {LEVEL}",
            l.pairs,
            signed(100.0 * l.f0.exp_m1(), 2),
            two(100.0 * l.f0_half_95),
            signed(1e12 * l.c_f, 1),
            two(1e12 * l.c_f_half_95)
        );
        out.row("The lot", &text, BOLD);
    }
    out.row(
        "Limits",
        &format!(
            "unchanged: within {} % in f0 and {} % in Q",
            two(100.0 * d.limits.f0),
            two(100.0 * d.limits.q)
        ),
        DIM,
    );
    if !d.unpaired.is_empty() {
        let names: Vec<String> = d.unpaired.iter().map(|n| words::clean(n)).collect();
        out.row("note", &format!("on one side only: {}", names.join(", ")), PLAIN);
    }
    for n in &d.notes {
        out.row("note", n, PLAIN);
    }
    out.text
}
