//! What pickups that belong together are told by: the figures of each, and what measuring does to them.

use super::alike::by_one_meter;
use super::reading::{self, whole_f};
use super::yardstick::{Parts, Quantity, Repeatability, Scatter};
use crate::estimate::Estimate;
use crate::record::Record;

/// In the order in which they are told. f0 goes with the peak.
pub const TOLD: [Quantity; 5] = {
    use Quantity::*;
    [Peak, Q, Height, Level, Ohms]
};

/// One quantity of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// In its own unit.
    pub value: f64,
    /// As it is compared.
    pub compared: f64,
    pub parts: Parts,
}

/// One quantity of all of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    pub quantity: Quantity,
    /// Of ohms: the one that read most of them, if it has a name.
    pub meter: Option<String>,
    /// In the order of the records; none where a record does not tell it.
    pub figures: Vec<Option<Figure>>,
}

impl Column {
    pub fn of(quantity: Quantity, records: &[&Record]) -> Column {
        let (meter, ohms) = match quantity {
            Quantity::Ohms => by_one_meter(records.iter().copied()),
            _ => (None, vec![None; records.len()]),
        };
        let figure = |(r, ohm): (&&Record, Option<f64>)| {
            let (value, parts) = match quantity {
                Quantity::Ohms => {
                    let read = Estimate::new(ohm?, 0.0, 0.0)?;
                    (ohm?, Repeatability::usual(whole_f(r, None)).reading(quantity, &read))
                }
                _ => (reading::value(r, quantity)?.value, reading::parts(r, quantity)?),
            };
            let compared = quantity.compared(value);
            compared.is_finite().then_some(Figure { value, compared, parts })
        };
        Column {
            quantity,
            meter,
            figures: records.iter().zip(ohms).map(figure).collect(),
        }
    }
}

/// What measuring does to the weighted sum of such readings, each laid down by itself; weights as variances.
pub fn measuring<'a>(figures: impl Iterator<Item = (f64, &'a Figure)> + Clone) -> Scatter {
    let noise = figures.clone().map(|(w, f)| w * f.parts.noise.powi(2)).sum::<f64>();
    let weight = figures.clone().map(|f| f.0).sum::<f64>();
    let laying = largest(figures.map(|f| f.1.parts.laying));
    Scatter::sum(&[Scatter::known(noise.sqrt()), laying.times(weight.sqrt())])
}

/// Of several scatters the one that does most.
pub fn largest(scatters: impl Iterator<Item = Scatter>) -> Scatter {
    scatters.fold(Scatter::NONE, |most, s| if s.sd > most.sd { s } else { most })
}

/// A reading for the tests of who uses this.
#[cfg(test)]
pub fn sample(name: &str, day: u32, [peak, q, ohms]: [f64; 3]) -> Record {
    let bytes = include_bytes!("../../fixtures/records/0.1.0/record.json");
    let mut r = crate::record::store::parse(bytes, "record.json".as_ref()).unwrap();
    r.id = format!("{name} {day} {peak}");
    r.pickup.name = name.into();
    r.taken_at = format!("2026-03-{day:02}T10:00:00+01:00");
    (r.pickup.r_ohm, r.pickup.temperature_c) = (Some(ohms), Some(20.0));
    r.pickup.ohmmeter = Some("meter A".into());
    let x = r.resonance.as_mut().unwrap();
    let e = |v: f64| crate::estimate::Estimate::new(v, 5e-3 * v, 1e-4 * v);
    (x.f0_hz, x.q, x.peak_hz) = (e(1.05 * peak).unwrap(), e(q).unwrap(), e(peak));
    r
}
