//! The `coilwright/coil/1` document, and the coil file that is made of it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::estimate::Estimate;
use crate::fit::joint::Source;
use crate::network::coil_file::{CoilFile, InputKnown, SCHEMA, Uncertainty};
use crate::record::Level;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CoilDocument {
    #[schemars(extend("const" = SCHEMA))]
    pub schema: String,
    pub pickup: Named,
    /// At `temperature_c`.
    pub r_ohm: Estimate,
    pub l_h: Estimate,
    /// The winding's own capacitance.
    pub c_f: Estimate,
    /// Losses as a resistance parallel to L; null where nothing speaks for it.
    pub loss_ohm: Option<Estimate>,
    /// Metal as a shorted turn, or as a core that flux diffuses into; null where nothing speaks for it.
    pub eddy: Option<EddyFound>,
    /// Rows and columns: r_ohm, l_h, c_f, then loss_ohm, or eddy's k, tau, emf, a, b, where they are there.
    pub correlations: Vec<Vec<f64>>,
    /// Of all takes together: 1 where they agree within noise and tolerances; null where nothing is left to tell it by.
    pub reduced_chi2: Option<f64>,
    /// The temperature at which `r_ohm` holds; null where it is not known.
    pub temperature_c: Option<f64>,
    /// What hung on the winding, and how well it was taken to be known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub known: Vec<PartKnown>,
    /// What the printed values of the known parts share in the variance of l_h and of c_f.
    pub from_parts: [f64; 2],
    /// What the takes leave open of the inputs of their rigs: those that were said to be known within a tolerance.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub inputs: Vec<InputFound>,
    /// How each take agrees, in the order given.
    pub takes: Vec<TakeAgreement>,
    /// The further load that would help most; null where none would by a tenth.
    pub advice: Option<AdviceFound>,
    pub findings: Vec<CoilFinding>,
    pub notes: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Named {
    pub name: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EddyFound {
    pub k: Estimate,
    /// Seconds.
    pub tau: Estimate,
    pub emf: Estimate,
    /// Shape of a core; left out, as b, of a shorted turn. The five slide along each other and are no data of the pickup; what
    /// is predicted with their correlations is sure all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a: Option<Estimate>,
    /// By how much faster the flux of the EMF goes than that of the inductance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub b: Option<Estimate>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartKnown {
    /// A quantity of a load, as on the command line; input-resistance or input-capacitance of the rig.
    pub part: String,
    /// As told, in SI units.
    pub value: f64,
    /// Relative standard uncertainty.
    pub u: f64,
    pub from: KnownFrom,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum KnownFrom {
    /// On the command line.
    Stated,
    /// On the command line, as the error that all read on one meter have in common.
    Shared,
    /// In the rig file.
    Rig,
    /// Nothing is stated: as such parts are sold.
    Usual,
    /// Nothing is stated: read on a meter, which errs alike in all that was read on it.
    Meter,
    /// Nothing is stated, and nothing is usual.
    Exact,
}

/// The input of a rig: factors on what the rig states. What it has too much, the winding lacks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputFound {
    pub rig: Option<String>,
    /// Of what the rig file states of the measuring chain.
    pub hash: Option<String>,
    /// What the rig stated, which the factors are on.
    #[serde(default)]
    pub stated_ohm: Option<f64>,
    /// With the lead.
    #[serde(default)]
    pub stated_f: Option<f64>,
    /// Null where the rig states none.
    pub resistance: Option<Estimate>,
    /// With the lead; null where the rig states none.
    pub capacitance: Option<Estimate>,
    /// Rows: resistance, capacitance, those that are there. Columns: the coil's parameters as in its own correlations, then
    /// these.
    pub correlations: Vec<Vec<f64>>,
}

/// Seen less predicted by the coil found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TakeAgreement {
    pub id: String,
    pub load: String,
    /// Null where it has no peak.
    #[serde(default)]
    pub peak_hz: Option<f64>,
    pub f0_hz: f64,
    /// Relative; null where the load makes no second-order circuit.
    pub f0_off: Option<f64>,
    /// Relative; null where Q was not used.
    pub q_off: Option<f64>,
    /// Rms over the curve, where the curve was used.
    pub curve_db: Option<f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AdviceFound {
    /// In the notation of the command line.
    pub load: String,
    /// Standard uncertainties with such a take besides.
    pub u_l_h: f64,
    pub u_c_f: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CoilCode {
    /// Too little between the capacitances to tell C_s, or L.
    LoadsAlike,
    /// What is printed on the known parts decides the uncertainty.
    PartsDominate,
    /// The takes contradict each other by more than noise and tolerances explain.
    TakesDisagree,
    /// The Qs do not follow one resistance and one loss.
    DampingApart,
    /// The stated resistance and the takes do not go together.
    OhmsApart,
    /// C_s came out as nought.
    NoCapacitance,
    /// Records of more than one pickup, or of warnings.
    Mixed,
    /// A rig that does not state its input and lead: both are counted into the winding.
    InputUnknown,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CoilFinding {
    pub code: CoilCode,
    pub level: Level,
    #[serde(skip)]
    pub grounds: Grounds,
    /// In words, put in where it is shown.
    pub text: String,
}

/// What a finding rests on, with its numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub enum Grounds {
    NoCapacitance,
    DampingApart,
    /// L, C_s or both are told to hardly any use, by these parts or because the loads are too alike.
    Vague {
        l: bool,
        c: bool,
        decide: Vec<Decides>,
        furthest: Option<Furthest>,
    },
    PartsDecide(Vec<Decides>),
    /// The ohms as they were stated, and as the takes by themselves have them.
    OhmsApart {
        stated: f64,
        found: Estimate,
    },
    /// So many times more than noise and tolerances explain; the ohms are apart as well.
    Disagree {
        times: f64,
        ohms: bool,
    },
    /// The record of this pickup is on a rig that states nothing of its input.
    InputUnknown(String),
    TwoPickups([String; 2]),
    /// Some of the takes carry warnings.
    #[default]
    Warned,
}

/// The kind of part, or of input, that decides most how well a value is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Decides {
    /// "L" or "C_s".
    pub name: &'static str,
    pub source: Source,
    /// Of its variance.
    pub share: f64,
}

/// The loads under which the frequencies are furthest apart, and by how much (relative).
#[derive(Debug, Clone, PartialEq)]
pub struct Furthest {
    pub loads: [String; 2],
    pub apart: f64,
}

impl InputFound {
    fn kept(&self) -> InputKnown {
        InputKnown {
            rig: self.rig.clone(),
            hash: self.hash.clone(),
            stated_ohm: self.stated_ohm,
            stated_f: self.stated_f,
            resistance: self.resistance.map(|e| e.value),
            u_resistance: self.resistance.map(|e| e.u),
            capacitance: self.capacitance.map(|e| e.value),
            u_capacitance: self.capacitance.map(|e| e.u),
            correlations: self.correlations.clone(),
        }
    }
}

impl CoilDocument {
    /// As a coil file.
    pub fn file(&self) -> CoilFile {
        let eddy = self.eddy.as_ref();
        CoilFile {
            schema: Some(SCHEMA.into()),
            name: Some(self.pickup.name.clone()),
            temperature_c: self.temperature_c,
            r_ohm: self.r_ohm.value,
            l_h: self.l_h.value,
            c_f: self.c_f.value,
            loss_ohm: self.loss_ohm.map(|e| e.value),
            eddy: eddy.map(|e| crate::network::Eddy {
                k: e.k.value,
                tau_s: e.tau.value,
                emf: e.emf.value,
                a: e.a.map_or(0.0, |a| a.value),
                b: e.b.map_or(1.0, |b| b.value),
            }),
            uncertainty: Some(Uncertainty {
                r_ohm: self.r_ohm.u,
                l_h: self.l_h.u,
                c_f: self.c_f.u,
                loss_ohm: self.loss_ohm.map(|e| e.u),
                k: eddy.map(|e| e.k.u),
                tau: eddy.map(|e| e.tau.u),
                emf: eddy.map(|e| e.emf.u),
                a: eddy.and_then(|e| e.a).map(|a| a.u),
                b: eddy.and_then(|e| e.b).map(|b| b.u),
                correlations: self.correlations.clone(),
                input: self.inputs.iter().map(InputFound::kept).collect(),
            }),
        }
    }
}
