//! Files that a working bench keeps beside its records: lots, notes, defaults, standards, and what a rig has learnt.

use std::path::Path;

use coilwright::cli::defaults::Defaults;
use coilwright::estimate::Estimate;
use coilwright::fileio;
use coilwright::record::notes::Note;
use coilwright::record::{Record, store};
use coilwright::report::text::{self, Style};
use coilwright::report::tray_plot;
use coilwright::shop::lot::Tray;
use coilwright::shop::reading;
use coilwright::shop::standard::{self, Standard};
use coilwright::shop::wax::document::{Pair, PotVerdict, PottingDocument};
use coilwright::shop::wax::own::WaxHistory;
use coilwright::shop::wax::sitting::Sitting;
use coilwright::shop::witness::eras::Eras;
use coilwright::shop::witness::repeat::RepeatDocument;
use serde::Serialize;

use super::{drawn, finite, in_one_line, refused};

/// A text, or a sentence why it is none.
fn worded<T>(bytes: &[u8], read: impl FnOnce(&str) -> coilwright::failure::Result<T>) -> Option<T> {
    let read = fileio::text_of(bytes.to_vec(), Path::new("file")).and_then(|t| read(&t));
    read.map_err(|f| in_one_line(&f)).ok()
}

/// Written, and read again as the same.
fn the_same_again<T: Serialize + PartialEq + std::fmt::Debug>(
    document: &T,
    read: impl FnOnce(&[u8]) -> coilwright::failure::Result<T>,
) {
    let kept = serde_json::to_vec(document).expect("a document is written");
    let again = read(&kept).unwrap_or_else(|f| panic!("{f}: {}", String::from_utf8_lossy(&kept)));
    assert_eq!(&again, document);
}

fn sound_record() -> Record {
    let bytes = include_bytes!("../../../fixtures/regression/record/plain.json");
    store::parse(bytes, Path::new("plain.json")).expect("a sound record")
}

/// A lot: what is read is shown, drawn, goes on by its keys, and is kept again.
pub fn tray(bytes: &[u8]) -> bool {
    let mut tray = match Tray::parse("tray.json", bytes) {
        Ok(tray) => tray,
        Err(failure) => return refused(&failure),
    };
    the_same_again(&tray, |kept| Tray::parse("again.json", kept));
    let (counts, standing) = (tray.counts(), tray.standing().count() as u64);
    let of_all = serde_json::to_value(counts).expect("counts are written");
    let sum: u64 = of_all
        .as_object()
        .into_iter()
        .flatten()
        .filter_map(|c| c.1.as_u64())
        .sum();
    assert_eq!(sum, standing, "{of_all}: not everything is counted, or something twice");
    let _ = (
        text::tray_keys(&tray),
        text::tray_prompt(&tray),
        text::tray_step(&tray, Style::default()),
    );
    let _ = text::tray_summary(&tray, Style::default());
    // A plot costs a hundred times as much as the rest.
    if bytes.iter().fold(0u8, |s, b| s.wrapping_add(*b)).is_multiple_of(16) {
        match tray_plot::lot(&tray) {
            Ok(plot) => drawn(&plot),
            Err(failure) => in_one_line(&failure),
        }
    }
    // An entry may stand again for each that replaced it, and be left before it is taken back.
    for _ in 0..4 * tray.entries.len() {
        let _ = tray.undo();
    }
    assert!(tray.undo().is_none(), "taking back has no end");
    if let Some(standard) = &tray.standard {
        let _ = standard::judge(&sound_record(), Some(standard), &Eras::default(), false);
    }
    true
}

/// A note beside a record: shown with it.
pub fn notes(bytes: &[u8]) -> bool {
    let note = match Note::parse(bytes, Path::new("note-0001.json")) {
        Ok(note) => note,
        Err(failure) => return refused(&failure),
    };
    finite("the note", &note.readings);
    the_same_again(&note, |b| Note::parse(b, Path::new("again.json")));
    for r in &note.readings {
        let _ = (r.doubt(), r.uneven(), r.shown());
    }
    let mut record = sound_record();
    record.noted = vec![note.clone(), note];
    let _ = (record.ohms(), text::notes_text(&record, None, Style::default()));
    true
}

