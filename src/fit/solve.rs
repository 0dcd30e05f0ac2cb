//! Levenberg-Marquardt least squares inside a box, by QR.
//!
//! Written here because the fit needs bounds on nuisance parameters and the triangular factor itself (rank, covariance),
//! and must tell convergence from mere stopping. Damping after Nielsen (IMM-REP-1999-05), scaling by the largest column
//! norms seen after More (Lecture Notes in Mathematics 630, 1978).

use nalgebra::{DMatrix, DVector};

/// A least-squares problem: minimise the sum of squared residuals.
pub trait Problem {
    /// Number of residuals.
    fn rows(&self) -> usize;
    fn residuals(&self, theta: &[f64], out: &mut DVector<f64>);
    /// Derivatives of the residuals, one column per parameter.
    fn jacobian(&self, theta: &[f64], out: &mut DMatrix<f64>);
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Neither the cost nor the parameters can be improved any more.
    Converged,
    /// The iterations ran out.
    Unfinished,
    /// Residuals or derivatives are not finite at the start.
    NotFinite,
    /// There are fewer residuals than parameters.
    Underdetermined,
}

#[derive(Debug, Clone)]
pub struct Solution {
    pub theta: Vec<f64>,
    /// Sum of squared residuals.
    pub cost: f64,
    pub ending: Ending,
    pub iterations: usize,
    /// Inverse of the normal matrix at the solution (unscaled covariance); `None` where the rank is short.
    pub inverse: Option<DMatrix<f64>>,
    /// Parameters that ended on a bound.
    pub at_bound: Vec<bool>,
    /// Parameters that ran off to where the residuals do not depend on them: there every step looks converged.
    pub idle: Vec<bool>,
}

impl Solution {
    /// Whether this end is an answer: converged, of full rank, and no parameter where nothing depends on it any more. What an
    /// end on a bound means is for the caller to say, who knows whose bound it is.
    pub fn believable(&self) -> bool {
        self.ending == Ending::Converged && self.inverse.is_some() && !self.idle.contains(&true)
    }
}

/// A parameter is idle where its column has shrunk to this part of the largest seen on the way, and where a change by its
/// whole size would move the residuals by no more than this part of them. Either alone is met on honest ways: the first
/// from a far start, the second by a parameter whose value is nought.
const IDLE: f64 = 1e-6;

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub struct Patience {
    pub iterations: usize,
    /// A gain in cost below this (relative to it, plus the absolute one) is none.
    pub relative: f64,
    pub absolute: f64,
}

impl Patience {
    /// To the last digit.
    pub const EXACT: Patience = Patience {
        iterations: 500,
        relative: 1e-14,
        absolute: 0.0,
    };
    /// To a small part of a standard uncertainty: costs are in units of the noise.
    pub const STATISTICAL: Patience = Patience {
        iterations: 200,
        relative: 1e-12,
        absolute: 1e-4,
    };
}

