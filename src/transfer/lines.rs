//! Lines in the residuals: mains hum and whistles. They live in few bins; those bins are left out of the fit.

use std::ops::Range;

use nalgebra::Matrix3;
use num_complex::Complex64;

use super::bins::Bins;
use super::sums::{median, ranked};

/// What the mains leaves in a take.
#[derive(Debug, Clone, Copy, Default)]
pub struct Hum {
    pub mains_hz: f64,
    /// Power of all mains lines in the pickup channel, in units of |Y|^2 summed over bins.
    pub power: f64,
    /// Whether any line stands above the pickup's signal in its bins.
    pub above_signal: bool,
}

const BLOCK_HZ: f64 = 120.0;
/// The mean of three neighbours of exponential variables passes this times the mean once in about 1e7 tries.
const LINE: f64 = 7.5;
/// A line's skirt is followed down to this.
const SKIRT: f64 = 2.5;
const MARGIN_BINS: usize = 2;
/// Half of the neighbourhood over which a misfit is taken to be smooth, in bins and in hertz, whichever is more.
const NEIGHBOURS: usize = 20;
const NEIGHBOURS_HZ: f64 = 25.0;
const HARMONICS: u32 = 50;

/// Marks the bins where the residual holds a line: far above its neighbourhood and not a copy of the drive's own spectrum.
///
/// `residuals` are Y - H X. Returns the mask.
pub fn find(bins: &Bins, residuals: &[Complex64], band: [f64; 2]) -> Vec<bool> {
    let mut mask = vec![false; bins.len()];
    let inside = bins.inside(band);
    if inside.len() <= 16 {
        return mask;
    }
    let over_noise = |(i, e): (usize, Complex64)| e.norm_sqr() / bins.noise_power(i).max(f64::MIN_POSITIVE);
    let whole: Vec<f64> = inside.clone().map(|i| over_noise((i, residuals[i]))).collect();
    // The same with the part taken off that follows X smoothly: what a misfit of the model leaves.
    let freed = without_misfit(bins, residuals, inside.clone());
    let freed: Vec<f64> = inside.clone().zip(freed).map(over_noise).collect();
    // A line shows in both; subtracting may smear a strong line over its neighbours, so neither decides alone.
    let near: Vec<f64> = (0..whole.len())
        .map(|i| mean_of_three(&whole, i).min(mean_of_three(&freed, i)))
        .collect();
    let from = inside.start;
    let drive: Vec<f64> = inside.clone().map(|i| bins.x[i].norm_sqr()).collect();
    let block = ((BLOCK_HZ / bins.spacing_hz) as usize).max(32);
    let mut start = 0;
    while start < near.len() {
        let stop = if start + 2 * block > near.len() {
            near.len()
        } else {
            start + block
        };
        // Lower quartile of an exponential variable: 0.2877 of its mean. A comb of hum may fill half of a block.
        let typical = ranked(&mut whole[start..stop].to_vec(), (stop - start) / 4) / 0.2877;
        let follows = follows(&drive[start..stop], &residuals[from + start..from + stop]);
        for i in start..stop {
            let misfit = follows * drive[i] / bins.noise_power(from + i).max(f64::MIN_POSITIVE);
            let expected = typical.max(misfit);
            if near[i] > LINE * expected {
                mark(&mut mask[inside.clone()], &near, i, SKIRT * expected);
            }
        }
        start = stop;
    }
    mask
}

fn mean_of_three(v: &[f64], i: usize) -> f64 {
    let r = &v[i.saturating_sub(1)..(i + 2).min(v.len())];
    r.iter().sum::<f64>() / r.len() as f64
}

/// What part of |X|^2 the misfit of the model leaves where the drive is strong.
fn follows(drive: &[f64], residuals: &[Complex64]) -> f64 {
    let strong = median(&mut drive.to_vec());
    let there = drive
        .iter()
        .zip(residuals)
        .filter(|(x, _)| **x >= strong && strong > 0.0);
    median(&mut there.map(|(x, e)| e.norm_sqr() / x).collect::<Vec<f64>>())
}

/// Marks a line, its skirts down to `floor`, and a margin.
fn mark(mask: &mut [bool], near: &[f64], i: usize, floor: f64) {
    let over = |v: &f64| *v > floor;
    let below = near[..i].iter().rev().take_while(|v| over(v)).count();
    let above = near[i + 1..].iter().take_while(|v| over(v)).count();
    let end = (i + above + MARGIN_BINS + 1).min(mask.len());
    mask[i.saturating_sub(below + MARGIN_BINS)..end].fill(true);
}

