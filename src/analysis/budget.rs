//! What the uncertainties of a reading are made of.

use nalgebra::DVector;

use super::ways::Way;
use crate::estimate::Estimate;
use crate::fit::kind::Metal;
use crate::fit::ladder::Climb;
use crate::fit::model::Param;
use crate::fit::natural::{self, Meaning, Resonance};
use crate::fit::rival::{self, Apart, Chance};
use crate::fit::{Fitted, peak};
use crate::record::{Budget, Parts, PeakFrom};

/// How far the chosen model's nearest rival lies from it, beyond noise.
pub(super) struct Distance {
    pub f0_hz: f64,
    pub f0_percent: f64,
    pub q_percent: f64,
}

/// The reading with everything counted.
pub(super) struct Sums {
    pub next: Distance,
    pub f0: Estimate,
    pub q: Estimate,
    pub corr: f64,
    pub peak: Option<(Estimate, Estimate)>,
    pub budget: Budget,
}

/// The peak: the chosen model's own, and that which is shown.
pub(super) struct Top {
    pub own: Option<peak::Shown>,
    pub shown: Option<(Estimate, Estimate)>,
    pub from: PeakFrom,
}

/// `natural`: of the chosen model; `way`: the same read against the drive file.
pub(super) fn of(climb: &Climb, natural: &Resonance, top: &Top, way: Option<&Way>) -> Sums {
    let fit = &climb.chosen;
    // What is of the neighbourhood alone is no natural resonance, and the other way round.
    let local = natural.meaning == Meaning::Local;
    let alike = |n: &Resonance| !local && n.meaning != Meaning::Local;
    let rivals = of_rivals(climb, |fit| natural::of(fit).filter(alike));
    let d_f0 = rival::apart(natural.f0, &picked(&rivals, |n| n.f0));
    let d_q = rival::apart(natural.q, &picked(&rivals, |n| n.q));
    let way_here = way.filter(|_| !local);
    let f0 = Parts {
        ways: way_here.map_or(0.0, |w| w.f0_from(natural.f0).unexplained()),
        ..parts(fit, &natural.slopes[0], d_f0)
    };
    let q = Parts {
        ways: way_here.map_or(0.0, |w| w.q_from(natural.q).unexplained()),
        ..parts(fit, &natural.slopes[1], d_q)
    };
    let shared = natural.slopes[0].dot(&(fit.total() * &natural.slopes[1]))
        + d_f0.beyond * d_q.beyond
        + d_f0.by_choice * d_q.by_choice;
    let corr = shared / (whole(&f0) * whole(&q)).max(f64::MIN_POSITIVE);
    let peaks = peaks(climb, top, way);
    Sums {
        next: Distance {
            f0_hz: natural.f0.value,
            f0_percent: 100.0 * (d_f0.beyond / natural.f0.value).abs(),
            q_percent: 100.0 * (d_q.beyond / natural.q.value).abs(),
        },
        f0: counted(natural.f0, &f0),
        q: counted(natural.q, &q),
        corr: if corr.is_finite() { corr.clamp(-1.0, 1.0) } else { 0.0 },
        peak: match (top.shown, &peaks) {
            (Some((hz, db)), Some((a, b))) => Some((counted(hz, a), counted(db, b))),
            (peak, _) => peak,
        },
        budget: Budget {
            f0_hz: f0,
            q,
            peak_hz: peaks.as_ref().map(|p| p.0),
            peak_db: peaks.as_ref().map(|p| p.1),
        },
    }
}

/// Of the peak's frequency and height; `None` where there is none, of the model or shown.
fn peaks(climb: &Climb, top: &Top, way: Option<&Way>) -> Option<(Parts, Parts)> {
    let fit = &climb.chosen;
    let (own, (hz, db)) = top.own.as_ref().zip(top.shown)?;
    let rivals = of_rivals(climb, peak::estimate);
    let one = |slope: &DVector<f64>, here: Estimate, there: &[(Estimate, Chance)]| {
        let mut p = parts(fit, slope, rival::apart(here, there));
        if top.from == PeakFrom::Curve {
            // Read off the curve: noise of its points, and what the choice of the polynomial leaves open.
            p.noise = here.u_noise;
            p.misfit = p.misfit.hypot((here.u.powi(2) - here.u_noise.powi(2)).max(0.0).sqrt());
        }
        p
    };
    let mut of_hz = one(&own.slopes[0], hz, &picked(&rivals, |t| t.hz));
    let mut of_db = one(&own.slopes[1], db, &picked(&rivals, |t| t.db));
    if fit.rung.kind.metal >= Metal::Core {
        of_db.misfit = of_db.misfit.hypot(natural::LEVEL_U_DB);
    }
    if let Some((by_hz, by_db)) = way.and_then(|w| w.peak_from((own.hz, own.db))) {
        (of_hz.ways, of_db.ways) = (by_hz.unexplained(), by_db.unexplained());
    }
    Some((of_hz, of_db))
}

/// A value with its parts in its u.
fn counted(e: Estimate, p: &Parts) -> Estimate {
    Estimate::new(e.value, whole(p), p.noise).unwrap_or(e)
}

/// By how much of itself a coupling from the exciter acts otherwise on f0 than the lead that it is taken for: 0.10 and 0.11 of it
/// with 0.2 and 0.5 pF (tests/reference/metal_takes.rs); beyond it is named.
const OTHERWISE: f64 = 0.1;

/// What is found of each rival, with what speaks for it.
fn of_rivals<T>(climb: &Climb, of: impl Fn(&Fitted) -> Option<T>) -> Vec<(T, Chance)> {
    climb
        .rivals
        .iter()
        .filter_map(|r| Some((of(&r.fit)?, r.chance)))
        .collect()
}

fn picked<T>(rivals: &[(T, Chance)], figure: impl Fn(&T) -> Estimate) -> Vec<(Estimate, Chance)> {
    rivals.iter().map(|(t, chance)| (figure(t), *chance)).collect()
}

fn parts(fit: &Fitted, slope: &DVector<f64>, apart: Apart) -> Parts {
    let of = |c: &nalgebra::DMatrix<f64>| slope.dot(&(c * slope)).max(0.0).sqrt();
    // A lead or lag that was taken out may be a coupling from the exciter, which acts otherwise by a part of it.
    let total = fit.total();
    let by_lead = fit.lead().zip(fit.model.index(Param::Delay)).map_or(0.0, |(lead, i)| {
        lead.value * slope.dot(&total.column(i)) / total[(i, i)].max(f64::MIN_POSITIVE)
    });
    Parts {
        noise: of(&fit.noise).hypot(apart.by_choice),
        stated: of(&fit.stated),
        unstated: of(&fit.unstated),
        misfit: of(&fit.misfit).hypot(apart.beyond).hypot(OTHERWISE * by_lead),
        ways: 0.0,
    }
}

fn whole(p: &Parts) -> f64 {
    [p.noise, p.stated, p.unstated, p.misfit, p.ways]
        .into_iter()
        .fold(0.0, f64::hypot)
}
