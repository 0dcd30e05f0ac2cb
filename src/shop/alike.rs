//! Whether a record goes with others that are drawn together: one rig, one load, one kind, and each once; and what they are read as.

use crate::failure::{Failure, Result};
use crate::record::identity::{same_rig, unlike};
use crate::record::ohms::Ohms;
use crate::record::{Definition, Record};
use crate::stats::grouped;

/// By which definition readings are held against each other: the one they have in common, else the second-order model's.
pub fn in_common<'a>(records: impl Iterator<Item = &'a Record>) -> Definition {
    let mut all = records.filter_map(|r| r.reading()).map(|r| r.definition);
    let first = all.next().unwrap_or_default();
    match all.all(|d| d == first) {
        true => first,
        false => Definition::Plain,
    }
}

/// The records with f0 and Q by one definition: the one they have in common, else the second-order model's.
pub fn one_definition(records: &[Record]) -> (Definition, Vec<Record>) {
    let definition = in_common(records.iter());
    let read = |r: &Record| r.defined_as(definition).unwrap_or_else(|| r.clone());
    (definition, records.iter().map(read).collect())
}

/// The ohmmeter that read most of them, and what it read of each, at 20 degrees where the room is known.
pub fn by_one_meter<'a>(records: impl Iterator<Item = &'a Record>) -> (Option<String>, Vec<Option<f64>>) {
    let all: Vec<Vec<Ohms>> = records.map(Record::ohms).collect();
    // Some at 20 degrees and some as they were read make no mean: the former, where there are any.
    let warm = all.iter().flatten().any(|o| o.temperature_c.is_some());
    let of_kind = |o: &&Ohms| o.temperature_c.is_some() == warm;
    let groups = grouped(all.iter().flatten().filter(of_kind).map(|o| (&o.meter, ())));
    let most = groups.iter().map(|g| g.1.len()).max().unwrap_or(0);
    let Some((meter, _)) = groups.into_iter().find(|g| g.1.len() == most) else {
        return (None, vec![None; all.len()]);
    };
    let by = |list: &Vec<Ohms>| list.iter().filter(of_kind).find(|o| o.meter == *meter).map(Ohms::at_20);
    (meter.clone(), all.iter().map(by).collect())
}

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
