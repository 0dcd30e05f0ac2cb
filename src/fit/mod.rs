//! The fit: maximum-likelihood parameters of the response, their covariance, and the checks that make it count.

use nalgebra::DMatrix;
use num_complex::Complex64;

use crate::estimate::Estimate;
use crate::transfer::bins::Bins;

pub mod cell;
pub mod group;
pub mod joint;
pub mod model;
pub mod peak;
pub mod raw;
pub mod solve;
pub mod start;

use group::{Group, GroupProblem};
use model::{Fixed, Model, Param};
use solve::Patience;
use start::Point;

/// A Gaussian prior on a parameter of a fit.
#[derive(Debug, Clone, Copy)]
pub struct NuisancePrior {
    pub index: usize,
    pub mean: f64,
    pub sd: f64,
    /// Stated by the rig, so that it counts as systematic; else it only keeps a weak direction in place.
    pub stated: bool,
}

/// A nuisance parameter of the rig: where it starts, how far it may go, what is known of it.
#[derive(Debug, Clone, Copy)]
pub struct Nuisance {
    pub param: Param,
    pub start: f64,
    pub lower: f64,
    pub upper: f64,
    pub prior: Option<(f64, f64)>,
    pub stated: bool,
}

/// What is fitted besides the pickup.
#[derive(Debug, Clone, Default)]
pub struct Setup {
    pub fixed: Fixed,
    pub nuisance: Vec<Nuisance>,
    pub band: [f64; 2],
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    SecondOrder,
    Eddy,
}

impl Kind {
    fn params(self) -> &'static [Param] {
        match self {
            Kind::SecondOrder => &[Param::Gain, Param::B1, Param::B2],
            Kind::Eddy => &[Param::Gain, Param::B1, Param::B2, Param::Pole, Param::Zero],
        }
    }
}

/// A fit that converged, with everything needed to judge and to report it.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub kind: Kind,
    pub model: Model,
    pub theta: Vec<f64>,
    /// Covariance from the noise of the take.
    pub noise: DMatrix<f64>,
    /// Covariance from noise, stated tolerances and misfit.
    pub total: DMatrix<f64>,
    /// Sum of squared residuals, priors included, in units of the variance that counts for the uncertainty.
    pub cost: f64,
    /// Independent real data behind `cost`.
    pub data: f64,
    pub reduced_chi2: f64,
    /// The same of neighbouring bins drawn together: 1 where the model's shape is right.
    pub smooth_chi2: f64,
    /// Excess of the local scatter over the noise expected (1 = as expected).
    pub scatter: f64,
    pub bins: usize,
    pub at_bound: Vec<Param>,
    pub last_step: f64,
    /// Y - H X of every bin in the band, used or not.
    pub residuals: Vec<Complex64>,
    /// The bins drawn together as the search saw them.
    pub groups: Vec<Group>,
}

impl Fitted {
    pub fn response(&self, f: f64) -> Complex64 {
        self.model.response(&self.theta, f)
    }

    pub fn shape(&self, f: f64) -> Complex64 {
        self.model.shape(&self.theta, f)
    }

    pub fn get(&self, p: Param) -> Option<f64> {
        self.model.get(&self.theta, p)
    }

    /// A parameter, everything counted.
    pub fn known(&self, p: Param) -> Option<Estimate> {
        let i = self.model.index(p)?;
        let sd = |c: &DMatrix<f64>| c[(i, i)].max(0.0).sqrt();
        Estimate::new(self.theta[i], sd(&self.total), sd(&self.noise))
    }

    /// The scatter by which uncertainties from the noise are too small, as a factor of variance; 1 where they are not.
    pub fn excess(&self) -> f64 {
        self.scatter.max(1.0)
    }
}

/// Variance of Y - H X in a bin, as it counts for the uncertainty (density x transform length).
pub(crate) fn bin_variance(bins: &Bins, i: usize, h: Complex64) -> f64 {
    variance(bins.syy[i], bins.sxx[i], bins.syx[i], h) * bins.length
}

