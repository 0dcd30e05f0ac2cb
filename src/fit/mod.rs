//! The fit: maximum-likelihood parameters of the response, their covariance, and the checks that make it count.

use nalgebra::DMatrix;
use num_complex::Complex64;

use crate::estimate::Estimate;
use crate::transfer::bins::Bins;

mod attempt;
pub mod cell;
pub mod group;
pub mod joint;
pub mod kind;
pub mod ladder;
mod misfit;
pub mod model;
pub mod natural;
pub mod own;
pub mod param;
pub mod peak;
pub mod raw;
pub mod rival;
mod seed;
pub mod solve;
pub mod start;

use attempt::Attempt;
use group::Group;
use kind::{Metal, Rung};
use model::{Fixed, Model, Param};
use start::Point;

/// A nuisance parameter of the rig: where it starts, how far it may go, what is known of it.
#[derive(Debug, Clone, Copy)]
pub struct Nuisance {
    pub param: Param,
    pub start: f64,
    pub lower: f64,
    pub upper: f64,
    pub prior: Option<(f64, f64)>,
    pub known: Known,
}

impl Nuisance {
    pub fn new(param: Param, start: f64, [lower, upper]: [f64; 2], prior: Option<(f64, f64)>, known: Known) -> Self {
        Nuisance {
            param,
            start,
            lower,
            upper,
            prior,
            known,
        }
    }
}

/// Where a prior comes from, and with it what its part of an uncertainty is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// The rig states it.
    Stated,
    /// What is usual where the rig says nothing.
    Usual,
    /// So wide that it only keeps a direction in place which a take cannot see: what it leaves open counts as noise.
    Weakly,
}

/// What is fitted besides the pickup.
#[derive(Debug, Clone, Default)]
pub struct Setup {
    pub fixed: Fixed,
    pub nuisance: Vec<Nuisance>,
    pub band: [f64; 2],
    /// A lead or lag between the inputs that may be looked for; none where the delay is an unknown anyway.
    pub shift: Option<Shift>,
}

/// A lead or lag between the inputs of which the rig does not say how uncertain it is.
#[derive(Debug, Clone, Copy)]
pub struct Shift {
    /// The delay as stated; else nought.
    pub at_s: f64,
    /// What is usual of it where the rig says nothing; none where the delay was stated as exact.
    pub usual_s: Option<f64>,
}

/// Delays beyond this, two samples at 44.1 kHz, are none of an interface's inputs.
const MOST_SHIFT_S: f64 = 50e-6;
/// Of both inputs' corners, mean and difference, where metal bends the lows: the usual spread of corners, since metal of great
/// depth and a corner look alike.
const AC_WITH_METAL: [(Param, f64, f64); 2] = [(Param::AcMean, 3.0, 15.0), (Param::AcDifference, 1.5, 6.0)];

impl Setup {
    fn f_ref(&self) -> f64 {
        (self.band[0].max(200.0) * self.band[1]).sqrt()
    }

    /// As a rung of the ladder needs it.
    pub(crate) fn on(&self, rung: Rung) -> Setup {
        let mut setup = self.clone();
        if let Some(shift) = self.shift.filter(|_| rung.shift) {
            let at = shift.at_s;
            let (range, prior) = ([at - MOST_SHIFT_S, at + MOST_SHIFT_S], shift.usual_s.map(|sd| (at, sd)));
            let delay = Nuisance::new(Param::Delay, at, range, prior, Known::Usual);
            setup.nuisance.push(delay);
        }
        if rung.kind.metal != Metal::None {
            for n in setup.nuisance.iter_mut().filter(|n| n.known == Known::Weakly) {
                let of = AC_WITH_METAL.iter().find(|(param, ..)| *param == n.param);
                if let (Some((_, sd, most)), Some((mean, _))) = (of, n.prior) {
                    n.prior = Some((mean, *sd));
                    (n.lower, n.upper) = (n.lower.max(-most), n.upper.min(*most));
                }
            }
        }
        setup
    }

    /// What is not the pickup's, where it starts.
    fn nominal(&self) -> Vec<f64> {
        self.nuisance.iter().map(|n| n.start).collect()
    }
}

