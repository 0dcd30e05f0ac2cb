//! What was changed between two groups, by their recipes.

use std::collections::{BTreeMap, BTreeSet};

use super::document::{Cause, Changed, Compared};
use crate::record::Record;

/// Words of a recipe with their values: "turns" is "8000".
pub type Recipe = BTreeMap<String, String>;

/// A reading, and what the pickup was made by.
#[derive(Debug, Clone)]
pub struct Made {
    pub recipe: Recipe,
    pub record: Record,
}

/// The pickups behind readings.
pub(super) fn names<'a>(made: &[&'a Made]) -> BTreeSet<&'a str> {
    made.iter().map(|m| m.record.pickup.name.as_str()).collect()
}

/// What the recipes of two groups say of what was changed.
pub(super) fn told(first: &[&Recipe], second: &[&Recipe]) -> Compared {
    let all = || first.iter().chain(second);
    let words: BTreeSet<&String> = all().flat_map(|r| r.keys()).collect();
    let mut said = Compared::default();
    for word in words.iter().copied().cloned() {
        if all().any(|r| !r.contains_key(&word)) {
            said.untold.push(word);
            continue;
        }
        match (one(first, &word), one(second, &word)) {
            (Some(a), Some(b)) if a == b => {}
            (Some(a), Some(b)) => said.changed.push(Changed {
                first: a.clone(),
                second: b.clone(),
                word,
            }),
            _ => said.mixed.push(word),
        }
    }
    said.cause = match (words.is_empty(), said.changed.len()) {
        (true, _) => Cause::NotTold,
        (_, 2..) => Cause::SeveralWords,
        _ if !(said.mixed.is_empty() && said.untold.is_empty()) => Cause::Unclear,
        (_, 1) => Cause::OneWord,
        _ => Cause::NothingChanged,
    };
    said
}

/// The value that all of a group have.
fn one<'a>(group: &[&'a Recipe], word: &str) -> Option<&'a String> {
    let first = group.first()?.get(word)?;
    group.iter().all(|r| r.get(word) == Some(first)).then_some(first)
}
