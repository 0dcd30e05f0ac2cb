//! What a pair is judged on.

use super::about::About;
use super::document::Laying;
use super::sides::Sides;
use crate::record::Record;
use crate::shop::reading;
use crate::shop::yardstick::Repeatability;

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
