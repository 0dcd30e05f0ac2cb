//! Differences of later records against the first: the `coilwright/compare/1` document.
//!
//! A difference is called one only where it is both significant (more than the readings' scatter explains, with an
//! allowance for how many differences are looked at) and material (large enough to matter to a winder).
//!
//! On one rig what the rig's tolerances add is common to both readings and cancels, so the noise parts combine; between
//! two rigs the whole uncertainties do. Quantities of one take are correlated, so the allowance is Bonferroni's, which
//! holds whatever the correlation: each of m differences is tested at 5 %/m.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};
use crate::network::{Knob, Load};
use crate::quantity::{self, Unit};
use crate::record::identity::{Sense, is_of_level, same_rig, unlike};
use crate::record::{LoadSummary, Pickup, Record, Resonance, RigSummary, Verdict};

pub const SCHEMA: &str = "coilwright/compare/1";

/// From which size on a difference matters.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Relative, for f0 and for the peak's frequency.
    pub frequency: f64,
    /// Relative.
    pub q: f64,
    /// For the peak's height.
    pub peak_db: f64,
    /// For the level. Null: the level is reported but not judged, because the exciter's position sets it as much as
    /// the pickup does.
    pub level_db: Option<f64>,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            frequency: 0.01,
            q: 0.05,
            peak_db: 0.5,
            level_db: None,
        }
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    pub schema: String,
    /// The id of the record that the others are compared with.
    pub reference: String,
    pub limits: Limits,
    /// How many standard uncertainties a difference must exceed to be significant.
    pub z: f64,
    pub records: Vec<Compared>,
    /// One for each record after the first, in the order given.
    pub differences: Vec<Difference>,
}

/// What of a record stands in the comparison; the fields are the record's own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Compared {
    pub id: String,
    pub pickup: Pickup,
    pub rig: RigSummary,
    pub load: Option<LoadSummary>,
    pub verdict: Verdict,
}

/// This record minus the reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Difference {
    pub id: String,
    /// The record it is compared with, where that is not the reference of all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<String>,
    /// Null, with q, only where the record has no reading.
    pub f0_hz: Option<Estimate>,
    pub q: Option<Estimate>,
    pub peak_hz: Option<Estimate>,
    pub peak_db: Option<Estimate>,
    /// Coupling from the exciter, not loudness from a string.
    pub level_db: Option<Estimate>,
    /// Any judged quantity differs by more than the readings' scatter explains.
    pub significant: bool,
    /// Any judged quantity differs by more than its limit.
    pub material: bool,
    /// Some quantity is both, or the polarity is opposite: only then is it called a difference.
    pub different: bool,
    pub same_rig: bool,
    pub text: String,
}

/// Compares every later record with the first.
///
/// A later record without a reading gets nulls and says so; a reference without one is a failure.
pub fn compare(records: &[Record], limits: &Limits) -> Result<Comparison> {
    compare_with(records, &vec![0; records.len()], limits)
}

/// Sorts records by what hung on the pickup, least capacitance first, and compares each with the first of its own pickup, so
/// that the difference is the load's; the first of every other pickup is compared with the first of all.
pub fn compare_by_load(mut records: Vec<Record>, limits: &Limits) -> Result<(Vec<Record>, Comparison)> {
    let key = |r: &Record| {
        let load = crate::coil::behind::whole_load(r).ok();
        let farad = load.as_ref().map_or(f64::INFINITY, Load::capacitance);
        (farad, r.load.as_ref().map_or_else(String::new, |l| l.text.clone()))
    };
    records.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1))
    });
    let own = |r: &Record| {
        records
            .iter()
            .position(|o| o.pickup.name == r.pickup.name && o.pickup.over == r.pickup.over && reading(o).is_some())
    };
    let references: Vec<usize> = records
        .iter()
        .enumerate()
        .map(|(i, r)| own(r).filter(|k| *k != i).unwrap_or(0))
        .collect();
    let comparison = compare_with(&records, &references, limits)?;
    Ok((records, comparison))
}

