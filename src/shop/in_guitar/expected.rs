//! What a pickup should read at the jack.

use std::f64::consts::TAU;

use super::steps::Step;
use crate::coil::basis::Basis;
use crate::network::knob::{Knob, METER, UNIFORM};
use crate::network::predict::{self, db};
use crate::network::{Coil, Load, Tolerances, Wiring, peak};

/// What the guitar is measured on: it ends at its jack.
#[derive(Debug, Clone, Default)]
pub struct Bench {
    /// Between the jack and the rig's input, the rig's lead not counted in.
    pub between: Load,
    pub input: (Option<f64>, f64),
    /// Of the guitar's parts; pots are as they are sold unless somebody measured them.
    pub tolerances: Tolerances,
}

/// Each with its standard uncertainty: of the coil, of the parts, and of the input's capacitance.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Expected {
    pub peak_hz: Option<(f64, f64)>,
    pub height_db: Option<(f64, f64)>,
    /// Output over EMF at low frequency.
    pub low_db: Option<(f64, f64)>,
}

impl Bench {
    /// The guitar and what leads to the rig: the player's cable and amplifier are not there.
    pub fn to_the_rig(&self, wiring: &Wiring) -> Wiring {
        let mut there = wiring.clone();
        (there.load.cable, there.load.lead_f, there.load.amp) = (self.between.cable, self.between.lead_f, None);
        there
    }

    fn on_the_rig(&self, wiring: &Wiring) -> Wiring {
        let mut there = self.to_the_rig(wiring);
        there.load = there.load.with_input(self.input.0, self.input.1);
        there
    }
}

/// Peak, height and level at low frequency.
fn figures(wiring: &Wiring, coil: &Coil) -> Vec<Option<f64>> {
    let f = predict::figures(wiring, coil);
    let low = db(wiring.response(coil, TAU * peak::LOW_HZ).norm());
    vec![f.peak_hz, f.height_db, Some(low).filter(|d| d.is_finite())]
}

pub fn expected(step: &Step, basis: &Basis, bench: &Bench) -> Expected {
    let wiring = bench.on_the_rig(&step.wiring);
    let here = figures(&wiring, &basis.coil);
    let covariance = basis.covariance.as_ref();
    let of_coil = covariance.map(|c| predict::propagate(&basis.coil, c, |coil| figures(&wiring, coil)));
    let by_part = |moved: Wiring| {
        let there = figures(&moved, &basis.coil);
        there.iter().zip(&here).map(|(a, b)| Some((*a)? - (*b)?)).collect()
    };
    let parts = others(&wiring, bench).into_iter().map(by_part);
    let each: Vec<Vec<Option<f64>>> = of_coil.into_iter().chain(parts).collect();
    let u = |i: usize| each.iter().filter_map(|e| e[i]).fold(0.0, |sum, u| sum + u * u).sqrt();
    let one = |i: usize| here[i].map(|v| (v, u(i)));
    Expected {
        peak_hz: one(0),
        height_db: one(1),
        low_db: one(2),
    }
}

/// The same guitar with one part after the other off by a standard uncertainty.
fn others(wiring: &Wiring, bench: &Bench) -> Vec<Wiring> {
    let mut out = Vec::new();
    for i in 0..wiring.loads().len() {
        for (knob, tolerance) in &bench.tolerances.0 {
            let mut moved = wiring.clone();
            let Some(load) = moved.loads_mut().into_iter().nth(i) else {
                continue;
            };
            if let Some(value) = knob.get(load).filter(|v| *v > 0.0)
                && knob.set(load, value * (1.0 + UNIFORM * tolerance))
            {
                out.push(moved);
            }
        }
    }
    // What a hand-held meter makes of the input's capacitance.
    let farad = bench.input.1;
    let mut moved = wiring.clone();
    let off = UNIFORM * (METER.0 * farad).hypot(METER.1);
    let cap = Knob::Cap.get(&moved.load).unwrap_or(0.0);
    if farad > 0.0 && Knob::Cap.set(&mut moved.load, cap + off) {
        out.push(moved);
    }
    out
}
