//! Values that do not belong to the rest of a sample: Grubbs' test, both sides, for several at once.
//!
//! Two odd values hide each other from Grubbs' test of one, since both are in the scatter. So the farthest are taken out one after
//! the other, and as many are odd as the last of these steps that is beyond its limit says (generalised extreme Studentised
//! deviate; Rosner 1983, NIST/SEMATECH e-Handbook 1.3.5.17.3). For one it is Grubbs' test itself (1.3.5.17.1).

use super::{mean, sd, student};

/// Of fewer values the test names one nearly whenever two agree to the last digit (e-Handbook 1.3.5.17.1).
pub const LEAST: usize = 6;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Odd {
    /// Which of the values.
    pub at: usize,
    /// From the mean of those that were left, in their standard deviations.
    pub far: f64,
    /// What `far` had to be beyond.
    pub limit: f64,
}

/// With limits for so few values, several at once would be named in 6.5 of 100 clean samples of 12 where 5 are asked for, and with
/// this share of the risk in 5 (simulated; Rosner's limits are for 25 and more).
const FEW: usize = 25;
const OF_FEW: f64 = 0.75;

/// How many are looked for among so many: a sample with more has no rest that they could be far from.
pub fn most(n: usize) -> usize {
    if n < LEAST { 0 } else { (n / 5).max(1) }
}

/// The odd ones, the farthest first; none of fewer than [`LEAST`]. Of clean normal samples the share `false_alarm` has any.
pub fn odd(values: &[f64], false_alarm: f64) -> Vec<Odd> {
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    let several = most(values.len()) > 1 && values.len() < FEW;
    let risk = if several { OF_FEW * false_alarm } else { false_alarm };
    let mut steps = Vec::new();
    for _ in 0..most(values.len()) {
        let Some(step) = farthest(&left, risk) else {
            break;
        };
        left.retain(|v| v.0 != step.at);
        steps.push(step);
    }
    let told = steps.iter().rposition(|s| s.far > s.limit);
    steps.truncate(told.map_or(0, |i| i + 1));
    steps
}

fn farthest(left: &[(usize, f64)], false_alarm: f64) -> Option<Odd> {
    let values: Vec<f64> = left.iter().map(|v| v.1).collect();
    let (middle, sd) = (mean(&values)?, sd(&values)?);
    let off = |v: f64| (v - middle).abs();
    let far = left.iter().max_by(|a, b| off(a.1).total_cmp(&off(b.1)))?;
    // Both sides, each with its half.
    let limit = limit(left.len(), 0.5 * false_alarm);
    (sd > 0.0).then(|| Odd {
        at: far.0,
        far: off(far.1) / sd,
        limit,
    })
}

/// Those that lie below the rest, the lowest first, by a scatter that is known from elsewhere: a standard deviation and its degrees of
/// freedom (the extreme deviate from the mean by an independent standard deviation, Nair 1948; its limit by Bonferroni). As many as
/// the last step beyond its limit says, and fewer than half.
pub fn below(values: &[f64], (sd, freedom): (f64, f64), false_alarm: f64) -> Vec<usize> {
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    left.sort_by(|a, b| a.1.total_cmp(&b.1));
    let (mut steps, mut told) = (Vec::new(), 0);
    for _ in 0..values.len().saturating_sub(1) / 2 {
        let n = left.len() as f64;
        let (at, low) = left.remove(0);
        let Some(mates) = mean(&left.iter().map(|v| v.1).collect::<Vec<_>>()) else {
            break;
        };
        steps.push(at);
        let limit = student(1.0 - false_alarm / n, freedom) * sd * (n / (n - 1.0)).sqrt();
        if mates - low > limit {
            told = steps.len();
        }
    }
    steps.truncate(told);
    steps
}

/// Critical value of Grubbs' statistic of so many values on one side.
pub fn limit(n: usize, one_sided: f64) -> f64 {
    let n = n as f64;
    let t = student(1.0 - one_sided / n, n - 2.0);
    (n - 1.0) * t / (n * (n - 2.0 + t * t)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_values_and_equal_ones_name_none() {
        assert_eq!(odd(&[1.0, 1.0, 1.0, 1.0, 9.0], 0.05), []);
        assert_eq!(odd(&[2.0; 12], 0.05), []);
        assert_eq!(odd(&[], 0.05), []);
    }

    /// Upper 5 % points of the extreme deviate from the mean of 3, 4, 5 and 10 values, in known standard deviations: 1.74, 1.94, 2.08,
    /// 2.44 (Nair 1948, recalled, not verified).
    #[test]
    fn below_the_rest_by_a_scatter_that_is_known() {
        for (n, point) in [(3, 1.74), (4, 1.94), (5, 2.08), (10, 2.44f64)] {
            for (deviate, named) in [(point - 0.02, 0), (point + 0.02, 1)] {
                // From the mean of all it lies (n - 1)/n of what it lies from its mates.
                let low = -deviate * n as f64 / (n - 1) as f64;
                let mut values = vec![0.0; n];
                values[1] = low;
                let told = below(&values, (1.0, f64::INFINITY), 0.05);
                assert_eq!(
                    (told.len(), told.iter().all(|i| *i == 1)),
                    (named, true),
                    "{n} {deviate}"
                );
            }
        }
        // Two of five hide each other's size from the first step, and the second tells; fewer than half are ever named.
        assert_eq!(below(&[0.0, 9.0, 0.1, 9.1, 9.2], (1.0, 20.0), 0.05), [0, 2]);
        assert!(below(&[0.0, 9.0], (1.0, 20.0), 0.05).is_empty() && below(&[], (1.0, 20.0), 0.05).is_empty());
    }

    /// On one side and on either, and more than are looked for.
    #[test]
    fn two_that_hide_each_other_are_both_found() {
        let rest: Vec<f64> = (0..12).map(|i| f64::from(i * 7 % 12) / 10.0).collect();
        for pair in [[9.0, 9.4], [9.0, -9.0]] {
            let all = [rest.clone(), pair.to_vec()].concat();
            let mut at: Vec<usize> = odd(&all, 0.05).iter().map(|o| o.at).collect();
            at.sort_unstable();
            assert_eq!(at, [12, 13], "{pair:?}");
        }
        let many = [rest, vec![9.0; 8]].concat();
        assert_eq!(odd(&many, 0.05), []);
    }
}
