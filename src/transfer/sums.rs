//! Sums and ranks that several looks at a take share.

use std::ops::Add;

/// Sums up to each place, from nought: the sum over a..b is the difference of two of them.
pub fn running<T: Copy + Default + Add<Output = T>>(values: impl Iterator<Item = T>) -> Vec<T> {
    let mut sums = vec![T::default()];
    let mut sum = T::default();
    sums.extend(values.map(|v| {
        sum = sum + v;
        sum
    }));
    sums
}

/// The `k`-th smallest, counted from nought; nought where there are not so many. Puts the values in another order.
pub fn ranked(values: &mut [f64], k: usize) -> f64 {
    if k < values.len() {
        *values.select_nth_unstable_by(k, f64::total_cmp).1
    } else {
        0.0
    }
}

pub fn median(values: &mut [f64]) -> f64 {
    ranked(values, values.len() / 2)
}

pub fn mean(x: &[f32]) -> f64 {
    x.iter().map(|v| f64::from(*v)).sum::<f64>() / x.len() as f64
}

/// Sum of the squares about a level.
pub fn squares_about(x: &[f32], level: f64) -> f64 {
    x.iter().map(|v| (f64::from(*v) - level).powi(2)).sum()
}

pub fn peak(x: &[f32]) -> f32 {
    x.iter().fold(0f32, |m, v| m.max(v.abs()))
}

/// Weighted least squares of r = p a + q b.
#[derive(Debug, Clone, Copy, Default)]
pub struct Pair {
    pub aa: f64,
    pub ab: f64,
    pub bb: f64,
    pub ar: f64,
    pub br: f64,
}

impl Pair {
    pub fn add(&mut self, weight: f64, [a, b]: [f64; 2], r: f64) {
        self.aa += weight * a * a;
        self.ab += weight * a * b;
        self.bb += weight * b * b;
        self.ar += weight * a * r;
        self.br += weight * b * r;
    }

    pub fn determinant(&self) -> f64 {
        self.aa * self.bb - self.ab * self.ab
    }

    /// p and q; `None` where a and b are the same but for a factor.
    pub fn solve(&self) -> Option<[f64; 2]> {
        let det = self.determinant();
        (det > 0.0).then(|| {
            let p = (self.ar * self.bb - self.br * self.ab) / det;
            let q = (self.br * self.aa - self.ar * self.ab) / det;
            [p, q]
        })
    }

    /// What p a + q b takes of the squares of r; `None` where a and b are nearly the same but for a factor.
    pub fn explained(&self) -> Option<f64> {
        let det = self.determinant();
        let told = self.ar * self.ar * self.bb - 2.0 * self.ar * self.br * self.ab + self.br * self.br * self.aa;
        (det > 1e-12 * self.aa * self.bb).then(|| told / det)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_ranks_and_the_least_squares_of_two() {
        assert_eq!(running([1.0, 2.0, 4.0].into_iter()), [0.0, 1.0, 3.0, 7.0]);
        assert_eq!(ranked(&mut [3.0, 1.0, 2.0], 1), 2.0);
        assert_eq!(ranked(&mut [], 0), 0.0);
        let mut pair = Pair::default();
        // r = 2 a - 3 b, and one more that no p and q can have.
        for (a, b, r) in [(1.0, 0.0, 2.0), (0.0, 1.0, -3.0), (1.0, 1.0, -1.0), (0.0, 0.0, 5.0)] {
            pair.add(0.5, [a, b], r);
        }
        assert_eq!(pair.solve(), Some([2.0, -3.0]));
        assert_eq!(pair.explained(), Some(7.0));
        let mut twice = Pair::default();
        twice.add(1.0, [1.0, 2.0], 1.0);
        assert_eq!((twice.solve(), twice.explained()), (None, None));
    }
}