/// Residuals less r(f) X, r a parabola through E/X over each neighbourhood: what a misfit of the model leaves follows X smoothly,
/// and a steep one, beside a sharp resonance, bends within it.
pub fn without_misfit(bins: &Bins, residuals: &[Complex64], inside: Range<usize>) -> Vec<Complex64> {
    let mut freed = residuals[inside.clone()].to_vec();
    let mut start = inside.start;
    while start < inside.end {
        let f = bins.freq(start);
        let hz = NEIGHBOURS_HZ.min(0.1 * f).max(0.003 * f);
        let half = NEIGHBOURS.max((hz / bins.spacing_hz) as usize);
        let stop = (start + half).min(inside.end);
        let centre = (start + stop) / 2;
        let near = centre.saturating_sub(half).max(inside.start)..(centre + half + 1).min(inside.end);
        let place = |i: usize| (i as f64 - centre as f64) / half as f64;
        if let Some(r) = parabola(bins, residuals, near, place) {
            for i in start..stop {
                let t = place(i);
                freed[i - inside.start] -= (r[0] + (r[1] + r[2] * t) * t) * bins.x[i];
            }
        }
        start = stop;
    }
    freed
}

/// The parabola in `place` that E/X follows best over the used bins of a neighbourhood; `None` where too few tell.
fn parabola(
    bins: &Bins,
    residuals: &[Complex64],
    near: Range<usize>,
    place: impl Fn(usize) -> f64,
) -> Option<[Complex64; 3]> {
    let mut moments = [0.0; 5];
    let mut along = [Complex64::new(0.0, 0.0); 3];
    for i in near.filter(|i| bins.used[*i]) {
        let w = 1.0 / bins.syy[i].max(f64::MIN_POSITIVE);
        let (mut p, mut c) = (w * bins.x[i].norm_sqr(), w * bins.x[i].conj() * residuals[i]);
        let t = place(i);
        for k in 0..5 {
            moments[k] += p;
            p *= t;
            if k < 3 {
                along[k] += c;
                c *= t;
            }
        }
    }
    let inverse = Matrix3::from_fn(|a, b| moments[a + b]).try_inverse()?;
    let r = [0, 1, 2].map(|a| (0..3).map(|b| along[b] * inverse[(a, b)]).sum::<Complex64>());
    r.iter().all(|v| v.is_finite()).then_some(r)
}

/// Which of the marked lines are mains hum: the best comb within 1 % of 50 or 60 Hz.
pub fn hum(bins: &Bins, residuals: &[Complex64], mask: &[bool], answer: impl Fn(usize) -> f64) -> Option<Hum> {
    let excess = |i: usize| (residuals[i].norm_sqr() - bins.noise_power(i)).max(0.0);
    let marked: Vec<usize> = (0..bins.len()).filter(|i| mask[*i]).collect();
    if marked.is_empty() {
        return None;
    }
    let total: f64 = marked.iter().map(|i| excess(*i)).sum();
    let width = |k: u32| 1.5 * bins.spacing_hz + 0.4 + 0.06 * f64::from(k);
    let harmonic = |f: f64, mains: f64| {
        let k = (f / mains).round();
        (k >= 1.0 && k <= f64::from(HARMONICS) && (f - k * mains).abs() <= width(k as u32)).then_some(k as u32)
    };
    let mut best: Option<(f64, f64)> = None;
    for centre in [50.0, 60.0] {
        for step in -50..=50 {
            let mains = centre * (1.0 + 0.0002 * f64::from(step));
            // Each harmonic votes by the logarithm of its line, so that one strong whistle makes no comb.
            let mut score = [0.0f64; HARMONICS as usize + 1];
            for i in &marked {
                if let Some(k) = harmonic(bins.freq(*i), mains) {
                    let off = (bins.freq(*i) - f64::from(k) * mains).abs() / width(k);
                    let vote = (1.0 + excess(*i) / bins.noise_power(*i)).ln() * (1.0 - 0.5 * off);
                    score[k as usize] = score[k as usize].max(vote);
                }
            }
            let sum: f64 = score.iter().sum();
            if best.is_none_or(|b| sum > b.1) {
                best = Some((mains, sum));
            }
        }
    }
    let (mains, _) = best?;
    let (mut power, mut above) = (0.0, false);
    for i in &marked {
        // Skirts and wander reach a little farther than the line itself.
        let f = bins.freq(*i);
        let k = (f / mains).round();
        if k >= 1.0 && (f - k * mains).abs() <= 2.0 + 2.0 * width(k as u32) {
            power += excess(*i);
            above |= harmonic(f, mains).is_some() && excess(*i) > answer(*i);
        }
    }
    (power > 0.02 * total).then_some(Hum {
        mains_hz: mains,
        power,
        above_signal: above,
    })
}