/// Density of the noise of Y - H X from those of Y, of X and of what they share.
fn variance(syy: f64, sxx: f64, syx: Complex64, h: Complex64) -> f64 {
    let v = syy + h.norm_sqr() * sxx - 2.0 * (h.conj() * syx).re;
    // The estimated cross-spectrum may overshoot; some of the pickup's own noise always stays.
    v.max(0.05 * syy)
}

/// Outer limits of the pickup's own parameters, relative to the reference frequency of the model.
const B1_RANGE: [f64; 2] = [2e-3, 1e3];
const B2_RANGE: [f64; 2] = [1e-5, 1e5];
const POLE_RANGE: [f64; 2] = [0.0, 50.0];
const ZERO_RANGE: [f64; 2] = [-50.0, 50.0];

/// Fits again what was fitted before to nearly the same bins, from where that fit ended; `None` where it leads nowhere.
pub fn again(bins: &Bins, setup: &Setup, before: &Fitted) -> Option<Fitted> {
    let own = before.kind.params().len();
    best_of(
        bins,
        setup,
        before.kind,
        before.model.f_ref,
        group::gather(bins, setup.band),
        vec![before.theta[..own].to_vec()],
        &before.theta[own..],
        f64::INFINITY,
    )
}

/// Fits a second-order response.
pub fn second_order(bins: &Bins, setup: &Setup) -> Option<Fitted> {
    let groups = group::gather(bins, setup.band);
    let nominal = nominal_nuisance(setup);
    let f_ref = (setup.band[0].max(200.0) * setup.band[1]).sqrt();
    let points = points(&groups, setup, &nominal, f_ref);
    let mut starts = Vec::new();
    if let Some((n, d)) = start::rational(&points, 0, 2, 6)
        && d[0] > 0.0
        && d[1] > 0.0
    {
        starts.push([n[0], d[0], d[1]]);
    }
    // The linearised fit fails where noise is high or the coil is strongly damped: look around as well.
    for f in [0.4, 0.8, 1.5, 3.0, 6.0, 10.0].map(|k| 1000.0 * k * 1.3) {
        for q in [0.4, 1.2, 4.0] {
            let b2 = (f_ref / f).powi(2);
            let b1 = b2.sqrt() / q;
            starts.push([project_gain(&points, b1, b2), b1, b2]);
        }
    }
    best_of(
        bins,
        setup,
        Kind::SecondOrder,
        f_ref,
        groups,
        starts.iter().map(|s| s.to_vec()).collect(),
        &nominal,
        f64::INFINITY,
    )
}

/// Delay (s) and clock difference (ppm), of those on two grids, under which a second-order response explains the groups
/// best. `coarse`: every so many groups are looked at.
pub fn best_delay(bins: &Bins, setup: &Setup, delays: &[f64], clocks: &[f64], coarse: usize) -> Option<(f64, f64)> {
    let groups: Vec<Group> = group::gather(bins, setup.band)
        .into_iter()
        .step_by(coarse.max(1))
        .collect();
    let f_ref = (setup.band[0].max(200.0) * setup.band[1]).sqrt();
    let plain = points(&groups, setup, &nominal_nuisance(setup), f_ref);
    if plain.len() != groups.len() {
        return None;
    }
    let mut best: Option<((f64, f64), f64)> = None;
    for ppm in clocks {
        for delay in delays {
            let turned: Vec<Point> = plain
                .iter()
                .zip(&groups)
                .map(|(p, g)| {
                    let phase = std::f64::consts::TAU * g.f * (delay - ppm * 1e-6 * g.when_s);
                    Point {
                        g: p.g * Complex64::from_polar(1.0, phase),
                        ..*p
                    }
                })
                .collect();
            let Some((n, d)) = start::rational(&turned, 0, 2, 3) else {
                continue;
            };
            // A pickup is stable; a wrong delay may be explained by one that is not.
            if d[0] <= 0.0 || d[1] <= 0.0 {
                continue;
            }
            let cost: f64 = turned
                .iter()
                .map(|p| ((n[0] / (1.0 + p.s * (d[0] + p.s * d[1])) - p.g) * p.weight).norm_sqr())
                .sum();
            if best.is_none_or(|b| cost < b.1) {
                best = Some(((*delay, *ppm), cost));
            }
        }
    }
    best.map(|b| b.0)
}

