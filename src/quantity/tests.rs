use super::Unit::{self, *};
use super::reading::ABSOLUTE_ZERO_C;
use super::unit::ALL;
use super::*;
use proptest::prelude::*;

fn ok(text: &str, unit: Unit) -> f64 {
    parse(text, unit).unwrap_or_else(|e| panic!("{text}: {e}"))
}

fn err(text: &str, unit: Unit) -> String {
    match parse(text, unit) {
        Ok(v) => panic!("{text} was read as {v}"),
        Err(e) => e.to_string(),
    }
}

#[test]
fn reads_what_the_trade_writes() {
    for (text, unit, si) in [
        ("250k", Ohm, 250e3),
        ("250K", Ohm, 250e3),
        ("250 k", Ohm, 250e3),
        ("250k\u{3a9}", Ohm, 250e3),
        ("250 k\u{2126}", Ohm, 250e3),
        ("250kohm", Ohm, 250e3),
        ("1M", Ohm, 1e6),
        ("1Mohm", Ohm, 1e6),
        ("100mohm", Ohm, 0.1),
        ("6050", Ohm, 6050.0),
        ("6.05e3", Ohm, 6050.0),
        ("+6.05k", Ohm, 6050.0),
        ("470p", Farad, 470e-12),
        ("470pF", Farad, 470e-12),
        ("0.022u", Farad, 22e-9),
        (".022u", Farad, 22e-9),
        (".022uf", Farad, 22e-9),
        ("0.022\u{b5}F", Farad, 22e-9),
        ("0.022\u{3bc}", Farad, 22e-9),
        ("22n", Farad, 22e-9),
        ("470e-12", Farad, 470e-12),
        ("1F", Farad, 1.0),
        ("2.7H", Henry, 2.7),
        ("2.7", Henry, 2.7),
        ("500mH", Henry, 0.5),
        ("500m", Henry, 0.5),
        ("3.5kHz", Hertz, 3500.0),
        ("3.5 khz", Hertz, 3500.0),
        ("1k", Hertz, 1000.0),
        ("48000", Hertz, 48000.0),
        ("100ppm", Relative, 100e-6),
        ("5%", Relative, 0.05),
        ("-6dBFS", Dbfs, -6.0),
        ("\u{2212}6 dBFS", Dbfs, -6.0),
        ("-6", Dbfs, -6.0),
        ("3dB", Decibel, 3.0),
        ("21C", Celsius, 21.0),
        ("21\u{b0}C", Celsius, 21.0),
        ("-5", Celsius, -5.0),
        ("32F", Celsius, 0.0),
        ("212 \u{b0}F", Celsius, 100.0),
        ("-40F", Celsius, -40.0),
        ("5m", Metre, 5.0),
        ("5", Metre, 5.0),
        ("50cm", Metre, 0.5),
        ("52mm", Metre, 0.052),
        ("63um", Metre, 63e-6),
        // The foot is 0.3048 m by definition (1959).
        ("10ft", Metre, 3.048),
        ("70%", Rotation, 0.7),
        ("0.7", Rotation, 0.7),
        ("1", Rotation, 1.0),
        ("100p/m", FaradPerMetre, 100e-12),
        ("100 pF/m", FaradPerMetre, 100e-12),
        ("100p", FaradPerMetre, 100e-12),
        ("1p/cm", FaradPerMetre, 100e-12),
        ("100n/km", FaradPerMetre, 100e-12),
        ("30.48p/ft", FaradPerMetre, 100e-12),
        ("33u", Second, 33e-6),
        ("33us", Second, 33e-6),
        ("3", Second, 3.0),
        ("5ms", Second, 5e-3),
        ("2min", Second, 120.0),
    ] {
        let v = ok(text, unit);
        assert!((v - si).abs() <= 2e-16 * si.abs(), "{text}: {v} is not {si}");
    }
    assert!((ok("70F", Celsius) - 21.111_111_111_111_11).abs() < 1e-13);
}

