//! Whether the coils had cooled, and what says so.

use super::judged::Judged;
use super::{About, WARM_K};
use crate::record::Record;

/// What is known of how cold the coils were.
#[derive(Debug, Default)]
pub(super) struct Cold {
    pairs: usize,
    /// Told by their resistance.
    told: usize,
    /// Warm by it, though they are said to have rested.
    warm: Vec<String>,
    /// Hours between before and after of the pair measured soonest.
    soonest_h: Option<f64>,
}

impl Cold {
    pub(super) fn see(&mut self, j: &Judged) {
        self.pairs += 1;
        if let Some((_, above)) = j.warmth() {
            self.told += 1;
            if above > WARM_K {
                self.warm.push(format!("{:?} {above:.0} K", j.name));
            }
        }
        let hours = j.apart_h().filter(|h| *h >= 0.0);
        self.soonest_h = match (self.soonest_h, hours) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
    }

    pub(super) fn notes(&self, about: &About, one_meter: bool, simulated: bool) -> Vec<String> {
        let mut out = Vec::new();
        match about.rested_h {
            None if self.told == self.pairs && !self.warm.is_empty() => {}
            None if self.told == self.pairs => out.push(format!(
                "that the coils had cooled is told by their resistance: within {WARM_K:.0} K of the room"
            )),
            None if !one_meter => out.push(
                "the ohms before and after were read on two meters: they say nothing of how warm a coil was; one and the same \
                 would"
                    .into(),
            ),
            None => out.push(format!(
                "nothing says that {} had cooled: give --rested, or --ohms and --room when measuring, before and after",
                match self.pairs - self.told {
                    n if n == self.pairs => "the coils".to_owned(),
                    n => format!("{n} of the coils"),
                }
            )),
            Some(_) if !self.warm.is_empty() => out.push(format!(
                "rested, and yet warmer than the room by their resistance: {}; was the room's temperature read?",
                self.warm.join(", ")
            )),
            Some(_) => {}
        }
        if let (Some(rested), Some(apart)) = (about.rested_h, self.soonest_h)
            && apart < rested
            && !simulated
        {
            out.push(format!(
                "--rested says {rested:.0} h, and the records before and after lie {} apart",
                match apart {
                    h if h < 1.5 => format!("{:.0} min", 60.0 * h),
                    h => format!("{h:.0} h"),
                }
            ));
        }
        out
    }
}

/// Whether one ohmmeter has read on both sides of every pair.
pub(super) fn same_meter(before: &[Record], after: &[Record]) -> bool {
    let of = |all: &[Record], name: &str| -> Vec<Option<String>> {
        let named = all.iter().filter(|r| r.pickup.name == name);
        named.flat_map(Record::ohms).map(|o| o.meter).collect()
    };
    before.iter().all(|r| {
        let (b, a) = (of(before, &r.pickup.name), of(after, &r.pickup.name));
        a.is_empty() || b.is_empty() || b.iter().any(|m| a.contains(m))
    })
}
