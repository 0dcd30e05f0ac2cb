//! A figure far from its mates: a slip of the fingers, or a pickup to be looked at.

use super::Tray;
use crate::record::meters::{Reading, Tally};
use crate::stats::median;

/// Fewer mates tell nothing of how they scatter.
const ENOUGH: usize = 5;
/// Figures are far beyond so many standard deviations. Of mates that scatter by 1 % one good figure in 200 is pointed out with
/// five mates, fewer with more; two digits that changed places, 6.50 for 6.05, are found in 95 of 100 (simulated).
const FAR: f64 = 4.0;
/// Nor nearer than this share of the middle: windings made alike scatter by a per cent (common practice), and mates that happen to
/// agree make nobody odd.
const LEAST: f64 = 0.03;
/// Of a normal distribution: its standard deviation over its median deviation from the median.
const NORMAL: f64 = 1.4826;

impl Tray {
    /// What is odd in a figure of this number beside what the same instrument read of the others. Median and median deviation, so
    /// that an odd mate moves neither.
    pub fn odd(&self, number: u32, reading: &Reading) -> Option<String> {
        let others = self.standing().filter(|e| e.number != number).flat_map(|e| &e.readings);
        let mates: Vec<&Reading> = others.filter(|r| r.column() == reading.column()).collect();
        if mates.len() < ENOUGH {
            return None;
        }
        let middle = median(mates.iter().map(|r| r.figure()).collect());
        let off = |r: &Reading| (r.figure() - middle).abs();
        let scatter = NORMAL * median(mates.iter().map(|r| off(r)).collect());
        let limit = (FAR * scatter).max(LEAST * middle.abs());
        let near = Tally::of(mates.into_iter().filter(|r| off(r) <= limit)).pop()?;
        (off(reading) > limit).then(|| {
            format!(
                "far from the others of this lot ({} ... {})",
                near.shown(near.least),
                near.shown(near.most)
            )
        })
    }
}
