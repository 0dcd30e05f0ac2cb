//! What is known of a coil during a take: the coil, the input of the take's rig, the temperature, and how they hang together.

use nalgebra::DMatrix;

use super::super::basis::Basis;
use super::super::told::{OHMMETER, input_of, input_u, load_of};
use crate::copper::warmth;
use crate::estimate::Z95;
use crate::failure::Result;
use crate::network::coil_file::{InputKnown, InputPart, parameters, with_parameters};
use crate::network::knob::{Knob, Tolerances, UNIFORM};
use crate::network::{Coil, Load, predict};
use crate::quantity::{self, Unit};
use crate::record::{Record, RigSummary};

/// How far what is known besides the coil may be off.
#[derive(Debug, Clone, Default)]
pub struct Stated {
    pub parts: Tolerances,
    /// Half-width of the input of a rig that the coil file does not know, relative; left out, what the rig itself states.
    pub input: Option<f64>,
}

/// Resistance and capacitance of an input as a rig states them.
pub(super) type Input = (Option<f64>, f64);

/// One way in which coil, input and temperature may be.
pub(super) struct State {
    pub(super) coil: Coil,
    /// Factors on resistance and capacitance of the input.
    factors: [f64; 2],
}

impl State {
    pub(super) fn with_input(&self, load: &Load, input: Input) -> Load {
        load.with_input(input.0.map(|r| r * self.factors[0]), input.1 * self.factors[1])
    }
}

pub(super) struct Setting<'a> {
    basis: &'a Basis,
    stated: &'a Stated,
    pub(super) load: Load,
    pub(super) input: Input,
    parts: Vec<InputPart>,
    /// Parameters of the coil, factors of the input, and resistance during the take over that of the coil file.
    centre: Vec<f64>,
    covariance: DMatrix<f64>,
    pub(super) notes: Vec<String>,
}

/// The rig of the take among those that the coil was found on.
fn known<'a>(basis: &'a Basis, rig: &RigSummary) -> Option<&'a InputKnown> {
    let inputs = &basis.file.uncertainty.as_ref()?.input;
    let chain = rig.told_chain();
    let same = |i: &&InputKnown| rig.given && i.rig == rig.name && (i.hash == chain || i.hash == rig.hash);
    inputs.iter().find(same)
}

