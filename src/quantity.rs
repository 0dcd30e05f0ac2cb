//! Engineering notation both ways: "250k", "4k7", "22n" <-> SI.
//!
//! Letter marks in place of the decimal point follow IEC 60062 ("4k7", "R47", "2n2"). Reading is exact: the digits are
//! shifted as text and rounded to binary once, so "22n", "0.022u" and "2.2e-8" are the same number.

pub mod preferred;

use crate::failure::{Failure, Result};

/// What a number is a measure of; decides which unit names and prefixes are understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    Ohm,
    Farad,
    Henry,
    Hertz,
    Second,
    Metre,
    /// Degrees Celsius; Fahrenheit is converted.
    Celsius,
    /// Level relative to full scale: AES17, 0 dBFS is a full-scale sine.
    Dbfs,
    Decibel,
    /// Capacitance of a cable per length.
    FaradPerMetre,
    /// Of a potentiometer, 0 to 1, 1 = fully clockwise.
    Rotation,
    /// A ratio: 100ppm, 5%, 0.05.
    Relative,
}

use Unit::*;

/// In the order in which a foreign unit name is tried.
const ALL: [Unit; 12] = [
    Metre,
    Ohm,
    Farad,
    Henry,
    Hertz,
    Second,
    Celsius,
    Dbfs,
    Decibel,
    FaradPerMetre,
    Relative,
    Rotation,
];

const MICRO_SIGN: char = '\u{b5}';
const GREEK_MU: char = '\u{3bc}';
const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
const ABSOLUTE_ZERO_C: f64 = -273.15;
/// No number worth reading is longer.
const MAX_CHARS: usize = 60;

impl Unit {
    /// With its article, as an error message calls it.
    fn quantity(self) -> &'static str {
        match self {
            Ohm => "a resistance",
            Farad => "a capacitance",
            Henry => "an inductance",
            Hertz => "a frequency",
            Second => "a time",
            Metre => "a length",
            Celsius => "a temperature",
            Dbfs => "a level",
            Decibel => "a ratio in dB",
            FaradPerMetre => "a capacitance per length",
            Rotation => "a rotation",
            Relative => "a ratio",
        }
    }

    /// What would have been understood.
    fn examples(self) -> &'static str {
        match self {
            Ohm => "write ohms as 250k, 4k7, 1M, 470R or 470",
            Farad => "write farads as 470p, 22n, 0.022u, 2n2 or 470e-12",
            Henry => "write henries as 2.4H, 2.4 or 500mH",
            Hertz => "write hertz as 3.5kHz, 3k5 or 3500",
            Second => "write seconds as 3, 3s, 33us or 2min",
            Metre => "write a length as 5m, 50cm or 18ft",
            Celsius => "write a temperature as 21C, 21 or 70F",
            Dbfs => "write a level as -6dBFS or -6",
            Decibel => "write decibels as 3dB or 3",
            FaradPerMetre => "write a capacitance per length as 100p/m or 30p/ft",
            Rotation => "write a rotation as 0...1 or 0%...100%",
            Relative => "write a ratio as 0.05, 5% or 100ppm",
        }
    }

    /// Accepted names, compared without regard to case. Units that take prefixes only.
    fn names(self) -> &'static [&'static str] {
        match self {
            Ohm => &["\u{3a9}", "\u{2126}", "ohms", "ohm", "r"],
            Farad => &["farad", "f"],
            Henry => &["henry", "h"],
            Hertz => &["hertz", "hz"],
            Second => &["sec", "s"],
            Metre => &["m"],
            _ => &[],
        }
    }

    /// As written after a value.
    fn symbol(self) -> &'static str {
        match self {
            Ohm => "\u{3a9}",
            Farad => "F",
            Henry => "H",
            Hertz => "Hz",
            Second => "s",
            Metre => "m",
            Celsius => "\u{b0}C",
            Dbfs => "dBFS",
            Decibel => "dB",
            FaradPerMetre => "F/m",
            Rotation | Relative => "",
        }
    }

    /// Whether a prefix of this power of ten makes sense with the unit: a kilofarad or a nanohertz is a slip.
    fn takes_prefix(self, exp: i32) -> bool {
        match self {
            Ohm | Hertz => exp >= -3,
            Farad | Second => exp <= 0,
            Henry => exp <= 3,
            Metre => (-9..=3).contains(&exp),
            _ => exp == 0,
        }
    }

    /// The prefix, as a power of ten, to write a number with whose first digit stands for 10^exp.
    fn written_prefix(self, value: f64, exp: i32) -> i32 {
        let (low, high) = match self {
            Ohm | Hertz => (0, 12),
            Farad | FaradPerMetre => (-12, 0),
            Henry | Second => (-9, 0),
            Metre => (-6, 0),
            _ => (0, 0),
        };
        if value == 0.0 {
            return 0;
        }
        (exp.div_euclid(3) * 3).clamp(low, high)
    }

    fn may_be_negative(self) -> bool {
        matches!(self, Second | Celsius | Dbfs | Decibel | Relative)
    }
}

