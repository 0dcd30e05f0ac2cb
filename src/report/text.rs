//! What a command shows on the screen, as text for the caller to print.
//!
//! The normal screen has no statistics on it beyond "± ... (95 %)"; [`Style::details`] adds what a metrologist asks for.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use anstyle::{AnsiColor, Style as Paint};

use super::number::{self, Unit};
use super::words;
use crate::estimate::Estimate;
use crate::record::{Eddy, Fit, Level, Model, Open, Record, Resonance, Verdict};
use crate::shop::difference::Comparison;
use crate::wrap::columns;
use screen::Screen;

mod coil;
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
            found(&mut out, r);
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

fn found(out: &mut Screen, r: &Resonance) {
    match words::peak_intervals(r) {
        Some(intervals) => {
            out.row("Peak", &words::peak(r), BOLD);
            let above = if r.peak_db.is_some() { " above the lows" } else { "" };
            out.row("", &format!("{intervals}{above} {}", number::LEVEL), PLAIN);
            if words::from_curve(r) {
                out.row("", "read off the measured curve, because no model fits it", PLAIN);
            }
        }
        None => out.row("Peak", "no peak", BOLD),
    }
    out.row(
        "Resonance",
        &format!("f0 {}", number::interval(&r.f0_hz, Unit::Hertz)),
        PLAIN,
    );
    out.row("Q", &number::interval(&r.q, Unit::Ratio), PLAIN);
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
    out.free("Details (u = standard uncertainty, u_noise = its noise part)", DIM);
    if let Some(r) = words::reading(record) {
        let mut line = |name: &str, e: Option<Estimate>| {
            if let Some(e) = e {
                let text = format!("{} (u {}, u_noise {})", six(e.value), two(e.u), two(e.u_noise));
                out.row(name, &text, PLAIN);
            }
        };
        line("f0, Hz", Some(r.f0_hz));
        line("Q", Some(r.q));
        line("peak, Hz", r.peak_hz);
        line("peak, dB", r.peak_db);
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

/// Table of the records, then one sentence for each that is compared with the first.
pub fn compare_text(records: &[Record], comparison: &Comparison, style: Style) -> String {
    let mut out = Screen::new(style);
    table(
        &mut out,
        records.iter().enumerate().map(|(i, r)| (words::letter(i), r)),
        style,
    );
    for (i, apart) in words::told_apart(records).iter().enumerate() {
        if let Some(apart) = apart {
            out.listed(&words::letter(i), apart, PLAIN);
        }
    }
    out.free("", PLAIN);
    out.free("Against A:", PLAIN);
    for (i, d) in comparison.differences.iter().enumerate() {
        let paint = if d.different { BOLD } else { PLAIN };
        let other = d
            .against
            .as_ref()
            .and_then(|id| records.iter().position(|r| r.id == *id));
        let text = match other {
            Some(k) => format!("against {}: {}", words::letter(k), d.text),
            None => d.text.clone(),
        };
        out.listed(&words::letter(i + 1), &text, paint);
    }
    if style.details {
        out.free("", PLAIN);
        out.free("Differences with their intervals", DIM);
        for (i, d) in comparison.differences.iter().enumerate() {
            let parts: Vec<String> = [
                d.f0_hz
                    .map(|e| format!("f0 {}", number::bare_interval(&e, Unit::Hertz))),
                d.q.map(|e| format!("Q {}", number::bare_interval(&e, Unit::Ratio))),
                d.peak_hz
                    .map(|e| format!("peak {}", number::bare_interval(&e, Unit::Hertz))),
                d.peak_db
                    .map(|e| format!("its height {}", number::bare_interval(&e, Unit::Decibel))),
                d.level_db
                    .map(|e| format!("coupling from the exciter {}", number::bare_interval(&e, Unit::Decibel))),
            ]
            .into_iter()
            .flatten()
            .collect();
            if !parts.is_empty() {
                let text = format!("{} {}", parts.join(", "), number::LEVEL);
                out.listed(&words::letter(i + 1), &text, PLAIN);
            }
        }
        let l = &comparison.limits;
        out.free(
            &format!(
                "Called a difference: more than {:.2} u (5 % for all comparisons together) and more than {} % in \
                 frequency, {} % in Q, {} dB in height. Coupling is the exciter's position too, not loudness from a string.",
                comparison.z,
                two(100.0 * l.frequency),
                two(100.0 * l.q),
                two(l.peak_db),
            ),
            DIM,
        );
    }
    out.text
}

/// Many analyses in one table, then those files that could not be used.
pub fn batch_text(records: &[Record], failed: &[(PathBuf, String)], style: Style) -> String {
    let mut out = Screen::new(style);
    if !records.is_empty() {
        let numbered = records.iter().enumerate().map(|(i, r)| ((i + 1).to_string(), r));
        table(&mut out, numbered, style);
    }
    let again = records.iter().filter(|r| words::reading(r).is_none()).count();
    let suspect = records
        .iter()
        .filter(|r| words::reading(r).is_some() && r.verdict == Verdict::Suspect)
        .count();
    let mut sum = vec![format!("{} read", records.len() - again)];
    if suspect > 0 {
        sum.push(format!("{suspect} of them with warnings"));
    }
    if again > 0 {
        sum.push(format!("{again} to measure again"));
    }
    if !failed.is_empty() {
        sum.push(format!("{} could not be used", failed.len()));
    }
    out.free(&sum.join(", "), PLAIN);
    for (file, why) in failed {
        out.free(
            &format!(
                "{}: {}",
                words::no_controls(&file.display().to_string()),
                words::clean(why)
            ),
            WARN,
        );
    }
    out.text
}

fn table<'a>(out: &mut Screen, records: impl Iterator<Item = (String, &'a Record)>, style: Style) {
    let records: Vec<(String, &Record)> = records.collect();
    let rows = rows(&records);
    let intervals = records.iter().any(|r| words::reading(r.1).is_some());
    let mut widths = widths(&rows);
    let others = widths.iter().sum::<usize>() - widths[1] + 10;
    let room = style.usable().saturating_sub(others);
    // Where the screen is too narrow for a readable name, the numbers go below it.
    let narrow = room < widths[1].min(14);
    widths[1] = widths[1].min(room);
    for row in rows.iter().skip(1).filter(|_| narrow) {
        listed(out, row);
    }
    for (n, row) in rows.iter().enumerate().filter(|_| !narrow) {
        let mut line = String::new();
        for (i, (cell, w)) in row.iter().zip(widths).enumerate() {
            let cell = shortened(cell, w);
            let pad = " ".repeat(w.saturating_sub(columns(&cell)));
            // Names to the left, numbers to the right.
            let _ = if i < 2 {
                write!(line, "{cell}{pad}  ")
            } else {
                write!(line, "{pad}{cell}  ")
            };
        }
        let line = shortened(line.trim_end(), style.usable());
        out.raw(&line, if n == 0 { DIM } else { PLAIN });
    }
    if intervals {
        out.raw(&format!("f0 and Q with their intervals {}", number::LEVEL), DIM);
    }
    let simulated: Vec<&str> = records
        .iter()
        .filter(|r| r.1.is_simulated())
        .map(|r| r.0.as_str())
        .collect();
    if !simulated.is_empty() {
        let who = if simulated.len() == records.len() {
            "all".into()
        } else {
            simulated.join(", ")
        };
        out.free(&format!("SIMULATED, no real pickup: {who}"), PLAIN);
    }
}

