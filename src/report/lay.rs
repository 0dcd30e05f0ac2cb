//! What all plots share: the measures of the sheet, headings, fields and their curves.

use super::axis::{FREQUENCY_TICKS, Field, HIGH_HZ, LOW_HZ};
use super::palette::{FRAME, GRID, INK, PAPER, SOFT};
use super::sheet::{Anchor, Pen, Point, Sheet, Type, fitted, text_width};

pub(super) const WIDTH: u32 = 148;
pub(super) const HEIGHT: u32 = 105;
pub(super) const LEFT: f64 = 15.0;
pub(super) const RIGHT: f64 = 144.0;
/// Outer margin of the lettering.
pub(super) const MARGIN: f64 = 4.0;
pub(super) const EDGE: f64 = WIDTH as f64 - MARGIN;
/// 7 points.
pub(super) const SMALL: f64 = 2.47;
pub(super) const NUMBERS: f64 = 2.8;
pub(super) const TITLE: f64 = 4.0;

/// Title and a remark below it, on a sheet that is not one record's.
pub(super) fn heading(sheet: &mut Sheet, title: &str, remark: &str, simulated: bool) {
    let mut room = EDGE - MARGIN;
    if simulated {
        room -= simulated_stamp(sheet);
    }
    let title = fitted(title, 3.6, room);
    sheet.text((MARGIN, 6.6), &title, Type::new(3.6, INK, Anchor::Left));
    let remark = fitted(remark, SMALL, EDGE - MARGIN);
    sheet.text((MARGIN, 11.0), &remark, Type::new(SMALL, SOFT, Anchor::Left));
}

/// In the upper right corner; returns the room it takes.
pub(super) fn simulated_stamp(sheet: &mut Sheet) -> f64 {
    let text = "SIMULATED";
    let w = text_width(text, NUMBERS);
    let x = EDGE - w - 1.2;
    sheet.text((x, 6.4), text, Type::new(NUMBERS, INK, Anchor::Left));
    let (l, r, t, b) = (x - 1.2, EDGE, 3.4, 7.4);
    let corners = [(l, t), (r, t), (r, b), (l, b)];
    for i in 0..4 {
        sheet.line(vec![corners[i], corners[(i + 1) % 4]], Pen::solid(INK, 0.25));
    }
    w + 5.0
}

pub(super) fn grid(sheet: &mut Sheet, field: &Field, ticks: &[(f64, String)]) {
    let thin = Pen::solid(GRID, 0.15);
    for (f, _) in FREQUENCY_TICKS {
        let x = field.x(f);
        sheet.line(vec![(x, field.top), (x, field.bottom)], thin);
    }
    for (v, label) in ticks {
        let y = field.y(*v);
        let pen = if *v == 0.0 { Pen::solid(FRAME, 0.2) } else { thin };
        sheet.line(vec![(field.left, y), (field.right, y)], pen);
        sheet.text(
            (field.left - 1.0, y + 0.36 * SMALL),
            label,
            Type::new(SMALL, INK, Anchor::Right),
        );
    }
}

pub(super) fn frame(sheet: &mut Sheet, f: &Field) {
    // Thick lines end in the middle of the frame; what sticks out is covered.
    let w = 0.9;
    for (l, r, t, b) in [
        (f.left - w, f.right + w, f.top - w, f.top),
        (f.left - w, f.right + w, f.bottom, f.bottom + w),
        (f.left - w, f.left, f.top, f.bottom),
        (f.right, f.right + w, f.top, f.bottom),
    ] {
        sheet.area(vec![(l, t), (r, t), (r, b), (l, b)], PAPER);
    }
    let pen = Pen::solid(FRAME, 0.25);
    let corners = [
        (f.left, f.top),
        (f.right, f.top),
        (f.right, f.bottom),
        (f.left, f.bottom),
    ];
    for i in 0..4 {
        sheet.line(vec![corners[i], corners[(i + 1) % 4]], pen);
    }
    // Small strokes at the frequencies between the round ones.
    for decade in [100.0, 1000.0, 10_000.0] {
        for k in 1..10 {
            let hz = decade * f64::from(k);
            if (LOW_HZ..=HIGH_HZ).contains(&hz) {
                let x = f.x(hz);
                sheet.line(vec![(x, f.bottom - 0.8), (x, f.bottom)], Pen::solid(FRAME, 0.2));
            }
        }
    }
}

pub(super) fn frequency_labels(sheet: &mut Sheet, field: &Field) {
    for (f, label) in FREQUENCY_TICKS {
        sheet.text(
            (field.x(f), field.bottom + 3.0),
            label,
            Type::new(SMALL, INK, Anchor::Centre),
        );
    }
    sheet.text(
        ((field.left + field.right) / 2.0, field.bottom + 6.6),
        "frequency (Hz)",
        Type::new(SMALL, INK, Anchor::Centre),
    );
}

pub(super) fn vertical_title(sheet: &mut Sheet, field: &Field, text: &str) {
    let kind = Type {
        vertical: true,
        ..Type::new(SMALL, INK, Anchor::Centre)
    };
    sheet.text((MARGIN + 0.8, (field.top + field.bottom) / 2.0), text, kind);
}

/// Draws a line, clipped, and returns what is visible of it.
pub(super) fn curve(
    sheet: &mut Sheet,
    field: &Field,
    points: impl Iterator<Item = (f64, f64)>,
    pen: Pen,
) -> Vec<Vec<Point>> {
    let placed: Vec<Point> = points.map(|(f, v)| field.point(f, v)).collect();
    let parts = field.clip(&placed);
    for part in &parts {
        sheet.line(part.clone(), pen);
    }
    parts
}

pub(super) fn interpolate(line: &[(f64, f64)], hz: f64) -> Option<f64> {
    let i = line.partition_point(|p| p.0 < hz);
    let b = line.get(i)?;
    if b.0 == hz || i == 0 {
        return (b.0 == hz).then_some(b.1);
    }
    let a = line.get(i - 1)?;
    let t = (hz / a.0).ln() / (b.0 / a.0).ln();
    Some(a.1 + t * (b.1 - a.1))
}