/// Fits the eddy model, starting from a second-order fit.
///
/// Unless it is `wanted` anyway, a fit that the information criterion would not prefer is given up early: pole and zero then
/// cancel, and their values mean nothing. `from` is a fit to the same bins as they are now.
pub fn eddy(bins: &Bins, setup: &Setup, from: &Fitted, wanted: bool) -> Option<Fitted> {
    let groups = from.groups.clone();
    let now = 2.0
        * groups
            .iter()
            .map(|g| (from.model.response(&from.theta, g.f) - g.h).norm_sqr() * g.weight)
            .sum::<f64>();
    let worth = if wanted {
        f64::INFINITY
    } else {
        now - 2.0 * from.data.max(2.0).ln() * from.scatter.max(1.0)
    };
    let f_ref = from.model.f_ref;
    let nuisance: Vec<f64> = from.theta[Kind::SecondOrder.params().len()..].to_vec();
    let points = points(&groups, setup, &nuisance, f_ref);
    let (g, b1, b2) = (from.theta[0], from.theta[1], from.theta[2]);
    let mut starts = Vec::new();
    if let Some((n, d)) = start::rational(&points, 1, 3, 6) {
        for [p, b1, b2] in start::split_cubic([d[0], d[1], d[2]]) {
            starts.push(vec![n[0], b1, b2, p, n[1] / n[0]]);
        }
    }
    for corner in [400.0, 1500.0, 5000.0, 15_000.0] {
        let p = f_ref / corner;
        let with_pole: Vec<Point> = points
            .iter()
            .map(|q| Point {
                g: q.g * (1.0 + q.s * p),
                weight: q.weight / (1.0 + q.s * p).norm(),
                ..*q
            })
            .collect();
        if let Some((n, d)) = start::rational(&with_pole, 1, 2, 3)
            && d[0] > 0.0
            && d[1] > 0.0
        {
            starts.push(vec![n[0], d[0], d[1], p, n[1] / n[0]]);
        } else {
            starts.push(vec![g, b1, b2, p, 0.9 * p]);
        }
    }
    best_of(bins, setup, Kind::Eddy, f_ref, groups, starts, &nuisance, worth)
}

/// Bayesian information criterion, eddy minus second order: negative where the eddy model is the better one. The cost is
/// taken in units of the scatter that is really there, so that noise above the silence's does not vote.
pub fn delta_bic(second: &Fitted, eddy: &Fitted) -> f64 {
    (eddy.cost - second.cost) / eddy.scatter.max(1.0) + 2.0 * second.data.max(2.0).ln()
}

fn nominal_nuisance(setup: &Setup) -> Vec<f64> {
    setup.nuisance.iter().map(|n| n.start).collect()
}

/// Groups as points of the pickup's own response: exciter, coupling and delay taken out at the given nuisance values.
fn points(groups: &[Group], setup: &Setup, nuisance: &[f64], f_ref: f64) -> Vec<Point> {
    let mut params = vec![Param::Gain];
    params.extend(setup.nuisance.iter().map(|n| n.param));
    let model = Model::new(f_ref, params, setup.fixed);
    let mut theta = vec![1.0];
    theta.extend_from_slice(nuisance);
    groups
        .iter()
        .map(|g| {
            let base = model.response(&theta, g.f);
            Point {
                s: Complex64::new(0.0, g.f / f_ref),
                g: g.h / base,
                weight: g.weight.sqrt() * base.norm(),
            }
        })
        .filter(|p| p.g.is_finite() && p.weight.is_finite())
        .collect()
}

