//! Whether values rise or fall along their order, whatever their distribution: the rank test of Mann (1945) and Kendall, and the
//! slope that is the median of all pairs' (Theil 1950, Sen 1968). One odd value moves neither far.

use statrs::distribution::{ContinuousCDF, Normal};

use super::median;

/// Up to so many values without ties the test is exact.
const EXACT: usize = 60;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Pairs that rise less those that fall.
    pub score: f64,
    /// Probability of a score as far from nought by chance, two-sided.
    pub p: f64,
    /// For one step of the order.
    pub slope: f64,
    /// Between these lies the slope in 95 % of cases; infinite where the values are too few to tell.
    pub slope_95: [f64; 2],
}

impl Trend {
    /// Of (place in the order, value), the places rising; `None` below three values.
    pub fn of(values: &[(f64, f64)]) -> Option<Trend> {
        let n = values.len();
        if n < 3 {
            return None;
        }
        let pairs = values
            .iter()
            .enumerate()
            .flat_map(|(i, a)| values[i + 1..].iter().map(move |b| (a, b)));
        let mut slopes: Vec<f64> = pairs.map(|(a, b)| (b.1 - a.1) / (b.0 - a.0)).collect();
        let count = |up: bool| slopes.iter().filter(|s| if up { **s > 0.0 } else { **s < 0.0 }).count();
        let score = count(true) as f64 - count(false) as f64;
        let ties = ties(values);
        let chance = match ties.is_empty() && n <= EXACT {
            true => Chance::Exact(scores(n)),
            false => Chance::Normal(variance(n, &ties).sqrt()),
        };
        slopes.sort_by(f64::total_cmp);
        let all = slopes.len() as f64;
        let out = chance.leaves_out(0.025, all);
        let inner = out.and_then(|k| Some([*slopes.get(k)?, *slopes.get(slopes.len().checked_sub(k + 1)?)?]));
        Some(Trend {
            score,
            p: (2.0 * chance.above(score.abs())).min(1.0),
            slope_95: inner.unwrap_or([f64::NEG_INFINITY, f64::INFINITY]),
            slope: median(slopes),
        })
    }
}

/// How likely scores are where there is no trend.
enum Chance {
    /// For every number of falling pairs its share of all orders.
    Exact(Vec<f64>),
    /// Standard deviation.
    Normal(f64),
}

impl Chance {
    /// Probability of this score or a larger one; `score` is above nought.
    fn above(&self, score: f64) -> f64 {
        match self {
            Chance::Exact(shares) => {
                let falling = (shares.len() as f64 - 1.0 - score) / 2.0;
                shares[..=(falling as usize).min(shares.len() - 1)].iter().sum()
            }
            Chance::Normal(sd) if *sd > 0.0 => Normal::standard().sf((score - 1.0).max(0.0) / sd),
            Chance::Normal(_) => 0.5,
        }
    }

    /// So many slopes at either end lie outside the interval that misses with this probability on each side; `None` where it takes
    /// more than there are.
    fn leaves_out(&self, each: f64, all: f64) -> Option<usize> {
        // The score of this many falling pairs is all - 2 k.
        let fits = |k: &usize| self.above(all - 2.0 * *k as f64) <= each;
        (0..=(all / 2.0) as usize).take_while(fits).last()
    }
}

/// Sizes of the groups of equal values.
fn ties(values: &[(f64, f64)]) -> Vec<f64> {
    let mut sorted: Vec<f64> = values.iter().map(|v| v.1).collect();
    sorted.sort_by(f64::total_cmp);
    let groups = sorted.chunk_by(|a, b| a == b);
    groups.map(|g| g.len() as f64).filter(|n| *n > 1.0).collect()
}

/// Of the score by chance (Kendall 1975).
fn variance(n: usize, ties: &[f64]) -> f64 {
    let of = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    (of(n as f64) - ties.iter().map(|t| of(*t)).sum::<f64>()) / 18.0
}

/// The share of all orders of n values with 0, 1, 2 ... falling pairs: each further value falls behind none to all of those before.
fn scores(n: usize) -> Vec<f64> {
    let mut shares = vec![1.0];
    for k in 2..=n {
        let mut next = vec![0.0; shares.len() + k - 1];
        for (i, share) in shares.iter().enumerate() {
            next[i..i + k].iter_mut().for_each(|s| *s += share / k as f64);
        }
        shares = next;
    }
    shares
}