/// `references`: for each record the index of the one that it is compared with.
fn compare_with(records: &[Record], references: &[usize], limits: &Limits) -> Result<Comparison> {
    let Some((first, others)) = records.split_first() else {
        return Err(Failure::new("no records to compare", "give two or more"));
    };
    if others.is_empty() {
        return Err(Failure::new(
            format!("only one record to compare ({:?})", first.pickup.name),
            "give two or more",
        ));
    }
    if reading(first).is_none() {
        return Err(Failure::new(
            format!(
                "the first record ({:?}) has no reading to compare with",
                first.pickup.name
            ),
            "put a record with a reading first",
        ));
    }
    let pairs: Vec<(&Record, &Record)> = others
        .iter()
        .zip(references.iter().skip(1))
        .map(|(r, i)| (records.get(*i).unwrap_or(first), r))
        .collect();
    let deltas: Vec<Option<Deltas>> = pairs
        .iter()
        .map(|(a, b)| Some(Deltas::between(a, reading(a)?, b, reading(b)?)))
        .collect();
    let judged = deltas.iter().flatten().map(|d| d.judged(limits).count()).sum::<usize>();
    let z = critical_z(judged);
    let differences = pairs
        .iter()
        .zip(&deltas)
        .map(|((a, b), deltas)| {
            let mut d = match (deltas, reading(a), reading(b)) {
                (Some(d), Some(x), Some(y)) => by_one_file(d.conclude(a, x, b, y, limits, z), a, b),
                _ => without_reading(a, b),
            };
            d.against = (a.id != first.id).then(|| a.id.clone());
            d
        })
        .collect();
    Ok(Comparison {
        schema: SCHEMA.into(),
        reference: first.id.clone(),
        limits: *limits,
        z,
        records: records.iter().map(Compared::of).collect(),
        differences,
    })
}

impl Compared {
    fn of(r: &Record) -> Self {
        Compared {
            id: r.id.clone(),
            pickup: r.pickup.clone(),
            rig: r.rig.clone(),
            load: r.load.clone(),
            verdict: r.verdict,
        }
    }
}

/// A rejected record has no reading, whatever else its file holds.
fn reading(r: &Record) -> Option<&Resonance> {
    match r.verdict {
        Verdict::Rejected => None,
        _ => r.resonance.as_ref(),
    }
}

/// Two-sided 5 % point of the normal distribution, shared out over `m` tests.
fn critical_z(m: usize) -> f64 {
    let p = 1.0 - 0.025 / m.max(1) as f64;
    match Normal::new(0.0, 1.0) {
        Ok(n) => n.inverse_cdf(p),
        Err(_) => Z95,
    }
}

struct Deltas {
    same_rig: bool,
    f0_hz: Option<Estimate>,
    q: Option<Estimate>,
    peak_hz: Option<Estimate>,
    peak_db: Option<Estimate>,
    level_db: Option<Estimate>,
}

impl Deltas {
    fn between(ra: &Record, a: &Resonance, rb: &Record, b: &Resonance) -> Self {
        // With one channel the output's own resistance takes part: not the same chain, even on one rig.
        let same_rig = same_rig(&ra.rig, &rb.rig) && ra.capture.channels == rb.capture.channels;
        let minus = |b: Estimate, a: Estimate| {
            let d = if same_rig {
                b.minus_same_rig(&a)
            } else {
                b.minus_other_rig(&a)
            };
            Estimate::new(d.value, d.u, d.u_noise)
        };
        let both = |b: Option<Estimate>, a: Option<Estimate>| minus(b?, a?);
        Deltas {
            same_rig,
            f0_hz: minus(b.f0_hz, a.f0_hz),
            q: minus(b.q, a.q),
            peak_hz: both(b.peak_hz, a.peak_hz),
            peak_db: both(b.peak_db, a.peak_db),
            // With a rig the level is in other units than without.
            level_db: (ra.rig.given == rb.rig.given)
                .then(|| both(b.level_db, a.level_db))
                .flatten(),
        }
    }

    fn judged(&self, limits: &Limits) -> impl Iterator<Item = Estimate> {
        let level = limits.level_db.and(self.level_db);
        [self.f0_hz, self.q, self.peak_hz, self.peak_db, level]
            .into_iter()
            .flatten()
    }

