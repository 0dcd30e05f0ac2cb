//! Values of options, as clap hands them over.

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use crate::capture::wav::Channels;
use crate::failure::{Failure, Result};
use crate::network::{Eddy, Knob};
use crate::quantity::{self, Unit};
use crate::record::meters::{self, Column};
use crate::record::stage::Stage;

/// Read, or what is wrong with it.
pub type Said<T> = std::result::Result<T, String>;

/// Lists of which each is one value to the parser.
pub type Columns = Vec<Column>;
pub type Frequencies = Vec<f64>;
pub type Quantities = Vec<Knob>;

/// A quantity in this unit.
pub fn of(unit: Unit) -> impl Fn(&str) -> Result<f64> + Clone + Send + Sync {
    move |s| quantity::parse(s, unit)
}

/// One of a few words, each with what it means. A second word for the same, such as one of old, is taken and not offered.
pub fn one_of<T: Clone + PartialEq + Send + Sync>(
    words: &'static [(&'static str, T)],
) -> impl TypedValueParser<Value = T> {
    let meant = |given: String| {
        let word = words.iter().find(|w| w.0 == given);
        word.map(|w| w.1.clone()).ok_or("no such word")
    };
    let offered = words.iter().enumerate().map(|(i, w)| {
        let second = words[..i].iter().any(|before| before.1 == w.1);
        PossibleValue::new(w.0).hide(second)
    });
    PossibleValuesParser::new(offered).try_map(meant)
}

pub fn eddy(s: &str) -> Result<Eddy> {
    Eddy::parse("eddy", s)
}

/// As [`line`], and not nothing.
pub fn told(s: &str) -> Said<String> {
    match s.trim() {
        "" => Err("it is empty; say it in a few words".into()),
        some => line(some),
    }
}

/// A name, or a few words: what has a control character in it is a slip of the keys, or meant for somebody's terminal.
pub fn line(s: &str) -> Said<String> {
    match s.chars().any(char::is_control) {
        true => Err("it has a control character in it; write it on one line, in letters".into()),
        false => Ok(s.to_owned()),
    }
}

/// A stage in a pickup's life.
pub fn stage(s: &str) -> Said<Stage> {
    let stage = Stage::of(s);
    stage.ok_or("a stage is a word or a few, such as \"before wax\", finished; it begins with a letter".into())
}

fn words(e: Failure) -> String {
    e.to_string()
}

/// What an ohmmeter read, and its name where it is told.
#[derive(Debug, Clone, PartialEq)]
pub struct OhmsRead {
    pub ohm: f64,
    pub meter: Option<String>,
}

pub fn read_ohms(s: &str) -> Said<OhmsRead> {
    let (figure, meter) = meters::parted(s);
    Ok(OhmsRead {
        ohm: ohms(figure)?,
        meter: meter.map(meters::meter_name).transpose().map_err(words)?,
    })
}

pub fn ohms(s: &str) -> Said<f64> {
    let v = quantity::parse(s, Unit::Ohm).map_err(words)?;
    Some(v)
        .filter(|v| *v > 0.0)
        .ok_or("a winding's resistance is above zero".into())
}

pub fn celsius(s: &str) -> Said<f64> {
    let v = quantity::parse(s, Unit::Celsius).map_err(words)?;
    let possible = Some(v).filter(|v| (-60.0..=150.0).contains(v));
    possible.ok_or("no room is that cold or warm; write 21C or 70F".into())
}

/// `pickup=1,reference=2` or `pickup=1`.
pub fn channels(s: &str) -> Said<Channels> {
    let hint = "write pickup=1,reference=2, or pickup=1 for one channel";
    let (mut pickup, mut reference) = (None, None);
    for part in s.split(',') {
        let (name, number) = part.split_once('=').ok_or(hint)?;
        let slot = match name.trim() {
            "pickup" => &mut pickup,
            "reference" => &mut reference,
            _ => return Err(hint.into()),
        };
        let n: usize = number.trim().parse().map_err(|_| hint)?;
        if n == 0 || n > 64 || slot.replace(n).is_some() {
            return Err(hint.into());
        }
    }
    let pickup = pickup.ok_or(hint)?;
    if reference == Some(pickup) {
        return Err(format!("pickup and reference cannot be the same channel; {hint}"));
    }
    Ok(Channels { pickup, reference })
}
