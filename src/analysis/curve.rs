//! The measured response at log-spaced frequencies, with its uncertainty.

use num_complex::Complex64;

use crate::fit::{Fitted, bin_variance};
use crate::record::Curve;
use crate::transfer::bins::Bins;

/// A point of the measured response, exciter and AC coupling taken out.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    pub f: f64,
    /// Measured G.
    pub g: Complex64,
    /// Standard uncertainty of |G| relative to it (and of the phase in rad).
    pub u: f64,
    /// G of the model.
    pub model: Complex64,
}

/// Exact 1/24-octave frequencies, base ten (IEC 61260-1:2014: 1000 Hz x 10^(0.3 k/24)), inside a band.
pub fn grid(band: [f64; 2]) -> impl Iterator<Item = (f64, f64, f64)> {
    let at = |k: f64| 1000.0 * 10f64.powf(0.3 * k / 24.0);
    let index = |f: f64| 24.0 / 0.3 * (f / 1000.0).log10();
    let (a, b) = (index(band[0]).ceil() as i32, index(band[1]).floor() as i32);
    (a..=b).map(move |k| {
        let k = f64::from(k);
        (at(k), at(k - 0.5), at(k + 0.5))
    })
}

/// A point more uncertain than this (relative) says nothing.
const TOO_VAGUE: f64 = 0.4;

/// Averages Y/(H X) about every grid frequency and multiplies the model back in, so that its slope does no harm.
pub fn measure(bins: &Bins, band: [f64; 2], fit: &Fitted) -> Vec<Point> {
    let excess = fit.excess();
    let at = fit.model.at(&fit.theta);
    grid(band)
        .filter_map(|(f, low, high)| {
            // At low frequency a twelfth of an octave holds few bins; a handful is taken anyway.
            let middle = bins.index_of(f);
            let from = bins.index_of(low).min(middle.saturating_sub(2));
            let to = bins.index_of(high).max(middle + 2).min(bins.len().saturating_sub(1));
            let (mut xe, mut xx) = (Complex64::new(0.0, 0.0), 0.0);
            for i in (from..=to).filter(|i| bins.used[*i]) {
                let h = at.response(bins.freq(i));
                let w = 1.0 / bin_variance(bins, i, h);
                // Y - residual is H X as fitted, clock included.
                let hx = bins.y[i] - fit.residuals[i];
                // The reference's noise pulls the ratio down by a known part: taken off.
                let noise = (h.norm_sqr() * bins.sxx[i] - h.conj() * bins.syx[i]) * bins.energy;
                xe += (hx.conj() * fit.residuals[i] + noise) * w;
                xx += (hx.norm_sqr() - h.norm_sqr() * bins.sxx[i] * bins.energy) * w;
            }
            if !(xx > 0.0 && xx.is_finite()) {
                return None;
            }
            let model = fit.shape(f);
            let ratio = 1.0 + xe / xx;
            // Against the model where noise makes the measured value look large.
            let u = (0.5 * excess / xx).sqrt() / ratio.norm().min(1.0);
            if u > TOO_VAGUE {
                return None;
            }
            let g = model * ratio;
            (g.norm() > 0.0 && u.is_finite()).then_some(Point { f, g, u, model })
        })
        .collect()
}

/// Decibels per unit of the natural logarithm of an amplitude.
pub const DB: f64 = 20.0 * std::f64::consts::LOG10_E;

