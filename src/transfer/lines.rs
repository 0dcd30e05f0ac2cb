//! Lines in the residuals: mains hum and whistles. They live in few bins; those bins are left out of the fit.

use num_complex::Complex64;

use super::bins::Bins;

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
/// Half of the neighbourhood over which a misfit is taken to be smooth, in bins.
const NEIGHBOURS: usize = 20;
const HARMONICS: u32 = 50;

/// Marks the bins where the residual holds a line: far above its neighbourhood and not a copy of the drive's own spectrum.
///
/// `residuals` are Y - H X. Returns the mask.
pub fn find(bins: &Bins, residuals: &[Complex64], band: [f64; 2]) -> Vec<bool> {
    let n = bins.len();
    let mut mask = vec![false; n];
    let (from, to) = (bins.index_of(band[0]), (bins.index_of(band[1]) + 1).min(n));
    if to <= from + 16 {
        return mask;
    }
    let z: Vec<f64> = (from..to)
        .map(|i| residuals[i].norm_sqr() / (bins.syy[i] * bins.energy).max(f64::MIN_POSITIVE))
        .collect();
    // The same with the part taken off that follows X smoothly: what a misfit of the model leaves.
    let freed: Vec<f64> = without_misfit(bins, residuals, from, to)
        .iter()
        .enumerate()
        .map(|(k, e)| e.norm_sqr() / (bins.syy[from + k] * bins.energy).max(f64::MIN_POSITIVE))
        .collect();
    let mean3 = |i: usize| {
        let mean = |v: &[f64]| {
            let r = &v[i.saturating_sub(1)..(i + 2).min(v.len())];
            r.iter().sum::<f64>() / r.len() as f64
        };
        // A line shows in both; subtracting may smear a strong line over its neighbours, so neither decides alone.
        mean(&z).min(mean(&freed))
    };
    let block = ((BLOCK_HZ / bins.spacing_hz) as usize).max(32);
    let mut scratch = Vec::new();
    let mut start = 0;
    while start < z.len() {
        let stop = if start + 2 * block > z.len() {
            z.len()
        } else {
            start + block
        };
        let quantile = |scratch: &mut Vec<f64>, q: f64| {
            let k = ((scratch.len() as f64 * q) as usize).min(scratch.len() - 1);
            *scratch.select_nth_unstable_by(k, f64::total_cmp).1
        };
        scratch.clear();
        scratch.extend_from_slice(&z[start..stop]);
        // Lower quartile of an exponential variable: 0.2877 of its mean. A comb of hum may fill half of a block.
        let typical = quantile(&mut scratch, 0.25) / 0.2877;
        // What the misfit of the model leaves where the drive is strong.
        scratch.clear();
        scratch.extend((start..stop).map(|i| bins.x[from + i].norm_sqr()));
        let strong = quantile(&mut scratch, 0.5);
        scratch.clear();
        scratch.extend(
            (start..stop)
                .filter(|i| bins.x[from + i].norm_sqr() >= strong && strong > 0.0)
                .map(|i| residuals[from + i].norm_sqr() / bins.x[from + i].norm_sqr()),
        );
        let follows = if scratch.is_empty() {
            0.0
        } else {
            quantile(&mut scratch, 0.5)
        };
        for i in start..stop {
            let misfit =
                follows * bins.x[from + i].norm_sqr() / (bins.syy[from + i] * bins.energy).max(f64::MIN_POSITIVE);
            if mean3(i) > LINE * typical.max(misfit) {
                mask[from + i] = true;
                for dir in [-1i64, 1] {
                    let mut at = i as i64 + dir;
                    while at >= 0 && (at as usize) < z.len() && mean3(at as usize) > SKIRT * typical.max(misfit) {
                        mask[from + at as usize] = true;
                        at += dir;
                    }
                    for extra in 0..MARGIN_BINS as i64 {
                        let j = at + dir * extra;
                        if j >= 0 && (j as usize) < z.len() {
                            mask[from + j as usize] = true;
                        }
                    }
                }
            }
        }
        start = stop;
    }
    mask
}

/// Residuals less r_k X_k, r_k the weighted mean of E/X over the neighbourhood.
pub fn without_misfit(bins: &Bins, residuals: &[Complex64], from: usize, to: usize) -> Vec<Complex64> {
    let mut sums = Vec::with_capacity(to - from + 1);
    let (mut xe, mut xx) = (Complex64::new(0.0, 0.0), 0.0);
    sums.push((xe, xx));
    for i in from..to {
        let w = 1.0 / bins.syy[i].max(f64::MIN_POSITIVE);
        xe += bins.x[i].conj() * residuals[i] * w;
        xx += bins.x[i].norm_sqr() * w;
        sums.push((xe, xx));
    }
    (from..to)
        .map(|i| {
            let half = NEIGHBOURS.max((0.003 * bins.freq(i) / bins.spacing_hz) as usize);
            let (a, b) = (
                sums[(i - from).saturating_sub(half)],
                sums[(i - from + half + 1).min(to - from)],
            );
            let r = if b.1 > a.1 {
                (b.0 - a.0) / (b.1 - a.1)
            } else {
                Complex64::new(0.0, 0.0)
            };
            residuals[i] - r * bins.x[i]
        })
        .collect()
}

/// Which of the marked lines are mains hum: the best comb within 1 % of 50 or 60 Hz.
pub fn hum(bins: &Bins, residuals: &[Complex64], mask: &[bool], answer: impl Fn(usize) -> f64) -> Option<Hum> {
    let excess = |i: usize| (residuals[i].norm_sqr() - bins.syy[i] * bins.energy).max(0.0);
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
                    score[k as usize] = score[k as usize]
                        .max((1.0 + excess(*i) / (bins.syy[*i] * bins.energy)).ln() * (1.0 - 0.5 * off));
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
