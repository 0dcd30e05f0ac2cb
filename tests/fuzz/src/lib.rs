//! Everything that reads what the world hands in, as functions of any bytes. Each must come back without a panic, refuse in
//! one line, and let no number through that is none. The fuzz targets call these, and so do the regression tests, which
//! need neither libFuzzer nor a nightly compiler.

use std::fmt::Debug;
use std::path::Path;

use coilwright::analysis::chain::Chain;
use coilwright::analysis::repeats;
use coilwright::capture::wav::{self as wave, Channels};
use coilwright::coil::behind;
use coilwright::commands::outcome;
use coilwright::failure::Failure;
use coilwright::fileio;
use coilwright::network::{Coil, CoilFile, Load, Wiring, predict, spice};
use coilwright::quantity::{self, Unit};
use coilwright::record::{LoadSummary, Record, store};
use coilwright::report::checks_plot;
use coilwright::report::difference_words;
use coilwright::report::knock_plot;
use coilwright::report::overlay::{self, Align};
use coilwright::report::plot::{self, Plot};
use coilwright::report::text::{self, Style};
use coilwright::rig::Rig;
use coilwright::shop::difference::{self, How};
use coilwright::shop::witness::history::History;
use coilwright::shop::witness::judging::Expected;

mod bench;
mod recipe;

/// Tells whether the input was taken, or refused.
pub type Entry = fn(&[u8]) -> bool;

/// All entry points by the name of their target, which is also the name of their folder in fixtures/regression.
pub const ENTRIES: [(&str, Entry); 14] = [
    ("wav", wav),
    ("rig", rig),
    ("load", load),
    ("record", record),
    ("analysis", analysis),
    ("wiring", wiring),
    ("coil", coil),
    ("checks", checks),
    ("tray", tray),
    ("notes", notes),
    ("use", defaults),
    ("repeat", repeat),
    ("standard", standard),
    ("wax", wax),
];

pub use bench::{defaults, notes, repeat, standard, tray, wax};
pub use recipe::analysis;

/// A refusal is one line of words.
fn in_one_line(failure: &Failure) {
    let line = failure.to_string();
    assert!(!line.trim().is_empty() && line.lines().count() == 1, "{line:?}");
    assert!(!line.chars().any(char::is_control), "control characters in {line:?}");
    assert!(
        line.chars().count() < 2000,
        "{} characters: {line:?}",
        line.chars().count()
    );
}

fn refused(failure: &Failure) -> bool {
    in_one_line(failure);
    false
}

/// Whether a printed number is none, taken word for word.
fn no_number(text: &str) -> bool {
    text.split(|c: char| !c.is_alphanumeric())
        .any(|word| matches!(word, "NaN" | "inf"))
}

/// No NaN and no infinity anywhere in a value, as its debug form shows it (JSON would hide both behind null).
fn finite(what: &str, value: &impl Debug) {
    let shown = format!("{value:?}");
    if no_number(&shown) {
        let at = shown.find("NaN").or_else(|| shown.find("inf")).unwrap_or(0);
        let near: String = shown
            .chars()
            .skip(shown[..at].chars().count().saturating_sub(300))
            .take(600)
            .collect();
        panic!("{what} holds a number that is none: ... {near} ...");
    }
}

/// No attribute of a drawing may hold a number that is none; the lettering may say what it likes.
fn drawn(plot: &Plot) {
    let attribute = plot.svg.split('"').skip(1).step_by(2).find(|a| no_number(a));
    assert!(attribute.is_none(), "drawn at {attribute:?}");
    assert!(plot.png.starts_with(b"\x89PNG"));
}

/// WAV reader: take and drive.
pub fn wav(bytes: &[u8]) -> bool {
    let path = Path::new("take.wav");
    let mut taken = false;
    let pick = |pickup, reference| Some(Channels { pickup, reference });
    for channels in [None, pick(1, None), pick(2, Some(1)), pick(64, Some(64))] {
        let take = match wave::take_from_bytes(bytes, path, channels) {
            Ok(take) => take,
            Err(failure) => {
                in_one_line(&failure);
                continue;
            }
        };
        assert!((44_100..=192_000).contains(&take.rate_hz));
        assert!(take.step > 0.0 && take.step < 1e-4, "{}", take.step);
        assert!(!take.pickup.is_empty());
        let mut all: Vec<&[f32]> = vec![&take.pickup];
        if let Some(reference) = &take.reference {
            assert_eq!(reference.len(), take.pickup.len());
            all.push(reference);
        }
        assert!(all.iter().all(|c| c.iter().all(|x| x.is_finite())));
        let kept = wave::to_bytes(take.rate_hz, &all).expect("what was read can be kept");
        let again = wave::take_from_bytes(&kept, path, None).expect("what was kept can be read");
        assert!(
            again.pickup == take.pickup && again.reference == take.reference,
            "not the same samples again"
        );
        taken = true;
    }
    taken
}

