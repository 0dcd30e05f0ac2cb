//! Preferred values of parts and the letters of their tolerances: IEC 60063:2015 and IEC 60062:2016.

/// The series of IEC 60063, by the number of values in a decade.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Series {
    E3,
    E6,
    E12,
    E24,
    E48,
    E96,
    E192,
}

/// Hundredths. E3, E6 and E12 are every eighth, fourth and second of these.
const E24: [u32; 24] = [
    100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300, 330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820,
    910,
];

impl Series {
    /// One decade, in hundredths from 100.
    fn decade(self) -> Vec<u32> {
        let coarse = |step: usize| E24.iter().copied().step_by(step).collect();
        let fine = |n: u32| {
            (0..n)
                .map(|i| match (n, i) {
                    // The one value of the standard that is not the rounded root: 9.19 by the rule.
                    (192, 185) => 920,
                    _ => (100.0 * 10f64.powf(f64::from(i) / f64::from(n))).round() as u32,
                })
                .collect()
        };
        match self {
            Series::E3 => coarse(8),
            Series::E6 => coarse(4),
            Series::E12 => coarse(2),
            Series::E24 => coarse(1),
            Series::E48 => fine(48),
            Series::E96 => fine(96),
            Series::E192 => fine(192),
        }
    }
}

/// `hundredths` of a decade as the number that its digits stand for: read as text, so that 1.5e-9 is 1.5e-9.
fn value(hundredths: u32, decade: i32) -> f64 {
    format!("{hundredths}e{}", decade - 2).parse().unwrap_or(f64::NAN)
}

/// The preferred values next to a value: the largest that is not above it, and the smallest that is above. `None` unless the
/// value is positive and finite.
pub fn neighbours(v: f64, series: Series) -> Option<(f64, f64)> {
    if !(v > 0.0 && v.is_finite()) {
        return None;
    }
    let decade = v.log10().floor() as i32;
    let values = series.decade();
    let around = (decade - 1..=decade + 1).flat_map(|d| values.iter().map(move |h| value(*h, d)));
    let (mut below, mut above) = (f64::NEG_INFINITY, f64::INFINITY);
    for p in around {
        // A value that has gone through a prefix may miss its own digits by the last bit.
        if p <= v * (1.0 + 1e-12) {
            below = below.max(p);
        } else {
            above = above.min(p);
        }
    }
    (below.is_finite() && above.is_finite()).then_some((below, above))
}

/// The preferred value nearest by ratio; the value itself where it is not positive and finite.
pub fn nearest(v: f64, series: Series) -> f64 {
    match neighbours(v, series) {
        Some((below, above)) if v / below <= above / v => below,
        Some((_, above)) => above,
        None => v,
    }
}

/// Half-width, relative, of a tolerance letter of IEC 60062; `None` for a letter that it does not give one.
pub fn tolerance_letter(c: char) -> Option<f64> {
    let per_cent = match c {
        'E' => 0.005,
        'L' => 0.01,
        'P' => 0.02,
        'W' => 0.05,
        'B' => 0.1,
        'C' => 0.25,
        'D' => 0.5,
        'F' => 1.0,
        'G' => 2.0,
        'H' => 3.0,
        'J' => 5.0,
        'K' => 10.0,
        'M' => 20.0,
        'N' => 30.0,
        _ => return None,
    };
    Some(per_cent / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Unit, parse};

    /// IEC 60063:2015 (memory).
    #[test]
    fn series_of_the_standard() {
        let tens = |v: &[u32]| v.iter().map(|x| x * 10).collect::<Vec<_>>();
        assert_eq!(Series::E3.decade(), tens(&[10, 22, 47]));
        assert_eq!(Series::E6.decade(), tens(&[10, 15, 22, 33, 47, 68]));
        assert_eq!(
            Series::E12.decade(),
            tens(&[10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82])
        );
        #[rustfmt::skip]
        let e48 = [
            100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169, 178, 187, 196, 205, 215, 226, 237, 249, 261, 274, 287,
            301, 316, 332, 348, 365, 383, 402, 422, 442, 464, 487, 511, 536, 562, 590, 619, 649, 681, 715, 750, 787, 825, 866,
            909, 953,
        ];
        assert_eq!(Series::E48.decade(), e48);
        let e96 = Series::E96.decade();
        assert_eq!(e96.iter().copied().step_by(2).collect::<Vec<_>>(), e48);
        assert_eq!([e96[1], e96[47], e96[95]], [102, 309, 976]);
        let e192 = Series::E192.decade();
        assert_eq!(e192.iter().copied().step_by(2).collect::<Vec<_>>(), e96);
        assert_eq!([e192[1], e192[185], e192[191]], [101, 920, 988]);
    }

    #[test]
    fn nearest_by_ratio_and_to_the_last_bit() {
        for (v, series, want) in [
            (1.51e-9, Series::E12, 1.5e-9),
            (1.66e-9, Series::E12, 1.8e-9),
            (9.4e-9, Series::E12, 1e-8),
            (9.0e-9, Series::E12, 8.2e-9),
            (470e-12, Series::E6, 470e-12),
            (22e-9, Series::E3, 22e-9),
            (248e3, Series::E24, 240e3),
            (250e3, Series::E96, 249e3),
            (1e6, Series::E192, 1e6),
            (1.0, Series::E24, 1.0),
        ] {
            assert_eq!(nearest(v, series), want, "{v}");
        }
        assert_eq!(neighbours(4.7e-12, Series::E12), Some((4.7e-12, 5.6e-12)));
        assert_eq!(neighbours(0.999, Series::E3), Some((0.47, 1.0)));
        assert_eq!(neighbours(-1.0, Series::E3), None);
        assert!(nearest(f64::NAN, Series::E3).is_nan());
    }

    /// Markings as they are printed on parts, IEC 60062:2016 (memory).
    #[test]
    fn markings_of_the_standard() {
        for (text, want) in [
            ("R47", 0.47),
            ("4R7", 4.7),
            ("47R", 47.0),
            ("470R", 470.0),
            ("4K7", 4700.0),
            ("47K", 47e3),
            ("470K", 470e3),
            ("M47", 470e3),
            ("4M7", 4.7e6),
            ("10M", 10e6),
            ("1K5", 1500.0),
            ("R01", 0.01),
        ] {
            assert_eq!(parse(text, Unit::Ohm), Ok(want), "{text}");
        }
        for (text, want) in [
            ("p10", 0.1e-12),
            ("p47", 0.47e-12),
            ("4p7", 4.7e-12),
            ("47p", 47e-12),
            ("470p", 470e-12),
            ("n47", 470e-12),
            ("4n7", 4.7e-9),
            ("47n", 47e-9),
            ("u47", 470e-9),
            ("µ47", 470e-9),
            ("4u7", 4.7e-6),
            ("4µ7", 4.7e-6),
        ] {
            assert_eq!(parse(text, Unit::Farad), Ok(want), "{text}");
        }
    }

    /// IEC 60062:2016 (memory).
    #[test]
    fn letters_of_tolerance() {
        for (c, want) in [
            ('F', 0.01),
            ('G', 0.02),
            ('J', 0.05),
            ('K', 0.1),
            ('M', 0.2),
            ('B', 0.001),
            ('D', 0.005),
        ] {
            assert_eq!(tolerance_letter(c), Some(want));
        }
        assert_eq!(tolerance_letter('Z'), None);
        assert_eq!(tolerance_letter('f'), None);
    }
}
