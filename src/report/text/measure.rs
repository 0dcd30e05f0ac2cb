//! What `measure` and `analyze` show on the screen.

use std::collections::BTreeSet;

use super::knock;
use super::screen::{BOLD, DIM, PLAIN, STOP, Screen, Style, WARN};
use crate::estimate::Estimate;
use crate::record::{Budget, Eddy, Finding, Fit, Level, Model, Parts, Record, Resonance, Verdict};
use crate::report::number::{self, Unit, hz, six, two, two_or_more};
use crate::report::words;
use crate::shop::reading;
use crate::shop::yardstick::Quantity;

/// One measurement: the peak first, then what else was found.
pub fn measure_text(record: &Record, style: Style) -> String {
    measure_text_after(record, style, &BTreeSet::new())
}

/// The same where this has been said already today: of that one line is left, so that what is new stands out.
pub fn measure_text_after(record: &Record, style: Style, said: &BTreeSet<String>) -> String {
    let mut out = Screen::new(style);
    let mut title = words::name(record);
    if record.is_simulated() {
        title.push_str("  (SIMULATED, no real pickup)");
    }
    out.line_in(&title, BOLD);
    match record.reading() {
        Some(r) => {
            found(&mut out, record, r);
            if !record.repeats.is_empty() {
                out.row("Takes", format!("mean of {}", record.repeats.len()));
            }
        }
        None => refused(&mut out, record),
    }
    if let Some(k) = &record.knock {
        knock::found(&mut out, k);
    }
    circumstances(&mut out, record);
    if record.reading().is_some() {
        let suspect = record.verdict == Verdict::Suspect;
        out.row_in(
            "Reading",
            words::verdict(record.verdict),
            if suspect { WARN } else { PLAIN },
        );
    }
    remarks(&mut out, record, said);
    if style.details {
        details(&mut out, record);
    }
    out.text
}

/// The peak first; f0 and Q by their names, and only beside one.
fn found(out: &mut Screen, record: &Record, r: &Resonance) {
    let above = if r.peak_db.is_some() { " above the lows" } else { "" };
    out.row_in("Peak", format!("{}{above}", words::peak(record)), BOLD);
    if let Some(intervals) = words::peak_intervals(record) {
        let mark = words::mark([record]);
        out.row("", format!("{intervals} {mark}"));
        if words::from_curve(r) {
            out.row("", "read off the measured curve, because no model fits it");
        }
        for (label, name, quantity) in [("Resonance", "f0 ", Quantity::F0), ("Q", "", Quantity::Q)] {
            if let Some(value) = words::shown(record, quantity) {
                out.row(label, format!("{name}{value} {mark}"));
            }
        }
    }
    out.rows("", words::down_interval(record));
    out.row("Polarity", words::polarity(r));
}

/// "no reading, measure again: ...", with every reason.
fn refused(out: &mut Screen, record: &Record) {
    let mut reasons = words::rejected_for(record);
    let first = words::of(reasons.next(), |f| format!(": {f}"));
    out.line_in(format!("no reading, measure again{first}"), STOP);
    reasons.for_each(|other| out.line_in(format!("also: {other}"), STOP));
}

fn circumstances(out: &mut Screen, record: &Record) {
    let p = &record.pickup;
    let over = words::typed(p.over.as_deref());
    out.rows(
        "Exciter",
        over.map(|o| format!("over {o}; level and polarity are that coil's")),
    );
    out.rows("Resistance", words::ohms(p));
    out.row("Load", words::load(record));
    out.row("Rig", words::rig(&record.rig) + &words::rig_input(record));
    out.rows("Your note", words::typed(p.note.as_deref()));
}

/// What is said below a reading and blocks nothing.
struct Remark {
    /// In a few words.
    name: String,
    text: String,
}

impl Remark {
    /// The same remark with other figures is the same one.
    fn key(&self) -> String {
        let text = self.text.chars().filter(|c| !c.is_ascii_digit());
        format!("{}: {}", self.name, text.collect::<String>())
    }
}

/// What is said below this reading, as a later one recognises it.
pub fn said_of(record: &Record) -> impl Iterator<Item = String> {
    noted(record, false).into_iter().map(|n| n.key())
}