/// Marks as IEC 60062 gives them for resistors and capacitors (its tables as recalled, not copied).
#[test]
fn reads_letter_marks() {
    for (mark, ohm) in [
        ("R10", 0.1),
        ("R332", 0.332),
        ("1R0", 1.0),
        ("4R7", 4.7),
        ("3R32", 3.32),
        ("10R", 10.0),
        ("33R2", 33.2),
        ("K10", 100.0),
        ("1K0", 1e3),
        ("4k7", 4.7e3),
        ("3K32", 3.32e3),
        ("33K2", 33.2e3),
        ("1M0", 1e6),
        ("3M32", 3.32e6),
        ("1G5", 1.5e9),
        ("1T0", 1e12),
        ("4k7 ohm", 4.7e3),
        ("4k7\u{3a9}", 4.7e3),
    ] {
        assert_eq!(ok(mark, Ohm), ohm, "{mark}");
    }
    for (mark, farad) in [
        ("p10", 0.1e-12),
        ("p332", 0.332e-12),
        ("1p0", 1e-12),
        ("33p2", 33.2e-12),
        ("n10", 0.1e-9),
        ("2n2", 2.2e-9),
        ("3n32", 3.32e-9),
        ("1\u{b5}0", 1e-6),
        ("1u5", 1.5e-6),
        ("3m32", 3.32e-3),
        ("2n2F", 2.2e-9),
    ] {
        assert_eq!(ok(mark, Farad), farad, "{mark}");
    }
    assert_eq!(ok("2H7", Henry), 2.7);
    assert_eq!(ok("3k5", Hertz), 3500.0);
    assert_eq!(ok("3k5Hz", Hertz), 3500.0);
    assert_eq!(ok("n1/m", FaradPerMetre), 1e-10);
    for bad in ["4k7k", "4k7m", "4.7k7", "4k7.1", "4x7", "4k7e3", "4R7F"] {
        err(bad, Ohm);
    }
    err("4R7", Farad);
    err("4n7p/m", FaradPerMetre);
    err("5m5", Metre);
}

/// IEC 60063: the E24 series holds every value of E12 and E6.
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2,
    9.1,
];

#[test]
fn reads_every_preferred_value_in_each_writing() {
    for e in E24 {
        // Digits without the point, so the expected number is an integer times a power of ten.
        let tens = (e * 10.0).round();
        let (a, b) = ((tens / 10.0).floor(), tens % 10.0);
        for (letter, back) in [("k", 1e2), ("M", 1e5)] {
            let want = tens * back;
            assert_eq!(ok(&format!("{e}{letter}"), Ohm), want);
            assert_eq!(ok(&format!("{a}{letter}{b}"), Ohm), want);
            assert_eq!(ok(&format!("{want}"), Ohm), want);
        }
        for (letter, smaller, back) in [("p", "f", 1e13), ("n", "p", 1e10), ("u", "n", 1e7)] {
            let want = tens / back;
            assert_eq!(ok(&format!("{e}{letter}"), Farad), want);
            assert_eq!(ok(&format!("{a}{letter}{b}"), Farad), want);
            if smaller != "f" {
                assert_eq!(ok(&format!("{}{smaller}", tens * 100.0), Farad), want);
            }
        }
    }
}

#[test]
fn refuses_and_says_what_would_be_understood() {
    for (text, unit, parts) in [
        ("22nF", Ohm, ["is a capacitance, not a resistance", "250k"]),
        ("250k", Farad, ["is a resistance, not a capacitance", "22n"]),
        ("2.7H", Ohm, ["is an inductance", "4k7"]),
        ("70F", Ohm, ["is a capacitance", "470"]),
        ("18ft", Farad, ["is a length", "470p"]),
        ("3.5kHz", Henry, ["is a frequency", "2.4H"]),
        ("21C", Hertz, ["is a temperature", "3.5kHz"]),
        ("250x", Ohm, ["\"x\" is no unit of it", "250k"]),
        ("4,7k", Ohm, ["comma", "decimal point"]),
        ("10,000", Ohm, ["comma", "thousands"]),
        ("", Ohm, ["is missing", "250k"]),
        ("  ", Farad, ["is missing", "22n"]),
        ("k", Ohm, ["is not a resistance", "250k"]),
        ("inf", Ohm, ["is not a resistance", "250k"]),
        ("NaN", Ohm, ["is not a resistance", "250k"]),
        ("1m", Ohm, ["m is milli, M is mega", "1M"]),
        ("22M", Farad, ["not a capacitance", "0.022u"]),
        ("-250k", Ohm, ["is negative", "250k"]),
        ("1e999", Ohm, ["too large", "250k"]),
        ("1.5", Rotation, ["beyond full rotation", "0%...100%"]),
        ("-0.1", Rotation, ["negative", "0...1"]),
        ("120%", Rotation, ["beyond", "0...1"]),
        ("-300C", Celsius, ["absolute zero", "21C"]),
        ("5k", Metre, ["not a length", "18ft"]),
        ("250k ohm extra", Ohm, ["no unit", "250k"]),
    ] {
        let e = err(text, unit);
        for p in parts {
            assert!(e.contains(p), "{text}: {e}");
        }
        assert!(!e.contains('\n'), "{e}");
    }
    let long = "1".repeat(5000);
    let e = err(&long, Ohm);
    assert!(e.contains("too long") && e.len() < 200, "{e}");
    // A terminal escape in the text does not reach the terminal.
    assert!(!err("5\u{1b}[31mk", Ohm).contains('\u{1b}'));
    assert!(parse_at("--ohms", "22n", Ohm).is_err_and(|e| e.what.starts_with("--ohms: \"22n\"")));
}

