//! The trade's words for what a record holds, shared by screen and plots.

use super::number::{self, Unit, db, hz};
use crate::coil::behind::input_of;
use crate::record::meters::Reading;
use crate::record::{Code, Finding, Level, PeakFrom, Pickup, Record, Resonance, RigSummary, Verdict};
use crate::shop::order::document::OfLot;
use crate::shop::reading as shop;
use crate::shop::yardstick::{Answer, Quantity};

/// Text from files, made safe for a terminal: no control characters, no line breaks.
pub fn clean(text: &str) -> String {
    let words = text.split(|c: char| c.is_whitespace() || c.is_control());
    listed(words.filter(|w| !w.is_empty()), " ")
}

/// What somebody typed in, where anything is left of it.
pub fn typed(text: Option<&str>) -> Option<String> {
    text.map(clean).filter(|t| !t.is_empty())
}

/// "north meter 6.05 kΩ": what another meter read.
pub fn by_meter(r: &Reading) -> String {
    format!("{} {}", clean(&r.column().to_string()), r.shown())
}

/// One after the other, made safe.
pub fn names(texts: impl IntoIterator<Item = impl AsRef<str>>) -> String {
    list(texts.into_iter().map(|t| clean(t.as_ref())))
}

/// What is said of it, where it is there.
pub fn of<T>(it: Option<T>, words: impl FnOnce(T) -> String) -> String {
    it.map_or_else(String::new, words)
}

/// One after the other, as they are.
pub fn list(texts: impl IntoIterator<Item = impl AsRef<str>>) -> String {
    listed(texts, ", ")
}

/// With this between them.
pub fn listed(texts: impl IntoIterator<Item = impl AsRef<str>>, between: &str) -> String {
    let mut out = String::new();
    for (i, text) in texts.into_iter().enumerate() {
        out.push_str(if i > 0 { between } else { "" });
        out.push_str(text.as_ref());
    }
    out
}

/// As [`clean`], spaces kept, for paths.
pub fn no_controls(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

pub fn name(record: &Record) -> String {
    typed(Some(&record.pickup.name)).unwrap_or("(no name)".into())
}

/// What tells each record from the others of its name: its load where that differs, or else when it was taken; nothing where
/// the name is its own.
pub fn told_apart(records: &[Record]) -> Vec<Option<String>> {
    records
        .iter()
        .map(|r| {
            let same: Vec<&Record> = records.iter().filter(|o| name(o) == name(r)).collect();
            let by_load = same.iter().any(|o| load(o) != load(r));
            (same.len() > 1).then(|| if by_load { load(r) } else { when(&r.taken_at) })
        })
        .collect()
}

/// "3.40 kHz, peak height +9.2 dB", at a glance; "no peak; 3 dB down at 5.2 kHz".
pub fn peak(record: &Record) -> String {
    let at_glance = |r: &Resonance| {
        let height = r.peak_db.map(|e| format!("{HEIGHT} {}", db(e.value)));
        joined([Some(hz(r.peak_hz?.value)), height])
    };
    match (record.reading().and_then(at_glance), down(record)) {
        (Some(peak), _) => peak,
        (None, Some(down)) => format!("no peak; {down}"),
        (None, None) => "no peak".into(),
    }
}

/// The same, or that there is no reading.
pub fn headline(record: &Record) -> String {
    record.reading().map_or("no reading".into(), |_| peak(record))
}

/// What the height of a peak is called: a pickup's height is another thing.
pub const HEIGHT: &str = "peak height";

/// "3 dB down at 5.2 kHz": what is told of a response that has no peak.
pub fn down(record: &Record) -> Option<String> {
    let s = fall(record)?;
    Some(format!("3 dB down at {}", number::sure(s.value, s.half, Unit::Hertz)))
}

/// "1082 ± 24 Hz": the same with its interval.
pub fn down_interval(record: &Record) -> Option<String> {
    Some(within(&fall(record)?, Unit::Hertz))
}

pub fn within(s: &shop::Shown, unit: Unit) -> String {
    format!("{} {}", number::within(s.value, s.half, unit), number::level(s.usual))
}

fn fall(record: &Record) -> Option<shop::Shown> {
    record.reading().filter(|r| r.peak_hz.is_none())?;
    shop::shown(record, Quantity::Down)
}

/// "3402.3 ± 9.8 Hz, peak height +9.21 ± 0.20 dB", without the mark of the interval.
pub fn peak_intervals(record: &Record) -> Option<String> {
    let height = shown(record, Quantity::Height).map(|h| format!("{HEIGHT} {h}"));
    joined([Some(shown(record, Quantity::Peak)?), height])
}

/// What a quantity is called.
pub fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Peak => "peak",
        Quantity::F0 => "f0",
        Quantity::Q => "Q",
        Quantity::Height => HEIGHT,
        Quantity::Level => "coupling from the exciter",
        Quantity::Curve => "curve",
        Quantity::Down => "3 dB point",
        Quantity::Ohms => "ohms",
    }
}

