//! Neighbouring bins drawn together, so that the search for the minimum costs nothing; the raw bins have the last word.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::attempt::Prior;
use super::bin_variance;
use super::model::{At, MOST, Model};
use super::solve::Problem;
use crate::transfer::bins::Bins;

/// Groups per octave.
const PER_OCTAVE: f64 = 96.0;

/// Weighted mean of Y/X over neighbouring bins: the maximum-likelihood value where H is constant within the group.
#[derive(Debug, Clone, Copy)]
pub struct Group {
    pub f: f64,
    pub h: Complex64,
    /// 1/variance of `h` (complex variance E|.|^2), as it counts for the uncertainty.
    pub weight: f64,
    /// Change of the phase per ppm of the clock over that of the frequency, in seconds: when the drive plays this frequency,
    /// counted from its middle. Zero for two channels.
    pub when_s: f64,
    /// Squared coherence of Y with X within the group: what part of Y the ratio stands for.
    pub coherence: f64,
    /// The bins drawn together.
    pub start: usize,
    pub stop: usize,
}

pub fn gather(bins: &Bins, band: [f64; 2]) -> Vec<Group> {
    let mut out = Vec::new();
    let Range { start: mut i, end } = bins.inside(band);
    while i < end {
        let top = bins.freq(i).max(bins.spacing_hz) * 2f64.powf(1.0 / PER_OCTAVE);
        let stop = bins.index_of(top).max(i + 1).min(end);
        out.extend(group(bins, i, stop));
        i = stop;
    }
    out
}

fn group(bins: &Bins, start: usize, stop: usize) -> Option<Group> {
    let sum = |h: Complex64| {
        let (mut xy, mut xx, mut fx) = (Complex64::new(0.0, 0.0), 0.0, 0.0);
        for i in (start..stop).filter(|i| bins.used[*i]) {
            let w = 1.0 / bin_variance(bins, i, h);
            let p = bins.x[i].norm_sqr() * w;
            // The reference's own noise adds to |X|^2, and what both inputs share to X*Y: both known, both taken off.
            xy += (bins.x[i].conj() * bins.y[i] - bins.syx[i] * bins.energy) * w;
            xx += p - bins.sxx[i] * bins.energy * w;
            fx += p * bins.freq(i);
        }
        (xy, xx, fx)
    };
    let (xy, xx, _) = sum(Complex64::new(0.0, 0.0));
    if xx <= 0.0 {
        return None;
    }
    // Once more with the reference's noise in the weights.
    let (xy, xx, fx) = sum(xy / xx);
    let yy: f64 = (start..stop)
        .filter(|i| bins.used[*i])
        .map(|i| bins.y[i].norm_sqr() / bin_variance(bins, i, xy / xx))
        .sum();
    let coherence = if yy > 0.0 { xy.norm_sqr() / (xx * yy) } else { 0.0 };
    let when_s = bins.x_clock.as_ref().map_or(0.0, |xt| {
        let (mut s, mut p) = (0.0, 0.0);
        for i in start..stop {
            s += (bins.x[i].conj() * xt[i]).im / (std::f64::consts::TAU * bins.freq(i).max(1e-9) * 1e-6);
            p += bins.x[i].norm_sqr();
        }
        if p > 0.0 { s / p } else { 0.0 }
    });
    (xx > 0.0 && xx.is_finite()).then(|| Group {
        f: fx / xx,
        h: xy / xx,
        weight: xx,
        when_s,
        coherence,
        start,
        stop,
    })
}

/// The groups' bins drawn together along a model: what is left to fit is how another one differs from it, which hardly changes
/// within a group.
pub fn along(bins: &Bins, groups: &[Group], model: &At) -> Vec<Group> {
    let together = |g: &Group| {
        let middle = model.response(g.f);
        let (mut xy, mut xx) = (Complex64::new(0.0, 0.0), 0.0);
        for i in (g.start..g.stop).filter(|i| bins.used[*i]) {
            let h = model.response(bins.freq(i));
            let w = 1.0 / bin_variance(bins, i, h);
            xy += (h.conj() * (bins.x[i].conj() * bins.y[i] - bins.syx[i] * bins.energy)) * w;
            xx += h.norm_sqr() * (bins.x[i].norm_sqr() - bins.sxx[i] * bins.energy) * w;
        }
        let told = xx > 0.0 && xx.is_finite();
        told.then(|| Group {
            h: middle * xy / xx,
            weight: xx / middle.norm_sqr(),
            ..*g
        })
    };
    groups.iter().filter_map(together).collect()
}

/// The fit on groups: two real residuals a group, one for each prior.
pub struct GroupProblem<'a> {
    pub groups: &'a [Group],
    pub model: &'a Model,
    pub priors: &'a [Prior],
}

impl Problem for GroupProblem<'_> {
    fn rows(&self) -> usize {
        2 * self.groups.len() + self.priors.len()
    }

    fn residuals(&self, theta: &[f64], out: &mut DVector<f64>) {
        let at = self.model.at(theta);
        for (i, g) in self.groups.iter().enumerate() {
            let e = (at.response(g.f) - g.h) * (2.0 * g.weight).sqrt();
            out[2 * i] = e.re;
            out[2 * i + 1] = e.im;
        }
        for (i, p) in self.priors.iter().enumerate() {
            out[2 * self.groups.len() + i] = (theta[p.index] - p.mean) / p.sd;
        }
    }

    fn jacobian(&self, theta: &[f64], out: &mut DMatrix<f64>) {
        out.fill(0.0);
        let mut d = [Complex64::new(0.0, 0.0); MOST];
        let at = self.model.at(theta);
        for (i, g) in self.groups.iter().enumerate() {
            at.eval(g.f, &mut d);
            let w = (2.0 * g.weight).sqrt();
            for (c, d) in d.iter().enumerate().take(theta.len()) {
                out[(2 * i, c)] = d.re * w;
                out[(2 * i + 1, c)] = d.im * w;
            }
        }
        for (i, p) in self.priors.iter().enumerate() {
            out[(2 * self.groups.len() + i, p.index)] = 1.0 / p.sd;
        }
    }
}
