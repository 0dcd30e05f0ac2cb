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

use std::f64::consts::{LN_10, TAU};
use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use crate::capture::Take;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::fit::group::{self, Group};
use crate::fit::solve::{self, Patience, Problem};
use crate::transfer::bins::{Bins, Record};
use crate::transfer::{faults, noise, span};

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
/// A weak belief that only keeps in place what two equal corners hide: both moving together.
const CORNER_HZ: f64 = 4.0;
const CORNER_SPREAD_HZ: f64 = 8.0;
const DELAY_MOST_S: f64 = 0.01;

/// Gain, delay and AC corners from a take with one signal on both inputs.
pub fn pair(take: &Take) -> Result<Pair> {
    let seen = Seen::of(take)?;
    let found = seen.fit(None, None)?;
    let e = |i: usize, scale: f64| found.estimate(i, scale);
    let pair = (|| {
        Some(Pair {
            gain_db: e(0, DB)?,
            delay_s: e(1, 1e-6)?,
            ac_pickup_hz: e(2, 1.0)?,
            ac_reference_hz: e(3, 1.0)?,
            misfit_db: found.misfit_db,
            reduced_chi2: found.reduced_chi2,
            band_hz: seen.band,
        })
    })();
    pair.ok_or_else(no_fit)
}

/// Resistance and capacitance of channel 1's input with its lead, from a take with a known part in line.
///
/// `tolerance`: standard uncertainty of the part, relative.
pub fn loading(take: &Take, wire: &Pair, part: Part, tolerance: f64) -> Result<Loading> {
    let seen = Seen::of(take)?;
    let found = seen.fit(Some(wire), Some((part, tolerance)))?;
    let e = |i: usize, scale: f64| found.estimate(i, scale);
    let loading = (|| {
        Some(Loading {
            siemens: e(4, 1e-6)?,
            farad: e(5, 1e-12)?,
            misfit_db: found.misfit_db,
            reduced_chi2: found.reduced_chi2,
        })
    })();
    let loading: Loading = loading.ok_or_else(no_fit)?;
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
const DB: f64 = 20.0 / LN_10;

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
            let peak = x.iter().fold(0f32, |m, v| m.max(v.abs()));
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
        let lower = [-MOST_GAIN_DB / DB, -1e6 * DELAY_MOST_S, 0.0, 0.0, -1e3, -1e6, -2.0];
        let upper = [
            MOST_GAIN_DB / DB,
            1e6 * DELAY_MOST_S,
            CORNER_MOST_HZ,
            CORNER_MOST_HZ,
            1e6,
            1e6,
            5.0,
        ];
        let p = problem.unknowns();
        let start = self.start(wire);
        let solution = solve::minimise(&problem, &start[..p], &lower[..p], &upper[..p], Patience::STATISTICAL);
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
        let sd = |v: f64| v.max(0.0).sqrt();
        Ok(Found {
            noise: (0..p).map(|i| sd(covariance[(i, i)])).collect(),
            u: (0..p)
                .map(|i| {
                    let value = solution.theta[i];
                    // The take tells the input over the part: what the part has too much, both of the input's have too little.
                    let of_part = match part {
                        Some((_, tolerance)) if i == 4 || i == 5 => tolerance * value,
                        _ => 0.0,
                    };
                    sd(covariance[(i, i)] + misfit[i] + floor(i, value).powi(2) + of_part * of_part)
                })
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
    let keep = ((top / rate * record.length as f64) as usize + 2).min(record.length / 2);
    let n = keep;
    let mut bins = Bins {
        spacing_hz: rate / record.length as f64,
        first: 0,
        x: record.transform(reference, keep),
        y: record.transform(&take.pickup, keep),
        x_clock: None,
        syy: vec![1.0; n],
        sxx: vec![0.0; n],
        syx: vec![Complex64::new(0.0, 0.0); n],
        used: vec![false; n],
        length: record.length as f64,
        energy: record.energy(),
    };
    bins.set_noise(&noise);
    let strongest = bins.x.iter().map(|x| x.norm_sqr()).fold(0.0, f64::max);
    for i in 0..n {
        let f = bins.freq(i);
        let driven = bins.x[i].norm_sqr() > (10.0 * bins.sxx[i] * bins.energy).max(1e-8 * strongest);
        bins.used[i] = f >= BOTTOM_HZ && f <= top && driven && !noise.has_line(f);
    }
    Ok((bins, [BOTTOM_HZ, top]))
}

/// (parameter, value, standard uncertainty)
fn priors(wire: Option<&Pair>, part: Option<(Part, f64)>) -> Vec<(usize, f64, f64)> {
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

struct Found {
    theta: Vec<f64>,
    /// Standard uncertainties: from the noise of the take, and everything counted.
    noise: Vec<f64>,
    u: Vec<f64>,
    misfit_db: f64,
    reduced_chi2: f64,
}

impl Found {
    fn estimate(&self, i: usize, scale: f64) -> Option<Estimate> {
        Estimate::new(scale * self.theta[i], scale * self.u[i], scale * self.noise[i])
    }
}

/// Capacitance across a leaded resistor, in pF, with its standard uncertainty (common practice: 0.2 to 0.5 pF).
const STRAY: (f64, f64) = (0.3, 0.2);
/// A take that is further from what was known before, in standard uncertainties, contradicts it.
const MOST_PULL: f64 = 10.0;
/// What no take explains is smooth: as if it were so many independent readings over the band, however many groups there are.
const SMOOTH: usize = 4;

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

/// Unknowns: ln g, delay in us, f_p and f_r in Hz; with a part: G in uS and C in pF; with a resistor the capacitance
/// across it in pF.
struct Ratio<'a> {
    groups: &'a [Group],
    part: Option<(Part, f64)>,
    priors: Vec<(usize, f64, f64)>,
}

impl Ratio<'_> {
    fn unknowns(&self) -> usize {
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
    fn pulls(&self, theta: &[f64]) -> Vec<f64> {
        self.priors
            .iter()
            .map(|(i, value, sd)| (value - theta[*i]) / sd)
            .collect()
    }

    /// Inverse of the normal matrix, the take's noise so many times what was measured of it (as squares).
    fn covariance(&self, theta: &[f64], excess: f64) -> Option<DMatrix<f64>> {
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
    fn of_misfit(&self, theta: &[f64], misfit: f64, inverse: &DMatrix<f64>) -> Vec<f64> {
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
    fn misfit_db(&self, theta: &[f64]) -> f64 {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::bench::{Bench, Spec};
    use crate::capture::{Capture, Request};
    use crate::stimulus::{self, Settings};

    fn take(words: &str, seed: u64, rate_hz: u32) -> Take {
        let drive = stimulus::make(&Settings {
            from_hz: 5.0,
            seconds: 3.0,
            level_dbfs: -20.0,
            ..Settings::at_rate(rate_hz)
        })
        .unwrap();
        let mut bench = Bench::new(Spec::from_arg(words).unwrap(), None, None, false, seed).unwrap();
        bench
            .take(
                &Request {
                    rate_hz,
                    drive: drive.samples,
                },
                &mut |_| (),
            )
            .unwrap()
    }

    const WIRE: &str = "wire gain=1dB delay=5us ac-pickup=2.7 ac-reference=3.6 noise=-85dBFS noise-reference=-88dBFS";

    /// Every value within what its uncertainty allows, and the uncertainties of the size that the errors have.
    #[test]
    fn gain_delay_and_corners_are_found_and_their_uncertainties_hold() {
        let (mut sums, mut chi2, n) = ([0.0; 4], 0.0, 60u32);
        for seed in 1..=n {
            let rate = if seed % 2 == 0 { 48_000 } else { 44_100 };
            let p = pair(&take(WIRE, u64::from(seed), rate)).unwrap();
            let found = [p.gain_db, p.delay_s, p.ac_pickup_hz, p.ac_reference_hz];
            for (k, (e, truth)) in found.iter().zip([1.0, 5e-6, 2.7, 3.6]).enumerate() {
                let z = (e.value - truth) / e.u_noise;
                assert!(e.u > e.u_noise);
                assert!(z.abs() < 4.5, "{seed} {k}: {} +- {}", e.value, e.u);
                sums[k] += z * z / f64::from(n);
            }
            assert!(
                p.gain_db.u < 3e-3 && p.delay_s.u < 5e-9 && p.ac_pickup_hz.u < 0.1,
                "{p:?}"
            );
            chi2 += p.reduced_chi2 / f64::from(n);
        }
        assert!((0.93..1.07).contains(&chi2), "{chi2}");
        // The mean of 60 squares has a standard deviation of 0.18.
        for s in sums {
            assert!((0.4..1.6).contains(&s), "{sums:?}");
        }
    }

    /// As noise alone leaves it: what is between takes is no part of a simulation.
    fn bare(p: Pair) -> Pair {
        let bare = |e: Estimate| Estimate { u: e.u_noise, ..e };
        Pair {
            gain_db: bare(p.gain_db),
            delay_s: bare(p.delay_s),
            ac_pickup_hz: bare(p.ac_pickup_hz),
            ac_reference_hz: bare(p.ac_reference_hz),
            ..p
        }
    }

    #[test]
    fn what_the_input_puts_on_a_pickup_is_found_through_a_resistor_or_a_capacitor() {
        let wire = bare(pair(&take(WIRE, 7, 48_000)).unwrap());
        let with = |part: &str| WIRE.replace("wire", &format!("wire={part} input=1M//150p"));
        let (mut square, mut n) = ([0.0; 2], 0.0);
        for seed in 1..=20 {
            let through = [
                (take(&with("1M"), seed, 48_000), Part::Resistor(1e6)),
                (take(&with("100p"), seed, 48_000), Part::Capacitor(100e-12)),
            ];
            for (take, part) in through {
                // The part is exact here, so its tolerance is none.
                let l = loading(&take, &wire, part, 1e-6).unwrap();
                let z = [
                    (l.siemens.value - 1e-6) / l.siemens.u_noise,
                    (l.farad.value - 150e-12) / l.farad.u_noise,
                ];
                assert!(z.iter().all(|z| z.abs() < 4.5), "{seed} {part:?} {l:?} {z:?}");
                square = [square[0] + z[0] * z[0], square[1] + z[1] * z[1]];
                n += 1.0;
                let ohm = l.ohm().unwrap();
                assert!((ohm.value - 1e6).abs() < 5.0 * ohm.u && ohm.u < 1e4, "{ohm:?}");
            }
        }
        for s in square {
            assert!((0.4..1.7).contains(&(s / n)), "{square:?} of {n}");
        }
    }

    /// A quarter of a picofarad across a megohm would move C by as much times R/R_in, were it not found.
    #[test]
    fn what_lies_across_the_resistor_is_found() {
        let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
        let mut t = take(&WIRE.replace("wire", "wire=1M input=1M//150p"), 3, 48_000);
        // The divider with the stray over the one without, as a first-order filter in the time domain (bilinear).
        let (stray, whole) = (0.5e-12, 150.5e-12);
        let (r, rate) = (1e6, 48_000.0);
        let half = |tau: f64| 2.0 * rate * tau;
        let (zero, pole, was) = (half(r * stray), half(0.5 * r * whole), half(0.5 * r * 150e-12));
        let filtered = |x: &[f32], a: f64, b: f64| {
            // (1 + a s')/(1 + b s'), s' the bilinear operator.
            let (mut last_x, mut last_y) = (0.0f64, 0.0f64);
            let of = |v: &f32| {
                let x = f64::from(*v);
                let y = ((1.0 + a) * x + (1.0 - a) * last_x - (1.0 - b) * last_y) / (1.0 + b);
                (last_x, last_y) = (x, y);
                y as f32
            };
            x.iter().map(of).collect::<Vec<f32>>()
        };
        let once = filtered(&t.pickup, zero, pole);
        t.pickup = filtered(&once, was, 0.0);
        let l = loading(&t, &wire, Part::Resistor(1e6), 1e-6).unwrap();
        assert!(
            (l.farad.value - 150e-12).abs() < 0.15e-12 && l.farad.u < 0.5e-12,
            "{l:?}"
        );
    }

    /// A part of 1 % makes R and C uncertain by the divider's share of it.
    #[test]
    fn the_parts_own_tolerance_counts() {
        let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
        let t = take(&WIRE.replace("wire", "wire=1.01M input=1M//150p"), 3, 48_000);
        let l = loading(&t, &wire, Part::Resistor(1e6), 0.01 / 3f64.sqrt()).unwrap();
        let off = l.farad.value / 150e-12 - 1.0;
        assert!((off - 0.01).abs() < 2e-3, "{off}");
        assert!((l.farad.u / l.farad.value - 0.01 / 3f64.sqrt()).abs() < 1e-3, "{l:?}");
        assert!(off.abs() < 2.0 * l.farad.u / l.farad.value);
    }

    /// However little is known of the part, the ratio that the take tells is found, with a long lead as well as a short one.
    #[test]
    fn a_part_hardly_known_is_no_hindrance() {
        let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
        for (pf, tolerance) in [(110.0, 0.05), (160.0, 0.05), (250.0, 0.1), (600.0, 0.1)] {
            let t = take(&WIRE.replace("wire", &format!("wire=1M input=1M//{pf}p")), 3, 48_000);
            let l = loading(&t, &wire, Part::Resistor(1e6), tolerance / 3f64.sqrt()).unwrap();
            assert!((l.farad.value / pf / 1e-12 - 1.0).abs() < 2e-3, "{pf}: {l:?}");
            assert!(
                (l.ohm().unwrap().u / 1e6 / (tolerance / 3f64.sqrt()) - 1.0).abs() < 0.02,
                "{l:?}"
            );
        }
    }

    /// A corner that is not the one the wire told is said to be that; it makes no part uncertain, and none missing.
    #[test]
    fn inputs_that_changed_since_the_wire_are_refused() {
        let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
        for (was, now) in [("ac-pickup=2.7", "ac-pickup=6"), ("ac-pickup=2.7", "ac-pickup=17")] {
            let t = take(
                &WIRE.replace("wire", "wire=1M input=1M//150p").replace(was, now),
                3,
                48_000,
            );
            let e = loading(&t, &wire, Part::Resistor(1e6), 0.006).unwrap_err().to_string();
            assert!(
                e.contains("does not go with what the wire") || e.contains("one signal"),
                "{now}: {e}"
            );
        }
        let t = take(&WIRE.replace("wire", "wire input=1M//150p"), 3, 48_000);
        let e = loading(&t, &wire, Part::Resistor(1e6), 0.006).unwrap_err().to_string();
        assert!(e.contains("as if no part were in line"), "{e}");
    }

    /// An input of many megohms: the resistance is not told, and not made up.
    #[test]
    fn a_resistance_too_high_to_be_told_is_none() {
        let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
        let t = take(&WIRE.replace("wire", "wire=10k input=100000M//150p"), 3, 48_000);
        let l = loading(&t, &wire, Part::Resistor(10e3), 0.006).unwrap();
        assert!(l.ohm().is_none(), "{l:?}");
    }

    #[test]
    fn what_is_no_pair_is_refused() {
        let why = |words: &str| pair(&take(words, 1, 48_000)).unwrap_err().to_string();
        assert!(why("r=6k l=2.4H cs=120p").contains("do not carry one signal"));
        assert!(
            why("wire unplugged").contains("nothing arrives on channel 2")
                || why("wire unplugged").contains("one signal")
        );
        assert!(why("wire clip=-30dBFS").contains("channel 1 clips"));
        assert!(why("wire silent").contains("channel 1") || why("wire silent").contains("one signal"));
        let mut lone = take(WIRE, 1, 48_000);
        lone.reference = None;
        assert!(pair(&lone).unwrap_err().to_string().contains("one channel"));
    }
}
