//! What a command shows on the screen, as text for the caller to print.
//!
//! The normal screen has no statistics on it beyond "± ... (95 %)"; [`Style::details`] adds what a metrologist asks for.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use anstyle::{AnsiColor, Style as Paint};

use super::number::{self, Unit};
use super::words;
use crate::record::{Eddy, Fit, Level, Model, Open, Record, Resonance, Verdict};
use crate::shop::reading;
use crate::shop::yardstick::Quantity;
use crate::wrap::columns;
use screen::Screen;

mod coil;
mod compare;
mod knock;
mod loads;
mod notes;
mod potting;
mod rig;
mod screen;
mod setup;
mod tray;

pub use super::words::shell;
pub use coil::coil_text;
pub use compare::{batch_text, compare_text};
pub use loads::{loads_text, wirings_text};
pub use notes::notes_text;
pub use potting::{potting_text, put_words};
pub use rig::{changed_text, check_text, pack_text, polarity_text, repeat_text, rig_text};
pub use setup::{inputs_text, level_step, level_text, rig_new_text};
pub use tray::{
    standard_text, tray_ask, tray_before_stands, tray_keys, tray_prompt, tray_step, tray_summary, tray_taken_in,
    tray_undone,
};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    pub colour: bool,
    /// Of the terminal; from 40 to 160 columns are used.
    pub width: usize,
    pub details: bool,
}

impl Default for Style {
    fn default() -> Self {
        Style {
            colour: false,
            width: 80,
            details: false,
        }
    }
}

const BOLD: Paint = Paint::new().bold();
/// Above whatever is no measurement.
const SIMULATED: &str = "SIMULATED: the built-in bench, no real pickup";
const DIM: Paint = Paint::new().dimmed();
const WARN: Paint = AnsiColor::Yellow.on_default().bold();
const STOP: Paint = AnsiColor::Red.on_default().bold();
const PLAIN: Paint = Paint::new();

/// Columns of the labels, the gap included.
const LABEL: usize = 12;

/// One measurement: the peak first, then what else was found.
pub fn measure_text(record: &Record, style: Style) -> String {
    let mut out = Screen::new(style);
    let mut title = words::name(record);
    if record.is_simulated() {
        title.push_str("  (SIMULATED, no real pickup)");
    }
    out.free(&title, BOLD);
    match words::reading(record) {
        Some(r) => {
            found(&mut out, record, r);
            if !record.repeats.is_empty() {
                out.row("Takes", &format!("mean of {}", record.repeats.len()), PLAIN);
            }
        }
        None => refused(&mut out, record),
    }
    if let Some(k) = &record.knock {
        knock::found(&mut out, k);
    }
    circumstances(&mut out, record);
    if words::reading(record).is_some() {
        let paint = if record.verdict == Verdict::Suspect {
            WARN
        } else {
            PLAIN
        };
        out.row("Reading", words::verdict(record.verdict), paint);
    }
    remarks(&mut out, record);
    if style.details {
        details(&mut out, record);
    }
    out.text
}

/// The peak first; f0 and Q by their names, and only beside one.
fn found(out: &mut Screen, record: &Record, r: &Resonance) {
    let above = if r.peak_db.is_some() { " above the lows" } else { "" };
    out.row("Peak", &format!("{}{above}", words::peak(record)), BOLD);
    if let Some(intervals) = words::peak_intervals(record) {
        let mark = words::mark([record]);
        out.row("", &format!("{intervals} {mark}"), PLAIN);
        if words::from_curve(r) {
            out.row("", "read off the measured curve, because no model fits it", PLAIN);
        }
        for (label, name, quantity) in [("Resonance", "f0 ", Quantity::F0), ("Q", "", Quantity::Q)] {
            if let Some(value) = words::shown(record, quantity) {
                out.row(label, &format!("{name}{value} {mark}"), PLAIN);
            }
        }
    }
    if let Some(interval) = words::down_interval(record) {
        out.row("", &format!("{interval} {}", words::mark([record])), PLAIN);
    }
    out.row("Polarity", words::polarity(r), PLAIN);
}

