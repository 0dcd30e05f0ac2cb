//! An open winding: only stray capacitance between exciter and lead comes through, a first-order high-pass.

use num_complex::Complex64;

use super::prepare::Prepared;
use crate::fit::group::{Group, GroupProblem};
use crate::fit::model::{Model, Param};
use crate::fit::{Fitted, Nuisance, solve};

/// Whether the raw ratio is explained by a first-order high-pass as well as by a pickup.
///
/// Into R || C the feed-through is jw R C_f/(1 + jw R C), above the exciter's corner with one more zero.
pub fn winding_is_open(p: &Prepared, second: &Fitted) -> bool {
    // Nearly every winding is whole, and far from this: a few groups tell that as well as all of them.
    let few: Vec<Group> = second.groups.iter().copied().step_by(FEW).collect();
    let first = HighPass::new(p, second, &few);
    if first.is_some_and(|h| h.open_db.is_finite() && h.open_db > FAR_DB) {
        return false;
    }
    let Some(found) = HighPass::new(p, second, &second.groups) else {
        return false;
    };
    // In units of the same noise; the pickup's model must win clearly to be believed.
    let gain = found.cost - second.cost;
    // A corner above the band leaves a straight line, and that says nothing.
    if found.corner < 2.0 * F_REF / p.setup.band[1] {
        return false;
    }
    found.open_db < OPEN_DB && (gain < 30.0 * second.excess() || found.open_db < found.pickup_db + 0.02)
}

const F_REF: f64 = 1000.0;
/// A high-pass follows an open winding within this; where it is off by this much more, nothing else can change that.
const OPEN_DB: f64 = 0.3;
const FAR_DB: f64 = 1.5;
/// One group in so many for the first look.
const FEW: usize = 8;

/// What a high-pass makes of the groups.
struct HighPass {
    cost: f64,
    /// By the reference frequency.
    corner: f64,
    /// Misfit in decibels of it, and of the pickup's model; infinite where there are too few points.
    open_db: f64,
    pickup_db: f64,
}

impl HighPass {
    /// The best of the high-passes.
    fn new(p: &Prepared, second: &Fitted, groups: &[Group]) -> Option<Self> {
        let ours = |n: &&Nuisance| !matches!(n.param, Param::InverseCorner | Param::Delay | Param::Clock);
        let coupling: Vec<&Nuisance> = p.setup.nuisance.iter().filter(ours).collect();
        let all = |own: [f64; 3], of: fn(&Nuisance) -> f64| -> Vec<f64> {
            own.into_iter().chain(coupling.iter().map(|n| of(n))).collect()
        };
        let mut params = vec![Param::Gain, Param::B1, Param::Zero];
        params.extend(coupling.iter().map(|n| n.param));
        // The zero of the exciter's inductance lies above 3 kHz: below, it would be no exciter.
        let lower = all([f64::NEG_INFINITY, 1e-4, 0.0], |n| n.lower);
        let upper = all([f64::INFINITY, 1e3, F_REF / 3000.0], |n| n.upper);
        let mut fixed = p.setup.fixed;
        fixed.set(Param::InverseCorner, 0.0);
        let model = Model::new(F_REF, params, fixed);
        let problem = GroupProblem {
            groups,
            model: &model,
            priors: &[],
        };
        let ends = [0.3, 2.0, 15.0].into_iter().map(|b1| {
            let mut start = all([1.0, b1, 0.01], |n| n.start);
            // The gain that fits this start best.
            let (mut a, mut b) = (0.0, 1e-300);
            for g in groups {
                let h = model.response(&start, g.f);
                a += (h.conj() * g.h).re * g.weight;
                b += h.norm_sqr() * g.weight;
            }
            start[0] = a / b;
            solve::minimise(&problem, &start, &lower, &upper, solve::Patience::STATISTICAL)
        });
        let best = ends
            .filter(|end| end.cost.is_finite())
            .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
        Some(HighPass {
            cost: best.cost,
            corner: best.theta[1],
            open_db: misfit_db(groups, |f| model.response(&best.theta, f)),
            pickup_db: misfit_db(groups, |f| second.response(f)),
        })
    }
}

/// Misfit in decibels, each point by what it is worth.
fn misfit_db(groups: &[Group], response: impl Fn(f64) -> Complex64) -> f64 {
    let (mut sw, mut sd, mut n) = (1e-300, 0.0, 0);
    for g in groups {
        let h = response(g.f);
        let u2 = 0.5 / (g.weight * h.norm_sqr()).max(1e-30);
        // Points that noise drowns say nothing about the shape.
        if u2 > 0.01 {
            continue;
        }
        let d = (g.h / h - 1.0).re;
        let w = 1.0 / (u2 + 3e-5);
        sw += w;
        sd += w * (d * d - u2);
        n += 1;
    }
    // Too few points to speak of a shape.
    if n < 40 {
        return f64::INFINITY;
    }
    8.686 * (sd.max(0.0) / sw).sqrt()
}
