//! What is known besides the records, and what a pair is judged on.

use super::document::{Laying, Limits};
use super::sides::Sides;
use crate::record::Record;
use crate::shop::known::Known;
use crate::shop::reading;
use crate::shop::yardstick::{Repeatability, USUAL_WINDING_F};

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
    /// Of the rig: what is known of its scatter is in the records already.
    pub known: Option<&'a Known>,
    /// Names of pickups that stayed out of the wax.
    pub stays: &'a [String],
}

impl About<'_> {
    /// Capacitance of a winding and its standard uncertainty.
    pub(super) fn winding(&self) -> (f64, f64) {
        self.winding_f.map_or(USUAL_WINDING_F, |c| (c, 0.0))
    }
}

/// What a pair is judged on.
pub(super) struct Ground<'a> {
    pub(super) about: &'a About<'a>,
    pub(super) laying: Option<Laying>,
    /// Pickups that stayed out of the wax.
    pub(super) stayed: Vec<Sides<'a>>,
}

impl Ground<'_> {
    /// Capacitance across the pickup, and its standard uncertainty.
    pub(super) fn whole(&self, sides: &Sides) -> (f64, f64) {
        let (own_f, own_u) = self.about.winding();
        (own_f + sides.load_f(), own_u)
    }

    /// As far as the record knows, then these records; the rest is usual.
    pub(super) fn repeatability(&self, record: &Record, whole_f: f64) -> Repeatability {
        let rig = reading::repeatability(record, whole_f);
        match &self.laying {
            Some(laying) => laying.put(rig),
            None => rig,
        }
    }
}
