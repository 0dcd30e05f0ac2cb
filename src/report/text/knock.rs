//! What taps made the pickup say, on the screen.

use super::screen::Screen;
use crate::estimate::Estimate;
use crate::record::knock::{Knock, KnockPeak, LeftOut};
use crate::report::number::{self, LEVEL, Unit, six, two};
use crate::report::words;

/// On the normal screen so many peaks are enough.
const SHOWN: usize = 2;

fn peak(p: &KnockPeak) -> String {
    let decay = words::of(p.decay_s, |d| {
        format!(", dies in {}", number::bare_interval(&d, Unit::Second))
    });
    number::bare_interval(&p.hz, Unit::Hertz) + &decay
}

/// One line for the level, one for where it rings.
pub(super) fn found(out: &mut Screen, k: &Knock) {
    let level = number::bare_interval(&k.level_db, Unit::Decibel);
    let taps = format!("{} of {} taps", k.used, k.taps);
    out.row("Knock", format!("{level} {LEVEL} re the exciter's answer, {taps}"));
    let strongest = words::listed(k.peaks.iter().take(SHOWN).map(peak), "; ");
    let rings = format!("rings at {strongest} {LEVEL}");
    out.row(
        "",
        if k.peaks.is_empty() {
            "no peak stands out"
        } else {
            &rings
        },
    );
}

/// What a change between two sets of taps means to the shop.
pub(super) fn change(e: &Estimate) -> String {
    if e.value.abs() <= e.half_width_95() {
        return "tapped: cannot tell louder from quieter".into();
    }
    let size = e.value.abs();
    match e.value < 0.0 {
        true => format!("tapped: {size:.0} dB quieter than before"),
        false => format!("tapped: {size:.0} dB louder than before; was it tapped alike, and is anything loose?"),
    }
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
    let [u, noise, between] = [e.u, e.u_noise, k.noise_db].map(two);
    let value = six(e.value);
    out.row(
        "knock",
        format!("{value} dB (u {u}, u_noise {noise}); {between} dB between the taps"),
    );
    for p in &k.peaks {
        let with_u = |e: &Estimate, unit: &str| format!("{} {unit} (u {})", six(e.value), two(e.u));
        let decay = p.decay_s.map_or("decay not told".into(), |d| with_u(&d, "s"));
        out.row(
            "  peak",
            words::list([with_u(&p.hz, "Hz"), with_u(&p.level_db, "dB"), decay]),
        );
    }
    for t in &k.single {
        let told = match (t.level_db, t.left_out) {
            (_, Some(w)) => format!("left out: {}", why(w)),
            (Some(e), None) => format!("{} dB (u {} from noise)", six(e.value), two(e.u)),
            (None, None) => "no level".into(),
        };
        out.row("  tap", format!("at {:.2} s, {told}", t.at_s));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::samples::e;

    #[test]
    fn a_change_is_said_where_it_is_sure() {
        assert_eq!(change(&e(-8.0, 1.3, 0.5)), "tapped: 8 dB quieter than before");
        assert_eq!(change(&e(-0.5, 0.7, 0.7)), "tapped: cannot tell louder from quieter");
        assert!(change(&e(6.0, 0.7, 0.7)).starts_with("tapped: 6 dB louder than before"));
    }
}
