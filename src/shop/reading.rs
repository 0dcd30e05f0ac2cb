//! A record's reading as the yardstick has it: values, and the parts of their uncertainty.

use serde::{Deserialize, Serialize};

use super::down::{down, with_q};
use crate::coil::behind::{input_of, load_of};
use crate::estimate::Estimate;
use crate::record::{Record, Resonance, Scatters};
use crate::shop::witness::history::BetweenDays;
use crate::shop::witness::repeat::{RepeatDocument, Spread};
use crate::shop::yardstick::{DB_PER_LN_Q, Parts, Quantity, Repeatability, Scatter, USUAL_WINDING_F};

pub fn value(record: &Record, quantity: Quantity) -> Option<Estimate> {
    let r = record.reading()?;
    match quantity {
        Quantity::Peak => r.peak_hz,
        Quantity::F0 => Some(r.f0_hz),
        Quantity::Q => Some(r.q),
        Quantity::Height => r.peak_db,
        Quantity::Level => r.level_db,
        Quantity::Curve | Quantity::Ohms => None,
        Quantity::Down => down(record),
    }
}

/// A value with the interval that belongs to it on the screen.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Shown {
    pub value: f64,
    /// Half-width of 95 %, in the value's unit.
    pub half: f64,
    /// It leans on a usual value.
    pub usual: bool,
}

/// What is shown of a reading; `None` where it has no such quantity.
pub fn shown(record: &Record, quantity: Quantity) -> Option<Shown> {
    Some(Shown::of(quantity, value(record, quantity)?, parts(record, quantity)?))
}

impl Shown {
    pub fn of(quantity: Quantity, e: Estimate, parts: Parts) -> Shown {
        let scatter = parts.here();
        Shown {
            value: e.value,
            half: scatter.half_width(0.05) * unit_of(quantity, e.value),
            usual: scatter.usual.any(),
        }
    }
}

/// What one of a quantity as it is compared is in its own unit.
pub fn unit_of(quantity: Quantity, value: f64) -> f64 {
    if quantity.is_relative() { value.abs() } else { 1.0 }
}

/// What a reading of one quantity is uncertain by.
pub fn parts(record: &Record, quantity: Quantity) -> Option<Parts> {
    Some(parts_of(record, quantity, &value(record, quantity)?))
}

/// The same of a value that follows from the record.
pub fn parts_of(record: &Record, quantity: Quantity, e: &Estimate) -> Parts {
    repeatability(record, whole_f(record, None)).reading(quantity, e)
}

/// Capacitance across the pickup in farads: of its winding, the usual one where nobody knows it, of its load and of the rig's input.
pub fn whole_f(record: &Record, winding_f: Option<f64>) -> f64 {
    let load = load_of(record).map_or(0.0, |l| l.capacitance());
    winding_f.unwrap_or(USUAL_WINDING_F.0) + load + input_of(record).1
}

/// What the record's rig does to a pickup with so much capacitance across it, as far as the record knows; the rest is usual.
pub fn repeatability(record: &Record, whole_f: f64) -> Repeatability {
    let usual = Repeatability::usual(whole_f);
    let Some(r) = record.reading() else { return usual };
    Quantity::ALL.into_iter().fold(usual, |rig, quantity| {
        let told = |s: Option<Scatters>| scatter(&s?, quantity, record);
        rig.with(quantity, told(r.u_lay), told(r.u_day))
    })
}

fn scatter(s: &Scatters, quantity: Quantity, record: &Record) -> Option<Scatter> {
    let of = |q| Some(value(record, q)?.value);
    let sd = match quantity {
        Quantity::Peak => s.peak_hz,
        Quantity::F0 => Some(s.f0_hz),
        Quantity::Q => Some(s.q),
        Quantity::Height => s.peak_db,
        Quantity::Level => s.level_db,
        Quantity::Down => {
            let (f0, q) = (of(Quantity::F0)?, of(Quantity::Q)?);
            Some(of(quantity)? * (s.f0_hz / f0).hypot(with_q(q) * s.q / q))
        }
        Quantity::Curve | Quantity::Ohms => None,
    };
    let sd = quantity.uncertainty(of(quantity)?, sd?);
    (sd.is_finite() && s.freedom > 0.0).then(|| Scatter::studied(sd, s.freedom))
}

/// What laying down anew does to this reading, by the study of its rig.
pub fn laying(study: &RepeatDocument, r: &Resonance) -> Scatters {
    let sd = |s: &Spread| s.sd;
    Scatters {
        peak_db: r.peak_db.and(study.peak_db.as_ref()).map(sd),
        level_db: r.level_db.and(study.level_db.as_ref()).map(sd),
        ..relative(study.f0.sd, study.q.sd, study.freedom(), r)
    }
}

/// What the rig does to this reading from day to day, by the checks of its witness, whose f0 goes by one where this one's goes by
/// `share`.
pub fn days(between: &BetweenDays, share: f64, r: &Resonance) -> Scatters {
    Scatters {
        peak_db: r.peak_db.map(|_| DB_PER_LN_Q * between.q),
        level_db: r.level_db.and(between.level_db),
        ..relative(share * between.f0, between.q, between.freedom, r)
    }
}

fn relative(f0: f64, q: f64, freedom: f64, r: &Resonance) -> Scatters {
    // The peak of a second-order response, f0 sqrt(1 - 1/(2 Q^2)), goes with Q too: d ln f = d ln f0 + d ln Q/(2 Q^2 - 1).
    let with_q = q / (2.0 * r.q.value * r.q.value - 1.0);
    let peak = r.peak_hz.map(|p| p.value.abs() * f0.hypot(with_q));
    Scatters {
        f0_hz: f0 * r.f0_hz.value.abs(),
        q: q * r.q.value.abs(),
        peak_hz: peak.filter(|p| p.is_finite()),
        peak_db: None,
        level_db: None,
        freedom,
    }
}
