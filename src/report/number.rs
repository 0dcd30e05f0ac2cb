//! Numbers for people: units scaled, digits no finer than the uncertainty allows, every interval marked "(95 %)".

use crate::estimate::Estimate;

/// Stands before an interval's half-width, on the screen and in plots alike.
pub const PLUS_MINUS: &str = "±";
/// Follows every interval.
pub const LEVEL: &str = "(95 %)";
/// The same where a usual value, which promises nothing, is in it.
const USUAL: &str = "(95 %, usual)";

/// What follows an interval; `usual`: a usual value is in it.
pub fn level(usual: bool) -> &'static str {
    if usual { USUAL } else { LEVEL }
}

/// What a number counts, and so how it is scaled and rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    Hertz,
    /// A level or a height: always with its sign.
    Decibel,
    /// A pure number such as Q.
    Ratio,
    Henry,
    Ohm,
    Farad,
    Second,
}

struct Rules {
    symbol: &'static str,
    /// Powers of 1000 that are in use with this unit, one at the least.
    prefixes: &'static [(i32, &'static str)],
    /// More decimals than this and the next smaller prefix is taken.
    comfortable: usize,
    /// More decimals than this are never shown: the half-width is rounded up instead.
    most: usize,
}

impl Unit {
    fn rules(self) -> Rules {
        const NONE: &[(i32, &str)] = &[(0, "")];
        const SMALL: &[(i32, &str)] = &[(-3, "n"), (-2, "µ"), (-1, "m"), (0, "")];
        let (symbol, prefixes, comfortable, most): (_, &[_], _, _) = match self {
            Unit::Hertz => ("Hz", &[(0, ""), (1, "k"), (2, "M")], 2, 3),
            Unit::Decibel => ("dB", NONE, 3, 3),
            Unit::Ratio => ("", NONE, 5, 5),
            Unit::Henry => ("H", SMALL, 3, 3),
            Unit::Ohm => ("Ω", &[(-1, "m"), (0, ""), (1, "k"), (2, "M"), (3, "G")], 3, 3),
            Unit::Farad => ("F", &[(-4, "p"), (-3, "n"), (-2, "µ"), (-1, "m"), (0, "")], 3, 3),
            Unit::Second => ("s", SMALL, 3, 3),
        };
        Rules {
            symbol,
            prefixes,
            comfortable,
            most,
        }
    }
}

/// "3402.31 ± 0.81 Hz (95 %)"; "1.83 Hz, uncertainty not known" where u is zero.
pub fn interval(e: &Estimate, unit: Unit) -> String {
    match core(e.value, e.half_width_95(), unit) {
        Some(s) => format!("{s} {LEVEL}"),
        None => format!("{}, uncertainty not known", short(e.value, unit)),
    }
}

/// As [`interval`] without its "(95 %)", for where one mark serves several.
pub fn bare_interval(e: &Estimate, unit: Unit) -> String {
    within(e.value, e.half_width_95(), unit)
}

/// The same of a half-width that is known already.
pub fn within(value: f64, half: f64, unit: Unit) -> String {
    core(value, half, unit).unwrap_or_else(|| format!("{}, u not known", short(value, unit)))
}

/// Without its sign.
pub fn unsigned(e: &Estimate) -> Estimate {
    let value = e.value.abs();
    Estimate { value, ..*e }
}

/// Nothing at a bench is told apart below this; more digits would only be read as a boast. Files and details keep all.
fn finest(unit: Unit) -> f64 {
    match unit {
        Unit::Hertz => 0.1,
        Unit::Decibel => 0.01,
        Unit::Ratio => 0.001,
        _ => 0.0,
    }
}

