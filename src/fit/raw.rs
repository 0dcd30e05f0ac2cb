//! The last word: Gauss-Newton on the raw bins, and the covariance from them.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::attempt::{Prior, Space};
use super::cell::Cell;
use super::model::{MOST, Model, Param};
use super::solve;

/// Sums over all used bins at one point of the parameter space.
pub struct Sums {
    /// Normal matrix and gradient of the data alone.
    pub normal: DMatrix<f64>,
    pub gradient: DVector<f64>,
    /// Sum of squared residuals of the data, as it counts for the uncertainty.
    pub cost: f64,
    pub bins: usize,
    /// Gradient block by block over thirds of an octave.
    pub blocks: Vec<DVector<f64>>,
}

/// The raw bins, drawn together without loss, and the model that is to follow them.
pub struct Raw<'a> {
    pub cells: &'a [Cell],
    /// Of the transform.
    pub length: f64,
    pub model: &'a Model,
    pub space: &'a Space,
}

impl Raw<'_> {
    /// z = sqrt 2 (Y - H X) / sqrt v as real and imaginary part, v the variance of Y - H X, which H itself takes part in.
    fn sums(&self, theta: &[f64]) -> Sums {
        let (cells, length, model) = (self.cells, self.length, self.model);
        let p = theta.len();
        let mut normal = [[0.0f64; MOST]; MOST];
        let mut block = [0.0f64; MOST];
        let mut blocks = Vec::new();
        let mut cost = 0.0;
        let mut count = 0;
        let mut d = [Complex64::new(0.0, 0.0); MOST];
        let mut z = [Complex64::new(0.0, 0.0); MOST];
        let clock = model.index(Param::Clock);
        let third = 2f64.powf(1.0 / 3.0);
        let mut next_block = cells.first().map_or(1.0, |c| c.f) * third;
        let at = model.at(theta);
        for cell in cells {
            while cell.f > next_block {
                blocks.push(DVector::from_column_slice(&block[..p]));
                block = [0.0; MOST];
                next_block *= third;
            }
            let h = at.eval(cell.f, &mut d);
            let mut x = cell.x;
            if let Some(c) = clock {
                x += cell.x_clock * theta[c];
            }
            let v = cell.variance(h, length);
            let scale = (2.0 / v).sqrt();
            let e = (cell.y - h * x) * scale;
            let rest = cell.rest * scale * scale;
            for c in 0..p {
                let moves = if Some(c) == clock { h * cell.x_clock } else { x * d[c] };
                let mut jac = -moves * scale;
                if cell.sxx > 0.0 {
                    let dv = 2.0 * (h.conj() * d[c]).re * cell.sxx - 2.0 * (d[c].conj() * cell.syx).re;
                    let half = 0.5 * dv * length / v;
                    jac -= e * half;
                    // The part that does not follow X has its variance from H too.
                    block[c] -= rest * half;
                }
                z[c] = jac;
            }
            for a in 0..p {
                block[a] += z[a].re * e.re + z[a].im * e.im;
                for b in a..p {
                    normal[a][b] += z[a].re * z[b].re + z[a].im * z[b].im;
                }
            }
            cost += e.norm_sqr() + rest;
            count += cell.bins as usize;
        }
        blocks.push(DVector::from_column_slice(&block[..p]));
        Sums {
            normal: DMatrix::from_fn(p, p, |a, b| if a <= b { normal[a][b] } else { normal[b][a] }),
            gradient: blocks.iter().fold(DVector::zeros(p), |sum, block| sum + block),
            cost,
            bins: count,
            blocks,
        }
    }

    /// Gauss-Newton from a start that is already close, damped where a step leads uphill. The end is told by the step's length in
    /// units of the uncertainty of all parameters together: those that a take does not tell apart may slide along each other.
    pub fn polish(&self, start: &[f64]) -> Option<Polished> {
        let mut theta = start.to_vec();
        let mut sums = self.sums(&theta);
        let mut last_step = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let (normal, gradient, cost) = sums.with_priors(&theta, &self.space.priors);
            if !cost.is_finite() {
                return None;
            }
            let free = self.free(&theta, &gradient);
            let step = self.step(&theta, &normal, &gradient, &free)?;
            // Where the take does not follow the model the parameters are as much less sure.
            let excess = (0.5 * sums.cost / sums.bins.max(1) as f64).max(1.0);
            last_step = (step.dot(&(&normal * &step)).max(0.0) / excess).sqrt();
            if last_step < SMALL_STEP {
                theta = self.moved(&theta, &step);
                break;
            }
            match self.downhill(&theta, (&normal, &gradient, cost), &free) {
                Some(next) => (theta, sums) = next,
                None => break,
            }
        }
        let (normal, gradient, _) = sums.with_priors(&theta, &self.space.priors);
        let inverse = covariance(&normal, &self.free(&theta, &gradient))?;
        Some(Polished {
            theta,
            sums,
            inverse,
            last_step,
        })
    }

    /// What the bins say at an end that was found otherwise.
    pub fn at(&self, theta: &[f64], inverse: DMatrix<f64>) -> Polished {
        Polished {
            sums: self.sums(theta),
            theta: theta.to_vec(),
            inverse,
            last_step: 0.0,
        }
    }

    fn free(&self, theta: &[f64], gradient: &DVector<f64>) -> Vec<bool> {
        solve::free(theta, gradient, (&self.space.lower, &self.space.upper))
    }

    /// Gauss-Newton step under bounds: a parameter that would leave its box goes to the wall, and the others follow it there.
    fn step(
        &self,
        theta: &[f64],
        normal: &DMatrix<f64>,
        gradient: &DVector<f64>,
        free: &[bool],
    ) -> Option<DVector<f64>> {
        let p = theta.len();
        let mut free_now = free.to_vec();
        let mut fixed = DVector::zeros(p);
        loop {
            let by = invert(normal, &free_now)? * (gradient - normal * &fixed) + &fixed;
            let leaves = |c: &usize| {
                let next = theta[*c] - by[*c];
                free_now[*c] && (next < self.space.lower[*c] || next > self.space.upper[*c])
            };
            let Some(c) = (0..p).find(leaves) else {
                return Some(by);
            };
            fixed[c] = theta[c] - self.space.clamp(c, theta[c] - by[c]);
            free_now[c] = false;
        }
    }

    fn moved(&self, theta: &[f64], step: &DVector<f64>) -> Vec<f64> {
        (0..theta.len())
            .map(|c| self.space.clamp(c, theta[c] - step[c]))
            .collect()
    }

    /// The first of ever more damped steps that does not lead uphill.
    fn downhill(
        &self,
        theta: &[f64],
        (normal, gradient, cost): (&DMatrix<f64>, &DVector<f64>, f64),
        free: &[bool],
    ) -> Option<(Vec<f64>, Sums)> {
        for damping in [0.0, 1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 0.1, 1.0, 10.0] {
            let mut damped = normal.clone();
            for i in 0..theta.len() {
                damped[(i, i)] *= 1.0 + damping;
            }
            let next = self.moved(theta, &self.step(theta, &damped, gradient, free)?);
            let sums = self.sums(&next);
            // Uphill by less than the noise of the cost itself is not uphill.
            if sums.with_priors(&next, &self.space.priors).2 <= cost + 1e-9 * cost.abs() {
                return Some((next, sums));
            }
        }
        None
    }
}

