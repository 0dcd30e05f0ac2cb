//! Channel 1 over channel 2 as a model with its derivatives, for the fit of [`super::inputs`].

use std::f64::consts::{LN_10, TAU};

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use crate::estimate::Estimate;
use crate::fit::group::Group;
use crate::fit::solve::Problem;

pub(super) const DB: f64 = 20.0 / LN_10;

/// A known part in line with channel 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Part {
    Resistor(f64),
    Capacitor(f64),
}

/// What is known of the inputs before: found in an earlier take with the wire alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Channel 1 over channel 2.
    pub gain_db: Estimate,
    /// Channel 1 after channel 2.
    pub delay_s: Estimate,
    pub ac_pickup_hz: Estimate,
    pub ac_reference_hz: Estimate,
    /// What neither this nor the noise explains, rms, in dB.
    pub misfit_db: f64,
    pub reduced_chi2: f64,
    /// From which frequency to which, in hertz.
    pub band_hz: [f64; 2],
}

/// A weak belief that only keeps in place what two equal corners hide: both moving together.
pub(super) const CORNER_HZ: f64 = 4.0;
const CORNER_SPREAD_HZ: f64 = 8.0;
/// Capacitance across a leaded resistor, in pF, with its standard uncertainty (common practice: 0.2 to 0.5 pF).
pub(super) const STRAY: (f64, f64) = (0.3, 0.2);
/// What no take explains is smooth: as if it were so many independent readings over the band, however many groups there are.
const SMOOTH: usize = 4;

/// (parameter, value, standard uncertainty)
pub(super) fn priors(wire: Option<&Pair>, part: Option<(Part, f64)>) -> Vec<(usize, f64, f64)> {
    let mut out = match wire {
        Some(w) => vec![
            (0, w.gain_db.value / DB, w.gain_db.u / DB),
            (1, 1e6 * w.delay_s.value, 1e6 * w.delay_s.u),
            (2, w.ac_pickup_hz.value, w.ac_pickup_hz.u),
            (3, w.ac_reference_hz.value, w.ac_reference_hz.u),
        ],
        None => vec![(2, CORNER_HZ, CORNER_SPREAD_HZ), (3, CORNER_HZ, CORNER_SPREAD_HZ)],
    };
    if matches!(part, Some((Part::Resistor(_), _))) {
        out.push((6, STRAY.0, STRAY.1));
    }
    // A belief without doubt would be no equation.
    out.iter_mut().for_each(|p| p.2 = p.2.max(1e-9));
    out
}

/// Unknowns: ln g, delay in us, f_p and f_r in Hz; with a part: G in uS and C in pF; with a resistor the capacitance
/// across it in pF.
pub(super) struct Ratio<'a> {
    pub(super) groups: &'a [Group],
    pub(super) part: Option<(Part, f64)>,
    pub(super) priors: Vec<(usize, f64, f64)>,
}

