//! A lot in the order in which it was made: how it scatters, which are odd, whether it drifts, and which to look at first.
//!
//! All quantities together name an odd one, and a drift, in at most [`RISK`] of lots that have none (Bonferroni, which holds
//! whatever hangs on what).

use super::alike::{goes_with, one_definition};
use super::figures::{self, Column, Figure, TOLD};
use super::yardstick::{Matters, Quantity, Scatter};
use crate::failure::{Failure, Result};
use crate::record::Record;
use crate::record::identity::Sense;
use crate::record::when::day;
use crate::stats::individuals::Chart;
use crate::stats::odd::{self, odd};
use crate::stats::trend::Trend;
use crate::stats::{distinct, median, ratio_by_chance, sd};

pub mod document;
#[cfg(test)]
mod tests;

use document::{
    Charted, LeftOut, LookFirst, LotDocument, LotPickup, OddOne, OfLot, SCHEMA, Told, Trended, Valued, Why,
};

const RISK: f64 = 0.05;

/// One of a lot: its number in the order of making, and its reading.
pub type Made = (u32, Record);

/// What the readings of a lot tell.
pub fn lot(name: &str, made: &[Made], matters: &Matters) -> Result<LotDocument> {
    let (kept, left_out) = parted(made)?;
    let records: Vec<Record> = kept.iter().map(|m| m.1.clone()).collect();
    let (_, records) = one_definition(&records);
    let lot = Lot {
        numbers: kept.iter().map(|m| m.0).collect(),
        days: distinct(records.iter().filter_map(|r| day(&r.taken_at))).len(),
        records: records.iter().collect(),
    };
    let columns = TOLD.map(|q| Column::of(q, &lot.records));
    let told = |c: &&Column| c.figures.iter().flatten().count() >= odd::LEAST;
    let risk = RISK / columns.iter().filter(told).count().max(1) as f64;
    let quantities: Vec<OfLot> = columns.iter().filter_map(|c| lot.quantity(c, matters, risk)).collect();
    let turned = lot.turned();
    Ok(LotDocument {
        schema: SCHEMA.into(),
        lot: name.into(),
        look_first: lot.look_first(&quantities, &turned),
        pickups: lot.pickups(),
        left_out,
        days: lot.days,
        quantities,
        turned,
        least: odd::LEAST,
        simulated: lot.records.iter().any(|r| r.is_simulated()),
    })
}

/// Those that go together, as many as there are, by their numbers; and the rest.
fn parted(made: &[Made]) -> Result<(Vec<&Made>, Vec<LeftOut>)> {
    let mut all: Vec<&Made> = made.iter().collect();
    all.sort_by_key(|m| m.0);
    let over = |m: &Made| m.1.pickup.over.clone().unwrap_or_else(|| "a coil not told".into());
    let why = |m: &&Made, first: &&Made| match goes_with(&m.1, &[&first.1]) {
        _ if m.0 == first.0 => None,
        _ if m.1.reading().is_none() => Some("no reading".into()),
        _ if over(m) != over(first) => Some(format!("over {}, the others over {}", over(m), over(first))),
        answer => answer.err().map(|e| e.what),
    };
    let read = all.iter().filter(|m| m.1.reading().is_some());
    let with = |first: &&Made| all.iter().filter(|m| why(m, first).is_none()).count();
    // The first of those with the most company.
    let first = read.rev().max_by_key(|m| with(m)).copied();
    let first = first.ok_or_else(|| Failure::new("none of the lot has a reading", "measure it: coilwright tray"))?;
    let (mut kept, mut left_out) = (Vec::new(), Vec::new());
    for m in &all {
        match why(m, &first) {
            None => kept.push(*m),
            Some(why) => left_out.push(LeftOut {
                number: m.0,
                name: m.1.pickup.name.clone(),
                why,
            }),
        }
    }
    Ok((kept, left_out))
}

struct Lot<'a> {
    numbers: Vec<u32>,
    records: Vec<&'a Record>,
    days: usize,
}

