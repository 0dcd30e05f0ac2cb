//! All pickups of a pot-load together.

use super::document::{Decided, Lot, PotVerdict};
use super::judged::{Moved, Winding, verdict};
use crate::estimate::Z95;
use crate::shop::yardstick::{Asked, Said, Scatter, judge};
use crate::stats::paired::Paired;

/// The pairs' own scatter, in which is how each was laid down, and what the rig's days do to all of them alike.
pub(super) fn lot(changes: &[&Moved]) -> Option<Lot> {
    let of = |f: &dyn Fn(&&Moved) -> f64| Paired::of(&changes.iter().map(f).collect::<Vec<_>>());
    let paired = [of(&|c| c.said[0].difference)?, of(&|c| c.said[1].difference)?];
    let asked = [together(changes, 0, &paired[0])?, together(changes, 1, &paired[1])?];
    let said: [Said; 2] = judge(&asked).try_into().ok()?;
    let n = changes.len() as f64;
    let mean = |f: fn(&Winding) -> f64| changes.iter().map(|c| f(&c.winding)).sum::<f64>() / n;
    let [f0, q] = &said;
    Some(Lot {
        pairs: changes.len(),
        f0: f0.difference,
        f0_se: paired[0].se,
        p: paired[0].p(),
        q: q.difference,
        decided: said.map(|s| Decided::of(&s)),
        c_f: mean(|w| w.more_f),
        c_f_half_95: (mean(|w| w.by_f0) * f0.half).hypot(Z95 * mean(|w| w.open)),
        verdict: match verdict(&said) {
            // A lead is common to all of them.
            _ if changes.iter().any(|c| c.objection().is_some()) => PotVerdict::CannotTell,
            other => other,
        },
    })
}

/// The question of one pair, put to the mean of all: by the days of the pair that has the fewest.
fn together(changes: &[&Moved], quantity: usize, paired: &Paired) -> Option<Asked> {
    let of = |c: &Moved| c.said[quantity].asked;
    let days = |c: &&&Moved| of(c).between.first.on_days.min(of(c).between.second.on_days);
    let mut one = of(changes.iter().min_by(|a, b| days(a).total_cmp(&days(b)))?);
    let b = &mut one.between;
    (b.first.noise, b.second.noise) = (0.0, 0.0);
    (b.first.placements, b.second.placements) = (1.0, 1.0);
    b.first.laying = Scatter::studied(paired.se, (paired.n - 1) as f64);
    b.second.laying = Scatter::NONE;
    // The pairs are freed of what the witness saw already.
    one.difference = paired.mean + one.between.taken_off();
    Some(one)
}