/// The same in a list.
pub fn brief(quantity: Quantity) -> &'static str {
    if quantity == Quantity::Q { "Q" } else { quantity.code() }
}

/// What it counts.
pub fn unit(quantity: Quantity) -> Unit {
    match quantity {
        Quantity::Peak | Quantity::F0 | Quantity::Down => Unit::Hertz,
        Quantity::Q => Unit::Ratio,
        Quantity::Ohms => Unit::Ohm,
        Quantity::Height | Quantity::Level | Quantity::Curve => Unit::Decibel,
    }
}

/// How far a pickup is off its lot's middle, as it is shown: in per cent, or in decibels.
pub fn off_middle(of: &OfLot, off: f64) -> (f64, &'static str) {
    number::apart(of.quantity.is_relative(), off)
}

/// Is it another one, or what was predicted?
pub fn answer(answer: Answer) -> &'static str {
    match answer {
        Answer::Different => "different",
        Answer::Same => "the same",
        Answer::CannotTell => "cannot tell",
    }
}

/// A value within what another take would read of this pickup, laid down anew.
pub fn shown(record: &Record, quantity: Quantity) -> Option<String> {
    let s = shop::shown(record, quantity)?;
    Some(number::within(s.value, s.half, unit(quantity)))
}

/// Marks what is shown of records.
pub fn mark<'a>(records: impl IntoIterator<Item = &'a Record>) -> &'static str {
    let told = [Quantity::Peak, Quantity::F0, Quantity::Q, Quantity::Height];
    let usual = |r: &Record| told.into_iter().any(|q| shop::shown(r, q).is_some_and(|s| s.usual));
    number::level(records.into_iter().any(usual))
}

/// "6.042 kΩ at 20 °C (read as 6.050 kΩ at 21.0 °C)".
pub fn ohms(p: &Pickup) -> Option<String> {
    let [read, at20] = [p.r_ohm, p.r20_ohm].map(|r| r.map(|r| number::four_digits(r, Unit::Ohm)));
    let room = p.temperature_c.filter(|t| t.abs() < 1e4);
    match (at20, read, room) {
        (Some(r20), Some(r), Some(t)) => Some(format!("{r20} at 20 °C (read as {r} at {t:.1} °C)")),
        (Some(r20), ..) => Some(format!("{r20} at 20 °C")),
        (None, read, _) => read.map(|r| format!("{r} as read, coil's temperature not known")),
    }
}

pub fn from_curve(r: &Resonance) -> bool {
    r.peak_from == PeakFrom::Curve && r.peak_hz.is_some()
}

pub fn polarity(r: &Resonance) -> &'static str {
    match (r.polarity_referenced, r.polarity) {
        (false, _) => "not known: the rig's sign is not set",
        (true, 0) => "not known",
        (true, p) if p > 0 => "same way as the rig's reference",
        _ => "other way round from the rig's reference",
    }
}

pub fn verdict(v: Verdict) -> &'static str {
    match v {
        Verdict::Ok => "ok",
        Verdict::Suspect => "usable, but see the warnings",
        Verdict::Rejected => "no reading, measure again",
    }
}

pub fn rig(rig: &RigSummary) -> String {
    match rig.given {
        false => "none given".into(),
        true => typed(rig.name.as_deref()).unwrap_or("(no name)".into()),
    }
}