/// "no reading, measure again: ...", with every reason.
fn refused(out: &mut Screen, record: &Record) {
    let reasons: Vec<String> = record
        .findings
        .iter()
        .filter(|f| f.level == Level::Reject)
        .map(finding_text)
        .collect();
    match reasons.split_first() {
        Some((first, others)) => {
            out.free(&format!("no reading, measure again: {first}"), STOP);
            for other in others {
                out.free(&format!("also: {other}"), STOP);
            }
        }
        None => out.free("no reading, measure again", STOP),
    }
}

fn finding_text(f: &crate::record::Finding) -> String {
    let text = words::clean(&f.text);
    if text.is_empty() {
        words::finding(f.code).to_string()
    } else {
        text
    }
}

fn circumstances(out: &mut Screen, record: &Record) {
    let p = &record.pickup;
    if let Some(over) = p.over.as_deref().map(words::clean).filter(|s| !s.is_empty()) {
        out.row(
            "Exciter",
            &format!("over {over}; level and polarity are that coil's"),
            PLAIN,
        );
    }
    let read = p.r_ohm.map(|r| number::four_digits(r, Unit::Ohm));
    let at20 = p.r20_ohm.map(|r| number::four_digits(r, Unit::Ohm));
    let room = p.temperature_c.filter(|t| t.abs() < 1e4);
    match (at20, read, room) {
        (Some(r20), Some(r), Some(t)) => {
            out.row(
                "Resistance",
                &format!("{r20} at 20 °C (read as {r} at {t:.1} °C)"),
                PLAIN,
            );
        }
        (Some(r20), ..) => out.row("Resistance", &format!("{r20} at 20 °C"), PLAIN),
        (None, Some(r), _) => out.row(
            "Resistance",
            &format!("{r} as read, coil's temperature not known"),
            PLAIN,
        ),
        (None, None, _) => {}
    }
    out.row("Load", &words::load(record), PLAIN);
    let mut rig = words::rig(&record.rig);
    if let Some(input) = words::rig_input(&record.rig) {
        let _ = write!(rig, "; its input adds {input} to the load");
    }
    out.row("Rig", &rig, PLAIN);
    if let Some(note) = p.note.as_deref().map(words::clean).filter(|s| !s.is_empty()) {
        out.row("Your note", &note, PLAIN);
    }
}

fn remarks(out: &mut Screen, record: &Record) {
    for f in words::gravest_first(record) {
        let (label, paint) = match f.level {
            // Told at the top already.
            Level::Reject => continue,
            Level::Warning => ("Warning", WARN),
            Level::Note => ("Note", PLAIN),
        };
        let name = words::finding(f.code);
        let text = finding_text(f);
        // A text that says its own name needs no heading.
        let head = text.to_lowercase().contains(name);
        out.row(label, &if head { text } else { format!("{name}: {text}") }, paint);
    }
    for note in record.other_notes() {
        out.row("Note", &words::clean(note), PLAIN);
    }
    let open = &record.rig.open;
    // One line, unless somebody asks.
    if out.style.details {
        for o in open {
            out.row("Note", &words::clean(&o.note()), PLAIN);
        }
    } else if !open.is_empty() {
        let keys: Vec<String> = open.iter().map(Open::name).collect();
        let keys = words::clean(&keys.join(", "));
        out.row("Note", &format!("the rig file leaves open: {keys} (--details)"), PLAIN);
    }
}

/// Where everything lies.
pub fn written_text(files: &[PathBuf], style: Style) -> String {
    let mut out = Screen::new(style);
    written(&mut out, files);
    out.text
}

