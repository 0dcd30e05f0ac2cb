//! A record's reading as the yardstick has it: values, and the parts of their uncertainty.

use crate::coil::behind::{input_of, load_of};
use crate::estimate::Estimate;
use crate::record::{Record, Resonance, Scatters};
use crate::shop::witness::history::BetweenDays;
use crate::shop::witness::repeat::{RepeatDocument, Spread};
use crate::shop::yardstick::{DB_PER_LN_Q, Parts, Quantity, Repeatability, Scatter, USUAL_WINDING_F};

pub fn value(r: &Resonance, quantity: Quantity) -> Option<Estimate> {
    match quantity {
        Quantity::Peak => r.peak_hz,
        Quantity::F0 => Some(r.f0_hz),
        Quantity::Q => Some(r.q),
        Quantity::Height => r.peak_db,
        Quantity::Level => r.level_db,
        Quantity::Curve => None,
    }
}

/// A value with the interval that belongs to it on the screen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    pub value: f64,
    /// Half-width of 95 %, in the value's unit.
    pub half: f64,
    /// It leans on a usual value.
    pub usual: bool,
}

/// What is shown of a reading; `None` where it has no such quantity.
pub fn shown(record: &Record, quantity: Quantity) -> Option<Shown> {
    let e = value(record.reading()?, quantity)?;
    let i = parts(record, quantity)?.interval();
    Some(Shown {
        value: e.value,
        half: i.half * unit_of(quantity, e.value),
        usual: i.usual,
    })
}

/// What one of a quantity as it is compared is in its own unit.
pub fn unit_of(quantity: Quantity, value: f64) -> f64 {
    if quantity.is_relative() { value.abs() } else { 1.0 }
}

/// What a reading of one quantity is uncertain by.
pub fn parts(record: &Record, quantity: Quantity) -> Option<Parts> {
    let e = value(record.reading()?, quantity)?;
    Some(repeatability(record).reading(quantity, &e))
}

/// What the record's rig does to it, as far as the record knows; the rest is usual.
fn repeatability(record: &Record) -> Repeatability {
    let load = load_of(record).map_or(0.0, |l| l.capacitance());
    let mut out = Repeatability::usual(USUAL_WINDING_F.0 + load + input_of(record).1);
    let Some(r) = record.reading() else { return out };
    for quantity in Quantity::ALL {
        if let Some(s) = r.u_lay.and_then(|s| scatter(&s, quantity, r)) {
            out = out.with_laying(quantity, s);
        }
        if let Some(s) = r.u_day.and_then(|s| scatter(&s, quantity, r)) {
            out = out.with_days(quantity, s);
        }
    }
    out
}

fn scatter(s: &Scatters, quantity: Quantity, r: &Resonance) -> Option<Scatter> {
    let sd = match quantity {
        Quantity::Peak => s.peak_hz,
        Quantity::F0 => Some(s.f0_hz),
        Quantity::Q => Some(s.q),
        Quantity::Height => s.peak_db,
        Quantity::Level => s.level_db,
        Quantity::Curve => None,
    };
    let sd = quantity.uncertainty(value(r, quantity)?.value, sd?);
    (sd.is_finite() && s.freedom > 0.0).then(|| Scatter::studied(sd, s.freedom))
}

/// What laying down anew does to this reading, by the study of its rig.
pub fn laying(study: &RepeatDocument, r: &Resonance) -> Scatters {
    let sd = |s: &Spread| s.sd;
    Scatters {
        peak_db: r.peak_db.and(study.peak_db.as_ref()).map(sd),
        level_db: r.level_db.and(study.level_db.as_ref()).map(sd),
        ..relative(study.f0.sd, study.q.sd, study.freedom as f64, r)
    }
}

/// What the rig does to this reading from day to day, by the checks of its witness.
pub fn days(between: &BetweenDays, r: &Resonance) -> Scatters {
    Scatters {
        peak_db: r.peak_db.map(|_| DB_PER_LN_Q * between.q),
        level_db: r.level_db.and(between.level_db),
        ..relative(between.f0, between.q, between.freedom, r)
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
