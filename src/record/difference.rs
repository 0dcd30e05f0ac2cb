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

use super::{LoadSummary, Pickup, Record, Resonance, RigSummary, Verdict};
use crate::estimate::{Estimate, Z95};
use crate::failure::{Failure, Result};

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
    let Some((first, others)) = records.split_first() else {
        return Err(Failure::new("no records to compare", "give two or more"));
    };
    if others.is_empty() {
        return Err(Failure::new(
            format!("only one record to compare ({:?})", first.pickup.name),
            "give two or more",
        ));
    }
    let Some(reference) = reading(first) else {
        return Err(Failure::new(
            format!(
                "the first record ({:?}) has no reading to compare with",
                first.pickup.name
            ),
            "put a record with a reading first",
        ));
    };
    let deltas: Vec<Option<Deltas>> = others
        .iter()
        .map(|r| reading(r).map(|x| Deltas::between(first, reference, r, x)))
        .collect();
    let judged = deltas.iter().flatten().map(|d| d.judged(limits).count()).sum::<usize>();
    let z = critical_z(judged);
    let differences = others
        .iter()
        .zip(&deltas)
        .map(|(record, deltas)| match (deltas, reading(record)) {
            (Some(d), Some(x)) => d.conclude(first, reference, record, x, limits, z),
            _ => without_reading(first, record),
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

/// One rig: given in both, of one name and of one content.
pub fn same_rig(a: &RigSummary, b: &RigSummary) -> bool {
    let content = match (&a.hash, &b.hash) {
        (Some(x), Some(y)) => x == y,
        (None, None) => a.values == b.values,
        _ => false,
    };
    a.given && b.given && a.name == b.name && content
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
        let same_rig = same_rig(&ra.rig, &rb.rig);
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
        let opposite = a.polarity_referenced && b.polarity_referenced && a.polarity.signum() != b.polarity.signum();
        let text = Sentence {
            a,
            b,
            f0,
            q,
            peak,
            height,
            level,
            opposite,
        }
        .write(first, record, self.same_rig);
        Difference {
            id: record.id.clone(),
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

fn without_reading(first: &Record, record: &Record) -> Difference {
    Difference {
        id: record.id.clone(),
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
    if first.load != record.load {
        out.push("under different loads".into());
    }
    if let (Some(x), Some(y)) = (&first.pickup.over, &record.pickup.over)
        && x != y
    {
        out.push("over different coils".into());
    }
    out
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
mod tests {
    use super::*;
    use crate::record::{CaptureSummary, PeakFrom, SCHEMA as RECORD};

    fn e(value: f64, u: f64, u_noise: f64) -> Estimate {
        Estimate { value, u, u_noise }
    }

    fn record(id: &str, rig: &str, resonance: Option<Resonance>) -> Record {
        Record {
            schema: RECORD.into(),
            id: id.into(),
            taken_at: "2026-01-31T14:05:09+01:00".into(),
            tool_version: "0.1.0".into(),
            pickup: Pickup {
                name: format!("coil {id}"),
                ..Pickup::default()
            },
            rig: RigSummary {
                given: true,
                name: Some(rig.into()),
                hash: Some("0123456789abcdef".into()),
                ..RigSummary::default()
            },
            load: None,
            drive: None,
            capture: CaptureSummary::default(),
            verdict: if resonance.is_some() {
                Verdict::Ok
            } else {
                Verdict::Rejected
            },
            resonance,
            fit: None,
            curve: None,
            findings: vec![],
            notes: vec![],
            repeats: vec![],
        }
    }

    fn reading(f0: f64, q: f64, peak: Option<(f64, f64)>) -> Resonance {
        Resonance {
            f0_hz: e(f0, 5.0, 3.0),
            q: e(q, 0.05, 0.03),
            corr_f0_q: 0.0,
            peak_hz: peak.map(|p| e(p.0, 5.0, 3.0)),
            peak_db: peak.map(|p| e(p.1, 0.05, 0.03)),
            peak_from: PeakFrom::Model,
            mutual_h: None,
            polarity: 1,
            polarity_referenced: true,
            level_db: Some(e(-46.0, 0.5, 0.01)),
        }
    }

    fn pair(b: Resonance) -> Difference {
        let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        one(&[a, record("b", "north", Some(b))])
    }

    fn one(records: &[Record]) -> Difference {
        compare(records, &Limits::default()).unwrap().differences.remove(0)
    }

    #[test]
    fn a_lower_peak_on_one_rig() {
        let d = pair(reading(3770.0, 2.52, Some((3570.0, 6.9))));
        // Noise parts only: 3 Hz in each, so 3 sqrt 2 Hz.
        let peak = d.peak_hz.unwrap();
        assert_eq!(peak.value, -230.0);
        assert!((peak.u - 4.242_640_687).abs() < 1e-6, "{peak:?}");
        assert!((d.q.unwrap().value - 0.02).abs() < 1e-12);
        assert!((d.peak_db.unwrap().u - 0.042_426_407).abs() < 1e-8);
        assert!(d.significant && d.material && d.different && d.same_rig);
        // 230/3800 = 6.05 %.
        assert_eq!(d.text, "peak 230 Hz lower (-6.1 %), 1.1 dB lower; Q no different");
    }

    #[test]
    fn two_rigs_combine_whole_uncertainties_and_say_so() {
        let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        let b = record("b", "south", Some(reading(3770.0, 2.52, Some((3570.0, 6.9)))));
        let d = one(&[a, b]);
        assert!(!d.same_rig);
        assert!((d.peak_hz.unwrap().u - 7.071_067_812).abs() < 1e-6);
        assert!((d.peak_hz.unwrap().u_noise - 4.242_640_687).abs() < 1e-6);
        assert!(d.text.ends_with(", measured on two rigs"), "{}", d.text);
    }

    #[test]
    fn one_name_with_other_content_is_another_rig() {
        let a = record("a", "north", None).rig;
        let mut b = a.clone();
        assert!(same_rig(&a, &b));
        b.hash = Some("fedcba9876543210".into());
        assert!(!same_rig(&a, &b));
        let none = RigSummary::default();
        assert!(!same_rig(&none, &none));
    }

    #[test]
    fn significant_but_small_is_no_difference() {
        // 20 Hz of 3800 is 0.53 %, but 4.7 standard uncertainties.
        let d = pair(reading(4021.0, 2.5, Some((3820.0, 8.0))));
        assert!(d.significant && !d.material && !d.different);
        assert_eq!(d.text, "peak no different; Q no different");
    }

    #[test]
    fn large_but_uncertain_is_no_difference_either() {
        let mut b = reading(4000.0, 2.65, Some((3800.0, 8.0)));
        b.q = e(2.65, 0.2, 0.2);
        let d = pair(b);
        assert!(!d.significant && d.material && !d.different);
        // 1.96 hypot(0.03, 0.2) = 0.396.
        assert_eq!(d.text, "peak no different; Q cannot be told apart (sure to 0.40 only)");
    }

    #[test]
    fn significant_and_material_in_different_quantities_is_no_difference() {
        let mut b = reading(4021.0, 2.65, Some((3820.0, 8.0)));
        b.q = e(2.65, 0.2, 0.2);
        let d = pair(b);
        assert!(d.significant && d.material && !d.different);
    }

    #[test]
    fn many_records_raise_the_bar() {
        // Two-sided normal points at 5 %/4 and 5 %/8, as scipy.stats.norm.ppf(1 - 0.025/m) gives them.
        assert!((critical_z(4) - 2.497_705).abs() < 1e-6);
        assert!((critical_z(8) - 2.734_369).abs() < 1e-6);
        assert!((critical_z(0) - Z95).abs() < 1e-9);
        let r = |id: &str, f: f64| record(id, "north", Some(reading(f, 2.5, Some((f - 200.0, 8.0)))));
        // 11 Hz is 2.593 standard uncertainties: enough for one pair, too little for two.
        let two = [r("a", 4000.0), r("b", 4011.0)];
        assert!(one(&two).significant);
        let three = [r("a", 4000.0), r("b", 4011.0), r("c", 4000.0)];
        let c = compare(&three, &Limits::default()).unwrap();
        assert!((c.z - 2.734_369).abs() < 1e-6);
        assert!(!c.differences[0].significant);
    }

    #[test]
    fn identical_records_do_not_differ() {
        let a = reading(4000.0, 2.5, Some((3800.0, 8.0)));
        let mut exact = a.clone();
        exact.f0_hz.u_noise = 0.0;
        let r = record("a", "north", Some(exact));
        let d = one(&[r.clone(), r]);
        assert!(!d.significant && !d.material && !d.different);
    }

    #[test]
    fn a_missing_peak_is_said() {
        let d = pair(reading(5200.0, 0.2, None));
        assert_eq!(d.peak_hz, None);
        assert!(d.different);
        assert_eq!(
            d.text,
            "no peak, where the first has one at 3.8 kHz; f0 1.2 kHz higher (+30 %); Q 2.3 lower (-92 %)"
        );
    }

    #[test]
    fn level_is_told_but_judged_only_where_asked() {
        let mut b = reading(4000.0, 2.5, Some((3800.0, 8.0)));
        b.level_db = Some(e(-49.0, 0.5, 0.01));
        let d = pair(b.clone());
        assert!(!d.significant && !d.material && !d.different);
        assert_eq!(
            d.text,
            "peak no different; Q no different; \
             coupling from the exciter 3.0 dB lower (its position counts; not loudness)"
        );
        let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        let limits = Limits {
            level_db: Some(0.5),
            ..Limits::default()
        };
        let c = compare(&[a, record("b", "north", Some(b))], &limits).unwrap();
        assert!(c.differences[0].different);
    }

    #[test]
    fn polarity_loads_and_coils_are_told() {
        let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        let mut b = a.clone();
        b.id = "b".into();
        b.resonance.as_mut().unwrap().polarity = -1;
        b.load = Some(LoadSummary {
            text: "cap=470p".into(),
        });
        let mut a = a;
        a.pickup.over = Some("first coil".into());
        b.pickup.over = Some("second coil".into());
        let d = one(&[a, b]);
        assert!(d.different && !d.significant);
        assert_eq!(
            d.text,
            "peak no different; Q no different; polarity the other way round, under different loads, over different coils"
        );
    }

    #[test]
    fn rejected_records() {
        let good = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        let bad = record("b", "north", None);
        let d = one(&[good.clone(), bad.clone()]);
        assert_eq!(d.f0_hz, None);
        assert!(!d.significant && !d.material && !d.different);
        assert!(d.text.contains("measure again"));
        let err = compare(&[bad, good.clone()], &Limits::default()).unwrap_err();
        assert!(err.what.contains("coil b"));
        assert!(compare(&[good], &Limits::default()).is_err());
        assert!(compare(&[], &Limits::default()).is_err());
    }

    #[test]
    fn the_document_has_the_published_fields() {
        let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        let c = compare(&[a.clone(), a, record("b", "north", None)], &Limits::default()).unwrap();
        let json = serde_json::to_value(&c).unwrap();
        assert_eq!(json["schema"], "coilwright/compare/1");
        assert_eq!(json["reference"], "a");
        assert_eq!(json["records"].as_array().unwrap().len(), 3);
        for field in ["id", "pickup", "rig", "load", "verdict"] {
            assert!(json["records"][0].get(field).is_some(), "{field}");
        }
        let d = &json["differences"][1];
        for field in ["f0_hz", "q", "peak_hz", "peak_db", "level_db"] {
            assert!(d[field].is_null(), "{field}");
        }
        let back: Comparison = serde_json::from_value(json).unwrap();
        assert_eq!(back, c);
    }

    #[test]
    fn amounts_have_two_digits() {
        for (x, want) in [
            (229.6, "230 Hz"),
            (9.96, "10 Hz"),
            (99.6, "100 Hz"),
            (0.0123, "0.012 Hz"),
            (1234.0, "1.2 kHz"),
        ] {
            assert_eq!(amount(x, "Hz"), want);
        }
        assert_eq!(amount(0.0, ""), "0");
        assert_eq!(amount(1e300, ""), "1.0e300");
    }
}
