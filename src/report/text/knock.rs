//! What taps made the pickup say, on the screen.

use super::screen::Screen;
use super::{PLAIN, six, two};
use crate::record::knock::{Knock, KnockPeak, LeftOut};
use crate::report::number::{self, LEVEL, Unit};

/// On the normal screen so many peaks are enough.
const SHOWN: usize = 2;

fn peak(p: &KnockPeak) -> String {
    let decay = p.decay_s.map_or(String::new(), |d| {
        format!(", dies in {}", number::bare_interval(&d, Unit::Second))
    });
    format!("{}{decay}", number::bare_interval(&p.hz, Unit::Hertz))
}

/// One line for the level, one for where it rings.
pub(super) fn found(out: &mut Screen, k: &Knock) {
    let level = format!(
        "{} {LEVEL} re the exciter's answer, {} of {} taps",
        number::bare_interval(&k.level_db, Unit::Decibel),
        k.used,
        k.taps
    );
    out.row("Knock", &level, PLAIN);
    let strongest: Vec<String> = k.peaks.iter().take(SHOWN).map(peak).collect();
    let text = match strongest.len() {
        0 => "no peak stands out".into(),
        _ => format!("rings at {} {LEVEL}", strongest.join("; ")),
    };
    out.row("", &text, PLAIN);
}

pub(super) fn why(w: LeftOut) -> &'static str {
    match w {
        LeftOut::Overlap => "too near to another",
        LeftOut::Clipped => "clipped",
        LeftOut::Cut => "at the recording's end",
        LeftOut::Weak => "lost in the noise",
    }
}

pub(super) fn details(out: &mut Screen, k: &Knock) {
    let e = &k.level_db;
    let text = format!(
        "{} dB (u {}, u_noise {}); {} dB between the taps",
        six(e.value),
        two(e.u),
        two(e.u_noise),
        two(k.noise_db)
    );
    out.row("knock", &text, PLAIN);
    for p in &k.peaks {
        let decay = p.decay_s.map_or("decay not told".into(), |d| {
            format!("{} s (u {})", six(d.value), two(d.u))
        });
        let text = format!(
            "{} Hz (u {}), {} dB (u {}), {decay}",
            six(p.hz.value),
            two(p.hz.u),
            six(p.level_db.value),
            two(p.level_db.u)
        );
        out.row("  peak", &text, PLAIN);
    }
    for t in &k.single {
        let told = match (t.level_db, t.left_out) {
            (_, Some(w)) => format!("left out: {}", why(w)),
            (Some(e), None) => format!("{} dB (u {} from noise)", six(e.value), two(e.u)),
            (None, None) => "no level".into(),
        };
        out.row("  tap", &format!("at {:.2} s, {told}", t.at_s), PLAIN);
    }
}
