//! The plot of a pot-load: each pickup's change in f0 with its interval, and the limit within which it is none.

use super::chart::{self, Mark, Panel};
use super::lay::small;
use super::palette::{BAND, INK};
use super::sheet::{Anchor, Pen, Plot};
use super::words;
use crate::failure::Result;
use crate::shop::wax::document::{Pair, PotVerdict, PottingDocument};

const TOP: f64 = 15.0;
const BOTTOM: f64 = 90.0;
/// More names cannot be read.
const MOST_NAMES: usize = 16;

pub fn pairs(d: &PottingDocument) -> Result<Plot> {
    let n = d.pairs.len();
    let title = format!("Change in f0 of {n} pickup{} in the wax", words::plural(n));
    let remark =
        "bars: 95 %, the rig's days counted in; shaded: unchanged; squares as wax does, crosses to be looked at";
    let mut sheet = chart::sheet(&title, remark, d.simulated);
    let both = d.pairs.iter().filter_map(|p| Some((p, p.f0_before_hz?, p.f0_hz?)));
    // The change in percent, and the half-width of its interval.
    let shown = both.map(|(p, before, e)| (p, 100.0 * e.value / before, 100.0 * e.half_width_95() / before));
    let drawn: Vec<(&Pair, f64, f64)> = shown.collect();
    let limit = 100.0 * d.limits.f0;
    let reach = drawn.iter().map(|(_, v, h)| v.abs() + h).fold(1.3 * limit, f64::max) * 1.05;
    let panel = Panel::of_changes([TOP, BOTTOM], drawn.len(), reach);
    sheet.area(panel.corners(panel.x, [limit, -limit]), BAND);
    panel.upwards(&mut sheet, 8.0);
    let room = panel.at(1.0, 0.0).0 - panel.left - 1.0;
    for (i, (p, v, half)) in drawn.iter().enumerate() {
        let at = |v: f64| panel.at(i as f64 + 0.5, v);
        sheet.line(vec![at(v - half), at(v + half)], Pen::solid(INK, 0.3));
        let mark = match p.verdict {
            PotVerdict::Other => Mark::Cross,
            PotVerdict::Wax => Mark::Full,
            PotVerdict::Unchanged | PotVerdict::CannotTell | PotVerdict::Warm => Mark::Open,
        };
        mark.put(&mut sheet, at(*v), 1.0);
        if drawn.len() <= MOST_NAMES {
            let below = (at(0.0).0, BOTTOM + 4.0);
            sheet.cut(below, &words::clean(&p.pickup), room, small(Anchor::Centre));
        }
    }
    panel.frame(&mut sheet);
    panel.name(&mut sheet, "change in f0 (%)");
    sheet.render()
}