#[test]
fn shows_significant_digits_prefix_and_unit() {
    for (v, unit, digits, want) in [
        (3400.0, Hertz, 3, "3.40 kHz"),
        (470e-12, Farad, 3, "470 pF"),
        (22e-9, Farad, 2, "22 nF"),
        (22e-9, Farad, 3, "22.0 nF"),
        (0.022e-6, Farad, 1, "20 nF"),
        (1.5e-6, Farad, 2, "1.5 \u{b5}F"),
        (250e3, Ohm, 3, "250 k\u{3a9}"),
        (999.6, Ohm, 3, "1.00 k\u{3a9}"),
        (999.4, Ohm, 3, "999 \u{3a9}"),
        (0.1, Ohm, 2, "0.10 \u{3a9}"),
        (2.4, Henry, 3, "2.40 H"),
        (0.5e-3, Henry, 2, "500 \u{b5}H"),
        (0.0, Hertz, 3, "0.00 Hz"),
        (4187.331, Hertz, 5, "4.1873 kHz"),
        (-12.0, Dbfs, 1, "-12.0 dBFS"),
        (-0.04, Decibel, 1, "0.0 dB"),
        (21.11, Celsius, 1, "21.1 \u{b0}C"),
        (0.7, Rotation, 2, "70 %"),
        (1.0, Rotation, 3, "100 %"),
        (0.05, Relative, 1, "5 %"),
        (100e-6, Relative, 3, "100 ppm"),
        (100e-12, FaradPerMetre, 3, "100 pF/m"),
        (5.0, Metre, 2, "5.0 m"),
        (f64::NAN, Hertz, 3, "unknown"),
    ] {
        assert_eq!(show(v, unit, digits), want);
    }
}

#[test]
fn compact_is_what_one_would_type() {
    for (v, unit, want) in [
        (250e3, Ohm, "250k"),
        (4700.0, Ohm, "4.7k"),
        (1e6, Ohm, "1M"),
        (0.1, Ohm, "0.1"),
        (0.0, Farad, "0"),
        (470e-12, Farad, "470p"),
        (22e-9, Farad, "22n"),
        (2.4, Henry, "2.4H"),
        (3500.0, Hertz, "3.5kHz"),
        (33e-6, Second, "33us"),
        (5.0, Metre, "5m"),
        (0.5, Rotation, "0.5"),
        (-6.0, Dbfs, "-6dBFS"),
        (21.0, Celsius, "21C"),
        (100e-12, FaradPerMetre, "100p/m"),
    ] {
        assert_eq!(compact(v, unit), want);
    }
    assert_eq!(compact(ok("18ft", Metre), Metre), "18ft");
    assert_eq!(compact(ok("30p/ft", FaradPerMetre), FaradPerMetre), "30p/ft");
}

proptest! {
    // No file of failures beside the sources: a failure prints its input, which becomes a case of its own.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Exact, over all finite numbers that the quantity can have, the smallest and largest included.
    #[test]
    fn compact_reads_back_exactly(bits in any::<u64>(), mantissa in 1u32..100_000, exp in -18i32..9, which in 0usize..ALL.len()) {
        let unit = ALL[which];
        let typed: f64 = format!("{mantissa}e{exp}").parse().unwrap_or(0.0);
        for x in [f64::from_bits(bits), typed, -typed] {
            let possible = x.is_finite()
                && (x >= 0.0 || unit.may_be_negative())
                && (unit != Rotation || x <= 1.0)
                && (unit != Celsius || x >= ABSOLUTE_ZERO_C);
            if possible {
                let text = compact(x, unit);
                prop_assert_eq!(parse(&text, unit), Ok(x), "{}", text);
            }
        }
    }

    /// What is shown is within half a unit of its last digit, by way of the reader.
    #[test]
    fn shown_value_is_rounded_once(mantissa in 1.0f64..10.0, exp in -11i32..8, which in 0usize..ALL.len()) {
        let unit = ALL[which];
        let x = mantissa * 10f64.powi(exp);
        if !matches!(unit, Celsius | Dbfs | Decibel | Rotation) {
            let back = parse(&show(x, unit, 4), unit).map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert!((back - x).abs() <= 0.5001e-3 * 10f64.powi(exp), "{} -> {}", x, show(x, unit, 4));
        }
    }

    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,20}", digits in "[-+0-9.eEkKMmunpRFHz%/\u{b5}\u{3a9}]{0,12}") {
        for unit in ALL {
            for t in [&text, &digits] {
                if let Ok(v) = parse(t, unit) {
                    prop_assert!(v.is_finite());
                }
            }
        }
    }
}
