//! Single values in the order in which they came, between limits by how far neighbours lie apart (NIST/SEMATECH e-Handbook 6.3.2.2).
//!
//! A slow drift or a step is hardly in the distance of neighbours, and so stands out against the limits that come of it.

/// Mean distance of two normal values in their standard deviations.
const NEIGHBOURS: f64 = 1.128;
/// Half-width of the limits in standard deviations, as is usual.
const SIGMAS: f64 = 3.0;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chart {
    pub centre: f64,
    /// From neighbours.
    pub sd: f64,
}

impl Chart {
    /// `None` below two values.
    pub fn of(values: &[f64]) -> Option<Chart> {
        let ranges: Vec<f64> = values.windows(2).map(|p| (p[1] - p[0]).abs()).collect();
        Some(Chart {
            sd: super::mean(&ranges)? / NEIGHBOURS,
            centre: super::mean(values)?,
        })
    }

    /// Lower and upper limit.
    pub fn limits(&self) -> [f64; 2] {
        [-SIGMAS, SIGMAS].map(|k| self.centre + k * self.sd)
    }

    pub fn holds(&self, value: f64) -> bool {
        let [low, high] = self.limits();
        (low..=high).contains(&value)
    }
}
