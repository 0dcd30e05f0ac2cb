//! A value with its uncertainty, as every measured result leaves the program.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A measured value with standard uncertainties (one sigma), all three in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Estimate {
    pub value: f64,
    /// Combined standard uncertainty: noise, stated tolerances of the rig, misfit (GUM, JCGM 100:2008).
    #[schemars(range(min = 0))]
    pub u: f64,
    /// The part of `u` that comes from noise; differences between takes on one rig use this one.
    #[schemars(range(min = 0))]
    pub u_noise: f64,
}

/// Two-sided 95 % point of the normal distribution.
pub const Z95: f64 = 1.959_963_984_540_054;

impl Estimate {
    /// `None` unless all three numbers are finite and the uncertainties not negative.
    pub fn new(value: f64, u: f64, u_noise: f64) -> Option<Self> {
        let ok = value.is_finite() && u.is_finite() && u_noise.is_finite() && u >= 0.0 && u_noise >= 0.0;
        // The whole is not smaller than its part, whatever rounding says.
        ok.then_some(Estimate {
            value,
            u: u.max(u_noise),
            u_noise,
        })
    }

    /// Half-width of the 95 % interval from the combined uncertainty.
    pub fn half_width_95(&self) -> f64 {
        Z95 * self.u
    }
}
