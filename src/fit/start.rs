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

/// Fits g/(1 + b1 s + b2 s^2); returns g, b1 and b2. Each round weighs by the denominator of the round before.
pub fn second_order(points: &[Point], rounds: usize) -> Option<[f64; 3]> {
    let mut found = [0.0; 3];
    for _ in 0..rounds {
        let mut a = DMatrix::zeros(2 * points.len(), 3);
        let mut b = DVector::zeros(2 * points.len());
        for (i, p) in points.iter().enumerate() {
            let w = p.weight / (((found[2] * p.s) + found[1]) * p.s + 1.0).norm();
            let row = [Complex64::new(1.0, 0.0) * w, -p.s * p.g * w, -(p.s * p.s) * p.g * w];
            for (c, v) in row.into_iter().enumerate() {
                (a[(2 * i, c)], a[(2 * i + 1, c)]) = (v.re, v.im);
            }
            let v = p.g * w;
            (b[2 * i], b[2 * i + 1]) = (v.re, v.im);
        }
        found.copy_from_slice(&least_squares(a, b)?);
    }
    Some(found)
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
    fn a_response_is_found_again() {
        let points: Vec<Point> = (1..200)
            .map(|i| {
                let s = Complex64::new(0.0, 0.02 * f64::from(i));
                let g = 2.0 / (s * s * 1.2 + s * 0.4 + 1.0);
                Point { s, g, weight: 1.0 }
            })
            .collect();
        let found = second_order(&points, 6).unwrap();
        for (got, want) in found.iter().zip([2.0, 0.4, 1.2]) {
            assert!((got - want).abs() < 1e-9, "{found:?}");
        }
    }
}