fn project_gain(points: &[Point], b1: f64, b2: f64) -> f64 {
    let (mut a, mut b) = (0.0, 1e-300);
    for p in points {
        let shape = (1.0 + p.s * (b1 + p.s * b2)).inv();
        let w = p.weight * p.weight;
        a += (shape.conj() * p.g).re * w;
        b += shape.norm_sqr() * w;
    }
    a / b
}

#[allow(clippy::too_many_arguments)]
fn best_of(
    bins: &Bins,
    setup: &Setup,
    kind: Kind,
    f_ref: f64,
    groups: Vec<Group>,
    starts: Vec<Vec<f64>>,
    nuisance: &[f64],
    worth: f64,
) -> Option<Fitted> {
    let own = kind.params();
    let mut params = own.to_vec();
    params.extend(setup.nuisance.iter().map(|n| n.param));
    let clock = params.iter().position(|p| *p == Param::Clock);
    let model = Model::new(f_ref, params, setup.fixed);
    let range = |p: &Param| match p {
        Param::B1 => B1_RANGE,
        Param::B2 => B2_RANGE,
        Param::Pole => POLE_RANGE,
        Param::Zero => ZERO_RANGE,
        _ => [f64::NEG_INFINITY, f64::INFINITY],
    };
    let mut lower: Vec<f64> = own.iter().map(|p| range(p)[0]).collect();
    let mut upper: Vec<f64> = own.iter().map(|p| range(p)[1]).collect();
    lower.extend(setup.nuisance.iter().map(|n| n.lower));
    upper.extend(setup.nuisance.iter().map(|n| n.upper));
    let priors: Vec<NuisancePrior> = setup
        .nuisance
        .iter()
        .enumerate()
        .filter_map(|(i, n)| {
            n.prior.map(|(mean, sd)| NuisancePrior {
                index: own.len() + i,
                mean,
                sd,
                stated: n.stated,
            })
        })
        .collect();
    // On groups the clock cannot be told (it turns the phase from bin to bin): it stays where it is until the raw bins.
    let (mut low, mut high) = (lower.clone(), upper.clone());
    let mut group_priors = priors.clone();
    if let Some(c) = clock {
        low[c] = nuisance[c - own.len()];
        high[c] = low[c];
        group_priors.push(NuisancePrior {
            index: c,
            mean: low[c],
            sd: 1.0,
            stated: false,
        });
    }
    let problem = GroupProblem {
        groups: &groups,
        model: &model,
        priors: &group_priors,
    };
    // Fewer groups than this cannot tell so many parameters.
    if 2 * groups.len() < own.len() + nuisance.len() + 8 {
        return None;
    }
    // The likeliest few starts only: the search costs most of a fit.
    let mut ranked: Vec<(f64, Vec<f64>)> = starts
        .into_iter()
        .map(|mut s| {
            s.extend_from_slice(nuisance);
            for (v, (a, b)) in s.iter_mut().zip(low.iter().zip(&high)) {
                *v = v.clamp(*a, *b);
            }
            let mut r = nalgebra::DVector::zeros(solve::Problem::rows(&problem));
            solve::Problem::residuals(&problem, &s, &mut r);
            (r.norm_squared(), s)
        })
        .filter(|(c, _)| c.is_finite())
        .collect();
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    let enough = ENOUGH * solve::Problem::rows(&problem) as f64;
    let mut best: Option<solve::Solution> = None;
    for (_, start) in ranked.iter().take(3) {
        let found = solve::minimise(&problem, start, &low, &high, Patience::STATISTICAL);
        if found.believable() && best.as_ref().is_none_or(|b| found.cost < b.cost) {
            best = Some(found);
        }
        if best.as_ref().is_some_and(|b| b.cost < enough) {
            break;
        }
    }
    let best = best?;
    if best.cost > worth {
        return None;
    }
    let (f0, q) = model::f0_q(f_ref, best.theta[1], best.theta[2]);
    let at = model.at(&best.theta);
    let slope = |f: f64| {
        let h = 1e-5 * f;
        (at.response(f + h) - at.response(f - h)) / (2.0 * h)
    };
    let cells = cell::cells(bins, setup.band, f0 / q, slope);
    let polished = raw::polish(&cells, bins.length, &model, &best.theta, &lower, &upper, &priors)?;
    if !(polished.last_step.is_finite() && polished.last_step < 1.0) {
        return None;
    }
    let residuals = residuals(bins, setup.band, &model, &polished.theta);
    let (scatter, smooth_chi2) = scatter_and_smooth(bins, &groups, &model, &polished.theta, &residuals);
    let judged = Judged {
        scatter,
        smooth_chi2,
        residuals,
    };
    let mut fitted = finish(bins, kind, model, polished, judged, &priors, &lower, &upper);
    if fitted.smooth_chi2 / fitted.scatter.max(1.0) > SMOOTH_MISFIT {
        add_shift(&mut fitted, &best.theta, &groups, &group_priors, &low, &high);
    }
    fitted.groups = groups;
    Some(fitted)
}

