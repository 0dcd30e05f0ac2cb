//! f0 and Q of the natural resonance: of the circuit alone, wherever the exciter lies.
//!
//! s_p is the root of Q(s) ([`super::own`]) that the plain resonance turns into as metal comes in: f0 = |s_p|/2 pi,
//! Q = |s_p|/(-2 Re s_p). Without metal both are those of the second-order model. Where Q is below 0.6 the root is about to
//! become real and says nothing: there a plain response with complex gain is laid on the model's curve from 0.6 to 1.6 times the
//! frequency where its phase is -90 degrees, and its f0 and Q are called local.

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::Fitted;
use super::model::{Param, f0_q};
use super::own::Own;
use crate::estimate::Estimate;

const J: Complex64 = Complex64::new(0.0, 1.0);
const ONE: Complex64 = Complex64::new(1.0, 0.0);

/// Below this Q the root says nothing.
const LEAST_Q: f64 = 0.6;

/// What f0 and Q are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    Plain,
    Natural,
    Local,
}

/// f0 and Q, and the level below them.
#[derive(Debug, Clone)]
pub struct Resonance {
    pub meaning: Meaning,
    pub f0: Estimate,
    pub q: Estimate,
    /// The level that is 0 dB ([`level`]) times the size of the gain, both counted in its uncertainties.
    pub level: Estimate,
    /// How f0 and Q follow the parameters.
    pub slopes: [DVector<f64>; 2],
}

/// f0 and Q of a fit with their uncertainties; `None` where it has no resonance.
pub fn of(fit: &Fitted) -> Option<Resonance> {
    let at = |theta: &[f64], from: Option<Found>| find(&fit.model.own(theta), fit.model.f_ref, from);
    let here = at(&fit.theta, None)?;
    let gain = fit.get(Param::Gain)?;
    let mut by_level = DVector::zeros(fit.theta.len());
    by_level[0] = 1.0 / gain;
    let step = |i: usize, value: f64| match fit.model.params[i] {
        Param::B1 | Param::B2 => 1e-4 * value,
        _ => 1e-4,
    };
    let mut slopes = [DVector::zeros(fit.theta.len()), DVector::zeros(fit.theta.len())];
    // Gain, exciter's place, corners and delay are not in it.
    for i in 1..fit.own_count() {
        let h = step(i, fit.theta[i]);
        let shifted = |by: f64| {
            let mut theta = fit.theta.clone();
            theta[i] += by;
            at(&theta, Some(here))
        };
        let (above, below) = (shifted(h)?, shifted(-h)?);
        slopes[0][i] = (above.f0 - below.f0) / (2.0 * h);
        slopes[1][i] = (above.q - below.q) / (2.0 * h);
        by_level[i] = (above.level / below.level).ln() / (2.0 * h);
    }
    let total = fit.total();
    let cov = |c: &DMatrix<f64>, a: usize, b: usize| slopes[a].dot(&(c * &slopes[b]));
    let sd = |c: &DMatrix<f64>, a: usize| cov(c, a, a).max(0.0).sqrt();
    let u_level = |c: &DMatrix<f64>| by_level.dot(&(c * &by_level)).max(0.0).sqrt();
    let level = here.level * gain.abs();
    Some(Resonance {
        meaning: here.meaning,
        f0: Estimate::new(here.f0, sd(&total, 0), sd(&fit.noise, 0))?,
        q: Estimate::new(here.q, sd(&total, 1), sd(&fit.noise, 1))?,
        level: Estimate::new(level, level * u_level(&total), level * u_level(&fit.noise))?,
        slopes,
    })
}

/// Where the level at low frequency is taken: with steel that at nought hertz is not reached, and one with the AC coupling.
const LEVEL_HZ: f64 = 250.0;

/// How well the models of a core carry the level down: on circuits solved elsewhere they missed it by 0.06 dB at most.
pub const LEVEL_U_DB: f64 = 0.015;

/// The level of the pickup's own response that is 0 dB: at 250 Hz, carried down as a plain coil of its f0 and Q would; 1 without
/// metal. `None` where there is no resonance.
pub fn level(own: &Own, f_ref: f64) -> Option<f64> {
    find(own, f_ref, None).map(|f| f.level)
}

#[derive(Debug, Clone, Copy)]
struct Found {
    meaning: Meaning,
    /// Over 2 pi f_ref.
    root: Complex64,
    f0: f64,
    q: f64,
    level: f64,
}

impl Found {
    fn new(own: &Own, f_ref: f64, meaning: Meaning, root: Complex64, (f0, q): (f64, f64)) -> Self {
        let y = LEVEL_HZ / f0;
        let carried = Complex64::new(1.0 - y * y, y / q).norm();
        let there = own.response(J * (LEVEL_HZ / f_ref), std::f64::consts::TAU * f_ref);
        Found {
            meaning,
            root,
            f0,
            q,
            level: there.norm() * carried,
        }
    }
}

