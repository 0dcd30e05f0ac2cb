//! What the rig's witness says of the days of a pair.

use super::document::Reason;
use super::sides::Sides;
use super::stays::hours;
use crate::record::Record;
use crate::record::when;
use crate::shop::known::Known;
use crate::shop::witness::history::{Check, History};
use crate::shop::yardstick::Scatter;
use crate::stats::mean;

/// A check of the witness speaks for readings so many hours from it: of the day, or of the morning after.
const NEAR_H: f64 = 36.0;

/// Days move the witness farther than this once in a hundred times.
const SELDOM: f64 = 0.01;

/// The checks about either side.
#[derive(Debug, Clone, Default)]
pub(super) struct Looked<'a> {
    before: Vec<&'a Check>,
    after: Vec<&'a Check>,
    /// Nobody looked at the witness about one of the records.
    pub(super) unchecked: bool,
}

/// The check that was made nearest to a reading, in the same time of the rig, if within [`NEAR_H`].
fn nearest<'a>(known: &'a Known, record: &Record) -> Option<&'a Check> {
    let checks = known.history(record)?.checks.iter();
    let near = checks.filter_map(|c| Some((hours(&record.taken_at, &c.taken_at)?, c)));
    near.filter(|(h, _)| *h <= NEAR_H)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|n| n.1)
}

impl<'a> Looked<'a> {
    pub(super) fn about(sides: &Sides, known: &'a Known) -> Self {
        let mut out = Looked::default();
        for (records, checks) in [(&sides.before, &mut out.before), (&sides.after, &mut out.after)] {
            for r in records {
                match nearest(known, r) {
                    Some(c) if checks.iter().any(|o: &&Check| o.id == c.id) => {}
                    Some(c) => checks.push(c),
                    None => out.unchecked = true,
                }
            }
        }
        out
    }

    fn all(&self) -> impl Iterator<Item = &'a Check> {
        self.before.iter().chain(&self.after).copied()
    }

    /// How far f0 of the witness moved between the sides, relative, and how sure that is by its own noise; `None` without checks of
    /// both: one check for both sides is of one state of the rig.
    pub(super) fn moved(&self) -> Option<(f64, f64)> {
        if self.before.iter().any(|b| self.after.iter().any(|a| a.id == b.id)) {
            return None;
        }
        let ln = |list: &[&Check]| mean(&list.iter().map(|c| c.f0_hz.value.ln()).collect::<Vec<_>>());
        let noise = |list: &[&Check]| {
            let squares = list.iter().map(|c| (c.f0_hz.u_noise / c.f0_hz.value).powi(2));
            squares.sum::<f64>().sqrt() / list.len() as f64
        };
        let own = noise(&self.before).hypot(noise(&self.after));
        Some((ln(&self.after)? - ln(&self.before)?, own))
    }

    /// A lead that moved between the days looks like wax: more than days do, whatever is taken off.
    pub(super) fn objects(&self, days: Option<&History>) -> Option<Reason> {
        let (relative, _) = self.moved()?;
        let day = days.and_then(History::between_days);
        let day = day.map(|d| Scatter::studied(d.f0, d.freedom));
        if let Some(bad) = self.all().find(|c| !c.go) {
            return Some(Reason::WitnessNoGo {
                day: when::day(&bad.taken_at).unwrap_or("that day").to_owned(),
            });
        }
        let days = [&self.before, &self.after].map(|side| 1.0 / side.len() as f64);
        let half = day?.times((days[0] + days[1]).sqrt()).half_width(SELDOM);
        (relative.abs() > half).then_some(Reason::WitnessMoved { relative })
    }
}
