//! One model fitted: its parameter space, the search on groups, the last word on the raw bins.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::group::{Group, GroupProblem};
use super::kind::{self, Kind, Rung};
use super::model::{Model, Param};
use super::raw::Raw;
use super::solve::{self, Patience, Problem, Solution};
use super::{Fitted, Known, Setup, cell, misfit, model};
use crate::transfer::bins::Bins;

/// A minimum whose mean square is below this, in units of the noise, is the one looked for: no other can be lower by much.
const ENOUGH: f64 = 1.5;
/// The likeliest few starts only: the search costs most of a fit.
const MOST_STARTS: usize = 3;

/// A Gaussian prior on a parameter of a fit.
#[derive(Debug, Clone, Copy)]
pub struct Prior {
    pub index: usize,
    pub mean: f64,
    pub sd: f64,
    pub known: Known,
}

/// How far the parameters may go, and what is known of them.
#[derive(Debug, Clone)]
pub struct Space {
    pub lower: Vec<f64>,
    pub upper: Vec<f64>,
    pub priors: Vec<Prior>,
}

impl Space {
    fn new(kind: Kind, f_ref: f64, setup: &Setup) -> Self {
        let own = kind.params().into_iter().map(|p| {
            let (lower, upper, weak) = kind::range(p, f_ref);
            (lower, upper, weak, Known::Weakly)
        });
        let about = setup.nuisance.iter().map(|n| (n.lower, n.upper, n.prior, n.known));
        let (mut lower, mut upper, mut priors) = (Vec::new(), Vec::new(), Vec::new());
        for (index, (low, high, prior, known)) in own.chain(about).enumerate() {
            lower.push(low);
            upper.push(high);
            priors.extend(prior.map(|(mean, sd)| Prior { index, mean, sd, known }));
        }
        Space { lower, upper, priors }
    }

    /// With parameters held from one on.
    pub fn held_from(&self, first: usize, theta: &[f64]) -> Self {
        let mut held = self.clone();
        held.lower[first..].copy_from_slice(&theta[first..]);
        held.upper[first..].copy_from_slice(&theta[first..]);
        held
    }

    pub fn clamp(&self, i: usize, value: f64) -> f64 {
        value.clamp(self.lower[i], self.upper[i])
    }

    pub fn on_bound(&self, theta: &[f64], i: usize) -> bool {
        theta[i] <= self.lower[i] || theta[i] >= self.upper[i]
    }

    pub fn minimise(&self, problem: &GroupProblem, start: &[f64]) -> Solution {
        solve::minimise(problem, start, &self.lower, &self.upper, Patience::STATISTICAL)
    }
}

/// A model with its parameter space, to be fitted to bins.
pub struct Attempt<'a> {
    bins: &'a Bins,
    setup: &'a Setup,
    rung: Rung,
    model: Model,
    space: Space,
}

impl<'a> Attempt<'a> {
    /// `setup`: as the rung needs it.
    pub fn new(bins: &'a Bins, setup: &'a Setup, rung: Rung, f_ref: f64) -> Self {
        let mut params = rung.kind.params();
        params.extend(setup.nuisance.iter().map(|n| n.param));
        Attempt {
            bins,
            setup,
            rung,
            model: Model::new(f_ref, params, setup.fixed),
            space: Space::new(rung.kind, f_ref, setup),
        }
    }

    /// The best fit from any of the starts, which are the pickup's own parameters; `None` where none can be believed.
    pub fn best(self, groups: Vec<Group>, starts: Vec<Vec<f64>>, nuisance: &[f64]) -> Option<Fitted> {
        let space = self.on_groups(nuisance);
        let (found, polished) = match self.rung.kind.is_plain() || self.model.index(Param::Clock).is_some() {
            true => {
                let found = self.search(&groups, &space, starts, nuisance)?;
                let polished = self.polish(&found.theta)?;
                (found, polished)
            }
            false => self.along(&groups, &space, starts, nuisance)?,
        };
        let seen = misfit::Seen::new(self.bins, self.setup.band, &groups, (&self.model, &polished.theta));
        let mut fitted = misfit::finish(self.bins, (self.rung, self.model), polished, seen, &self.space);
        // The parameters of metal slide along each other: how far they move tells nothing, the next richer model does.
        if fitted.misses_smoothly() && self.rung.kind.is_plain() {
            misfit::add_shift(&mut fitted, &found.theta, &groups, &space);
        }
        fitted.groups = groups;
        Some(fitted)
    }

    /// The space for the search. On groups the clock cannot be told (it turns the phase from bin to bin): it stays where it is
    /// until the raw bins.
    pub(super) fn on_groups(&self, nuisance: &[f64]) -> Space {
        let mut space = self.space.clone();
        if let Some(c) = self.model.index(Param::Clock) {
            let mean = nuisance[c - self.rung.kind.params().len()];
            (space.lower[c], space.upper[c]) = (mean, mean);
            space.priors.push(Prior {
                index: c,
                mean,
                sd: 1.0,
                known: Known::Weakly,
            });
        }
        space
    }

