//! Search for a maximum.

/// Where `f` is largest between `a` and `b`, by golden sections: each step leaves 0.618 of what was there. Right only where
/// `f` rises to one top and falls from it.
pub fn maximum(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64, steps: usize) -> f64 {
    let ratio = 0.5 * (5f64.sqrt() - 1.0);
    for _ in 0..steps {
        let (c, d) = (b - ratio * (b - a), a + ratio * (b - a));
        if f(c) > f(d) {
            b = d;
        } else {
            a = c;
        }
    }
    0.5 * (a + b)
}

#[cfg(test)]
mod tests {
    use super::maximum;

    #[test]
    fn finds_the_top_as_near_as_the_steps_bring_it() {
        let top = |steps| maximum(|x| -(x - 0.3f64).abs(), -1.0, 1.0, steps);
        assert!((top(60) - 0.3).abs() < 1e-12);
        // 2 x 0.618^15 is left, the middle of it is told.
        assert!((top(15) - 0.3).abs() < 0.8e-3);
    }
}
