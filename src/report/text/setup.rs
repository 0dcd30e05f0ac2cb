//! What the commands that set a rig up show on the screen.

use std::path::Path;

use super::screen::{BOLD, DIM, STOP, Screen, Style, WARN};
use crate::report::number::{self, Unit};
use crate::report::words;
use crate::rig::Rig;
use crate::setup::edit::Replaced;
use crate::setup::interface::{InputsDocument, LevelDocument};
use crate::setup::level::{Bend, Step};
use crate::setup::template::{CHECKLIST, Item};

/// Reduced chi-squared up to which noise explains what is left.
const EXPLAINED: f64 = 1.5;

/// One level tried, in a line.
pub fn level_step(s: &Step) -> String {
    let peak = |p: Option<f64>| p.map_or("silent".into(), |p| format!("{p:.0} dBFS"));
    let bend = |b: Bend| match b {
        Bend::Seen(db) => format!("{:.2} %", 100.0 * 10f64.powf(db / 20.0)),
        Bend::Below(db) => format!("below {:.2} %", (100.0 * 10f64.powf(db / 20.0)).max(0.01)),
        Bend::Unknown => "not told".into(),
    };
    // What is seen goes before what may be hidden, and the larger before the smaller.
    let weight = |b: &Bend| match b {
        Bend::Seen(db) => (2, *db),
        Bend::Below(db) => (1, *db),
        Bend::Unknown => (0, 0.0),
    };
    let worse = match weight(&s.input_bends) > weight(&s.output_bends) {
        _ if s.at_most().is_none() => Bend::Unknown,
        true => s.input_bends,
        false => s.output_bends,
    };
    let (level, pickup, bent) = (s.level_dbfs, peak(s.pickup.peak_dbfs), bend(worse));
    let reference = words::of(s.reference.peak_dbfs, |db| format!(", reference {}", peak(Some(db))));
    let clips = if s.pickup.clips || s.reference.clips {
        ", CLIPS"
    } else {
        ""
    };
    format!("{level:>6.1} dBFS: pickup {pickup}{reference}, distortion {bent}{clips}")
}

pub fn level_text(d: &LevelDocument, into: Option<&Path>, style: Style) -> String {
    let mut out = Screen::new(style);
    out.stamp(d.simulated);
    match d.level_dbfs {
        Some(level) => out.line_in(format!("The strongest clean drive is {level:.1} dBFS."), BOLD),
        None => out.line_in("No level gave a clean answer.", STOP),
    }
    out.lines(&d.advice);
    match into {
        Some(path) => {
            out.line("Tape over the knobs. `measure` plays at this level on this rig unless --level says otherwise.");
            gave_way(&mut out, &d.replaced);
            out.path("Written", &path.display().to_string());
        }
        None => out.line("Nothing was written."),
    }
    out.text
}

pub fn inputs_text(d: &InputsDocument, into: &Path, style: Style) -> String {
    let mut out = Screen::new(style);
    out.stamp(d.simulated);
    match d.gain_db {
        Some(gain) => {
            out.line_in("The two inputs against each other, channel 1 over channel 2:", BOLD);
            out.row("Gain", number::interval(&gain, Unit::Decibel));
        }
        None => out.line_in("What the pickup's input puts on a pickup:", BOLD),
    }
    out.rows("Delay", d.delay_s.as_ref().map(|t| number::interval(t, Unit::Second)));
    if let (Some(p), Some(r)) = (&d.ac_pickup_hz, &d.ac_reference_hz) {
        let [p, r] = [p, r].map(|e| number::interval(e, Unit::Hertz));
        let told = match d.corners_told {
            true => format!("pickup {p}, reference {r}"),
            false => "the two are too alike to be told singly; each take finds what matters of them".into(),
        };
        out.row("AC corner", told);
    }
    if let Some(c) = &d.capacitance_f {
        let ohms = d.resistance_ohm.as_ref().map(|r| number::interval(r, Unit::Ohm));
        out.row("Ohms", ohms.unwrap_or("too high to be told with this part".into()));
        let farads = number::interval(c, Unit::Farad);
        out.row("Farads", format!("{farads}, input and lead together"));
        let holds =
            "holds if no knob was touched since the wire alone: one part cannot tell a turned knob from another input";
        out.row_in("note", holds, DIM);
    }
    // What this does not explain has widened the intervals already.
    if d.reduced_chi2 > EXPLAINED {
        let left = format!(
            "{:.3} dB rms that neither this nor noise explains; counted in",
            d.misfit_db
        );
        out.row_in("Left", left, DIM);
    }
    gave_way(&mut out, &d.replaced);
    out.path("Written", &into.display().to_string());
    out.text
}

/// What stood in the rig file before.
fn gave_way(out: &mut Screen, replaced: &[Replaced]) {
    for r in replaced {
        let now = r.new.as_ref().map_or("left out".into(), ToString::to_string);
        out.row(
            "Replaced",
            words::clean(&format!("{}: {} before, now {now}", r.key, r.old)),
        );
    }
    if !replaced.is_empty() {
        out.line_in("What stood there before stays in the file as a remark.", DIM);
    }
}

pub fn rig_new_text(rig: &Rig, path: &Path, style: Style) -> String {
    let mut out = Screen::new(style);
    let said = |key: &str| rig.setup.as_ref().is_some_and(|s| s.contains_key(key));
    let unseen: Vec<&Item> = CHECKLIST.iter().filter(|item| !said(item.key)).collect();
    let open = match unseen.len() {
        0 => "every switch was looked at".to_owned(),
        1 => "one switch is still to be looked at".to_owned(),
        n => format!("{n} switches are still to be looked at"),
    };
    out.line_in(format!("{} is written; {open}.", words::clean(&rig.name)), BOLD);
    for item in unseen {
        out.row_in("open", format!("{}? If not: {}", item.question, item.remedy), WARN);
    }
    out.line(format!(
            "Next: `coilwright use --rig {0}`, then `coilwright rig level` with a pickup in place, `coilwright rig inputs` with one \
             signal on both inputs, and `coilwright rig polarity` with a pickup whose winding you know.",
            path.display()
        ));
    out.path("Written", &path.display().to_string());
    out.text
}
