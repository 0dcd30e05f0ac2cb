//! Two readings under two loads, or on two inputs: today's freed of its own by the pickup's coil.

use super::document::Freed;
use super::signs::Seen;
use super::stand_in::ring;
use crate::coil::against::{Instead, Stated, undo};
use crate::coil::basis::Basis;
use crate::coil::behind::{input_of, load_of};
use crate::estimate::Estimate;
use crate::failure::Result;
use crate::network::Tolerances;
use crate::record::Record;
use crate::shop::difference::Judged;
use crate::shop::reading;
use crate::shop::yardstick::{self, Asked, DB_PER_LN_Q, Matters, Quantity, Question};

/// What the yardstick says of a freed reading, and what was seen in it; `None` where there is no peak to free.
pub(super) fn free(left: &Record, today: &Record, basis: &Basis, matters: &Matters) -> Result<Option<(Freed, Seen)>> {
    let to = Instead {
        load: load_of(left)?,
        input: input_of(left),
    };
    // Nobody measured the pots.
    let stated = Stated {
        parts: Tolerances::usual(),
        ..Stated::default()
    };
    let undone = undo(today, basis, &to, &stated)?;
    let before = left.reading().and_then(|r| r.peak_hz.zip(r.peak_db));
    let Some((before, now)) = before.zip(undone.peak_hz.zip(undone.height_db)) else {
        return Ok(None);
    };
    let asked = |quantity, a: Estimate, b: Estimate| {
        let both = [(left, a), (today, b)].map(|(r, e)| (e.value, reading::parts_of(r, quantity, &e)));
        // Whatever rigs they are: coil and parts are in the chain of today's.
        Asked::of(quantity, Question::OtherRig, both, matters.of(quantity))
    };
    let said = yardstick::judge(&[
        asked(Quantity::Peak, before.0, now.0),
        asked(Quantity::Height, before.1, now.1),
    ]);
    let scatters: Vec<f64> = said.iter().map(|s| s.scatter.sd).collect();
    let (a, b) = (ring(before.0.value, before.1.value), ring(now.0.value, now.1.value));
    let seen = Seen {
        f0: ((b.0 / a.0).ln(), scatters[0]),
        q: ((b.1 / a.1).ln(), scatters[1] / DB_PER_LN_Q),
        level_db: None,
        ohm: None,
    };
    let freed = Freed {
        from: undone.from,
        to: undone.to,
        answer: yardstick::whole(&said),
        quantities: said.iter().map(|s| Judged::of(s, matters)).collect(),
        notes: undone.notes,
    };
    Ok(Some((freed, seen)))
}
