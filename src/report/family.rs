//! Several curves in one field, told apart by dashes, markers and letters as well as by colour: the sheet that overlays of
//! records and families of predictions share.

use super::axis::{self, Field};
use super::closer;
use super::lay::{self, EDGE, HEIGHT, Item, MARGIN, ROW, SMALL, WIDTH, small};
use super::palette::{INK, PAPER, SERIES, series};
use super::reads::{self, Reads};
use super::sheet::{Anchor, Plot, Point, Sheet, Type, fitted, rectangle, text_width};
use super::words;
use crate::failure::Result;

/// More curves than this in one field cannot be told apart.
pub const MOST: usize = SERIES.len();

/// What stands around the field.
#[derive(Debug, Clone, Default)]
pub struct Sheetful<'a> {
    /// For those who cannot see the drawing.
    pub title: String,
    pub heading: String,
    /// Below the heading: what 0 dB is, and what else must be known.
    pub remark: String,
    pub vertical: &'a str,
    pub simulated: bool,
    /// With the differences to the first and a look at the peaks below.
    pub closer: bool,
    /// In place of a field without curves.
    pub nothing: &'a str,
    pub items: Vec<Item>,
}

/// Draws the first [`MOST`] items.
pub fn draw(all: &Sheetful) -> Result<Plot> {
    let items = all.items.get(..MOST).unwrap_or(&all.items);
    let any = items.iter().any(|c| c.line.len() > 1);
    let below = if all.closer && any { closer::BOTH } else { 0.0 };
    let height = f64::from(HEIGHT) + below;
    let mut sheet = Sheet::new(WIDTH, height.ceil() as u32, &all.title);
    lay::heading(&mut sheet, &all.heading, &all.remark, all.simulated);
    let columns = if items.len() > 6 { 2 } else { 1 };
    let rows = items.len().div_ceil(columns);
    let legend_top = height - 2.4 - ROW * rows as f64;
    let bottom = legend_top - 8.6 - below;
    sheet.reads = any.then(|| curves(&mut sheet, items, bottom, all.vertical));
    if below > 0.0 {
        closer::draw(&mut sheet, items, bottom);
    }
    if !any {
        lay::nothing(&mut sheet, (TOP + bottom) / 2.0, all.nothing);
    }
    for (i, item) in items.iter().enumerate() {
        let (column, row) = (i / rows.max(1), i % rows.max(1));
        let width = (EDGE - MARGIN) / columns as f64;
        let x = MARGIN + column as f64 * (width + 1.5);
        let at = (x, legend_top + ROW * (row as f64 + 0.75));
        let (gap, numbers) = match columns {
            1 => (0.0, &item.numbers),
            _ => (1.5, &item.short_numbers),
        };
        legend(&mut sheet, i, item, numbers, at, width - gap);
    }
    sheet.render()
}

const TOP: f64 = 14.0;
/// Lettering on the curves.
const LETTER: f64 = 2.6;

fn visible(t: &Item) -> impl Iterator<Item = (f64, f64)> {
    t.line.iter().copied().filter(|p| axis::shown(p.0))
}

/// The field that holds them all.
fn field(curves: &[Item], bottom: f64) -> Field {
    let bands = curves.iter().flat_map(|c| &c.band).filter(|b| axis::shown(b.0));
    let lines = curves.iter().flat_map(visible).map(|p| p.1);
    let ends = lay::ends(lines.chain(bands.flat_map(|b| [b.1, b.2])));
    let (top, floor) = ends.map_or((3.0, -3.0), |[floor, top]| (top.max(0.0), floor.min(0.0)));
    let low = floor.max(top.min(12.0) - 36.0).min(top - 9.0);
    let span = top - low;
    lay::field([TOP, bottom], [low - 0.02 * span, top + 0.1 * span])
}