impl<'a> Setting<'a> {
    pub(super) fn of(record: &Record, basis: &'a Basis, stated: &'a Stated) -> Result<Setting<'a>> {
        let mut notes = Vec::new();
        let input = input_of(record);
        let there = [
            (InputPart::Resistance, input.0.is_some()),
            (InputPart::Capacitance, input.1 > 0.0),
        ];
        let own = parameters(&basis.coil);
        let n = own.len();
        let (factors, joint) = match known(basis, &record.rig) {
            Some(known) => {
                if stated.input.is_some() {
                    notes.push(format!(
                        "input= is not used for the rig {:?}: the coil file says what its takes left open of it",
                        known.rig.as_deref().unwrap_or("")
                    ));
                }
                (known.factors(), basis.file.with_input(known)?)
            }
            None => {
                let u = input_u(record, stated.input);
                let factors: Vec<_> = there
                    .iter()
                    .zip(u)
                    .filter(|(t, _)| t.1)
                    .map(|(t, u)| (t.0, 1.0, u.unwrap_or(0.0)))
                    .collect();
                let unsaid = |part: usize| there[part].1 && u[part].is_none();
                let what = match (unsaid(0), unsaid(1)) {
                    (true, true) => Some("the rig's input is"),
                    (true, false) => Some("the resistance of the rig's input is"),
                    (false, true) => Some("the capacitance of the rig's input is"),
                    (false, false) => None,
                };
                if let Some(what) = what {
                    notes.push(format!("{what} taken as exact (--tolerance input=5% and so on)"));
                }
                (factors, None)
            }
        };
        let (warm, u_warm) = match (record.pickup.temperature_c, basis.file.temperature_c) {
            (Some(take), Some(coil)) => warmth(take, coil),
            (take, coil) => {
                let whose = match (take, coil) {
                    (None, None) => "of coil and take are",
                    (None, _) => "of the take is",
                    _ => "at which the coil has its resistance is",
                };
                let many = if whose.ends_with("are") {
                    "temperatures"
                } else {
                    "the temperature"
                };
                notes.push(format!(
                    "{many} {whose} not known: the resistance is the coil's as it stands (0.4 % for each kelvin)"
                ));
                (1.0, 0.0)
            }
        };
        let size = n + factors.len() + 1;
        let mut covariance = DMatrix::zeros(size, size);
        match (&joint, &basis.covariance) {
            (Some(c), _) | (None, Some(c)) => covariance.view_mut((0, 0), c.shape()).copy_from(c),
            (None, None) => {}
        }
        if joint.is_none() {
            for (i, f) in factors.iter().enumerate() {
                covariance[(n + i, n + i)] = f.2 * f.2;
            }
        }
        covariance[(size - 1, size - 1)] = u_warm * u_warm;
        notes.extend(contradiction(record, basis, (warm, u_warm)));
        let mut centre = own;
        centre.extend(factors.iter().map(|f| f.1));
        centre.push(warm);
        Ok(Setting {
            basis,
            stated,
            load: load_of(record)?,
            input,
            parts: factors.iter().map(|f| f.0).collect(),
            centre,
            covariance,
            notes,
        })
    }

    fn state(&self, p: &[f64]) -> State {
        let own = parameters(&self.basis.coil).len();
        let (coil, rest) = p.split_at(own.min(p.len()));
        let coil = with_parameters(&self.basis.coil, coil);
        let mut factors = [1.0; 2];
        for (part, f) in self.parts.iter().zip(rest) {
            factors[usize::from(*part == InputPart::Capacitance)] = *f;
        }
        let warm = rest.last().copied().unwrap_or(1.0);
        State {
            coil: Coil {
                r_ohm: coil.r_ohm * warm,
                ..coil
            },
            factors,
        }
    }

    /// As the coil file has it.
    pub(super) fn centre(&self) -> State {
        self.state(&self.centre)
    }

    /// Standard uncertainties of some numbers from coil, input and temperature.
    pub(super) fn doubt(&self, numbers: impl Fn(&State) -> Vec<Option<f64>>) -> Vec<Option<f64>> {
        let own = parameters(&self.basis.coil).len();
        let held = |p: &[f64]| {
            let mut held = parameters(&with_parameters(&self.basis.coil, &p[..own.min(p.len())]));
            held.extend(p.iter().skip(own).map(|f| f.max(1e-6)));
            held
        };
        predict::propagate_over(&self.centre, &self.covariance, held, |p| numbers(&self.state(p)))
    }

    /// The same from the tolerances of the parts of some loads. The same part with the same printed value is the same part.
    pub(super) fn parts_doubt(&self, loads: &[&Load], numbers: impl Fn(&[Load]) -> Vec<Option<f64>>) -> Vec<f64> {
        let loads: Vec<Load> = loads.iter().map(|l| (*l).clone()).collect();
        let here = numbers(&loads);
        let mut squares = vec![0.0; here.len()];
        for (knob, tolerance) in self.stated.parts.0.iter().filter(|t| t.0.is_part() && t.1 > 0.0) {
            let mut printed: Vec<f64> = loads.iter().filter_map(|l| knob.get(l)).filter(|v| *v > 0.0).collect();
            printed.dedup();
            for v in printed {
                let moved: Vec<Load> = loads
                    .iter()
                    .map(|l| with(*knob, l, v, 1.0 + UNIFORM * tolerance))
                    .collect();
                for (s, (a, b)) in squares.iter_mut().zip(numbers(&moved).iter().zip(&here)) {
                    if let (Some(a), Some(b)) = (a, b) {
                        let d: f64 = a - b;
                        *s += d * d;
                    }
                }
            }
        }
        squares.into_iter().map(f64::sqrt).collect()
    }
}

/// A load whose part of that value is another one.
fn with(knob: Knob, load: &Load, value: f64, factor: f64) -> Load {
    let mut moved = load.clone();
    if knob.get(load) == Some(value) {
        // The part is there: its value was just read.
        let _ = knob.set(&mut moved, value * factor);
    }
    moved
}

/// Says where the ohmmeter's reading with the take and the coil's resistance cannot both be.
fn contradiction(record: &Record, basis: &Basis, (warm, u_warm): (f64, f64)) -> Option<String> {
    let read = record.pickup.r_ohm?;
    let coil = basis.coil.r_ohm;
    let meter = |ohms: f64| UNIFORM * OHMMETER * ohms;
    // A coil that states no uncertainty was read with an ohmmeter as well.
    let u_coil = match &basis.covariance {
        Some(c) if c[(0, 0)] > 0.0 => c[(0, 0)].sqrt(),
        _ => meter(coil),
    };
    let u = meter(read).hypot(u_coil * warm).hypot(coil * u_warm);
    let show = |ohms: f64| quantity::show(ohms, Unit::Ohm, 4);
    let at = |t: Option<f64>| t.map_or(String::new(), |t| format!(" at {t:.0} °C"));
    ((read - coil * warm).abs() > Z95 * u).then(|| {
        format!(
            "the resistances contradict each other: {}{} was read with the take {:?}, the coil's {}{} make {} then: is it one \
             coil, read at its own leads, and are the temperatures right?",
            show(read),
            at(record.pickup.temperature_c),
            record.pickup.name,
            show(coil),
            at(basis.file.temperature_c),
            show(coil * warm)
        )
    })
}