/// The table's head and body.
fn rows(records: &[(String, &Record)]) -> Vec<[String; 6]> {
    let body = records.iter().map(|(tag, r)| {
        let [peak, height, f0, q] = match words::reading(r) {
            None => ["no reading".into(), String::new(), String::new(), String::new()],
            Some(x) => [
                x.peak_hz
                    .map_or("no peak".into(), |p| number::short(p.value, Unit::Hertz)),
                x.peak_db
                    .map_or(String::new(), |p| number::short(p.value, Unit::Decibel)),
                number::bare_interval(&x.f0_hz, Unit::Hertz),
                number::bare_interval(&x.q, Unit::Ratio),
            ],
        };
        [tag.clone(), words::name(r), peak, height, f0, q]
    });
    let head = ["", "pickup", "peak", "height", "f0", "Q"].map(String::from);
    std::iter::once(head).chain(body).collect()
}

/// A row of the table where there is no room for one.
fn listed(out: &mut Screen, [tag, name, peak, height, f0, q]: &[String; 6]) {
    out.listed(tag, name, PLAIN);
    let sized = if height.is_empty() {
        peak.clone()
    } else {
        format!("peak {peak}, {height}")
    };
    out.listed("", &sized, PLAIN);
    if !f0.is_empty() {
        out.listed("", &format!("f0 {f0}, Q {q}"), PLAIN);
    }
}

fn widths(rows: &[[String; 6]]) -> [usize; 6] {
    let mut out = [0; 6];
    for row in rows {
        for (w, cell) in out.iter_mut().zip(row) {
            *w = columns(cell).max(*w);
        }
    }
    out
}

fn shortened(s: &str, w: usize) -> String {
    if columns(s) <= w {
        return s.to_string();
    }
    let mut out: String = s.chars().take(w.saturating_sub(1)).collect();
    out.truncate(out.trim_end().len());
    out.push('…');
    out
}

#[cfg(test)]
mod tests;