/// What `use` remembers: written again, it says the same.
pub fn defaults(bytes: &[u8]) -> bool {
    let Some(read) = worded(bytes, Defaults::parse) else {
        return false;
    };
    let entries = match read.entries() {
        Ok(entries) => entries,
        Err(failure) => return refused(&failure),
    };
    let table: toml::Table = entries.into_iter().map(|(k, v)| (k.to_owned(), v.into())).collect();
    let again = Defaults::parse(&table.to_string()).unwrap_or_else(|f| panic!("{f}: {table}"));
    assert_eq!(again, read, "{table}");
    true
}

/// How far apart a rig tells pickups: shown, and judged with.
pub fn repeat(bytes: &[u8]) -> bool {
    let read = match RepeatDocument::parse("repeat.json", bytes) {
        Ok(read) => read,
        Err(failure) => return refused(&failure),
    };
    the_same_again(&read, |b| RepeatDocument::parse("again.json", b));
    let _ = text::repeat_text(&read, &[], Style::default());
    let standard = include_str!("../../../fixtures/regression/standard/neck.toml");
    let standard = Standard::parse("neck.toml", standard).expect("a sound standard");
    let mut record = sound_record();
    if let Some(r) = record.resonance.as_mut() {
        r.u_lay = Some(reading::laying(&read, r));
    }
    let _ = standard::judge(&record, Some(&standard), &Eras::default(), false);
    true
}

/// A standard: written again it is the same, and judges.
pub fn standard(bytes: &[u8]) -> bool {
    let Some(read) = worded(bytes, |t| Standard::parse("neck.toml", t)) else {
        return false;
    };
    let written = read.to_toml("of any kind").expect("a standard is written");
    let again = Standard::parse("again.toml", &written).unwrap_or_else(|f| panic!("{f}: {written}"));
    assert_eq!(again, read, "{written}");
    let _ = text::standard_text(&read, None, &[], Style::default());
    let _ = standard::judge(&sound_record(), Some(&read), &Eras::default(), false);
    true
}

/// A dip that is measured Enter by Enter: every step of it is asked for.
pub fn sitting(bytes: &[u8]) -> bool {
    let read = match Sitting::parse("sitting.json", bytes) {
        Ok(read) => read,
        Err(failure) => return refused(&failure),
    };
    the_same_again(&read, |b| Sitting::parse("again.json", b));
    let steps = read.steps();
    assert!(steps.len() >= read.pickups.len() + read.stays.len());
    for step in &steps {
        let _ = text::sitting_prompt(step, 1, steps.len(), read.waxed);
    }
    let _ = text::sitting_left(&read, steps.len(), "dip", Default::default());
    true
}

/// What the wax did before: new pairs are held against it.
pub fn wax(bytes: &[u8]) -> bool {
    let mut read = match WaxHistory::parse("wax.json", bytes) {
        Ok(read) => read,
        Err(failure) => return refused(&failure),
    };
    the_same_again(&read, |b| WaxHistory::parse("again.json", b));
    // One that the kept history of 0.1.0 knows, and a new one.
    let pairs = [["aef513ae86178a98", "25764f0658e9bd87"], ["b", "a"]].map(|[before, after]| Pair {
        before: vec![before.into()],
        after: vec![after.into()],
        q_relative: Some(0.003),
        c_f: Estimate::new(9e-12, 1e-12, 1e-14),
        verdict: PotVerdict::Wax,
        p_equivalence: Some(0.5),
        ..Pair::default()
    });
    let mut document = PottingDocument {
        pairs: pairs.into(),
        ..PottingDocument::default()
    };
    read.hold_against(&mut document);
    finite(
        "the usual changes",
        &document.pairs.iter().map(|p| &p.usual).collect::<Vec<_>>(),
    );
    let _ = read.keep(&document);
    true
}