/// Rig file: reader, and what the analysis makes of it.
pub fn rig(bytes: &[u8]) -> bool {
    let read = fileio::text_of(bytes.to_vec(), Path::new("rig.toml")).and_then(|t| Rig::parse(&t, "bench"));
    let rig = match read {
        Ok(rig) => rig,
        Err(failure) => return refused(&failure),
    };
    let chain = Chain::from(&rig);
    for one_channel in [false, true] {
        let _ = rig.notes(one_channel);
        finite(
            "the corner",
            &(
                rig.corner_hz(one_channel),
                rig.corner_u_hz(one_channel),
                rig.circuit_ohm(one_channel),
            ),
        );
        finite("the setup", &chain.setup(one_channel, [20.0, 20e3]));
    }
    finite("the summary", &rig.summary().values);
    let text = toml::to_string(&rig).expect("a rig is written");
    let again = Rig::parse(&text, "bench").unwrap_or_else(|f| panic!("{f}: {text}"));
    assert_eq!(again.summary().values, rig.summary().values);
    true
}

const UNITS: [Unit; 12] = [
    Unit::Ohm,
    Unit::Farad,
    Unit::Henry,
    Unit::Hertz,
    Unit::Second,
    Unit::Metre,
    Unit::Celsius,
    Unit::Dbfs,
    Unit::Decibel,
    Unit::FaradPerMetre,
    Unit::Rotation,
    Unit::Relative,
];

/// Load notation, and the notation of single values.
pub fn load(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return false;
    };
    for unit in UNITS {
        match quantity::parse(text, unit) {
            Ok(v) => {
                finite("the value", &v);
                let _ = (quantity::show(v, unit, 4), quantity::compact(v, unit));
            }
            Err(failure) => in_one_line(&failure),
        }
    }
    let load = match Load::parse(text) {
        Ok(load) => load,
        Err(failure) => return refused(&failure),
    };
    let shown = load.to_string();
    let again = Load::parse(&shown).unwrap_or_else(|f| panic!("{f}: {shown}"));
    assert_eq!(again, load, "{shown}");
    let _ = load.remarks();
    let coil = Coil::new(6000.0, 2.4, 120e-12);
    for hertz in [1.0, 100.0, 4e3, 2e4, 1e6] {
        finite("the response", &load.response(&coil, std::f64::consts::TAU * hertz));
    }
    if let Some(s) = load.second_order(&coil) {
        finite("the second-order section", &s);
    }
    true
}

/// Record reader, and all that shows records.
pub fn record(bytes: &[u8]) -> bool {
    let read = match store::parse(bytes, Path::new("record.json")) {
        Ok(record) => record,
        Err(failure) => return refused(&failure),
    };
    let kept = outcome::to_json(&read).expect("a record is written");
    store::parse(&kept, Path::new("record.json")).unwrap_or_else(|f| panic!("{f}"));
    // Plots cost a hundred times as much as the rest: some inputs only.
    let plotted = bytes.iter().fold(0u8, |s, b| s.wrapping_add(*b)).is_multiple_of(8);
    shown(&read, plotted);
    let other = store::parse(
        include_bytes!("../../../fixtures/regression/record/plain.json"),
        Path::new("plain.json"),
    );
    // Words of the record itself may spell anything.
    let record = Record {
        id: "x".into(),
        pickup: Default::default(),
        rig: Default::default(),
        load: None,
        ..read
    };
    let all = [record, other.expect("a sound record")];
    for pair in [[&all[0], &all[1]], [&all[1], &all[0]], [&all[0], &all[0]]] {
        let pair = pair.map(Record::clone);
        match difference::compare(&pair, &How::default()) {
            Ok(mut comparison) => {
                difference_words::put(&mut comparison, &pair);
                finite("the comparison", &comparison);
                let _ = text::compare_text(&pair, &comparison, Style::default());
            }
            Err(failure) => in_one_line(&failure),
        }
        for align in [Align::LowFrequency, Align::Coupling].into_iter().filter(|_| plotted) {
            match overlay::compare_plot(&pair, align) {
                Ok(plot) => drawn(&plot),
                Err(failure) => in_one_line(&failure),
            }
        }
    }
    let mut loaded = [all[0].clone(), all[1].clone()];
    for (r, load) in loaded.iter_mut().zip(["", "cap=1n"]) {
        r.load = Some(LoadSummary { text: load.into() });
        r.pickup.r_ohm = Some(6000.0);
    }
    match behind::find(&loaded, &behind::About::default()) {
        Ok(found) => {
            finite("the coil", &found);
            let _ = text::coil_text(&found, Style::default());
        }
        Err(failure) => in_one_line(&failure),
    }
    match repeats::combine(vec![all[0].clone(), all[0].clone()]) {
        Ok(together) => finite("the combined record", &together),
        Err(failure) => in_one_line(&failure),
    }
    true
}

