//! What is compared, and from which size on it matters.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit, quoted};

/// What readings are compared by.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Quantity {
    /// Frequency of the peak.
    #[default]
    Peak,
    F0,
    Q,
    /// Of the peak, above the lows.
    Height,
    /// Coupling from the exciter.
    Level,
    /// The responses over each other, where they are farthest apart.
    Curve,
    /// Of a response without a peak, where it is 3 dB down: it matters as the peak does.
    Down,
    /// Of the winding at 20 degrees, by an ohmmeter: in no take, and so in no comparison of takes.
    Ohms,
}

impl Quantity {
    /// In the order of their numbers.
    pub const ALL: [Quantity; 8] = {
        use Quantity::*;
        [Peak, F0, Q, Height, Level, Curve, Down, Ohms]
    };

    /// As in `use --matters` and in documents.
    pub fn code(self) -> &'static str {
        ["peak", "f0", "q", "height", "level", "curve", "down", "ohms"][self as usize]
    }

    /// Compared by the natural logarithm of the ratio, so that a against b is as far as b against a; else in dB.
    pub fn is_relative(self) -> bool {
        !matches!(self, Quantity::Height | Quantity::Level | Quantity::Curve)
    }

    /// A value as it is compared.
    pub fn compared(self, value: f64) -> f64 {
        if self.is_relative() { value.ln() } else { value }
    }

    /// The value of which this is the logarithm, or itself.
    pub fn from_compared(self, compared: f64) -> f64 {
        if self.is_relative() { compared.exp() } else { compared }
    }

    /// The second less the first, as it is compared.
    pub fn difference(self, first: f64, second: f64) -> f64 {
        if self.is_relative() {
            (second / first).ln()
        } else {
            second - first
        }
    }

    /// A standard uncertainty of a value in its own unit, as it is compared.
    pub fn uncertainty(self, value: f64, u: f64) -> f64 {
        if self.is_relative() { u / value.abs() } else { u }
    }

    /// What matters where nothing was said: a choice, shown as "usual".
    const fn usual(self) -> f64 {
        match self {
            Quantity::Peak | Quantity::F0 | Quantity::Down => 0.01,
            Quantity::Q => 0.05,
            Quantity::Ohms => 0.02,
            Quantity::Height => 0.5,
            Quantity::Level => 2.0,
            Quantity::Curve => 0.3,
        }
    }

    /// What it matters by.
    fn as_set(self) -> Quantity {
        if self == Quantity::Down { Quantity::Peak } else { self }
    }

    /// A difference of it is written in this.
    pub fn unit(self) -> Unit {
        if self.is_relative() {
            Unit::Relative
        } else {
            Unit::Decibel
        }
    }

    /// A shop that puts up with more has no need of comparing.
    fn most(self) -> f64 {
        if self.is_relative() { 1.0 } else { 100.0 }
    }
}

const HINT: &str = "write peak=1% f0=1% q=5% height=0.5dB level=2dB curve=0.3dB ohms=2%, or some of them";

/// From which size on a difference matters to this shop. `{}` writes what was set, which [`Matters::parse`] reads; `{:#}` all of it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Matters {
    set: [Option<f64>; Quantity::ALL.len()],
}

impl Matters {
    /// Relative, or in dB, as the quantity is compared.
    pub fn of(&self, quantity: Quantity) -> f64 {
        self.set[quantity.as_set() as usize].unwrap_or(quantity.usual())
    }

    pub fn is_usual(&self, quantity: Quantity) -> bool {
        self.set[quantity.as_set() as usize].is_none()
    }

    /// What is set here, and for the rest what was set there.
    pub fn over(&self, older: &Matters) -> Matters {
        Matters {
            set: std::array::from_fn(|i| self.set[i].or(older.set[i])),
        }
    }

    /// Where a question has a limit of its own: a wax limit, a standard's.
    pub fn with(mut self, quantity: Quantity, limit: f64) -> Matters {
        self.set[quantity as usize] = Some(limit);
        self
    }

