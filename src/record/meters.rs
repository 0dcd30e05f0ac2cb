//! What the shop's other meters read: each figure with the name of the instrument it was read on.
//!
//! Figures are kept as they were typed and have no uncertainty: none is told by a meter's display. What they are good for is
//! the same instrument against itself, so that figures of two instruments never enter one statistic.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit, quoted};
use crate::stats::{grouped, mean, median, sd};

const LONGEST_NAME: usize = 60;
/// Windings of guitar pickups start far above these (common practice: 2 kilohms and 1 henry and more).
pub const LEAST_WINDING_OHM: f64 = 50.0;
const LEAST_WINDING_H: f64 = 1e-3;

mod poles;
#[cfg(test)]
mod tests;

use poles::{MOST_POLES, MOST_TESLA, gauss, poles, uneven};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    Ohms,
    Lcr,
    Gauss,
}

impl Kind {
    const ALL: [Kind; 3] = [Kind::Ohms, Kind::Lcr, Kind::Gauss];

    pub fn word(self) -> &'static str {
        match self {
            Kind::Ohms => "ohms",
            Kind::Lcr => "lcr",
            Kind::Gauss => "gauss",
        }
    }

    /// A row of figures with their unit, to so many significant digits.
    fn shown(self, figures: &[f64], digits: impl Fn(f64) -> usize) -> String {
        let show = |v: &f64| match self {
            Kind::Ohms => quantity::show(*v, Unit::Ohm, digits(*v)),
            Kind::Lcr => quantity::show(*v, Unit::Henry, digits(*v)),
            Kind::Gauss => gauss(*v),
        };
        let row: Vec<String> = figures.iter().map(show).collect();
        format!("{}{}", row.join(" "), if self == Kind::Gauss { " G" } else { "" })
    }

    /// What a figure can be, in ohms, henries or tesla.
    fn holds(self, figure: f64) -> bool {
        match self {
            Kind::Ohms => (1e-3..=1e9).contains(&figure),
            Kind::Lcr => (1e-9..=1e5).contains(&figure),
            Kind::Gauss => figure.abs() <= MOST_TESLA,
        }
    }
}

/// Test frequencies of LCR meters, in hertz.
fn tests_at(hz: f64) -> bool {
    (1.0..=1e6).contains(&hz)
}

/// A figure of an instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Reading {
    Ohms {
        meter: String,
        ohm: f64,
    },
    Lcr {
        meter: String,
        /// The meter's test frequency.
        at_hz: f64,
        henry: f64,
    },
    Gauss {
        meter: String,
        /// Flux density at each pole, in the order of the row; the sign is the polarity.
        poles_t: Vec<f64>,
    },
}

/// What an instrument is asked, again and again: "ohms by meter A", "lcr at 120Hz by bridge B", "gauss by probe C".
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Column {
    pub kind: Kind,
    pub meter: String,
    /// Of an LCR meter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_hz: Option<f64>,
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.kind.word())?;
        if let Some(hz) = self.at_hz {
            write!(f, " at {}", quantity::compact(hz, Unit::Hertz))?;
        }
        write!(f, " by {}", self.meter)
    }
}

/// Columns as they are given on a command line.
pub fn written(columns: &[Column]) -> String {
    let list: Vec<String> = columns.iter().map(Column::to_string).collect();
    match list.is_empty() {
        true => "none".into(),
        false => list.join(", "),
    }
}

/// A name that can stand in a list.
pub fn meter_name(text: &str) -> Result<String> {
    let name = text.trim();
    let odd = |c: char| c.is_control() || c == ',';
    if name.is_empty() || name.chars().any(odd) || name.chars().count() > LONGEST_NAME {
        return Err(Failure::new(
            format!("{} is no name of a meter", quoted(name)),
            format!("give a word or two without a comma, {LONGEST_NAME} letters at most, such as meter A"),
        ));
    }
    Ok(name.to_owned())
}

/// A figure and the instrument behind " by ".
pub fn parted(text: &str) -> (&str, Option<&str>) {
    match text.split_once(" by ") {
        Some((x, name)) => (x.trim(), Some(name)),
        None => (text.trim(), None),
    }
}

