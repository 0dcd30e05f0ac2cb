//! Starting values: linearised rational fits (Sanathanan and Koerner, IEEE Trans. Autom. Control 8 (1963) 56).

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// A point of a response to fit: s (scaled), value, weight (1/sigma).
#[derive(Debug, Clone, Copy)]
pub struct Point {
    pub s: Complex64,
    pub g: Complex64,
    pub weight: f64,
}

/// Fits N(s)/D(s), N of order `n`, D = 1 + d1 s + ... of order `d`, real coefficients; returns (N, D without its 1).
/// Each round weighs by the denominator of the round before.
pub fn rational(points: &[Point], n: usize, d: usize, rounds: usize) -> Option<(Vec<f64>, Vec<f64>)> {
    let cols = n + 1 + d;
    let mut den: Vec<f64> = vec![0.0; d];
    let mut num: Vec<f64> = vec![0.0; n + 1];
    for _ in 0..rounds {
        let mut a = DMatrix::zeros(2 * points.len(), cols);
        let mut b = DVector::zeros(2 * points.len());
        for (i, p) in points.iter().enumerate() {
            let w = p.weight / polynomial(&den, p.s).norm();
            let mut put = |c: usize, v: Complex64| (a[(2 * i, c)], a[(2 * i + 1, c)]) = (v.re, v.im);
            let mut power = Complex64::new(1.0, 0.0);
            for c in 0..=n.max(d) {
                if c <= n {
                    put(c, power * w);
                }
                if c >= 1 && c <= d {
                    put(n + c, -power * p.g * w);
                }
                power *= p.s;
            }
            let v = p.g * w;
            (b[2 * i], b[2 * i + 1]) = (v.re, v.im);
        }
        let x = least_squares(a, b)?;
        num.copy_from_slice(&x[..n + 1]);
        den.copy_from_slice(&x[n + 1..]);
    }
    Some((num, den))
}

fn polynomial(den: &[f64], s: Complex64) -> Complex64 {
    den.iter().rev().fold(Complex64::new(0.0, 0.0), |acc, c| (acc + c) * s) + 1.0
}

fn least_squares(mut a: DMatrix<f64>, mut b: DVector<f64>) -> Option<Vec<f64>> {
    let p = a.ncols();
    if a.nrows() < p || a.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let norms: Vec<f64> = (0..p).map(|c| a.column(c).norm()).collect();
    if norms.iter().any(|n| *n <= 0.0) {
        return None;
    }
    for (c, n) in norms.iter().enumerate() {
        a.column_mut(c).scale_mut(1.0 / n);
    }
    let qr = a.qr();
    qr.q_tr_mul(&mut b);
    let x = qr.r().solve_upper_triangular(&b.rows(0, p).into_owned())?;
    let x: Vec<f64> = x.iter().zip(&norms).map(|(v, n)| v / n).collect();
    x.iter().all(|v| v.is_finite()).then_some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rational_function_is_found_again() {
        let (p, b1, b2, z) = (0.3, 0.4, 1.2, 0.1);
        let points: Vec<Point> = (1..200)
            .map(|i| {
                let s = Complex64::new(0.0, 0.02 * f64::from(i));
                let g = 2.0 * (s * z + 1.0) / ((s * p + 1.0) * (s * s * b2 + s * b1 + 1.0));
                Point { s, g, weight: 1.0 }
            })
            .collect();
        let (num, den) = rational(&points, 1, 3, 6).unwrap();
        assert!((num[0] - 2.0).abs() < 1e-9 && (num[1] - 0.2).abs() < 1e-9, "{num:?}");
        // (1 + s p)(1 + b1 s + b2 s^2), multiplied out.
        for (got, want) in den.iter().zip([p + b1, p * b1 + b2, p * b2]) {
            assert!((got - want).abs() < 1e-6, "{den:?}");
        }
    }
}
