//! What a rig is known to do to readings: from its repeat study and its history of checks, and the usual where they tell nothing.

use super::witness::history::{BetweenDays, History};
use super::witness::repeat::RepeatDocument;
use super::yardstick::{Quantity, Repeatability, Scatter, USUAL_WINDING_F};
use crate::coil::behind::{input_of, load_of};
use crate::record::Record;

#[derive(Debug, Clone, Default)]
pub struct Known {
    /// What laying a pickup down anew does.
    repeat: Option<RepeatDocument>,
    days: Option<BetweenDays>,
}

impl Known {
    pub fn of(repeat: Option<RepeatDocument>, history: Option<&History>) -> Known {
        let days = history.and_then(History::between_days);
        Known { repeat, days }
    }

    /// For the pickup of a record, with what hung on it.
    pub fn for_pickup(&self, record: &Record) -> Repeatability {
        let witness = USUAL_WINDING_F.0 + input_of(record).1;
        let whole = witness + load_of(record).map_or(0.0, |l| l.capacitance());
        let mut out = Repeatability::usual(whole);
        if let Some(r) = &self.repeat {
            let spreads = [
                (Quantity::F0, Some(r.f0)),
                (Quantity::Q, Some(r.q)),
                (Quantity::Height, r.peak_db),
                (Quantity::Level, r.level_db),
            ];
            for (quantity, s) in spreads.into_iter().filter_map(|(q, s)| Some((q, s?))) {
                // Documents of old have one freedom for all.
                let freedom = if s.freedom > 0 { s.freedom } else { r.freedom };
                out = out.with_laying(quantity, Scatter::studied(s.sd, freedom as f64));
            }
        }
        if let Some(d) = self.days {
            // A lead moves f0 the less the more lies there already; on the witness there is the input alone.
            let share = witness / whole;
            for (quantity, sd) in [
                (Quantity::Peak, Some(share * d.f0)),
                (Quantity::F0, Some(share * d.f0)),
                (Quantity::Q, Some(d.q)),
                (Quantity::Level, d.level_db),
            ] {
                let Some(sd) = sd else { continue };
                out = out.with_days(quantity, Scatter::studied(sd, d.freedom));
            }
        }
        out
    }
}