/// What stands before " at ", and the test frequency behind it.
fn tested_at(text: &str) -> Result<(&str, Option<f64>)> {
    let Some((what, hz)) = text.split_once(" at ") else {
        return Ok((text, None));
    };
    let hz = quantity::parse_at("test frequency", hz.trim(), Unit::Hertz)?;
    match tests_at(hz) {
        true => Ok((what.trim(), Some(hz))),
        false => Err(Failure::new(
            format!("a test frequency of {hz} Hz is not of this world"),
            "give it as 100Hz, 120Hz or 1k",
        )),
    }
}

impl Column {
    /// As [`Column::list`] would have it: of an LCR meter with its test frequency, of no other with one.
    pub fn is_sound(&self) -> bool {
        (self.kind == Kind::Lcr) == self.at_hz.is_some()
            && self.at_hz.is_none_or(tests_at)
            && meter_name(&self.meter).is_ok()
    }

    /// "ohms by meter A, lcr at 120Hz by bridge B, gauss by probe C"; "none" for none.
    pub fn list(text: &str) -> Result<Vec<Column>> {
        if text.trim() == "none" {
            return Ok(Vec::new());
        }
        let mut out: Vec<Column> = Vec::new();
        for part in text.split(',') {
            let column = Column::parse(part)?;
            if out.contains(&column) {
                return Err(Failure::new(
                    format!("the column {column} is given twice"),
                    "give each once",
                ));
            }
            out.push(column);
        }
        Ok(out)
    }

    fn parse(text: &str) -> Result<Column> {
        let wrong = || {
            Failure::new(
                format!("{} is no column", quoted(text.trim())),
                "write \"ohms by meter A\", \"lcr at 120Hz by bridge B\" or \"gauss by probe C\", with a comma between",
            )
        };
        let (what, meter) = parted(text);
        let meter = meter_name(meter.ok_or_else(wrong)?)?;
        let (word, at) = tested_at(what)?;
        let kind = Kind::ALL.into_iter().find(|k| k.word() == word).ok_or_else(wrong)?;
        // A figure of an LCR meter means something at its frequency alone, the others have none.
        if (kind == Kind::Lcr) != at.is_some() {
            return Err(wrong());
        }
        Ok(Column { kind, meter, at_hz: at })
    }

    /// A figure as it is typed under this column.
    pub fn read(&self, typed: &str) -> Result<Reading> {
        let meter = self.meter.clone();
        let figure = |unit, what| {
            let v = quantity::parse_at(self.kind.word(), typed, unit)?;
            match self.kind.holds(v) {
                true => Ok(v),
                false => Err(Failure::new(
                    format!("{v} {what} are not of this world"),
                    "type what the meter shows, with k, M, m or H where it stands",
                )),
            }
        };
        Ok(match self.kind {
            Kind::Ohms => Reading::Ohms {
                meter,
                ohm: figure(Unit::Ohm, "ohms")?,
            },
            Kind::Lcr => Reading::Lcr {
                meter,
                at_hz: self.at_hz.unwrap_or(f64::NAN),
                henry: figure(Unit::Henry, "henries")?,
            },
            Kind::Gauss => Reading::Gauss {
                meter,
                poles_t: poles(typed)?,
            },
        })
    }
}

impl Reading {
    /// "6.05k by meter A", "2.43H at 120Hz by bridge B", "412 430 428 by probe C"; where the instrument is not named, the only
    /// column of that kind among `columns` names it.
    pub fn parse(kind: Kind, text: &str, columns: &[Column]) -> Result<Reading> {
        let (what, meter) = parted(text);
        let (typed, at) = if kind == Kind::Lcr {
            tested_at(what)?
        } else {
            (what, None)
        };
        let mut fitting = columns
            .iter()
            .filter(|c| c.kind == kind && (at.is_none() || c.at_hz == at));
        let column = match (meter, fitting.next(), fitting.next()) {
            (Some(m), ..) => Column {
                kind,
                meter: meter_name(m)?,
                at_hz: at,
            },
            (None, Some(one), None) => one.clone(),
            _ => {
                return Err(Failure::new(
                    format!(
                        "{}: {} does not say on which meter it was read",
                        kind.word(),
                        quoted(text)
                    ),
                    format!(
                        "write \"{} by NAME\", or choose it once with `coilwright use --columns`",
                        text.trim()
                    ),
                ));
            }
        };
        if kind == Kind::Lcr && column.at_hz.is_none() {
            return Err(Failure::new(
                format!("lcr: {} does not say at which frequency the meter tests", quoted(text)),
                format!("write \"{typed} at 120Hz by {}\"; it stands on the meter", column.meter),
            ));
        }
        column.read(typed)
    }

