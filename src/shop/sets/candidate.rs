//! Pickups that sets are made of: what was measured of each, and which of them can be held against each other.

use super::document::{Out, WhyOut};
use super::figure::Term;
use crate::copper;
use crate::record::Record;
use crate::record::about::About;
use crate::record::identity::{same_rig, unlike};
use crate::record::when::day;
use crate::shop::alike::{by_one_meter, in_common};
use crate::shop::reading;
use crate::shop::yardstick::{Between, Held, Parts, Quantity, Question};

/// A pickup that a set can be made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    pub name: String,
    /// Of its reading.
    pub id: String,
    pub about: About,
    /// YYYY-MM-DD.
    pub day: Option<String>,
    /// What was measured, and what it is uncertain by as it is compared.
    values: [Option<(f64, Parts)>; Quantity::ALL.len()],
}

/// Those that can be held against each other.
#[derive(Debug, Clone, Default)]
pub struct Pool {
    pub candidates: Vec<Candidate>,
    pub left_out: Vec<Out>,
    /// One of their records, for rig, load and coil.
    pub like: Option<Record>,
}

impl Candidate {
    pub fn value(&self, figure: Quantity) -> Option<f64> {
        self.values[figure as usize].map(|v| v.0)
    }

    /// How far the second is from where it should be beside the first.
    pub fn off(first: &Candidate, second: &Candidate, figure: Quantity, target: f64) -> Option<f64> {
        Some(figure.difference(first.value(figure)?, second.value(figure)?) - target).filter(|d| d.is_finite())
    }

    /// The same with its interval, against the limit.
    pub fn held(first: &Candidate, second: &Candidate, term: &Term, target: f64) -> Option<Held> {
        let off = Candidate::off(first, second, term.figure, target)?;
        Some(Candidate::between(first, second, term.figure)?.held(off, term.limit))
    }

    /// Standard uncertainty of a difference.
    pub fn unsure(first: &Candidate, second: &Candidate, figure: Quantity) -> Option<f64> {
        Some(Candidate::between(first, second, figure)?.scatter().sd)
    }

    fn between(first: &Candidate, second: &Candidate, figure: Quantity) -> Option<Between> {
        let question = match first.day.is_some() && first.day == second.day {
            true => Question::LaidDown,
            false => Question::OtherDay,
        };
        let parts = |c: &Candidate| Some(c.values[figure as usize]?.1);
        Some(Between::new(question, parts(first)?, parts(second)?))
    }

    fn of(record: &Record, about: &About, ohms: Option<f64>) -> Candidate {
        let values = Quantity::ALL.map(|figure| match figure {
            // No meter tells its own scatter; a winding's warmth is known to a kelvin.
            Quantity::Ohms => ohms.map(|ohm| (ohm, Parts::of_noise(copper::UNSURE))),
            _ => Some((reading::value(record, figure)?.value, reading::parts(record, figure)?)),
        });
        Candidate {
            name: record.pickup.name.clone(),
            id: record.id.clone(),
            about: about.clone(),
            day: day(&record.taken_at).map(str::to_owned),
            values,
        }
    }
}

/// Why a record does not go with this one.
fn apart(like: &Record, r: &Record) -> Option<Out> {
    let one_rig = (!r.rig.given && !like.rig.given) || same_rig(&r.rig, &like.rig);
    let keys = unlike(like, r);
    let why = if r.is_simulated() != like.is_simulated() {
        WhyOut::Simulated
    } else if !one_rig || r.capture.channels != like.capture.channels {
        WhyOut::OtherRig
    } else if r.load != like.load {
        WhyOut::OtherLoad
    } else if r.pickup.over != like.pickup.over {
        WhyOut::OtherCoil
    } else if !keys.is_empty() {
        return Some(Out::new(&r.pickup.name, WhyOut::RigFile, keys));
    } else {
        return None;
    };
    Some(left_out(r, why))
}

fn left_out(r: &Record, why: WhyOut) -> Out {
    Out::new(&r.pickup.name, why, Vec::new())
}

impl Pool {
    /// The pickups of most records that can be held against each other; one record of each pickup.
    pub fn of(told: &[(Record, About)]) -> Pool {
        let read = told.iter().filter(|t| t.0.reading().is_some());
        let mut kinds: Vec<Vec<&(Record, About)>> = Vec::new();
        for one in read {
            let goes_there = |k: &&mut Vec<&(Record, About)>| apart(&k[0].0, &one.0).is_none();
            match kinds.iter_mut().find(goes_there) {
                Some(kind) => kind.push(one),
                None => kinds.push(vec![one]),
            }
        }
        // Of kinds of one size the first.
        kinds.sort_by_key(|k| std::cmp::Reverse(k.len()));
        let mut pool = Pool::default();
        let own = kinds.into_iter().next().unwrap_or_default();
        pool.like = own.first().map(|t| t.0.clone());
        for (record, _) in told {
            let like = pool.like.as_ref().unwrap_or(record);
            pool.left_out.extend(match record.reading() {
                None => Some(left_out(record, WhyOut::NoReading)),
                Some(_) => apart(like, record),
            });
        }
        pool.take(&own);
        pool
    }

    fn take(&mut self, own: &[&(Record, About)]) {
        let records = || own.iter().map(|t| &t.0);
        let definition = in_common(records());
        let (_, ohms) = by_one_meter(records());
        for ((record, about), ohms) in own.iter().copied().zip(ohms) {
            match record.defined_as(definition) {
                Some(r) => self.candidates.push(Candidate::of(&r, about, ohms)),
                None => self.left_out.push(left_out(record, WhyOut::Definition)),
            }
        }
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::estimate::Estimate;
    use crate::shop::yardstick::Repeatability;

    /// A pickup whose figures are known to so much (relative, dB).
    pub fn made(name: &str, about: About, [peak, q, level, ohms]: [Option<f64>; 4], u: f64) -> Candidate {
        let usual = Repeatability::usual(400e-12);
        let of = |quantity: Quantity, value: Option<f64>| {
            let noise = u * if quantity.is_relative() { value?.abs() } else { 1.0 };
            Some((value?, usual.reading(quantity, &Estimate::new(value?, noise, noise)?)))
        };
        let own = |value: f64| (value, Parts::of_noise(u));
        Candidate {
            name: name.into(),
            id: format!("id {name}"),
            about,
            day: Some("2026-03-02".into()),
            values: Quantity::ALL.map(|figure| match figure {
                Quantity::Peak => of(figure, peak),
                Quantity::Q => of(figure, q),
                Quantity::Level => of(figure, level),
                Quantity::Ohms => ohms.map(own),
                _ => None,
            }),
        }
    }
}
