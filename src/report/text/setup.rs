//! What the commands that set a rig up show on the screen.

use std::path::Path;

use super::screen::Screen;
use super::{BOLD, DIM, PLAIN, SIMULATED, STOP, Style, WARN, words};
use crate::report::number::{self, Unit};
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
    let mut out = format!("{:>6.1} dBFS: pickup {}", s.level_dbfs, peak(s.pickup_dbfs));
    if s.reference_dbfs.is_some() {
        out.push_str(&format!(", reference {}", peak(s.reference_dbfs)));
    }
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
    out.push_str(&format!(", distortion {}", bend(worse)));
    if s.pickup_clips || s.reference_clips {
        out.push_str(", CLIPS");
    }
    out
}

pub fn level_text(d: &LevelDocument, into: Option<&Path>, style: Style) -> String {
    let mut out = Screen::new(style);
    if d.simulated {
        out.free(SIMULATED, WARN);
    }
    match d.level_dbfs {
        Some(level) => out.free(&format!("The strongest clean drive is {level:.1} dBFS."), BOLD),
        None => out.free("No level gave a clean answer.", STOP),
    }
    for a in &d.advice {
        out.free(a, PLAIN);
    }
    match into {
        Some(path) => {
            out.free(
                "Tape over the knobs. `measure` plays at this level on this rig unless --level says otherwise.",
                PLAIN,
            );
            gave_way(&mut out, &d.replaced);
            out.path("Written", &path.display().to_string());
        }
        None => out.free("Nothing was written.", PLAIN),
    }
    out.text
}

pub fn inputs_text(d: &InputsDocument, into: &Path, style: Style) -> String {
    let mut out = Screen::new(style);
    if d.simulated {
        out.free(SIMULATED, WARN);
    }
    match d.gain_db {
        Some(gain) => {
            out.free("The two inputs against each other, channel 1 over channel 2:", BOLD);
            out.row("Gain", &number::interval(&gain, Unit::Decibel), PLAIN);
        }
        None => out.free("What the pickup's input puts on a pickup:", BOLD),
    }
    if let Some(t) = &d.delay_s {
        out.row("Delay", &number::interval(t, Unit::Second), PLAIN);
    }
    if let (Some(p), Some(r)) = (&d.ac_pickup_hz, &d.ac_reference_hz) {
        let [p, r] = [p, r].map(|e| number::interval(e, Unit::Hertz));
        let told = match d.corners_told {
            true => format!("pickup {p}, reference {r}"),
            false => "the two are too alike to be told singly; each take finds what matters of them".into(),
        };
        out.row("AC corner", &told, PLAIN);
    }
    if let Some(c) = &d.capacitance_f {
        match &d.resistance_ohm {
            Some(r) => out.row("Ohms", &number::interval(r, Unit::Ohm), PLAIN),
            None => out.row("Ohms", "too high to be told with this part", PLAIN),
        }
        out.row(
            "Farads",
            &format!("{}, input and lead together", number::interval(c, Unit::Farad)),
            PLAIN,
        );
        out.row(
            "note",
            "holds if no knob was touched since the wire alone: one part cannot tell a turned knob from another input",
            DIM,
        );
    }
    // What this does not explain has widened the intervals already.
    if d.reduced_chi2 > EXPLAINED {
        out.row(
            "Left",
            &format!(
                "{:.3} dB rms that neither this nor noise explains; counted in",
                d.misfit_db
            ),
            DIM,
        );
    }
    gave_way(&mut out, &d.replaced);
    out.path("Written", &into.display().to_string());
    out.text
}

/// What stood in the rig file before.
fn gave_way(out: &mut Screen, replaced: &[Replaced]) {
    for r in replaced {
        let now = match &r.new {
            Some(new) => format!("now {new}"),
            None => "now left out".to_owned(),
        };
        out.row(
            "Replaced",
            &words::clean(&format!("{}: {} before, {now}", r.key, r.old)),
            PLAIN,
        );
    }
    if !replaced.is_empty() {
        out.free("What stood there before stays in the file as a remark.", DIM);
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
    let head = format!("{} is written; {open}.", words::clean(&rig.name));
    out.free(&head, BOLD);
    for item in unseen {
        out.row("open", &format!("{}? If not: {}", item.question, item.remedy), WARN);
    }
    out.free(
        &format!(
            "Next: `coilwright use --rig {0}`, then `coilwright rig level` with a pickup in place, `coilwright rig inputs` with one \
             signal on both inputs, and `coilwright rig polarity` with a pickup whose winding you know.",
            path.display()
        ),
        PLAIN,
    );
    out.path("Written", &path.display().to_string());
    out.text
}