    /// The groups as a least-squares problem.
    fn problem<'g>(&'g self, groups: &'g [Group], space: &'g Space) -> GroupProblem<'g> {
        GroupProblem {
            groups,
            model: &self.model,
            priors: &space.priors,
        }
    }

    /// Of the parameters at a place, by groups, everything known counted in; `None` where the groups do not tell them.
    pub(super) fn covariance(&self, groups: &[Group], theta: &[f64]) -> Option<DMatrix<f64>> {
        let problem = self.problem(groups, &self.space);
        let mut j = DMatrix::zeros(problem.rows(), theta.len());
        problem.jacobian(theta, &mut j);
        solve::inverse_normal(&j)
    }

    pub(super) fn model(&self) -> &Model {
        &self.model
    }

    /// The parameters at the lowest minimum that a quick look from some starts finds; the first at which the cost is `enough` a
    /// residual.
    pub(super) fn look(
        &self,
        groups: &[Group],
        starts: Vec<Vec<f64>>,
        nuisance: &[f64],
        enough: f64,
    ) -> Option<Vec<f64>> {
        let space = self.on_groups(nuisance);
        let problem = self.problem(groups, &space);
        let mut best: Option<Solution> = None;
        for own in starts {
            let start: Vec<f64> = own.iter().chain(nuisance).copied().collect();
            let found = solve::minimise(&problem, &start, &space.lower, &space.upper, Patience::LOOK);
            if found.cost.is_finite() && best.as_ref().is_none_or(|b| found.cost < b.cost) {
                best = Some(found);
            }
            if best.as_ref().is_some_and(|b| b.cost < enough * problem.rows() as f64) {
                break;
            }
        }
        best.map(|b| b.theta)
    }

    fn search(&self, groups: &[Group], space: &Space, starts: Vec<Vec<f64>>, nuisance: &[f64]) -> Option<Solution> {
        let problem = self.problem(groups, space);
        // Fewer groups than this cannot tell so many parameters.
        if 2 * groups.len() < space.lower.len() + 8 {
            return None;
        }
        let ranked = |own: Vec<f64>| {
            let theta = own.iter().chain(nuisance).enumerate();
            let theta: Vec<f64> = theta.map(|(i, v)| space.clamp(i, *v)).collect();
            let mut r = DVector::zeros(problem.rows());
            problem.residuals(&theta, &mut r);
            (r.norm_squared(), theta)
        };
        let mut ranked: Vec<(f64, Vec<f64>)> = starts.into_iter().map(ranked).filter(|(c, _)| c.is_finite()).collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
        let enough = ENOUGH * problem.rows() as f64;
        let mut best: Option<Solution> = None;
        for (_, start) in ranked.iter().take(MOST_STARTS) {
            let found = space.minimise(&problem, start);
            if found.believable() && best.as_ref().is_none_or(|b| found.cost < b.cost) {
                best = Some(found);
            }
            if best.as_ref().is_some_and(|b| b.cost < enough) {
                break;
            }
        }
        best
    }

    /// The last word where parameters slide along each other: by QR, on groups drawn together along the model, which then lose
    /// nothing. On the raw bins the square of so bad a condition would be in the way.
    fn along(
        &self,
        groups: &[Group],
        space: &Space,
        starts: Vec<Vec<f64>>,
        nuisance: &[f64],
    ) -> Option<(Solution, super::raw::Polished)> {
        let start: Vec<f64> = starts.first()?.iter().chain(nuisance).copied().collect();
        let groups = super::group::along(self.bins, groups, &self.model.at(&start));
        let problem = self.problem(&groups, space);
        let found = space.minimise(&problem, &start);
        let inverse = found.inverse.clone()?;
        let cells = self.cells(&found.theta);
        let polished = self.raw(&cells).at(&found.theta, inverse);
        polished.sums.cost.is_finite().then_some((found, polished))
    }

    /// The last word, on the raw bins.
    pub fn polish(&self, theta: &[f64]) -> Option<super::raw::Polished> {
        let cells = self.cells(theta);
        let polished = self.raw(&cells).polish(theta);
        polished.filter(|p| p.last_step.is_finite() && p.last_step < 1.0)
    }

    fn cells(&self, theta: &[f64]) -> Vec<cell::Cell> {
        let (f0, q) = model::f0_q(self.model.f_ref, theta[1], theta[2]);
        let at = self.model.at(theta);
        let slope = |f: f64| -> Complex64 {
            let h = 1e-5 * f;
            (at.response(f + h) - at.response(f - h)) / (2.0 * h)
        };
        cell::cells(self.bins, self.setup.band, f0 / q, slope)
    }

    fn raw<'c>(&'c self, cells: &'c [cell::Cell]) -> Raw<'c> {
        Raw {
            cells,
            length: self.bins.length,
            model: &self.model,
            space: &self.space,
        }
    }
}
