//! What the demonstration tells on the screen.

use std::path::Path;

use super::harness::{self, Harness};
use super::script::{COIL_TAKES, COMPARISONS, CONTROLS_SHORT, INDEX, JOBS, REJECTED};
use crate::record::{Level, Record};
use crate::report::number::{self, Unit};
use crate::report::text::{Style, compare_text, measure_text, shell};
use crate::shop::difference::Comparison;
use crate::wrap;

/// Everything the demonstration made.
pub struct Made {
    pub records: Vec<Record>,
    pub comparisons: Vec<Comparison>,
    pub harness: Harness,
}

const INDENT: &str = "   ";

/// The story; with details, every measurement and comparison as its own command would show it.
pub(super) fn tell(made: &Made, out: &Path, style: Style) -> String {
    let mut t = Teller {
        text: String::new(),
        style,
    };
    t.free(
        "A day at the Ebbingrove workshop, which does not exist. SIMULATED: every take below was computed by the built-in \
         bench. No pickup, no wax and no sound card took part; records and plots say so too.",
    );

    one_and_more_cable(&mut t, made, out);
    one_coil(&mut t, made, out);
    wax_and_no_reading(&mut t, made, out);
    predicted(&mut t, made, out);
    if style.details {
        details(&mut t, made);
    }
    t.text.push('\n');
    t.free(&format!(
        "A page of one of everything: open {} in a browser.",
        out.join(INDEX).display()
    ));
    again(&mut t, out);
    t.text
}

/// What cable does to a pickup.
fn one_and_more_cable(t: &mut Teller, made: &Made, out: &Path) {
    t.head("1", "A pickup as the guitar will load it");
    t.say(&format!(
        "\"neck 3-7\" (neck pickup, lot 3, number 7) with --load \"{CONTROLS_SHORT}\": {}",
        reading(&made.records[0])
    ));
    t.look(
        out,
        &[JOBS[0].folder],
        "response.png shows the curve, the model, and what is left between them.",
    );

    t.head("2", "The same on 6 m of cable instead of 3");
    t.say(&difference(made, 0));
    t.look(
        out,
        &[JOBS[1].folder, COMPARISONS[0].0],
        "overlay.png shows where the treble went.",
    );
}

/// Why the exciter lies over one coil.
fn one_coil(t: &mut Teller, made: &Made, out: &Path) {
    t.head("3", "One coil of a two-coil pickup");
    t.say(&format!(
        "The exciter lies over the first coil only (--over \"the first coil\"), because over both their voltages would \
         cancel: {}",
        reading(&made.records[2])
    ));
    t.say(
        "The other coil, with its own capacitance, leaves a step near 13 kHz. The reading follows it as another \
         coil in series; --details says so.",
    );
    t.look(out, &[JOBS[2].folder], "response.png shows the step.");
}

/// What wax does, and a take that is none.
fn wax_and_no_reading(t: &mut Teller, made: &Made, out: &Path) {
    t.head("4", "Before and after the wax pot");
    t.say(
        "Invented data: wax (relative permittivity about 2.2) is taken to raise the capacitance of the winding by 10 % and \
         to change nothing else. Measured bare, where that shows most.",
    );
    t.say(&difference(made, 1));
    t.look(
        out,
        &[JOBS[3].folder, JOBS[4].folder, COMPARISONS[1].0],
        "overlay.png lays the curves over each other.",
    );

    t.head("5", "A take that cannot be used");
    t.say(&format!(
        "{}: no reading. {}",
        name(&made.records[REJECTED]),
        advice(&made.records[REJECTED])
    ));
    t.look(out, &[JOBS[REJECTED].folder], "the record keeps the reason.");
}

/// What is in the coil, and what follows from it.
fn predicted(t: &mut Teller, made: &Made, out: &Path) {
    t.head("6", "What pots and cables do to the first pickup");
    let coil = &made.harness.coil;
    t.say(&format!(
        "Two takes, without a load and with 1 nF, tell what is in the coil: L {}, C_s {}. From there any guitar can be \
         predicted: {}",
        number::interval(&coil.l_h, Unit::Henry),
        number::interval(&coil.c_f, Unit::Farad),
        cables(made)
    ));
    t.say(&harness::spread(&made.harness.parts));
    t.look(
        out,
        &[
            JOBS[COIL_TAKES.start].folder,
            JOBS[COIL_TAKES.start + 1].folder,
            harness::FOLDER,
        ],
        "page.html shows cables, pots, capacitors and wirings.",
    );
}

