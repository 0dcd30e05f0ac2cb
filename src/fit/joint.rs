//! The coil behind several takes: L, C_s and losses from one pickup under known loads, in one weighted fit.
//!
//! One take gives two numbers and cannot separate L from C. Under loads of different capacitance the resonances do:
//! 1/w0^2 = L (C_s + C_i) / (1 + R/R_p). Every take that a second-order circuit explains enters by its f0 and Q, which hold
//! all that it says of such a circuit; a take under another load (a tone control half way), or of a coil with metal, enters by
//! its curve. What is common to takes of one rig, and what the printed values of the known parts leave open, are unknowns of
//! the fit with priors of their own, so that they reach the uncertainties as they should: together, not as if each take
//! erred by itself.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::solve::{self, Patience, Problem};
use crate::estimate::Estimate;
use crate::network::coil_file::parameters;
use crate::network::knob::{Knob, Tolerances, UNIFORM};
use crate::network::{Coil, Eddy, Load, predict};

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
    /// The instrument's input: resistance and capacitance, exactly known or within the tolerances of the rig.
    pub input_ohm: Option<f64>,
    pub input_f: f64,
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
    /// Half-width of the instrument's capacitance, relative; one instrument for all takes.
    pub input: f64,
    /// Metal is looked for.
    pub metal: bool,
}

/// How a take agrees with the fit: seen less predicted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: Option<f64>,
    /// Of a curve: rms of the difference in dB.
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

#[derive(Debug, Clone)]
pub struct CoilFit {
    pub coil: Coil,
    /// Of the coil's parameters in the order of [`parameters`], everything counted.
    pub covariance: DMatrix<f64>,
    /// The part of it that comes from the noise of the takes.
    pub noise: DMatrix<f64>,
    /// Weighted squares over degrees of freedom; `None` where there are none.
    pub reduced_chi2: Option<f64>,
    /// Probability of a larger value by chance.
    pub chance: Option<f64>,
    pub agreement: Vec<Agreement>,
    /// Share of the tolerances of known parts in the variances of L and C_s.
    pub from_parts: [f64; 2],
    /// C_s ran into nought.
    pub c_at_bound: bool,
    /// Metal explains the takes better.
    pub metal: bool,
    /// The Qs do not follow one resistance and one loss: L and C_s come from the frequencies, Q having only a small say.
    pub damping_apart: bool,
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
/// Units of the parameters, so that all are of the size of 1.
const C_UNIT: f64 = 100e-12;
const G_UNIT: f64 = 1e-6;
const TAU_UNIT: f64 = 1e-6;
/// A loss counts from so many standard uncertainties on.
const SIGNIFICANT: f64 = 2.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Plain,
    Loss,
    Metal,
}

impl Kind {
    /// Besides R.
    fn count(self) -> usize {
        match self {
            Kind::Plain => 2,
            Kind::Loss => 3,
            Kind::Metal => 5,
        }
    }
}

/// Positions of the unknowns: the coil's; a gain for each curve; a factor for each part with a tolerance; for each rig the
/// part of f0 and of Q that it leaves open.
struct Layout {
    kind: Kind,
    r_free: bool,
    gains: Vec<Option<usize>>,
    parts: Vec<(Knob, f64, f64)>,
    parts_at: usize,
    input_at: Option<usize>,
    rigs: Vec<usize>,
    rigs_at: usize,
    size: usize,
}

impl Layout {
    fn new(kind: Kind, takes: &[Take], known: &Known) -> Self {
        let r_free = known.r_u > 0.0;
        let mut size = kind.count() + usize::from(r_free);
        let gains = takes
            .iter()
            .map(|t| match t.seen {
                Seen::Curve { .. } => {
                    size += 1;
                    Some(size - 1)
                }
                Seen::Resonance { .. } => None,
            })
            .collect();
        let mut parts: Vec<(Knob, f64, f64)> = Vec::new();
        for t in takes {
            for (knob, tolerance) in known.tolerances.0.iter().filter(|k| k.0.is_part() && k.1 > 0.0) {
                if let Some(v) = knob.get(&t.load).filter(|v| *v > 0.0)
                    && !parts.iter().any(|p| p.0 == *knob && p.1 == v)
                {
                    parts.push((*knob, v, UNIFORM * tolerance));
                }
            }
        }
        let parts_at = size;
        size += parts.len();
        let input = known.input > 0.0 && takes.iter().any(|t| t.input_f > 0.0);
        let input_at = input.then_some(size);
        size += usize::from(input);
        let mut rigs: Vec<usize> = takes.iter().filter(|t| t.open() != [0.0, 0.0]).map(|t| t.rig).collect();
        rigs.sort_unstable();
        rigs.dedup();
        let rigs_at = size;
        size += 2 * rigs.len();
        Layout {
            kind,
            r_free,
            gains,
            parts,
            parts_at,
            input_at,
            rigs,
            rigs_at,
            size,
        }
    }

