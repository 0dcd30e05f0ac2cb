//! What laying a pickup down anew does, as the very records tell it: those of one pickup on one day on one side.

use super::document::Laying;
use super::sides::Sides;
use crate::record::identity::{same_rig, unlike};
use crate::record::when::day;
use crate::record::{Record, Resonance};
use crate::shop::alike;
use crate::shop::witness::repeat;
use crate::shop::yardstick::{Quantity, Repeatability, Scatter};
use crate::stats::grouped;

impl Laying {
    /// `None` where no pickup was measured twice on a day.
    pub(super) fn of<'a>(all: impl Iterator<Item = &'a Sides<'a>>) -> Option<Laying> {
        let sides = all.flat_map(|s| [&s.before, &s.after]);
        let groups: Vec<Vec<Resonance>> = sides.flat_map(|side| read(side)).collect();
        let [f0, q, peak_db, level_db] = repeat::within(&groups);
        Some(Laying {
            placements: groups.iter().map(Vec::len).sum(),
            freedom: f0?.1,
            f0: f0?.0,
            q: q?.0,
            peak_db: peak_db.map(|s| s.0),
            level_db: level_db.map(|s| s.0),
        })
    }

    /// In the place of usual values; what a study of the rig tells stays.
    pub(super) fn put(&self, rig: Repeatability) -> Repeatability {
        let told = [
            (Quantity::F0, Some(self.f0)),
            (Quantity::Q, Some(self.q)),
            (Quantity::Height, self.peak_db),
            (Quantity::Level, self.level_db),
        ];
        told.into_iter().fold(rig, |rig, (quantity, sd)| {
            let sd = sd.filter(|_| rig.laying(quantity).usual.any());
            let here = sd.map(|sd| Scatter::studied(sd, self.freedom as f64));
            rig.with(quantity, here, None)
        })
    }
}

/// The readings of each day on which there are several of one kind.
fn read(side: &[&Record]) -> Vec<Vec<Resonance>> {
    let days = grouped(side.iter().map(|r| (day(&r.taken_at), *r))).into_iter();
    let alike = |g: &Vec<&Record>| {
        let one = |r: &&Record| same_rig(&r.rig, &g[0].rig) && r.load == g[0].load && unlike(g[0], r).is_empty();
        g.len() > 1 && g.iter().all(one)
    };
    let readings = |g: Vec<&Record>| {
        let definition = alike::in_common(g.iter().copied());
        g.iter().filter_map(|r| r.read_as(definition)).collect()
    };
    days.map(|d| d.1).filter(alike).map(readings).collect()
}