pub fn load(record: &Record) -> String {
    match record.load.as_ref().map(|l| clean(&l.text)) {
        Some(text) if text.is_empty() || text == "none" => "nothing but the rig's own input".into(),
        Some(text) => text,
        None => "not stated".into(),
    }
}

/// "; its input adds 1.00 MΩ, 150 pF to the load": what the rig's input and lead put on the pickup.
pub fn rig_input(record: &Record) -> String {
    let (ohm, farad) = input_of(record);
    let ohm = ohm.map(|r| number::short(r, Unit::Ohm));
    let both = joined([ohm, (farad > 0.0).then(|| number::short(farad, Unit::Farad))]);
    of(both, |i| format!("; its input adds {i} to the load"))
}

/// The keys that the rig file leaves open.
pub fn not_stated(record: &Record) -> Option<String> {
    joined(record.rig.open.iter().map(|o| Some(o.name()))).map(|keys| clean(&keys))
}

/// Why there is no reading.
pub fn rejected_for(record: &Record) -> impl Iterator<Item = String> {
    record
        .findings
        .iter()
        .filter(|f| f.level == Level::Reject)
        .map(finding_text)
}

/// "2026-01-31 14:05" of an RFC 3339 time, in the time zone it was taken in.
pub fn when(taken_at: &str) -> String {
    let shape = |b: &[u8]| b.get(4) == Some(&b'-') && b.get(10) == Some(&b'T') && b.get(13) == Some(&b':');
    match taken_at.get(..16).filter(|s| s.is_ascii() && shape(s.as_bytes())) {
        Some(s) => s.replacen('T', " ", 1),
        None => clean(taken_at),
    }
}

/// A path as a shell takes it.
pub fn shell(path: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "/._-".contains(c);
    if path.chars().all(plain) {
        path.into()
    } else {
        format!("'{}'", path.replace('\'', "'\\''"))
    }
}

/// What is wrong, in two or three words; the finding's own text has the particulars.
pub fn finding(code: Code) -> &'static str {
    match code {
        Code::Clipped => "flat tops",
        Code::Distorted => "distortion",
        Code::GainDrift => "the gain moved",
        Code::Dropout => "lost samples",
        Code::Transient => "knock or click",
        Code::NoSignal => "no answer from the pickup",
        Code::ReferenceMissing => "no drive on the reference channel",
        Code::LowSnr => "weak signal",
        Code::Hum => "mains hum",
        Code::NoPeak => "no peak",
        Code::PoorFit => "curve and model differ",
        Code::InputsDiffer => "the inputs differ",
        Code::ReferenceLeak => "the pickup is heard on the reference",
        Code::CoilsCancel => "exciter over both coils",
        Code::PeakOutsideDrive => "peak outside the test signal",
        Code::ChannelsSwapped => "channels swapped",
        Code::OpenWinding => "open winding",
        Code::ClockDrift => "clocks differ",
        Code::RateMismatch => "sample rates differ",
        Code::InputLoading => "input loads the pickup",
    }
}

/// Its particulars, or else what it is.
pub fn finding_text(f: &Finding) -> String {
    typed(Some(&f.text)).unwrap_or_else(|| finding(f.code).into())
}

/// What is there of these, in one line.
pub fn joined(parts: impl IntoIterator<Item = Option<String>>) -> Option<String> {
    let mut there = parts.into_iter().flatten().peekable();
    there.peek()?;
    Some(list(there))
}

/// Behind a noun of which there are so many.
pub fn plural(n: usize) -> &'static str {
    if n == 1 { "" } else { "s" }
}

/// A, B, ... Z, A1, B1, ...: names records in a table and in its plot.
pub fn letter(i: usize) -> String {
    let round = if i < 26 { String::new() } else { (i / 26).to_string() };
    format!("{}{round}", char::from(b'A' + (i % 26) as u8))
}

pub fn gravest_first(record: &Record) -> Vec<&Finding> {
    let mut out: Vec<_> = record.findings.iter().collect();
    out.sort_by_key(|f| std::cmp::Reverse(f.level));
    out
}