fn noted(record: &Record, details: bool) -> Vec<Remark> {
    let remark = |name: &str, text| Remark {
        name: name.to_owned(),
        text,
    };
    let notes = record.findings.iter().filter(|f| f.level == Level::Note);
    let mut out: Vec<Remark> = notes.map(|f| remark(words::finding(f.code), headed(f))).collect();
    out.extend(record.other_notes().map(|n| words::clean(n)).map(|text| {
        let name = text.split([':', ';', ',', '(']).next().unwrap_or_default().trim();
        remark(name, text.clone())
    }));
    let left = |text| remark("what the rig file does not state", text);
    // One line, unless somebody asks.
    if details {
        out.extend(record.rig.open.iter().map(|o| left(words::clean(&o.note()))));
    } else if let Some(keys) = words::not_stated(record) {
        out.push(left(format!("not stated in the rig file: {keys} (--details)")));
    }
    out
}

/// A text that says its own name needs no heading.
fn headed(f: &Finding) -> String {
    let (name, text) = (words::finding(f.code), words::finding_text(f));
    match text.to_lowercase().contains(name) {
        true => text,
        false => format!("{name}: {text}"),
    }
}

fn remarks(out: &mut Screen, record: &Record, said: &BTreeSet<String>) {
    // Those of a rejected take are told at the top already.
    let warnings = record.findings.iter().filter(|f| f.level == Level::Warning);
    out.rows_in("Warning", warnings.map(headed), WARN);
    let known = |n: &Remark| !out.style.details && said.contains(&n.key());
    let (old, new): (Vec<Remark>, Vec<Remark>) = noted(record, out.style.details).into_iter().partition(known);
    out.rows("Note", new.iter().map(|n| &n.text));
    let mut names: Vec<&str> = old.iter().map(|n| n.name.as_str()).collect();
    names.dedup();
    if !names.is_empty() {
        out.row("Note", format!("as earlier today: {} (--details)", names.join(", ")));
    }
}

fn details(out: &mut Screen, record: &Record) {
    out.line("");
    out.line_in(
        "Details (u = standard uncertainty, u_noise = its noise part, u_lay = of laying the pickup down, not in u)",
        DIM,
    );
    if let Some(r) = record.reading() {
        let told = [
            ("f0, Hz", Quantity::F0),
            ("Q", Quantity::Q),
            ("peak, Hz", Quantity::Peak),
            ("peak, dB", Quantity::Height),
        ];
        for (name, quantity) in told {
            out.rows(name, uncertain(record, quantity));
        }
        out.row("corr(f0,Q)", format!("{:.2}", r.corr_f0_q));
        let mutual = r.mutual_h.map(|m| number::interval(&m, Unit::Henry));
        let level = r.level_db.map(|l| number::interval(&l, Unit::Decibel));
        let of = "coupling from the exciter, set by its position; not loudness from a string";
        out.rows("coupling", words::joined([mutual, level]).map(|c| format!("{c}: {of}")));
    }
    if let Some(b) = &record.budget {
        budget_details(out, b);
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
        out.row(&format!("take {}", i + 1), text);
    }
    out.row("taken", words::when(&record.taken_at));
    out.row("record", words::clean(&record.id));
    out.row("program", words::clean(&record.tool_version));
    out.line("");
}

/// A value with every part of its uncertainty.
fn uncertain(record: &Record, quantity: Quantity) -> Option<String> {
    let e = reading::value(record, quantity)?;
    let laying = reading::parts(record, quantity)?.laying;
    let lay = two(laying.sd * reading::unit_of(quantity, e.value));
    let usual = if laying.usual.any() { ", usual" } else { "" };
    let [u, noise] = [e.u, e.u_noise].map(two);
    Some(format!("{} (u {u}, u_noise {noise}, u_lay {lay}{usual})", six(e.value)))
}

/// What each uncertainty is made of, one standard uncertainty of each.
fn budget_details(out: &mut Screen, b: &Budget) {
    let all = [
        ("u: f0, Hz", Some(&b.f0_hz)),
        ("u: Q", Some(&b.q)),
        ("u: peak, Hz", b.peak_hz.as_ref()),
        ("u: peak, dB", b.peak_db.as_ref()),
    ];
    for (name, parts) in all {
        out.rows(name, parts.map(made_of));
    }
}

fn made_of(p: &Parts) -> String {
    let parts = [
        ("noise", p.noise),
        ("stated", p.stated),
        ("not stated", p.unstated),
        ("misfit", p.misfit),
        ("two ways", p.ways),
    ];
    let there = parts.map(|(what, u)| (u > 0.0).then(|| format!("{what} {}", two(u))));
    words::joined(there).unwrap_or_default()
}

