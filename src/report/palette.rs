//! Colours, dashes and markers. Every series can be told apart in black and white too.

use super::sheet::{Pen, Point, Rgb, Sheet};

pub const INK: Rgb = Rgb(20, 20, 24);
pub const SOFT: Rgb = Rgb(84, 86, 92);
pub const GRID: Rgb = Rgb(222, 223, 226);
pub const FRAME: Rgb = Rgb(120, 122, 128);
pub const PAPER: Rgb = Rgb(255, 255, 255);

pub const MEASURED: Pen = Pen::solid(Rgb(92, 140, 178), 0.85);
pub const MODEL: Pen = Pen::new(INK, 0.32, &[1.7, 0.9]);
/// The 95 % band, light enough for the curve on it.
pub const BAND: Rgb = Rgb(208, 220, 229);
/// Where the model was fitted.
pub const FITTED: Rgb = Rgb(247, 243, 228);
pub const PEAK: Rgb = Rgb(160, 36, 24);
pub const F0: Rgb = Rgb(30, 96, 60);
pub const F0_LINE: Pen = Pen::new(F0, 0.25, &[1.4, 0.6, 0.3, 0.6]);

const SOLID: &[f64] = &[];
const DASHED: &[f64] = &[2.6, 1.1];
const DOTTED: &[f64] = &[0.5, 0.8];
const DASH_DOT: &[f64] = &[2.6, 0.8, 0.5, 0.8];
const SHORT: &[f64] = &[1.2, 0.8];
const LONG: &[f64] = &[5.0, 1.2];

/// Curves in an overlay.
pub const SERIES: [(Pen, Marker); 12] = [
    (Pen::new(INK, 0.5, SOLID), Marker::Dot),
    (Pen::new(Rgb(24, 98, 160), 0.45, DASHED), Marker::Square),
    (Pen::new(Rgb(176, 60, 20), 0.45, SHORT), Marker::Up),
    (Pen::new(Rgb(30, 120, 76), 0.45, DASH_DOT), Marker::Diamond),
    (Pen::new(Rgb(130, 58, 140), 0.5, DOTTED), Marker::Down),
    (Pen::new(Rgb(140, 100, 10), 0.45, LONG), Marker::Cross),
    (Pen::new(Rgb(110, 114, 122), 0.75, SOLID), Marker::Ring),
    (Pen::new(Rgb(86, 156, 206), 0.75, DASHED), Marker::OpenSquare),
    (Pen::new(Rgb(222, 128, 84), 0.75, SHORT), Marker::OpenUp),
    (Pen::new(Rgb(96, 178, 130), 0.75, DASH_DOT), Marker::OpenDiamond),
    (Pen::new(Rgb(190, 128, 198), 0.8, DOTTED), Marker::OpenDown),
    (Pen::new(Rgb(204, 168, 80), 0.75, LONG), Marker::Plus),
];

/// Of the curve at this place, over and over.
pub fn series(index: usize) -> (Pen, Marker) {
    SERIES[index % SERIES.len()]
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Marker {
    Dot,
    Ring,
    Square,
    OpenSquare,
    Up,
    OpenUp,
    Down,
    OpenDown,
    Diamond,
    OpenDiamond,
    Cross,
    Plus,
}

impl Marker {
    /// `r` is about half the marker's height, in millimetres.
    pub fn draw(self, sheet: &mut Sheet, at: Point, r: f64, colour: Rgb) {
        use Marker::*;
        let mut strokes = |both: [[Point; 2]; 2]| {
            for pen in [Pen::solid(PAPER, r * 0.95), Pen::solid(colour, r * 0.45)] {
                for s in both {
                    sheet.line(s.map(|p| (at.0 + r * p.0, at.1 + r * p.1)).to_vec(), pen);
                }
            }
        };
        let outline: Vec<Point> = match self {
            Dot | Ring => (0..24)
                .map(|i| f64::from(i) / 24.0 * std::f64::consts::TAU)
                .map(|a| (0.9 * a.cos(), 0.9 * a.sin()))
                .collect(),
            Square | OpenSquare => vec![(-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)],
            Up | OpenUp => vec![(0.0, -1.1), (1.0, 0.7), (-1.0, 0.7)],
            Down | OpenDown => vec![(0.0, 1.1), (1.0, -0.7), (-1.0, -0.7)],
            Diamond | OpenDiamond => vec![(0.0, -1.2), (1.0, 0.0), (0.0, 1.2), (-1.0, 0.0)],
            Cross => return strokes([[(-0.8, -0.8), (0.8, 0.8)], [(-0.8, 0.8), (0.8, -0.8)]]),
            Plus => return strokes([[(-1.1, 0.0), (1.1, 0.0)], [(0.0, -1.1), (0.0, 1.1)]]),
        };
        let placed = |k: f64| -> Vec<Point> { outline.iter().map(|p| (at.0 + k * p.0, at.1 + k * p.1)).collect() };
        // A rim of paper sets the marker off from the lines below it.
        sheet.area(placed(r * 1.3), PAPER);
        sheet.area(placed(r), colour);
        if matches!(self, Ring | OpenSquare | OpenUp | OpenDown | OpenDiamond) {
            sheet.area(placed(r * 0.55), PAPER);
        }
    }
}
