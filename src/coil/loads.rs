//! Predictions of a coil under loads: the `coilwright/loads/1` document.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::against::{Against, Undone};
use super::basis::Basis;
use crate::network::knob::{Knob, Tolerances};
use crate::network::predict::{self, Doubt, LEVELS_HZ, db};
use crate::network::reach::ReachedFound;
use crate::network::spread::{self, BandFound};
use crate::network::{Eddy, Wiring};

pub const SCHEMA: &str = "coilwright/loads/1";

/// Gains are output over EMF. Null where something does not exist or is not known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadsDocument {
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    pub pickup: CoilUsed,
    pub loads: Vec<LoadPredicted>,
    /// The answer to the inverse question, where it was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reached: Option<ReachedFound>,
    /// Predicted against measured, where takes were given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<Against>,
    /// A take freed from its load, where one was given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undone: Option<Undone>,
    pub notes: Vec<String>,
}

/// The coil that the prediction stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CoilUsed {
    pub name: Option<String>,
    pub r_ohm: f64,
    pub l_h: f64,
    pub c_f: f64,
    pub loss_ohm: Option<f64>,
    pub eddy: Option<Eddy>,
    /// Of the resistance; null where it is not known.
    pub temperature_c: Option<f64>,
    /// Whether the coil file states uncertainties, so that they are carried on.
    pub uncertain: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadPredicted {
    /// In the notation of the command line, or the wiring's name.
    pub load: String,
    /// What a sweep set here; null without one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub varied: Option<Varied>,
    /// Natural frequency and Q; null where the circuit is not of second order.
    pub f0_hz: Option<f64>,
    pub q: Option<f64>,
    /// The highest local maximum from 10 Hz to 40 kHz that is over 0.005 dB above the gain at 10 Hz.
    pub peak_hz: Option<f64>,
    /// Gain at the peak.
    pub peak_db: Option<f64>,
    /// The peak above the gain at 10 Hz.
    pub height_db: Option<f64>,
    /// Null where nothing comes out.
    pub level_100_hz_db: Option<f64>,
    pub level_5_khz_db: Option<f64>,
    /// Standard uncertainties of the above from the coil's; null where the coil file states none.
    pub u: Option<Doubt>,
    /// 95 % intervals from the tolerances of the parts; null where they were not asked for.
    pub band: Option<BandFound>,
    pub curve: GainCurve,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Varied {
    pub quantity: String,
    /// SI; rotations 0 to 1.
    pub value: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GainCurve {
    pub freq_hz: Vec<f64>,
    /// Null where nothing comes out.
    pub gain_db: Vec<Option<f64>>,
    pub phase_deg: Vec<f64>,
}

impl From<&Basis> for CoilUsed {
    fn from(basis: &Basis) -> CoilUsed {
        let c = &basis.coil;
        CoilUsed {
            name: basis.file.name.clone(),
            r_ohm: c.r_ohm,
            l_h: c.l_h,
            c_f: c.c_f,
            loss_ohm: c.loss_ohm,
            eddy: c.eddy,
            temperature_c: basis.file.temperature_c,
            uncertain: basis.covariance.is_some(),
        }
    }
}

/// How predictions are made.
#[derive(Debug, Clone)]
pub struct Manner {
    pub freq_hz: Vec<f64>,
    /// Draw parts from within these tolerances.
    pub tolerances: Option<Tolerances>,
}

impl Default for Manner {
    fn default() -> Self {
        Manner {
            freq_hz: predict::usual_grid(),
            tolerances: None,
        }
    }
}

impl LoadsDocument {
    pub fn of(basis: &Basis, loads: Vec<LoadPredicted>) -> LoadsDocument {
        LoadsDocument {
            schema: SCHEMA.into(),
            pickup: basis.into(),
            loads,
            reached: None,
            against: None,
            undone: None,
            notes: Vec::new(),
        }
    }
}

/// Draws from within the tolerances, always the same ones.
const RUNS: usize = 1000;
const SEED: u64 = 1;

fn finite(v: f64) -> Option<f64> {
    v.is_finite().then_some(v)
}

/// Gains this low are nothing at all.
const NOTHING_DB: f64 = -300.0;

fn heard(db: f64) -> Option<f64> {
    (db > NOTHING_DB && db.is_finite()).then_some(db)
}

/// Predicts one load.
pub fn predict_one(
    basis: &Basis,
    text: &str,
    wiring: &Wiring,
    varied: Option<(Knob, f64)>,
    manner: &Manner,
) -> LoadPredicted {
    let coil = &basis.coil;
    let f = predict::figures(wiring, coil);
    let response = predict::curve(wiring, coil, &manner.freq_hz);
    let band = manner
        .tolerances
        .as_ref()
        .and_then(|t| spread::band(wiring, coil, t, &manner.freq_hz, RUNS, SEED));
    LoadPredicted {
        load: text.into(),
        varied: varied.map(|(k, value)| Varied {
            quantity: k.name().into(),
            value,
        }),
        f0_hz: f.second_order.map(|s| s.f0_hz),
        q: f.second_order.map(|s| s.q),
        peak_hz: f.peak_hz,
        peak_db: f.peak_db,
        height_db: f.height_db,
        level_100_hz_db: heard(f.levels_db[0]),
        level_5_khz_db: heard(f.levels_db[1]),
        u: basis.covariance.as_ref().map(|c| predict::doubt(wiring, coil, c)),
        band,
        curve: GainCurve {
            freq_hz: manner.freq_hz.clone(),
            gain_db: response.iter().map(|h| finite(db(h.norm()))).collect(),
            phase_deg: response.iter().map(|h| h.arg().to_degrees()).collect(),
        },
    }
}

const _: () = assert!(LEVELS_HZ[0] == 100.0 && LEVELS_HZ[1] == 5000.0);