    fn coil(&self, x: &[f64], known: &Known) -> Coil {
        let r = if self.r_free { x[self.kind.count()].exp() } else { 1.0 };
        let coil = Coil::new(known.r_ohm * r, x[0].exp(), x[1] * C_UNIT);
        match self.kind {
            Kind::Plain => coil,
            Kind::Loss => Coil {
                loss_ohm: (x[2] > 0.0).then(|| 1.0 / (x[2] * G_UNIT)),
                ..coil
            },
            Kind::Metal => Coil {
                eddy: Some(Eddy {
                    k: x[2],
                    tau_s: x[3].exp() * TAU_UNIT,
                    emf: x[4],
                }),
                ..coil
            },
        }
    }

    fn bounds(&self) -> (Vec<f64>, Vec<f64>) {
        let (mut low, mut high) = (vec![f64::NEG_INFINITY; self.size], vec![f64::INFINITY; self.size]);
        low[1] = 0.0;
        match self.kind {
            Kind::Plain => {}
            Kind::Loss => low[2] = 0.0,
            Kind::Metal => {
                (low[2], high[2]) = (0.0, 0.98);
                (low[3], high[3]) = (0.1f64.ln(), 1e4f64.ln());
                (low[4], high[4]) = (-1.0, 1.0);
            }
        }
        (low, high)
    }

    /// Position, standard deviation of every prior; each has the mean 0.
    fn priors(&self, known: &Known) -> Vec<(usize, f64)> {
        let mut p = Vec::new();
        if self.r_free {
            p.push((self.kind.count(), known.r_u / known.r_ohm));
        }
        p.extend(
            self.parts
                .iter()
                .enumerate()
                .map(|(i, part)| (self.parts_at + i, part.2)),
        );
        p.extend(self.input_at.map(|i| (i, UNIFORM * known.input)));
        p.extend((0..2 * self.rigs.len()).map(|i| (self.rigs_at + i, 1.0)));
        p
    }

    fn loaded(&self, take: &Take, x: &[f64]) -> Load {
        let mut load = take.load.clone();
        for (i, (knob, value, _)) in self.parts.iter().enumerate() {
            if knob.get(&load) == Some(*value) {
                // The part is there: its value was just read.
                let _ = knob.set(&mut load, value * (1.0 + x[self.parts_at + i]));
            }
        }
        let more = self.input_at.map_or(0.0, |i| x[i]);
        load.with_input(take.input_ohm, take.input_f * (1.0 + more))
    }

    fn shift(&self, take: &Take, x: &[f64]) -> [f64; 2] {
        match self.rigs.iter().position(|r| *r == take.rig) {
            Some(i) => [0, 1].map(|k| x[self.rigs_at + 2 * i + k] * take.open()[k]),
            None => [0.0, 0.0],
        }
    }
}

