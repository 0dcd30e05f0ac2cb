//! What is known besides the records.

use super::document::Limits;
use crate::shop::known::Known;
use crate::shop::yardstick::USUAL_WINDING_F;

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