fn written(out: &mut Screen, files: &[PathBuf]) {
    let mut folder: Option<&Path> = None;
    for (i, file) in files.iter().enumerate() {
        let parent = file.parent().filter(|p| !p.as_os_str().is_empty());
        let label = if i == 0 { "Written" } else { "" };
        match (parent, file.file_name()) {
            // The folder once, then the names in it.
            (Some(p), Some(name)) if folder == Some(p) => {
                out.append(&format!(", {}", words::no_controls(&name.to_string_lossy())));
            }
            _ => out.path(label, &words::no_controls(&file.display().to_string())),
        }
        folder = parent;
    }
}

fn details(out: &mut Screen, record: &Record) {
    out.free("", PLAIN);
    out.free(
        "Details (u = standard uncertainty, u_noise = its noise part, u_lay = of laying the pickup down, not in u)",
        DIM,
    );
    if let Some(r) = words::reading(record) {
        let mut line = |name: &str, quantity: Quantity| {
            let Some((e, parts)) = reading::value(r, quantity).zip(reading::parts(record, quantity)) else {
                return;
            };
            let lay = parts.laying.sd * reading::unit_of(quantity, e.value);
            let usual = if parts.laying.usual { ", usual" } else { "" };
            let text = format!(
                "{} (u {}, u_noise {}, u_lay {}{usual})",
                six(e.value),
                two(e.u),
                two(e.u_noise),
                two(lay)
            );
            out.row(name, &text, PLAIN);
        };
        line("f0, Hz", Quantity::F0);
        line("Q", Quantity::Q);
        line("peak, Hz", Quantity::Peak);
        line("peak, dB", Quantity::Height);
        out.row("corr(f0,Q)", &format!("{:.2}", r.corr_f0_q), PLAIN);
        coupling(out, r);
    }
    if let Some(fit) = &record.fit {
        fit_details(out, fit);
    }
    if let Some(k) = &record.knock {
        knock::details(out, k);
    }
    capture_details(out, record);
    for (i, r) in record.repeats.iter().enumerate() {
        let peak = r
            .peak_hz
            .map_or("no peak".into(), |p| format!("peak {} Hz", six(p.value)));
        let text = format!("f0 {} Hz, Q {}, {peak}", six(r.f0_hz.value), six(r.q.value));
        out.row(&format!("take {}", i + 1), &text, PLAIN);
    }
    out.row("taken", &words::when(&record.taken_at), PLAIN);
    out.row("record", &words::clean(&record.id), PLAIN);
    out.row("program", &words::clean(&record.tool_version), PLAIN);
    out.free("", PLAIN);
}

fn coupling(out: &mut Screen, r: &Resonance) {
    let parts: Vec<String> = [
        r.mutual_h.map(|m| number::interval(&m, Unit::Henry)),
        r.level_db.map(|l| number::interval(&l, Unit::Decibel)),
    ]
    .into_iter()
    .flatten()
    .collect();
    if !parts.is_empty() {
        let text = format!(
            "{}: coupling from the exciter, set by its position; not loudness from a string",
            parts.join(", ")
        );
        out.row("coupling", &text, PLAIN);
    }
}

fn fit_details(out: &mut Screen, fit: &Fit) {
    let [low, high] = fit.band_hz;
    let shown = match fit.model {
        Model::SecondOrder => "second order",
        Model::Eddy => "second order with eddy currents",
    };
    out.row("peak model", shown, PLAIN);
    let noise = match fit.noise_from.as_str() {
        "" => String::new(),
        from => format!(", noise from {}", words::clean(from)),
    };
    let band = format!(
        "{} to {}, {} bins{noise}",
        number::short(low, Unit::Hertz),
        number::short(high, Unit::Hertz),
        fit.bins
    );
    out.row("band", &band, PLAIN);
    let quality = format!(
        "chi-square {} per degree of freedom, {} dB rms left over (second order)",
        two_or_more(fit.reduced_chi2),
        two(fit.rms_residual_db)
    );
    out.row("fit", &quality, PLAIN);
    for (name, n) in &fit.nuisance {
        let u = n.u.map_or("taken as exact".into(), |u| format!("u {}", two(u)));
        out.row(
            "fitted too",
            &format!("{} = {} ({u})", words::clean(name), six(n.value)),
            PLAIN,
        );
    }
    if let Some(eddy) = &fit.eddy {
        eddy_details(out, eddy);
    }
}

