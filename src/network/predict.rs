//! What a coil does in a wiring: peak, levels, curve, and how far they are known.

use std::f64::consts::TAU;

use nalgebra::DMatrix;
use num_complex::Complex64;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::coil::Coil;
use super::coil_file::{parameters, with_parameters};
use super::knob::steps;
use super::peak::{self, Peak};
use super::second_order::SecondOrder;
use super::wiring::Wiring;

/// The levels that are always told.
pub const LEVELS_HZ: [f64; 2] = [100.0, 5000.0];

/// Figures of a predicted response. Gains in dB: output over EMF.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Of a circuit of second order only.
    pub second_order: Option<SecondOrder>,
    pub peak_hz: Option<f64>,
    /// Gain at the peak.
    pub peak_db: Option<f64>,
    /// The peak above the gain at 10 Hz.
    pub height_db: Option<f64>,
    /// Gains at `LEVELS_HZ`.
    pub levels_db: [f64; 2],
}

/// Standard uncertainties of the figures, from those of the coil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "DoubtFound")]
pub struct Doubt {
    pub f0_hz: Option<f64>,
    pub q: Option<f64>,
    pub peak_hz: Option<f64>,
    pub peak_db: Option<f64>,
    pub height_db: Option<f64>,
    // Of levels that are not there all around the coil: nothing.
    pub level_100_hz_db: Option<f64>,
    pub level_5_khz_db: Option<f64>,
}

pub fn db(gain: f64) -> f64 {
    20.0 * gain.log10()
}

/// 512 logarithmic points from 20 Hz to 20 kHz, as documents carry where nothing else is asked for.
pub fn usual_grid() -> Vec<f64> {
    steps(20.0, 20e3, 512, true)
}

pub fn curve(wiring: &Wiring, coil: &Coil, freq_hz: &[f64]) -> Vec<Complex64> {
    freq_hz.iter().map(|f| wiring.response(coil, TAU * f)).collect()
}

pub fn peak_of(wiring: &Wiring, coil: &Coil) -> Option<Peak> {
    peak::find(|f| wiring.response(coil, TAU * f).norm())
}

pub fn figures(wiring: &Wiring, coil: &Coil) -> Figures {
    let gain = |f: f64| db(wiring.response(coil, TAU * f).norm());
    let peak = peak_of(wiring, coil);
    let low = gain(peak::LOW_HZ);
    Figures {
        second_order: wiring.second_order(coil),
        peak_hz: peak.map(|p| p.hz),
        peak_db: peak.map(|p| db(p.gain)),
        height_db: peak.map(|p| db(p.gain) - low),
        levels_db: LEVELS_HZ.map(gain),
    }
}

/// How a coil's covariance moves any numbers computed from it: u of each, by first-order propagation (JCGM 100:2008, 5.2).
/// `None` where a number does not exist all around the coil.
pub fn propagate(
    coil: &Coil,
    covariance: &DMatrix<f64>,
    numbers: impl Fn(&Coil) -> Vec<Option<f64>>,
) -> Vec<Option<f64>> {
    let held = |p: &[f64]| parameters(&with_parameters(coil, p));
    propagate_over(&parameters(coil), covariance, held, |p| {
        numbers(&with_parameters(coil, p))
    })
}

/// The same of any numbers that are known with a covariance; `held` keeps them within what they can be.
pub fn propagate_over(
    centre: &[f64],
    covariance: &DMatrix<f64>,
    held: impl Fn(&[f64]) -> Vec<f64>,
    numbers: impl Fn(&[f64]) -> Vec<Option<f64>>,
) -> Vec<Option<f64>> {
    let n = centre.len();
    let sd: Vec<f64> = (0..n).map(|i| covariance[(i, i)].max(0.0).sqrt()).collect();
    let mut slopes: Vec<Option<Vec<f64>>> = numbers(centre).iter().map(|v| v.map(|_| vec![0.0; n])).collect();
    for i in (0..n).filter(|i| sd[*i] > 0.0) {
        // Far enough for the arithmetic, near enough for a straight line.
        let size = centre[i].abs();
        let h = if size > 0.0 {
            (0.1 * sd[i]).min(1e-3 * size)
        } else {
            0.1 * sd[i]
        };
        let at = |step: f64| {
            let mut p = centre.to_vec();
            p[i] += step;
            let p = held(&p);
            (p[i], numbers(&p))
        };
        let ((above_at, above), (below_at, below)) = (at(h), at(-h));
        for (k, slot) in slopes.iter_mut().enumerate() {
            let slope = match (above.get(k).copied().flatten(), below.get(k).copied().flatten()) {
                (Some(a), Some(b)) if above_at > below_at => Some((a - b) / (above_at - below_at)),
                _ => None,
            };
            match (slot.as_mut(), slope) {
                (Some(s), Some(v)) => s[i] = v,
                _ => *slot = None,
            }
        }
    }
    slopes
        .iter()
        .map(|s| {
            let s = nalgebra::DVector::from_vec(s.clone()?);
            let v = (s.transpose() * covariance * &s)[(0, 0)];
            Some(v.max(0.0).sqrt())
        })
        .collect()
}

