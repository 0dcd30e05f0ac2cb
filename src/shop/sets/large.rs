//! Sets from more pickups than can be searched through: good ones, made better bit by bit, and how far they can be from the best.

use super::bound::squeeze;
use super::search;
use super::stars::{Bound, Packing, Stars};

/// So many are searched through at a time: neighbours of one set.
const BIT: usize = 18;
/// Rounds over all sets; few bits become better after the third.
const ROUNDS: usize = 8;

pub fn best(stars: &Stars) -> (Packing, Bound) {
    let mut most = stars.most();
    let (mut prices, mut found) = squeeze(stars, most, &Packing::default());
    found = bit_by_bit(stars, found);
    // Nothing costs so much: then there are not so many sets.
    while most > found.sets.len() && prices.least(0..stars.pickups, most).is_none_or(|c| c >= stars.worth()) {
        most -= 1;
        (prices, found) = squeeze(stars, most, &found);
    }
    // Prices go farther where it is known how far there is to go.
    (prices, found) = squeeze(stars, found.sets.len(), &found);
    found = bit_by_bit(stars, found);
    let least = prices.least(0..stars.pickups, found.sets.len()).unwrap_or(0);
    let bound = Bound {
        sets: most,
        cost: least.clamp(0, found.cost),
    };
    (found, bound)
}

fn bit_by_bit(stars: &Stars, mut found: Packing) -> Packing {
    for _ in 0..ROUNDS {
        let before = found.clone();
        for s in 0..found.sets.len() {
            found = around(stars, found, s);
        }
        if found == before {
            break;
        }
    }
    found
}

/// The best that the pickups of this set, of sets near it and some that are in none, make.
fn around(stars: &Stars, packing: Packing, s: usize) -> Packing {
    let Some(own) = packing.sets.get(s) else { return packing };
    let near = |j: usize| own.iter().filter_map(|i| stars.between(*i, j)).min();
    let mut used = vec![false; stars.pickups];
    for j in packing.sets.iter().flatten() {
        used[*j] = true;
    }
    let others = packing.sets.iter().enumerate().filter(|(t, _)| *t != s);
    let sets = others.filter_map(|(_, set)| Some((set.iter().filter_map(|j| near(*j)).min()?, set.clone())));
    let unused = (0..stars.pickups)
        .filter(|j| !used[*j])
        .filter_map(|j| Some((near(j)?, vec![j])));
    let mut parts: Vec<(i64, Vec<usize>)> = sets.chain(unused).collect();
    parts.sort_unstable();
    let mut bit = own.clone();
    for (_, part) in parts {
        if bit.len() + part.len() <= BIT.max(2 * stars.size()) {
            bit.extend(part);
        }
    }
    let anew = search::best(&stars.of(&bit));
    let anew = anew.sets.iter().map(|set| set.iter().map(|j| bit[*j]).collect());
    let rest = packing.sets.iter().filter(|set| !set.iter().all(|j| bit.contains(j)));
    let whole = stars.packed(rest.cloned().chain(anew).collect());
    whole.filter(|w| w.is_better(&packing)).unwrap_or(packing)
}