    /// "peak=1% q=5%".
    pub fn parse(text: &str) -> Result<Matters> {
        let mut out = Matters::default();
        for word in text.split_whitespace() {
            let (name, value) = word
                .split_once('=')
                .ok_or_else(|| Failure::new(format!("{} has no \"=\"", quoted(word)), HINT))?;
            let quantity = Quantity::ALL
                .into_iter()
                .find(|q| q.code() == name && *q == q.as_set())
                .ok_or_else(|| Failure::new(format!("nothing is compared by {}", quoted(name)), HINT))?;
            let v = quantity::parse_at(&format!("what matters in {name}"), value, quantity.unit())?;
            if !(v > 0.0 && v < quantity.most()) {
                return Err(Failure::new(
                    format!("{} lets everything matter, or nothing", quoted(word)),
                    HINT,
                ));
            }
            if !out.is_usual(quantity) {
                return Err(Failure::new(
                    format!("what matters in {name} is given twice"),
                    "give it once",
                ));
            }
            out = out.with(quantity, v);
        }
        if out == Matters::default() {
            return Err(Failure::new("nothing is said of what matters", HINT));
        }
        Ok(out)
    }

    /// Those that nobody set, written likewise.
    pub fn usual_ones(&self) -> String {
        self.written(|q| self.is_usual(q))
    }

    fn written(&self, shown: impl Fn(Quantity) -> bool) -> String {
        let each = Quantity::ALL.into_iter().filter(|q| *q == q.as_set() && shown(*q));
        let words = each.map(|q| match q.is_relative() {
            // Rounded where binary fractions would show: 7 %, not 7.000000000000001 %.
            true => format!("{}={}%", q.code(), (1e14 * self.of(q)).round() / 1e12),
            false => format!("{}={}dB", q.code(), self.of(q)),
        });
        words.collect::<Vec<_>>().join(" ")
    }
}

impl fmt::Display for Matters {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.written(|q| f.alternate() || !self.is_usual(q)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_matters_is_read_and_written() {
        let usual = Matters::default();
        let all = "peak=1% f0=1% q=5% height=0.5dB level=2dB curve=0.3dB ohms=2%";
        assert_eq!(format!("{usual:#}"), all);
        assert_eq!(usual.to_string(), "");
        let own = Matters::parse("q=7% height=0.25dB").unwrap();
        assert_eq!(
            (own.of(Quantity::Q), own.of(Quantity::Height), own.of(Quantity::Peak)),
            (0.07, 0.25, 0.01)
        );
        assert!(!own.is_usual(Quantity::Q) && own.is_usual(Quantity::Peak));
        assert_eq!(own.to_string(), "q=7% height=0.25dB");
        assert_eq!(own.usual_ones(), "peak=1% f0=1% level=2dB curve=0.3dB ohms=2%");
        assert_eq!(Matters::parse(&own.to_string()), Ok(own));
        assert_eq!(format!("{:#}", Matters::parse(all).unwrap()), all);
        for (text, want) in [
            ("q", "\"q\" has no \"=\""),
            ("qq=5%", "nothing is compared by \"qq\""),
            ("q=x", "what matters in q: "),
            ("q=0", "\"q=0\" lets everything matter, or nothing"),
            ("level=-1dB", "\"level=-1dB\" lets everything matter"),
            ("q=5% q=4%", "what matters in q is given twice"),
            (" ", "nothing is said of what matters"),
        ] {
            let e = Matters::parse(text).unwrap_err().to_string();
            assert!(e.starts_with(want) && e.contains("; "), "{text}: {e}");
        }
    }

    #[test]
    fn a_ratio_is_as_far_either_way() {
        let q = Quantity::Q;
        assert_eq!(q.difference(2.0, 4.0), -q.difference(4.0, 2.0));
        assert_eq!(Quantity::Height.difference(3.0, 4.5), 1.5);
        assert_eq!(q.uncertainty(2.5, 0.05), 0.02);
        for (i, q) in Quantity::ALL.into_iter().enumerate() {
            assert_eq!(q as usize, i);
        }
    }
}
