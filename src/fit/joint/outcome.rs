//! From the unknowns found to the coil, its covariance, and what decides it.

use nalgebra::DMatrix;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::advice::advice;
use super::search::Found;
use super::unknowns::{C_UNIT, Factor, G_UNIT, Kind, Layout, TAU_UNIT};
use super::{CoilFit, InputLeft, InputPart, Known, Source, Take};
use crate::network::Coil;
use crate::network::coil_file::parameters;

pub(super) fn conclude(takes: &[Take], known: &Known, found: Found) -> CoilFit {
    let layout = &found.layout;
    let freedom = found.freedom();
    let chance = freedom.and_then(|f| ChiSquared::new(f).ok());
    let excess = found.excess();
    let coil = layout.coil(&found.x, known);
    // From the unknowns to the coil's parameters in SI units.
    let slopes = slopes(layout, &found.x, &coil);
    let whole = &found.inverse * excess;
    let data = found.jacobian.rows(0, found.data_rows);
    let from_noise = &found.inverse * (data.transpose() * data) * &found.inverse * excess;
    let covariance = &slopes * &whole * slopes.transpose();
    let shares = shares(&found, &slopes, &covariance);
    let from = |i: usize| shares.iter().map(|s| s.1[i]).fold(0.0, |a: f64, b| a + b).min(1.0);
    CoilFit {
        coil,
        noise: &slopes * &from_noise * slopes.transpose(),
        chi2: found.cost,
        reduced_chi2: freedom.map(|f| found.cost / f),
        chance: chance.map(|d| d.sf(found.cost)),
        agreement: found.agreement.clone(),
        from_parts: [from(0), from(1)],
        shares,
        inputs: inputs(takes, &found, &slopes, [&whole, &from_noise]),
        c_at_bound: found.c_at_bound,
        metal: layout.kind >= Kind::Turn,
        damping_apart: false,
        other_r: None,
        advice: advice(takes, known, &found, excess),
        covariance,
    }
}

/// What each known part, and each input, shares in the variances of L and C_s.
fn shares(found: &Found, slopes: &DMatrix<f64>, covariance: &DMatrix<f64>) -> Vec<(Source, [f64; 2])> {
    let layout = &found.layout;
    let source = |at: usize| {
        let part = at.checked_sub(layout.parts_at).and_then(|i| layout.parts.get(i));
        let input = at.checked_sub(layout.inputs_at).and_then(|i| layout.inputs.get(i));
        let meter = layout.meter_at.filter(|m| (*m..m + 2).contains(&at));
        part.map(|p| Source::Part(p.0))
            .or(input.map(|i| Source::Input(i.1)))
            .or(meter.map(|_| Source::Meter))
    };
    let by_unknown = slopes * &found.inverse;
    let shared = |(at, sd): &(usize, f64)| {
        let share = |i: usize| {
            let v = covariance[(i, i)];
            let own = (by_unknown[(i, *at)] / sd).powi(2);
            if v > 0.0 { (own / v).clamp(0.0, 1.0) } else { 0.0 }
        };
        Some((source(*at)?, [share(1), share(2)]))
    };
    layout.priors.iter().filter_map(shared).collect()
}

/// The inputs' factors, each rig's together with the coil.
fn inputs(takes: &[Take], found: &Found, slopes: &DMatrix<f64>, [whole, noise]: [&DMatrix<f64>; 2]) -> Vec<InputLeft> {
    let (layout, x) = (&found.layout, &found.x);
    let mut rigs: Vec<&Take> = takes.iter().collect();
    rigs.sort_by_key(|t| t.rig);
    rigs.dedup_by_key(|t| t.rig);
    let of = |take: &Take| {
        let of_part = |(part, value): (InputPart, Option<f64>)| {
            let factor = layout.factor(take.rig, part, value?);
            (!factor.0.is_empty()).then_some((part, factor))
        };
        let parts = [
            (InputPart::Resistance, take.input_ohm),
            (InputPart::Capacitance, Some(take.input_f)),
        ];
        let factors: Vec<(InputPart, Factor)> = parts.into_iter().filter_map(of_part).collect();
        let n = slopes.nrows();
        let mut more = DMatrix::zeros(n + factors.len(), layout.size);
        more.view_mut((0, 0), slopes.shape()).copy_from(slopes);
        for (k, (_, factor)) in factors.iter().enumerate() {
            for (i, slope) in &factor.0 {
                more[(n + k, *i)] = *slope;
            }
        }
        (!factors.is_empty()).then(|| InputLeft {
            rig: take.rig,
            factors: factors.iter().map(|(part, f)| (*part, f.at(x))).collect(),
            covariance: &more * whole * more.transpose(),
            noise: &more * noise * more.transpose(),
        })
    };
    rigs.into_iter().filter_map(of).collect()
}

/// d(R, L, C, 1/loss or k, tau, emf, a, b) by d(unknowns).
pub(super) fn slopes(layout: &Layout, x: &[f64], coil: &Coil) -> DMatrix<f64> {
    let n = parameters(coil).len();
    let mut s = DMatrix::zeros(n, layout.size);
    if layout.r_free {
        s[(0, layout.kind.count())] = coil.r_ohm;
    }
    s[(1, 0)] = coil.l_h;
    s[(2, 1)] = C_UNIT;
    match layout.kind {
        Kind::Plain => {}
        Kind::Loss if n > 3 => s[(3, 2)] = G_UNIT,
        Kind::Loss => {}
        Kind::Turn | Kind::Core => {
            s[(3, 2)] = 1.0;
            s[(4, 3)] = x[3].exp() * TAU_UNIT;
            s[(5, 4)] = 1.0;
            let shape = coil.eddy.map_or(Vec::new(), |e| e.shape());
            for (i, (name, v)) in shape.into_iter().enumerate() {
                s[(6 + i, if name == "a" { 5 } else { 6 })] = v;
            }
        }
    }
    s
}