pub fn minimise(problem: &dyn Problem, start: &[f64], lower: &[f64], upper: &[f64], patience: Patience) -> Solution {
    let p = start.len();
    let m = problem.rows();
    let mut theta: Vec<f64> = (0..p).map(|i| start[i].clamp(lower[i], upper[i])).collect();
    let mut r = DVector::zeros(m);
    let mut trial = DVector::zeros(m);
    let mut j = DMatrix::zeros(m, p);
    problem.residuals(&theta, &mut r);
    let mut cost = r.norm_squared();
    let mut scale = vec![0.0f64; p];
    let mut lambda = 1e-3;
    let mut growth = 2.0;
    let mut ending = Ending::Unfinished;
    let mut iterations = 0;
    // Fewer residuals than parameters determine nothing.
    if !cost.is_finite() || m < p {
        let ending = if m < p {
            Ending::Underdetermined
        } else {
            Ending::NotFinite
        };
        return Solution {
            theta,
            cost,
            ending,
            iterations,
            inverse: None,
            at_bound: vec![false; p],
            idle: vec![false; p],
        };
    }
    'outer: while iterations < patience.iterations {
        iterations += 1;
        problem.jacobian(&theta, &mut j);
        if j.iter().any(|v| !v.is_finite()) {
            ending = Ending::NotFinite;
            break;
        }
        for (c, s) in scale.iter_mut().enumerate() {
            *s = s.max(j.column(c).norm()).max(f64::MIN_POSITIVE);
        }
        // A parameter on its bound that wants out stays where it is for this step.
        let gradient = j.tr_mul(&r);
        let free: Vec<usize> = (0..p)
            .filter(|&c| !(theta[c] <= lower[c] && gradient[c] > 0.0 || theta[c] >= upper[c] && gradient[c] < 0.0))
            .collect();
        if free.is_empty() {
            ending = Ending::Converged;
            break;
        }
        let scaled = DMatrix::from_fn(m, free.len(), |row, c| j[(row, free[c])] / scale[free[c]]);
        let qr = scaled.qr();
        let factor = qr.r();
        let mut rhs = r.clone();
        qr.q_tr_mul(&mut rhs);
        let rhs = rhs.rows(0, free.len()).into_owned();
        loop {
            let Some(step) = damped_step(&factor, &rhs, lambda) else {
                ending = Ending::Unfinished;
                break 'outer;
            };
            let mut next = theta.clone();
            for (i, &c) in free.iter().enumerate() {
                next[c] = (theta[c] - step[i] / scale[c]).clamp(lower[c], upper[c]);
            }
            // The step really taken, after the bounds had their say.
            let taken = DVector::from_fn(free.len(), |i, _| (theta[free[i]] - next[free[i]]) * scale[free[i]]);
            let linear = &factor * &taken;
            let predicted = 2.0 * rhs.dot(&linear) - linear.norm_squared();
            problem.residuals(&next, &mut trial);
            let new_cost = trial.norm_squared();
            let gained = cost - new_cost;
            let small_step = (0..p).all(|c| (theta[c] - next[c]).abs() <= 1e-13 * (theta[c].abs() + 1e-300));
            if new_cost.is_finite() && gained > 0.0 {
                let ratio = if predicted > 0.0 { gained / predicted } else { 1.0 };
                let small = patience.relative * cost + patience.absolute;
                let tiny = gained <= small && predicted <= small;
                theta = next;
                std::mem::swap(&mut r, &mut trial);
                cost = new_cost;
                lambda *= (1.0f64 - (2.0 * ratio - 1.0).powi(3)).max(1.0 / 3.0);
                lambda = lambda.max(1e-15);
                growth = 2.0;
                if tiny || small_step {
                    ending = Ending::Converged;
                    break 'outer;
                }
                break;
            }
            // No gain: at the minimum within rounding, or the step was too bold.
            if small_step || predicted.abs() <= patience.relative * cost + patience.absolute || cost == 0.0 {
                ending = Ending::Converged;
                break 'outer;
            }
            lambda *= growth;
            growth *= 2.0;
            if lambda > 1e20 {
                break 'outer;
            }
        }
    }
    problem.jacobian(&theta, &mut j);
    let inverse = if j.iter().all(|v| v.is_finite()) {
        inverse_normal(&j)
    } else {
        None
    };
    let at_bound = (0..p).map(|c| theta[c] <= lower[c] || theta[c] >= upper[c]).collect();
    let idle = (0..p)
        .map(|c| {
            let norm = j.column(c).norm();
            let size = theta[c].abs().max(start[c].abs());
            norm <= IDLE * scale[c] && norm * size <= IDLE * cost.sqrt()
        })
        .collect();
    Solution {
        theta,
        cost,
        ending,
        iterations,
        inverse,
        at_bound,
        idle,
    }
}

/// Solves (R'R + lambda I) step = R' rhs by QR of R stacked on sqrt(lambda) I.
fn damped_step(factor: &DMatrix<f64>, rhs: &DVector<f64>, lambda: f64) -> Option<DVector<f64>> {
    let p = factor.ncols();
    let mut a = DMatrix::zeros(2 * p, p);
    a.view_mut((0, 0), (p, p)).copy_from(factor);
    for i in 0..p {
        a[(p + i, i)] = lambda.sqrt();
    }
    let mut b = DVector::zeros(2 * p);
    b.rows_mut(0, p).copy_from(rhs);
    let qr = a.qr();
    qr.q_tr_mul(&mut b);
    qr.r().solve_upper_triangular(&b.rows(0, p).into_owned())
}

/// (J'J)^-1 by QR with scaled columns; `None` where a column is (numerically) a combination of others.
pub fn inverse_normal(j: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let p = j.ncols();
    let norms: Vec<f64> = (0..p).map(|c| j.column(c).norm()).collect();
    if norms.iter().any(|n| *n == 0.0 || !n.is_finite()) {
        return None;
    }
    let scaled = DMatrix::from_fn(j.nrows(), p, |r, c| j[(r, c)] / norms[c]);
    let factor = scaled.qr().r();
    if (0..p).any(|i| factor[(i, i)].abs() < 1e-12) {
        return None;
    }
    let inv = factor.solve_upper_triangular(&DMatrix::identity(p, p))?;
    let c = &inv * inv.transpose();
    Some(DMatrix::from_fn(p, p, |a, b| c[(a, b)] / (norms[a] * norms[b])))
}
