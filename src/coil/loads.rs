//! Predictions of a coil under loads: the `coilwright/loads/1` document.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::against::{Against, Undone};
use super::basis::Basis;
use crate::network::knob::{Knob, Tolerances};
use crate::network::predict::{self, Doubt, LEVELS_HZ, db};
use crate::network::reach::Reached;
use crate::network::{Eddy, Wiring, spread};

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
pub struct BandFound {
    pub runs: u64,
    /// The parts that were drawn, each evenly within its tolerance.
    pub parts: Vec<PartDrawn>,
    /// Null where too many runs have no peak.
    pub peak_hz: Option<[f64; 2]>,
    pub peak_db: Option<[f64; 2]>,
    pub height_db: Option<[f64; 2]>,
    /// At the curve's frequencies.
    pub low_db: Vec<Option<f64>>,
    pub high_db: Vec<Option<f64>>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartDrawn {
    pub part: String,
    /// The pickup, or the coil, that it belongs to; left out where all share it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// As printed on it, in SI units.
    pub printed: f64,
    /// Relative, to either side.
    pub tolerance: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GainCurve {
    pub freq_hz: Vec<f64>,
    /// Null where nothing comes out.
    pub gain_db: Vec<Option<f64>>,
    pub phase_deg: Vec<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReachedFound {
    pub parts: Vec<PartFound>,
    pub load: String,
    pub peak_hz: Option<f64>,
    pub height_db: Option<f64>,
    /// The nearest parts that one can buy, and where the peak then lies; null where none of them is sold by its value.
    pub as_sold: Option<SoldFound>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoldFound {
    pub parts: Vec<PartFound>,
    pub load: String,
    pub peak_hz: Option<f64>,
    pub height_db: Option<f64>,
    /// Standard uncertainties of these from the coil's, the parts being what is printed on them; null where the coil file states none.
    pub u: Option<Doubt>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartFound {
    pub quantity: String,
    pub value: f64,
    /// Standard uncertainty from the coil's; null where that is not known.
    pub u: Option<f64>,
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
        .and_then(|t| band(basis, wiring, t, &manner.freq_hz));
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

fn band(basis: &Basis, wiring: &Wiring, tolerances: &Tolerances, freq_hz: &[f64]) -> Option<BandFound> {
    let b = spread::band(wiring, &basis.coil, tolerances, freq_hz, RUNS, SEED)?;
    Some(BandFound {
        runs: b.runs as u64,
        parts: b
            .parts
            .iter()
            .map(|p| PartDrawn {
                part: p.knob.name().into(),
                of: p.whose.clone(),
                printed: p.printed,
                tolerance: p.tolerance,
            })
            .collect(),
        peak_hz: b.peak_hz,
        peak_db: b.peak_db,
        height_db: b.height_db,
        low_db: b.gain_db.iter().map(|g| finite(g[0])).collect(),
        high_db: b.gain_db.iter().map(|g| finite(g[1])).collect(),
    })
}

impl From<&Reached> for ReachedFound {
    fn from(r: &Reached) -> Self {
        let part = |k: &Knob, value: f64, u| PartFound {
            quantity: k.name().into(),
            value,
            u,
        };
        ReachedFound {
            parts: r.parts.iter().map(|(k, value, u)| part(k, *value, *u)).collect(),
            load: r.wiring.load.to_string(),
            peak_hz: r.figures.peak_hz,
            height_db: r.figures.height_db,
            as_sold: r.as_sold.as_ref().map(|s| SoldFound {
                parts: s.parts.iter().map(|(k, value)| part(k, *value, None)).collect(),
                load: s.wiring.load.to_string(),
                peak_hz: s.figures.peak_hz,
                height_db: s.figures.height_db,
                u: s.u,
            }),
        }
    }
}

const _: () = assert!(LEVELS_HZ[0] == 100.0 && LEVELS_HZ[1] == 5000.0);
