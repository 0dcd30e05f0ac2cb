//! What ohmmeters read of a pickup: typed when it was measured, or noted since.

use super::meters::Kind;
use super::notes::Note;
use super::{Pickup, Record};
use crate::copper;

/// What an ohmmeter read of the pickup of a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Ohms {
    /// `None` for what was typed with `measure --ohms` without a name.
    pub meter: Option<String>,
    pub ohm: f64,
    pub temperature_c: Option<f64>,
}

impl Ohms {
    /// Brought to 20 degrees where the temperature is known.
    pub fn at_20(&self) -> f64 {
        copper::r20(Some(self.ohm), self.temperature_c).unwrap_or(self.ohm)
    }
}

/// Every ohmmeter's last reading of a pickup, the one typed when measuring first.
pub fn of(pickup: &Pickup, noted: &[Note]) -> Vec<Ohms> {
    let typed = pickup.r_ohm.map(|ohm| Ohms {
        meter: pickup.ohmmeter.clone(),
        ohm,
        temperature_c: pickup.temperature_c,
    });
    let mut out: Vec<Ohms> = typed.into_iter().collect();
    for n in noted {
        for r in n.readings.iter().filter(|r| r.column().kind == Kind::Ohms) {
            let read = Ohms {
                meter: Some(r.column().meter),
                ohm: r.figure(),
                temperature_c: n.temperature_c.or(pickup.temperature_c),
            };
            match out.iter_mut().find(|o| o.meter == read.meter) {
                Some(before) => *before = read,
                None => out.push(read),
            }
        }
    }
    out
}

impl Record {
    /// See [`of`].
    pub fn ohms(&self) -> Vec<Ohms> {
        of(&self.pickup, &self.noted)
    }

    /// What one ohmmeter read.
    pub fn ohms_by(&self, meter: Option<&str>) -> Option<Ohms> {
        self.ohms().into_iter().find(|o| o.meter.as_deref() == meter)
    }
}
