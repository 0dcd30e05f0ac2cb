//! What the room does to the witness's Q: its copper warms with it.

use super::history::Check;
use crate::copper::PER_K;
use crate::stats::mean;

/// How ln Q goes with the room's temperature, from a baseline whose every check has one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warmth {
    /// Mean of the baseline.
    celsius: f64,
    /// Per kelvin, with its standard uncertainty.
    slope: f64,
    u_slope: f64,
}

/// Nothing to all of the losses is copper's, as likely the one as the other: Q falls by half of what the copper gains, within
/// 1/sqrt(12) of it.
const UNKNOWN: (f64, f64) = (-0.5 * PER_K, 0.288_675 * PER_K);

impl Warmth {
    /// The straight line through the baseline, where it tells more than is known beforehand; `None` where a room is missing.
    pub fn of(base: &[&Check]) -> Option<Warmth> {
        let rooms: Vec<f64> = base.iter().map(|c| c.temperature_c).collect::<Option<_>>()?;
        let celsius = mean(&rooms)?;
        let ln_q: Vec<f64> = base.iter().map(|c| c.q.value.ln()).collect();
        let centre = mean(&ln_q)?;
        let off = rooms.iter().zip(&ln_q).map(|(t, q)| (t - celsius, q - centre));
        let off: Vec<(f64, f64)> = off.collect();
        let squares: f64 = off.iter().map(|o| o.0 * o.0).sum();
        let slope = off.iter().map(|o| o.0 * o.1).sum::<f64>() / squares;
        let left: f64 = off.iter().map(|o| (o.1 - slope * o.0).powi(2)).sum();
        let u_slope = (left / (off.len() as f64 - 2.0).max(1.0) / squares).sqrt();
        let (slope, u_slope) = match u_slope < UNKNOWN.1 {
            true => (slope.clamp(-PER_K, 0.0), u_slope),
            false => UNKNOWN,
        };
        Some(Warmth {
            celsius,
            slope,
            u_slope,
        })
    }

    /// ln Q as if the room had been as warm as the baseline's mean one; as it is where the check has none.
    pub fn freed(&self, c: &Check) -> f64 {
        c.q.value.ln() - self.slope * self.warmer(c)
    }

    /// Standard uncertainty that so many kelvins add.
    pub fn doubt(&self, warmer: f64) -> f64 {
        self.u_slope * warmer.abs()
    }

    /// Kelvins above the baseline's mean room.
    pub fn warmer(&self, c: &Check) -> f64 {
        c.temperature_c.map_or(0.0, |t| t - self.celsius)
    }
}