fn core(value: f64, half: f64, unit: Unit) -> Option<String> {
    let half = if half > 0.0 { half.max(finest(unit)) } else { half };
    if !(half > 0.0 && half.is_finite() && value.is_finite()) {
        return None;
    }
    let rules = unit.rules();
    let sign = if unit == Unit::Decibel && value >= 0.0 { "+" } else { "" };
    if !(1e-15..1e12).contains(&half) || value.abs() >= 1e12 {
        let (v, h) = (value, half);
        return Some(join(&format!("{sign}{v:.2e} {PLUS_MINUS} {h:.1e}"), rules.symbol));
    }
    let (power, prefix) = prefix_for(value.abs().max(half), half, &rules);
    let k = 1000f64.powi(-power);
    let (v, h) = (value * k, half * k);
    let wanted = decimals_for_two_digits(h);
    let body = if wanted >= 0 {
        let shown = (wanted as usize).min(rules.most);
        // Where digits are cut, the half-width goes up, never down.
        let cut = 10f64.powi(shown as i32);
        let h = if wanted > shown as i32 {
            (h * cut).ceil() / cut
        } else {
            h
        };
        format!("{sign}{} {PLUS_MINUS} {h:.shown$}", plain_zero(format!("{v:.shown$}")))
    } else {
        let grain = 10f64.powi(-wanted);
        let v = (v / grain).round() * grain;
        let h = (h / grain).round() * grain;
        format!("{sign}{} {PLUS_MINUS} {h:.0}", plain_zero(format!("{v:.0}")))
    };
    Some(join(&body, &format!("{prefix}{}", rules.symbol)))
}

/// The prefix that suits the size, or a smaller one where the half-width would need too many decimals.
fn prefix_for(size: f64, half: f64, rules: &Rules) -> (i32, &'static str) {
    let mut best = rules.prefixes[0];
    for &(power, prefix) in rules.prefixes {
        let k = 1000f64.powi(-power);
        let crowded = decimals_for_two_digits(half * k) > rules.comfortable as i32;
        // Five digits before the point are still read easily, seven are not.
        if size * k < 0.9995 || crowded && size * 1000f64.powi(-best.0) < 1e5 {
            break;
        }
        best = (power, prefix);
    }
    best
}

/// Decimals that leave two significant digits, counted after rounding (0.0996 is 0.10); negative: tens, hundreds.
pub(super) fn decimals_for_two_digits(x: f64) -> i32 {
    1 - decimal_exponent(x, 1)
}

fn decimal_exponent(x: f64, decimals: usize) -> i32 {
    format!("{x:.decimals$e}")
        .rsplit_once('e')
        .and_then(|(_, e)| e.parse().ok())
        .unwrap_or(0)
}

/// At a glance: "3.40 kHz", "+9.2 dB", "2.95". Three digits, decibels with one decimal.
pub fn short(value: f64, unit: Unit) -> String {
    if unit != Unit::Decibel || !value.is_finite() {
        return digits(value, unit, 3);
    }
    if value.abs() >= 1e6 {
        return format!("{value:+.1e} dB");
    }
    let s = plain_zero(format!("{value:.1}"));
    let sign = if s.starts_with('-') { "" } else { "+" };
    format!("{sign}{s} dB")
}

pub fn hz(value: f64) -> String {
    short(value, Unit::Hertz)
}

pub fn db(value: f64) -> String {
    short(value, Unit::Decibel)
}

/// At a glance, and no digit finer than the half-width's first.
pub fn sure(value: f64, half: f64, unit: Unit) -> String {
    if !(half.is_finite() && half > 0.0) {
        return short(value, unit);
    }
    let n = 1 + decimal_exponent(value, 0) - decimal_exponent(half, 0);
    digits(value, unit, n.clamp(1, 3))
}

/// As typed in or nearly: four digits, "6.050 kΩ".
pub fn four_digits(value: f64, unit: Unit) -> String {
    digits(value, unit, 4)
}

