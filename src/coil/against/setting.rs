//! What is known of a coil during a take: the coil, the input of the take's rig, the temperature, and how they hang together.

use nalgebra::DMatrix;

use super::super::basis::Basis;
use super::super::told::{Input, OHMMETER, Stated, input_of, input_u, load_of, usual_input_u};
use crate::copper::warmth;
use crate::estimate::Z95;
use crate::failure::Result;
use crate::network::coil_file::{InputKnown, InputPart, parameters, with_parameters};
use crate::network::knob::{Knob, UNIFORM};
use crate::network::{Coil, Load, Wiring, predict};
use crate::quantity::{self, Unit};
use crate::record::Record;

/// One way in which coil, input and temperature may be.
pub struct State {
    pub coil: Coil,
    /// Factors on resistance and capacitance of the input.
    factors: [f64; 2],
}

impl State {
    pub fn with_input(&self, load: &Load, input: Input) -> Wiring {
        Wiring::from(load.with_input(input.0.map(|r| r * self.factors[0]), input.1 * self.factors[1]))
    }
}

/// A predicted number, with its standard uncertainties from coil, input and temperature together, and from the parts.
#[derive(Debug, Clone, Copy)]
pub struct Predicted {
    pub value: f64,
    pub coil: f64,
    pub parts: f64,
}

pub struct Setting<'a> {
    basis: &'a Basis,
    stated: &'a Stated,
    pub load: Load,
    pub input: Input,
    parts: Vec<InputPart>,
    /// Parameters of the coil, factors of the input, and resistance during the take over that of the coil file.
    centre: Vec<f64>,
    covariance: DMatrix<f64>,
    pub notes: Vec<String>,
}

/// The rig of the take among those that the coil was found on, by what it states of its input today.
fn known(basis: &Basis, record: &Record) -> Option<InputKnown> {
    let inputs = &basis.file.uncertainty.as_ref()?.input;
    let rig = &record.rig;
    let chain = rig.told_chain();
    let mut same = inputs.iter().filter(|i| rig.given && i.rig == rig.name);
    // Files of old do not tell what the factors are on: what stated the same.
    same.find_map(|i| {
        let unchanged = || Some(i.clone()).filter(|i| i.hash == chain || i.hash == rig.hash);
        i.restated(input_of(record)).or_else(unchanged)
    })
}

/// Factors of the input of a rig that the coil file does not know, with their standard uncertainties.
fn unknown(record: &Record, half: Option<f64>, notes: &mut Vec<String>) -> Vec<(InputPart, f64, f64)> {
    let (ohm, farad) = input_of(record);
    let u = input_u(record, half);
    let there = [ohm.is_some(), farad > 0.0];
    let what = match [0, 1].map(|i| there[i] && u[i].is_none()) {
        [true, true] => Some("the rig's input is taken as good to 5 % in resistance and 1 % + 2 pF in capacitance"),
        [true, false] => Some("the resistance of the rig's input is taken as good to 5 %"),
        [false, true] => Some("the capacitance of the rig's input is taken as good to 1 % + 2 pF"),
        [false, false] => None,
    };
    notes.extend(what.map(|what| format!("{what}, as usual (--tolerance input=5% and so on)")));
    let usual = usual_input_u(record);
    let part = [InputPart::Resistance, InputPart::Capacitance];
    (0..2)
        .filter(|i| there[*i])
        .map(|i| (part[i], 1.0, u[i].unwrap_or(usual[i])))
        .collect()
}

/// The copper's resistance during the take over that of the coil file, with its standard uncertainty.
fn warm(record: &Record, basis: &Basis, notes: &mut Vec<String>) -> (f64, f64) {
    let what = match (record.pickup.temperature_c, basis.file.temperature_c) {
        (Some(take), Some(coil)) => return warmth(take, coil),
        (None, None) => "temperatures of coil and take are",
        (None, _) => "the temperature of the take is",
        _ => "the temperature at which the coil has its resistance is",
    };
    notes.push(format!(
        "{what} not known: the resistance is the coil's as it stands (0.4 % for each kelvin)"
    ));
    (1.0, 0.0)
}

