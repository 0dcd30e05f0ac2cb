//! Rounds that are alike, averaged and fitted: the same models as of a take, so that both read alike.

use num_complex::Complex64;

use super::document::Figures;
use super::lines::{Lines, Played};
use crate::analysis::chain::Chain;
use crate::analysis::curve;
use crate::fit::{self, ladder, natural, peak};
use crate::record::Curve;
use crate::transfer::bins::Bins;
use crate::transfer::noise;

/// What the averaged rounds say.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    pub figures: Figures,
    pub curve: Curve,
}

/// Why there is no reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unread {
    TooFewRounds,
    PickupTooLoud,
    ReferenceTooLoud,
    NoReference,
    NoAnswer,
    /// An answer that is none of a pickup.
    NoResonance,
}

/// The noise is told from the scatter of rounds: of fewer than these none is told.
pub(super) const LEAST_ROUNDS: usize = 2;
/// A sample this near full scale is cut, or about to be.
const FULL: f32 = 0.985;
/// A reference below this is none (-70 dBFS).
const LEAST_REFERENCE: f32 = 3e-4;
/// Chi-square that a fit must explain: chance follows a narrow peak by far less.
const LEAST_EXPLAINED: f64 = 100.0;
/// Standard uncertainties, from noise, of what is no reading.
const VAGUE_F0: f64 = 0.1;
const VAGUE_Q: f64 = 0.3;

pub(super) fn read(played: &Played, chain: &Chain, rounds: &[&Lines]) -> Result<Reading, Unread> {
    if rounds.len() < LEAST_ROUNDS {
        return Err(Unread::TooFewRounds);
    }
    let top = |channel: usize| rounds.iter().map(|r| r.peaks[channel]).fold(0.0, f32::max);
    match (top(0), top(1)) {
        (_, r) if r < LEAST_REFERENCE => return Err(Unread::NoReference),
        (p, _) if p > FULL => return Err(Unread::PickupTooLoud),
        (_, r) if r > FULL => return Err(Unread::ReferenceTooLoud),
        _ => {}
    }
    let bins = averaged(played, rounds);
    let setup = chain.setup(false, played.band);
    let plain = fit::second_order(&bins, &setup).ok_or(Unread::NoAnswer)?;
    if plain.explained(&bins) < LEAST_EXPLAINED {
        return Err(Unread::NoAnswer);
    }
    let shown = ladder::climb(&bins, &setup, &plain).chosen;
    let natural = natural::of(&shown).ok_or(Unread::NoResonance)?;
    let (f0, q) = (natural.f0, natural.q);
    if f0.u_noise > VAGUE_F0 * f0.value || q.u_noise > VAGUE_Q * q.value {
        return Err(Unread::NoResonance);
    }
    let points = curve::measure(&bins, setup.band, &shown);
    let (low, _) = curve::low_level(&points, (natural.level.value, f0.value), false);
    let peak = peak::estimate(&shown);
    Ok(Reading {
        figures: Figures {
            peak_hz: peak.as_ref().map(|p| p.hz),
            peak_db: peak.as_ref().map(|p| p.db),
            f0_hz: f0,
            q,
        },
        curve: curve::to_record(&points, low),
    })
}

/// The rounds as one: where their clocks run on beside each other, so do Y and X, and Y/X stands.
fn averaged(played: &Played, rounds: &[&Lines]) -> Bins {
    let (lines, n) = (played.on.len(), rounds.len() as f64);
    let (mut x, mut y) = (Vec::with_capacity(lines), Vec::with_capacity(lines));
    let mut power = Vec::with_capacity(lines);
    for k in 0..lines {
        let xx: f64 = rounds.iter().map(|r| r.x[k].norm_sqr()).sum();
        let xy: Complex64 = rounds.iter().map(|r| r.x[k].conj() * r.y[k]).sum();
        let told = played.on[k] && xx > 0.0;
        let h = if told { xy / xx } else { Complex64::new(0.0, 0.0) };
        let left: f64 = rounds.iter().map(|r| (r.y[k] - h * r.x[k]).norm_sqr()).sum();
        let size = (xx / n).sqrt();
        x.push(Complex64::new(size, 0.0));
        y.push(h * size);
        power.push(left / (n - 1.0) / n);
    }
    Bins {
        spacing_hz: played.spacing_hz,
        first: 0,
        x_clock: None,
        syy: smoothed(&power, played),
        sxx: vec![0.0; lines],
        syx: vec![Complex64::new(0.0, 0.0); lines],
        used: played.on.clone(),
        length: 1.0,
        energy: 1.0,
        x,
        y,
    }
}

/// The scatter of few rounds says little of one line; that of its neighbours says enough. Lines that are not played hold the
/// mains, and do not count.
fn smoothed(power: &[f64], played: &Played) -> Vec<f64> {
    let counted = |of: &dyn Fn(usize) -> f64| {
        let values: Vec<f64> = (0..power.len())
            .map(|k| if played.on[k] { of(k) } else { 0.0 })
            .collect();
        noise::smooth(&values, played.spacing_hz)
    };
    let (sum, count) = (counted(&|k| power[k]), counted(&|_| 1.0));
    let mean = |(s, n): (&f64, &f64)| if *n > 1e-9 { s / n } else { 0.0 };
    let smooth: Vec<f64> = sum.iter().zip(&count).map(mean).collect();
    let least = smooth.iter().copied().fold(0.0, f64::max) * 1e-12;
    smooth.iter().map(|s| s.max(least).max(f64::MIN_POSITIVE)).collect()
}
