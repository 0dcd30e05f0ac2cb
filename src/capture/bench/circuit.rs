//! From the output's voltage to the voltages at both converters: exciter, pickup, load, inputs. Linear, in frequency.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::spec::{Over, Spec};
use crate::network::{Load, OnePort, Thevenin, TwoPort};
use crate::rig::{Reference, Rig};

/// Corners where neither rig nor bench states one: within what sound cards have.
const AC_PICKUP_HZ: f64 = 2.7;
const AC_REFERENCE_HZ: f64 = 3.6;
const AC_OUTPUT_HZ: f64 = 2.0;
/// Without a rig: an exciter of this resistance and no inductance.
const SERIES_OHM: f64 = 100.0;
/// Of an open winding.
const OPEN_FEED_F: f64 = 0.3e-12;
/// EMF in the coil beside the exciter, over that of the same coil below it: the field's way back, so with opposite sign.
const BESIDE: f64 = -0.03;
/// With the exciter in the middle the coils never get quite the same.
const OFF_CENTRE: f64 = 0.9;

/// Full scale of output and inputs is 1 V, so that voltages are samples.
#[derive(Debug, Clone)]
pub(super) struct Circuit {
    pub load: Load,
    input_ohm: Option<f64>,
    input_f: f64,
    reference: Reference,
    source_ohm: f64,
    series_ohm: f64,
    sense_ohm: f64,
    inductance_h: f64,
    sign: f64,
    ac_pickup_hz: f64,
    ac_reference_hz: f64,
    ac_output_hz: f64,
    delay_s: f64,
    gain: f64,
    pub mains_hz: f64,
}

/// First-order high-pass.
fn coupling(f: f64, corner: f64) -> Complex64 {
    Complex64::new(0.0, f) / Complex64::new(corner, f)
}

impl Circuit {
    pub fn new(spec: &Spec, rig: Option<&Rig>, load: Option<&Load>) -> Self {
        let input = rig.and_then(|r| r.input.clone()).unwrap_or_default();
        let card = &spec.card;
        Circuit {
            load: match &spec.guitar {
                Some(guitar) => guitar.load.clone(),
                None => load.cloned().unwrap_or_default(),
            },
            input_ohm: card.input_ohm.or(input.resistance_ohm),
            input_f: card.input_f.unwrap_or_else(|| input.load_f()),
            reference: rig.map_or(Reference::Current, |r| r.exciter.reference),
            source_ohm: rig.and_then(|r| r.exciter.source_ohm).unwrap_or(0.0),
            series_ohm: rig.map_or(SERIES_OHM, |r| r.exciter.series_ohm),
            sense_ohm: rig.map_or(SERIES_OHM, Rig::sense_ohm),
            inductance_h: rig.map_or(0.0, |r| r.exciter.inductance_h),
            sign: f64::from(rig.and_then(|r| r.exciter.sign).unwrap_or(1)),
            ac_pickup_hz: card.ac_pickup_hz.or(input.ac_pickup_hz).unwrap_or(AC_PICKUP_HZ),
            ac_reference_hz: card
                .ac_reference_hz
                .or(input.ac_reference_hz)
                .unwrap_or(AC_REFERENCE_HZ),
            ac_output_hz: card.ac_output_hz.or(input.ac_output_hz).unwrap_or(AC_OUTPUT_HZ),
            delay_s: card.delay_s.or(input.delay_s).unwrap_or(0.0),
            gain: 10f64.powf(card.gain_db.or(input.gain_db).unwrap_or(0.0) / 20.0),
            mains_hz: spec.mains.frequency_hz.unwrap_or_else(|| {
                // Within what the grid keeps to, but never quite there.
                0.9996 * rig.and_then(|r| r.mains.as_ref()?.frequency_hz).unwrap_or(50.0)
            }),
        }
    }

    /// Longest of the decays that do not belong to the pickup, in seconds to a billionth.
    pub fn settling_s(&self) -> f64 {
        let slowest = [self.ac_pickup_hz, self.ac_reference_hz, self.ac_output_hz]
            .into_iter()
            .filter(|f| *f > 0.0)
            .fold(f64::INFINITY, f64::min);
        (9.0 * std::f64::consts::LN_10 / (TAU * slowest)).clamp(0.5, 3.0)
    }

