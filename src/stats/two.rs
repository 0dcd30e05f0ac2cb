//! Two samples: how far their means lie apart, and how sure that is, when each has a scatter of its own.

use super::{mean, sd};

/// What is known of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    pub n: usize,
    pub mean: f64,
    /// `None` of one value.
    pub sd: Option<f64>,
}

/// The second mean less the first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    pub difference: f64,
    /// Standard error.
    pub se: f64,
    pub freedom: f64,
}

impl Sample {
    /// `None` of nothing.
    pub fn of(values: &[f64]) -> Option<Sample> {
        Some(Sample {
            n: values.len(),
            mean: mean(values)?,
            sd: sd(values),
        })
    }

    /// Degrees of freedom by Welch and Satterthwaite. A single value is taken to scatter as the other sample does; two of them
    /// tell of no scatter at all: `None`.
    pub fn apart(&self, second: &Sample) -> Option<Apart> {
        let difference = second.mean - self.mean;
        let (a, b) = (self.n as f64, second.n as f64);
        let (se, freedom) = match (self.sd, second.sd) {
            (Some(x), Some(y)) => {
                let (x, y) = (x * x / a, y * y / b);
                let open = x * x / (a - 1.0) + y * y / (b - 1.0);
                let freedom = if open > 0.0 {
                    (x + y).powi(2) / open
                } else {
                    a + b - 2.0
                };
                ((x + y).sqrt(), freedom)
            }
            (Some(s), None) | (None, Some(s)) => (s * (1.0 / a + 1.0 / b).sqrt(), a.max(b) - 1.0),
            (None, None) => return None,
        };
        Some(Apart {
            difference,
            se,
            freedom,
        })
    }
}
