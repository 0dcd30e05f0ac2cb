//! The unknowns of a joint fit, and where each stands.

use super::{InputPart, Known, Read, Seen, Take};
use crate::network::knob::{Knob, METER, UNIFORM};
use crate::network::{Coil, Eddy, Load};

/// Units of the parameters, so that all are of the size of 1.
pub(super) const C_UNIT: f64 = 100e-12;
pub(super) const G_UNIT: f64 = 1e-6;
pub(super) const TAU_UNIT: f64 = 1e-6;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    Plain,
    Loss,
    /// Metal as one shorted turn.
    Turn,
    /// Metal as a core that flux diffuses into.
    Core,
}

impl Kind {
    /// Besides R.
    pub(super) fn count(self) -> usize {
        match self {
            Kind::Plain => 2,
            Kind::Loss => 3,
            Kind::Turn => 5,
            Kind::Core => 7,
        }
    }

    /// Position, mean and standard deviation of priors so wide that they only keep directions in place that no take tells: k, tau, emf,
    /// a and b of a core slide along each other.
    pub(super) fn weak(self) -> &'static [(usize, f64, f64)] {
        match self {
            // tau: 100 us within a factor of e^3; a and b: 1 within e^2 and e.
            Kind::Core => &[
                (2, 0.5, 0.5),
                (3, 4.6, 3.0),
                (4, 0.3, 0.5),
                (5, 0.0, 2.0),
                (6, 0.0, 1.0),
            ],
            _ => &[],
        }
    }
}

/// 1 and some unknowns, with their slopes.
pub(super) struct Factor(pub(super) Vec<(usize, f64)>);

impl Factor {
    pub(super) fn at(&self, x: &[f64]) -> f64 {
        1.0 + self.0.iter().map(|(i, slope)| x[*i] * slope).sum::<f64>()
    }
}

/// Positions of the unknowns: the coil's; a gain for each curve; a factor for each part with a tolerance, and for what each
/// rig states of its input; for each rig the part of f0 and of Q that it leaves open.
pub(super) struct Layout {
    pub(super) kind: Kind,
    pub(super) r_free: bool,
    pub(super) gains: Vec<Option<usize>>,
    pub(super) parts: Vec<(Knob, f64, f64)>,
    pub(super) parts_at: usize,
    /// A sound card's input is the same thing in all takes of its rig.
    pub(super) inputs: Vec<(usize, InputPart)>,
    pub(super) inputs_at: usize,
    read: Read,
    /// Scale and zero of the meter, where something was read on it.
    pub(super) meter_at: Option<usize>,
    rigs: Vec<usize>,
    rigs_at: usize,
    /// Position and standard deviation of every prior; each has the mean 0.
    pub(super) priors: Vec<(usize, f64)>,
    pub(super) size: usize,
}

impl Read {
    fn has(&self, knob: Knob, value: f64) -> bool {
        self.parts.contains(&(knob, value)) || self.stated.iter().any(|s| (s.0, s.1) == (knob, value))
    }

    fn concerns(&self, take: &Take) -> bool {
        let input = take.input_f > 0.0 && self.rigs.contains(&take.rig);
        let stated = self.stated.iter().map(|s| (s.0, s.1));
        input
            || self
                .parts
                .iter()
                .copied()
                .chain(stated)
                .any(|(k, v)| k.get(&take.load) == Some(v))
    }
}

/// The parts that are known within a tolerance: value and standard deviation.
fn parts(takes: &[Take], known: &Known) -> Vec<(Knob, f64, f64)> {
    let mut out: Vec<(Knob, f64, f64)> = Vec::new();
    for t in takes {
        for (knob, tolerance) in known.tolerances.0.iter().filter(|k| k.0.is_part() && k.1 > 0.0) {
            if let Some(v) = knob.get(&t.load).filter(|v| *v > 0.0 && !known.read.has(*knob, *v))
                && !out.iter().any(|p| p.0 == *knob && p.1 == v)
            {
                out.push((*knob, v, UNIFORM * tolerance));
            }
        }
    }
    out
}

/// The inputs that are known within a tolerance, rig by rig.
fn inputs(takes: &[Take]) -> Vec<(usize, InputPart, f64)> {
    let mut out: Vec<(usize, InputPart, f64)> = Vec::new();
    for t in takes {
        let there = [
            (InputPart::Capacitance, t.input_f > 0.0, t.input_u[1]),
            (InputPart::Resistance, t.input_ohm.is_some(), t.input_u[0]),
        ];
        for (part, _, u) in there.into_iter().filter(|p| p.1 && p.2 > 0.0) {
            if !out.iter().any(|o| (o.0, o.1) == (t.rig, part)) {
                out.push((t.rig, part, u));
            }
        }
    }
    // The order of a coil file.
    out.sort_by_key(|(rig, part, _)| (*rig, *part == InputPart::Capacitance));
    out
}