    /// Responses of pickup and reference from the output's EMF; `f` in hertz, above zero. Without the latency, which is the
    /// converters'.
    pub fn respond(&self, spec: &Spec, f: f64) -> [Complex64; 2] {
        let w = TAU * f;
        let jw = Complex64::new(0.0, w);
        let exciter = self.series_ohm + jw * self.inductance_h;
        let current = coupling(f, self.ac_output_hz) / (self.source_ohm + exciter);
        let tap = current * exciter;
        let reference = match self.reference {
            // One plug on both inputs, whatever channel 2 reads otherwise.
            _ if spec.wire.is_some() => tap,
            Reference::Voltage => tap,
            Reference::Current => current * self.sense_ohm,
        };
        let emf = jw * spec.exciter.mutual_h * self.sign * f64::from(spec.exciter.polarity) * current;
        let pickup = if spec.faults.silent {
            Complex64::new(0.0, 0.0)
        } else if let Some(wire) = &spec.wire {
            let resistor = OnePort::resistor(wire.resistor_ohm.unwrap_or(0.0));
            let z = match wire.capacitor_f {
                Some(c) => resistor.series(OnePort::capacitor(c, w)),
                None => resistor,
            };
            self.output(Thevenin { emf: tap, z }, w)
        } else {
            self.output(with_feed(spec, emf, tap, w), w)
        };
        let late = Complex64::from_polar(self.gain, -w * self.delay_s);
        [
            pickup * late * coupling(f, self.ac_pickup_hz),
            reference * coupling(f, self.ac_reference_hz),
        ]
    }

    /// Output over EMF in the coils alone, for what reaches them without the exciter; 1 where the winding is open.
    pub fn coils_only(&self, spec: &Spec, f: f64) -> f64 {
        if spec.faults.open_winding {
            return 1.0;
        }
        let w = TAU * f;
        self.output(source(spec, w), w).norm()
    }

    /// What a source makes at the input, load and input on it.
    fn output(&self, source: Thevenin, w: f64) -> Complex64 {
        let mut t = TwoPort::in_line(source.z)
            .then(self.load.two_port(w))
            .then(TwoPort::across(OnePort::capacitor(self.input_f, w)));
        if let Some(ohm) = self.input_ohm {
            t = t.then(TwoPort::across(OnePort::resistor(ohm)));
        }
        source.emf * t.voltage_ratio()
    }
}

/// The pickup, alone or with those that are on together with it; each coil has its share of the EMF for where the exciter lies.
fn source(spec: &Spec, w: f64) -> Thevenin {
    if let Some(guitar) = spec.guitar.as_ref().filter(|g| !g.pickups.is_empty()) {
        return guitar.source(&spec.coil, w);
    }
    let first = spec.coil.thevenin(w);
    let Some(second) = spec.second_coil else { return first };
    // The second coil is wound the other way round.
    let (a, b) = match spec.exciter.over {
        Over::First => (1.0, -BESIDE),
        Over::Second => (BESIDE, -1.0),
        Over::Both => (1.0, -OFF_CENTRE),
    };
    first.times(a).in_series(second.thevenin(w).times(b))
}

/// The pickup as a source, with what stray capacitance from the exciter adds at its hot end.
fn with_feed(spec: &Spec, emf: Complex64, tap: Complex64, w: f64) -> Thevenin {
    let (own, otherwise) = if spec.faults.open_winding {
        let z = OnePort::capacitor(spec.coil.c_f, w);
        (Thevenin { emf: 0.0.into(), z }, OPEN_FEED_F)
    } else {
        let t = source(spec, w);
        (Thevenin { emf: t.emf * emf, ..t }, 0.0)
    };
    let feed = spec.exciter.feed_f.unwrap_or(otherwise);
    if feed == 0.0 {
        return own;
    }
    let stray = OnePort::capacitor(feed, w);
    let all = own.z.parallel(stray);
    let emf = (own.emf * own.z.admittance() + tap * stray.admittance()) * all.impedance();
    Thevenin::new(emf, all)
}
