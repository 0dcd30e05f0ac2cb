//! Which way to the best sets: by pairs, by searching through all, or bit by bit.

use super::stars::{Bound, Packing, Stars};
use super::{large, matching, search};

/// So many pickups are searched through wherever nothing quicker is exact.
pub const SEARCHED: usize = 24;

/// The best sets, and what none betters: the same, wherever the best is proven.
pub fn best(stars: &Stars) -> (Packing, Bound) {
    let exact = match matched(stars) {
        None if stars.pickups <= SEARCHED => Some(search::best(stars)),
        exact => exact,
    };
    match exact {
        None => large::best(stars),
        Some(packing) => {
            let bound = Bound {
                sets: packing.sets.len(),
                cost: packing.cost,
            };
            (packing, bound)
        }
    }
}

/// Two places, or three whose pickups differ in kind: then pairs tell all. A first that has two others stands twice in the graph,
/// once for each, and goes with itself where it is not used: that is worth more than one of the two alone, and less than both.
fn matched(stars: &Stars) -> Option<Packing> {
    let n = stars.pickups;
    let single = stars.kinds.iter().all(|k| k.count == 1);
    let first = |i: usize| stars.kinds.iter().any(|k| k.cost[i].iter().any(Option::is_some));
    let mut rows = stars.kinds.iter().flat_map(|k| &k.cost);
    let mut apart = || rows.all(|row| (0..n).all(|j| row[j].is_none() || !first(j)));
    let graph = match stars.kinds.as_slice() {
        [_] if single => {
            let worth = stars.worth();
            graph(n, |i, j| stars.between(i, j).map(|c| worth - c))
        }
        [one, two] if single && apart() => {
            let worth = stars.worth();
            graph(2 * n, |i, j| match (i < n, j < n) {
                (true, true) => one.cost[i][j].or(one.cost[j][i]).map(|c| 2 * worth - c),
                (true, false) if i == j - n => first(i).then_some(3 * worth),
                (true, false) => two.cost[j - n][i].map(|c| 2 * worth - c),
                _ => None,
            })
        }
        _ => return None,
    };
    let mate = matching::heaviest(&graph);
    let sets = (0..n).filter_map(|i| match stars.kinds.len() {
        1 => {
            let j = mate[i].filter(|j| i < *j)?;
            let either = [vec![i, j], vec![j, i]].into_iter();
            either.filter(|s| stars.cost(s).is_some()).min_by_key(|s| stars.cost(s))
        }
        // One that goes with itself is not used.
        _ => Some(vec![i, mate[i].filter(|j| first(i) && *j < n)?, mate[i + n]?]),
    });
    stars.packed(sets.collect())
}

