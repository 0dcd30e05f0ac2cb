//! What was held and kept while watching: the `coilwright/watch/1` document.

use serde::Serialize;

use crate::estimate::Estimate;
use crate::record::{Budget, Curve, Resonance};

pub const SCHEMA: &str = "coilwright/watch/1";

/// Curves that are held at a time: more cannot be told apart.
pub const MOST_HELD: usize = 4;

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Watched {
    pub schema: String,
    pub pickup: String,
    pub simulated: bool,
    /// Seconds that a reading is averaged over.
    pub over_s: f64,
    /// How many readings were shown, steady or not.
    pub readings: u64,
    /// The last steady reading; null where there was none.
    pub last: Option<Figures>,
    /// The curves that are held at the end.
    pub held: Vec<Held>,
    pub kept: Vec<Kept>,
}

/// The figures of a reading, with what the take as it lies leaves open of them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// Null, as the next, where the curve has no peak.
    pub peak_hz: Option<Estimate>,
    /// Height of the peak above the level at low frequency.
    pub peak_db: Option<Estimate>,
    pub f0_hz: Estimate,
    pub q: Estimate,
}

/// A curve that was held.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Held {
    /// A to D.
    pub mark: char,
    pub name: String,
    pub figures: Figures,
    pub curve: Curve,
    /// The last steady reading less this one; null where there was none.
    pub difference: Option<Difference>,
}

/// One reading less another, of one pickup as it lies: only their noise parts them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Null, as the next, where one of both has no peak.
    pub peak_hz: Option<Estimate>,
    pub peak_db: Option<Estimate>,
    pub f0_hz: Option<Estimate>,
    pub q: Option<Estimate>,
}

/// A record that was kept, and how it stands to what was seen before it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Kept {
    /// Folder of the record.
    pub folder: String,
    /// The record's id.
    pub id: String,
    /// The steady reading before it.
    pub live: Figures,
    /// The record less that reading; null where the take was rejected.
    pub difference: Option<Difference>,
    /// Whether all of it lies within three standard uncertainties of both, noise and misfit counted; null where the take was
    /// rejected.
    pub agrees: Option<bool>,
}

/// Standard uncertainties within which a take and what was seen before it agree.
const AGREE: f64 = 3.0;

impl Figures {
    /// These less others.
    pub fn less(&self, other: &Figures) -> Difference {
        Difference {
            peak_hz: less(self.peak_hz, other.peak_hz),
            peak_db: less(self.peak_db, other.peak_db),
            f0_hz: less(Some(self.f0_hz), Some(other.f0_hz)),
            q: less(Some(self.q), Some(other.q)),
        }
    }

    /// Whether a take's figures are those that were seen before it: a peak that came or went is another curve.
    pub fn agree(&self, seen: &Figures, budget: &Budget) -> bool {
        self.peak_hz.is_some() == seen.peak_hz.is_some() && self.less(seen).explained(budget)
    }
}

impl From<&Resonance> for Figures {
    fn from(r: &Resonance) -> Self {
        Figures {
            peak_hz: r.peak_hz,
            peak_db: r.peak_db,
            f0_hz: r.f0_hz,
            q: r.q,
        }
    }
}

fn less(a: Option<Estimate>, b: Option<Estimate>) -> Option<Estimate> {
    let (a, b) = (a?, b?);
    let noise = a.u_noise.hypot(b.u_noise);
    Estimate::new(a.value - b.value, noise, noise)
}

impl Difference {
    /// Whether noise explains it, and what the record's model leaves unexplained, which it does in both.
    fn explained(&self, budget: &Budget) -> bool {
        let within = |d: Option<Estimate>, misfit: Option<f64>| {
            let both = std::f64::consts::SQRT_2 * misfit.unwrap_or(0.0);
            d.is_none_or(|d| d.value.abs() <= AGREE * d.u_noise.hypot(both))
        };
        within(self.peak_hz, budget.peak_hz.map(|p| p.misfit))
            && within(self.peak_db, budget.peak_db.map(|p| p.misfit))
            && within(self.f0_hz, Some(budget.f0_hz.misfit))
            && within(self.q, Some(budget.q.misfit))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Parts;

    #[test]
    fn a_peak_that_went_is_no_agreement() {
        let e = |v: f64| Estimate::new(v, 1e-3 * v, 1e-3 * v).unwrap();
        let seen = Figures {
            peak_hz: Some(e(4000.0)),
            peak_db: Some(e(3.0)),
            f0_hz: e(4400.0),
            q: e(1.3),
        };
        let gone = Figures {
            peak_hz: None,
            peak_db: None,
            ..seen.clone()
        };
        let budget = Budget {
            f0_hz: Parts::default(),
            q: Parts::default(),
            peak_hz: None,
            peak_db: None,
        };
        assert!(seen.agree(&seen, &budget) && gone.agree(&gone, &budget));
        assert!(!gone.agree(&seen, &budget) && !seen.agree(&gone, &budget));
    }
}
