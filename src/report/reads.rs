//! What a pointer on a drawing can read off its curves.

use serde::Serialize;

/// A field of the drawing with frequency to the right (logarithmic) and a linear quantity upwards.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Reads {
    /// Left and right end, upper and lower one, in millimetres on the sheet.
    pub across_mm: [f64; 2],
    pub down_mm: [f64; 2],
    /// What stands at these ends.
    pub hz: [f64; 2],
    pub db: [f64; 2],
    pub curves: Vec<Curve>,
}

/// (hertz, decibels), as far as they are in the field; a name where there are several.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Curve {
    pub name: String,
    pub points: Vec<(f64, f64)>,
}

impl Curve {
    /// Points from left to right, those that are numbers; no more digits than a pointer can hit.
    pub fn new(name: &str, points: impl Iterator<Item = (f64, f64)>) -> Curve {
        let round = |v: f64, to: f64| (v / to).round() * to;
        Curve {
            name: name.into(),
            points: points
                .filter(|p| p.0.is_finite() && p.1.is_finite())
                .map(|(hz, db)| (round(hz, 0.1), round(db * 1e3, 1.0) / 1e3))
                .collect(),
        }
    }
}