/// A fit that converged, with everything needed to judge and to report it.
#[derive(Debug, Clone)]
pub struct Fitted {
    pub rung: Rung,
    pub model: Model,
    pub theta: Vec<f64>,
    /// Covariance from the noise of the take.
    pub noise: DMatrix<f64>,
    /// The same from what the rig states with tolerances, from what it leaves unsaid, and from the misfit.
    pub stated: DMatrix<f64>,
    pub unstated: DMatrix<f64>,
    pub misfit: DMatrix<f64>,
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
    /// Y - H X of every bin in the band, used or not.
    pub residuals: Vec<Complex64>,
    /// The bins drawn together as the search saw them.
    pub groups: Vec<Group>,
}

impl Fitted {
    /// How many of the parameters are the pickup's own; they come first.
    pub fn own_count(&self) -> usize {
        self.rung.kind.params().len()
    }

    pub fn response(&self, f: f64) -> Complex64 {
        self.model.response(&self.theta, f)
    }

    pub fn shape(&self, f: f64) -> Complex64 {
        self.model.shape(&self.theta, f)
    }

    pub fn get(&self, p: Param) -> Option<f64> {
        self.model.get(&self.theta, p)
    }

    /// The value of a parameter, which is nought from now on: it was put into what is fitted again.
    pub fn take_over(&mut self, p: Param) -> f64 {
        self.model.index(p).map_or(0.0, |i| std::mem::take(&mut self.theta[i]))
    }

    /// Covariance, everything counted.
    pub fn total(&self) -> DMatrix<f64> {
        &self.noise + &self.stated + &self.unstated + &self.misfit
    }

    /// A parameter, everything counted.
    pub fn known(&self, p: Param) -> Option<Estimate> {
        let i = self.model.index(p)?;
        let sd = |c: &DMatrix<f64>| c[(i, i)].max(0.0).sqrt();
        Estimate::new(self.theta[i], sd(&self.total()), sd(&self.noise))
    }

    /// What the rig states and the fit leaves by more than four of its u: the value as fitted.
    pub fn contradicts(&self, n: &Nuisance) -> Option<f64> {
        let (mean, sd) = n.prior.filter(|_| n.known == Known::Stated)?;
        let value = self.get(n.param)?;
        ((value - mean).abs() > misfit::CONTRADICTED * sd).then_some(value)
    }

    /// The lead of the pickup's channel that was fitted, in seconds; negative where it lags.
    pub fn lead(&self) -> Option<Estimate> {
        let delay = self.known(Param::Delay).filter(|_| self.rung.shift)?;
        Estimate::new(self.model.fixed.get(Param::Delay) - delay.value, delay.u, delay.u_noise)
    }