impl Sums {
    /// Normal matrix, gradient and cost, the priors added.
    pub fn with_priors(&self, theta: &[f64], priors: &[Prior]) -> (DMatrix<f64>, DVector<f64>, f64) {
        let (mut n, mut g, mut cost) = (self.normal.clone(), self.gradient.clone(), self.cost);
        for p in priors {
            let w = 1.0 / (p.sd * p.sd);
            n[(p.index, p.index)] += w;
            g[p.index] += (theta[p.index] - p.mean) * w;
            cost += (theta[p.index] - p.mean).powi(2) * w;
        }
        (n, g, cost)
    }
}

/// Inverse of a normal matrix over the free parameters (zero rows and columns for the others); `None` when singular.
fn invert(n: &DMatrix<f64>, free: &[bool]) -> Option<DMatrix<f64>> {
    let keep: Vec<usize> = (0..n.ncols()).filter(|i| free[*i]).collect();
    let scale: Vec<f64> = keep.iter().map(|i| n[(*i, *i)].sqrt()).collect();
    if scale.iter().any(|s| !(s.is_finite() && *s > 0.0)) {
        return None;
    }
    let m = DMatrix::from_fn(keep.len(), keep.len(), |a, b| {
        n[(keep[a], keep[b])] / (scale[a] * scale[b])
    });
    let chol = m.cholesky()?;
    let inv = chol.inverse();
    let mut out = DMatrix::zeros(n.nrows(), n.ncols());
    for (a, i) in keep.iter().enumerate() {
        for (b, j) in keep.iter().enumerate() {
            out[(*i, *j)] = inv[(a, b)] / (scale[a] * scale[b]);
        }
    }
    out.iter().all(|v| v.is_finite()).then_some(out)
}

/// Covariance at the end: with every parameter free, those on their bounds too. A bound that was hit is a fact about this
/// take's noise, not knowledge; only where the matrix is singular so are they held.
fn covariance(n: &DMatrix<f64>, free: &[bool]) -> Option<DMatrix<f64>> {
    invert(n, &vec![true; free.len()]).or_else(|| invert(n, free))
}

/// Where the polishing ended.
pub struct Polished {
    pub theta: Vec<f64>,
    pub sums: Sums,
    pub inverse: DMatrix<f64>,
    /// Last step in units of the uncertainty of all parameters together.
    pub last_step: f64,
}

const MOST_STEPS: usize = 60;
/// A step this small against its uncertainty changes nothing that is shown.
const SMALL_STEP: f64 = 0.01;