impl Take {
    /// What the rig leaves open in f0 and Q, relative, besides the take's noise.
    fn open(&self) -> [f64; 2] {
        let rest = |e: &Estimate| (e.u * e.u - e.u_noise * e.u_noise).max(0.0).sqrt() / e.value;
        match &self.seen {
            Seen::Resonance { f0_hz, q, .. } => [rest(f0_hz), q.as_ref().map_or(0.0, rest)],
            Seen::Curve { f0_hz, .. } => [rest(f0_hz), 0.0],
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

struct Joint<'a> {
    takes: &'a [Take],
    known: &'a Known,
    layout: &'a Layout,
    priors: Vec<(usize, f64)>,
}

/// Of a residual that cannot be had: far off, so that the search turns back.
const FAR: f64 = 1e6;

impl Joint<'_> {
    fn data_rows(&self) -> usize {
        self.takes.iter().map(Take::rows).sum()
    }

    /// Relative differences of f0 and Q, seen less predicted.
    fn resonance(&self, take: &Take, f0: f64, q: Option<f64>, coil: &Coil, load: &Load) -> Option<(f64, Option<f64>)> {
        let warm = Coil {
            r_ohm: coil.r_ohm * take.warm,
            ..*coil
        };
        let s = load.second_order(&warm)?;
        Some(((f0 / s.f0_hz).ln(), q.map(|q| (q / s.q).ln())))
    }

    fn fill(&self, x: &[f64], out: &mut [f64]) {
        let coil = self.layout.coil(x, self.known);
        let mut at = 0;
        for (n, take) in self.takes.iter().enumerate() {
            let load = self.layout.loaded(take, x);
            let shift = self.layout.shift(take, x);
            let rows = take.rows();
            let slot = &mut out[at..at + rows];
            at += rows;
            match &take.seen {
                Seen::Resonance { f0_hz, q, corr } => {
                    let Some((f, d)) = self.resonance(take, f0_hz.value, q.map(|q| q.value), &coil, &load) else {
                        slot.fill(FAR);
                        continue;
                    };
                    let a = (f - shift[0]) / (f0_hz.u_noise / f0_hz.value);
                    slot[0] = a;
                    if let (Some(q), Some(d)) = (q, d) {
                        let b = (d - shift[1]) / (q.u_noise / q.value);
                        slot[1] = (b - corr * a) / (1.0 - corr * corr).sqrt();
                    }
                }
                Seen::Curve { points, .. } => {
                    let warm = Coil {
                        r_ohm: coil.r_ohm * take.warm,
                        ..coil
                    };
                    let gain = self.layout.gains[n].map_or(0.0, |g| x[g]);
                    for (k, p) in points.iter().enumerate() {
                        let h = load.response(&warm, TAU * p.hz * (1.0 - shift[0]));
                        let u = p.u.hypot(CURVE_FLOOR);
                        slot[2 * k] = (p.ln_mag - h.norm().ln() - gain) / u;
                        let turn = p.phase - h.arg();
                        slot[2 * k + 1] = (turn - TAU * (turn / TAU).round()) / u;
                    }
                }
            }
        }
        for (slot, (i, sd)) in out[at..].iter_mut().zip(&self.priors) {
            *slot = x[*i] / sd;
        }
    }
}

impl Problem for Joint<'_> {
    fn rows(&self) -> usize {
        self.data_rows() + self.priors.len()
    }

    fn residuals(&self, x: &[f64], out: &mut DVector<f64>) {
        self.fill(x, out.as_mut_slice());
    }

    fn jacobian(&self, x: &[f64], out: &mut DMatrix<f64>) {
        const STEP: f64 = 1e-5;
        let n = self.rows();
        let (mut above, mut below) = (vec![0.0; n], vec![0.0; n]);
        let (low, high) = self.layout.bounds();
        let mut moved = x.to_vec();
        for c in 0..x.len() {
            // At a bound the difference is taken to one side.
            let (a, b) = ((x[c] + STEP).min(high[c]), (x[c] - STEP).max(low[c]));
            moved[c] = a;
            self.fill(&moved, &mut above);
            moved[c] = b;
            self.fill(&moved, &mut below);
            moved[c] = x[c];
            for r in 0..n {
                out[(r, c)] = (above[r] - below[r]) / (a - b);
            }
        }
    }
}

struct Found {
    layout: Layout,
    x: Vec<f64>,
    cost: f64,
    inverse: DMatrix<f64>,
    jacobian: DMatrix<f64>,
    data_rows: usize,
    agreement: Vec<Agreement>,
    c_at_bound: bool,
}

