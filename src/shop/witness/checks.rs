//! Documents of the rig: what it is, a check, its repeatability, its sign.

use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::network::{Coil, Load, Wiring, predict};
use crate::quantity::signed;
use crate::record::Record;
use crate::rig::{Reference, Rig};
use crate::shop::witness::history::{BASELINE, Check, History, Judgement, Quantity};
use crate::stats::{gauge, student};

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RigDocument {
    pub schema: String,
    pub name: String,
    pub unit: Option<String>,
    pub hash: String,
    /// Sentences.
    pub words: Vec<String>,
    /// What is not stated, and what is assumed then.
    pub open: Vec<String>,
    /// (what, in words)
    pub pack: Vec<(String, String)>,
    pub witness: Option<String>,
    pub checks: usize,
    pub last_good: Option<String>,
}

/// The pickup of every example on what an input does: 6 kilohms, 2.4 H, 120 pF (common practice: a single coil).
const TYPICAL: Coil = Coil {
    r_ohm: 6e3,
    l_h: 2.4,
    c_f: 120e-12,
    loss_ohm: Some(1e6),
    eddy: None,
};

impl RigDocument {
    pub fn of(rig: &Rig, history: Option<&History>) -> Self {
        let e = &rig.exciter;
        let mut words = vec![match e.reference {
            Reference::Current => format!(
                "Channel 2 reads the exciter's current across {} ohms{}; the exciter's {} uH play no part.",
                rig.sense_ohm(),
                match e.sense_ohm {
                    Some(_) => "",
                    None => " (sense_ohm is not stated: all of series_ohm)",
                },
                1e6 * e.inductance_h
            ),
            Reference::Voltage => format!(
                "Channel 2 reads the voltage before {} ohms and {} uH of exciter: corner at {:.0} kHz, which counts in f0.",
                e.series_ohm,
                1e6 * e.inductance_h,
                rig.corner_hz(false).unwrap_or(f64::INFINITY) / 1e3
            ),
        }];
        words.push(match e.sign {
            Some(s) => format!("Its sign is {s:+}: polarity is referenced."),
            None => "Its sign is not known yet: polarity tells only whether two pickups are alike.".into(),
        });
        let input = rig.input.clone().unwrap_or_default();
        let (ohm, farad) = (input.resistance_ohm, input.load_f());
        words.push(match ohm {
            Some(r) => format!(
                "Its input puts {} and {:.0} pF on the pickup, the lead counted in{}.",
                if r < 1e6 {
                    format!("{:.0} kilohms", r / 1e3)
                } else {
                    format!("{:.2} megohms", r / 1e6)
                },
                1e12 * farad,
                match (input.resistance_tolerance, input.capacitance_tolerance_f) {
                    (Some(r), Some(c)) => format!(" (known to {:.1} % and {:.1} pF, 95 %)", 196.0 * r, 1.96e12 * c),
                    _ => String::new(),
                }
            ),
            None => format!(
                "Its input's resistance is not stated; {:.0} pF with the lead.",
                1e12 * farad
            ),
        });
        let figures = |load: Load| predict::figures(&Wiring::from(load), &TYPICAL);
        let (alone, there) = (
            figures(Load::default()),
            figures(Load::default().with_input(ohm, farad)),
        );
        if let (Some(a), Some(b), Some(x), Some(y)) = (alone.peak_hz, there.peak_hz, alone.height_db, there.height_db) {
            words.push(format!(
                "A typical single coil (6 kilohms, 2.4 H, 120 pF) alone peaks at {:.1} kHz, {x:.1} dB high; on this rig, with \
                 nothing else, at {:.1} kHz and {y:.1} dB.",
                a / 1e3,
                b / 1e3
            ));
        }
        if let Some(hz) = rig.mains.as_ref().and_then(|m| m.frequency_hz) {
            words.push(format!("Mains of {hz} Hz."));
        }
        words.extend(chain_words(rig));
        words.extend(setup_words(rig));
        let pack = rig.pack.clone().unwrap_or_default();
        let pack = [
            ("interface", pack.interface),
            ("exciter", pack.exciter),
            ("height stop", pack.stop),
            ("box", pack.r#box),
            ("leads", pack.leads),
            ("witness", pack.witness),
            ("meters", pack.meters),
            ("other", pack.other),
        ];
        RigDocument {
            schema: "coilwright/rig/1".into(),
            name: rig.name.clone(),
            unit: rig.unit.clone(),
            hash: rig.content_hash().into(),
            words,
            open: rig.notes(false),
            pack: pack.into_iter().filter_map(|(k, v)| Some((k.to_owned(), v?))).collect(),
            witness: rig.witness.as_ref().map(|w| w.name.clone()),
            checks: history.map_or(0, |h| h.checks.len()),
            last_good: history
                .and_then(|h| h.checks.iter().rev().find(|c| c.go))
                .map(|c| c.taken_at.clone()),
        }
    }
}

/// What the file says of the interface and of the two inputs.
fn chain_words(rig: &Rig) -> Vec<String> {
    let mut out = Vec::new();
    let input = rig.input.clone().unwrap_or_default();
    let i = rig.interface.clone().unwrap_or_default();
    let day = |d: &Option<String>| d.as_deref().map_or(String::new(), |d| format!(", {d}"));
    if i.output.is_some() || i.input.is_some() || i.rate_hz.is_some() {
        let device = |d: Option<String>| d.unwrap_or_else(|| "any".into());
        let rate = i.rate_hz.map_or(String::new(), |r| format!(" at {r} Hz"));
        out.push(format!(
            "Bound to the output {} and the input {}{rate}: a take on anything else is refused.",
            device(i.output),
            device(i.input)
        ));
    }
    if let Some(level) = i.level_dbfs {
        out.push(format!(
            "It plays at {level} dBFS, the strongest clean drive{}.",
            day(&i.level_measured)
        ));
    }
    if let Some(gain) = input.gain_db {
        let known = |u: Option<f64>, scale: f64, unit: &str| {
            u.map_or(String::new(), |u| {
                format!(" (known to {:.2} {unit}, 95 %)", (196.0 * scale * u).ceil() / 100.0)
            })
        };
        let late = input.delay_s.map_or(String::new(), |t| {
            format!(
                " and {:.2} us after it{}",
                1e6 * t,
                known(input.delay_tolerance_s, 1e6, "us")
            )
        });
        out.push(format!(
            "Channel 1 reads {} dB against channel 2{}{late}{}.",
            signed(gain, 2),
            known(input.gain_tolerance_db, 1.0, "dB"),
            day(&i.inputs_measured)
        ));
    }
    if let (Some(p), Some(r)) = (input.ac_pickup_hz, input.ac_reference_hz) {
        out.push(format!(
            "AC coupling from {p:.1} Hz on channel 1 and {r:.1} Hz on channel 2."
        ));
    }
    if let Some(range) = i.range {
        out.push(format!("That holds with the inputs set so: {range}."));
    }
    out
}

/// What somebody looked at when the file was made.
fn setup_words(rig: &Rig) -> Vec<String> {
    let Some(s) = rig.setup.clone() else {
        return Vec::new();
    };
    let stated = [
        ("phantom power", s.phantom),
        ("monitoring", s.monitoring),
        ("automatic gain", s.automatic_gain),
        ("enhancement", s.enhancement),
        ("pads and low-cuts", s.pads_and_cuts),
    ];
    let list: Vec<String> = stated
        .into_iter()
        .filter_map(|(what, v)| Some(format!("{what} {}", v?)))
        .collect();
    let mut out = Vec::new();
    if !list.is_empty() {
        out.push(format!("Switches, as last looked at: {}.", list.join(", ")));
    }
    out.extend(s.knobs.map(|k| format!("Knobs: {k}.")));
    out
}

/// A check of the rig: `coilwright/check/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckDocument {
    pub schema: String,
    pub rig: String,
    pub witness: String,
    pub taken_at: String,
    /// "go", "no-go", or "baseline" where there are too few checks to judge by.
    pub verdict: String,
    /// Good checks before this one, and how many make a baseline.
    pub baseline: usize,
    pub baseline_needed: usize,
    pub f0_hz: Estimate,
    pub q: Estimate,
    pub level_db: Option<Estimate>,
    pub clock_ppm: Option<f64>,
    pub quantities: Vec<QuantityFound>,
    /// What has no chart yet, or is not told by this take, with how many good checks know it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unjudged: Vec<Unjudged>,
    pub turned: bool,
    pub noisy: bool,
    /// What it looks like, and what to look at.
    pub advice: Vec<String>,
    /// Made by the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unjudged {
    pub quantity: String,
    pub checks: usize,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct QuantityFound {
    /// "f0", "q" (relative differences), "level", "noise", "hum" (dB).
    pub quantity: String,
    /// From the baseline's centre.
    pub off: f64,
    pub limit: f64,
    /// Moving average from the centre, and its limit; null where it is not averaged.
    pub average_off: Option<f64>,
    pub average_limit: Option<f64>,
    /// "within", "jump" or "drift".
    pub state: String,
}

/// Mains keep their frequency much closer than this.
const MAINS_APART_HZ: f64 = 2.0;
/// From this clock difference on the converter is another one, or set otherwise.
const CLOCK_PPM: f64 = 90.0;

fn name(q: Quantity) -> &'static str {
    match q {
        Quantity::F0 => "f0",
        Quantity::Q => "q",
        Quantity::Level => "level",
        Quantity::Noise => "noise",
        Quantity::Hum => "hum",
    }
}

