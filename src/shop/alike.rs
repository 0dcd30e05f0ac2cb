//! Whether a record goes with others that are drawn together: one rig, one load, one kind, and each once.

use crate::failure::{Failure, Result};
use crate::record::Record;
use crate::record::identity::{same_rig, unlike};

/// `before`: those that it is to go with; the first of them tells rig, load and kind.
pub fn goes_with(r: &Record, before: &[&Record]) -> Result<()> {
    let name = &r.pickup.name;
    let first = before.first().copied().unwrap_or(r);
    let both = format!("{:?} and {name:?}", first.pickup.name);
    let one_rig = (!r.rig.given && !first.rig.given) || same_rig(&r.rig, &first.rig);
    let keys = unlike(first, r).join(", ");
    let (what, hint) = if before.iter().any(|o| o.id == r.id) {
        (
            format!("one and the same record of {name:?} is given twice"),
            "give each once: each is to be a reading of its own",
        )
    } else if r.is_simulated() != first.is_simulated() {
        (
            format!("{both}: one is simulated and one is not"),
            "give real records only, or simulated ones to try it",
        )
    } else if !one_rig || r.load != first.load {
        (
            format!("{both} were measured on two rigs or under two loads"),
            "give records of one rig under one load",
        )
    } else if !keys.is_empty() {
        (
            format!("{keys} is not the same in the readings of {both}"),
            "leave out those whose takes are gone",
        )
    } else {
        return Ok(());
    };
    Err(Failure::new(what, hint))
}
