//! An open winding: only stray capacitance between exciter and lead comes through, a first-order high-pass.

use super::prepare::Prepared;
use crate::fit::group::{Group, GroupProblem};
use crate::fit::model::{Fixed, Model, Param};
use crate::fit::{Fitted, solve};

/// Whether the raw ratio is explained by a first-order high-pass as well as by a pickup.
///
/// Into R || C the feed-through is jw R C_f/(1 + jw R C), above the exciter's corner with one more zero.
pub fn winding_is_open(p: &Prepared, second: &Fitted) -> bool {
    // Nearly every winding is whole, and far from this: a few groups tell that as well as all of them.
    let few: Vec<Group> = second.groups.iter().copied().step_by(FEW).collect();
    if high_pass(p, second, &few).is_some_and(|(_, open, _)| open.is_finite() && open > FAR_DB) {
        return false;
    }
    let Some((best, open, pickup)) = high_pass(p, second, &second.groups) else {
        return false;
    };
    // In units of the same noise; the pickup's model must win clearly to be believed.
    let gain = best.cost - second.cost;
    // A corner above the band leaves a straight line, and that says nothing.
    if best.theta[1] < 2.0 * F_REF / p.setup.band[1] {
        return false;
    }
    open < OPEN_DB && (gain < 30.0 * second.scatter.max(1.0) || open < pickup + 0.02)
}

const F_REF: f64 = 1000.0;
/// A high-pass follows an open winding within this; where it is off by this much more, nothing else can change that.
const OPEN_DB: f64 = 0.3;
const FAR_DB: f64 = 1.5;
/// One group in so many for the first look.
const FEW: usize = 8;

/// The best high-pass, and the misfit in decibels of it and of the pickup's model; infinite where there are too few points.
fn high_pass(p: &Prepared, second: &Fitted, groups: &[Group]) -> Option<(solve::Solution, f64, f64)> {
    let f_ref = F_REF;
    let mut params = vec![Param::Gain, Param::B1, Param::Zero];
    let mut start = vec![second.theta[0], 1.0, 0.01];
    // The zero of the exciter's inductance lies above 3 kHz: below, it would be no exciter.
    let mut lower = vec![f64::NEG_INFINITY, 1e-4, 0.0];
    let mut upper = vec![f64::INFINITY, 1e3, f_ref / 3000.0];
    for n in p.setup.nuisance.iter().filter(|n| {
        matches!(
            n.param,
            Param::AcPickup
                | Param::AcReference
                | Param::AcMean
                | Param::AcDifference
                | Param::AcSum
                | Param::AcProduct
                | Param::AcOutput
        )
    }) {
        params.push(n.param);
        start.push(n.start);
        lower.push(n.lower);
        upper.push(n.upper);
    }
    let fixed = Fixed {
        inverse_corner: 0.0,
        ..p.setup.fixed
    };
    let model = Model::new(f_ref, params, fixed);
    let problem = GroupProblem {
        groups,
        model: &model,
        priors: &[],
    };
    let best = [0.3, 2.0, 15.0]
        .iter()
        .filter_map(|b1| {
            let mut s = start.clone();
            s[1] = *b1;
            // The gain that fits this start best.
            let (mut a, mut b) = (0.0, 1e-300);
            s[0] = 1.0;
            for g in groups {
                let h = model.response(&s, g.f);
                a += (h.conj() * g.h).re * g.weight;
                b += h.norm_sqr() * g.weight;
            }
            s[0] = a / b;
            let done = solve::minimise(&problem, &s, &lower, &upper, solve::Patience::STATISTICAL);
            done.cost.is_finite().then_some(done)
        })
        .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    // Misfit of both in decibels, each point by what it is worth.
    let misfit = |response: &dyn Fn(f64) -> num_complex::Complex64| {
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
    };
    let open = misfit(&|f| model.response(&best.theta, f));
    let pickup = misfit(&|f| second.model.response(&second.theta, f));
    Some((best, open, pickup))
}