impl CheckDocument {
    pub fn of(rig: &Rig, witness: &str, check: &Check, judgement: &Judgement, history: &History) -> Self {
        let quantities = judgement
            .charted
            .iter()
            .map(|c| QuantityFound {
                quantity: name(c.quantity).into(),
                off: c.off(),
                limit: c.half,
                average_off: c.average.map(|a| a.0 - c.centre),
                average_limit: c.average.map(|a| a.1),
                state: match (c.jumped(), c.drifted()) {
                    (true, _) => "jump",
                    (false, true) => "drift",
                    _ => "within",
                }
                .into(),
            })
            .collect();
        let verdict = match (judgement.go(), judgement.believed()) {
            (false, _) => "no-go",
            (true, true) => "go",
            (true, false) => "baseline",
        };
        CheckDocument {
            schema: "coilwright/check/1".into(),
            rig: rig.name.clone(),
            witness: witness.into(),
            taken_at: check.taken_at.clone(),
            verdict: verdict.into(),
            baseline: judgement.baseline,
            baseline_needed: BASELINE,
            f0_hz: check.f0_hz,
            q: check.q,
            level_db: check.level_db,
            clock_ppm: check.clock_ppm,
            quantities,
            unjudged: judgement
                .unjudged
                .iter()
                .map(|(k, n)| Unjudged {
                    quantity: name(*k).into(),
                    checks: *n,
                })
                .collect(),
            turned: judgement.turned,
            noisy: judgement.noisy,
            advice: advice(rig, check, judgement, history),
            simulated: check.simulated,
        }
    }
}

