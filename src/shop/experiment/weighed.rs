//! One quantity of both groups, as the yardstick is asked it.

use super::document::Effect;
use super::sides::Sides;
use crate::record::Record;
use crate::shop::difference::Judged;
use crate::shop::figures::{Column, Figure, largest, measuring};
use crate::shop::yardstick::{Asked, Between, Parts, Quantity, Question, Scatter};
use crate::stats::paired::Paired;
use crate::stats::two::{Apart, Sample};
use crate::stats::{grouped, mean};

pub(super) struct Weighed {
    pub asked: Asked,
    /// Not judged yet.
    pub effect: Effect,
}

impl Weighed {
    /// `None` of a quantity that one side lacks, or of which no scatter is known.
    pub fn of(sides: &Sides, quantity: Quantity, matters: f64) -> Option<Weighed> {
        // An exciter of another bench couples otherwise, whatever the pickup.
        if quantity == Quantity::Level && sides.benches.iter().flatten().any(|b| *b > 0) {
            return None;
        }
        let all: Vec<&Record> = sides.records.iter().flatten().collect();
        let column = Column::of(quantity, &all);
        let mut figures = column.figures;
        let second = figures.split_off(sides.records[0].len());
        let mut figures = [figures, second];
        if sides.paired {
            only_pairs(&mut figures, sides);
        }
        let values = [0, 1].map(|s| by_pickup(&sides.records[s], &figures[s]));
        let plain = values.each_ref().map(|v| v.iter().map(|v| v.1).collect::<Vec<f64>>());
        let [a, b] = plain.each_ref().map(|v| Sample::of(v));
        let apart = match sides.paired {
            true => paired(&values)?,
            false => a?.apart(&b?)?,
        };
        let weights = [0, 1].map(|s| sides.weights(s, |i| figures[s][i].is_some()));
        let measured = measuring(weighted(&figures, &weights));
        let within = Scatter::studied(apart.se, apart.freedom);
        let by_measuring = measured.sd > within.sd;
        let of = |scatter: fn(&Parts) -> Scatter| largest(weighted(&figures, &weights).map(|f| scatter(&f.1.parts)));
        let (days, rigs) = (sides.apart_in_days(&weights), sides.apart_in_rigs(&weights));
        let question = match (rigs > 0.0, days > 0.0) {
            (true, _) => Question::OtherRig,
            (_, true) => Question::OtherDay,
            _ => Question::LaidDown,
        };
        let first = Parts {
            laying: if by_measuring { measured } else { within },
            days: of(|p| p.days).times(days.sqrt()),
            chain: rigs.sqrt() * of(|p| Scatter::known(p.chain)).sd,
            ..Parts::EXACT
        };
        Some(Weighed {
            asked: Asked {
                quantity,
                difference: apart.difference,
                between: Between::new(question, first, Parts::EXACT),
                matters,
            },
            effect: Effect {
                judged: Judged::default(),
                means: plain.map(|v| quantity.from_compared(mean(&v).unwrap_or(f64::NAN))),
                pickups: [0, 1].map(|s| values[s].len()),
                meter: column.meter,
                by_measuring,
            },
        })
    }
}

fn weighted<'a>(
    figures: &'a [Vec<Option<Figure>>; 2],
    weights: &'a [Vec<f64>; 2],
) -> impl Iterator<Item = (f64, &'a Figure)> + Clone {
    let each = figures.iter().zip(weights).flat_map(|(f, w)| f.iter().zip(w));
    each.filter_map(|(f, w)| Some((w * w, f.as_ref()?)))
}

/// Every pickup's mean, as it is compared.
fn by_pickup<'a>(records: &'a [Record], figures: &[Option<Figure>]) -> Vec<(&'a str, f64)> {
    let has = records.iter().zip(figures);
    let each = has.filter_map(|(r, f)| Some((r.pickup.name.as_str(), f.as_ref()?.compared)));
    let mean = |(name, values): (&'a str, Vec<f64>)| Some((name, mean(&values)?));
    grouped(each).into_iter().filter_map(mean).collect()
}

/// What one side does not tell of a pickup, the other's figure is no counterpart for.
fn only_pairs(figures: &mut [Vec<Option<Figure>>; 2], sides: &Sides) {
    let told = [0, 1].map(|s| by_pickup(&sides.records[s], &figures[s]));
    for (own, other) in [(0, 1), (1, 0)] {
        for (figure, r) in figures[own].iter_mut().zip(&sides.records[own]) {
            let both = told[other].iter().any(|t| t.0 == r.pickup.name);
            *figure = figure.filter(|_| both);
        }
    }
}

/// Each against itself.
fn paired(values: &[Vec<(&str, f64)>; 2]) -> Option<Apart> {
    let [first, second] = values;
    let off = |(name, a): &(&str, f64)| Some(second.iter().find(|s| s.0 == *name)?.1 - a);
    let p = Paired::of(&first.iter().filter_map(off).collect::<Vec<_>>())?;
    Some(Apart {
        difference: p.mean,
        se: p.se,
        freedom: (p.n - 1) as f64,
    })
}
