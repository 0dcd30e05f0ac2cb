//! What is known besides the records.

use super::document::Limits;
use crate::shop::witness::history::{BetweenDays, History};
use crate::shop::yardstick::{DB_PER_LN_Q, Quantity, Repeatability, Scatter, USUAL_WINDING_F};

/// Wax between the turns can raise the winding's capacitance by this at most: two coats of enamel (relative permittivity 3.7) and
/// a gap as wide as both, air filled with wax of 2.2, as a parallel-plate capacitor: (1/3.7 + 1)/(1/3.7 + 1/2.2) = 1.75.
pub const WAX_MOST: f64 = 0.75;

#[derive(Debug, Clone, Default)]
pub struct About<'a> {
    pub limits: Limits,
    /// Hours since the coils came out of the wax.
    pub rested_h: Option<f64>,
    /// The windings' capacitance before, in farads.
    pub winding_f: Option<f64>,
    /// Checks of the rig's witness.
    pub history: Option<&'a History>,
    /// Capacitance across the witness besides its winding's own, in farads.
    pub witness_load_f: Option<f64>,
    /// What laying a pickup down anew does on the rig, where it has been measured: a witness that is never taken out does not
    /// tell it.
    pub placed: Option<Placed>,
}

/// Standard deviations of one reading of a pickup that is laid down anew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Relative.
    pub f0: f64,
    /// Relative.
    pub q: f64,
    pub level_db: Option<f64>,
    pub freedom: f64,
}

impl About<'_> {
    pub(super) fn days(&self) -> Option<BetweenDays> {
        self.history.and_then(History::between_days)
    }

    /// How far f0 of a pickup with so much capacitance across it goes where the witness's goes by one: a lead moves it the less the
    /// more lies there already.
    pub(super) fn share(&self, whole_f: f64) -> f64 {
        self.witness_load_f
            .map_or(1.0, |load| (USUAL_WINDING_F.0 + load) / whole_f)
    }

    /// Capacitance of a winding and its standard uncertainty.
    pub(super) fn winding(&self) -> (f64, f64) {
        self.winding_f.map_or(USUAL_WINDING_F, |c| (c, 0.0))
    }

    /// What the rig does to a pickup with so much capacitance across it.
    pub(super) fn repeatability(&self, whole_f: f64) -> Repeatability {
        let mut out = Repeatability::usual(whole_f);
        let each = |f0: f64, q: f64, level: Option<f64>| {
            [
                (Quantity::F0, Some(f0)),
                (Quantity::Q, Some(q)),
                // The peak's height goes with Q.
                (Quantity::Height, Some(DB_PER_LN_Q * q)),
                (Quantity::Level, level),
            ]
        };
        let known = |(quantity, sd): (Quantity, Option<f64>), freedom| Some((quantity, Scatter::studied(sd?, freedom)));
        if let Some(p) = self.placed {
            for (quantity, study) in each(p.f0, p.q, p.level_db)
                .into_iter()
                .filter_map(|e| known(e, p.freedom))
            {
                out = out.with_laying(quantity, study);
            }
        }
        if let Some(d) = self.days() {
            for (quantity, study) in each(self.share(whole_f) * d.f0, d.q, d.level_db)
                .into_iter()
                .filter_map(|e| known(e, d.freedom))
            {
                out = out.with_days(quantity, study);
            }
        }
        out
    }
}