/// What the pattern of the quantities looks like.
fn advice(rig: &Rig, check: &Check, j: &Judgement, history: &History) -> Vec<String> {
    let mut out = Vec::new();
    if !j.believed() && !j.charted.is_empty() {
        out.push(format!(
            "it has nothing in common with the {} checks before it, and stays out of the baseline; were those the wrong ones, begin anew with --begin-again",
            j.baseline
        ));
    }
    // What only drifts is told by its average.
    let off = |q: Quantity| {
        j.get(q).map(|c| match c.average {
            Some((z, _)) if c.drifted() && !c.jumped() => z - c.centre,
            _ => c.off(),
        })
    };
    let bad = |q: Quantity| j.get(q).is_some_and(|c| c.jumped() || c.drifted());
    let drifting = j.charted.iter().any(|c| c.drifted() && !c.jumped());
    if j.turned {
        let early = if j.baseline < 3 {
            "; or it was so before: then begin anew with --begin-again"
        } else {
            ""
        };
        out.push(format!(
            "the sign is the other one: the exciter lies upside down, or a pair of leads is swapped{early}"
        ));
    }
    if bad(Quantity::F0) {
        let df = off(Quantity::F0).unwrap_or(0.0);
        // f0 goes with 1/sqrt(C): the witness's coil stands still.
        let more = 100.0 * ((-2.0 * df).exp() - 1.0);
        out.push(format!(
            "f0 {:+.2} %: some {:.1} % {} capacitance on the witness; a lead moved, was changed, or is plugged elsewhere",
            100.0 * df,
            more.abs(),
            if more > 0.0 { "more" } else { "less" }
        ));
    }
    if bad(Quantity::Level) && !j.turned {
        let db = off(Quantity::Level).unwrap_or(0.0);
        out.push(format!(
            "level {db:+.2} dB: the exciter moved or tilted (look at its stop), or a knob of one input was turned"
        ));
    }
    let untold = check.temperature_c.is_none() && history.checks.iter().any(|c| c.temperature_c.is_some());
    let (df, dq) = (off(Quantity::F0).unwrap_or(0.0), off(Quantity::Q).unwrap_or(0.0));
    // Capacitance moves f0 by far more than Q.
    if bad(Quantity::Q) && (!bad(Quantity::F0) || dq < -5.0 * df.abs()) {
        let colder = off(Quantity::Q).is_some_and(|d| d > 0.0);
        out.push(format!(
            "Q {:+.1} %: resistance; a {} workshop, a doubtful joint, or another input resistance",
            100.0 * off(Quantity::Q).unwrap_or(0.0),
            if colder { "colder" } else { "warmer" }
        ));
        if untold {
            out.push("the room was not told: with --room its warmth is taken out of Q".into());
        }
    }
    if bad(Quantity::Noise) || j.noisy {
        out.push("more noise than usual: a phone, a lamp, a screen near the bench, a plug half in, or a gain that was turned".into());
    }
    let mains = rig.mains.as_ref().and_then(|m| m.frequency_hz);
    if let (Some(stated), Some(found)) = (mains, check.mains_hz)
        && (stated - found).abs() > MAINS_APART_HZ
    {
        out.push(format!(
            "the hum is of {found:.0} Hz, and the rig's mains are {stated:.0} Hz: other mains, or another clock"
        ));
    }
    if bad(Quantity::Hum) {
        out.push("hum is not what it was: where the leads lie, what is plugged in beside them".into());
    }
    if check.clock_ppm.is_some_and(|p| p.abs() >= CLOCK_PPM) {
        out.push("the clocks of output and input are far apart: are both one interface, at its own rate?".into());
    }
    if drifting {
        out.push("no single day is outside, the average is: a slow drift; something ages or creeps".into());
    }
    if !j.believed() && j.go() {
        let good = history.checks.iter().filter(|c| c.go).count();
        let checks = if good == 1 { "check" } else { "checks" };
        out.push(match BASELINE.saturating_sub(good) {
            0 => format!("{good} good {checks} so far: from the next one on the limits are believed"),
            left => format!(
                "{good} good {checks} so far: limits are believed from {BASELINE} on, {left} more; one each working day, for they \
                 are to tell what a day does"
            ),
        });
    }
    out
}