/// Uncertainties of the figures of a prediction.
pub fn doubt(wiring: &Wiring, coil: &Coil, covariance: &DMatrix<f64>) -> Doubt {
    let u = propagate(coil, covariance, |c| {
        let f = figures(wiring, c);
        vec![
            f.second_order.map(|s| s.f0_hz),
            f.second_order.map(|s| s.q),
            f.peak_hz,
            f.peak_db,
            f.height_db,
            Some(f.levels_db[0]).filter(|d| d.is_finite()),
            Some(f.levels_db[1]).filter(|d| d.is_finite()),
        ]
    });
    Doubt {
        f0_hz: u[0],
        q: u[1],
        peak_hz: u[2],
        peak_db: u[3],
        height_db: u[4],
        level_100_hz_db: u[5],
        level_5_khz_db: u[6],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::Load;

    const COIL: Coil = Coil {
        r_ohm: 6e3,
        l_h: 2.4,
        c_f: 120e-12,
        loss_ohm: None,
        eddy: None,
    };

    /// ngspice 39: 6 k, 2.4 H, 620 pF in all, 200 k: peak 4014.996 Hz, 7.8473 dB re EMF, 8.1040 dB above the lows.
    #[test]
    fn figures_of_a_known_circuit() {
        let w = Wiring::from(Load::parse("cap=500p res=200k").unwrap());
        let f = figures(&w, &COIL);
        assert!((f.peak_hz.unwrap() - 4014.996).abs() < 1e-3);
        assert!((f.peak_db.unwrap() - 7.8473).abs() < 6e-5);
        assert!((f.height_db.unwrap() - 8.1040).abs() < 1e-4);
        assert!((f.second_order.unwrap().q - 2.49039).abs() < 6e-6);
        let grid = usual_grid();
        assert_eq!((grid.len(), grid[0]), (512, 20.0));
        assert!((grid[511] / 20e3 - 1.0).abs() < 1e-12);
    }

    /// A value of nought may be uncertain as well.
    #[test]
    fn uncertainty_at_nought() {
        let w = Wiring::from(Load::parse("cap=200p").unwrap());
        let coil = Coil { c_f: 0.0, ..COIL };
        let mut c = DMatrix::zeros(3, 3);
        c[(2, 2)] = 1e-22;
        let f = figures(&w, &coil).peak_hz.unwrap();
        let u = doubt(&w, &coil, &c).peak_hz.unwrap();
        // 10 pF of 200: 2.5 % of f0.
        assert!((u / f / 0.025 - 1.0).abs() < 0.02, "{u}");
    }

    /// f0 goes with 1/sqrt(L): 2 % of L are 1 % of f0; and L and C that err opposite ways cancel in it.
    #[test]
    fn uncertainty_of_the_coil_is_carried_on() {
        let w = Wiring::from(Load::default());
        let (ul, uc) = (0.02 * COIL.l_h, 0.02 * COIL.c_f);
        let mut c = DMatrix::zeros(3, 3);
        c[(1, 1)] = ul * ul;
        let f0 = figures(&w, &COIL).second_order.unwrap().f0_hz;
        let d = doubt(&w, &COIL, &c);
        assert!((d.f0_hz.unwrap() / (0.01 * f0) - 1.0).abs() < 1e-5);
        c[(2, 2)] = uc * uc;
        c[(1, 2)] = -ul * uc;
        c[(2, 1)] = -ul * uc;
        let d = doubt(&w, &COIL, &c);
        assert!(d.f0_hz.unwrap() < 1e-6 * f0, "{d:?}");
    }

    /// A level that is not there on one side of the coil is not known, which is something else than exact.
    #[test]
    fn a_level_that_is_not_there_has_no_uncertainty() {
        let w = Wiring::from(Load::parse("vol=250k@0 amp=1M").unwrap());
        let c = DMatrix::from_diagonal(&vec![100.0, 1e-4, 1e-24].into());
        let levels = |d: Doubt| [d.level_100_hz_db, d.level_5_khz_db];
        assert_eq!(levels(doubt(&w, &COIL, &c)), [None, None]);
        let w = Wiring::from(Load::parse("vol=250k amp=1M").unwrap());
        assert!(levels(doubt(&w, &COIL, &c)).iter().all(Option::is_some));
    }
}
