//! The two inputs of an interface against each other, with one signal on both, and what an input puts on its source.
//!
//! Channel 1 over channel 2 is then, with f_p and f_r the corners of the AC coupling,
//!
//! ```text
//!   H(f) = g exp(-j w t) (j f + f_r)/(j f + f_p) D(f),     D = 1, or with a known part Z_k before channel 1
//!   D(f) = 1/(1 + Z_k (G + j w C))                          voltage divider into G = 1/R and C of input and lead
//! ```
//!
//! fitted by weighted least squares on groups of bins, the noise measured in the take's silences.

use std::f64::consts::TAU;
use std::ops::Range;

use super::ratio::{CORNER_HZ, DB, Ratio, STRAY, priors};
pub use super::ratio::{Pair, Part};
use crate::capture::Take;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::fit::group::{self, Group};
use crate::fit::solve::{self, Patience};
use crate::transfer::bins::{Bins, Record};
use crate::transfer::{faults, noise, span, sums};

/// What the input and its lead put on the pickup.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loading {
    /// Conductance in siemens: a resistance too large to be told is a conductance near nought.
    pub siemens: Estimate,
    pub farad: Estimate,
    pub misfit_db: f64,
    pub reduced_chi2: f64,
}

impl Loading {
    /// `None` where the conductance is not told from nought.
    pub fn ohm(&self) -> Option<Estimate> {
        let g = self.siemens;
        let told = g.value > 3.0 * g.u;
        let square = g.value * g.value;
        told.then(|| Estimate::new(1.0 / g.value, g.u / square, g.u_noise / square))
            .flatten()
    }
}

/// More than this apart, the two inputs do not carry one signal, or something treats them differently.
const MOST_MISFIT_DB: f64 = 0.1;
/// ... and reduced chi-squared from which that is not noise.
const UNEXPLAINED: f64 = 1.5;
/// Settings that far apart are no pair of inputs.
const MOST_GAIN_DB: f64 = 60.0;
/// Lowest frequency looked at: below it even a long silence says little of the noise.
const BOTTOM_HZ: f64 = 4.0;
const TOP_HZ: f64 = 22_000.0;
/// Corners of inputs lie between 0 and this (common practice: 1 to 10 Hz).
const CORNER_MOST_HZ: f64 = 15.0;
const DELAY_MOST_S: f64 = 0.01;

/// Where the unknowns lie.
const LEAST: [f64; 7] = [-MOST_GAIN_DB / DB, -1e6 * DELAY_MOST_S, 0.0, 0.0, -1e3, -1e6, -2.0];
const MOST: [f64; 7] = [
    MOST_GAIN_DB / DB,
    1e6 * DELAY_MOST_S,
    CORNER_MOST_HZ,
    CORNER_MOST_HZ,
    1e6,
    1e6,
    5.0,
];

/// Gain, delay and AC corners from a take with one signal on both inputs.
pub fn pair(take: &Take) -> Result<Pair> {
    let seen = Seen::of(take)?;
    let found = seen.fit(None, None)?;
    Ok(Pair {
        gain_db: found.estimate(0, DB)?,
        delay_s: found.estimate(1, 1e-6)?,
        ac_pickup_hz: found.estimate(2, 1.0)?,
        ac_reference_hz: found.estimate(3, 1.0)?,
        misfit_db: found.misfit_db,
        reduced_chi2: found.reduced_chi2,
        band_hz: seen.band,
    })
}

/// Resistance and capacitance of channel 1's input with its lead, from a take with a known part in line.
///
/// `tolerance`: standard uncertainty of the part, relative.
pub fn loading(take: &Take, wire: &Pair, part: Part, tolerance: f64) -> Result<Loading> {
    let seen = Seen::of(take)?;
    let found = seen.fit(Some(wire), Some((part, tolerance)))?;
    let loading = Loading {
        siemens: found.estimate(4, 1e-6)?,
        farad: found.estimate(5, 1e-12)?,
        misfit_db: found.misfit_db,
        reduced_chi2: found.reduced_chi2,
    };
    // Neither is there: then channel 1 gets what channel 2 gets.
    let there = |e: Estimate, least: f64| e.value > (3.0 * e.u_noise).max(least);
    if !there(loading.siemens, 0.0) && !there(loading.farad, LEAST_F) {
        return Err(Failure::new(
            "channel 1 gets the same as channel 2, as if no part were in line with it",
            "put the known part into the lead of channel 1 alone, and measure again; nothing was written",
        ));
    }
    Ok(loading)
}