    fn conclude(
        &self,
        first: &Record,
        a: &Resonance,
        record: &Record,
        b: &Resonance,
        limits: &Limits,
        z: f64,
    ) -> Difference {
        let judge = |d: Option<Estimate>, limit: f64| d.map(|d| Judged::new(d, limit, z));
        let f0 = judge(self.f0_hz, limits.frequency * a.f0_hz.value.abs());
        let q = judge(self.q, limits.q * a.q.value.abs());
        let peak_at = a.peak_hz.map_or(f64::NAN, |p| p.value.abs());
        let peak = judge(self.peak_hz, limits.frequency * peak_at);
        let height = judge(self.peak_db, limits.peak_db);
        let level = judge(self.level_db, limits.level_db.unwrap_or(limits.peak_db));
        let counted = [f0, q, peak, height, limits.level_db.and(level)];
        let any = |f: fn(&Judged) -> bool| counted.iter().flatten().any(f);
        let opposite = match (Sense::of(first), Sense::of(record)) {
            (Some(x), Some(y)) if self.same_rig => !x.same(y),
            _ => a.polarity_referenced && b.polarity_referenced && a.polarity.signum() != b.polarity.signum(),
        };
        let text = Sentence {
            a,
            b,
            f0,
            q,
            peak,
            height,
            level,
            opposite,
            loads: load_words(first, record),
        }
        .write(first, record, self.same_rig);
        Difference {
            id: record.id.clone(),
            against: None,
            f0_hz: self.f0_hz,
            q: self.q,
            peak_hz: self.peak_hz,
            peak_db: self.peak_db,
            level_db: self.level_db,
            significant: any(|j| j.significant),
            material: any(|j| j.material),
            different: any(|j| j.called() == Call::Different) || opposite,
            same_rig: self.same_rig,
            text,
        }
    }
}

/// Of readings of one rig that were worked out by different files, and could not be read again, nobody can tell.
fn by_one_file(d: Difference, a: &Record, b: &Record) -> Difference {
    let keys = if d.same_rig { unlike(a, b) } else { Vec::new() };
    if keys.iter().all(|k| is_of_level(k)) {
        let level_db = d.level_db.filter(|_| keys.is_empty());
        return Difference { level_db, ..d };
    }
    Difference {
        significant: false,
        material: false,
        different: false,
        text: format!("cannot tell: {} is not the same in these two readings", keys.join(", ")),
        ..d
    }
}

fn without_reading(first: &Record, record: &Record) -> Difference {
    Difference {
        id: record.id.clone(),
        against: None,
        f0_hz: None,
        q: None,
        peak_hz: None,
        peak_db: None,
        level_db: None,
        significant: false,
        material: false,
        different: false,
        same_rig: same_rig(&first.rig, &record.rig),
        text: "no reading, so nothing to compare: measure again".into(),
    }
}

/// A difference with its verdict.
#[derive(Debug, Clone, Copy)]
struct Judged {
    d: Estimate,
    significant: bool,
    material: bool,
    /// So uncertain that a difference of the limit's size would go unnoticed.
    blunt: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Call {
    Different,
    Same,
    CannotTell,
}

impl Judged {
    fn new(d: Estimate, limit: f64, z: f64) -> Self {
        let size = d.value.abs();
        Judged {
            d,
            significant: size > z * d.u,
            material: size > limit,
            blunt: size + Z95 * d.u > limit,
        }
    }

    fn called(&self) -> Call {
        match (self.significant, self.material) {
            (true, true) => Call::Different,
            (true, false) => Call::Same,
            (false, _) if self.blunt => Call::CannotTell,
            _ => Call::Same,
        }
    }
}

struct Sentence<'a> {
    a: &'a Resonance,
    b: &'a Resonance,
    f0: Option<Judged>,
    q: Option<Judged>,
    peak: Option<Judged>,
    height: Option<Judged>,
    level: Option<Judged>,
    opposite: bool,
    /// What the second has more or less hanging on it.
    loads: Option<String>,
}

