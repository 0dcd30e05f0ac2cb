//! Preferred values of parts and the letters of their tolerances: IEC 60063:2015 and IEC 60062:2016.

/// The series E12 of IEC 60063, in tenths.
const E12: [u32; 12] = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82];

/// The letters of IEC 60062, and what they stand for.
const LETTERS: &str = "ELPWBCDFGHJKMN";
const PER_CENT: [f64; 14] = [
    0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0,
];

/// The value of E12 nearest by ratio, the smaller of two as near; the value itself where it is not positive and finite.
pub fn nearest_e12(v: f64) -> f64 {
    if !(v > 0.0 && v.is_finite()) {
        return v;
    }
    let decade = v.log10().floor() as i32;
    // As the number that its digits stand for, read as text: 1.5e-9 is 1.5e-9.
    let value = |tenths: u32, decade: i32| format!("{tenths}e{}", decade - 1).parse().unwrap_or(f64::NAN);
    let off = |p: &f64| if *p < v { v / p } else { p / v };
    (decade - 1..=decade + 1)
        .flat_map(|d| E12.map(|tenths| value(tenths, d)))
        .min_by(|a, b| off(a).total_cmp(&off(b)))
        .unwrap_or(v)
}

/// Half-width, relative, of a tolerance letter of IEC 60062; `None` for a letter that it does not give one.
pub fn tolerance_letter(c: char) -> Option<f64> {
    LETTERS.find(c).map(|i| PER_CENT[i] / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Unit, parse};

    /// The series by IEC 60063:2015 (memory).
    #[test]
    fn nearest_by_ratio_and_to_the_last_bit() {
        for (v, want) in [
            (1.51e-9, 1.5e-9),
            (1.66e-9, 1.8e-9),
            (9.4e-9, 1e-8),
            (9.0e-9, 8.2e-9),
            (470e-12, 470e-12),
            (0.95, 1.0),
            (248e3, 270e3),
            (1e6, 1e6),
            (1.0, 1.0),
            (-1.0, -1.0),
        ] {
            assert_eq!(nearest_e12(v), want, "{v}");
        }
        assert!(nearest_e12(f64::NAN).is_nan());
        for v in [
            "10n", "12n", "15n", "18n", "22n", "27n", "33n", "39n", "47n", "56n", "68n", "82n",
        ] {
            let v = parse(v, Unit::Farad).unwrap();
            assert_eq!(nearest_e12(v * 1.01), v);
        }
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
