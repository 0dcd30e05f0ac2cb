//! One model fitted: its parameter space, the search on groups, the last word on the raw bins.

use nalgebra::DVector;
use num_complex::Complex64;

use super::group::{Group, GroupProblem};
use super::model::{Model, Param};
use super::raw::Raw;
use super::solve::{self, Patience, Problem, Solution};
use super::{Fitted, Kind, Setup, cell, misfit, model};
use crate::transfer::bins::Bins;

/// Outer limits of the pickup's own parameters, relative to the reference frequency of the model.
const B1_RANGE: [f64; 2] = [2e-3, 1e3];
const B2_RANGE: [f64; 2] = [1e-5, 1e5];
const POLE_RANGE: [f64; 2] = [0.0, 50.0];
const ZERO_RANGE: [f64; 2] = [-50.0, 50.0];

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
    /// Stated by the rig, so that it counts as systematic; else it only keeps a weak direction in place.
    pub stated: bool,
}

/// How far the parameters may go, and what is known of them.
#[derive(Debug, Clone)]
pub struct Space {
    pub lower: Vec<f64>,
    pub upper: Vec<f64>,
    pub priors: Vec<Prior>,
}

impl Space {
    fn new(kind: Kind, setup: &Setup) -> Self {
        let range = |p: &Param| match p {
            Param::B1 => B1_RANGE,
            Param::B2 => B2_RANGE,
            Param::Pole => POLE_RANGE,
            Param::Zero => ZERO_RANGE,
            _ => [f64::NEG_INFINITY, f64::INFINITY],
        };
        let (own, nuisance) = (kind.params(), &setup.nuisance);
        let bounds = own.iter().map(range).chain(nuisance.iter().map(|n| [n.lower, n.upper]));
        let (lower, upper) = bounds.map(|[low, high]| (low, high)).unzip();
        let prior = |(i, n): (usize, &super::Nuisance)| {
            n.prior.map(|(mean, sd)| Prior {
                index: own.len() + i,
                mean,
                sd,
                stated: n.stated,
            })
        };
        Space {
            lower,
            upper,
            priors: nuisance.iter().enumerate().filter_map(prior).collect(),
        }
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
    kind: Kind,
    model: Model,
    space: Space,
}

impl<'a> Attempt<'a> {
    pub fn new(bins: &'a Bins, setup: &'a Setup, kind: Kind, f_ref: f64) -> Self {
        let mut params = kind.params().to_vec();
        params.extend(setup.nuisance.iter().map(|n| n.param));
        Attempt {
            bins,
            setup,
            kind,
            model: Model::new(f_ref, params, setup.fixed),
            space: Space::new(kind, setup),
        }
    }

    /// The best fit from any of the starts, which are the pickup's own parameters; `None` where none can be believed, or none
    /// costs less than `worth`.
    pub fn best(self, groups: Vec<Group>, starts: Vec<Vec<f64>>, nuisance: &[f64], worth: f64) -> Option<Fitted> {
        let space = self.on_groups(nuisance);
        let found = self.search(&groups, &space, starts, nuisance)?;
        if found.cost > worth {
            return None;
        }
        let polished = self.polish(&found.theta)?;
        let seen = misfit::Seen::new(self.bins, self.setup.band, &groups, (&self.model, &polished.theta));
        let mut fitted = misfit::finish(self.bins, (self.kind, self.model), polished, seen, &self.space);
        if fitted.misses_smoothly() {
            misfit::add_shift(&mut fitted, &found.theta, &groups, &space);
        }
        fitted.groups = groups;
        Some(fitted)
    }

    /// The space for the search. On groups the clock cannot be told (it turns the phase from bin to bin): it stays where it is
    /// until the raw bins.
    fn on_groups(&self, nuisance: &[f64]) -> Space {
        let mut space = self.space.clone();
        if let Some(c) = self.model.index(Param::Clock) {
            let mean = nuisance[c - self.kind.params().len()];
            (space.lower[c], space.upper[c]) = (mean, mean);
            space.priors.push(Prior {
                index: c,
                mean,
                sd: 1.0,
                stated: false,
            });
        }
        space
    }

    fn search(&self, groups: &[Group], space: &Space, starts: Vec<Vec<f64>>, nuisance: &[f64]) -> Option<Solution> {
        let problem = GroupProblem {
            groups,
            model: &self.model,
            priors: &space.priors,
        };
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

    /// The last word, on the raw bins.
    pub fn polish(&self, theta: &[f64]) -> Option<super::raw::Polished> {
        let (f0, q) = model::f0_q(self.model.f_ref, theta[1], theta[2]);
        let at = self.model.at(theta);
        let slope = |f: f64| -> Complex64 {
            let h = 1e-5 * f;
            (at.response(f + h) - at.response(f - h)) / (2.0 * h)
        };
        let cells = cell::cells(self.bins, self.setup.band, f0 / q, slope);
        let raw = Raw {
            cells: &cells,
            length: self.bins.length,
            model: &self.model,
            space: &self.space,
        };
        raw.polish(theta)
            .filter(|p| p.last_step.is_finite() && p.last_step < 1.0)
    }
}