fn curves(sheet: &mut Sheet, curves: &[Item], bottom: f64, vertical: &str) -> Reads {
    let field = field(curves, bottom);
    lay::grid(sheet, &field, axis::decibel_step(field.high - field.low, 9.0));
    for t in curves.iter().filter(|t| t.band.len() > 1) {
        lay::band(sheet, &field, t.band.iter().copied().filter(|b| axis::shown(b.0)));
    }
    // Narrow lines over wide ones, so that none hides another.
    let mut order: Vec<usize> = (0..curves.len()).collect();
    order.sort_by(|a, b| series(*b).0.width.total_cmp(&series(*a).0.width));
    for i in order {
        lay::curve(sheet, &field, curves[i].line.iter().copied(), series(i).0);
    }
    let mark = |sheet: &mut Sheet, i: usize, p: &(f64, f64), r: f64| {
        let (pen, marker) = series(i);
        let at = field.point(p.0, p.1);
        if field.holds(at) {
            marker.draw(sheet, at, r, pen.colour);
        }
    };
    for (i, t) in curves.iter().enumerate() {
        t.dots.iter().for_each(|p| mark(sheet, i, p, 0.55));
    }
    lay::framed(sheet, &field, vertical);
    for (i, t) in curves.iter().enumerate() {
        t.peak.iter().for_each(|p| mark(sheet, i, p, 1.05));
    }
    letters(sheet, &field, curves);
    let drawn = curves.iter().enumerate().filter(|(_, t)| t.line.len() > 1);
    let read = drawn.map(|(i, t)| reads::Curve::new(&words::letter(i), visible(t)));
    field.reads(read.collect())
}

fn letters(sheet: &mut Sheet, field: &Field, curves: &[Item]) {
    let drawn: Vec<(usize, &Item)> = curves.iter().enumerate().filter(|t| t.1.line.len() > 1).collect();
    let peaks = curves.iter().filter_map(|t| t.peak);
    let mut taken: Vec<Point> = peaks.map(|p| field.point(p.0, p.1)).collect();
    for (i, (index, t)) in drawn.iter().enumerate() {
        if let Some(at) = letter_place(field, t, i, drawn.len(), &taken) {
            letter(sheet, *index, at);
            taken.push(at);
        }
    }
}

/// On the curve: first where it falls behind the peak, each at another height, so that letters of curves that lie close
/// together stand above one another; else wherever there is room.
fn letter_place(field: &Field, t: &Item, i: usize, n: usize, taken: &[Point]) -> Option<Point> {
    let placed = visible(t).map(|(f, v)| field.point(f, v));
    let placed: Vec<Point> = placed.filter(|p| field.holds(*p)).collect();
    let margin = 2.0;
    let top = field.y(0.0).clamp(field.top, field.bottom) + margin;
    let height = top + (field.bottom - margin - top) * (i as f64 + 0.5) / n as f64;
    let crossing = placed.windows(2).rev().find_map(|w| {
        let (a, b) = (w[0], w[1]);
        (a.1 <= height && b.1 > height).then(|| {
            let s = (height - a.1) / (b.1 - a.1);
            (a.0 + s * (b.0 - a.0), height)
        })
    });
    let free = |p: &Point| {
        let inside = p.0 > field.left + margin && p.0 < field.right - margin;
        inside && taken.iter().all(|q| (p.0 - q.0).abs() > 2.6 || (p.1 - q.1).abs() > 2.7)
    };
    // Nowhere rather than on another: the legend has it too.
    crossing.into_iter().chain(placed.iter().rev().copied()).find(free)
}

fn letter(sheet: &mut Sheet, index: usize, at: Point) {
    let text = words::letter(index);
    let w = text_width(&text, LETTER) / 2.0 + 0.35;
    let h = LETTER / 2.0;
    sheet.area(rectangle([at.0 - w, at.0 + w], [at.1 - h, at.1 + h]), PAPER);
    let kind = Type::new(LETTER, INK, Anchor::Centre);
    sheet.text((at.0, at.1 + 0.36 * LETTER), &text, kind);
}

fn legend(sheet: &mut Sheet, index: usize, item: &Item, numbers: &str, at: Point, width: f64) {
    let (pen, marker) = series(index);
    let middle = at.1 - 0.36 * SMALL;
    let sample = 11.0;
    if !item.line.is_empty() {
        sheet.line(vec![(at.0, middle), (at.0 + sample, middle)], pen);
        if item.peak.is_some() {
            marker.draw(sheet, (at.0 + sample / 2.0, middle), 1.05, pen.colour);
        }
    }
    let kind = small(Anchor::Left);
    let mut x = at.0 + sample + 1.5;
    sheet.text((x, at.1), &words::letter(index), kind);
    x += 3.2;
    let right = at.0 + width;
    let numbers = fitted(numbers, SMALL, width * 0.75);
    sheet.text((right, at.1), &numbers, small(Anchor::Right));
    let room = right - text_width(&numbers, SMALL) - 2.0 - x - text_width(&item.mark, SMALL);
    let name = fitted(&item.name, SMALL, room.max(0.0));
    sheet.text((x, at.1), &format!("{name}{}", item.mark), kind);
}
