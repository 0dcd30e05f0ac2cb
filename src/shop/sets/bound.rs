//! What no choice of sets betters, and good choices on the way to it.
//!
//! Each pickup has a price, at least 0, that a set pays for using it; in turn nothing else forbids two sets to share one. Then every
//! first takes the others that are cheapest for it, and so many of the cheapest sets less all prices cost no more than any true choice
//! (Lagrangian relaxation; M. Held, P. Wolfe, H. P. Crowder, Math. Programming 6 (1974) 62, recalled from memory). Prices rise where a
//! pickup is used twice, and fall where it is not used.

use super::stars::{Packing, Stars};

/// Steps of the prices; later ones gain little.
const STEPS: usize = 300;
/// The step is halved after so many that gained nothing.
const PATIENCE: usize = 12;

#[derive(Debug, Clone)]
pub struct Prices {
    pub of: Vec<i64>,
    /// What the cheapest set costs with this first, prices paid.
    pub first: Vec<Option<i64>>,
}

impl Prices {
    /// So many sets from these pickups cost no less; `None`: there are not so many firsts.
    pub fn least(&self, from: impl Iterator<Item = usize> + Clone, sets: usize) -> Option<i64> {
        let mut firsts: Vec<i64> = from.clone().filter_map(|i| self.first[i]).collect();
        if firsts.len() < sets {
            return None;
        }
        firsts.sort_unstable();
        Some(firsts.iter().take(sets).sum::<i64>() - from.map(|i| self.of[i]).sum::<i64>())
    }
}

/// The cheapest set of a first among those that are free, and what it costs with prices.
fn cheapest(stars: &Stars, first: usize, prices: &[i64], free: &[bool]) -> Option<(i64, Vec<usize>)> {
    let (mut sum, mut set) = (prices[first], vec![first]);
    for kind in &stars.kinds {
        let row = kind.cost[first].iter().enumerate();
        let fits = row.filter(|(j, _)| free[*j] && *j != first);
        let mut own: Vec<(i64, usize)> = fits.filter_map(|(j, c)| Some(((*c)? + prices[j], j))).collect();
        if own.len() < kind.count {
            return None;
        }
        if own.len() > kind.count {
            own.select_nth_unstable(kind.count);
        }
        for (cost, j) in own.into_iter().take(kind.count) {
            sum += cost;
            set.push(j);
        }
    }
    Some((sum, set))
}

/// Firsts in the order of what their sets cost, each with the best that are left.
fn greedy(stars: &Stars, prices: &Prices) -> Packing {
    let costs = prices.first.iter().zip(0..);
    let mut order: Vec<(i64, usize)> = costs.filter_map(|(p, i)| Some(((*p)?, i))).collect();
    order.sort_unstable();
    let mut free = vec![true; stars.pickups];
    let mut sets = Vec::new();
    for (_, i) in order {
        if let Some((_, set)) = cheapest(stars, i, &prices.of, &free).filter(|_| free[i]) {
            for j in &set {
                free[*j] = false;
            }
            sets.push(set);
        }
    }
    stars.packed(sets).unwrap_or_default()
}

/// The prices that say most of so many sets, and the best choice that was met or was known.
pub fn squeeze(stars: &Stars, sets: usize, known: &Packing) -> (Prices, Packing) {
    let mut found = known.clone();
    let all = vec![true; stars.pickups];
    let (mut of, mut least) = (vec![0i64; stars.pickups], i64::MIN);
    let mut best = Prices {
        of: of.clone(),
        first: vec![None; stars.pickups],
    };
    let (mut scale, mut waited) = (1.0, 0);
    for _ in 0..STEPS {
        let each: Vec<Option<(i64, Vec<usize>)>> = (0..stars.pickups).map(|i| cheapest(stars, i, &of, &all)).collect();
        let prices = Prices {
            first: each.iter().map(|e| e.as_ref().map(|e| e.0)).collect(),
            of: of.clone(),
        };
        let met = greedy(stars, &prices);
        if met.is_better(&found) {
            found = met;
        }
        let Some(now) = prices.least(0..stars.pickups, sets) else {
            return (prices, found);
        };
        waited += 1;
        if now > least {
            (least, waited, best) = (now, 0, prices);
        }
        if waited > PATIENCE {
            (scale, waited) = (scale * 0.5, 0);
        }
        let mut used = vec![-1i64; stars.pickups];
        let mut cheap: Vec<&(i64, Vec<usize>)> = each.iter().flatten().collect();
        cheap.sort_unstable();
        for j in cheap.into_iter().take(sets).flat_map(|e| &e.1) {
            used[*j] += 1;
        }
        let pulled = used.iter().zip(&of).filter(|(used, price)| **used > 0 || **price > 0);
        let pull: i64 = pulled.map(|(used, _)| used * used).sum();
        // What was found tells how far there is to go; where nothing of that size was, a share of what a set costs.
        let goal = match found.sets.len() == sets {
            true => found.cost,
            false => least.max(now) + (least.abs() / 4).max(1_000_000),
        };
        // More than any choice costs: there are not so many sets.
        if pull == 0 || goal <= least || least >= stars.worth() {
            break;
        }
        let step = scale * (goal - now) as f64 / pull as f64;
        for (price, used) in of.iter_mut().zip(used) {
            *price = (*price + (step * used as f64).round() as i64).max(0);
        }
    }
    (best, found)
}