/// L and C_s by the straight line through 1/w0^2 over capacitance, kept within what pickups have.
fn line(takes: &[Take]) -> (f64, f64) {
    let points: Vec<(f64, f64)> = takes
        .iter()
        .map(|t| (t.capacitance(), 1.0 / (TAU * t.f0()).powi(2)))
        .collect();
    let n = points.len() as f64;
    let (mx, my) = (
        points.iter().map(|p| p.0).sum::<f64>() / n,
        points.iter().map(|p| p.1).sum::<f64>() / n,
    );
    let sxx: f64 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    let l = if sxx > 0.0 { sxy / sxx } else { 0.0 };
    let l = if (0.05..200.0).contains(&l) {
        l
    } else {
        my / (mx + C_UNIT)
    };
    (l, (my / l - mx).clamp(5e-12, 3e-9))
}

fn solve_kind(takes: &[Take], known: &Known, kind: Kind) -> Option<Found> {
    let layout = Layout::new(kind, takes, known);
    let joint = Joint {
        takes,
        known,
        layout: &layout,
        priors: layout.priors(known),
    };
    let (low, high) = layout.bounds();
    let (l, c) = line(takes);
    let starts: Vec<Vec<f64>> = match kind {
        Kind::Plain => vec![vec![]],
        Kind::Loss => vec![vec![1.0]],
        Kind::Metal => [(0.3, 20.0), (0.5, 5.0), (0.3, 100.0), (0.15, 50.0)]
            .map(|(k, t): (f64, f64)| vec![k, t.ln(), 0.1])
            .to_vec(),
    };
    let mut best: Option<solve::Solution> = None;
    for extra in starts {
        let mut x = vec![0.0; layout.size];
        x[0] = l.ln();
        x[1] = c / C_UNIT;
        x[2..2 + extra.len()].copy_from_slice(&extra);
        // Levels first: with them off by decibels nothing else is found.
        let coil = layout.coil(&x, known);
        for (t, g) in takes.iter().zip(&layout.gains) {
            if let (Seen::Curve { points, .. }, Some(g)) = (&t.seen, g) {
                let load = layout.loaded(t, &x);
                let sum: f64 = points
                    .iter()
                    .take(8)
                    .map(|p| p.ln_mag - load.response(&coil, TAU * p.hz).norm().ln())
                    .sum();
                x[*g] = sum / points.len().clamp(1, 8) as f64;
            }
        }
        let found = solve::minimise(&joint, &x, &low, &high, Patience::EXACT);
        let counts = found.ending == solve::Ending::Converged && found.theta.iter().all(|v| v.is_finite());
        if counts && best.as_ref().is_none_or(|b| found.cost < b.cost) {
            best = Some(found);
        }
    }
    let best = best?;
    let mut jacobian = DMatrix::zeros(joint.rows(), layout.size);
    joint.jacobian(&best.theta, &mut jacobian);
    // A bound that was hit is a fact about these takes' noise, not knowledge: only where the matrix is singular is such a
    // parameter held.
    let whole = solve::inverse_normal(&jacobian);
    let free: Vec<usize> = (0..layout.size).filter(|i| !best.at_bound[*i]).collect();
    let reduced = DMatrix::from_fn(jacobian.nrows(), free.len(), |r, c| jacobian[(r, free[c])]);
    let inverse = match whole {
        Some(whole) => whole,
        None => {
            let small = solve::inverse_normal(&reduced)?;
            let mut inverse = DMatrix::zeros(layout.size, layout.size);
            for (a, fa) in free.iter().enumerate() {
                for (b, fb) in free.iter().enumerate() {
                    inverse[(*fa, *fb)] = small[(a, b)];
                }
            }
            inverse
        }
    };
    let agreement = agreements(&joint, &best.theta);
    let data_rows = joint.data_rows();
    let c_at_bound = best.at_bound[1];
    Some(Found {
        x: best.theta,
        cost: best.cost,
        inverse,
        jacobian,
        data_rows,
        agreement,
        c_at_bound,
        layout,
    })
}

