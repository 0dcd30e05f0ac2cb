//! What the residuals say about a fit, and its covariance with that counted in.

use nalgebra::DMatrix;
use num_complex::Complex64;

use super::attempt::Space;
use super::group::{Group, GroupProblem};
use super::kind::Rung;
use super::model::{self, Model, Param};
use super::raw::Polished;
use super::{Fitted, Known, bin_variance};
use crate::transfer::bins::Bins;

/// A smooth misfit above this (mean square, in units of the noise) counts.
const SMOOTH_MISFIT: f64 = 1.25;

/// A stated value that the fit leaves by more than so many of its standard uncertainties is contradicted.
pub(super) const CONTRADICTED: f64 = 4.0;

impl Fitted {
    /// A take that contradicts what the rig states leaves open which of them is right. `c`: the whole covariance.
    fn count_contradictions(&mut self, c: &DMatrix<f64>, space: &Space) {
        for p in space.priors.iter().filter(|p| p.known == Known::Stated) {
            let conflict = self.theta[p.index] - p.mean;
            if conflict.abs() > CONTRADICTED * p.sd {
                let follows = c.column(p.index) * (conflict / (p.sd * p.sd));
                self.stated += &follows * follows.transpose();
            }
        }
    }

    /// Whether the model misses the take by more than the scatter of its bins explains.
    pub(super) fn misses_smoothly(&self) -> bool {
        self.smooth_chi2 / self.excess() > SMOOTH_MISFIT
    }
}

/// A misfit that has one sign over octaves moves the parameters more than its scatter over thirds of an octave tells: how
/// far they move when only the lower or only the upper part of the band is fitted is added to the covariance. `whole`: the
/// parameters that the groups of the whole band ask for, which are what the parts are compared with.
pub(super) fn add_shift(fit: &mut Fitted, whole: &[f64], groups: &[Group], space: &Space) {
    let own = fit.own_count();
    let (f0, _) = model::f0_q(fit.model.f_ref, fit.theta[1], fit.theta[2]);
    // What is not the pickup's stays where the whole band put it; a part alone could not tell it.
    let held = space.held_from(own, whole);
    let shift = |part: Vec<Group>| {
        let problem = GroupProblem {
            groups: &part,
            model: &fit.model,
            priors: &space.priors,
        };
        let there = held.minimise(&problem, whole);
        let shift: Vec<f64> = (0..own).map(|i| there.theta[i] - whole[i]).collect();
        let size = (shift[1] / fit.theta[1]).abs() + (shift[2] / fit.theta[2]).abs();
        (size, shift)
    };
    let parts: [Vec<Group>; 2] = [
        groups.iter().copied().filter(|g| g.f < 1.6 * f0).collect(),
        groups.iter().copied().filter(|g| g.f > f0 / 1.6).collect(),
    ];
    let told = parts.into_iter().filter(|p| p.len() > 40).map(shift);
    // Of two that are as large the first.
    let worst = told
        .filter(|(size, _)| size.is_finite() && *size < 1.0)
        .reduce(|a, b| if b.0 > a.0 { b } else { a });
    if let Some((_, shift)) = worst {
        for a in 0..own {
            for b in 0..own {
                fit.misfit[(a, b)] += shift[a] * shift[b];
            }
        }
    }
}