impl Layout {
    pub(super) fn new(kind: Kind, takes: &[Take], known: &Known) -> Self {
        let (mut size, mut priors) = (kind.count(), Vec::new());
        let mut with_priors = |size: &mut usize, sds: Vec<f64>| {
            let at = *size;
            *size += sds.len();
            priors.extend((at..*size).zip(sds));
            at
        };
        let r_free = known.r_u > 0.0;
        with_priors(&mut size, r_free.then(|| known.r_u / known.r_ohm).into_iter().collect());
        let gain = |t: &Take| {
            let curve = matches!(t.seen, Seen::Curve { .. });
            size += usize::from(curve);
            curve.then(|| size - 1)
        };
        let gains = takes.iter().map(gain).collect();
        let parts = parts(takes, known);
        let parts_at = with_priors(&mut size, parts.iter().map(|p| p.2).collect());
        let inputs = inputs(takes);
        let inputs_at = with_priors(&mut size, inputs.iter().map(|i| i.2).collect());
        let meter = [UNIFORM * METER.0, UNIFORM * METER.1 / C_UNIT];
        let read = takes.iter().any(|t| known.read.concerns(t));
        let meter_at = read.then(|| with_priors(&mut size, meter.to_vec()));
        let mut rigs: Vec<usize> = takes.iter().filter(|t| t.open() != [0.0, 0.0]).map(|t| t.rig).collect();
        rigs.sort_unstable();
        rigs.dedup();
        let rigs_at = with_priors(&mut size, vec![1.0; 2 * rigs.len()]);
        Layout {
            kind,
            r_free,
            gains,
            parts,
            parts_at,
            inputs: inputs.into_iter().map(|i| (i.0, i.1)).collect(),
            inputs_at,
            read: known.read.clone(),
            meter_at,
            rigs,
            rigs_at,
            priors,
            size,
        }
    }

    pub(super) fn coil(&self, x: &[f64], known: &Known) -> Coil {
        let r = if self.r_free { x[self.kind.count()].exp() } else { 1.0 };
        let coil = Coil::new(known.r_ohm * r, x[0].exp(), x[1] * C_UNIT);
        let (a, b) = match self.kind {
            Kind::Core => (x[5].exp(), x[6].exp()),
            _ => (0.0, 1.0),
        };
        match self.kind {
            Kind::Plain => coil,
            Kind::Loss => Coil {
                loss_ohm: (x[2] > 0.0).then(|| 1.0 / (x[2] * G_UNIT)),
                ..coil
            },
            Kind::Turn | Kind::Core => Coil {
                eddy: Some(Eddy {
                    k: x[2],
                    tau_s: x[3].exp() * TAU_UNIT,
                    emf: x[4],
                    a,
                    b,
                }),
                ..coil
            },
        }
    }

    pub(super) fn bounds(&self) -> (Vec<f64>, Vec<f64>) {
        let (mut low, mut high) = (vec![f64::NEG_INFINITY; self.size], vec![f64::INFINITY; self.size]);
        low[1] = 0.0;
        match self.kind {
            Kind::Plain => {}
            Kind::Loss => low[2] = 0.0,
            Kind::Turn | Kind::Core => {
                (low[2], high[2]) = (0.0, 0.98);
                (low[3], high[3]) = (0.1f64.ln(), 1e4f64.ln());
                (low[4], high[4]) = (-1.0, 1.0);
                if self.kind == Kind::Core {
                    high[3] = 5e4f64.ln();
                    (low[5], high[5]) = (-6.0, 6.0);
                    (low[6], high[6]) = (-3.0, 3.0);
                }
            }
        }
        (low, high)
    }

    pub(super) fn loaded(&self, take: &Take, x: &[f64]) -> Load {
        let mut load = take.load.clone();
        for (i, (knob, value, _)) in self.parts.iter().enumerate() {
            if knob.get(&load) == Some(*value) {
                // The part is there: its value was just read.
                let _ = knob.set(&mut load, value * (1.0 + x[self.parts_at + i]));
            }
        }
        let factor = |part, value| self.factor(take.rig, part, value).at(x);
        let (scale, zero) = self.meter_at.map_or((0.0, 0.0), |at| (x[at], x[at + 1] * C_UNIT));
        for (knob, value) in self.read.parts.iter().filter(|p| p.0.get(&take.load) == Some(p.1)) {
            let _ = knob.set(&mut load, value * (1.0 + scale) + zero);
        }
        for (knob, value, half) in self.read.stated.iter().filter(|p| p.0.get(&take.load) == Some(p.1)) {
            let _ = knob.set(&mut load, value * (1.0 + scale * half / METER.0));
        }
        load.with_input(
            take.input_ohm.map(|r| r * factor(InputPart::Resistance, r)),
            take.input_f * factor(InputPart::Capacitance, take.input_f),
        )
    }

    /// What stands before a value of an input: its own unknown, or the meter's.
    pub(super) fn factor(&self, rig: usize, part: InputPart, value: f64) -> Factor {
        let own = self.inputs.iter().position(|i| *i == (rig, part));
        let read = part == InputPart::Capacitance && value > 0.0 && self.read.rigs.contains(&rig);
        Factor(match (own, self.meter_at.filter(|_| read)) {
            (Some(i), _) => vec![(self.inputs_at + i, 1.0)],
            (None, Some(at)) => vec![(at, 1.0), (at + 1, C_UNIT / value)],
            (None, None) => vec![],
        })
    }

    pub(super) fn shift(&self, take: &Take, x: &[f64]) -> [f64; 2] {
        match self.rigs.iter().position(|r| *r == take.rig) {
            Some(i) => [0, 1].map(|k| x[self.rigs_at + 2 * i + k] * take.open()[k]),
            None => [0.0, 0.0],
        }
    }
}