impl Ratio<'_> {
    pub(super) fn unknowns(&self) -> usize {
        match self.part {
            Some((Part::Resistor(_), _)) => 7,
            Some((Part::Capacitor(_), _)) => 6,
            None => 4,
        }
    }

    /// H, and the derivatives of its logarithm.
    fn model(&self, theta: &[f64], f: f64) -> (Complex64, [Complex64; 7]) {
        let jw = Complex64::new(0.0, TAU * f);
        let jf = Complex64::new(0.0, f);
        let (pickup, reference) = (jf + theta[2], jf + theta[3]);
        let mut h = (theta[0] - jw * 1e-6 * theta[1]).exp() * reference / pickup;
        let zero = Complex64::new(0.0, 0.0);
        let mut d = [
            Complex64::new(1.0, 0.0),
            -jw * 1e-6,
            -1.0 / pickup,
            1.0 / reference,
            zero,
            zero,
            zero,
        ];
        if let Some((part, _)) = self.part {
            let stray = jw * 1e-12;
            let (z, by_stray) = match part {
                Part::Resistor(ohm) => {
                    let z = 1.0 / (1.0 / ohm + stray * theta[6]);
                    (z, -z * z * stray)
                }
                Part::Capacitor(farad) => (1.0 / (jw * farad), zero),
            };
            let y = 1e-6 * theta[4] + jw * 1e-12 * theta[5];
            let divider = 1.0 / (1.0 + z * y);
            h *= divider;
            d[4] = -z * 1e-6 * divider;
            d[5] = -z * jw * 1e-12 * divider;
            d[6] = -by_stray * y * divider;
        }
        (h, d)
    }

    /// How far what was known before is off, in its standard uncertainties.
    pub(super) fn pulls(&self, theta: &[f64]) -> Vec<f64> {
        self.priors
            .iter()
            .map(|(i, value, sd)| (value - theta[*i]) / sd)
            .collect()
    }

    /// Inverse of the normal matrix, the take's noise so many times what was measured of it (as squares).
    pub(super) fn covariance(&self, theta: &[f64], excess: f64) -> Option<DMatrix<f64>> {
        let p = self.unknowns();
        let mut normal = DMatrix::<f64>::zeros(p, p);
        for g in self.groups {
            let (h, d) = self.model(theta, g.f);
            let weight = 2.0 * g.weight * h.norm_sqr() / excess;
            for a in 0..p {
                for b in 0..p {
                    normal[(a, b)] += weight * (d[a].conj() * d[b]).re;
                }
            }
        }
        for (i, _, sd) in &self.priors {
            normal[(*i, *i)] += 1.0 / (sd * sd);
        }
        normal.try_inverse()
    }

    /// Variances that a smooth misfit of this size (relative, rms) makes in what the fit found: an error common to all groups of
    /// a quarter of the band, independent between the quarters and between real and imaginary part. `inverse`: of the normal
    /// matrix.
    pub(super) fn of_misfit(&self, theta: &[f64], misfit: f64, inverse: &DMatrix<f64>) -> Vec<f64> {
        let p = self.unknowns();
        let mut out = vec![0.0; p];
        for block in self.groups.chunks(self.groups.len().div_ceil(SMOOTH).max(1)) {
            let (mut re, mut im) = (DVector::<f64>::zeros(p), DVector::<f64>::zeros(p));
            for g in block {
                let (h, d) = self.model(theta, g.f);
                let weight = 2.0 * g.weight * h.norm_sqr();
                for (k, d) in d.iter().take(p).enumerate() {
                    re[k] += weight * d.re;
                    im[k] += weight * d.im;
                }
            }
            for moved in [inverse * re, inverse * im] {
                out.iter_mut()
                    .zip(moved.iter())
                    .for_each(|(o, m)| *o += (misfit * m).powi(2));
            }
        }
        out
    }

    /// Root of the mean square of what is left beyond the noise, in dB, each group as much as its noise lets it say.
    pub(super) fn misfit_db(&self, theta: &[f64]) -> f64 {
        let (mut beyond, mut all) = (0.0, 0.0);
        for g in self.groups {
            let h = self.model(theta, g.f).0;
            beyond += (g.h - h).norm_sqr() * g.weight - 1.0;
            all += h.norm_sqr() * g.weight;
        }
        DB * (0.5 * beyond.max(0.0) / all).sqrt()
    }
}

impl Problem for Ratio<'_> {
    fn rows(&self) -> usize {
        2 * self.groups.len() + self.priors.len()
    }

    fn residuals(&self, theta: &[f64], out: &mut DVector<f64>) {
        for (i, g) in self.groups.iter().enumerate() {
            // E|.|^2 is shared by two real residuals.
            let r = (g.h - self.model(theta, g.f).0) * (2.0 * g.weight).sqrt();
            out[2 * i] = r.re;
            out[2 * i + 1] = r.im;
        }
        for (k, (i, value, sd)) in self.priors.iter().enumerate() {
            out[2 * self.groups.len() + k] = (value - theta[*i]) / sd;
        }
    }

    fn jacobian(&self, theta: &[f64], out: &mut DMatrix<f64>) {
        out.fill(0.0);
        for (i, g) in self.groups.iter().enumerate() {
            let (h, d) = self.model(theta, g.f);
            for (c, d) in d.iter().take(self.unknowns()).enumerate() {
                let v = -h * d * (2.0 * g.weight).sqrt();
                out[(2 * i, c)] = v.re;
                out[(2 * i + 1, c)] = v.im;
            }
        }
        for (k, (i, _, sd)) in self.priors.iter().enumerate() {
            out[(2 * self.groups.len() + k, *i)] = -1.0 / sd;
        }
    }
}