fn digits(value: f64, unit: Unit, n: i32) -> String {
    let (size, rules) = (value.abs(), unit.rules());
    if !size.is_finite() {
        return "?".into();
    }
    if size == 0.0 {
        return join("0", rules.symbol);
    }
    let exponent = |v: f64| decimal_exponent(v, (n - 1).max(0) as usize);
    // 999.6 with three digits is already 1.00 of the next prefix.
    let fits = rules
        .prefixes
        .iter()
        .rfind(|p| exponent(size * 1000f64.powi(-p.0)) >= 0);
    let (power, prefix) = fits.unwrap_or(&rules.prefixes[0]);
    let v = value * 1000f64.powi(-power);
    // A pure number of many places is not made longer by them.
    let most = if unit == Unit::Ratio { n - 1 } else { i32::MAX };
    let body = match exponent(v) {
        e if !(-3..6).contains(&e) => format!("{v:.2e}"),
        e => format!("{v:.*}", (n - 1 - e).max(0).min(most) as usize),
    };
    join(&plain_zero(body), &format!("{prefix}{}", rules.symbol))
}

/// Up to seven digits, for values that stand beside their u.
pub fn six(x: f64) -> String {
    match x.abs() {
        0.0 => "0".into(),
        a if !(1e-3..1e7).contains(&a) => format!("{x:.6e}"),
        a => format!("{x:.*}", (6 - a.log10().floor() as i32).clamp(0, 9) as usize),
    }
}

/// Per cent by which a value is off whose natural logarithm is off by this.
pub fn per_cent_of_log(d: f64) -> f64 {
    100.0 * d.exp_m1()
}

/// A difference as it is shown, and in what: of one that is compared by its logarithm per cent, else decibels.
pub fn apart(relative: bool, d: f64) -> (f64, &'static str) {
    match relative {
        true => (per_cent_of_log(d), "%"),
        false => (d, "dB"),
    }
}

/// The same of a limit, or of how well something is known.
pub fn size(relative: bool, d: f64) -> (f64, &'static str) {
    match relative {
        true => (100.0 * d, "%"),
        false => (d, "dB"),
    }
}

/// Which way something is off.
pub fn way(d: f64) -> &'static str {
    if d < 0.0 { "lower" } else { "higher" }
}

pub fn two(x: f64) -> String {
    match x.abs() {
        0.0 => "0".into(),
        a if !(1e-4..1e5).contains(&a) => format!("{x:.1e}"),
        a => format!("{x:.*}", (1 - a.log10().floor() as i32).clamp(0, 6) as usize),
    }
}

pub fn two_or_more(x: f64) -> String {
    if x.abs() < 1e6 {
        format!("{x:.2}")
    } else {
        format!("{x:.2e}")
    }
}

/// A pure number stands alone.
fn join(number: &str, unit: &str) -> String {
    format!("{number} {unit}").trim_end().to_owned()
}

