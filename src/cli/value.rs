//! Values of options, as clap hands them over.

use crate::capture::wav::Channels;
use crate::network::reach::Goal;
use crate::network::{Eddy, Knob};
use crate::quantity::{self, Unit};
use crate::record::meters::{self, Column};
use crate::shop::yardstick::Matters;

use super::inputs::{self, LoadArg, ToleranceArg, Vary};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChannelsArg(pub Channels);

#[derive(Debug, Clone, PartialEq)]
pub struct ColumnsArg(pub Vec<Column>);

pub fn columns(s: &str) -> Result<ColumnsArg, String> {
    Column::list(s).map(ColumnsArg).map_err(words)
}

pub fn matters(s: &str) -> Result<Matters, String> {
    Matters::parse(s).map_err(words)
}

/// A list, so that it is one value to the parser.
#[derive(Debug, Clone, PartialEq)]
pub struct Frequencies(pub Vec<f64>);

#[derive(Debug, Clone, PartialEq)]
pub struct Quantities(pub Vec<Knob>);

pub fn henries(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Henry).map_err(words)
}

pub fn farads(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Farad).map_err(words)
}

pub fn eddy(s: &str) -> Result<Eddy, String> {
    Eddy::parse("eddy", s).map_err(words)
}

pub fn load_or_wiring(s: &str) -> Result<LoadArg, String> {
    inputs::load_arg(s).map_err(words)
}

pub fn frequencies(s: &str) -> Result<Frequencies, String> {
    inputs::frequencies(s).map(Frequencies).map_err(words)
}

pub fn sweep(s: &str) -> Result<Vary, String> {
    inputs::vary(s).map_err(words)
}

pub fn tolerances(s: &str) -> Result<ToleranceArg, String> {
    inputs::tolerance(s).map_err(words)
}

pub fn wish(s: &str) -> Result<Goal, String> {
    inputs::goal(s).map_err(words)
}

pub fn quantities(s: &str) -> Result<Quantities, String> {
    inputs::by(s).map(Quantities).map_err(words)
}

/// As [`line`], and not nothing.
pub fn told(s: &str) -> Result<String, String> {
    match s.trim() {
        "" => Err("it is empty; say it in a few words".into()),
        some => line(some),
    }
}

/// A name, or a few words: what has a control character in it is a slip of the keys, or meant for somebody's terminal.
pub fn line(s: &str) -> Result<String, String> {
    match s.chars().any(char::is_control) {
        true => Err("it has a control character in it; write it on one line, in letters".into()),
        false => Ok(s.to_owned()),
    }
}

pub fn words(e: crate::failure::Failure) -> String {
    e.to_string()
}

pub fn hertz(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Hertz).map_err(words)
}

pub fn seconds(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Second).map_err(words)
}

pub fn dbfs(s: &str) -> Result<f64, String> {
    quantity::parse(s, Unit::Dbfs).map_err(words)
}

/// What an ohmmeter read, and its name where it is told.
#[derive(Debug, Clone, PartialEq)]
pub struct OhmsRead {
    pub ohm: f64,
    pub meter: Option<String>,
}

pub fn read_ohms(s: &str) -> Result<OhmsRead, String> {
    let (figure, meter) = meters::parted(s);
    Ok(OhmsRead {
        ohm: ohms(figure)?,
        meter: meter.map(meters::meter_name).transpose().map_err(words)?,
    })
}

pub fn ohms(s: &str) -> Result<f64, String> {
    let v = quantity::parse(s, Unit::Ohm).map_err(words)?;
    if v > 0.0 {
        Ok(v)
    } else {
        Err("a winding's resistance is above zero".into())
    }
}

pub fn celsius(s: &str) -> Result<f64, String> {
    let v = quantity::parse(s, Unit::Celsius).map_err(words)?;
    if (-60.0..=150.0).contains(&v) {
        Ok(v)
    } else {
        Err("no room is that cold or warm; write 21C or 70F".into())
    }
}

/// `pickup=1,reference=2` or `pickup=1`.
pub fn channels(s: &str) -> Result<ChannelsArg, String> {
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
    Ok(ChannelsArg(Channels { pickup, reference }))
}