fn eddy_details(out: &mut Screen, e: &Eddy) {
    let better = if e.delta_bic < 0.0 { "better" } else { "no better" };
    let head = format!(
        "{better} than second order (delta BIC {:+.1}), chi-square {}",
        e.delta_bic,
        two_or_more(e.reduced_chi2)
    );
    out.row("eddy model", &head, PLAIN);
    let numbers = format!(
        "f0 {}, Q {}, pole {}, zero {} {}",
        number::bare_interval(&e.f0_hz, Unit::Hertz),
        number::bare_interval(&e.q, Unit::Ratio),
        number::bare_interval(&e.pole_s, Unit::Second),
        number::bare_interval(&e.zero_s, Unit::Second),
        number::LEVEL
    );
    out.row("", &numbers, PLAIN);
}

fn capture_details(out: &mut Screen, record: &Record) {
    let c = &record.capture;
    let db = |v: Option<f64>| v.map(|v| format!("{v:.1} dB"));
    let hum = db(c.hum_db).map(|h| match c.mains_hz {
        Some(f) => format!("hum {h} re signal, mains {f:.2} Hz"),
        None => format!("hum {h} re signal"),
    });
    let signal: Vec<String> = [db(c.snr_db).map(|s| format!("signal to noise {s} around f0")), hum]
        .into_iter()
        .flatten()
        .collect();
    if !signal.is_empty() {
        out.row("signal", &signal.join(", "), PLAIN);
    }
    let timing: Vec<String> = [
        c.latency_s
            .map(|l| format!("latency {}", number::four_digits(l, Unit::Second))),
        c.clock_ppm.map(|p| format!("output clock {p:+.2} ppm")),
    ]
    .into_iter()
    .flatten()
    .collect();
    if !timing.is_empty() {
        out.row("timing", &timing.join(", "), PLAIN);
    }
    let mut take = format!(
        "{} Hz, {} channel{}, {} samples each",
        c.rate_hz,
        c.channels,
        if c.channels == 1 { "" } else { "s" },
        c.frames
    );
    if let Some(p) = c.peak_dbfs {
        let _ = write!(take, ", highest {p:.1} dBFS");
    }
    let _ = write!(take, ", {} clipped, {} dropouts", c.clipped_samples, c.dropouts);
    out.row("take", &take, PLAIN);
    if let Some(d) = &record.drive {
        let text = format!(
            "{}, {} s, {} to {}, {:.1} dBFS peak",
            words::clean(&d.shape),
            six(d.seconds),
            number::short(d.from_hz, Unit::Hertz),
            number::short(d.to_hz, Unit::Hertz),
            d.level_dbfs
        );
        out.row("drive", &text, PLAIN);
    }
}

/// Up to seven digits, for values that stand beside their u.
fn six(x: f64) -> String {
    match x.abs() {
        0.0 => "0".into(),
        a if !(1e-3..1e7).contains(&a) => format!("{x:.6e}"),
        a => format!("{x:.*}", (6 - a.log10().floor() as i32).clamp(0, 9) as usize),
    }
}

fn two(x: f64) -> String {
    match x.abs() {
        0.0 => "0".into(),
        a if !(1e-4..1e5).contains(&a) => format!("{x:.1e}"),
        a => format!("{x:.*}", (1 - a.log10().floor() as i32).clamp(0, 6) as usize),
    }
}

fn two_or_more(x: f64) -> String {
    if x.abs() < 1e6 {
        format!("{x:.2}")
    } else {
        format!("{x:.2e}")
    }
}

#[cfg(test)]
mod tests;