const REPEAT: &str = "coilwright/repeat/1";

/// How far apart the rig can tell pickups: `coilwright/repeat/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RepeatDocument {
    pub schema: String,
    pub rig: String,
    pub hash: String,
    pub pickups: usize,
    pub readings: usize,
    pub freedom: usize,
    /// Standard deviations of one reading about its pickup's mean, with 95 % intervals: relative for f0 and Q, dB for heights and
    /// levels.
    pub f0: Spread,
    pub q: Spread,
    pub peak_db: Option<Spread>,
    pub level_db: Option<Spread>,
    /// From this relative difference in f0 on two single readings are told apart (95 %): t sqrt 2 standard deviations, t of Student
    /// with their freedom.
    pub tells_f0: f64,
    pub tells_q: f64,
    /// From takes of the built-in bench.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    pub sd: f64,
    pub low: f64,
    pub high: f64,
    /// Degrees of freedom; 0 in documents of old, which have one number for all.
    #[serde(default)]
    pub freedom: usize,
}

impl RepeatDocument {
    /// `place` names the file in messages.
    pub fn parse(place: &str, bytes: &[u8]) -> Result<Self> {
        let wrong = |what: String| Failure::new(what, "measure it again with `coilwright rig repeat`");
        let document: Self =
            serde_json::from_slice(bytes).map_err(|e| wrong(format!("{place} tells no repeatability: {e}")))?;
        if document.schema != REPEAT {
            return Err(wrong(format!(
                "{place} is of the kind {:?}, this version reads {REPEAT:?}",
                document.schema
            )));
        }
        let sound = |s: &Spread| s.sd.is_finite() && s.sd >= 0.0;
        let of_levels = [&document.peak_db, &document.level_db];
        if !(sound(&document.f0) && sound(&document.q) && of_levels.into_iter().flatten().all(sound)) {
            return Err(wrong(format!("{place} holds a scatter that no readings have")));
        }
        Ok(document)
    }

