//! The last word: Gauss-Newton on the raw bins, and the covariance from them.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::NuisancePrior;
use super::cell::Cell;
use super::model::{MOST, Model, Param};

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

/// z = sqrt 2 (Y - H X) / sqrt v as real and imaginary part, v the variance of Y - H X, which H itself takes part in.
pub fn sums(cells: &[Cell], length: f64, model: &Model, theta: &[f64]) -> Sums {
    let p = theta.len();
    let mut normal = [[0.0f64; MOST]; MOST];
    let mut gradient = [0.0f64; MOST];
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
            d[c] = h * cell.x_clock / x;
        }
        let v = cell.variance(h, length);
        let scale = (2.0 / v).sqrt();
        let e = (cell.y - h * x) * scale;
        let rest = cell.rest * scale * scale;
        for c in 0..p {
            let mut jac = -x * d[c] * scale;
            if cell.sxx > 0.0 {
                let dv = 2.0 * (h.conj() * d[c]).re * cell.sxx - 2.0 * (d[c].conj() * cell.syx).re;
                let half = 0.5 * dv * length / v;
                jac -= e * half;
                // The part that does not follow X has its variance from H too.
                gradient[c] -= rest * half;
                block[c] -= rest * half;
            }
            z[c] = jac;
        }
        for a in 0..p {
            let g = z[a].re * e.re + z[a].im * e.im;
            gradient[a] += g;
            block[a] += g;
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
        gradient: DVector::from_column_slice(&gradient[..p]),
        cost,
        bins: count,
        blocks,
    }
}

/// Adds the priors to normal matrix and gradient.
pub fn with_priors(s: &Sums, theta: &[f64], priors: &[NuisancePrior]) -> (DMatrix<f64>, DVector<f64>, f64) {
    let (mut n, mut g, mut cost) = (s.normal.clone(), s.gradient.clone(), s.cost);
    for p in priors {
        let w = 1.0 / (p.sd * p.sd);
        n[(p.index, p.index)] += w;
        g[p.index] += (theta[p.index] - p.mean) * w;
        cost += (theta[p.index] - p.mean).powi(2) * w;
    }
    (n, g, cost)
}

/// Inverse of a normal matrix over the free parameters (zero rows and columns for the others); `None` when singular.
pub fn invert(n: &DMatrix<f64>, free: &[bool]) -> Option<DMatrix<f64>> {
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

/// Gauss-Newton step under bounds: a parameter that would leave its box goes to the wall, and the others follow it there.
fn bounded_step(
    n: &DMatrix<f64>,
    g: &DVector<f64>,
    theta: &[f64],
    lower: &[f64],
    upper: &[f64],
    mut free: Vec<bool>,
) -> Option<DVector<f64>> {
    let p = theta.len();
    let mut fixed = DVector::zeros(p);
    loop {
        let inverse = invert(n, &free)?;
        let step = &inverse * (g - n * &fixed) + &fixed;
        let out = (0..p).find(|&c| {
            let next = theta[c] - step[c];
            free[c] && (next < lower[c] || next > upper[c])
        });
        let Some(c) = out else { return Some(step) };
        fixed[c] = theta[c] - (theta[c] - step[c]).clamp(lower[c], upper[c]);
        free[c] = false;
    }
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
    pub free: Vec<bool>,
    /// Last step in units of its uncertainty, the largest over the parameters.
    pub last_step: f64,
}

const MOST_STEPS: usize = 30;
/// A step this small against its uncertainty changes nothing that is shown.
const SMALL_STEP: f64 = 0.01;

/// Gauss-Newton with step halving from a start that is already close.
pub fn polish(
    cells: &[Cell],
    length: f64,
    model: &Model,
    start: &[f64],
    lower: &[f64],
    upper: &[f64],
    priors: &[NuisancePrior],
) -> Option<Polished> {
    let p = start.len();
    let mut theta = start.to_vec();
    let mut now = sums(cells, length, model, &theta);
    let mut last_step = f64::INFINITY;
    for _ in 0..MOST_STEPS {
        let (n, g, cost) = with_priors(&now, &theta, priors);
        if !cost.is_finite() {
            return None;
        }
        let free: Vec<bool> = (0..p)
            .map(|c| !(theta[c] <= lower[c] && g[c] > 0.0 || theta[c] >= upper[c] && g[c] < 0.0))
            .collect();
        let inverse = invert(&n, &free)?;
        let step = bounded_step(&n, &g, &theta, lower, upper, free.clone())?;
        let mut taken = 1.0;
        let mut done = None;
        for _ in 0..8 {
            let next: Vec<f64> = (0..p)
                .map(|c| (theta[c] - taken * step[c]).clamp(lower[c], upper[c]))
                .collect();
            let size = (0..p)
                .filter(|c| free[*c])
                .map(|c| (next[c] - theta[c]).abs() / inverse[(c, c)].sqrt())
                .fold(0.0f64, |m, v| if v.is_nan() { f64::NAN } else { m.max(v) });
            if size < SMALL_STEP {
                done = Some((next, None, size));
                break;
            }
            let s = sums(cells, length, model, &next);
            let (_, _, c) = with_priors(&s, &next, priors);
            // Uphill by less than the noise of the cost itself is not uphill.
            if c <= cost + 1e-9 * cost.abs() {
                done = Some((next, Some(s), size));
                break;
            }
            taken *= 0.5;
        }
        let (next, sums_there, size) = done?;
        last_step = size;
        theta = next;
        match sums_there {
            Some(s) => now = s,
            None => {
                return Some(Polished {
                    theta,
                    sums: now,
                    inverse: covariance(&n, &free)?,
                    free,
                    last_step,
                });
            }
        }
    }
    let (n, g, _) = with_priors(&now, &theta, priors);
    let free: Vec<bool> = (0..p)
        .map(|c| !(theta[c] <= lower[c] && g[c] > 0.0 || theta[c] >= upper[c] && g[c] < 0.0))
        .collect();
    let inverse = covariance(&n, &free)?;
    Some(Polished {
        theta,
        sums: now,
        inverse,
        free,
        last_step,
    })
}