/// The parts as printed, what the rig leaves open at nought: how the takes would agree if all that is taken for granted held.
fn agreements(joint: &Joint, x: &[f64]) -> Vec<Agreement> {
    let coil = joint.layout.coil(x, joint.known);
    joint
        .takes
        .iter()
        .enumerate()
        .map(|(n, t)| {
            let load = joint.layout.loaded(t, x);
            let shift = joint.layout.shift(t, x);
            match &t.seen {
                Seen::Resonance { f0_hz, q, .. } => {
                    let (f0, q) = joint
                        .resonance(t, f0_hz.value, q.map(|q| q.value), &coil, &load)
                        .unwrap_or((f64::NAN, None));
                    Agreement {
                        f0: f0 - shift[0],
                        q: q.map(|q| q - shift[1]),
                        rms_db: None,
                    }
                }
                Seen::Curve { points, .. } => {
                    let gain = joint.layout.gains[n].map_or(0.0, |g| x[g]);
                    let sum: f64 = points
                        .iter()
                        .map(|p| (p.ln_mag - load.response(&coil, TAU * p.hz).norm().ln() - gain).powi(2))
                        .sum();
                    let predicted = load.second_order(&coil).map(|s| s.f0_hz);
                    Agreement {
                        f0: predicted.map_or(0.0, |f| (t.f0() / f).ln()),
                        q: None,
                        rms_db: Some(20.0 * std::f64::consts::LOG10_E * (sum / points.len().max(1) as f64).sqrt()),
                    }
                }
            }
        })
        .collect()
}

impl Found {
    /// Data less what was fitted to them; priors count as data of their own.
    fn freedom(&self, priors: usize) -> i64 {
        (self.data_rows + priors) as i64 - self.layout.size as i64
    }

    /// By how much the takes scatter more than their noise, as a factor of variance; 1 where they do not.
    fn excess(&self, known: &Known) -> f64 {
        let freedom = self.freedom(self.layout.priors(known).len());
        if freedom > 0 {
            (self.cost / freedom as f64).max(1.0)
        } else {
            1.0
        }
    }
}

/// Where the takes contradict each other this unlikely by chance, the damping is suspected first: real windings lose in more
/// ways than two.
const UNLIKELY: f64 = 0.01;
/// Standard uncertainty of Q then (relative), so that it tells of losses and no longer of L.
const Q_APART: f64 = 0.02;

/// Fits the coil.
///
/// Where the Qs do not fit together, they lose their say in L and C_s: f0 depends on the losses by little, and so the
/// frequencies alone are right where a model of the losses is not.
pub fn fit(takes: &[Take], known: &Known) -> Result<CoilFit, Cannot> {
    let strict = fit_as_stated(takes, known)?;
    if strict.metal || strict.chance.is_none_or(|p| p > UNLIKELY) {
        return Ok(strict);
    }
    let loose: Vec<Take> = takes
        .iter()
        .map(|t| {
            let mut t = t.clone();
            if let Seen::Resonance { q: Some(q), .. } = &mut t.seen {
                let rest = (q.u * q.u - q.u_noise * q.u_noise).max(0.0);
                q.u_noise = q.u_noise.max(Q_APART * q.value);
                q.u = (q.u_noise * q.u_noise + rest).sqrt();
            }
            t
        })
        .collect();
    let loose = fit_as_stated(&loose, known)?;
    // Were it not the damping that is at odds, nothing would be won.
    if loose.chance.is_some_and(|p| p > strict.chance.unwrap_or(0.0)) {
        Ok(CoilFit {
            damping_apart: true,
            ..loose
        })
    } else {
        Ok(strict)
    }
}

