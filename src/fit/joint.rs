//! The coil behind several takes: L, C_s and losses from one pickup under known loads, in one weighted fit.
//!
//! One take gives two numbers and cannot separate L from C. Under loads of different capacitance the resonances do:
//! 1/w0^2 = L (C_s + C_i) / (1 + R/R_p). Every take that a second-order circuit explains enters by its f0 and Q, which hold
//! all that it says of such a circuit; a take under another load (a tone control half way), or of a coil with metal, enters by
//! its curve. Metal is one shorted turn or, where that does not tell the takes, a core that flux diffuses into. What is common to takes of one rig, and what the printed values of the known parts leave open, are unknowns of
//! the fit with priors of their own, so that they reach the uncertainties as they should: together, not as if each take
//! erred by itself.

use nalgebra::DMatrix;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::estimate::Estimate;
pub use crate::network::coil_file::InputPart;
use crate::network::knob::{Knob, Tolerances};
use crate::network::{Coil, Load};

mod advice;
mod outcome;
mod search;
#[cfg(test)]
mod tests;
mod unknowns;

use outcome::conclude;
use search::{Found, solve_kind};
use unknowns::Kind;

/// What a take says.
#[derive(Debug, Clone)]
pub enum Seen {
    /// Of a take that a second-order circuit explains. Q may be unknown.
    Resonance {
        f0_hz: Estimate,
        q: Option<Estimate>,
        /// Correlation of the two.
        corr: f64,
    },
    /// Measured response at some frequencies; its level says nothing. Of `f0_hz` only that counts which the rig leaves open:
    /// as a stretch of all frequencies.
    Curve { points: Vec<Point>, f0_hz: Estimate },
}

/// A point of a measured curve.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    pub hz: f64,
    /// Natural logarithm of the magnitude.
    pub ln_mag: f64,
    /// Radians, the sign of the winding taken out.
    pub phase: f64,
    /// Standard uncertainty of either.
    pub u: f64,
}

/// One take of the pickup.
#[derive(Debug, Clone)]
pub struct Take {
    pub load: Load,
    /// The instrument's input: resistance and capacitance; one instrument for all takes of a rig.
    pub input_ohm: Option<f64>,
    pub input_f: f64,
    /// Standard uncertainties of the two, relative; 0: taken as exact.
    pub input_u: [f64; 2],
    /// Resistance of the copper during the take over that of the ohmmeter's reading.
    pub warm: f64,
    /// Takes with the same number share what their rig leaves open.
    pub rig: usize,
    pub seen: Seen,
}

/// What is known beforehand.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// The ohmmeter's reading.
    pub r_ohm: f64,
    /// Its standard uncertainty in ohms; 0: taken as exact.
    pub r_u: f64,
    /// Half-widths of the parts in the loads. The same part with the same printed value is taken for the same part.
    pub tolerances: Tolerances,
    pub read: Read,
    /// Metal is looked for.
    pub metal: bool,
}

/// Capacitances that were read on one meter ([`METER`](crate::network::knob::METER)): what its scale and its zero are off is
/// common to them.
#[derive(Debug, Clone, Default)]
pub struct Read {
    /// Parts of the loads, with their values.
    pub parts: Vec<(Knob, f64)>,
    /// Likewise, and within a half-width of their own that was stated, scale and zero together.
    pub stated: Vec<(Knob, f64, f64)>,
    /// Rigs whose input, the lead counted in, was read on it.
    pub rigs: Vec<usize>,
}

/// How a take agrees with the fit: seen less predicted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: Option<f64>,
    /// Of a curve: rms of the difference in dB, the take's own noise taken off.
    pub rms_db: Option<f64>,
}

/// A further take that would help.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    pub load: Load,
    /// Standard uncertainties of L and C_s with it, over those without.
    pub l: f64,
    pub c: f64,
}

/// What was known beforehand of something that hangs on the winding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Source {
    Part(Knob),
    Input(InputPart),
    /// The meter that several of them were read on.
    Meter,
}

/// What is left open of the input of a rig, as factors on what the rig states; and how it hangs together with the coil.
#[derive(Debug, Clone)]
pub struct InputLeft {
    pub rig: usize,
    pub factors: Vec<(InputPart, f64)>,
    /// Of the coil's parameters in the order of [`parameters`](crate::network::coil_file::parameters), then of the factors.
    pub covariance: DMatrix<f64>,
    /// The part of it that comes from the noise of the takes.
    pub noise: DMatrix<f64>,
}