/// Puts a fit together. Covariance from noise: what the data and the weak priors leave open; from stated tolerances: the rest.
pub(super) fn finish(
    bins: &Bins,
    (rung, model): (Rung, Model),
    polished: Polished,
    seen: Seen,
    space: &Space,
) -> Fitted {
    let Polished {
        theta,
        sums,
        inverse: c,
        ..
    } = polished;
    let stretch = bins.length / bins.energy;
    let own = sums.bins as f64 - 0.5 * theta.len() as f64;
    // What leaves the parameters open: the noise and the weak priors, else what the rig states or leaves unsaid.
    let nought = DMatrix::zeros(c.nrows(), c.ncols());
    let part = |known: Known| {
        let mut left = nought.clone();
        for p in space.priors.iter().filter(|p| p.known == known) {
            let follows = c.column(p.index) / p.sd;
            left += &follows * follows.transpose();
        }
        left
    };
    let (stated, unstated) = (part(Known::Stated), part(Known::Usual));
    let noise = (&c - &stated - &unstated) * seen.scatter.max(1.0);
    let on_bound = |(i, _): &(usize, &Param)| space.on_bound(&theta, *i);
    let mut fitted = Fitted {
        rung,
        noise,
        stated,
        unstated,
        misfit: nought.clone(),
        cost: sums.with_priors(&theta, &space.priors).2,
        data: 2.0 * sums.bins as f64 / stretch,
        reduced_chi2: 0.5 * sums.cost * stretch / own.max(1.0),
        smooth_chi2: seen.smooth_chi2,
        scatter: seen.scatter,
        bins: sums.bins,
        at_bound: model.params.iter().enumerate().filter(on_bound).map(|p| *p.1).collect(),
        residuals: seen.residuals,
        groups: Vec::new(),
        model,
        theta,
    };
    fitted.count_contradictions(&c, space);
    if fitted.misses_smoothly() {
        // A smooth misfit does not average down: what each third of an octave pulls counts as a whole.
        let mut meat = DMatrix::zeros(c.nrows(), c.ncols());
        for b in &sums.blocks {
            meat += b * b.transpose();
        }
        fitted.misfit += &c * meat * &c;
    }
    fitted
}

/// What the residuals say about a fit.
pub(super) struct Seen {
    /// Y - H X of all bins in the band, used or not; zero outside it.
    residuals: Vec<Complex64>,
    /// Scatter of the residuals about their group's smooth part, and the mean square of that smooth part itself, both in units of
    /// the noise expected. The first tells noise that was not in the silences, the second a misfit of the model, which shows here
    /// long before it shows among the raw bins.
    scatter: f64,
    smooth_chi2: f64,
}

impl Seen {
    pub(super) fn new(bins: &Bins, band: [f64; 2], groups: &[Group], (model, theta): (&Model, &[f64])) -> Self {
        let residuals = residuals(bins, band, model, theta);
        let stretch = bins.length / bins.energy;
        let (mut sum, mut count) = (0.0, 0usize);
        let (mut smooth, mut groups_seen) = (0.0, 0usize);
        for g in groups {
            let h = model.response(theta, g.f);
            let (mut xe, mut xx, mut ee, mut n) = (Complex64::new(0.0, 0.0), 0.0, 0.0, 0usize);
            for i in (g.start..g.stop).filter(|i| bins.used[*i]) {
                let w = 1.0 / bin_variance(bins, i, h);
                // The known pull of the reference's noise is no misfit.
                let pull = (h * bins.sxx[i] - bins.syx[i]) * bins.energy;
                xe += (bins.x[i].conj() * residuals[i] + pull) * w;
                xx += bins.x[i].norm_sqr() * w;
                ee += residuals[i].norm_sqr() * w;
                n += 1;
            }
            if n == 0 || xx <= 0.0 {
                continue;
            }
            // A bin alone shows the variance of windowed noise; drawn together along X, bins show what counts for the
            // parameters, as the window hides none of the answer.
            smooth += xe.norm_sqr() / xx * (1.0 + (stretch - 1.0) / n as f64);
            groups_seen += 1;
            if n >= 2 {
                sum += ee - xe.norm_sqr() / xx;
                count += n - 1;
            }
        }
        Seen {
            residuals,
            scatter: if count < 50 { 1.0 } else { sum / count as f64 * stretch },
            smooth_chi2: smooth / (groups_seen as f64 - 0.5 * theta.len() as f64).max(1.0),
        }
    }
}

fn residuals(bins: &Bins, band: [f64; 2], model: &Model, theta: &[f64]) -> Vec<Complex64> {
    let mut out = vec![Complex64::new(0.0, 0.0); bins.len()];
    let clock = model.get(theta, Param::Clock).unwrap_or(0.0);
    let at = model.at(theta);
    for i in bins.inside(band) {
        let mut x = bins.x[i];
        if let Some(xt) = &bins.x_clock {
            x += xt[i] * clock;
        }
        out[i] = bins.y[i] - at.response(bins.freq(i)) * x;
    }
    out
}