impl Lot<'_> {
    fn pickups(&self) -> Vec<LotPickup> {
        let each = self.numbers.iter().zip(&self.records);
        let pickup = |(number, r): (&u32, &&Record)| LotPickup {
            number: *number,
            name: r.pickup.name.clone(),
            id: r.id.clone(),
            taken_at: r.taken_at.clone(),
        };
        each.map(pickup).collect()
    }

    /// `None` of a quantity that fewer than two have.
    fn quantity(&self, column: &Column, matters: &Matters, risk: f64) -> Option<OfLot> {
        let quantity = column.quantity;
        let has = self.numbers.iter().zip(&column.figures);
        let has: Vec<(u32, &Figure)> = has.filter_map(|(n, f)| Some((*n, f.as_ref()?))).collect();
        let compared: Vec<f64> = has.iter().map(|f| f.1.compared).collect();
        let sd = sd(&compared)?;
        let middle = median(compared.clone());
        let off: Vec<f64> = compared.iter().map(|c| c - middle).collect();
        let measuring = self.measuring(&has);
        let beyond = sd * sd / (measuring.sd * measuring.sd);
        let chance = ratio_by_chance(beyond, (has.len() - 1) as f64, measuring.freedom);
        let values = || has.iter().map(|f| f.1.value);
        let valued = |(f, off): (&(u32, &Figure), &f64)| Valued {
            number: f.0,
            value: f.1.value,
            off: *off,
        };
        Some(OfLot {
            quantity,
            meter: column.meter.clone(),
            values: has.iter().zip(&off).map(valued).collect(),
            middle: quantity.from_compared(middle),
            least: values().fold(f64::INFINITY, f64::min),
            most: values().fold(f64::NEG_INFINITY, f64::max),
            sd,
            measuring: measuring.sd,
            measuring_usual: measuring.usual.any(),
            own: (chance < RISK).then(|| (sd * sd - measuring.sd * measuring.sd).sqrt()),
            matters: matters.of(quantity),
            matters_usual: matters.is_usual(quantity),
            told: told(&has, &off, &measuring, matters.of(quantity), risk),
        })
    }

    /// What measuring does to one of them, on average.
    fn measuring(&self, has: &[(u32, &Figure)]) -> Scatter {
        let share = 1.0 / has.len() as f64;
        let reading = figures::measuring(has.iter().map(|f| (share, f.1)));
        let days = match self.days > 1 {
            true => figures::largest(has.iter().map(|f| f.1.parts.days)),
            false => Scatter::NONE,
        };
        Scatter::sum(&[reading, days])
    }

    /// Those whose sign is not that of most.
    fn turned(&self) -> Vec<u32> {
        let senses: Vec<Option<Sense>> = self.records.iter().map(|r| Sense::of(r)).collect();
        let like = |s: &Sense| senses.iter().flatten().filter(|o| s.same(**o)).count();
        let Some(most) = senses.iter().flatten().max_by_key(|s| like(s)).copied() else {
            return Vec::new();
        };
        // Half against half, nobody is the odd half.
        let told = 2 * like(&most) > senses.iter().flatten().count();
        let each = self.numbers.iter().zip(&senses);
        let turned = each.filter(|(_, s)| told && s.is_some_and(|s| !s.same(most)));
        turned.map(|(n, _)| *n).collect()
    }

    fn look_first(&self, quantities: &[OfLot], turned: &[u32]) -> Option<LookFirst> {
        let turned = turned.iter().map(|n| (Why::Turned, *n, 1.0, None));
        let mut reasons: Vec<(Why, u32, f64, Option<Quantity>)> =
            quantities.iter().flat_map(reasons).chain(turned).collect();
        reasons.sort_by(|a, b| a.0.cmp(&b.0).then(b.2.total_cmp(&a.2)).then(a.1.cmp(&b.1)));
        let (why, number, ..) = *reasons.first()?;
        let by = reasons.iter().filter(|r| r.0 == why && r.1 == number);
        let quantities = by.filter_map(|r| r.3).collect();
        let (_, record) = self.numbers.iter().zip(&self.records).find(|(n, _)| **n == number)?;
        Some(LookFirst {
            number,
            name: record.pickup.name.clone(),
            why,
            quantities,
            measure_again: record.curable().map(|f| f.text.clone()),
        })
    }
}

/// Why one might look at some of the lot, by this quantity, and how strongly.
fn reasons(q: &OfLot) -> Vec<(Why, u32, f64, Option<Quantity>)> {
    let told = q.told.iter();
    let odd = told.clone().flat_map(|t| &t.odd).map(|o| {
        let why = if o.matters { Why::Odd } else { Why::OddALittle };
        (why, o.number, o.far / o.limit)
    });
    let off = |number: u32| q.values.iter().find(|v| v.number == number).map_or(0.0, |v| v.off);
    let beyond = told.clone().flat_map(move |t| {
        let out = move |n: u32| (off(n) - t.chart.centre).abs() / (t.chart.high - t.chart.centre);
        t.chart.beyond.iter().map(move |n| (Why::BeyondChart, *n, out(*n)))
    });
    let drift = told.filter(|t| t.trend.told && t.trend.over_all.abs() > q.matters);
    let last = q.values.last();
    let drift = drift.filter_map(|t| Some((Why::Drift, last?.number, t.trend.over_all.abs() / q.matters)));
    let farthest = q.values.iter().max_by(|a, b| a.off.abs().total_cmp(&b.off.abs()));
    // Where all are equal none is.
    let farthest = farthest.filter(|v| v.off != 0.0);
    let farthest = farthest.map(|v| (Why::Farthest, v.number, v.off.abs() / q.matters));
    let all = odd.chain(beyond).chain(drift).chain(farthest);
    all.map(|(why, number, weight)| (why, number, weight, Some(q.quantity)))
        .collect()
}

fn told(has: &[(u32, &Figure)], off: &[f64], measuring: &Scatter, matters: f64, risk: f64) -> Option<Told> {
    if has.len() < odd::LEAST {
        return None;
    }
    let chart = Chart::of(off)?;
    let [low, high] = chart.limits();
    let placed = || has.iter().zip(off).map(|(f, off)| (f.0, *off));
    // What measuring may have done to any of them is nothing odd, however well the rest agree.
    let least = measuring.half_width(risk / has.len() as f64);
    let odd = odd(off, risk)
        .into_iter()
        .filter(|o| off[o.at].abs() > least)
        .map(|o| OddOne {
            number: has[o.at].0,
            off: off[o.at],
            far: o.far,
            limit: o.limit,
            matters: off[o.at].abs() > matters,
        });
    let points: Vec<(f64, f64)> = placed().map(|(n, off)| (f64::from(n), off)).collect();
    let trend = Trend::of(&points)?;
    let span = points.last()?.0 - points.first()?.0;
    let end = |i: usize| Some(span * trend.slope_95[i]).filter(|v| v.is_finite());
    Some(Told {
        chart: Charted {
            centre: chart.centre,
            low,
            high,
            beyond: placed().filter(|(_, off)| !chart.holds(*off)).map(|p| p.0).collect(),
        },
        odd: odd.collect(),
        trend: Trended {
            p: trend.p,
            told: trend.p < risk,
            over_all: span * trend.slope,
            from: end(0),
            to: end(1),
        },
    })
}