/// The power of ten of a prefix letter. Capital K is kilo, since no kelvin is about; m is milli, M is mega.
fn prefix_exponent(c: char) -> Option<i32> {
    Some(match c {
        'p' => -12,
        'n' => -9,
        'u' | MICRO_SIGN | GREEK_MU => -6,
        'm' => -3,
        'k' | 'K' => 3,
        'M' => 6,
        'G' => 9,
        'T' => 12,
        _ => return None,
    })
}

fn prefix_letter(exp: i32) -> &'static str {
    match exp {
        -12 => "p",
        -9 => "n",
        -6 => "u",
        -3 => "m",
        3 => "k",
        6 => "M",
        9 => "G",
        12 => "T",
        _ => "",
    }
}

/// What stands after the digits, as a way to SI: (digits * 10^exp - minus) * times / over.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Scale {
    exp: i32,
    minus: f64,
    times: f64,
    over: f64,
}

const PLAIN: Scale = Scale {
    exp: 0,
    minus: 0.0,
    times: 1.0,
    over: 1.0,
};

const FAHRENHEIT: Scale = Scale {
    minus: 32.0,
    times: 5.0,
    over: 9.0,
    ..PLAIN
};

impl Scale {
    fn pow10(exp: i32) -> Self {
        Scale { exp, ..PLAIN }
    }

    fn times(times: f64) -> Self {
        Scale { times, ..PLAIN }
    }
}

