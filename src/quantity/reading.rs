//! From what people type to SI.

use super::unit::Unit::{self, *};
use super::unit::{ALL, prefix_exponent};
use crate::failure::{Failure, Result};

pub(super) const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
pub(super) const ABSOLUTE_ZERO_C: f64 = -273.15;
/// No number worth reading is longer.
const MAX_CHARS: usize = 60;

/// What stands after the digits, as a way to SI: a power of ten that the digits are shifted by, and what is done then.
type Scale = (i32, fn(f64) -> f64);

fn pow10(exp: i32) -> Scale {
    (exp, |x| x)
}

/// Meaning of the text after the digits, `None` if it is not of this unit.
fn scale_of(suffix: &str, unit: Unit) -> Option<Scale> {
    if suffix.is_empty() {
        return Some(pow10(0));
    }
    let low = suffix.to_lowercase();
    match (unit, low.as_str()) {
        (Celsius, _) => match low.trim_start_matches(['\u{b0}', '\u{ba}']).trim_start_matches("deg") {
            "c" => Some(pow10(0)),
            "f" => Some((0, |x| (x - 32.0) * 5.0 / 9.0)),
            _ => None,
        },
        (Dbfs, "dbfs" | "db") | (Decibel, "db") => Some(pow10(0)),
        (Rotation | Relative, "%") => Some(pow10(-2)),
        (Relative, "ppm") => Some(pow10(-6)),
        (Metre, "ft") => Some((0, |x| x * FOOT)),
        (Metre, "in") => Some((0, |x| x * INCH)),
        (Metre, "cm") => Some(pow10(-2)),
        (Metre, "mm") => Some(pow10(-3)),
        (Second, "min") => Some((0, |x| x * 60.0)),
        (FaradPerMetre, _) => {
            let (farads, length) = suffix.split_once('/').unwrap_or((suffix, "m"));
            let (exp, _) = scale_of(farads.trim(), Farad)?;
            match length.trim() {
                "m" => Some(pow10(exp)),
                "cm" => Some(pow10(exp + 2)),
                "km" => Some(pow10(exp - 3)),
                "ft" => Some((exp, |x| x / FOOT)),
                _ => None,
            }
        }
        _ => prefixed(suffix, &low, unit).map(pow10),
    }
}

/// The power of ten of [prefix][name], with either left out.
fn prefixed(suffix: &str, low: &str, unit: Unit) -> Option<i32> {
    let mut chars = suffix.chars();
    if let (Some(c), None) = (chars.next(), chars.next())
        && let Some(e) = prefix_exponent(c)
    {
        return match unit {
            Metre => (c == 'm').then_some(0),
            _ => bare_prefix(e, unit),
        };
    }
    let total = suffix.chars().count();
    unit.names().iter().find_map(|name| {
        // Cut off by characters: the two ohm signs differ in bytes from their lower-case letter.
        let head = total.checked_sub(name.chars().count())?;
        let named = low.ends_with(&name.to_lowercase());
        match (head, suffix.chars().next()) {
            (0, _) if named => Some(0),
            (1, Some(c)) if named => prefix_exponent(c).filter(|&e| unit.takes_prefix(e)),
            _ => None,
        }
    })
}

/// A prefix without a unit's name. A milliohm or millihertz must be spelt out, "1m" is a slip for "1M" far more often.
fn bare_prefix(e: i32, unit: Unit) -> Option<i32> {
    let slip = matches!(unit, Ohm | Hertz) && e < 0;
    (!slip && unit.takes_prefix(e)).then_some(e)
}

/// The number and what follows it.
struct Split<'a> {
    /// Sign, digits and point, as f64's parser takes them, without exponent.
    digits: String,
    exp: i32,
    /// A letter that stood for the decimal point.
    mark: Option<char>,
    suffix: &'a str,
}

fn split(text: &str) -> Option<Split<'_>> {
    let sign = if text.starts_with(['-', '\u{2212}']) { "-" } else { "" };
    let (whole, rest) = digits(text.strip_prefix(['-', '\u{2212}', '+']).unwrap_or(text));
    let first = rest.chars().next();
    // "1e3" is an exponent, not a mark; nor is a letter one without a digit behind it.
    let letter = first.filter(|c| c.is_alphabetic() && !c.eq_ignore_ascii_case(&'e'));
    let point = first.filter(|c| *c == '.' || letter.is_some());
    let (fraction, behind) = point.map_or(("", rest), |c| digits(&rest[c.len_utf8()..]));
    let mark = letter.filter(|_| !fraction.is_empty());
    let rest = if letter.is_some() && mark.is_none() {
        rest
    } else {
        behind
    };
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    let exponent = rest.strip_prefix(['e', 'E']).filter(|_| mark.is_none()).and_then(|r| {
        let (e, behind) = digits(r.strip_prefix(['-', '+']).unwrap_or(r));
        // Anything longer is far outside f64 anyway.
        let n = e.parse::<i32>().unwrap_or(i32::MAX).min(9999);
        (!e.is_empty()).then_some((if r.starts_with('-') { -n } else { n }, behind))
    });
    let (exp, rest) = exponent.unwrap_or((0, rest));
    Some(Split {
        digits: format!("{sign}{whole}.{fraction}"),
        exp,
        mark,
        suffix: rest.trim(),
    })
}

