//! Metal near a coil: what its eddy currents do to inductance and EMF.

use num_complex::Complex64;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit, quoted};

/// Metal near the coil as one shorted turn (any textbook on transformers: the secondary carried over).
///
/// jwL becomes jwL (1 - k^2 jwT/(1 + jwT)) and the EMF is shaped to e (1 - a jwT/(1 + jwT)).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Eddy {
    /// Coupling factor, 0 to 1.
    pub k: f64,
    /// T, the turn's inductance over its resistance, in seconds.
    #[serde(rename = "tau")]
    pub tau_s: f64,
    /// a, the share of the EMF that the turn takes away at high frequency.
    #[serde(default)]
    pub emf: f64,
}

/// How metal is written on the command line.
const EDDY_FORM: &str = "write it as k=0.4,tau=33u,emf=0.1 (emf may be left out)";

impl Eddy {
    /// From "k=0.4,tau=33u,emf=0.1"; `place` names the option in messages.
    pub fn parse(place: &str, text: &str) -> Result<Eddy> {
        let (mut k, mut tau_s, mut emf) = (None, None, None);
        for part in text.split(',') {
            let (slot, unit, v) = match part.split_once('=') {
                Some(("k", v)) => (&mut k, Unit::Relative, v),
                Some(("tau", v)) => (&mut tau_s, Unit::Second, v),
                Some(("emf", v)) => (&mut emf, Unit::Relative, v),
                _ => {
                    return Err(Failure::new(
                        format!("{place}: {} is not understood", quoted(part)),
                        EDDY_FORM,
                    ));
                }
            };
            if slot.replace(quantity::parse_at(place, v, unit)?).is_some() {
                return Err(Failure::new(
                    format!("{place}: {} stands twice", quoted(part)),
                    EDDY_FORM,
                ));
            }
        }
        match (k, tau_s) {
            (Some(k), Some(tau_s)) => Ok(Eddy {
                k,
                tau_s,
                emf: emf.unwrap_or(0.0),
            }),
            _ => Err(Failure::new(format!("{place}={text} lacks k or tau"), EDDY_FORM)),
        }
    }

    /// jwT/(1 + jwT): 0 at low frequency, 1 at high.
    pub(super) fn reach(&self, w: f64) -> Complex64 {
        let x = Complex64::new(0.0, w * self.tau_s);
        x / (1.0 + x)
    }
}
