//! The measuring chain as the fit sees it: what the rig states, and what it leaves unknown.

use crate::fit::model::Param;
use crate::fit::{Known, Nuisance, Setup, Shift};
use crate::rig::{Reference, Rig};

/// A stated value and its standard uncertainty; `None` where taken as exact.
pub type Stated = (f64, Option<f64>);

/// What lies between drive, pickup and converter.
#[derive(Debug, Clone, Default)]
pub struct Chain {
    /// The reference reads the voltage before the exciter (else the current).
    pub voltage: bool,
    /// 1/f_x of the exciter in seconds as seen by a two-channel voltage reference; with relative uncertainty.
    pub inverse_corner: Stated,
    /// The same for a one-channel take, the output's own resistance counted in.
    pub inverse_corner_output: Stated,
    pub ac_pickup: Option<Stated>,
    pub ac_reference: Option<Stated>,
    pub ac_output: Option<Stated>,
    pub delay: Option<Stated>,
    /// Resistance that turns the gain into a mutual inductance; with relative uncertainty.
    pub ohm: Option<Stated>,
    /// Channel 1 over channel 2, as a factor; with relative uncertainty.
    pub gain: Stated,
    pub sign: Option<i8>,
    pub input_ohm: Option<f64>,
}

impl Chain {
    /// No rig: a current reference and inputs of which nothing is known.
    pub fn unknown() -> Self {
        Chain {
            gain: (1.0, None),
            ..Chain::default()
        }
    }

    /// A lead or lag between the inputs that may be looked for; not where the rig says how uncertain the delay is.
    fn shift(&self) -> Option<Shift> {
        match self.delay {
            Some((_, Some(sd))) if sd > 0.0 => None,
            Some((at_s, _)) => Some(Shift { at_s, usual_s: None }),
            None => Some(Shift {
                at_s: 0.0,
                usual_s: Some(USUAL_SHIFT_S),
            }),
        }
    }

    /// Fixed values and unknowns of a fit. AC-coupling corners are unknowns between 0 and 15 Hz unless stated.
    pub fn setup(&self, one_channel: bool, band: [f64; 2]) -> Setup {
        let corner = match one_channel {
            true => Some(self.inverse_corner_output),
            false => self.voltage.then_some(self.inverse_corner),
        };
        let (second, of_second) = match one_channel {
            true => (self.ac_output, Param::AcOutput),
            false => (self.ac_reference, Param::AcReference),
        };
        let mut setup = Setup {
            band,
            // Of one channel the delay is an unknown anyway.
            shift: self.shift().filter(|_| !one_channel),
            ..Setup::default()
        };
        for (param, stated, range) in [
            (Param::InverseCorner, corner, [0.0, 1.0]),
            (Param::Delay, self.delay.filter(|_| !one_channel), [-0.01, 0.01]),
            (Param::AcPickup, self.ac_pickup, [0.0, AC_MOST_HZ]),
            (of_second, second, [0.0, AC_MOST_HZ]),
        ] {
            let Some((value, sd)) = stated else { continue };
            setup.fixed.set(param, value);
            let known = |sd| Nuisance::new(param, value, range, Some((value, sd)), Known::Stated);
            setup.nuisance.extend(sd.filter(|sd| *sd > 0.0).map(known));
        }
        let corner = |param| unknown(param, AC_TYPICAL_HZ, AC_MOST_HZ, AC_SPREAD_HZ);
        setup.nuisance.extend(match (self.ac_pickup, second) {
            (Some(_), Some(_)) => vec![],
            (Some(_), None) => vec![corner(of_second)],
            (None, Some(_)) => vec![corner(Param::AcPickup)],
            // Two equal corners in series are singular; their sum and product are not.
            (None, None) if one_channel => {
                let (sum, product) = (2.0 * AC_TYPICAL_HZ, AC_TYPICAL_HZ.powi(2));
                vec![
                    unknown(Param::AcSum, sum, 2.0 * AC_MOST_HZ, AC_SUM_SPREAD_HZ),
                    unknown(Param::AcProduct, product, AC_MOST_HZ.powi(2), AC_PRODUCT_SPREAD_HZ2),
                ]
            }
            (None, None) => vec![
                corner(Param::AcMean),
                Nuisance {
                    lower: -AC_APART_HZ,
                    ..unknown(Param::AcDifference, 0.0, AC_APART_HZ, AC_SPREAD_HZ)
                },
            ],
        });
        setup
    }
}

/// Two inputs of one interface, where the rig does not say how far they are apart: a delay, and first-order roll-offs that differ,
/// which act like one (a lone pole at 500 kHz). Recalled from converters' data sheets and input filters of 100 to 500 kHz with parts
/// of 10 %: common practice, not measured here.
const USUAL_SHIFT_S: f64 = 0.3e-6;

/// Corners of sound-card inputs lie between 0 and this (common practice: 1 to 10 Hz).
const AC_MOST_HZ: f64 = 15.0;
/// Two inputs of one interface differ by less than this.
const AC_APART_HZ: f64 = 12.0;
const AC_TYPICAL_HZ: f64 = 4.0;
/// So weak a prior only keeps the direction in place that the take cannot see (both corners moving together).
const AC_SPREAD_HZ: f64 = 8.0;

/// The same for one channel, whose takes tell less: no more than what corners spread evenly over their range would have, so
/// that u counts on the bounds as the estimate does.
const AC_SUM_SPREAD_HZ: f64 = 9.0;
const AC_PRODUCT_SPREAD_HZ2: f64 = 65.0;

fn unknown(param: Param, start: f64, upper: f64, sd: f64) -> Nuisance {
    Nuisance::new(param, start, [0.0, upper], Some((start, sd)), Known::Weakly)
}

impl From<&Rig> for Chain {
    fn from(rig: &Rig) -> Self {
        let voltage = rig.exciter.reference == Reference::Voltage;
        let corner = |one_channel: bool| {
            let hz = rig.corner_hz(one_channel).unwrap_or(f64::INFINITY);
            let relative = rig.corner_u_hz(one_channel).map(|u| u / hz);
            (1.0 / hz, relative.map(|r| r / hz))
        };
        let input = rig.input.clone().unwrap_or_default();
        let stated = |value: Option<f64>, sd: Option<f64>| value.map(|v| (v, sd));
        let ohm = if voltage {
            rig.exciter.series_ohm
        } else {
            rig.sense_ohm()
        };
        Chain {
            voltage,
            inverse_corner: corner(false),
            inverse_corner_output: corner(true),
            ac_pickup: stated(input.ac_pickup_hz, input.ac_pickup_tolerance_hz),
            ac_reference: stated(input.ac_reference_hz, input.ac_reference_tolerance_hz),
            ac_output: stated(input.ac_output_hz, input.ac_output_tolerance_hz),
            delay: stated(input.delay_s, input.delay_tolerance_s),
            ohm: Some((ohm, rig.exciter.series_tolerance)),
            gain: (
                10f64.powf(input.gain_db.unwrap_or(0.0) / 20.0),
                input.gain_tolerance_db.map(|db| db * std::f64::consts::LN_10 / 20.0),
            ),
            sign: rig.exciter.sign,
            input_ohm: input.resistance_ohm,
        }
    }
}