/// A minimum whose mean square is below this, in units of the noise, is the one looked for: no other can be lower by much.
const ENOUGH: f64 = 1.5;

/// A smooth misfit above this (mean square, in units of the noise) counts.
const SMOOTH_MISFIT: f64 = 1.25;

/// A misfit that has one sign over octaves moves the parameters more than its scatter over thirds of an octave tells: how
/// far they move when only the lower or only the upper part of the band is fitted is added to the covariance. `whole`: the
/// parameters that the groups of the whole band ask for, which are what the parts are compared with.
fn add_shift(
    fit: &mut Fitted,
    whole: &[f64],
    groups: &[Group],
    priors: &[NuisancePrior],
    lower: &[f64],
    upper: &[f64],
) {
    let own = fit.kind.params().len();
    let (f0, _) = model::f0_q(fit.model.f_ref, fit.theta[1], fit.theta[2]);
    let parts: [Vec<Group>; 2] = [
        groups.iter().copied().filter(|g| g.f < 1.6 * f0).collect(),
        groups.iter().copied().filter(|g| g.f > f0 / 1.6).collect(),
    ];
    // What is not the pickup's stays where the whole band put it; a part alone could not tell it.
    let (mut low, mut high) = (lower.to_vec(), upper.to_vec());
    low[own..].copy_from_slice(&whole[own..]);
    high[own..].copy_from_slice(&whole[own..]);
    let mut worst: Option<(f64, Vec<f64>)> = None;
    for part in parts.iter().filter(|p| p.len() > 40) {
        let problem = GroupProblem {
            groups: part,
            model: &fit.model,
            priors,
        };
        let there = solve::minimise(&problem, whole, &low, &high, Patience::STATISTICAL);
        let shift: Vec<f64> = (0..own).map(|i| there.theta[i] - whole[i]).collect();
        let size = (shift[1] / fit.theta[1]).abs() + (shift[2] / fit.theta[2]).abs();
        if size.is_finite() && size < 1.0 && worst.as_ref().is_none_or(|w| size > w.0) {
            worst = Some((size, shift));
        }
    }
    if let Some((_, shift)) = worst {
        for a in 0..own {
            for b in 0..own {
                fit.total[(a, b)] += shift[a] * shift[b];
            }
        }
    }
}

/// What the residuals say about a fit.
struct Judged {
    residuals: Vec<Complex64>,
    scatter: f64,
    smooth_chi2: f64,
}

