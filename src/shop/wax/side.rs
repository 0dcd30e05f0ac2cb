//! The readings on one side of the wax, drawn together.

use super::document::Limits;
use crate::estimate::Estimate;
use crate::record::identity::Sense;
use crate::record::when::day;
use crate::record::{Definition, Record, Resonance};
use crate::shop::yardstick::{Asked, Parts, Quantity, Question, Repeatability};
use crate::stats::grouped;

/// Readings of one pickup on one day, or over some days.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    pub(super) days: f64,
    /// As many, each laid down anew and alone, would have as good a mean.
    placements: f64,
    pub(super) f0: Estimate,
    pub(super) q: Estimate,
    pub(super) peak_db: Option<Estimate>,
    pub(super) level_db: Option<Estimate>,
    pub(super) sense: Option<Sense>,
}

fn mean_of(e: &[Estimate]) -> Option<Estimate> {
    let n = e.len() as f64;
    let noise = e.iter().map(|x| x.u_noise * x.u_noise).sum::<f64>().sqrt() / n;
    let value = e.iter().map(|x| x.value).sum::<f64>() / n;
    Estimate::new(value, noise, noise)
}

impl Side {
    /// Mean of the days' means: within a day noise and laying down average, and the day does not.
    pub(super) fn of<'a>(records: &[&'a Record], definition: Definition) -> Option<Side> {
        let read = |r: &&'a Record| Some((day(&r.taken_at), r.read_as(definition)?));
        let days = grouped(records.iter().filter_map(read));
        // What one day lacks is told on none.
        let mean = |of: &dyn Fn(&Resonance) -> Option<Estimate>| {
            let of_day = |d: &(_, Vec<Resonance>)| mean_of(&d.1.iter().filter_map(of).collect::<Vec<_>>());
            mean_of(&days.iter().map(of_day).collect::<Option<Vec<_>>>()?)
        };
        let n = days.len() as f64;
        Some(Side {
            days: n,
            placements: n * n / days.iter().map(|d| 1.0 / d.1.len() as f64).sum::<f64>(),
            f0: mean(&|r| Some(r.f0_hz))?,
            q: mean(&|r| Some(r.q))?,
            peak_db: mean(&|r| r.peak_db),
            level_db: mean(&|r| r.level_db),
            sense: Sense::of(records.iter().find(|r| r.reading().is_some())?),
        })
    }

    /// What the mean is uncertain by.
    pub(super) fn parts(&self, quantity: Quantity, mean: &Estimate, rig: &Repeatability) -> Parts {
        Parts {
            placements: self.placements,
            on_days: self.days,
            ..rig.reading(quantity, mean)
        }
    }
}

/// The second side less the first, by these means of either.
pub(super) fn asked(
    question: Question,
    sides: &[Side; 2],
    means: [Estimate; 2],
    rig: &Repeatability,
    quantity: Quantity,
    matters: f64,
) -> Asked {
    let both = [0, 1].map(|i| (means[i].value, sides[i].parts(quantity, &means[i], rig)));
    Asked::of(quantity, question, both, matters)
}

/// Of f0 and of Q, against these limits.
pub(super) fn of_f0_and_q(question: Question, sides: &[Side; 2], rig: &Repeatability, limits: Limits) -> [Asked; 2] {
    let f0 = asked(question, sides, sides.map(|s| s.f0), rig, Quantity::F0, limits.f0);
    let q = asked(question, sides, sides.map(|s| s.q), rig, Quantity::Q, limits.q);
    [f0, q]
}