/// No input and lead hold less.
const LEAST_F: f64 = 1e-12;

fn no_fit() -> Failure {
    Failure::new(
        "the two inputs do not carry one signal",
        "take the pickup out, lead one plug's signal to both inputs (a Y lead from TAP), and measure again",
    )
}

/// A take made ready: spectra of both channels and the noise.
struct Seen {
    groups: Vec<Group>,
    band: [f64; 2],
}

impl Seen {
    fn of(take: &Take) -> Result<Seen> {
        let reference = take.reference.as_deref().ok_or_else(|| {
            Failure::new(
                "the take has one channel; the two inputs are to be compared",
                "record both channels",
            )
        })?;
        if let Some(trouble) = take.provenance.trouble.first() {
            let hint = format!("{}, and measure again", take.provenance.cause.remedy());
            return Err(Failure::new(trouble.clone(), hint));
        }
        let rate = f64::from(take.rate_hz);
        for (x, which) in [(&take.pickup[..], 1), (reference, 2)] {
            let peak = sums::peak(x);
            if f64::from(peak) < QUIETEST {
                return Err(Failure::new(
                    format!("nothing arrives on channel {which}"),
                    "check the lead to it and its gain, and measure again",
                ));
            }
            if peak >= 0.999 || faults::clipping_over_noise(x, take.step, rate).runs > 0 {
                return Err(Failure::new(
                    format!("channel {which} clips"),
                    "turn the output down, or give a lower --level, and measure again",
                ));
            }
        }
        let (bins, band) = spectra(take, reference, rate)?;
        let groups = group::gather(&bins, band);
        if groups.len() < 50 {
            return Err(no_fit());
        }
        Ok(Seen { groups, band })
    }

    fn fit(&self, wire: Option<&Pair>, part: Option<(Part, f64)>) -> Result<Found> {
        let problem = Ratio {
            groups: &self.groups,
            part,
            priors: priors(wire, part),
        };
        let p = problem.unknowns();
        let start = self.start(wire);
        let solution = solve::minimise(&problem, &start[..p], &LEAST[..p], &MOST[..p], Patience::STATISTICAL);
        let inverse = solution.inverse.clone().filter(|_| solution.believable());
        let Some(inverse) = inverse else {
            return Err(no_fit());
        };
        let freedom = (2 * self.groups.len()).saturating_sub(p).max(1) as f64;
        let pulls = problem.pulls(&solution.theta);
        let reduced_chi2 = (solution.cost - pulls.iter().map(|r| r * r).sum::<f64>()).max(0.0) / freedom;
        let misfit_db = problem.misfit_db(&solution.theta);
        // Much noise leaves something by chance; what is believed must show in the residuals too.
        if !misfit_db.is_finite() || (misfit_db > MOST_MISFIT_DB && reduced_chi2 > UNEXPLAINED) {
            return Err(no_fit());
        }
        // The stray is no part of what the wire has told.
        let told = problem.priors.iter().zip(&pulls).filter(|(p, _)| p.0 < 4);
        if wire.is_some() && told.into_iter().any(|(_, r)| r.abs() > MOST_PULL) {
            return Err(Failure::new(
                "this take does not go with what the wire alone has told of the two inputs: another input, or another switch, is in use",
                "measure with the wire alone once more (`coilwright rig inputs`), then through the part",
            ));
        }
        // Scatter beyond the noise is of the take, not of what was known before; by chance some is left too.
        let told = reduced_chi2 > 1.0 + 3.0 * (2.0 / freedom).sqrt();
        let excess = if told { 1.0 } else { reduced_chi2.max(1.0) };
        let covariance = problem
            .covariance(&solution.theta, excess)
            .unwrap_or_else(|| inverse.clone());
        let misfit = match told {
            true => problem.of_misfit(&solution.theta, misfit_db / DB, &inverse),
            false => vec![0.0; p],
        };
        // The take tells the input over the part: what the part has too much, both of the input's have too little.
        let of_part = |i: usize, value: f64| {
            part.filter(|_| i == 4 || i == 5)
                .map_or(0.0, |(_, tolerance)| tolerance * value)
        };
        let own = |i: usize, value: f64| floor(i, value).powi(2) + of_part(i, value).powi(2);
        let sd = |v: f64| v.max(0.0).sqrt();
        let values = solution.theta.iter().enumerate();
        Ok(Found {
            noise: (0..p).map(|i| sd(covariance[(i, i)])).collect(),
            u: values
                .map(|(i, v)| sd(covariance[(i, i)] + misfit[i] + own(i, *v)))
                .collect(),
            theta: solution.theta,
            misfit_db,
            reduced_chi2,
        })
    }