/// Symmetric; 0 where they do not go together.
fn graph(vertices: usize, weight: impl Fn(usize, usize) -> Option<i64>) -> Vec<Vec<i64>> {
    let mut out = vec![vec![0; vertices]; vertices];
    for i in 0..vertices {
        for j in i + 1..vertices {
            let w = weight(i, j).unwrap_or(0);
            (out[i][j], out[j][i]) = (w, w);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::sets::bound;
    use crate::shop::sets::stars::Kind;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    pub struct Draw(ChaCha8Rng);

    impl Draw {
        fn below(&mut self, n: i64) -> i64 {
            i64::from(self.0.next_u32()) % n
        }
    }

    /// Pickups of random places and sizes; two go together where they are near enough.
    fn drawn(rng: &mut Draw, n: usize, shape: &[usize], near: i64) -> Stars {
        // All alike: any may take any place; else the first place and each kind have pickups of their own.
        let alike = shape.len() == 1 && rng.below(2) == 0;
        let place: Vec<i64> = (0..n).map(|_| rng.below(1 + shape.len() as i64)).collect();
        let size: Vec<i64> = (0..n).map(|_| rng.below(100)).collect();
        let off = |i: usize, j: usize| {
            Some((size[i] - size[j]).abs())
                .filter(|d| *d <= near && i != j)
                .map(|d| 1000 * d * d)
        };
        let may = |i: usize, j: usize, k: usize| alike || (place[i] == 0 && place[j] == k as i64 + 1);
        let kinds = shape.iter().enumerate().map(|(k, count)| Kind {
            count: *count,
            cost: (0..n)
                .map(|i| (0..n).map(|j| off(i, j).filter(|_| may(i, j, k))).collect())
                .collect(),
        });
        Stars {
            pickups: n,
            kinds: kinds.collect(),
        }
    }

    /// By another way: every set there is, and the best of every subset of the pickups.
    fn by_force(stars: &Stars) -> (usize, i64) {
        let n = stars.pickups;
        let mut of = vec![None; 1 << n];
        for first in 0..n {
            for mask in (0..1usize << n).filter(|m| m >> first & 1 == 1 && m.count_ones() as usize == stars.size()) {
                let others: Vec<usize> = (0..n).filter(|j| *j != first && mask >> j & 1 == 1).collect();
                for set in orders(&others) {
                    let cost = stars.cost(&[vec![first], set].concat());
                    of[mask] = [of[mask], cost].into_iter().flatten().min();
                }
            }
        }
        let mut best = vec![(0usize, 0i64); 1 << n];
        for mask in 1..1usize << n {
            let low = mask & mask.wrapping_neg();
            let mut here = best[mask & !low];
            let mut own = mask;
            while own > 0 {
                if let Some(cost) = of[own].filter(|_| own & low > 0) {
                    let rest = best[mask & !own];
                    let with = (rest.0 + 1, rest.1 + cost);
                    if (with.0, -with.1) > (here.0, -here.1) {
                        here = with;
                    }
                }
                own = (own - 1) & mask;
            }
            best[mask] = here;
        }
        best[(1 << n) - 1]
    }

    fn orders(of: &[usize]) -> Vec<Vec<usize>> {
        if of.is_empty() {
            return vec![Vec::new()];
        }
        let with = |i: usize| {
            let rest: Vec<usize> = of.iter().copied().filter(|j| *j != of[i]).collect();
            orders(&rest).into_iter().map(move |o| [vec![of[i]], o].concat())
        };
        (0..of.len()).flat_map(with).collect()
    }

    /// Pairs, threes by pairs, and what has to be searched for.
    const SHAPES: [&[usize]; 6] = [&[1], &[1, 1], &[2], &[3], &[2, 1], &[1, 1, 1]];

    #[test]
    fn nothing_is_better_among_up_to_twelve() {
        let mut rng = Draw(ChaCha8Rng::seed_from_u64(3));
        for round in 0..240 {
            let shape = SHAPES[round % SHAPES.len()];
            let (n, near) = (3 + rng.below(8) as usize, [100, 30, 12][round / 6 % 3]);
            let n = if round % 40 < SHAPES.len() { 12 } else { n };
            let stars = drawn(&mut rng, n, shape, near);
            let (found, bound) = best(&stars);
            assert_eq!((found.sets.len(), found.cost), by_force(&stars), "{stars:?}");
            assert_eq!((bound.sets, bound.cost), (found.sets.len(), found.cost));
            assert_eq!(stars.packed(found.sets.clone()), Some(found.clone()));
            let mut each: Vec<usize> = found.sets.concat();
            each.sort_unstable();
            each.dedup();
            assert_eq!(each.len(), found.sets.len() * stars.size());
        }
    }

    /// What is found beyond that is near what nothing betters, and never beyond it.
    #[test]
    fn beyond_the_search_the_bound_holds() {
        let mut rng = Draw(ChaCha8Rng::seed_from_u64(4));
        for shape in [&[2][..], &[5], &[2, 1]] {
            let stars = drawn(&mut rng, 60, shape, 100);
            let (found, bound) = best(&stars);
            assert!(bound.sets >= found.sets.len() && bound.cost <= found.cost);
            assert_eq!(bound.sets, found.sets.len(), "{shape:?}");
        }
        // The same of few, where the best is known: neither is on the wrong side of it.
        for round in 0..20 {
            let stars = drawn(&mut rng, 15, SHAPES[2 + round % 4], 40);
            let (best, _) = best(&stars);
            let (prices, found) = bound::squeeze(&stars, best.sets.len(), &Packing::default());
            assert!(!found.is_better(&best));
            assert!(prices.least(0..15, best.sets.len()).is_none_or(|c| c <= best.cost));
        }
    }

    /// Prints what it takes; asserts no time.
    #[test]
    fn how_long_it_takes() {
        let mut rng = Draw(ChaCha8Rng::seed_from_u64(5));
        for (n, shape, near) in [
            (200, &[1][..], 100),
            (200, &[1], 3),
            (200, &[1, 1], 100),
            (24, &[2], 100),
            (24, &[2], 8),
            (24, &[3], 30),
            (24, &[5], 100),
            (24, &[5], 25),
            (23, &[2, 1], 100),
            (60, &[5], 100),
        ] {
            let stars = drawn(&mut rng, n, shape, near);
            let start = std::time::Instant::now();
            let (found, bound) = best(&stars);
            let (sets, took) = (found.sets.len(), start.elapsed());
            println!(
                "{n} pickups {shape:?} within {near}: {sets} sets of {}, {} of {}, {took:.1?}",
                bound.sets, found.cost, bound.cost
            );
            assert!(sets > 0);
        }
    }
}