#[derive(Debug, Clone)]
pub struct CoilFit {
    pub coil: Coil,
    /// Of the coil's parameters in the order of [`parameters`](crate::network::coil_file::parameters), everything counted.
    pub covariance: DMatrix<f64>,
    /// The part of it that comes from the noise of the takes.
    pub noise: DMatrix<f64>,
    /// Weighted squares.
    pub chi2: f64,
    /// The same over the degrees of freedom; `None` where there are none.
    pub reduced_chi2: Option<f64>,
    /// Probability of a larger value by chance.
    pub chance: Option<f64>,
    pub agreement: Vec<Agreement>,
    /// Share of the tolerances of known parts in the variances of L and C_s.
    pub from_parts: [f64; 2],
    /// The same of each of them.
    pub shares: Vec<(Source, [f64; 2])>,
    /// One for each rig whose input is known within a tolerance.
    pub inputs: Vec<InputLeft>,
    /// C_s ran into nought.
    pub c_at_bound: bool,
    /// Metal explains the takes better.
    pub metal: bool,
    /// The Qs do not follow one resistance and one loss: L and C_s come from the frequencies, Q having only a small say.
    pub damping_apart: bool,
    /// The resistance that the takes by themselves speak for, where the ohmmeter's is far from it.
    pub other_r: Option<Estimate>,
    /// `None` where nothing on the list would help by a tenth.
    pub advice: Option<Advice>,
}

/// Why there is no coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cannot {
    /// All takes have the same load, or one has been given.
    OneLoad,
    /// No solution, or none that could be believed.
    NoFit,
}

/// A curve's points know nothing of what the fit of their take left open in the chain: 0.005 dB, over which an octave of
/// points errs alike. As if each erred by itself: times the square root of the 24 points of an octave. (Relative.)
const CURVE_FLOOR: f64 = 2.8e-3;
/// A loss counts from so many standard uncertainties on.
const SIGNIFICANT: f64 = 2.0;

impl Take {
    fn noise_of_q(&self) -> Option<f64> {
        match &self.seen {
            Seen::Resonance { q, .. } => q.map(|q| q.u_noise),
            Seen::Curve { .. } => None,
        }
    }

    /// As if the noise of Q were [`Q_APART`]. What it has in common with f0 stays as large as it was.
    fn with_a_loose_q(&self) -> Take {
        let mut t = self.clone();
        if let Seen::Resonance { q: Some(q), corr, .. } = &mut t.seen {
            let rest = (q.u * q.u - q.u_noise * q.u_noise).max(0.0);
            let was = q.u_noise;
            q.u_noise = was.max(Q_APART * q.value);
            q.u = (q.u_noise * q.u_noise + rest).sqrt();
            *corr *= was / q.u_noise;
        }
        t
    }

    /// What the rig leaves open in f0 and Q, relative, besides the take's noise.
    fn open(&self) -> [f64; 2] {
        let rest = |e: &Estimate| (e.u * e.u - e.u_noise * e.u_noise).max(0.0).sqrt() / e.value;
        match &self.seen {
            Seen::Resonance { f0_hz, q, .. } => [rest(f0_hz), q.as_ref().map_or(0.0, rest)],
            Seen::Curve { f0_hz, .. } => [rest(f0_hz), 0.0],
        }
    }

    /// The coil as warm as it was during the take.
    fn warmed(&self, coil: &Coil) -> Coil {
        Coil {
            r_ohm: coil.r_ohm * self.warm,
            ..*coil
        }
    }

    fn rows(&self) -> usize {
        match &self.seen {
            Seen::Resonance { q, .. } => 1 + usize::from(q.is_some()),
            Seen::Curve { points, .. } => 2 * points.len(),
        }
    }

    /// Capacitance that hangs on the winding, about.
    fn capacitance(&self) -> f64 {
        let tone = self.load.tone.as_ref().filter(|t| t.taper.share(t.rotation) < 0.02);
        self.load.capacitance() + self.input_f + tone.map_or(0.0, |t| t.farad)
    }

    fn f0(&self) -> f64 {
        match &self.seen {
            Seen::Resonance { f0_hz, .. } | Seen::Curve { f0_hz, .. } => f0_hz.value,
        }
    }
}

/// Where the takes contradict each other this unlikely by chance, the damping is suspected first: real windings lose in more
/// ways than two.
const UNLIKELY: f64 = 0.01;
/// Standard uncertainty of Q then (relative), so that it tells of losses and no longer of L.
const Q_APART: f64 = 0.02;

/// Where the chance of the takes is below this the ohmmeter's reading is looked at.
const DOUBTFUL: f64 = 0.2;
/// Another resistance is spoken of beyond so many standard uncertainties and this part of the reading, where the takes tell it
/// within `R_TOLD` (relative).
const R_APART: (f64, f64) = (3.0, 0.02);
const R_TOLD: f64 = 0.1;
/// Standard uncertainty of a reading that has no say (relative).
const R_OPEN: f64 = 0.5;