/// "-0.0" is "0.0".
fn plain_zero(s: String) -> String {
    match s.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_string(),
        _ => s,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Z95;

    /// With a half-width of the 95 % interval instead of u.
    fn e(value: f64, half: f64) -> Estimate {
        Estimate {
            value,
            u: half / Z95,
            u_noise: half / Z95,
        }
    }

    #[test]
    fn two_digits_of_the_half_width() {
        for (value, half, unit, want) in [
            (3402.3149, 0.81, Unit::Hertz, "3402.31 ± 0.81 Hz (95 %)"),
            (3402.3149, 34.0, Unit::Hertz, "3402 ± 34 Hz (95 %)"),
            (3402.3149, 251.0, Unit::Hertz, "3.40 ± 0.25 kHz (95 %)"),
            (3402.3149, 5012.0, Unit::Hertz, "3.4 ± 5.0 kHz (95 %)"),
            (3402.3149, 0.0996, Unit::Hertz, "3402.31 ± 0.10 Hz (95 %)"),
            // Finer than a tenth of a hertz: nothing at a bench is told apart there.
            (3402.3149, 0.00011, Unit::Hertz, "3402.31 ± 0.10 Hz (95 %)"),
            (440.0, 0.6, Unit::Hertz, "440.00 ± 0.60 Hz (95 %)"),
            (9.2137, 0.031, Unit::Decibel, "+9.214 ± 0.031 dB (95 %)"),
            (-20.04, 0.6, Unit::Decibel, "-20.04 ± 0.60 dB (95 %)"),
            (-0.0004, 0.1, Unit::Decibel, "0.00 ± 0.10 dB (95 %)"),
            (2.9531, 0.0098, Unit::Ratio, "2.9531 ± 0.0098 (95 %)"),
            (2.9531, 0.4, Unit::Ratio, "2.95 ± 0.40 (95 %)"),
            (5.1234e-3, 0.07e-3, Unit::Henry, "5.123 ± 0.070 mH (95 %)"),
            (2.4, 0.2, Unit::Henry, "2.40 ± 0.20 H (95 %)"),
            (120.4e-12, 3e-12, Unit::Farad, "120.4 ± 3.0 pF (95 %)"),
            (0.0, 0.5, Unit::Hertz, "0.00 ± 0.50 Hz (95 %)"),
            (12345.0, 120.0, Unit::Ratio, "12350 ± 120 (95 %)"),
        ] {
            assert_eq!(interval(&e(value, half), unit), want);
        }
        assert_eq!(
            interval(&e(3402.3, 0.0), Unit::Hertz),
            "3.40 kHz, uncertainty not known"
        );
        assert_eq!(bare_interval(&e(3402.3, 0.0), Unit::Hertz), "3.40 kHz, u not known");
    }

    #[test]
    fn at_a_glance() {
        for (value, unit, want) in [
            (3402.3, Unit::Hertz, "3.40 kHz"),
            (999.6, Unit::Hertz, "1.00 kHz"),
            (999.4, Unit::Hertz, "999 Hz"),
            (12_345.0, Unit::Hertz, "12.3 kHz"),
            (9.24, Unit::Decibel, "+9.2 dB"),
            (-0.04, Unit::Decibel, "+0.0 dB"),
            (-6.06, Unit::Decibel, "-6.1 dB"),
            (2.953, Unit::Ratio, "2.95"),
            (0.2002, Unit::Ratio, "0.20"),
            (17.68, Unit::Ratio, "17.7"),
            (6050.0, Unit::Ohm, "6.05 kΩ"),
            (1e6, Unit::Ohm, "1.00 MΩ"),
            (150e-12, Unit::Farad, "150 pF"),
            (0.0, Unit::Hertz, "0 Hz"),
            (f64::NAN, Unit::Hertz, "?"),
        ] {
            assert_eq!(short(value, unit), want);
        }
        for (half, want) in [
            (0.0, "3.61 kHz"),
            (9.0, "3.61 kHz"),
            (60.0, "3.61 kHz"),
            (120.0, "3.6 kHz"),
            (2e3, "4 kHz"),
        ] {
            assert_eq!(sure(3612.0, half, Unit::Hertz), want);
        }
        assert_eq!(four_digits(6050.0, Unit::Ohm), "6.050 kΩ");
        assert_eq!(four_digits(0.01234567, Unit::Second), "12.35 ms");
    }

    #[test]
    fn extreme_sizes_stay_short() {
        for value in [
            0.0,
            1e-300,
            -1e-300,
            1e-12,
            1.0,
            1e9,
            1e13,
            1e300,
            -f64::MAX,
            f64::MIN_POSITIVE,
        ] {
            for half in [0.0, 1e-300, 1e-9, 1.0, 1e9, 1e300] {
                for unit in [
                    Unit::Hertz,
                    Unit::Decibel,
                    Unit::Ratio,
                    Unit::Henry,
                    Unit::Ohm,
                    Unit::Farad,
                ] {
                    let s = interval(&e(value, half), unit);
                    assert!(s.chars().count() <= 48, "{s}");
                    assert!(short(value, unit).chars().count() <= 16);
                }
            }
        }
    }
}
