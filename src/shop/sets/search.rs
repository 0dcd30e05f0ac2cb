//! Every choice of sets from few pickups, as far as it could be better than the best so far.

use super::bound::{Prices, squeeze};
use super::stars::{Packing, Stars};

/// A set, its pickups as bits.
struct Column {
    mask: u32,
    cost: i64,
    /// With the prices of its pickups.
    paid: i64,
    set: Vec<usize>,
}

struct Search<'a> {
    size: usize,
    prices: &'a Prices,
    /// By the dearest pickup of each, cheapest first.
    columns: Vec<Vec<Column>>,
    /// Pickups, the dearest first: who is wanted most is decided on first.
    order: Vec<usize>,
    chosen: Vec<(usize, usize)>,
    best: Option<(i64, Vec<(usize, usize)>)>,
    /// Nothing that costs as much is looked for.
    below: i64,
}

/// The best, proven.
pub fn best(stars: &Stars) -> Packing {
    let (_, mut found) = squeeze(stars, stars.most(), &Packing::default());
    for sets in (found.sets.len().max(1)..=stars.most()).rev() {
        let (prices, better) = squeeze(stars, sets, &found);
        found = better;
        if let Some(packing) = of_so_many(stars, sets, &prices, &found) {
            found = packing;
        }
        if found.sets.len() == sets {
            break;
        }
    }
    found
}

/// So many sets for less than is known, where there are such.
fn of_so_many(stars: &Stars, sets: usize, prices: &Prices, known: &Packing) -> Option<Packing> {
    let below = match known.sets.len() == sets {
        true => known.cost,
        false => stars.worth(),
    };
    let all = 0..stars.pickups;
    let least = prices.least(all.clone(), sets)?;
    if least >= below {
        return None;
    }
    let mut order: Vec<usize> = all.clone().collect();
    order.sort_by_key(|i| (-prices.of[*i], *i));
    let mut filed: Vec<Vec<Column>> = all.map(|_| Vec::new()).collect();
    for column in columns(stars, sets, prices, below) {
        if let Some(dearest) = order.iter().find(|i| column.mask >> **i & 1 == 1) {
            filed[*dearest].push(column);
        }
    }
    filed.iter_mut().for_each(|own| own.sort_by_key(|c| (c.paid, c.mask)));
    let mut search = Search {
        size: stars.size(),
        prices,
        columns: filed,
        order,
        chosen: Vec::new(),
        best: None,
        below,
    };
    search.choose((1u64 << stars.pickups) as u32 - 1, sets, 0);
    let (_, chosen) = search.best?;
    let set = |(i, k): &(usize, usize)| search.columns[*i][*k].set.clone();
    stars.packed(chosen.iter().map(set).collect())
}

/// The sets that can be part of a choice below that, each with its best first.
fn columns(stars: &Stars, sets: usize, prices: &Prices, below: i64) -> Vec<Column> {
    let mut firsts: Vec<i64> = prices.first.iter().flatten().copied().collect();
    firsts.sort_unstable();
    // The others cost no less than the cheapest firsts do.
    let others: i64 = firsts.iter().take(sets.saturating_sub(1)).sum();
    let allowed = below.saturating_add(prices.of.iter().sum()).saturating_sub(others);
    let mut out: Vec<Column> = Vec::new();
    for first in 0..stars.pickups {
        let mut made = vec![(prices.of[first], vec![first])];
        for kind in &stars.kinds {
            let row = kind.cost[first].iter().enumerate().filter(|(j, _)| *j != first);
            let mut own: Vec<(i64, usize)> = row.filter_map(|(j, c)| Some(((*c)? + prices.of[j], j))).collect();
            own.sort_unstable();
            let mut next = Vec::new();
            for part in made {
                chosen_from(&own, kind.count, part, allowed, &mut next);
            }
            made = next;
        }
        out.extend(made.into_iter().filter_map(|(paid, set)| {
            Some(Column {
                mask: set.iter().fold(0, |m, j| m | 1 << j),
                cost: stars.cost(&set)?,
                paid,
                set,
            })
        }));
    }
    out.sort_by_key(|c| (c.mask, c.cost));
    out.dedup_by_key(|c| c.mask);
    out
}

/// Each way to take so many more, as long as it costs less than allowed; `own` is sorted.
fn chosen_from(
    own: &[(i64, usize)],
    count: usize,
    (paid, set): (i64, Vec<usize>),
    allowed: i64,
    out: &mut Vec<(i64, Vec<usize>)>,
) {
    if count == 0 {
        out.push((paid, set));
        return;
    }
    for (at, (cost, j)) in own.iter().enumerate() {
        let rest = own.len() - at;
        // Those that follow cost no less.
        if rest < count || paid.saturating_add(cost.saturating_mul(count as i64)) >= allowed {
            return;
        }
        let set = set.iter().copied().chain([*j]).collect();
        chosen_from(&own[at + 1..], count - 1, (paid + cost, set), allowed, out);
    }
}

impl Search<'_> {
    /// So many sets more, from those that are free.
    fn choose(&mut self, free: u32, sets: usize, cost: i64) {
        if sets == 0 {
            if cost < self.below {
                self.below = cost;
                self.best = Some((cost, self.chosen.clone()));
            }
            return;
        }
        let mut free = free;
        while free.count_ones() as usize >= sets * self.size {
            let among = (0..self.order.len()).filter(|i| free >> i & 1 == 1);
            let least = self.prices.least(among, sets);
            let first = self.order.iter().copied().find(|i| free >> i & 1 == 1);
            let (Some(least), Some(i)) = (least, first) else { return };
            if cost.saturating_add(least) >= self.below {
                return;
            }
            for k in 0..self.columns[i].len() {
                let column = &self.columns[i][k];
                let (mask, own) = (column.mask, column.cost);
                if mask & !free == 0 {
                    self.chosen.push((i, k));
                    self.choose(free & !mask, sets - 1, cost + own);
                    self.chosen.pop();
                }
            }
            // Without this one.
            free &= !(1 << i);
        }
    }
}