/// Fits the coil.
///
/// Where the Qs do not fit together, they lose their say in L and C_s: f0 depends on the losses by little, and so the
/// frequencies alone are right where a model of the losses is not.
pub fn fit(takes: &[Take], known: &Known) -> Result<CoilFit, Cannot> {
    let strict = fit_as_stated(takes, known)?;
    if strict.metal {
        return Ok(strict);
    }
    let other_r = other_r(takes, known, &strict);
    if strict.chance.is_none_or(|p| p > UNLIKELY) {
        return Ok(CoilFit { other_r, ..strict });
    }
    let loosened: Vec<Take> = takes.iter().map(Take::with_a_loose_q).collect();
    let loose = fit_as_stated(&loosened, known)?;
    // Were it not the damping that is at odds, no more would be won than chance gives, in units of the scatter that remains.
    let qs = takes
        .iter()
        .zip(&loosened)
        .filter(|(a, b)| a.noise_of_q() != b.noise_of_q());
    let won = (strict.chi2 - loose.chi2) / loose.reduced_chi2.unwrap_or(1.0).max(1.0);
    let apart = won > by_chance(qs.count());
    let best = if apart { loose } else { strict };
    Ok(CoilFit {
        damping_apart: apart,
        other_r,
        ..best
    })
}

/// What so many squares exceed with a probability of [`UNLIKELY`] only.
fn by_chance(count: usize) -> f64 {
    ChiSquared::new(count as f64).map_or(f64::INFINITY, |d| d.inverse_cdf(1.0 - UNLIKELY))
}

/// The resistance without the ohmmeter, where it is well told, far from the reading, and explains the takes better.
fn other_r(takes: &[Take], known: &Known, strict: &CoilFit) -> Option<Estimate> {
    if known.r_ohm <= 0.0 || strict.chance.is_none_or(|p| p > DOUBTFUL) {
        return None;
    }
    let open = Known {
        r_u: R_OPEN * known.r_ohm,
        ..known.clone()
    };
    let free = fit_as_stated(takes, &open).ok()?;
    let r = free.coil.r_ohm;
    let of = |m: &DMatrix<f64>| m[(0, 0)].max(0.0).sqrt();
    let (u, off) = (of(&free.covariance), (r - known.r_ohm).abs());
    let won = (strict.chi2 - free.chi2) / free.reduced_chi2.unwrap_or(1.0).max(1.0);
    let far = off > R_APART.0 * u.hypot(known.r_u) && off > R_APART.1 * known.r_ohm;
    let told = !free.metal && u < R_TOLD * r && won > by_chance(1);
    (far && told).then(|| Estimate::new(r, u, of(&free.noise))).flatten()
}

fn fit_as_stated(takes: &[Take], known: &Known) -> Result<CoilFit, Cannot> {
    let first = takes.first().ok_or(Cannot::OneLoad)?;
    let alike = |t: &Take| t.load == first.load && t.input_ohm == first.input_ohm && t.input_f == first.input_f;
    if takes.iter().all(alike) {
        return Err(Cannot::OneLoad);
    }
    let mut best = solve_kind(takes, known, Kind::Plain);
    let damping = takes.iter().any(|t| !matches!(t.seen, Seen::Resonance { q: None, .. }));
    if damping && let Some(loss) = solve_kind(takes, known, Kind::Loss) {
        // Where the takes scatter more than their noise, the loss must stand out against that.
        let sd = (loss.inverse[(2, 2)] * loss.excess()).sqrt();
        if loss.x[2] > SIGNIFICANT * sd && sd > 0.0 {
            best = Some(loss);
        }
    }
    for kind in [Kind::Turn, Kind::Core].into_iter().filter(|_| known.metal) {
        if let Some(richer) = solve_kind(takes, known, kind)
            && best.as_ref().is_none_or(|b| better(&richer, b))
        {
            best = Some(richer);
        }
    }
    let found = best.ok_or(Cannot::NoFit)?;
    Ok(conclude(takes, known, found))
}

/// Whether a richer model tells the takes better: by the Bayesian information criterion, in units of the scatter that is really there.
fn better(richer: &Found, plainer: &Found) -> bool {
    let (data, excess) = (richer.data_rows.max(2) as f64, richer.excess());
    let more = (richer.layout.kind.count() - plainer.layout.kind.count()) as f64;
    richer.cost / excess + more * data.ln() < plainer.cost / excess
}