/// The digits that a text begins with, and what is behind them.
fn digits(s: &str) -> (&str, &str) {
    s.split_at(s.find(|c: char| !c.is_ascii_digit()).unwrap_or(s.len()))
}

/// Power of ten of a letter used as decimal point. Resistors and capacitors: IEC 60062; inductors and frequencies are
/// written likewise.
fn mark_exponent(c: char, unit: Unit) -> Option<i32> {
    match (unit, c) {
        (Ohm, 'R' | 'r') | (Farad, 'F') | (Henry, 'H') => Some(0),
        (Ohm | Farad | Henry | Hertz, _) => bare_prefix(prefix_exponent(c)?, unit),
        (FaradPerMetre, _) => bare_prefix(prefix_exponent(c)?, Farad),
        _ => None,
    }
}

/// Reads a value in engineering notation; the result is in SI units (degrees Celsius for temperatures).
///
/// The unit's own name may follow the number; another unit's name, a comma, or a value that the quantity cannot have
/// is an error that says what would have been understood.
pub fn parse(text: &str, unit: Unit) -> Result<f64> {
    let t = text.trim();
    if t.is_empty() {
        return Err(Failure::new(format!("{} is missing", unit.quantity()), unit.examples()));
    }
    let shown = quoted(t);
    let refuse = |why: String| Err(Failure::new(format!("{shown} {why}"), unit.examples()));
    if t.chars().count() > MAX_CHARS {
        return refuse(format!("is too long for {}", unit.quantity()));
    }
    if t.contains(',') {
        let hint = format!("write a decimal point and no thousands marks; {}", unit.examples());
        return Err(Failure::new(format!("{shown} has a comma"), hint));
    }
    let Some(s) = split(t) else {
        return refuse(format!("is not {}", unit.quantity()));
    };
    match evaluate(&s, unit) {
        None => refuse(diagnose(&s, unit)),
        Some(v) if !v.is_finite() => refuse("is too large".into()),
        Some(v) if v < 0.0 && !unit.may_be_negative() => refuse(format!("is negative: {} cannot be", unit.quantity())),
        Some(v) if unit == Rotation && v > 1.0 => refuse("is beyond full rotation".into()),
        Some(v) if unit == Celsius && v < ABSOLUTE_ZERO_C => refuse("is below absolute zero".into()),
        Some(v) => Ok(v),
    }
}

/// `parse` with the place (an option, a part, a key) in front of the message.
pub fn parse_at(place: &str, text: &str, unit: Unit) -> Result<f64> {
    parse(text, unit).map_err(|f| f.at(place))
}

/// Of a part given without its kind: "100p" and "2.2nF" are capacitors, "1M" is a resistor.
pub fn names_farads(text: &str) -> bool {
    text.trim().ends_with(['p', 'n', 'u', 'F'])
}

/// For messages: in quotes, control characters escaped, cut to a sane length.
pub fn quoted(text: &str) -> String {
    if text.chars().count() > MAX_CHARS {
        let head: String = text.chars().take(MAX_CHARS / 2).collect();
        return format!("{:?}...", head);
    }
    format!("{text:?}")
}

fn evaluate(s: &Split<'_>, unit: Unit) -> Option<f64> {
    let (exp, then) = match s.mark {
        None => scale_of(s.suffix, unit)?,
        Some(c) => marked_scale(c, s.suffix, unit)?,
    };
    let x: f64 = format!("{}e{}", s.digits, s.exp + exp).parse().ok()?;
    Some(then(x))
}

/// After a mark only the bare unit name may follow, no second prefix: "4k7", "4k7 ohm", "4n7/m".
fn marked_scale(c: char, suffix: &str, unit: Unit) -> Option<Scale> {
    let m = mark_exponent(c, unit)?;
    let name = suffix.split('/').next().unwrap_or("").trim().to_lowercase();
    let named = match unit {
        FaradPerMetre => Farad.names(),
        u => u.names(),
    };
    if !name.is_empty() && !named.iter().any(|n| n.to_lowercase() == name) {
        return None;
    }
    let (exp, then) = scale_of(suffix, unit)?;
    Some((exp + m, then))
}

/// Why the suffix was not understood.
fn diagnose(s: &Split<'_>, unit: Unit) -> String {
    let wanted = unit.quantity();
    let other = ALL
        .iter()
        .find(|&&u| u != unit && (!s.suffix.is_empty() || s.mark.is_some()) && evaluate(s, u).is_some());
    if matches!(unit, Ohm | Hertz) && (s.suffix == "m" || s.mark == Some('m')) {
        return format!("is not {wanted}: m is milli, M is mega");
    }
    match (other, s.mark) {
        (Some(o), _) => format!("is {}, not {wanted}", o.quantity()),
        (None, Some(c)) if s.suffix.is_empty() => {
            format!("is not {wanted}: {} is no mark for it", quoted(&c.to_string()))
        }
        _ if s.suffix.is_empty() => format!("is not {wanted}"),
        _ => format!("is not {wanted}: {} is no unit of it", quoted(s.suffix)),
    }
}