    pub fn of(rig: &Rig, records: &[Record]) -> Result<Self> {
        let own = rig.summary();
        // Two coils of one pickup are two windings.
        type Coil<'a> = (&'a str, Option<&'a str>);
        let mut groups: Vec<(Coil, Vec<&Record>)> = Vec::new();
        let good: Vec<&Record> = records.iter().filter(|r| r.reading().is_some()).collect();
        for (i, r) in good.iter().copied().enumerate() {
            let first = good[0];
            if good[..i].iter().any(|o| o.id == r.id) {
                return Err(Failure::new(
                    format!("one and the same record of {:?} is given twice", r.pickup.name),
                    "give each once: the pickup has to be taken out and laid back between two",
                ));
            }
            if r.is_simulated() != first.is_simulated() {
                return Err(Failure::new(
                    format!(
                        "{:?} and {:?}: one is simulated and one is not",
                        first.pickup.name, r.pickup.name
                    ),
                    "give real records only, or simulated ones to try it",
                ));
            }
            if r.load != first.load {
                return Err(Failure::new(
                    format!(
                        "{:?} and {:?} were measured under two loads",
                        first.pickup.name, r.pickup.name
                    ),
                    "give records under one load",
                ));
            }
            if !r.rig.same_chain(&own) {
                return Err(Failure::new(
                    format!("the record of {:?} was made with another rig", r.pickup.name),
                    "give records of this rig only: two rigs are never mixed",
                ));
            }
            let key = (r.pickup.name.as_str(), r.pickup.over.as_deref());
            match groups.iter_mut().find(|g| g.0 == key) {
                Some(g) => g.1.push(r),
                None => groups.push((key, vec![r])),
            }
        }
        groups.retain(|g| g.1.len() > 1);
        let spread = |of: &dyn Fn(&Record) -> Option<f64>| {
            let parts: Vec<Vec<f64>> = groups
                .iter()
                .map(|g| g.1.iter().filter_map(|r| of(r)).collect())
                .collect();
            let (sd, freedom) = gauge::within(&parts)?;
            Some((Spread::of(sd, freedom), freedom))
        };
        let reading = |r: &Record| r.resonance.clone();
        let f0 = spread(&|r| reading(r).map(|x| x.f0_hz.value.ln()));
        let q = spread(&|r| reading(r).map(|x| x.q.value.ln()));
        let (Some((f0, freedom)), Some((q, _))) = (f0, q) else {
            return Err(Failure::new(
                "no pickup was read twice",
                "give two or three records of each pickup, taken out and laid back between them",
            ));
        };
        let told = |s: &Spread| student(0.975, s.freedom as f64) * std::f64::consts::SQRT_2 * s.sd;
        Ok(RepeatDocument {
            schema: REPEAT.into(),
            rig: rig.name.clone(),
            hash: rig.chain_hash(),
            pickups: groups.len(),
            readings: groups.iter().map(|g| g.1.len()).sum(),
            freedom,
            tells_f0: told(&f0),
            tells_q: told(&q),
            simulated: records.iter().any(Record::is_simulated),
            f0,
            q,
            peak_db: spread(&|r| reading(r)?.peak_db.map(|e| e.value)).map(|s| s.0),
            level_db: spread(&|r| reading(r)?.level_db.map(|e| e.value)).map(|s| s.0),
        })
    }
}

impl Spread {
    /// With the interval of a standard deviation (chi-square; any textbook).
    fn of(sd: f64, freedom: usize) -> Self {
        use statrs::distribution::{ChiSquared, ContinuousCDF};
        let f = freedom as f64;
        let at = |p: f64| ChiSquared::new(f).map_or(f64::NAN, |d| sd * (f / d.inverse_cdf(p)).sqrt());
        Spread {
            sd,
            low: at(0.975),
            high: at(0.025),
            freedom,
        }
    }
}

/// Which sign the rig has: `coilwright/polarity/1`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PolarityDocument {
    pub schema: String,
    pub rig: Option<String>,
    pub pickup: String,
    /// What the winding is known to be.
    pub known: i8,
    /// What to write as exciter.sign.
    pub sign: i8,
    /// What stood there when the record was made.
    pub stated: Option<i8>,
}

impl PolarityDocument {
    pub fn of(record: &Record, known: i8) -> Result<Self> {
        let Some(r) = &record.resonance else {
            return Err(Failure::new(
                "the record has no reading",
                "measure the known pickup again",
            ));
        };
        if !record.rig.given {
            return Err(Failure::new(
                "the record was made without a rig file",
                "measure the known pickup with --rig",
            ));
        }
        let stated = record.rig.sign();
        // The record's polarity has the stated sign in it.
        let sign = known * r.polarity.signum() * stated.unwrap_or(1);
        Ok(PolarityDocument {
            schema: "coilwright/polarity/1".into(),
            rig: record.rig.name.clone(),
            pickup: record.pickup.name.clone(),
            known,
            sign,
            stated,
        })
    }
}