    /// Gain from the middle of the band; a delay from the slope of the phase.
    fn start(&self, wire: Option<&Pair>) -> [f64; 7] {
        if let Some(w) = wire {
            // The part halves it or so; an input is about a megohm and a hundred picofarads.
            return [
                w.gain_db.value / DB,
                1e6 * w.delay_s.value,
                w.ac_pickup_hz.value,
                w.ac_reference_hz.value,
                1.0,
                100.0,
                STRAY.0,
            ];
        }
        let middle: Vec<&Group> = self.groups.iter().filter(|g| (200.0..2000.0).contains(&g.f)).collect();
        let mean = |f: &dyn Fn(&Group) -> f64| middle.iter().map(|g| f(g)).sum::<f64>() / middle.len().max(1) as f64;
        let gain = mean(&|g| g.h.norm().max(1e-12).ln());
        let delay = mean(&|g| -g.h.arg() / (TAU * g.f));
        [gain, 1e6 * delay, CORNER_HZ, CORNER_HZ, 1.0, 100.0, STRAY.0]
    }
}

/// Peak below which a channel counts as empty.
const QUIETEST: f64 = 1e-4;

fn spectra(take: &Take, reference: &[f32], rate: f64) -> Result<(Bins, [f64; 2])> {
    let active = span::active(reference, rate).ok_or_else(no_fit)?;
    let pauses = span::pauses(reference, &active, rate);
    let silences: Vec<Range<usize>> = span::silences(&active, pauses, reference.len(), rate);
    let floor = take.step * take.step / 12.0;
    let noise = noise::from_silences(&take.pickup, Some(reference), &silences, rate, floor).ok_or_else(|| {
        Failure::new(
            "the take has no silence to measure the noise in",
            "record the silence before and after the signal too",
        )
    })?;
    let record = Record::around(Some(&active), &(0..reference.len()), rate);
    let top = TOP_HZ.min(0.45 * rate);
    let keep = record.bins_up_to(top, rate);
    let (x, y) = (record.transform(reference, keep), record.transform(&take.pickup, keep));
    let mut bins = Bins::new(&record, x, y, rate);
    bins.set_noise(&noise);
    let strongest = bins.x.iter().map(|x| x.norm_sqr()).fold(0.0, f64::max);
    for i in 0..keep {
        let f = bins.freq(i);
        let driven = bins.x[i].norm_sqr() > (10.0 * bins.sxx[i] * bins.energy).max(1e-8 * strongest);
        bins.used[i] = f >= BOTTOM_HZ && f <= top && driven && !noise.has_line(f);
    }
    Ok((bins, [BOTTOM_HZ, top]))
}

struct Found {
    theta: Vec<f64>,
    /// Standard uncertainties: from the noise of the take, and everything counted.
    noise: Vec<f64>,
    u: Vec<f64>,
    misfit_db: f64,
    reduced_chi2: f64,
}

impl Found {
    fn estimate(&self, i: usize, scale: f64) -> Result<Estimate> {
        Estimate::new(scale * self.theta[i], scale * self.u[i], scale * self.noise[i]).ok_or_else(no_fit)
    }
}

/// A take that is further from what was known before, in standard uncertainties, contradicts it.
const MOST_PULL: f64 = 10.0;

/// Standard uncertainty between this take and the takes that it is used for, which no take tells (choices): two inputs' gains
/// follow a room's 10 K by some 20 ppm/K, 0.002 dB; their filters' delays by 1 ns; corners by 0.02 Hz; a megohm by 0.1 %; a lead
/// that is laid anew by 0.2 pF.
fn floor(i: usize, value: f64) -> f64 {
    match i {
        0 => 0.002 / DB,
        1 => 1e-3,
        2 | 3 => 0.02,
        4 => 1e-3 * value.abs(),
        5 => 0.2,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests;
