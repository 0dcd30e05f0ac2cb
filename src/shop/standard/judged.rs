//! A record against a standard.

use serde::{Deserialize, Serialize};

use super::Standard;
use crate::quantity::signed;
use crate::record::identity::Sense;
use crate::record::{Code, Record, Resonance};
use crate::shop::witness::repeat::{RepeatDocument, Spread};
use crate::stats::student;

/// Of the guard band, on one side.
const GUARD: f64 = 0.95;

/// What a reading is against a standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Call {
    Pass,
    Outside,
    CannotTell,
    NoReading,
    /// There is a reading, with a warning that another take may be rid of.
    MeasureAgain,
    /// The same, kept by hand; within every limit, where there are any.
    Kept,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    pub call: Call,
    /// Why, in the order of weight; empty for a pass.
    pub reasons: Vec<String>,
    /// What it looks like.
    pub fault: Option<String>,
}

/// What a take came to. A warning that another take may be rid of asks for one, whatever the figures say, until the take is
/// `kept` by hand. Without a standard nothing else is judged but that there is a reading.
pub fn judge(record: &Record, s: Option<&Standard>, repeat: Option<&RepeatDocument>, kept: bool) -> Option<Judged> {
    let Some(r) = record.reading() else {
        return Some(no_reading(record));
    };
    let judged = s.map(|s| against(record, r, s, repeat));
    let Some(warning) = record.curable() else {
        return judged;
    };
    let (call, mut reasons, fault) = match judged {
        _ if !kept => (Call::MeasureAgain, Vec::new(), None),
        Some(j) if j.call != Call::Pass => (j.call, j.reasons, j.fault),
        _ => (Call::Kept, Vec::new(), None),
    };
    reasons.push(warning.text.clone());
    Some(Judged { call, reasons, fault })
}

fn no_reading(record: &Record) -> Judged {
    // Whatever else the take shows, it is rejected for its first cause.
    let open = record
        .rejected_for()
        .is_some_and(|f| matches!(f.code, Code::OpenWinding | Code::NoSignal));
    Judged {
        call: Call::NoReading,
        reasons: record.rejected_for().map(|f| f.text.clone()).into_iter().collect(),
        fault: open.then(|| "open winding, or nothing plugged in".to_owned()),
    }
}