#[allow(clippy::too_many_arguments)]
fn finish(
    bins: &Bins,
    kind: Kind,
    model: Model,
    polished: raw::Polished,
    judged: Judged,
    priors: &[NuisancePrior],
    lower: &[f64],
    upper: &[f64],
) -> Fitted {
    let raw::Polished {
        theta,
        sums,
        inverse: c,
        last_step,
        ..
    } = polished;
    let Judged {
        residuals,
        scatter,
        smooth_chi2,
    } = judged;
    let stretch = bins.length / bins.energy;
    let own = sums.bins as f64 - 0.5 * theta.len() as f64;
    let reduced_chi2 = 0.5 * sums.cost * stretch / own.max(1.0);
    // Noise: what the data and the weak priors leave open; stated tolerances: the rest of the inverse.
    let mut data = sums.normal.clone();
    for p in priors.iter().filter(|p| !p.stated) {
        data[(p.index, p.index)] += 1.0 / (p.sd * p.sd);
    }
    let excess = scatter.max(1.0);
    let from_noise = &c * &data * &c;
    let tolerances = &c - &from_noise;
    let noise = &from_noise * excess;
    let mut total = &noise + &tolerances;
    if smooth_chi2 / excess > SMOOTH_MISFIT {
        // A smooth misfit does not average down: what each third of an octave pulls counts as a whole.
        let mut meat = DMatrix::zeros(theta.len(), theta.len());
        for b in &sums.blocks {
            meat += b * b.transpose();
        }
        total += &c * meat * &c;
    }
    let (_, _, cost) = raw::with_priors(&sums, &theta, priors);
    let at_bound = model
        .params
        .iter()
        .enumerate()
        .filter(|(i, _)| theta[*i] <= lower[*i] || theta[*i] >= upper[*i])
        .map(|(_, p)| *p)
        .collect();
    Fitted {
        kind,
        model,
        theta,
        noise,
        total,
        cost,
        data: 2.0 * sums.bins as f64 / stretch,
        reduced_chi2,
        smooth_chi2,
        scatter,
        bins: sums.bins,
        at_bound,
        last_step,
        residuals,
        groups: Vec::new(),
    }
}

/// Residuals Y - H X of all bins in the band, used or not; zero outside it.
pub fn residuals(bins: &Bins, band: [f64; 2], model: &Model, theta: &[f64]) -> Vec<Complex64> {
    let mut out = vec![Complex64::new(0.0, 0.0); bins.len()];
    let clock = model.get(theta, Param::Clock).unwrap_or(0.0);
    let at = model.at(theta);
    for i in bins.index_of(band[0])..=bins.index_of(band[1]).min(bins.len().saturating_sub(1)) {
        let mut x = bins.x[i];
        if let Some(xt) = &bins.x_clock {
            x += xt[i] * clock;
        }
        out[i] = bins.y[i] - at.response(bins.freq(i)) * x;
    }
    out
}

/// Scatter of the residuals about their group's smooth part, and the mean square of that smooth part itself, both in units of
/// the noise expected. The first tells noise that was not in the silences, the second a misfit of the model, which shows here
/// long before it shows among the raw bins.
fn scatter_and_smooth(
    bins: &Bins,
    groups: &[Group],
    model: &Model,
    theta: &[f64],
    residuals: &[Complex64],
) -> (f64, f64) {
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
        if n >= 1 && xx > 0.0 {
            // A bin alone shows the variance of windowed noise; drawn together along X, bins show what counts for the
            // parameters, as the window hides none of the answer.
            smooth += xe.norm_sqr() / xx * (1.0 + (stretch - 1.0) / n as f64);
            groups_seen += 1;
            if n >= 2 {
                sum += ee - xe.norm_sqr() / xx;
                count += n - 1;
            }
        }
    }
    let scatter = if count < 50 { 1.0 } else { sum / count as f64 * stretch };
    (
        scatter,
        smooth / (groups_seen as f64 - 0.5 * theta.len() as f64).max(1.0),
    )
}
