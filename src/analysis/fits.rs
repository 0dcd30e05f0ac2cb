//! Both models fitted, with the lines left out as they show and the noise as it is told.

use num_complex::Complex64;

use super::Choice;
use super::prepare::Prepared;
use crate::fit::model::Param;
use crate::fit::{self, Fitted};
use crate::transfer::bins::Bins;
use crate::transfer::lines::{self, Hum};
use crate::transfer::noise;

/// An eddy model must be better by this much in the information criterion ("very strong", Kass and Raftery, JASA 90, 1995).
const CLEARLY_BETTER: f64 = -10.0;
/// A mask of lines that changes by no more than one bin in so many leaves a fit about where it was.
const NEARLY_ALL: usize = 10;

/// Second-order fit, eddy fit if it came to one, and the lines left out of both.
pub(super) struct Fits {
    pub second: Fitted,
    pub eddy: Option<Fitted>,
    pub delta_bic: Option<f64>,
    pub lines: Vec<bool>,
    pub hum: Option<Hum>,
}

impl Fits {
    fn new(p: &Prepared, second: Fitted, eddy: Option<Fitted>, lines: Vec<bool>) -> Self {
        let delta_bic = eddy.as_ref().map(|e| fit::delta_bic(&second, e));
        let best = eddy
            .as_ref()
            .filter(|_| delta_bic.is_some_and(|d| d < 0.0))
            .unwrap_or(&second);
        let answer = |i: usize| (p.bins.y[i] - best.residuals[i]).norm_sqr();
        let hum = lines::hum(&p.bins, &best.residuals, &lines, answer);
        Fits {
            second,
            eddy,
            delta_bic,
            lines,
            hum,
        }
    }

    /// Both models, the eddy model also where nothing speaks for it if it was chosen.
    pub(super) fn of(p: &mut Prepared, choice: Choice) -> Option<Self> {
        let wanted = choice == Choice::Eddy;
        let rounds = if p.noise_from_silence { 1 } else { 4 };
        let mut mask = p.lines.clone();
        let mut before: Option<(Fitted, Option<Fitted>)> = None;
        for round in 0..rounds {
            let first = fit::second_order(&p.bins, &p.setup)?;
            let better = fit::eddy(&p.bins, &p.setup, &first, wanted).filter(|e| e.cost < first.cost);
            let best = better.as_ref().unwrap_or(&first);
            if !p.noise_from_silence {
                noise_from_residuals(&mut p.bins, &best.residuals, &mask);
            }
            let next = lines::find(&p.bins, &best.residuals, p.setup.band);
            let changed = next.iter().zip(&mask).filter(|(a, b)| a != b).count();
            mask = next;
            p.leave_out(&mask);
            if changed == 0 && p.noise_from_silence && round == 0 {
                return Some(Fits::new(p, first, better, mask));
            }
            let few = changed <= first.bins / NEARLY_ALL;
            before = (p.noise_from_silence && few).then_some((first, better));
        }
        // A few bins fewer move a fit by a part of its uncertainty: no need to look for it all over again.
        let again = |f: &Fitted| fit::again(&p.bins, &p.setup, f);
        let (first, better) = before.unzip();
        let second = first
            .and_then(|f| again(&f))
            .or_else(|| fit::second_order(&p.bins, &p.setup))?;
        let eddy = better
            .flatten()
            .and_then(|b| again(&b))
            .or_else(|| fit::eddy(&p.bins, &p.setup, &second, wanted));
        Some(Fits::new(p, second, eddy, mask))
    }

    /// The fit that follows the data best: the eddy model where it is clearly so by the information criterion, and believable.
    pub(super) fn best(&self) -> &Fitted {
        match &self.eddy {
            Some(e) if self.delta_bic.is_some_and(|d| d < CLEARLY_BETTER) && sound(e) => e,
            _ => &self.second,
        }
    }
}

/// Whether an eddy fit can be believed: inside its bounds, poles stable, and the pole told from the zero.
pub(super) fn sound(eddy: &Fitted) -> bool {
    let (Some(pole), Some(zero)) = (eddy.known(Param::Pole), eddy.known(Param::Zero)) else {
        return false;
    };
    // A loss beside the EMF makes a zero and no pole; its pole ends on the wall at nought, or as near as noise lets it.
    let alone = zero.value > 3.0 * zero.u;
    let free = eddy.at_bound.iter().all(|p| match p {
        Param::B1 | Param::B2 | Param::Zero => false,
        Param::Pole => pole.value == 0.0 && alone,
        _ => true,
    });
    let sure = pole.u < pole.value || alone;
    // A shorted turn cannot turn the EMF over: a zero clearly on the wrong side is no metal.
    free && sure && zero.value > -3.0 * zero.u
}

/// Noise where there was no silence: the local power of the residuals.
pub(super) fn noise_from_residuals(bins: &mut Bins, residuals: &[Complex64], lines: &[bool]) {
    let original: Vec<f64> = residuals.iter().map(|r| r.norm_sqr() / bins.energy).collect();
    // Lines are bridged by what was there before, so that hum does not count as noise.
    let half = (30.0 / bins.spacing_hz) as usize + 8;
    let bridged = |i: usize| {
        let around =
            (i.saturating_sub(half)..(i + half).min(original.len())).filter(|k| !lines[*k] && original[*k] > 0.0);
        let (sum, n) = around.fold((0.0, 0usize), |(s, n), k| (s + original[k], n + 1));
        if n == 0 { 0.0 } else { sum / n as f64 }
    };
    let power: Vec<f64> = (0..original.len())
        .map(|i| if lines[i] { bridged(i) } else { original[i] })
        .collect();
    let smooth = noise::smooth(&power, bins.spacing_hz);
    let least = smooth.iter().copied().fold(0.0, f64::max) * 1e-12;
    for (s, v) in bins.syy.iter_mut().zip(&smooth) {
        *s = v.max(least).max(f64::MIN_POSITIVE);
    }
    bins.sxx.fill(0.0);
    bins.syx.fill(Complex64::new(0.0, 0.0));
}