fn fit_as_stated(takes: &[Take], known: &Known) -> Result<CoilFit, Cannot> {
    let first = takes.first().ok_or(Cannot::OneLoad)?;
    let alike = |t: &Take| t.load == first.load && t.input_ohm == first.input_ohm && t.input_f == first.input_f;
    if takes.iter().all(alike) {
        return Err(Cannot::OneLoad);
    }
    let mut best = solve_kind(takes, known, Kind::Plain);
    let damping = takes.iter().any(|t| match &t.seen {
        Seen::Resonance { q, .. } => q.is_some(),
        Seen::Curve { .. } => true,
    });
    if damping && let Some(loss) = solve_kind(takes, known, Kind::Loss) {
        // Where the takes scatter more than their noise, the loss must stand out against that.
        let sd = (loss.inverse[(2, 2)] * loss.excess(known)).sqrt();
        if loss.x[2] > SIGNIFICANT * sd && sd > 0.0 {
            best = Some(loss);
        }
    }
    let mut metal = false;
    if known.metal
        && let Some(found) = solve_kind(takes, known, Kind::Metal)
    {
        let data = found.data_rows.max(2) as f64;
        let excess = found.excess(known);
        // Bayesian information criterion, in units of the scatter that is really there.
        metal = best.as_ref().is_none_or(|b| {
            let more = (Kind::Metal.count() - b.layout.kind.count()) as f64;
            found.cost / excess + more * data.ln() < b.cost / excess
        });
        if metal {
            best = Some(found);
        }
    }
    let found = best.ok_or(Cannot::NoFit)?;
    Ok(conclude(takes, known, found, metal))
}

fn conclude(takes: &[Take], known: &Known, found: Found, metal: bool) -> CoilFit {
    let layout = &found.layout;
    let priors = layout.priors(known);
    let freedom = found.freedom(priors.len());
    let reduced = (freedom > 0).then(|| found.cost / freedom as f64);
    let chance = (freedom > 0)
        .then(|| ChiSquared::new(freedom as f64).ok().map(|d| d.sf(found.cost)))
        .flatten();
    let excess = found.excess(known);
    let coil = layout.coil(&found.x, known);
    // From the unknowns to the coil's parameters in SI units.
    let slopes = slopes(layout, &found.x, &coil);
    let whole = &found.inverse * excess;
    let data = found.jacobian.rows(0, found.data_rows);
    let from_noise = &found.inverse * (data.transpose() * data) * &found.inverse * excess;
    // The instrument's capacitance comes right behind the parts, and counts as one.
    let parts = layout.parts_at..layout.parts_at + layout.parts.len() + usize::from(layout.input_at.is_some());
    let mut weights = DMatrix::zeros(layout.size, layout.size);
    for (i, sd) in priors.iter().filter(|p| parts.contains(&p.0)) {
        weights[(*i, *i)] = 1.0 / (sd * sd);
    }
    let from_parts = &found.inverse * weights * &found.inverse;
    let to_coil = |m: &DMatrix<f64>| &slopes * m * slopes.transpose();
    let covariance = to_coil(&whole);
    let parts_share = to_coil(&from_parts);
    let share = |i: usize| {
        let v = covariance[(i, i)];
        if v > 0.0 {
            (parts_share[(i, i)] / v).clamp(0.0, 1.0)
        } else {
            0.0
        }
    };
    CoilFit {
        coil,
        noise: to_coil(&from_noise),
        reduced_chi2: reduced,
        chance,
        agreement: found.agreement.clone(),
        from_parts: [share(1), share(2)],
        c_at_bound: found.c_at_bound,
        metal,
        damping_apart: false,
        advice: advice(takes, known, &found, excess),
        covariance,
    }
}

/// d(R, L, C, 1/loss or k, tau, emf) by d(unknowns).
fn slopes(layout: &Layout, x: &[f64], coil: &Coil) -> DMatrix<f64> {
    let n = parameters(coil).len();
    let mut s = DMatrix::zeros(n, layout.size);
    if layout.r_free {
        s[(0, layout.kind.count())] = coil.r_ohm;
    }
    s[(1, 0)] = coil.l_h;
    s[(2, 1)] = C_UNIT;
    match layout.kind {
        Kind::Plain => {}
        Kind::Loss if n > 3 => s[(3, 2)] = G_UNIT,
        Kind::Loss => {}
        Kind::Metal => {
            s[(3, 2)] = 1.0;
            s[(4, 3)] = x[3].exp() * TAU_UNIT;
            s[(5, 4)] = 1.0;
        }
    }
    s
}

/// Capacitors that shops have (IEC 60063, E6), from what a short lead has to where guitars become silent.
const CANDIDATES_F: [f64; 13] = [
    0.0, 100e-12, 150e-12, 220e-12, 330e-12, 470e-12, 680e-12, 1e-9, 1.5e-9, 2.2e-9, 3.3e-9, 4.7e-9, 10e-9,
];
/// Worth the trouble of a take: uncertainty down to this part of what it was.
const WORTH: f64 = 0.9;