impl Sentence<'_> {
    fn write(&self, first: &Record, record: &Record, same_rig: bool) -> String {
        let mut parts = vec![self.peak_words()];
        if let Some(f0) = self.f0.filter(|_| self.f0_adds()) {
            parts.push(f0.words("f0", "Hz", Some(self.a.f0_hz.value)));
        }
        if let Some(q) = self.q {
            parts.push(q.words("Q", "", Some(self.a.q.value)));
        }
        if self.opposite {
            parts.push("polarity the other way round".into());
        }
        if let Some(level) = self.level.filter(|l| l.called() == Call::Different) {
            let size = step(&level.d, "dB");
            parts.push(format!(
                "coupling from the exciter {size} (its position counts; not loudness)"
            ));
        }
        let mut text = parts.join("; ");
        if let Some(loads) = &self.loads {
            text = format!("{loads}: {text}");
        }
        for remark in remarks(first, record, same_rig) {
            text.push_str(", ");
            text.push_str(&remark);
        }
        text
    }

    /// f0 goes with the peak; it is named only where the peak does not tell the same.
    fn f0_adds(&self) -> bool {
        match (self.f0, self.peak) {
            (Some(f0), Some(peak)) => f0.called() == Call::Different && peak.called() != Call::Different,
            (Some(_), None) => true,
            (None, _) => false,
        }
    }

    fn peak_words(&self) -> String {
        let (Some(peak), Some(height)) = (self.peak, self.height) else {
            return match (self.a.peak_hz, self.b.peak_hz) {
                (Some(p), None) => format!("no peak, where the first has one at {}", amount(p.value, "Hz")),
                (None, Some(p)) => format!("a peak at {}, where the first has none", amount(p.value, "Hz")),
                (None, None) => "no peak in either".into(),
                (Some(_), Some(_)) => "peaks that cannot be compared".into(),
            };
        };
        let at = self.a.peak_hz.map(|p| p.value);
        // What a load did is told as the way from one peak to the other.
        if let (Some(_), Call::Different, Some(p), Some(q)) =
            (&self.loads, peak.called(), self.a.peak_hz, self.b.peak_hz)
        {
            let height = match height.called() {
                Call::Different => step(&height.d, "dB"),
                _ => height.words("its height", "dB", None),
            };
            return format!("peak {}, {height}", way(p.value, q.value));
        }
        match (peak.called(), height.called()) {
            (Call::Different, Call::Different) => {
                format!("{}, {}", peak.words("peak", "Hz", at), step(&height.d, "dB"))
            }
            (Call::Different, _) => format!(
                "{}, {}",
                peak.words("peak", "Hz", at),
                height.words("its height", "dB", None)
            ),
            (Call::Same, Call::Same) => "peak no different".into(),
            (Call::Same, Call::Different) => {
                format!("peak at the same frequency, {}", step(&height.d, "dB"))
            }
            _ => format!(
                "{}, {}",
                peak.words("peak", "Hz", at),
                height.words("its height", "dB", None)
            ),
        }
    }
}

/// What else differs between the two takes, and so may be the cause.
fn remarks(first: &Record, record: &Record, same_rig: bool) -> Vec<String> {
    let mut out = Vec::new();
    if !same_rig {
        out.push(match (first.rig.given, record.rig.given) {
            (true, true) => "measured on two rigs".into(),
            (false, false) => "no rig given for either".into(),
            _ => "no rig given for one of them".into(),
        });
    }
    if first.load != record.load && load_words(first, record).is_none() {
        out.push("under different loads".into());
    }
    if let (Some(x), Some(y)) = (&first.pickup.over, &record.pickup.over)
        && x != y
    {
        out.push("over different coils".into());
    }
    out
}

/// "4.2 -> 3.4 kHz".
fn way(from: f64, to: f64) -> String {
    if from >= 995.0 && to >= 995.0 {
        // Digits enough that the two differ.
        let close = (to / from - 1.0).abs() < 0.03;
        let show = |x: f64| {
            if close {
                format!("{:.2}", x / 1000.0)
            } else {
                two_digits(x / 1000.0)
            }
        };
        format!("{} -> {} kHz", show(from), show(to))
    } else {
        format!("{} -> {}", amount(from, "Hz"), amount(to, "Hz"))
    }
}