/// A record against the standard; `repeat`: what laying a pickup down anew does on this rig.
fn against(record: &Record, r: &Resonance, s: &Standard, repeat: Option<&RepeatDocument>) -> Judged {
    if let Some(why) = s.elsewhere(&record.rig, record.load.as_ref().map(|l| l.text.as_str())) {
        return Judged {
            call: Call::CannotTell,
            reasons: vec![why],
            fault: None,
        };
    }
    let df = (r.f0_hz.value / s.f0.hz).ln();
    let dq = (r.q.value / s.q.value).ln();
    let known = |noise: f64, spread: Option<Spread>| {
        let freedom = spread.map_or(0, |s| s.freedom);
        // Documents of old have one freedom for all.
        let freedom = if freedom > 0 {
            freedom
        } else {
            repeat.map_or(0, |x| x.freedom)
        };
        Known::of(noise, spread.map_or(0.0, |s| s.sd), freedom as f64)
    };
    let uf = known(r.f0_hz.u_noise / r.f0_hz.value, repeat.map(|x| x.f0));
    let uq = known(r.q.u_noise / r.q.value, repeat.map(|x| x.q));
    let dr = s
        .r20_ohm
        .zip(record.ohms_by(s.ohmmeter.as_deref()))
        .map(|(a, b)| (b.at_20() / a).ln());
    let mut tests = vec![
        ("f0", 100.0 * df.exp_m1(), uf.times(100.0), 100.0 * s.f0.allow, "%"),
        ("Q", 100.0 * dq.exp_m1(), uq.times(100.0), 100.0 * s.q.allow, "%"),
    ];
    if let (Some(l), Some(x)) = (s.level, r.level_db) {
        let u = known(x.u_noise, repeat.and_then(|p| p.level_db));
        tests.push(("level", x.value - l.db, u, l.allow_db, "dB"));
    }
    if let Some((dr, allow)) = dr.zip(s.r20_allow) {
        // A meter's display tells no uncertainty.
        tests.push(("ohms", 100.0 * dr.exp_m1(), Known::exactly(), 100.0 * allow, "%"));
    }
    let (mut outside, mut unsure) = (Vec::new(), Vec::new());
    let turned = s.polarity.zip(Sense::of(record)).is_some_and(|(polarity, own)| {
        let of_standard = |sign: i8| Sense {
            polarity,
            stated: Some(sign).filter(|s| *s != 0),
        };
        match s.rig_sign {
            Some(sign) => !of_standard(sign).same(own),
            None => polarity != own.polarity,
        }
    });
    if turned {
        outside.push("wound or wired the other way".to_owned());
    }
    let mut ohms_alone = !turned;
    for (name, off, u, limit, unit) in tests {
        let text = format!("{name} {} {unit} (allowed {limit:.2})", signed(off, 2));
        if off.abs() - u.guard > limit {
            ohms_alone &= name == "ohms";
            outside.push(text);
        } else if off.abs() + u.guard > limit {
            unsure.push(format!("{text}, known to {:.2} {unit}", u.half_95));
        }
    }
    let call = match (outside.is_empty(), unsure.is_empty()) {
        (false, _) => Call::Outside,
        (true, false) => Call::CannotTell,
        _ => Call::Pass,
    };
    Judged {
        call,
        fault: (call == Call::Outside)
            .then(|| fault(df, dq, dr, turned, uf.guard, ohms_alone))
            .flatten(),
        reasons: outside.into_iter().chain(unsure).collect(),
    }
}

/// How well a quantity of a reading is known.
#[derive(Debug, Clone, Copy)]
struct Known {
    /// One-sided 95 %.
    guard: f64,
    /// Half-width of the 95 % interval.
    half_95: f64,
}

impl Known {
    /// From the noise of the take, and the scatter of laying a pickup down anew with its degrees of freedom.
    fn of(noise: f64, repeat: f64, freedom: f64) -> Known {
        let u = noise.hypot(repeat);
        // Welch and Satterthwaite; the noise within a take is known from its thousands of bins.
        let whole = if repeat > 0.0 {
            freedom * (u / repeat).powi(4)
        } else {
            f64::INFINITY
        };
        Known {
            guard: student(GUARD, whole) * u,
            half_95: student(0.975, whole) * u,
        }
    }

    fn exactly() -> Known {
        Known {
            guard: 0.0,
            half_95: 0.0,
        }
    }

    fn times(self, k: f64) -> Known {
        Known {
            guard: k * self.guard,
            half_95: k * self.half_95,
        }
    }
}

/// What a pattern of differences looks like.
fn fault(df: f64, dq: f64, dr: Option<f64>, turned: bool, guard: f64, ohms_alone: bool) -> Option<String> {
    // What f0 does by chance, or by the losses alone, is no sign of turns.
    let up = df > guard.max(0.01);
    let more_ohms = dr.is_some_and(|r| r > 0.01);
    let text = if ohms_alone && df.abs() < guard.max(0.005) {
        "only the ohms are off: another wire, a joint, or a winding still warm"
    } else if dq < -0.25 && up && !more_ohms {
        "shorted turns: less inductance, much more loss"
    } else if df > 0.0 && dr.is_some_and(|r| r < -0.01) {
        "turns missing: less resistance, less inductance"
    } else if df < 0.0 && dr.is_some_and(|r| r > 0.01) {
        "too many turns: more resistance, more inductance"
    } else if dq < -0.25 && !up {
        "more loss or more resistance: a joint, a cover, a plate"
    } else if turned {
        "start and finish swapped, or wound the other way; the magnet plays no part"
    } else {
        return None;
    };
    Some(text.into())
}