/// The further capacitor that would shrink the uncertainty of L or of C_s the most.
fn advice(takes: &[Take], known: &Known, found: &Found, excess: f64) -> Option<Advice> {
    let layout = &found.layout;
    let mut noise: Vec<(f64, f64)> = takes
        .iter()
        .filter_map(|t| match &t.seen {
            Seen::Resonance { f0_hz, q, .. } => {
                Some((f0_hz.u_noise / f0_hz.value, q.map_or(1.0, |q| q.u_noise / q.value)))
            }
            Seen::Curve { .. } => None,
        })
        .collect();
    if noise.is_empty() {
        // As good as the points of a curve allow, about.
        noise.push((CURVE_FLOOR, CURVE_FLOOR));
    }
    noise.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (uf, uq) = noise[noise.len() / 2];
    let barest = takes
        .iter()
        .min_by(|a, b| a.capacitance().total_cmp(&b.capacitance()))?;
    let tolerance = known.tolerances.of(Knob::Cap).unwrap_or(0.0) * UNIFORM;
    let now = &found.inverse * excess;
    let (l_now, c_now) = (now[(0, 0)].sqrt(), now[(1, 1)].sqrt());
    let mut best: Option<Advice> = None;
    for farad in CANDIDATES_F {
        let mut load = barest.load.clone();
        load.cap_f = (farad > 0.0).then_some(farad);
        if takes.iter().any(|t| t.load == load) {
            continue;
        }
        let figures = |x: &[f64], factor: f64| {
            let coil = layout.coil(x, known);
            // Parts and input as the fit has them: what it cannot tell apart, a further take will not either.
            let trial = Take {
                load: load.clone(),
                ..barest.clone()
            };
            let mut l = layout.loaded(&trial, x);
            l.cap_f = l.cap_f.map(|c| c * factor);
            let wiring = crate::network::Wiring::from(l);
            let f = predict::figures(&wiring, &coil);
            match f.second_order {
                Some(s) => Some((s.f0_hz.ln(), s.q.ln())),
                None => Some((f.peak_hz?.ln(), f.height_db? / 8.686)),
            }
        };
        // Rows of two data: by the unknowns, and by the capacitor's own factor.
        let n = layout.size;
        let mut rows = DMatrix::zeros(2, n + 1);
        let mut fine = true;
        for i in 0..=n {
            let step = 1e-4;
            let at = |sign: f64| {
                let mut x = found.x.clone();
                if i < n {
                    x[i] = (x[i] + sign * step).max(if i == 1 { 0.0 } else { f64::NEG_INFINITY });
                    figures(&x, 1.0)
                } else {
                    figures(&x, 1.0 + sign * step)
                }
            };
            match (at(1.0), at(-1.0)) {
                (Some(a), Some(b)) => {
                    rows[(0, i)] = (a.0 - b.0) / (2.0 * step) / uf;
                    rows[(1, i)] = (a.1 - b.1) / (2.0 * step) / uq;
                }
                _ => fine = false,
            }
        }
        if !fine {
            continue;
        }
        // The covariance with the new capacitor's factor beside, then the two data taken in (Kalman's step).
        let mut p = DMatrix::zeros(n + 1, n + 1);
        p.view_mut((0, 0), (n, n)).copy_from(&now);
        p[(n, n)] = tolerance * tolerance;
        let s = &rows * &p * rows.transpose() + DMatrix::identity(2, 2) * excess;
        let Some(gain) = s.try_inverse().map(|i| &p * rows.transpose() * i) else {
            continue;
        };
        let after = &p - gain * &rows * &p;
        let a = Advice {
            load,
            l: after[(0, 0)].max(0.0).sqrt() / l_now,
            c: if c_now > 0.0 {
                after[(1, 1)].max(0.0).sqrt() / c_now
            } else {
                1.0
            },
        };
        if a.l.is_finite() && a.c.is_finite() && best.as_ref().is_none_or(|b| a.l.min(a.c) < b.l.min(b.c)) {
            best = Some(a);
        }
    }
    best.filter(|a| a.l.min(a.c) < WORTH)
}