/// `from`: where it was for nearly the same parameters.
fn find(own: &Own, f_ref: f64, from: Option<Found>) -> Option<Found> {
    if own.core.is_none() {
        // The one pole of a turn stands beside the two of the resonance.
        let turn = own.pole != 0.0 || own.zero != 0.0;
        let meaning = if turn { Meaning::Natural } else { Meaning::Plain };
        return Some(Found::new(own, f_ref, meaning, J, f0_q(f_ref, own.b1, own.b2)));
    }
    let meaning = from.map(|f| f.meaning);
    let natural = || {
        let root = match from {
            Some(near) => newton(own, f_ref, near.root)?,
            None => follow(own, f_ref)?,
        };
        let (size, q) = (root.norm(), root.norm() / (-2.0 * root.re));
        Some(Found::new(own, f_ref, Meaning::Natural, root, (f_ref * size, q)))
    };
    match meaning {
        Some(Meaning::Local) => local(own, f_ref),
        Some(_) => natural(),
        None => natural().filter(|n| n.q >= LEAST_Q).or_else(|| local(own, f_ref)),
    }
}

/// The root as metal comes in little by little: by itself Newton's method may end at a real one.
fn follow(own: &Own, f_ref: f64) -> Option<Complex64> {
    const STEPS: usize = 8;
    let damping = own.b1 / (2.0 * own.b2);
    let ring = 1.0 / own.b2 - damping * damping;
    let mut root = match ring > 0.0 {
        true => Complex64::new(-damping, ring.sqrt()),
        // More than critically damped without metal: metal takes inductance away and may bring a resonance about.
        false => Complex64::new(-0.7, 0.7) / own.b2.sqrt(),
    };
    for k in 1..=STEPS {
        let share = k as f64 / STEPS as f64;
        let mut part = *own;
        if let Some(m) = &mut part.core {
            m.of_l *= share;
        }
        if let Some(m) = &mut part.sheet {
            m.of_l *= share;
        }
        root = newton(&part, f_ref, root)?;
    }
    Some(root)
}

fn newton(own: &Own, f_ref: f64, start: Complex64) -> Option<Complex64> {
    let w_ref = std::f64::consts::TAU * f_ref;
    let mut s = start;
    for _ in 0..60 {
        let (q, by_s) = own.quad(s, w_ref);
        let mut step = q / by_s;
        let most = 0.3 * s.norm() / step.norm();
        if most < 1.0 {
            step *= most;
        }
        s -= step;
        if !s.is_finite() {
            return None;
        }
        if step.norm() < 1e-13 * s.norm() {
            break;
        }
    }
    let (q, by_s) = own.quad(s, w_ref);
    // A resonance: damped, and swinging.
    ((q / by_s).norm() < 1e-9 * s.norm() && s.re < 0.0 && s.im > 0.0).then_some(s)
}

/// The plain response with complex gain that follows the model best about its -90 degrees.
fn local(own: &Own, f_ref: f64) -> Option<Found> {
    const POINTS: usize = 60;
    let w_ref = std::f64::consts::TAU * f_ref;
    let at = |f: f64| own.response(J * (f / f_ref), w_ref);
    // The first frequency where the phase is beyond -90 degrees.
    let beyond = |f: f64| at(f).re < 0.0;
    let grid = |i: usize| 100.0 * 2f64.powf(i as f64 / 12.0);
    let over = (0..100).find(|i| beyond(grid(*i)))?;
    let (mut low, mut high) = (grid(over.checked_sub(1)?), grid(over));
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if beyond(middle) { high = middle } else { low = middle }
    }
    let centre = (low * high).sqrt();
    let points: Vec<(Complex64, Complex64)> = (0..POINTS)
        .map(|i| 0.6 * (1.6f64 / 0.6).powf(i as f64 / (POINTS - 1) as f64))
        .map(|y| (J * y, at(y * centre).inv()))
        .collect();
    // c (1 + b1 s + b2 s^2) = 1/G, linear in c, c b1 and c b2 but for b1 and b2 being real: alternately.
    let (mut b1, mut b2) = (1.0, 1.0);
    for _ in 0..200 {
        let (mut num, mut den) = (Complex64::new(0.0, 0.0), 0.0);
        for (s, y) in &points {
            let d = ONE + s * (b1 + s * b2);
            num += d.conj() * y / y.norm_sqr();
            den += d.norm_sqr() / y.norm_sqr();
        }
        let c = num / den;
        // Real least squares of y/c - 1 = b1 s + b2 s^2: s is imaginary, so the two part.
        let (mut s1, mut t1, mut s2, mut t2) = (0.0, 0.0, 0.0, 0.0);
        for (s, y) in &points {
            let w = 1.0 / y.norm_sqr();
            let r = y / c - ONE;
            s1 += s.im * r.im * w;
            t1 += s.im * s.im * w;
            s2 -= s.im * s.im * r.re * w;
            t2 += s.im.powi(4) * w;
        }
        let (n1, n2) = (s1 / t1, s2 / t2);
        let moved = (n1 - b1).abs() + (n2 - b2).abs();
        (b1, b2) = (n1, n2);
        if moved < 1e-13 {
            break;
        }
    }
    let told = b1 > 0.0 && b2 > 0.0;
    told.then(|| Found::new(own, f_ref, Meaning::Local, J, (centre / b2.sqrt(), b2.sqrt() / b1)))
}