    /// What it was read under.
    pub fn column(&self) -> Column {
        let (kind, meter, at_hz) = match self {
            Reading::Ohms { meter, .. } => (Kind::Ohms, meter, None),
            Reading::Lcr { meter, at_hz, .. } => (Kind::Lcr, meter, Some(*at_hz)),
            Reading::Gauss { meter, .. } => (Kind::Gauss, meter, None),
        };
        Column {
            kind,
            meter: meter.clone(),
            at_hz,
        }
    }

    /// All figures, in ohms, henries or tesla.
    fn figures(&self) -> &[f64] {
        match self {
            Reading::Ohms { ohm, .. } => std::slice::from_ref(ohm),
            Reading::Lcr { henry, .. } => std::slice::from_ref(henry),
            Reading::Gauss { poles_t, .. } => poles_t,
        }
    }

    /// One figure: of poles their middle in size.
    pub fn figure(&self) -> f64 {
        median(self.figures().iter().map(|v| v.abs()).collect())
    }

    /// A figure read from a file: as possible as a typed one.
    pub fn possible(&self) -> bool {
        let (column, figures) = (self.column(), self.figures());
        column.is_sound() && (1..=MOST_POLES).contains(&figures.len()) && figures.iter().all(|v| column.kind.holds(*v))
    }

    /// As it is typed.
    pub fn shown(&self) -> String {
        self.column().kind.shown(self.figures(), digits)
    }

    /// What looks like a slip of the fingers.
    pub fn doubt(&self) -> Option<String> {
        match self {
            Reading::Ohms { ohm, .. } if *ohm < LEAST_WINDING_OHM => {
                Some(format!("{ohm} ohms are little for a pickup: was {ohm}k meant?"))
            }
            Reading::Lcr { henry, .. } if *henry < LEAST_WINDING_H => Some(format!(
                "{} is little for a pickup: which unit does the meter show?",
                quantity::show(*henry, Unit::Henry, 3)
            )),
            _ => None,
        }
    }

    /// What is uneven in a row of poles, in words.
    pub fn uneven(&self) -> Option<String> {
        match self {
            Reading::Gauss { poles_t, .. } => uneven(poles_t),
            _ => None,
        }
    }
}

/// Significant digits that a figure was typed with; zeros at its end are lost.
fn digits(v: f64) -> usize {
    let text = format!("{v:e}");
    let typed = text.split('e').next().unwrap_or_default();
    typed.chars().filter(char::is_ascii_digit).count().clamp(3, 9)
}

/// What one instrument has read, of one kind, over a lot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tally {
    pub column: Column,
    pub readings: usize,
    /// In ohms, henries or tesla (of a row of poles, their middle).
    pub mean: f64,
    /// Standard deviation; null below two.
    pub sd: Option<f64>,
    pub least: f64,
    pub most: f64,
}

impl Tally {
    /// One for each instrument and each frequency, in the order of their first reading.
    pub fn of<'a>(readings: impl IntoIterator<Item = &'a Reading>) -> Vec<Tally> {
        grouped(readings.into_iter().map(|r| (r.column(), r.figure())))
            .into_iter()
            .filter_map(|(column, list)| {
                Some(Tally {
                    column,
                    readings: list.len(),
                    mean: mean(&list)?,
                    sd: sd(&list),
                    least: list.iter().copied().fold(f64::INFINITY, f64::min),
                    most: list.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                })
            })
            .collect()
    }

    /// A figure of this kind with its unit.
    pub fn shown(&self, v: f64) -> String {
        self.column.kind.shown(&[v], |_| 4)
    }
}
