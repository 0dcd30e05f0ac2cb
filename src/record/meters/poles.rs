//! A row of magnets: how its figures are typed, and what is uneven in it.

use crate::failure::{Failure, Result};
use crate::quantity::quoted;
use crate::stats::median;

/// Tesla in a gauss: what the meters of the trade show.
pub(super) const TESLA_PER_GAUSS: f64 = 1e-4;
/// A pole so far from the others' middle is pointed out (a choice).
const UNEVEN: f64 = 0.1;
/// Rows of magnets are no longer than this.
pub(super) const MOST_POLES: usize = 40;
/// Nor is any magnet stronger.
pub(super) const MOST_TESLA: f64 = 10.0;

/// "412 430 -428" in gauss, or "41.2mT 43.0mT", or "41.2 43.0 mT", where one unit behind the row is the row's.
pub(super) fn poles(text: &str) -> Result<Vec<f64>> {
    let between = |w: &[u8]| w[1] == b',' && w[0].is_ascii_digit() && w[2].is_ascii_digit();
    if text.as_bytes().windows(3).any(between) {
        return Err(Failure::new(
            "gauss: a comma between two digits may part two figures or be a decimal",
            "put a space between figures, and a point before decimals: 41.2 43.0 mT",
        ));
    }
    let row = text.trim_end().strip_suffix("mT").filter(|t| !t.contains("mT"));
    let parts: Vec<&str> = row
        .unwrap_or(text)
        .split(|c: char| c.is_whitespace() || c == ',' || c == '/')
        .filter(|t| !t.is_empty())
        .collect();
    let marked = parts.iter().filter(|t| t.ends_with("mT")).count();
    if marked > 0 && marked < parts.len() {
        return Err(Failure::new(
            "gauss: some of the row is in mT and some is not",
            "write mT behind each figure, or once behind the last",
        ));
    }
    if parts.is_empty() || parts.len() > MOST_POLES {
        return Err(Failure::new(
            format!("gauss: {} poles", parts.len()),
            format!("give one figure for each pole, {MOST_POLES} at most"),
        ));
    }
    let (unit, scale) = match marked > 0 || row.is_some() {
        true => ("mT", 1e-3),
        false => ("G", TESLA_PER_GAUSS),
    };
    let tesla = |t: &&str| {
        let figure: f64 = t.strip_suffix(unit).unwrap_or(t).parse().ok()?;
        Some(figure * scale).filter(|v| v.abs() <= MOST_TESLA)
    };
    let figure = |t: &&str| {
        tesla(t).ok_or_else(|| {
            Failure::new(
                format!("gauss: {} is no figure of a pole", quoted(t)),
                "give one figure for each pole, such as 412 430 428 431 425 405",
            )
        })
    };
    parts.iter().map(figure).collect()
}

pub(super) fn gauss(tesla: f64) -> String {
    format!("{:.0}", tesla / TESLA_PER_GAUSS)
}

pub(super) fn uneven(poles: &[f64]) -> Option<String> {
    let n = poles.len();
    if n < 3 {
        return None;
    }
    let middle = median(poles.iter().map(|b| b.abs()).collect());
    if middle == 0.0 || middle.is_nan() {
        return Some("no field at the poles: not magnetised?".into());
    }
    let up = poles.iter().filter(|b| **b > 0.0).count();
    let major = if 2 * up >= n { 1.0 } else { -1.0 };
    let other: Vec<String> = (0..n)
        .filter(|i| poles[*i] * major < 0.0)
        .map(|i| (i + 1).to_string())
        .collect();
    // As many of either sign are two rows read as one.
    if !other.is_empty() && 2 * other.len() < n {
        let (s, verb) = if other.len() == 1 { ("", "is") } else { ("s", "are") };
        let list = other.join(", ");
        return Some(format!(
            "pole{s} {list} {verb} magnetised the other way round than the rest"
        ));
    }
    let odd: Vec<(usize, f64)> = poles
        .iter()
        .map(|b| b.abs() / middle - 1.0)
        .enumerate()
        .filter(|(_, off)| off.abs() > UNEVEN)
        .collect();
    if odd.is_empty() {
        return None;
    }
    let list = |say: &dyn Fn(&(usize, f64)) -> String| odd.iter().map(say).collect::<Vec<_>>().join(", ");
    if odd.iter().all(|(i, off)| (*i == 0 || *i == n - 1) && *off < 0.0) {
        return Some(format!(
            "weak at {} ({}): a magnet passed by hand between two blocks comes out so (common practice)",
            if odd.len() == 2 { "both ends" } else { "one end" },
            list(&|(_, off)| format!("{:+.0} %", 100.0 * off))
        ));
    }
    Some(format!(
        "uneven poles, from their middle of {} G: {}; was the probe at the same height over each?",
        gauss(middle),
        list(&|(i, off)| format!("{} {:+.0} %", i + 1, 100.0 * off))
    ))
}
