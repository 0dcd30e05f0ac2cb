//! Numbers for people, and as one would type them.

use super::reading::{FOOT, parse};
use super::unit::Unit::{self, *};
use super::unit::prefix_letter;

/// For reading: `digits` significant digits with prefix and unit, "3.40 kHz", "470 pF", "250 kOhm" with the Greek letter.
///
/// Of degrees and decibels `digits` counts those after the point, for their zero is arbitrary. Rotations are shown in
/// per cent; so are ratios, below a thousandth in ppm.
pub fn show(value: f64, unit: Unit, digits: usize) -> String {
    if !value.is_finite() {
        return "unknown".into();
    }
    match unit {
        Celsius | Dbfs | Decibel => {
            let s = format!("{value:.digits$}");
            // No "-0.0".
            let zero = s.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
            let s = if zero { s.trim_start_matches('-') } else { &s };
            format!("{s} {}", unit.symbol())
        }
        Rotation => format!("{} %", shifted(value, digits, 2)),
        Relative if value != 0.0 && value.abs() < 1e-3 => format!("{} ppm", shifted(value, digits, 6)),
        Relative => format!("{} %", shifted(value, digits, 2)),
        _ => {
            let (neg, mantissa, exp) = decimal(value, Some(digits.max(1)));
            let p = unit.written_prefix(value, exp);
            let letter = match prefix_letter(p) {
                "u" => "\u{b5}",
                l => l,
            };
            let sign = if neg { "-" } else { "" };
            format!("{sign}{} {letter}{}", placed(&mantissa, exp - p), unit.symbol())
        }
    }
}

/// Value times 10^shift with so many significant digits.
fn shifted(value: f64, digits: usize, shift: i32) -> String {
    let (neg, mantissa, exp) = decimal(value, Some(digits.max(1)));
    let exp = if value == 0.0 { 0 } else { exp + shift };
    format!("{}{}", if neg { "-" } else { "" }, placed(&mantissa, exp))
}

/// Sign, decimal digits and the power of ten of the first digit. All digits that the number has, or so many,
/// rounded once, from the exact binary value.
fn decimal(value: f64, digits: Option<usize>) -> (bool, String, i32) {
    let s = match digits {
        Some(d) => format!("{:.*e}", d - 1, value.abs()),
        None => format!("{:e}", value.abs()),
    };
    let (m, e) = s.split_once('e').unwrap_or((&s, "0"));
    let mantissa: String = m.chars().filter(|c| *c != '.').collect();
    (value < 0.0, mantissa, e.parse().unwrap_or(0))
}

/// Digits with the point behind the digit of 10^exp.
fn placed(mantissa: &str, exp: i32) -> String {
    if exp < 0 {
        let zeros = "0".repeat((-exp - 1) as usize);
        return format!("0.{zeros}{mantissa}");
    }
    let int = exp as usize + 1;
    if mantissa.len() <= int {
        return format!("{mantissa}{}", "0".repeat(int - mantissa.len()));
    }
    format!("{}.{}", &mantissa[..int], &mantissa[int..])
}

/// With its sign and so many decimals; what rounds to nothing has no sign.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    let nothing = text.chars().all(|c| "+-0.".contains(c));
    if nothing { text[1..].to_owned() } else { text }
}

/// As one would type it: "250k", "470p", "5m", "100p/m", "3.5kHz". Resistance, capacitance, rotation and ratio stand
/// without a unit's name. `parse` gives back exactly the same number. `value` must be finite.
pub fn compact(value: f64, unit: Unit) -> String {
    let metric = compact_metric(value, unit);
    // A cable given in feet stays in feet: the shorter text wins where both are the same number.
    let feet = match unit {
        Metre => format!("{}ft", round12(value / FOOT)),
        FaradPerMetre => format!("{}/ft", compact_metric(round12(value * FOOT), Farad)),
        _ => return metric,
    };
    if feet.len() < metric.len() && parse(&feet, unit) == Ok(value) {
        feet
    } else {
        metric
    }
}

/// To twelve digits, to undo the rounding of a conversion.
fn round12(x: f64) -> f64 {
    format!("{x:.11e}").parse().unwrap_or(x)
}

fn compact_metric(value: f64, unit: Unit) -> String {
    let name = match unit {
        Ohm | Farad | Rotation | Relative => "",
        FaradPerMetre => "/m",
        Celsius => "C",
        u => u.symbol(),
    };
    let (neg, mantissa, exp) = decimal(value, None);
    let p = unit.written_prefix(value, exp);
    if (exp - p).abs() > 5 {
        return format!("{value:e}{name}");
    }
    let sign = if neg { "-" } else { "" };
    format!("{sign}{}{}{name}", placed(&mantissa, exp - p), prefix_letter(p))
}

/// As TOML has it: a decimal point or an exponent, and no digits that are only rounding.
pub fn toml_number(v: f64) -> String {
    if v != 0.0 && !(1e-3..1e7).contains(&v.abs()) {
        format!("{v:e}")
    } else {
        format!("{v:?}")
    }
}
