//! The models fitted, with the lines left out as they show and the noise as it is told.

use num_complex::Complex64;

use super::Choice;
use super::prepare::Prepared;
use crate::fit::kind::{Kind, Metal};
use crate::fit::ladder::{self, Climb};
use crate::fit::{self, Fitted};
use crate::transfer::bins::Bins;
use crate::transfer::lines::{self, Hum};
use crate::transfer::noise;

/// A mask of lines that changes by no more than one bin in so many leaves a fit about where it was.
const NEARLY_ALL: usize = 10;

/// Scatter of the residuals, in units of the noise, of a take that is torn or bent: no model follows such a one.
const TORN: f64 = 30.0;

/// The second-order fit, what the ladder of richer ones came to, and the lines left out of all.
pub(super) struct Fits {
    pub plain: Fitted,
    pub climb: Climb,
    pub lines: Vec<bool>,
    pub hum: Option<Hum>,
}

impl Fits {
    fn new(p: &Prepared, plain: Fitted, climb: Climb, lines: Vec<bool>) -> Self {
        let best = &climb.chosen;
        let answer = |i: usize| (p.bins.y[i] - best.residuals[i]).norm_sqr();
        let hum = lines::hum(&p.bins, &best.residuals, &lines, answer);
        Fits {
            plain,
            climb,
            lines,
            hum,
        }
    }

    pub(super) fn of(p: &mut Prepared, choice: Choice) -> Option<Self> {
        let rounds = if p.noise_from_silence { 1 } else { 4 };
        let mut mask = p.lines.clone();
        let mut before: Option<(Fitted, Climb)> = None;
        for round in 0..rounds {
            let plain = fit::second_order(&p.bins, &p.setup)?;
            let climb = choice.climb(p, &plain);
            if !p.noise_from_silence {
                noise_from_residuals(&mut p.bins, &climb.chosen.residuals, &mask);
            }
            let next = lines::find(&p.bins, &climb.chosen.residuals, p.setup.band);
            let changed = next.iter().zip(&mask).filter(|(a, b)| a != b).count();
            mask = next;
            p.leave_out(&mask);
            if changed == 0 && p.noise_from_silence && round == 0 {
                return Some(Fits::new(p, plain, climb, mask));
            }
            let few = changed <= plain.bins / NEARLY_ALL;
            before = (p.noise_from_silence && few).then_some((plain, climb));
        }
        // A few bins fewer move a fit by a part of its uncertainty: no need to look for it all over again.
        if let Some((plain, climb)) = before
            && let Some(plain) = fit::again(&p.bins, &p.setup, &plain)
            && let Some(climb) = climb.again(&p.bins, &p.setup, &plain)
        {
            return Some(Fits::new(p, plain, climb, mask));
        }
        let plain = fit::second_order(&p.bins, &p.setup)?;
        let climb = choice.climb(p, &plain);
        Some(Fits::new(p, plain, climb, mask))
    }

    /// The fit that follows the data best.
    pub(super) fn best(&self) -> &Fitted {
        &self.climb.chosen
    }
}

impl Choice {
    /// The models above the plain one, as far as they were asked for.
    fn climb(self, p: &Prepared, plain: &Fitted) -> Climb {
        let (bins, setup) = (&p.bins, &p.setup);
        match self.kind() {
            None if plain.scatter > TORN => ladder::only(bins, setup, plain, Kind::PLAIN),
            None => ladder::climb(bins, setup, plain),
            Some(kind) => ladder::only(bins, setup, plain, kind),
        }
    }

    /// The one model that was asked for.
    pub fn kind(self) -> Option<Kind> {
        Some(Kind::of(match self {
            Choice::Better => return None,
            Choice::SecondOrder => Metal::None,
            Choice::Turn => Metal::Turn,
            Choice::Metal => Metal::Core,
            Choice::MetalLoop => Metal::CoreAndSheet,
        }))
    }
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
