//! The search for the unknowns, and how the takes agree with what is found.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};

use super::super::solve::{self, Patience, Problem};
use super::unknowns::{C_UNIT, Kind, Layout};
use super::{Agreement, CURVE_FLOOR, Known, Seen, Take};
use crate::network::Coil;

struct Joint<'a> {
    takes: &'a [Take],
    known: &'a Known,
    layout: &'a Layout,
}

/// A gain of so little in weighted squares moves nothing by more than 1e-5 of its u; takes that agree to the last digit would
/// be searched forever without.
const ENOUGH: Patience = Patience {
    absolute: 1e-10,
    ..Patience::EXACT
};

/// Of a residual that cannot be had: far off, so that the search turns back.
const FAR: f64 = 1e6;

impl Joint<'_> {
    fn data_rows(&self) -> usize {
        self.takes.iter().map(Take::rows).sum()
    }
}

impl Problem for Joint<'_> {
    fn rows(&self) -> usize {
        self.data_rows() + self.layout.priors.len() + self.layout.kind.weak().len()
    }

    fn residuals(&self, x: &[f64], out: &mut DVector<f64>) {
        let coil = self.layout.coil(x, self.known);
        let (mut at, out) = (0, out.as_mut_slice());
        for (n, take) in self.takes.iter().enumerate() {
            let load = self.layout.loaded(take, x);
            let shift = self.layout.shift(take, x);
            let rows = take.rows();
            let slot = &mut out[at..at + rows];
            at += rows;
            match &take.seen {
                Seen::Resonance { f0_hz, q, corr } => {
                    let Some(told) = load.second_order(&take.warmed(&coil)) else {
                        slot.fill(FAR);
                        continue;
                    };
                    let a = ((f0_hz.value / told.f0_hz).ln() - shift[0]) / (f0_hz.u_noise / f0_hz.value);
                    slot[0] = a;
                    if let Some(q) = q {
                        let b = ((q.value / told.q).ln() - shift[1]) / (q.u_noise / q.value);
                        slot[1] = (b - corr * a) / (1.0 - corr * corr).sqrt();
                    }
                }
                Seen::Curve { points, .. } => {
                    let warm = take.warmed(&coil);
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
        let known = self.layout.priors.iter().map(|(i, sd)| (*i, 0.0, *sd));
        let weak = self.layout.kind.weak().iter().copied();
        for (slot, (i, mean, sd)) in out[at..].iter_mut().zip(known.chain(weak)) {
            *slot = (x[i] - mean) / sd;
        }
    }

    fn jacobian(&self, x: &[f64], out: &mut DMatrix<f64>) {
        const STEP: f64 = 1e-5;
        let n = self.rows();
        let (mut above, mut below) = (DVector::zeros(n), DVector::zeros(n));
        let (low, high) = self.layout.bounds();
        let mut moved = x.to_vec();
        for c in 0..x.len() {
            // At a bound the difference is taken to one side.
            let (a, b) = ((x[c] + STEP).min(high[c]), (x[c] - STEP).max(low[c]));
            moved[c] = a;
            self.residuals(&moved, &mut above);
            moved[c] = b;
            self.residuals(&moved, &mut below);
            moved[c] = x[c];
            for r in 0..n {
                out[(r, c)] = (above[r] - below[r]) / (a - b);
            }
        }
    }
}

pub(super) struct Found {
    pub(super) layout: Layout,
    pub(super) x: Vec<f64>,
    pub(super) cost: f64,
    pub(super) inverse: DMatrix<f64>,
    pub(super) jacobian: DMatrix<f64>,
    pub(super) data_rows: usize,
    pub(super) agreement: Vec<Agreement>,
    pub(super) c_at_bound: bool,
    /// As so many points of a curve that err alike count one.
    alike: f64,
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

pub(super) fn solve_kind(takes: &[Take], known: &Known, kind: Kind) -> Option<Found> {
    let layout = Layout::new(kind, takes, known);
    let joint = Joint {
        takes,
        known,
        layout: &layout,
    };
    let (low, high) = layout.bounds();
    let starts: &[&[f64]] = match kind {
        Kind::Plain => &[&[]],
        Kind::Loss => &[&[1.0]],
        Kind::Turn => &[
            &[0.3, 20f64.ln(), 0.1],
            &[0.5, 5f64.ln(), 0.1],
            &[0.3, 100f64.ln(), 0.1],
            &[0.15, 50f64.ln(), 0.1],
        ],
        Kind::Core => &[
            &[0.5, 10f64.ln(), 0.2, 0.0, 0.0],
            &[0.5, 100f64.ln(), 0.2, 0.0, 0.0],
            &[0.6, 1000f64.ln(), 0.3, 1.0, 0.0],
        ],
    };
    let ends = starts
        .iter()
        .map(|extra| solve::minimise(&joint, &joint.start(extra), &low, &high, ENOUGH));
    let best = ends
        .filter(|s| s.ending == solve::Ending::Converged && s.theta.iter().all(|v| v.is_finite()))
        .reduce(|a, b| if b.cost < a.cost { b } else { a })?;
    let mut jacobian = DMatrix::zeros(joint.rows(), layout.size);
    joint.jacobian(&best.theta, &mut jacobian);
    Some(Found {
        inverse: inverse(&jacobian, &best.at_bound)?,
        agreement: joint.agreements(&best.theta),
        data_rows: joint.data_rows(),
        c_at_bound: best.at_bound[1],
        alike: joint.alike(&best.theta),
        x: best.theta,
        cost: best.cost,
        jacobian,
        layout,
    })
}

/// A bound that was hit is a fact about these takes' noise, not knowledge: only where the matrix is singular is such a
/// parameter held.
fn inverse(jacobian: &DMatrix<f64>, at_bound: &[bool]) -> Option<DMatrix<f64>> {
    if let Some(whole) = solve::inverse_normal(jacobian) {
        return Some(whole);
    }
    let size = at_bound.len();
    let free: Vec<usize> = (0..size).filter(|i| !at_bound[*i]).collect();
    let small = solve::inverse_normal(&jacobian.select_columns(&free))?;
    let mut inverse = DMatrix::zeros(size, size);
    for (a, fa) in free.iter().enumerate() {
        for (b, fb) in free.iter().enumerate() {
            inverse[(*fa, *fb)] = small[(a, b)];
        }
    }
    Some(inverse)
}

impl Joint<'_> {
    /// 1 + 2 (r_1 + r_2 + ...), the autocorrelations of the curves' residuals up to the first that is not positive: what the variance of
    /// a mean has too much (any text on time series); 1 where there are no curves.
    fn alike(&self, x: &[f64]) -> f64 {
        let mut all = DVector::zeros(self.rows());
        self.residuals(x, &mut all);
        let mut rest = all.as_slice();
        let mut curves: Vec<&[f64]> = Vec::new();
        for take in self.takes {
            let (own, after) = rest.split_at(take.rows());
            rest = after;
            curves.extend(matches!(take.seen, Seen::Curve { .. }).then_some(own));
        }
        // Magnitude and phase stand in turns.
        let sum = |lag: usize| {
            let of = |c: &&[f64]| c.iter().zip(c.iter().skip(2 * lag)).map(|(a, b)| a * b).sum::<f64>();
            curves.iter().map(of).sum::<f64>()
        };
        let (none, points) = (sum(0), curves.iter().map(|c| c.len() / 2).max().unwrap_or(0));
        let together: f64 = (1..points).map(sum).take_while(|s| *s > 0.0).sum();
        if none > 0.0 { 1.0 + 2.0 * together / none } else { 1.0 }
    }

    /// Where a search begins; `extra`: the losses.
    fn start(&self, extra: &[f64]) -> Vec<f64> {
        let (l, c) = line(self.takes);
        let mut x = vec![0.0; self.layout.size];
        x[0] = l.ln();
        x[1] = c / C_UNIT;
        x[2..2 + extra.len()].copy_from_slice(extra);
        // Levels first: with them off by decibels nothing else is found.
        let coil = self.layout.coil(&x, self.known);
        for (t, g) in self.takes.iter().zip(&self.layout.gains) {
            if let (Seen::Curve { points, .. }, Some(g)) = (&t.seen, g) {
                let load = self.layout.loaded(t, &x);
                let few = &points[..points.len().min(8)];
                let off = |p: &super::Point| p.ln_mag - load.response(&coil, TAU * p.hz).norm().ln();
                x[*g] = few.iter().map(off).sum::<f64>() / few.len().max(1) as f64;
            }
        }
        x
    }

    /// How the takes agree with the coil found, parts, input and what the rig leaves open as they were found with it.
    fn agreements(&self, x: &[f64]) -> Vec<Agreement> {
        let coil = self.layout.coil(x, self.known);
        (0..self.takes.len()).map(|n| self.agreement(n, x, &coil)).collect()
    }

    fn agreement(&self, n: usize, x: &[f64], coil: &Coil) -> Agreement {
        const DB: f64 = 20.0 * std::f64::consts::LOG10_E;
        let t = &self.takes[n];
        let load = self.layout.loaded(t, x);
        let shift = self.layout.shift(t, x);
        match &t.seen {
            Seen::Resonance { f0_hz, q, .. } => {
                let told = load.second_order(&t.warmed(coil));
                let off = |seen: f64, told: f64| (seen / told).ln();
                Agreement {
                    f0: told.as_ref().map_or(f64::NAN, |s| off(f0_hz.value, s.f0_hz)) - shift[0],
                    q: q.zip(told).map(|(q, s)| off(q.value, s.q) - shift[1]),
                    rms_db: None,
                }
            }
            Seen::Curve { points, .. } => {
                let warm = t.warmed(coil);
                let gain = self.layout.gains[n].map_or(0.0, |g| x[g]);
                // What the take's own noise makes of it is not the coil's.
                let square = |p: &super::Point| {
                    let told = load.response(&warm, TAU * p.hz * (1.0 - shift[0])).norm().ln();
                    (p.ln_mag - told - gain).powi(2) - p.u * p.u
                };
                let mean = points.iter().map(square).sum::<f64>() / points.len().max(1) as f64;
                let predicted = load.second_order(&warm).map(|s| s.f0_hz);
                Agreement {
                    f0: predicted.map_or(0.0, |f| (t.f0() / f).ln() - shift[0]),
                    q: None,
                    rms_db: Some(DB * mean.max(0.0).sqrt()),
                }
            }
        }
    }
}

impl Found {
    /// Data less what was fitted to them; priors that are knowledge count as data of their own. `None` where nothing is left.
    pub(super) fn freedom(&self) -> Option<f64> {
        let (data, unknowns) = (self.data_rows + self.layout.priors.len(), self.layout.size);
        (data > unknowns).then(|| (data - unknowns) as f64)
    }

    /// By how much the takes scatter more than their noise, as a factor of variance; 1 where they do not. What a model misses of a
    /// curve it misses at many points alike.
    pub(super) fn excess(&self) -> f64 {
        let of = |freedom: f64| (self.alike * self.cost / freedom).max(1.0);
        self.freedom().map_or(1.0, of)
    }
}
