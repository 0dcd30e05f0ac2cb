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
    /// To see which of several starts leads on.
    pub const LOOK: Patience = Patience {
        iterations: 60,
        relative: 1e-4,
        absolute: 1e-2,
    };
    /// To a small part of a standard uncertainty: costs are in units of the noise.
    pub const STATISTICAL: Patience = Patience {
        iterations: 200,
        relative: 1e-12,
        absolute: 1e-4,
    };
}

pub fn minimise(problem: &dyn Problem, start: &[f64], lower: &[f64], upper: &[f64], patience: Patience) -> Solution {
    let (p, m) = (start.len(), problem.rows());
    let theta: Vec<f64> = (0..p).map(|i| start[i].clamp(lower[i], upper[i])).collect();
    let mut r = DVector::zeros(m);
    problem.residuals(&theta, &mut r);
    let mut descent = Descent {
        problem,
        bounds: (lower, upper),
        patience,
        cost: r.norm_squared(),
        theta,
        r,
        j: DMatrix::zeros(m, p),
        scale: vec![0.0; p],
        lambda: 1e-3,
    };
    let refused = |ending: Ending, descent: Descent| Solution {
        theta: descent.theta,
        cost: descent.cost,
        ending,
        inverse: None,
        at_bound: vec![false; p],
        idle: vec![false; p],
    };
    // Fewer residuals than parameters determine nothing.
    if m < p {
        return refused(Ending::Underdetermined, descent);
    }
    if !descent.cost.is_finite() {
        return refused(Ending::NotFinite, descent);
    }
    let ending = (0..patience.iterations).find_map(|_| descent.advance());
    descent.end(start, ending.unwrap_or(Ending::Unfinished))
}

/// Where the search stands.
struct Descent<'a> {
    problem: &'a dyn Problem,
    bounds: (&'a [f64], &'a [f64]),
    patience: Patience,
    theta: Vec<f64>,
    cost: f64,
    r: DVector<f64>,
    j: DMatrix<f64>,
    /// Largest norm of each column so far.
    scale: Vec<f64>,
    lambda: f64,
}

impl Descent<'_> {
    /// Derivatives, and the step that gains; tells an end.
    fn advance(&mut self) -> Option<Ending> {
        self.problem.jacobian(&self.theta, &mut self.j);
        if self.j.iter().any(|v| !v.is_finite()) {
            return Some(Ending::NotFinite);
        }
        for (c, s) in self.scale.iter_mut().enumerate() {
            *s = s.max(self.j.column(c).norm()).max(f64::MIN_POSITIVE);
        }
        // A parameter on its bound that wants out stays where it is for this step.
        let (theta, gradient) = (&self.theta, self.j.tr_mul(&self.r));
        let free = free(theta, &gradient, self.bounds);
        let free: Vec<usize> = (0..free.len()).filter(|c| free[*c]).collect();
        if free.is_empty() {
            return Some(Ending::Converged);
        }
        let scaled = |row: usize, c: usize| self.j[(row, free[c])] / self.scale[free[c]];
        let qr = DMatrix::from_fn(self.r.len(), free.len(), scaled).qr();
        let mut rhs = self.r.clone();
        qr.q_tr_mul(&mut rhs);
        let rhs = rhs.rows(0, free.len()).into_owned();
        self.step(&free, &qr.r(), &rhs)
    }

    /// Tries ever more damped steps until one gains; tells an end. `factor` and `rhs`: the triangle of the derivatives by
    /// the free parameters, and the residuals turned alike.
    fn step(&mut self, free: &[usize], factor: &DMatrix<f64>, rhs: &DVector<f64>) -> Option<Ending> {
        let mut trial = DVector::zeros(self.r.len());
        let mut growth = 2.0;
        loop {
            let Some(step) = damped_step(factor, rhs, self.lambda) else {
                return Some(Ending::Unfinished);
            };
            let mut next = self.theta.clone();
            for (i, &c) in free.iter().enumerate() {
                next[c] = (self.theta[c] - step[i] / self.scale[c]).clamp(self.bounds.0[c], self.bounds.1[c]);
            }
            // The step really taken, after the bounds had their say.
            let taken = |i: usize, _| (self.theta[free[i]] - next[free[i]]) * self.scale[free[i]];
            let linear = factor * &DVector::from_fn(free.len(), taken);
            let predicted = 2.0 * rhs.dot(&linear) - linear.norm_squared();
            self.problem.residuals(&next, &mut trial);
            let new_cost = trial.norm_squared();
            let gained = self.cost - new_cost;
            let still = |(t, n): (&f64, &f64)| (t - n).abs() <= 1e-13 * (t.abs() + 1e-300);
            let small_step = self.theta.iter().zip(&next).all(still);
            let small = self.patience.relative * self.cost + self.patience.absolute;
            if new_cost.is_finite() && gained > 0.0 {
                let ratio = if predicted > 0.0 { gained / predicted } else { 1.0 };
                self.theta = next;
                self.r = trial;
                self.cost = new_cost;
                self.lambda *= (1.0f64 - (2.0 * ratio - 1.0).powi(3)).max(1.0 / 3.0);
                self.lambda = self.lambda.max(1e-15);
                let tiny = gained <= small && predicted <= small;
                return (tiny || small_step).then_some(Ending::Converged);
            }
            // No gain: at the minimum within rounding, or the step was too bold.
            if small_step || predicted.abs() <= small || self.cost == 0.0 {
                return Some(Ending::Converged);
            }
            self.lambda *= growth;
            growth *= 2.0;
            if self.lambda > 1e20 {
                return Some(Ending::Unfinished);
            }
        }
    }

    fn end(mut self, start: &[f64], ending: Ending) -> Solution {
        self.problem.jacobian(&self.theta, &mut self.j);
        let (theta, (lower, upper)) = (self.theta, self.bounds);
        let finite = self.j.iter().all(|v| v.is_finite());
        let idle = |c: usize| {
            let norm = self.j.column(c).norm();
            let size = theta[c].abs().max(start[c].abs());
            norm <= IDLE * self.scale[c] && norm * size <= IDLE * self.cost.sqrt()
        };
        let p = theta.len();
        Solution {
            cost: self.cost,
            ending,
            inverse: if finite { inverse_normal(&self.j) } else { None },
            at_bound: (0..p).map(|c| theta[c] <= lower[c] || theta[c] >= upper[c]).collect(),
            idle: (0..p).map(idle).collect(),
            theta,
        }
    }
}

/// Which parameters may follow a gradient down: those that do not stand on a bound and want out.
pub fn free(theta: &[f64], gradient: &DVector<f64>, (lower, upper): (&[f64], &[f64])) -> Vec<bool> {
    let held = |c: usize| theta[c] <= lower[c] && gradient[c] > 0.0 || theta[c] >= upper[c] && gradient[c] < 0.0;
    (0..theta.len()).map(|c| !held(c)).collect()
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