/// Level at low frequency, |G|, and its uncertainty in dB: the model's own, `level`, or, where it misses the curve, the mean of
/// the curve from 60 to 300 Hz with the scatter of its points.
pub fn low_level(points: &[Point], (level, f0): (f64, f64), missed: bool) -> (f64, f64) {
    // Low enough that even a strongly damped coil has not begun to fall.
    let top = 300f64.min(f0 / 8.0);
    let lows: Vec<f64> = points
        .iter()
        .filter(|p| missed && (60.0..=top).contains(&p.f) && DB * p.u < 1.0)
        .map(|p| 20.0 * (p.g.norm() / level).log10())
        .filter(|d| d.is_finite())
        .collect();
    if lows.len() < 8 {
        return (level, 0.0);
    }
    let n = lows.len() as f64;
    let mean = lows.iter().sum::<f64>() / n;
    // Neighbouring points err alike: their scatter counts whole, not divided by their number.
    let scatter = (lows.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    (level * 10f64.powf(mean / 20.0), scatter)
}

/// The points as the record keeps them: 0 dB is the level `dc` at low frequency.
pub fn to_record(points: &[Point], dc: f64) -> Curve {
    let mut c = Curve::default();
    for p in points {
        let mag = 20.0 * (p.g.norm() / dc.abs()).log10();
        let model = 20.0 * (p.model.norm() / dc.abs()).log10();
        // More than 40 dB uncertain means that nothing is known.
        let u = (DB * p.u).min(40.0);
        let phase = p.g.arg().to_degrees();
        if [mag, model, u, phase].iter().all(|v| v.is_finite()) {
            c.freq_hz.push(p.f);
            c.mag_db.push(mag);
            c.phase_deg.push(phase);
            c.u_db.push(u);
            c.model_db.push(model);
        }
    }
    c
}

/// Points are never weighed as if they were better than this (0.05 dB).
const FLOOR: f64 = 0.05 / DB;

/// How a model misses the measured points beyond their noise.
#[derive(Debug, Clone, Copy, Default)]
pub struct Misfit {
    /// Rms difference in dB, each point counted by what it is worth.
    pub rms_db: f64,
    /// The part of it that noise does not explain; the same of the phase.
    pub beyond_noise_db: f64,
    pub beyond_noise_deg: f64,
    /// Mean square difference in units of the noise.
    pub chi2: f64,
    pub points: f64,
}

impl Misfit {
    /// A misfit below both is nobody's business.
    const MATTERS_DB: f64 = 0.02;
    const MATTERS_DEG: f64 = 0.15;

    /// Whether the model misses the curve by more than noise and these explain.
    pub fn matters(&self) -> bool {
        // Five standard deviations of a mean square of so many values.
        let chance = 1.5f64.max(1.0 + 5.0 * (1.0 / self.points.max(1.0)).sqrt());
        let large = self.beyond_noise_db > Self::MATTERS_DB || self.beyond_noise_deg > Self::MATTERS_DEG;
        large && self.chi2 > chance
    }
}

/// Compares measured points of a band with a model's values at the same frequencies.
pub fn misfit(points: &[Point], [from, to]: [f64; 2], model: impl Fn(f64) -> Complex64) -> Misfit {
    let (mut sw, mut along, mut across, mut sn, mut chi, mut n) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for p in points.iter().filter(|p| (from..=to).contains(&p.f)) {
        // Linear in the ratio, not its logarithm: a weak point must not weigh by the tail of a logarithm.
        let d = p.g / model(p.f) - 1.0;
        if !d.is_finite() || DB * p.u > 1.0 {
            continue;
        }
        let w = 1.0 / (p.u * p.u + FLOOR * FLOOR);
        sw += w;
        along += w * d.re * d.re;
        across += w * d.im * d.im;
        sn += w * p.u * p.u;
        chi += d.norm_sqr() / (2.0 * p.u * p.u).max(1e-13);
        n += 1.0;
    }
    if sw <= 0.0 {
        return Misfit::default();
    }
    Misfit {
        points: n,
        rms_db: DB * (along / sw).sqrt(),
        beyond_noise_db: DB * ((along - sn).max(0.0) / sw).sqrt(),
        beyond_noise_deg: ((across - sn).max(0.0) / sw).sqrt().to_degrees(),
        chi2: chi / n,
    }
}

/// A dip between two peaks of which the upper is no small one, as the difference of two coils has it: returns its
/// frequency. With the exciter over one coil there is a dip too, but what follows stays far below the first peak.
pub fn dip(points: &[Point], dc: f64) -> Option<f64> {
    let db: Vec<f64> = points.iter().map(|p| 20.0 * (p.g.norm() / dc).log10()).collect();
    let usable: Vec<usize> = (0..points.len())
        .filter(|i| points[*i].f > 300.0 && DB * points[*i].u < 0.5)
        .collect();
    for (k, &i) in usable.iter().enumerate() {
        let top = |side: &[usize]| side.iter().map(|j| db[*j]).fold(f64::NEG_INFINITY, f64::max);
        let (before, after) = (top(&usable[..k]), top(&usable[k + 1..]));
        let depth = before.min(after) - db[i];
        if depth > (3.0f64).max(10.0 * DB * points[i].u) && after > before - 3.0 {
            return Some(points[i].f);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61260-1:2014, exact base-ten frequencies: 1/24 octave above 1 kHz, as read in transcriptions of the standard.
    #[test]
    fn grid_frequencies_are_the_standards() {
        let f: Vec<f64> = grid([1000.0, 1160.0]).map(|g| g.0).collect();
        for (got, want) in f.iter().zip([1000.0, 1029.20, 1059.25, 1090.18, 1122.02, 1154.78]) {
            assert!((got - want).abs() < 0.005, "{got} {want}");
        }
    }
}