/// A wiring file: what is read predicts, whatever coil hangs in it.
pub fn wiring(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return false;
    };
    let no_file = |path: &str| Err(Failure::new(format!("no file {}", quantity::quoted(path)), "none here"));
    let wiring = match Wiring::parse("wiring.toml", text, &no_file) {
        Ok(wiring) => wiring,
        Err(failure) => return refused(&failure),
    };
    let coil = Coil::new(6000.0, 2.4, 120e-12);
    for hertz in [1.0, 100.0, 4e3, 2e4] {
        let gain = wiring.response(&coil, std::f64::consts::TAU * hertz).norm();
        // Coils of any value may resonate without loss; but a number it is.
        assert!(!gain.is_nan(), "{hertz} Hz: {gain}");
    }
    let _ = predict::figures(&wiring, &coil);
    if let Some(load) = wiring.as_load() {
        let _ = load.to_string();
    }
    true
}

/// A coil file: what is read is written and read again, predicts, and becomes a subcircuit.
pub fn coil(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return false;
    };
    let file = match CoilFile::parse("coil.toml", text) {
        Ok(file) => file,
        Err(failure) => return refused(&failure),
    };
    let written = file.to_toml("of any kind");
    let again = CoilFile::parse("again.toml", &written).unwrap_or_else(|f| panic!("{f}: {written}"));
    assert_eq!(again, file, "{written}");
    let coil = file.coil();
    let wiring = Wiring::from(Load::default());
    if let Ok(Some(covariance)) = file.covariance() {
        let _ = predict::doubt(&wiring, &coil, &covariance);
    }
    assert!(spice::subcircuit("any", &coil, &[]).contains(".subckt any hot cold emf"));
    true
}

/// What checks scatter by on any rig.
const EXPECTED: Expected = Expected {
    f0: 2e-3,
    q: 0.01,
    level_db: 0.3,
};

/// A history of checks: what is read judges, is drawn, and tells a repeatability that is a number.
pub fn checks(bytes: &[u8]) -> bool {
    let history = match History::parse("checks.json", bytes) {
        Ok(history) => history,
        Err(failure) => return refused(&failure),
    };
    if let Some(days) = history.between_days() {
        finite("the repeatability", &days);
    }
    if !history.checks.is_empty() {
        match checks_plot::history(&history, &history.judged(&EXPECTED, checks_plot::MOST)) {
            Ok(plot) => drawn(&plot),
            Err(failure) => in_one_line(&failure),
        }
    }
    true
}

/// A record on the screen and, if wanted, as a plot.
fn shown(record: &Record, plotted: bool) {
    for (width, details) in [(80, false), (40, true)] {
        let style = Style {
            colour: false,
            width,
            details,
        };
        let _ = text::measure_text(record, style);
    }
    if !plotted {
        return;
    }
    if let Some(knock) = &record.knock {
        match knock_plot::taps(record, knock) {
            Ok(plot) => drawn(&plot),
            Err(failure) => in_one_line(&failure),
        }
    }
    match plot::response_plot(record) {
        Ok(plot) => drawn(&plot),
        Err(failure) => in_one_line(&failure),
    }
}