impl<'a> Setting<'a> {
    pub fn of(record: &Record, basis: &'a Basis, stated: &'a Stated) -> Result<Setting<'a>> {
        let mut notes = Vec::new();
        let known = known(basis, record);
        if let Some(known) = known.as_ref().filter(|_| stated.input.is_some()) {
            notes.push(format!(
                "input= is not used for the rig {:?}: the coil file says what its takes left open of it",
                known.rig.as_deref().unwrap_or("")
            ));
        }
        let factors = match &known {
            Some(known) => known.factors(),
            None => unknown(record, stated.input, &mut notes),
        };
        let joint = known.as_ref().map(|k| basis.file.with_input(k)).transpose()?.flatten();
        let warm = warm(record, basis, &mut notes);
        notes.extend(contradiction(record, basis, warm));
        let own = parameters(&basis.coil);
        let size = own.len() + factors.len() + 1;
        let mut covariance = DMatrix::zeros(size, size);
        if joint.is_none() {
            for (i, f) in factors.iter().enumerate() {
                covariance[(own.len() + i, own.len() + i)] = f.2 * f.2;
            }
        }
        if let Some(c) = joint.as_ref().or(basis.covariance.as_ref()) {
            covariance.view_mut((0, 0), c.shape()).copy_from(c);
        }
        covariance[(size - 1, size - 1)] = warm.1 * warm.1;
        Ok(Setting {
            basis,
            stated,
            load: load_of(record)?,
            input: input_of(record),
            parts: factors.iter().map(|f| f.0).collect(),
            centre: own
                .into_iter()
                .chain(factors.iter().map(|f| f.1))
                .chain([warm.0])
                .collect(),
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
    pub fn centre(&self) -> State {
        self.state(&self.centre)
    }

    /// Some numbers that follow from the coil under some loads; `None` where one is not there, here or close by.
    pub fn predicted<const N: usize>(
        &self,
        loads: &[Load; N],
        numbers: impl Fn(&State, &[Load; N]) -> Vec<Option<f64>>,
    ) -> Vec<Option<Predicted>> {
        let own = parameters(&self.basis.coil).len();
        let held = |p: &[f64]| {
            let mut held = parameters(&with_parameters(&self.basis.coil, &p[..own.min(p.len())]));
            held.extend(p.iter().skip(own).map(|f| f.max(1e-6)));
            held
        };
        let doubt = predict::propagate_over(&self.centre, &self.covariance, held, |p| numbers(&self.state(p), loads));
        let centre = self.centre();
        let here = numbers(&centre, loads);
        let parts = self.parts_doubt(loads, &here, |l| numbers(&centre, l));
        let one = |((value, coil), parts): ((Option<f64>, Option<f64>), f64)| {
            Some(Predicted {
                value: value?,
                coil: coil?,
                parts,
            })
        };
        here.into_iter().zip(doubt).zip(parts).map(one).collect()
    }

    /// From the tolerances of the parts of the loads. The same part with the same printed value is the same part.
    fn parts_doubt<const N: usize>(
        &self,
        loads: &[Load; N],
        here: &[Option<f64>],
        numbers: impl Fn(&[Load; N]) -> Vec<Option<f64>>,
    ) -> Vec<f64> {
        let mut squares = vec![0.0; here.len()];
        for (knob, tolerance) in self.stated.parts.0.iter().filter(|t| t.0.is_part() && t.1 > 0.0) {
            let mut printed: Vec<f64> = loads.iter().filter_map(|l| knob.get(l)).filter(|v| *v > 0.0).collect();
            printed.dedup();
            for v in printed {
                let moved = loads.each_ref().map(|l| with(*knob, l, v, 1.0 + UNIFORM * tolerance));
                for (s, (a, b)) in squares.iter_mut().zip(numbers(&moved).iter().zip(here)) {
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