    /// How much of the pickup channel it explains, in units of chi-square.
    pub fn explained(&self, b: &Bins) -> f64 {
        let gain = |i: usize| 2.0 * (b.y[i].norm_sqr() - self.residuals[i].norm_sqr()) / (b.syy[i] * b.length);
        (0..b.len()).filter(|i| b.used[*i]).map(gain).sum::<f64>() / self.excess()
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

/// Fits again what was fitted before to nearly the same bins, from where that fit ended; `None` where it leads nowhere.
pub fn again(bins: &Bins, setup: &Setup, before: &Fitted) -> Option<Fitted> {
    let setup = setup.on(before.rung);
    let (own, nuisance) = before.theta.split_at(before.own_count());
    let groups = group::gather(bins, setup.band);
    Attempt::new(bins, &setup, before.rung, before.model.f_ref).best(groups, vec![own.to_vec()], nuisance)
}

/// Fits the model of one take's reading to another set of bins of the same take: `here` and `there` are the plain fits of both.
pub fn beside(bins: &Bins, setup: &Setup, (here, there): (&Fitted, &Fitted), chosen: &Fitted) -> Option<Fitted> {
    let rung = Rung {
        kind: chosen.rung.kind,
        shift: false,
    };
    if rung == Rung::PLAIN {
        return Some(here.clone());
    }
    let setup = setup.on(rung);
    let scaled = |p: Param, v: f64| match p {
        // Both models by one reference frequency.
        Param::Gain => v * here.theta[0] / there.theta[0],
        Param::B1 | Param::Pole | Param::Zero | Param::OtherSlope => v * here.model.f_ref / chosen.model.f_ref,
        Param::B2 => v * (here.model.f_ref / chosen.model.f_ref).powi(2),
        Param::OtherLnB3 => v + (here.model.f_ref / chosen.model.f_ref).ln(),
        Param::OtherLnB4 => v + 2.0 * (here.model.f_ref / chosen.model.f_ref).ln(),
        _ => v,
    };
    let own = rung
        .kind
        .params()
        .into_iter()
        .zip(&chosen.theta)
        .map(|(p, v)| scaled(p, *v));
    let nuisance: Vec<f64> = setup
        .nuisance
        .iter()
        .map(|n| here.get(n.param).unwrap_or(n.start))
        .collect();
    Attempt::new(bins, &setup, rung, here.model.f_ref).best(here.groups.clone(), vec![own.collect()], &nuisance)
}

/// The parameters alone, from where a fit to much the same bins ended.
pub fn follow(bins: &Bins, setup: &Setup, from: &Fitted) -> Option<Vec<f64>> {
    let setup = setup.on(from.rung);
    let attempt = Attempt::new(bins, &setup, from.rung, from.model.f_ref);
    attempt.polish(&from.theta).map(|p| p.theta)
}

/// Fits a second-order response.
pub fn second_order(bins: &Bins, setup: &Setup) -> Option<Fitted> {
    let groups = group::gather(bins, setup.band);
    let (nominal, f_ref) = (setup.nominal(), setup.f_ref());
    let points = points(&groups, setup, &nominal, f_ref);
    let mut starts = Vec::new();
    starts.extend(stable(&points, 6).map(|start| start.to_vec()));
    // The linearised fit fails where noise is high or the coil is strongly damped: look around as well.
    for f in [0.4, 0.8, 1.5, 3.0, 6.0, 10.0].map(|k| 1000.0 * k * 1.3) {
        for q in [0.4, 1.2, 4.0] {
            let b2 = (f_ref / f).powi(2);
            let b1 = b2.sqrt() / q;
            starts.push(vec![project_gain(&points, b1, b2), b1, b2]);
        }
    }
    Attempt::new(bins, setup, Rung::PLAIN, f_ref).best(groups, starts, &nominal)
}

/// The linearised second-order fit, where it is that of a pickup: stable. A wrong delay may be explained by one that is not.
fn stable(points: &[Point], rounds: usize) -> Option<[f64; 3]> {
    start::second_order(points, rounds).filter(|[_, b1, b2]| *b1 > 0.0 && *b2 > 0.0)
}

/// Delay (s) and clock difference (ppm), of those on two grids, under which a second-order response explains the groups
/// best.
pub fn best_delay(bins: &Bins, setup: &Setup, delays: &[f64], clocks: &[f64]) -> Option<(f64, f64)> {
    // A few groups tell it as well as all.
    const EVERY: usize = 6;
    let groups: Vec<Group> = group::gather(bins, setup.band).into_iter().step_by(EVERY).collect();
    let plain = points(&groups, setup, &setup.nominal(), setup.f_ref());
    if plain.len() != groups.len() {
        return None;
    }
    let cost = |delay: f64, ppm: f64| {
        let turned = |(p, g): (&Point, &Group)| {
            let phase = std::f64::consts::TAU * g.f * (delay - ppm * 1e-6 * g.when_s);
            let g = p.g * Complex64::from_polar(1.0, phase);
            Point { g, ..*p }
        };
        let turned: Vec<Point> = plain.iter().zip(&groups).map(turned).collect();
        let [gain, b1, b2] = stable(&turned, 3)?;
        let square = |p: &Point| ((gain / (1.0 + p.s * (b1 + p.s * b2)) - p.g) * p.weight).norm_sqr();
        Some(turned.iter().map(square).sum::<f64>())
    };
    let grid = clocks
        .iter()
        .flat_map(|ppm| delays.iter().map(move |delay| (*delay, *ppm)));
    let costs = grid.filter_map(|at| Some((at, cost(at.0, at.1)?)));
    costs.min_by(|a, b| a.1.total_cmp(&b.1)).map(|best| best.0)
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