/// Every measurement and comparison as its own command would show it.
fn details(t: &mut Teller, made: &Made) {
    let (r, style) = (&made.records, t.style);
    for record in r {
        t.text.push('\n');
        t.text.push_str(&measure_text(record, style));
    }
    for ((_, which), comparison) in COMPARISONS.iter().zip(&made.comparisons) {
        t.text.push('\n');
        t.text
            .push_str(&compare_text(&which.map(|i| r[i].clone()), comparison, style));
    }
}

/// How to do it again.
fn again(t: &mut Teller, out: &Path) {
    t.text.push('\n');
    t.free(&format!(
        "Beside every record lie take.wav and drive.wav; {} is the rig they were made with. To do a step again:",
        out.join("rig.toml").display()
    ));
    let at = |folder: &str| shell(&out.join(folder).display().to_string());
    let take = shell(&out.join(JOBS[0].folder).join("take.wav").display().to_string());
    let load = JOBS[0].load.map_or(String::new(), |l| format!(" --load \"{l}\""));
    t.command(&format!("coilwright analyze {take} --rig {}{load}", at("rig.toml")));
    t.command(&format!(
        "coilwright compare {} {}",
        at(JOBS[3].folder),
        at(JOBS[4].folder)
    ));
}

fn name(r: &Record) -> String {
    format!("\"{}\"", r.pickup.name)
}

/// "peak 3.40 kHz, peak height +9.2 dB above the lows; f0 3512 Hz, Q 2.49."
fn reading(r: &Record) -> String {
    let Some(x) = &r.resonance else {
        return "no reading.".into();
    };
    let (Some(hz), Some(db)) = (x.peak_hz, x.peak_db) else {
        return "no peak.".into();
    };
    format!(
        "peak {}, peak height {} above the lows; f0 {}, Q {}.",
        number::short(hz.value, Unit::Hertz),
        number::short(db.value, Unit::Decibel),
        number::short(x.f0_hz.value, Unit::Hertz),
        number::short(x.q.value, Unit::Ratio)
    )
}

/// What the first and the last cable of the sweep make of the peak.
fn cables(made: &Made) -> String {
    let loads = &made.harness.cables.loads;
    let peak = |l: Option<&crate::coil::loads::LoadPredicted>| {
        l.and_then(|l| l.peak_hz)
            .map_or("none".into(), |hz| number::short(hz, Unit::Hertz))
    };
    format!(
        "on 1 m of cable its peak lies at {}, on 10 m at {}.",
        peak(loads.first()),
        peak(loads.last())
    )
}

/// The sentence of a comparison.
fn difference(made: &Made, i: usize) -> String {
    let first = made.comparisons[i].differences.first();
    first.map_or(String::new(), |d| sentence(&d.text))
}

fn advice(r: &Record) -> String {
    let reasons = r.findings.iter().filter(|f| f.level == Level::Reject);
    let texts: Vec<String> = reasons.map(|f| sentence(&f.text)).collect();
    texts.join(" ")
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

struct Teller {
    text: String,
    style: Style,
}

impl Teller {
    fn head(&mut self, number: &str, title: &str) {
        let (on, off) = match self.style.colour {
            true => ("\u{1b}[1m", "\u{1b}[0m"),
            false => ("", ""),
        };
        self.text.push_str(&format!("\n{on}{number}  {title}{off}\n"));
    }

    fn free(&mut self, text: &str) {
        self.wrap("", text);
    }

    fn say(&mut self, text: &str) {
        self.wrap(INDENT, text);
    }

    fn command(&mut self, text: &str) {
        // In one line, however long: it is there to be copied.
        self.text.push_str(&format!("{INDENT}{text}\n"));
    }

    /// Where it lies and what to look at there.
    fn look(&mut self, out: &Path, folders: &[&str], what: &str) {
        let list: Vec<String> = folders.iter().map(|f| out.join(f).display().to_string()).collect();
        self.wrap(INDENT, &format!("-> {}: {what}", list.join(", ")));
    }

    fn wrap(&mut self, indent: &str, text: &str) {
        let room = self.style.usable() - wrap::columns(indent);
        for line in wrap::lines(text, |l| wrap::columns(l) <= room) {
            self.text.push_str(&format!("{indent}{line}\n"));
        }
    }
}
