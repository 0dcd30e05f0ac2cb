//! A row of magnets: how its figures are typed, and what is uneven in it.

use super::median;
use crate::failure::{Failure, Result};
use crate::quantity::quoted;

/// Tesla in a gauss: what the meters of the trade show.
pub(super) const TESLA_PER_GAUSS: f64 = 1e-4;
/// A pole so far from the others' middle is pointed out (a choice).
const UNEVEN: f64 = 0.1;
/// Rows of magnets are no longer than this.
pub(super) const MOST_POLES: usize = 40;

/// "412 430 -428" in gauss, or "41.2mT 43.0mT".
pub(super) fn poles(text: &str) -> Result<Vec<f64>> {
    let b = text.as_bytes();
    if b.windows(3)
        .any(|w| w[1] == b',' && w[0].is_ascii_digit() && w[2].is_ascii_digit())
    {
        return Err(Failure::new(
            "gauss: a comma between two digits may part two figures or be a decimal",
            "put a space between figures, and a point before decimals: 41.2 43.0 mT",
        ));
    }
    // "41.2 43.0 42.8 mT": one unit behind the row is the row's.
    let row = text.trim_end().strip_suffix("mT").filter(|t| !t.contains("mT"));
    let (text, whole) = row.map_or((text, false), |t| (t, true));
    let parts = || {
        text.split(|c: char| c.is_whitespace() || c == ',' || c == '/')
            .filter(|t| !t.is_empty())
    };
    let marked = parts().filter(|t| t.ends_with("mT")).count();
    if marked > 0 && marked < parts().count() {
        return Err(Failure::new(
            "gauss: some of the row is in mT and some is not",
            "write mT behind each figure, or once behind the last",
        ));
    }
    let out: Vec<f64> = text
        .split(|c: char| c.is_whitespace() || c == ',' || c == '/')
        .filter(|t| !t.is_empty())
        .map(|t| {
            let (number, scale) = match t.strip_suffix("mT") {
                Some(n) => (n, 1e-3),
                None if whole => (t, 1e-3),
                None => (t.trim_end_matches('G'), TESLA_PER_GAUSS),
            };
            let v = number.parse::<f64>().ok().filter(|v| (v * scale).abs() <= 10.0);
            v.map(|v| v * scale).ok_or_else(|| {
                Failure::new(
                    format!("gauss: {} is no figure of a pole", quoted(t)),
                    "give one figure for each pole, such as 412 430 428 431 425 405",
                )
            })
        })
        .collect::<Result<_>>()?;
    if out.is_empty() || out.len() > MOST_POLES {
        return Err(Failure::new(
            format!("gauss: {} poles", out.len()),
            format!("give one figure for each pole, {MOST_POLES} at most"),
        ));
    }
    Ok(out)
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
    let numbers = |list: &[usize]| {
        let words: Vec<String> = list.iter().map(|i| (i + 1).to_string()).collect();
        format!("pole{} {}", if list.len() == 1 { "" } else { "s" }, words.join(", "))
    };
    let up = poles.iter().filter(|b| **b > 0.0).count();
    let major = if 2 * up >= n { 1.0 } else { -1.0 };
    let other: Vec<usize> = (0..n).filter(|i| poles[*i] * major < 0.0).collect();
    // As many of either sign are two rows read as one.
    if !other.is_empty() && 2 * other.len() < n {
        let verb = if other.len() == 1 { "is" } else { "are" };
        return Some(format!(
            "{} {verb} magnetised the other way round than the rest",
            numbers(&other)
        ));
    }
    let off = |i: usize| poles[i].abs() / middle - 1.0;
    let odd: Vec<usize> = (0..n).filter(|i| off(*i).abs() > UNEVEN).collect();
    let weak_ends = !odd.is_empty() && odd.iter().all(|i| (*i == 0 || *i == n - 1) && off(*i) < 0.0);
    if weak_ends {
        let shares: Vec<String> = odd.iter().map(|i| format!("{:+.0} %", 100.0 * off(*i))).collect();
        return Some(format!(
            "weak at {} ({}): a magnet passed by hand between two blocks comes out so (common practice)",
            if odd.len() == 2 { "both ends" } else { "one end" },
            shares.join(", ")
        ));
    }
    if odd.is_empty() {
        return None;
    }
    let shares: Vec<String> = odd
        .iter()
        .map(|i| format!("{} {:+.0} %", i + 1, 100.0 * off(*i)))
        .collect();
    Some(format!(
        "uneven poles, from their middle of {} G: {}; was the probe at the same height over each?",
        gauss(middle),
        shares.join(", ")
    ))
}
