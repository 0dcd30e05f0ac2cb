//! What the pickups of a set are held against each other by, what it weighs and how far it may be off.

use serde::Serialize;

use crate::failure::{Failure, Result};
use crate::quantity::{self, quoted};
use crate::shop::yardstick::{Matters, Quantity};

/// What a set is held by, in the order in which it is told.
pub const FIGURES: [Quantity; 4] = [Quantity::Peak, Quantity::Q, Quantity::Level, Quantity::Ohms];

/// A set may be off by so many times what matters, where nothing else is said: a choice.
const USUAL_LIMIT: f64 = 2.0;

/// Farther off than this nothing is of one set, as it is compared.
fn most(figure: Quantity) -> f64 {
    if figure.is_relative() { 1.0 } else { 40.0 }
}

/// A difference as people write it, +8% or +1.5dB, as it is compared.
pub fn read(figure: Quantity, place: &str, text: &str) -> Result<f64> {
    let value = quantity::parse_at(place, text, figure.unit())?;
    let off = if figure.is_relative() { value.ln_1p() } else { value };
    if off.is_finite() && off.abs() < most(figure) {
        return Ok(off);
    }
    Err(Failure::new(
        format!("{place}: {} is no set's", quoted(text)),
        "give a smaller difference",
    ))
}

/// The value that lies so far off, as it is compared.
pub fn at(figure: Quantity, value: f64, off: f64) -> f64 {
    figure.from_compared(figure.compared(value) + off)
}

/// Each figure and the word that follows it.
pub fn pairs(place: &str, text: &str, hint: &str) -> Result<Vec<(Quantity, String)>> {
    let even = text.replace('=', " ");
    let words: Vec<&str> = even.split_whitespace().collect();
    let mut out: Vec<(Quantity, String)> = Vec::new();
    for pair in words.chunks(2) {
        let [name, value] = pair else {
            return Err(Failure::new(format!("{place}: {} has no value", quoted(pair[0])), hint));
        };
        let figure = FIGURES.into_iter().find(|f| f.code() == *name);
        let figure =
            figure.ok_or_else(|| Failure::new(format!("{place}: sets are not made by {}", quoted(name)), hint))?;
        if out.iter().any(|o| o.0 == figure) {
            return Err(Failure::new(format!("{place}: {name} is given twice"), "give it once"));
        }
        out.push((figure, (*value).to_owned()));
    }
    match out.is_empty() {
        true => Err(Failure::new(format!("{place} says nothing"), hint)),
        false => Ok(out),
    }
}

/// How a figure counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Term {
    pub figure: Quantity,
    /// What matters to the shop; relative, of the level in dB, as all of these. Deviations count in such units.
    pub matters: f64,
    pub weight: f64,
    /// A set is none where it is farther off.
    pub limit: f64,
    /// Nobody set the limit.
    pub limit_usual: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Terms([Term; Quantity::ALL.len()]);

impl Terms {
    pub fn usual(matters: &Matters) -> Terms {
        Terms(Quantity::ALL.map(|figure| {
            let matters = matters.of(figure);
            Term {
                figure,
                matters,
                weight: 1.0,
                limit: USUAL_LIMIT * matters,
                limit_usual: true,
            }
        }))
    }

    pub fn of(&self, figure: Quantity) -> &Term {
        &self.0[figure as usize]
    }

    /// "peak=2 q=0.5".
    pub fn weighted(mut self, text: &str) -> Result<Terms> {
        const HINT: &str = "write weights as --weight \"peak=2 q=0.5\"";
        for (figure, value) in pairs("--weight", text, HINT)? {
            let weight = value.parse::<f64>().ok().filter(|w| (0.0..=100.0).contains(w));
            self.0[figure as usize].weight = weight
                .ok_or_else(|| Failure::new(format!("--weight: {} is no weight of 0 to 100", quoted(&value)), HINT))?;
        }
        Ok(self)
    }

    /// "peak=3% ohms=5%".
    pub fn limited(mut self, text: &str) -> Result<Terms> {
        const HINT: &str = "write limits as --limit \"peak=3% q=10% level=2dB ohms=5%\"";
        for (figure, value) in pairs("--limit", text, HINT)? {
            let limit = quantity::parse_at("--limit", &value, figure.unit())?;
            if !(limit > 0.0 && limit < most(figure)) {
                return Err(Failure::new(
                    format!("--limit: {} lets all pass, or none", quoted(&value)),
                    HINT,
                ));
            }
            let term = &mut self.0[figure as usize];
            (term.limit, term.limit_usual) = (limit, false);
        }
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_and_limits_are_the_shops_own() {
        let matters = Matters::parse("peak=1.5%").unwrap();
        let usual = Terms::usual(&matters);
        assert_eq!(
            (usual.of(Quantity::Peak).matters, usual.of(Quantity::Peak).limit),
            (0.015, 0.03)
        );
        assert_eq!(
            (usual.of(Quantity::Level).matters, usual.of(Quantity::Level).limit),
            (2.0, 4.0)
        );
        let own = usual
            .weighted("peak=2 q=0")
            .unwrap()
            .limited("peak=3% level=1dB")
            .unwrap();
        assert_eq!((own.of(Quantity::Peak).weight, own.of(Quantity::Q).weight), (2.0, 0.0));
        assert_eq!(
            (own.of(Quantity::Level).limit, own.of(Quantity::Level).limit_usual),
            (1.0, false)
        );
        assert!(own.of(Quantity::Q).limit_usual);
        let usual = || Terms::usual(&matters);
        for (e, want) in [
            (usual().weighted("peak=-1"), "--weight: \"-1\" is no weight"),
            (usual().weighted("hum=1"), "--weight: sets are not made by \"hum\""),
            (usual().weighted("peak"), "--weight: \"peak\" has no value"),
            (usual().limited("peak=0"), "--limit: \"0\" lets all pass"),
            (usual().limited("q=5% q=6%"), "--limit: q is given twice"),
            (usual().limited(" "), "--limit says nothing"),
        ] {
            let e = e.unwrap_err().to_string();
            assert!(e.starts_with(want), "{e}");
        }
    }

    #[test]
    fn a_difference_is_a_ratio_or_decibels() {
        assert!((read(Quantity::Ohms, "x", "+8%").unwrap() - 1.08f64.ln()).abs() < 1e-12);
        assert_eq!(read(Quantity::Level, "x", "+1.5dB"), Ok(1.5));
        assert!(read(Quantity::Peak, "x", "-100%").is_err() && read(Quantity::Peak, "x", "2dB").is_err());
        assert!((at(Quantity::Peak, 4000.0, Quantity::Peak.difference(4000.0, 5000.0)) - 5000.0).abs() < 1e-9);
    }
}
