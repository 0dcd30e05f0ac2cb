//! The plot of a lot in the order of making: for each quantity how its values lie, and one after the other between their limits.

use super::chart::{self, Mark, Panel};
use super::lay::{self, LEFT, RIGHT};
use super::number;
use super::palette::{BAND, PEAK, SOFT};
use super::sheet::{Pen, Plot, Point, Sheet};
use super::words;
use crate::failure::Result;
use crate::shop::order::document::{LotDocument, OfLot, Valued};

const TOP: f64 = 14.5;
const BOTTOM: f64 = 95.0;
/// Between two quantities.
const GAP: f64 = 2.4;
/// Where the strip ends and where the chart begins.
const STRIP: f64 = 40.0;
const CHART: f64 = 43.0;
/// Half the width of a mark, and the room of one beside another.
const R: f64 = 0.7;
const WIDE: f64 = 2.6 * R;

pub fn lot(d: &LotDocument) -> Result<Plot> {
    let title = format!("Lot {}", words::clean(&d.lot));
    let remark = match d.quantities.iter().any(|q| q.told.is_some()) {
        true => "shaded: within the limits of neighbours; crosses: odd; open: beyond the limits; dashed: a drift",
        false => "too few for limits",
    };
    let mut sheet = chart::sheet(&title, remark, d.simulated);
    let height = (BOTTOM - TOP) / d.quantities.len().max(1) as f64;
    let [first, last] = lay::ends(d.pickups.iter().map(|p| f64::from(p.number))).unwrap_or([1.0; 2]);
    let order = [first - 0.8, last + 0.8];
    for (i, q) in d.quantities.iter().enumerate() {
        let top = TOP + i as f64 * height;
        let row = Row::of(q, [top, top + height - GAP], order);
        row.draw(&mut sheet, i + 1 == d.quantities.len());
    }
    sheet.render()
}

/// One quantity, from the middle: in per cent, or in decibels.
struct Row<'a> {
    of: &'a OfLot,
    strip: Panel,
    chart: Panel,
}

impl Row<'_> {
    fn of(of: &OfLot, heights: [f64; 2], order: [f64; 2]) -> Row<'_> {
        let limits = of.told.iter().flat_map(|t| [t.chart.low, t.chart.high]);
        // What measuring does is not blown up to fill the box.
        let least = [-of.measuring, of.measuring];
        let all = of.values.iter().map(|v| v.off).chain(limits).chain(least);
        let all = all.map(|off| words::off_middle(of, off).0);
        let (low, high) = all.fold((0f64, 0f64), |(lo, hi), v| (lo.min(v), hi.max(v)));
        let room = (0.12 * (high - low)).max(1e-3);
        // The name stands in the upper corner.
        let y = [low - room, high + 2.5 * room];
        Row {
            of,
            strip: Panel::new([LEFT, STRIP], heights, [0.0, 1.0], y),
            chart: Panel::new([CHART, RIGHT], heights, order, y),
        }
    }

    fn shown(&self, off: f64) -> f64 {
        words::off_middle(self.of, off).0
    }

    fn name(&self) -> String {
        let q = self.of.quantity;
        let unit = words::off_middle(self.of, 0.0).1;
        let middle = number::short(self.of.middle, words::unit(q));
        format!("{}, {unit} from {middle}", words::quantity(q))
    }

    fn draw(&self, sheet: &mut Sheet, last: bool) {
        if let Some(t) = &self.of.told {
            let limits = [t.chart.low, t.chart.high].map(|v| self.shown(v));
            sheet.area(self.chart.corners(self.chart.x, limits), BAND);
        }
        // Their values stand at the strip alone.
        self.strip.upwards(sheet, 4.0);
        if last {
            self.chart.onwards(sheet, "number, in the order of making");
        }
        if let Some(t) = &self.of.told {
            let centre = self.shown(t.chart.centre);
            self.chart.across(sheet, centre, Pen::solid(SOFT, 0.25));
        }
        self.stacked(sheet);
        let at = |v: &Valued| self.chart.at(f64::from(v.number), self.shown(v.off));
        sheet.line(self.of.values.iter().map(at).collect(), Pen::solid(SOFT, 0.2));
        self.drift(sheet);
        self.of.values.iter().for_each(|v| self.mark(v).put(sheet, at(v), R));
        self.strip.frame(sheet);
        self.chart.frame(sheet);
        self.chart.name(sheet, &self.name());
    }

    /// The strip: what lies at one height side by side.
    fn stacked(&self, sheet: &mut Sheet) {
        let mut placed: Vec<Point> = Vec::new();
        for v in &self.of.values {
            let y = self.strip.at(0.0, self.shown(v.off)).1;
            let free = |x: &f64| placed.iter().all(|p| (p.0 - x).abs() > R || (p.1 - y).abs() > WIDE);
            let places = (0..).map(|i| LEFT + WIDE * (0.8 + f64::from(i)));
            let x = places.take_while(|x| *x < STRIP - R).find(free).unwrap_or(STRIP - WIDE);
            placed.push((x, y));
            self.mark(v).put(sheet, (x, y), R);
        }
    }

    /// Through the middle of all, where it is no chance.
    fn drift(&self, sheet: &mut Sheet) {
        let (Some(t), Some(first), Some(last)) = (&self.of.told, self.of.values.first(), self.of.values.last()) else {
            return;
        };
        if t.trend.told {
            let ends = [(first, -0.5), (last, 0.5)];
            let line = ends.map(|(v, half)| self.chart.at(f64::from(v.number), self.shown(half * t.trend.over_all)));
            sheet.line(line.to_vec(), Pen::new(PEAK, 0.35, &[1.5, 1.0]));
        }
    }

    fn mark(&self, v: &Valued) -> Mark {
        match &self.of.told {
            Some(t) if t.odd.iter().any(|o| o.number == v.number) => Mark::Cross,
            Some(t) if t.chart.beyond.contains(&v.number) => Mark::Open,
            _ => Mark::Full,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::figures::sample;
    use crate::shop::order;
    use crate::shop::yardstick::Matters;

    /// Each value is marked on the strip and in the chart; the odd one by crosses.
    #[test]
    fn every_pickup_stands_twice_in_each_row() {
        let made = |i: u32| {
            let off = if i == 4 { 0.1 } else { f64::from(i * 5 % 7) / 1000.0 };
            (
                i,
                sample(
                    &format!("a-{i}"),
                    2,
                    [4000.0 * (1.0 + off), 2.5, 8000.0 + f64::from(i * 5 % 9)],
                ),
            )
        };
        let all: Vec<_> = (1..=9).map(made).collect();
        let d = order::lot("a", &all, &Matters::default()).unwrap();
        let svg = lot(&d).unwrap().svg;
        let told = d.quantities.iter().filter_map(|q| q.told.as_ref());
        let odd: usize = told.map(|t| t.odd.len()).sum();
        assert_eq!(odd, 1);
        assert!(
            svg.contains("peak, % from 4.01 kHz") && svg.contains("number, in the order of making"),
            "{svg}"
        );
        // Of the ink of marks: two for each value that is not a cross.
        let polygons = svg
            .lines()
            .filter(|l| l.contains("<polygon") && l.contains("#141418"))
            .count();
        assert_eq!(polygons, 2 * (9 * d.quantities.len() - odd));
    }
}