fn model(model: Model) -> &'static str {
    match model {
        Model::SecondOrder => "second order",
        Model::Eddy => "second order with eddy currents",
        Model::Turn => "a shorted turn about the coil",
        Model::Metal => "a metal core in the coil",
        Model::MetalLoop => "a metal core, and a cover or baseplate",
        Model::SecondOrderOther => "second order, another coil in series",
        Model::TurnOther => "a shorted turn about the coil, another coil in series",
        Model::MetalOther => "a metal core, another coil in series",
        Model::MetalLoopOther => "a metal core, a cover or baseplate, another coil in series",
    }
}

fn fit_details(out: &mut Screen, fit: &Fit) {
    out.row("model", model(fit.model));
    let noise = match fit.noise_from.as_str() {
        "" => String::new(),
        from => format!(", noise from {}", words::clean(from)),
    };
    let [low, high] = fit.band_hz.map(hz);
    out.row("band", format!("{low} to {high}, {} bins{noise}", fit.bins));
    let (chi2, rms) = (two_or_more(fit.reduced_chi2), two(fit.rms_residual_db));
    let quality = format!("chi-square {chi2} per degree of freedom, {rms} dB rms left over (second order)");
    out.row("fit", quality);
    let plain = fit.plain.filter(|_| fit.model != Model::SecondOrder);
    let plain = plain.map(|p| {
        let f0 = number::bare_interval(&p.f0_hz, Unit::Hertz);
        let q = number::bare_interval(&p.q, Unit::Ratio);
        format!("f0 {f0}, Q {q} {}", number::LEVEL)
    });
    out.rows("plain coil", plain);
    out.rows("input", fit.shift_s.as_ref().map(shifted));
    for (name, n) in &fit.nuisance {
        let u = n.u.map_or("taken as exact".into(), |u| format!("u {}", two(u)));
        out.row("fitted too", format!("{} = {} ({u})", words::clean(name), six(n.value)));
    }
    if let Some(eddy) = &fit.eddy {
        eddy_details(out, eddy);
    }
}

/// "leads by 1.20 ± 0.10 µs (95 %)".
fn shifted(s: &Estimate) -> String {
    let which = if s.value < 0.0 { "lags" } else { "leads" };
    let size = number::interval(&number::unsigned(s), Unit::Second);
    format!("the pickup's {which} the reference's by {size}")
}

fn eddy_details(out: &mut Screen, e: &Eddy) {
    let better = if e.delta_bic < 0.0 { "better" } else { "no better" };
    let (bic, chi2) = (e.delta_bic, two_or_more(e.reduced_chi2));
    let head = format!("{better} than second order (delta BIC {bic:+.1}), chi-square {chi2}");
    out.row("eddy model", head);
    let numbers = [
        ("f0", &e.f0_hz, Unit::Hertz),
        ("Q", &e.q, Unit::Ratio),
        ("pole", &e.pole_s, Unit::Second),
        ("zero", &e.zero_s, Unit::Second),
    ];
    let numbers = numbers.map(|(name, e, unit)| format!("{name} {}", number::bare_interval(e, unit)));
    out.row("", format!("{} {}", numbers.join(", "), number::LEVEL));
}

fn capture_details(out: &mut Screen, record: &Record) {
    let c = &record.capture;
    let db = |v: Option<f64>| v.map(|v| format!("{v:.1} dB"));
    let snr = db(c.snr_db).map(|s| format!("signal to noise {s} around f0"));
    let mains = words::of(c.mains_hz, |f| format!(", mains {f:.2} Hz"));
    let hum = db(c.hum_db).map(|h| format!("hum {h} re signal{mains}"));
    out.rows("signal", words::joined([snr, hum]));
    let latency = c.latency_s.map(|l| number::four_digits(l, Unit::Second));
    let latency = latency.map(|l| format!("latency {l}"));
    let clock = c.clock_ppm.map(|p| format!("output clock {p:+.2} ppm"));
    out.rows("timing", words::joined([latency, clock]));
    let (s, of) = (words::plural(c.channels as usize), c.frames);
    let highest = words::of(c.peak_dbfs, |p| format!(", highest {p:.1} dBFS"));
    let lost = format!("{} clipped, {} dropouts", c.clipped_samples, c.dropouts);
    let shape = format!("{} Hz, {} channel{s}, {of} samples each", c.rate_hz, c.channels);
    out.row("take", format!("{shape}{highest}, {lost}"));
    if let Some(d) = &record.drive {
        let (shape, seconds) = (words::clean(&d.shape), six(d.seconds));
        let [from, to] = [d.from_hz, d.to_hz].map(hz);
        let level = d.level_dbfs;
        let text = format!("{shape}, {seconds} s, {from} to {to}, {level:.1} dBFS peak");
        out.row("drive", text);
    }
}