/// Meaning of the text after the digits, `None` if it is not of this unit.
fn scale_of(suffix: &str, unit: Unit) -> Option<Scale> {
    if suffix.is_empty() {
        return Some(PLAIN);
    }
    let low = suffix.to_lowercase();
    match (unit, low.as_str()) {
        (Celsius, _) => match low.trim_start_matches(['\u{b0}', '\u{ba}']).trim_start_matches("deg") {
            "c" => Some(PLAIN),
            "f" => Some(FAHRENHEIT),
            _ => None,
        },
        (Dbfs, "dbfs" | "db") | (Decibel, "db") => Some(PLAIN),
        (Rotation | Relative, "%") => Some(Scale::pow10(-2)),
        (Relative, "ppm") => Some(Scale::pow10(-6)),
        (Metre, "ft") => Some(Scale::times(FOOT)),
        (Metre, "in") => Some(Scale::times(INCH)),
        (Metre, "cm") => Some(Scale::pow10(-2)),
        (Second, "min") => Some(Scale::times(60.0)),
        (FaradPerMetre, _) => {
            let (farads, length) = suffix.split_once('/').unwrap_or((suffix, "m"));
            let farads = scale_of(farads.trim(), Farad)?;
            match length.trim() {
                "m" => Some(farads),
                "cm" => Some(Scale::pow10(farads.exp + 2)),
                "km" => Some(Scale::pow10(farads.exp - 3)),
                "ft" => Some(Scale { over: FOOT, ..farads }),
                _ => None,
            }
        }
        _ => prefixed(suffix, &low, unit).map(Scale::pow10),
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
    for name in unit.names() {
        // Cut off by characters: the two ohm signs differ in bytes from their lower-case letter.
        let Some(head) = total.checked_sub(name.chars().count()) else {
            continue;
        };
        if !low.ends_with(&name.to_lowercase()) {
            continue;
        }
        match (head, suffix.chars().next()) {
            (0, _) => return Some(0),
            (1, Some(c)) => {
                if let Some(e) = prefix_exponent(c).filter(|&e| unit.takes_prefix(e)) {
                    return Some(e);
                }
            }
            _ => {}
        }
    }
    None
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
    let mut digits = String::new();
    let mut rest = text;
    for (sign, put) in [("-", "-"), ("\u{2212}", "-"), ("+", "")] {
        if let Some(r) = rest.strip_prefix(sign) {
            digits.push_str(put);
            rest = r;
            break;
        }
    }
    let leading = take_digits(rest);
    rest = &rest[leading.len()..];
    digits.push_str(if leading.is_empty() { "0" } else { leading });
    let mut mark = None;
    let mut seen = !leading.is_empty();
    if let Some(r) = rest.strip_prefix('.') {
        let frac = take_digits(r);
        seen |= !frac.is_empty();
        digits.push('.');
        digits.push_str(frac);
        rest = &r[frac.len()..];
    } else if let Some(c) = rest.chars().next().filter(|c| c.is_alphabetic()) {
        let r = &rest[c.len_utf8()..];
        let frac = take_digits(r);
        // "1e3" is an exponent, not a mark.
        if !frac.is_empty() && !c.eq_ignore_ascii_case(&'e') {
            mark = Some(c);
            seen = true;
            digits.push('.');
            digits.push_str(frac);
            rest = &r[frac.len()..];
        }
    }
    if !seen {
        return None;
    }
    let mut exp = 0;
    if mark.is_none()
        && let Some(r) = rest.strip_prefix(['e', 'E'])
    {
        let (neg, r) = match r.strip_prefix(['-', '+']) {
            Some(s) => (r.starts_with('-'), s),
            None => (false, r),
        };
        let e = take_digits(r);
        if !e.is_empty() {
            // Anything longer is far outside f64 anyway.
            let n = e.parse::<i32>().unwrap_or(i32::MAX).min(9999);
            exp = if neg { -n } else { n };
            rest = &r[e.len()..];
        }
    }
    Some(Split {
        digits,
        exp,
        mark,
        suffix: rest.trim(),
    })
}

fn take_digits(s: &str) -> &str {
    let end = s.find(|c: char| !c.is_ascii_digit()).unwrap_or(s.len());
    &s[..end]
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
    if t.chars().count() > MAX_CHARS {
        return Err(Failure::new(
            format!("{shown} is too long for {}", unit.quantity()),
            unit.examples(),
        ));
    }
    if t.contains(',') {
        return Err(Failure::new(
            format!("{shown} has a comma"),
            format!("write a decimal point and no thousands marks; {}", unit.examples()),
        ));
    }
    let refuse = |why: String| Failure::new(format!("{shown} {why}"), unit.examples());
    let Some(s) = split(t) else {
        return Err(refuse(format!("is not {}", unit.quantity())));
    };
    let value = evaluate(&s, unit).ok_or_else(|| refuse(diagnose(&s, unit)))?;
    if !value.is_finite() {
        return Err(refuse("is too large".into()));
    }
    if value < 0.0 && !unit.may_be_negative() {
        return Err(refuse(format!("is negative: {} cannot be", unit.quantity())));
    }
    if unit == Rotation && value > 1.0 {
        return Err(refuse("is beyond full rotation".into()));
    }
    if unit == Celsius && value < ABSOLUTE_ZERO_C {
        return Err(refuse("is below absolute zero".into()));
    }
    Ok(value)
}

/// `parse` with the place (an option, a part, a key) in front of the message.
pub fn parse_at(place: &str, text: &str, unit: Unit) -> Result<f64> {
    parse(text, unit).map_err(|f| Failure::new(format!("{place}: {}", f.what), f.hint))
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
    let scale = match s.mark {
        None => scale_of(s.suffix, unit)?,
        Some(c) => marked_scale(c, s.suffix, unit)?,
    };
    let x: f64 = format!("{}e{}", s.digits, s.exp + scale.exp).parse().ok()?;
    Some((x - scale.minus) * scale.times / scale.over)
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
    let scale = scale_of(suffix, unit)?;
    Some(Scale {
        exp: scale.exp + m,
        ..scale
    })
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

#[cfg(test)]
mod tests;
