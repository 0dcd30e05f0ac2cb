//! Two groups of pickups that differ in one word of their recipe: what it did to them.
//!
//! The means of both groups are held against each other by how the pickups scatter in each (Welch; pickups that stand in both groups
//! against themselves), but never as better known than measuring allows. Days and rigs that the groups have not in equal shares are
//! counted by the yardstick's parts, and what is said is the yardstick's too: of all quantities, and all groups, together.

use super::difference::{How, Judged};
use super::figures::TOLD;
use super::yardstick::{self, Answer, Asked};
use crate::failure::{Failure, Result};
use crate::stats::grouped;

pub mod document;
mod recipe;
mod sides;
#[cfg(test)]
mod tests;
mod weighed;

use document::{Compared, Effect, ExperimentDocument, LeftOut, SCHEMA, WhyOut};
pub use recipe::{Made, Recipe};
use recipe::{names, told};
use sides::Sides;
use weighed::Weighed;

/// Of two groups that somebody named.
pub fn of_groups(first: &[Made], second: &[Made], how: &How) -> Result<ExperimentDocument> {
    if first.is_empty() || second.is_empty() {
        return Err(Failure::new(
            "an experiment has two groups, and one of these is empty",
            "give pickups of both, the second behind --with",
        ));
    }
    let groups = [first, second].map(|made| made.iter().collect());
    Ok(document(None, vec![groups], Vec::new(), how))
}

/// Of all whose recipes have this word and that differ in it only: for each recipe without it, the value that most pickups have against every other.
pub fn of_word(word: &str, made: &[Made], how: &How) -> Result<ExperimentDocument> {
    let told = made.iter().filter(|m| m.recipe.contains_key(word));
    let mut left_out = Vec::new();
    let without = |m: &Made| {
        let mut rest = m.recipe.clone();
        rest.remove(word);
        rest
    };
    let mut pairs = Vec::new();
    for (_, alike) in grouped(told.map(|m| (without(m), m))) {
        let mut values = grouped(alike.into_iter().map(|m| (m.recipe.get(word), m)));
        values.sort_by_key(|v| std::cmp::Reverse(names(&v.1).len()));
        let mut groups = values.into_iter().map(|v| v.1);
        let Some(first) = groups.next() else { continue };
        let before = pairs.len();
        pairs.extend(groups.map(|second| [first.clone(), second]));
        if pairs.len() == before {
            left_out.extend(LeftOut::all(names(&first), WhyOut::NoCounterpart));
        }
    }
    if pairs.is_empty() {
        return Err(Failure::new(
            format!("no two pickups are known to differ in {word} and in nothing else"),
            "note their recipes, or name both groups: book experiment NAME... --with NAME...",
        ));
    }
    Ok(document(Some(word), pairs, left_out, how))
}

/// All comparisons, judged together.
fn document(
    word: Option<&str>,
    pairs: Vec<[Vec<&Made>; 2]>,
    mut left_out: Vec<LeftOut>,
    how: &How,
) -> ExperimentDocument {
    let mut all: Vec<(Compared, Vec<Weighed>)> = Vec::new();
    let mut simulated = false;
    for groups in pairs {
        let sides = Sides::of(groups, how, &mut left_out);
        simulated |= sides.simulated();
        all.push(compared(&sides, how));
    }
    let asked: Vec<Asked> = all.iter().flat_map(|c| &c.1).map(|w| w.asked).collect();
    let mut said = yardstick::judge(&asked).into_iter();
    for (compared, weighed) in &mut all {
        let own: Vec<yardstick::Said> = said.by_ref().take(weighed.len()).collect();
        compared.answer = match compared.why {
            Some(_) => Answer::CannotTell,
            None => yardstick::whole(&own),
        };
        let each = own.iter().zip(weighed.drain(..));
        compared.effects = each
            .map(|(s, w)| Effect {
                judged: Judged::of(s, &how.matters),
                ..w.effect
            })
            .collect();
    }
    ExperimentDocument {
        schema: SCHEMA.into(),
        word: word.map(str::to_owned),
        comparisons: all.into_iter().map(|c| c.0).collect(),
        left_out,
        simulated,
    }
}

/// What is compared, without its answer yet.
fn compared(sides: &Sides, how: &How) -> (Compared, Vec<Weighed>) {
    let weighed: Vec<Weighed> = TOLD
        .into_iter()
        .filter_map(|q| Weighed::of(sides, q, how.matters.of(q)))
        .collect();
    let whole = [0, 1].map(|side| sides.weights(side, |_| true));
    let compared = Compared {
        sides: [sides.told(0), sides.told(1)],
        paired: sides.paired,
        other_days: sides.apart_in_days(&whole) > 0.0,
        other_rigs: sides.apart_in_rigs(&whole) > 0.0,
        why: sides.why(weighed.is_empty()),
        ..told(&sides.recipes(0), &sides.recipes(1))
    };
    (compared, weighed)
}