/// "500 pF more", "volume pot 500 kohm rather than 250 kohm": what the second has that the first has not. `None` where they
/// are alike, or not both told.
fn load_words(first: &Record, record: &Record) -> Option<String> {
    let (a, b) = (
        crate::coil::behind::load_of(first).ok()?,
        crate::coil::behind::load_of(record).ok()?,
    );
    let ((a_ohm, a_f), (b_ohm, b_f)) = (
        crate::coil::behind::input_of(first),
        crate::coil::behind::input_of(record),
    );
    // The rigs' inputs count where both are told.
    let input = if a_f > 0.0 && b_f > 0.0 { b_f - a_f } else { 0.0 };
    let more = b.capacitance() - a.capacitance() + input;
    let mut parts = Vec::new();
    if let (Some(x), Some(y)) = (a_ohm, b_ohm)
        && x != y
    {
        let show = |v: f64| quantity::show(v, Unit::Ohm, 3);
        parts.push(format!("rig's input {} rather than {}", show(y), show(x)));
    }
    if more.abs() > 0.5e-12 {
        let size = quantity::show(more.abs(), Unit::Farad, 3);
        parts.push(format!("{size} {}", if more > 0.0 { "more" } else { "less" }));
    }
    let rest = [
        Knob::VolPot,
        Knob::Vol,
        Knob::TonePot,
        Knob::Tone,
        Knob::ToneCap,
        Knob::BleedCap,
        Knob::BleedRes,
        Knob::Amp,
        Knob::Res,
    ];
    for k in rest {
        let show = |v: f64| quantity::show(v, k.unit(), 3);
        match (k.get(&a), k.get(&b)) {
            (Some(x), Some(y)) if x != y => parts.push(format!("{} {} rather than {}", k.words(), show(y), show(x))),
            // Where a pot comes or goes, its rotation needs no words.
            (None, Some(y)) if k.is_part() => parts.push(format!("with {} {}", k.words(), show(y))),
            (Some(_), None) if k.is_part() => parts.push(format!("without {}", k.words())),
            _ => {}
        }
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

impl Judged {
    /// "peak 230 Hz lower (-6.1 %)", "Q no different", "Q: cannot tell (sure to 0.4 only)".
    fn words(&self, name: &str, unit: &str, base: Option<f64>) -> String {
        match self.called() {
            Call::Different => {
                let share = base
                    .filter(|b| *b != 0.0)
                    .map(|b| 100.0 * self.d.value / b)
                    .filter(|p| p.is_finite())
                    .map(|p| format!(" ({}{} %)", if p < 0.0 { "-" } else { "+" }, two_digits(p.abs())))
                    .unwrap_or_default();
                format!("{name} {}{share}", step(&self.d, unit))
            }
            // Beyond the interval, but too small to matter: said as what it is.
            Call::Same if self.d.value.abs() > Z95 * self.d.u => format!("{name} no different to speak of"),
            Call::Same => format!("{name} no different"),
            Call::CannotTell => {
                let sure = amount(Z95 * self.d.u, unit);
                format!("{name} cannot be told apart (sure to {sure} only)")
            }
        }
    }
}

/// "230 Hz lower".
fn step(d: &Estimate, unit: &str) -> String {
    let way = if d.value < 0.0 { "lower" } else { "higher" };
    format!("{} {way}", amount(d.value.abs(), unit))
}

/// Two digits and the unit, kilohertz where that is shorter; the table beside the sentence has the rest.
fn amount(x: f64, unit: &str) -> String {
    match unit {
        "" => two_digits(x),
        "Hz" if x >= 995.0 => format!("{} kHz", two_digits(x / 1000.0)),
        _ => format!("{} {unit}", two_digits(x)),
    }
}

fn two_digits(x: f64) -> String {
    if !(1e-4..1e6).contains(&x.abs()) {
        return if x == 0.0 { "0".into() } else { format!("{x:.1e}") };
    }
    // The exponent after rounding: 9.96 is 10, not 10.0.
    let exponent = format!("{x:.1e}")
        .rsplit_once('e')
        .and_then(|(_, e)| e.parse::<i32>().ok())
        .unwrap_or(0);
    let decimals = usize::try_from(1 - exponent).unwrap_or(0);
    if exponent > 1 {
        let grain = 10f64.powi(exponent - 1);
        return format!("{:.0}", (x / grain).round() * grain);
    }
    format!("{x:.decimals$}")
}

#[cfg(test)]
mod tests;
