//! All pickups of a pot-load together.

use super::{ALPHA, Limits, Lot, PotVerdict, t_975};
use crate::estimate::Z95;
use crate::shop::witness::history::BetweenDays;
use crate::stats::paired::{Paired, equivalence};

/// What became of one pickup on one rig under one load.
#[derive(Debug, Clone, Copy)]
pub(super) struct Change {
    /// Relative, as natural logarithms.
    pub(super) f0: f64,
    pub(super) q: f64,
    pub(super) c_f: f64,
    /// What the rig's days do to it, in standard deviations of one day.
    pub(super) over_days: f64,
    /// Farads for each (relative) error of f0.
    pub(super) c_by_f0: f64,
    /// What is not known of the winding and of the input, in farads.
    pub(super) c_open: f64,
    /// The witness moved as well.
    pub(super) lead: bool,
}

/// All together: the pairs' own scatter, and what the rig's days do to all of them alike.
pub(super) fn lot(changes: &[Change], days: Option<BetweenDays>, limits: Limits) -> Option<Lot> {
    let of = |f: fn(&Change) -> f64| Paired::of(&changes.iter().map(f).collect::<Vec<_>>());
    let (f0, q, c) = (of(|c| c.f0)?, of(|c| c.q)?, of(|c| c.c_f)?);
    let over_days = changes.iter().map(|c| c.over_days).fold(0.0, f64::max);
    let own = (changes.len() - 1) as f64;
    let whole = |paired: &Paired, day: Option<f64>| {
        let day = day.map_or(0.0, |s| over_days * s);
        let u = paired.se.hypot(day);
        if u == 0.0 {
            return (u, own);
        }
        // Welch and Satterthwaite (JCGM 100:2008, G.4).
        let share = |part: f64, freedom: f64| (part / u).powi(4) / freedom;
        let freedom = 1.0 / (share(paired.se, own) + share(day, days.map_or(1.0, |d| d.freedom)));
        (u, if freedom.is_finite() { freedom } else { own })
    };
    let (f0_u, f0_freedom) = whole(&f0, days.map(|d| d.f0));
    let (q_u, q_freedom) = whole(&q, days.map(|d| d.q));
    let n = changes.len() as f64;
    let by_f0 = changes.iter().map(|c| c.c_by_f0).sum::<f64>() / n;
    let open = changes.iter().map(|c| c.c_open).sum::<f64>() / n;
    let (c_u, c_freedom) = whole(&c, days.map(|d| by_f0 * d.f0));
    let half = |u: f64, freedom: f64| t_975(freedom) * u;
    let p_equivalence = equivalence(f0.mean, f0_u, f0_freedom, limits.f0)
        .p
        .max(equivalence(q.mean, q_u, q_freedom, limits.q).p);
    let far = |mean: f64, u: f64, freedom: f64| mean.abs() > half(u, freedom);
    let q_moved = far(q.mean, q_u, q_freedom) && q.mean.abs() > limits.q;
    let f_moved = far(f0.mean, f0_u, f0_freedom);
    let verdict = match days {
        None => PotVerdict::CannotTell,
        Some(_) if p_equivalence < ALPHA => PotVerdict::Unchanged,
        // A lead is common to all of them.
        Some(_) if changes.iter().any(|c| c.lead) => PotVerdict::CannotTell,
        Some(_) if q_moved || (f_moved && f0.mean > 0.0) => PotVerdict::Other,
        Some(_) if f_moved => PotVerdict::Wax,
        Some(_) => PotVerdict::CannotTell,
    };
    Some(Lot {
        pairs: changes.len(),
        f0: f0.mean,
        f0_se: f0.se,
        f0_u,
        f0_half_95: half(f0_u, f0_freedom),
        p: f0.test().p,
        q: q.mean,
        q_u,
        c_f: c.mean,
        c_f_se: c.se,
        c_f_half_95: half(c_u, c_freedom).hypot(Z95 * open),
        p_equivalence,
        verdict,
    })
}
