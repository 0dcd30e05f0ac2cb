//! Values of the commands on loads and coils: what is written on the command line, checked, without a look at any file.

use crate::coil::behind::Stated;
use crate::failure::{Failure, Result};
use crate::network::Load;
use crate::network::knob::{self, Knob, Tolerances};
use crate::network::reach::Goal;
use crate::quantity::{self, Unit, preferred, quoted};
use crate::shop::standard::Allowed;
use crate::shop::wax::document::Limits;

/// A load in the command line's notation, or a wiring: by name, or a file.
#[derive(Debug, Clone, PartialEq)]
pub enum LoadArg {
    Load(Load),
    Wiring(String),
}

/// On some systems `.TOML` is the same.
pub fn names_toml(name: &str) -> bool {
    let ending = name.len().checked_sub(5).and_then(|at| name.get(at..));
    ending.is_some_and(|e| e.eq_ignore_ascii_case(".toml"))
}

/// A word without "=" is no part of a load: it names a wiring.
pub fn load_arg(text: &str) -> Result<LoadArg> {
    let named = !text.contains('=') && !text.trim().is_empty() && text.trim() != "none";
    if named || names_toml(text) {
        Ok(LoadArg::Wiring(text.trim().into()))
    } else {
        Load::parse(text).map(LoadArg::Load)
    }
}

/// What a sweep runs through.
#[derive(Debug, Clone, PartialEq)]
pub struct Vary {
    pub knob: Knob,
    pub course: Course,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Course {
    Listed(Vec<f64>),
    /// From one to the other, both included, in as many steps as are asked for.
    Between(f64, f64),
}

/// Curves that still can be told apart.
pub const MOST_STEPS: usize = 12;
const USUAL_STEPS: usize = 6;

impl Vary {
    pub fn values(&self, steps: Option<usize>) -> Result<Vec<f64>> {
        match &self.course {
            Course::Between(a, b) => {
                let by_ratio = matches!(self.knob.unit(), Unit::Ohm | Unit::Farad);
                Ok(knob::steps(*a, *b, steps.unwrap_or(USUAL_STEPS), by_ratio))
            }
            Course::Listed(_) if steps.is_some() => Err(Failure::new(
                "--steps does not go with a list of values",
                format!("write --vary {}=FROM...TO, or leave --steps out", self.knob.name()),
            )),
            Course::Listed(v) => Ok(v.clone()),
        }
    }
}

/// "cable=1m...10m", "vol=1...0" or "tone-cap=10n,22n,47n".
pub fn vary(text: &str) -> Result<Vary> {
    let hint = format!(
        "write cable=1m...10m or tone-cap=10n,22n,47n; quantities are {}",
        Knob::names()
    );
    let Some((name, course)) = text.split_once('=') else {
        return Err(Failure::new(format!("{} has no \"=\"", quoted(text)), hint));
    };
    let knob = knob_named(name)?;
    let value = |t: &str| quantity::parse_at(name, t, knob.unit());
    let course = match course.split_once("...").or(course.split_once("..")) {
        Some((a, b)) => Course::Between(value(a)?, value(b)?),
        None => Course::Listed(course.split(',').map(value).collect::<Result<_>>()?),
    };
    let (worst, count) = match &course {
        Course::Between(a, b) => (a.min(*b), 0),
        Course::Listed(v) => (v.iter().copied().fold(f64::INFINITY, f64::min), v.len()),
    };
    if worst == 0.0 && knob.unit() == Unit::Ohm {
        return Err(Failure::new(
            format!("{name}: 0 is a short"),
            "begin above 0, such as 1k",
        ));
    }
    if count > MOST_STEPS {
        return Err(Failure::new(
            format!("{name}: {count} values are more than one plot can show"),
            format!("give {MOST_STEPS} at most"),
        ));
    }
    Ok(Vary { knob, course })
}

fn knob_named(name: &str) -> Result<Knob> {
    Knob::by_name(name).ok_or_else(|| {
        Failure::new(
            format!("there is no quantity {}", quoted(name)),
            format!("quantities are {}", Knob::names()),
        )
    })
}

/// "cap" or "cap,vol-pot".
pub fn by(text: &str) -> Result<Vec<Knob>> {
    text.split(',').map(|n| knob_named(n.trim())).collect()
}

/// "3.2kHz", "6dB" or "3.2kHz 6dB".
pub fn goal(text: &str) -> Result<Goal> {
    let hint = "write 3.2kHz, 6dB, or both in quotes: \"3.2kHz 6dB\"; the height is counted above the lows";
    let mut goal = Goal {
        peak_hz: None,
        height_db: None,
    };
    for word in text.split([' ', ',', '@']).filter(|w| !w.is_empty()) {
        let (slot, unit) = match word.to_ascii_lowercase().ends_with("db") {
            true => (&mut goal.height_db, Unit::Decibel),
            false => (&mut goal.peak_hz, Unit::Hertz),
        };
        let v = quantity::parse(word, unit).map_err(|e| Failure::new(e.what, hint))?;
        if v <= 0.0 {
            return Err(Failure::new(format!("{} is no place for a peak", quoted(word)), hint));
        }
        if slot.replace(v).is_some() {
            let what = format!("{}: that is wished for twice", quoted(word));
            return Err(Failure::new(what, hint));
        }
    }
    if goal.peak_hz.is_none() && goal.height_db.is_none() {
        return Err(Failure::new("nothing is wished for", hint));
    }
    Ok(goal)
}

/// Far above anything that L, C_s and R describe.
const MOST_HZ: f64 = 10e6;

/// "100,1k,5k".
pub fn frequencies(text: &str) -> Result<Vec<f64>> {
    let one = |t: &str| match quantity::parse(t, Unit::Hertz)? {
        hz if hz <= 0.0 => Err(Failure::new(
            format!("{} is no frequency to predict", quoted(t)),
            "give frequencies above 0, such as 100,1k,5k",
        )),
        hz if hz > MOST_HZ => Err(Failure::new(
            format!("{} is above 10 MHz, where a winding is no coil any more", quoted(t)),
            "give hertz as 5000 or 5k; what is heard ends at 20k",
        )),
        hz => Ok(hz),
    };
    text.split(',').map(one).collect()
}

/// Tolerances of the parts, and of the ohmmeter.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ToleranceArg {
    pub stated: Stated,
    pub ohmmeter: Option<f64>,
}

/// "usual", or "cap=1% vol-pot=20% pots=20% caps=K ohms=0.5%": half-widths, or the letters of IEC 60062.
pub fn tolerance(text: &str) -> Result<ToleranceArg> {
    let parts = Knob::all().filter(|k| k.is_part());
    let hint = format!(
        "write usual, or parts as cap=1% vol-pot=20% caps=K, \"cap=1% shared\" where all were read on one meter; parts are pots, caps, ohms (the meter), input (the rig's, with its lead) and {}",
        parts.clone().map(Knob::name).collect::<Vec<_>>().join(", ")
    );
    let mut out = ToleranceArg::default();
    let mut last: Vec<Knob> = Vec::new();
    let words = text.split(|c: char| c == ',' || c.is_whitespace());
    for word in words.filter(|w| !w.is_empty()) {
        if word == "shared" {
            if last.is_empty() {
                return Err(Failure::new("shared stands behind nothing it could be of", hint));
            }
            out.stated.shared.append(&mut last);
            continue;
        }
        if word == "usual" {
            let usual = Tolerances::usual().0.into_iter();
            usual.for_each(|(k, t)| out.stated.parts.put(k, t));
            continue;
        }
        let Some((name, value)) = word.split_once('=') else {
            return Err(Failure::new(format!("tolerance {} has no \"=\"", quoted(word)), hint));
        };
        let half = half_width(name, value)?;
        last = match name {
            "ohms" | "input" => vec![],
            "pots" => parts.clone().filter(|k| k.is_potentiometer()).collect(),
            "caps" => vec![Knob::Cap, Knob::ToneCap, Knob::BleedCap],
            other => parts.clone().filter(|k| k.name() == other).collect(),
        };
        match name {
            "ohms" => out.ohmmeter = Some(half),
            "input" => out.stated.input = Some(half),
            other if last.is_empty() => {
                let what = format!("tolerance of {}: no such part", quoted(other));
                return Err(Failure::new(what, hint));
            }
            _ => last.iter().for_each(|k| out.stated.parts.put(*k, half)),
        }
    }
    Ok(out)
}

fn half_width(name: &str, value: &str) -> Result<f64> {
    let mut letters = value.chars();
    let letter = match (letters.next(), letters.next()) {
        (Some(c), None) if c.is_ascii_alphabetic() => preferred::tolerance_letter(c),
        _ => None,
    };
    let read = || quantity::parse_at(&format!("tolerance {name}"), value, Unit::Relative);
    let half = letter.map_or_else(read, Ok)?;
    if half >= 1.0 {
        let part = quoted(&format!("{name}={value}"));
        return Err(Failure::new(
            format!("tolerance {part}: a part that may be anything"),
            "write per cent as cap=1%",
        ));
    }
    Ok(half)
}

/// Each word of a list with its name and value; `what` names a word without "=".
fn words<'a>(text: &'a str, what: &str, hint: &str) -> Result<Vec<(&'a str, &'a str, &'a str)>> {
    let split = |word: &'a str| match word.split_once('=') {
        Some((name, value)) => Ok((word, name, value)),
        None => Err(Failure::new(format!("{what}{} has no \"=\"", quoted(word)), hint)),
    };
    text.split_whitespace().map(split).collect()
}

/// "f0=0.5% q=5%".
pub fn pot_limits(text: &str) -> Result<Limits> {
    let hint = "write f0=0.5% q=5%, or one of them";
    let mut limits = Limits::default();
    for (word, name, value) in words(text, "limit ", hint)? {
        let slot = match name {
            "f0" => &mut limits.f0,
            "q" => &mut limits.q,
            _ => return Err(Failure::new(format!("there is no limit of {}", quoted(name)), hint)),
        };
        let v = quantity::parse_at(&format!("limit {name}"), value, Unit::Relative)?;
        if !(v > 0.0 && v < 1.0) {
            return Err(Failure::new(format!("limit {} is none", quoted(word)), hint));
        }
        *slot = v;
    }
    Ok(limits)
}

/// "f0=3% q=8% level=2dB ohms=3%".
pub fn allowed(text: &str) -> Result<Allowed> {
    let hint = "write f0=3% q=8% level=2dB ohms=3%, or some of them";
    let mut out = Allowed::default();
    for (word, name, value) in words(text, "", hint)? {
        let (slot, unit, most) = match name {
            "f0" => (&mut out.f0, Unit::Relative, 1.0),
            "q" => (&mut out.q, Unit::Relative, 1.0),
            "ohms" => (&mut out.ohms, Unit::Relative, 1.0),
            "level" => (&mut out.level_db, Unit::Decibel, 100.0),
            _ => return Err(Failure::new(format!("nothing is allowed in {}", quoted(name)), hint)),
        };
        let v = quantity::parse_at(&format!("allowed in {name}"), value, unit)?;
        if !(v > 0.0 && v < most) {
            let what = format!("{} allows nothing, or everything", quoted(word));
            return Err(Failure::new(what, hint));
        }
        *slot = Some(v);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sweeps() {
        let v = vary("cable=1m...10m").unwrap();
        assert_eq!(v.knob, Knob::Cable);
        assert_eq!(v.values(Some(4)).unwrap(), [1.0, 4.0, 7.0, 10.0]);
        assert_eq!(v.values(None).unwrap().len(), USUAL_STEPS);
        assert_eq!(vary("vol=1...0").unwrap().values(Some(3)).unwrap(), [1.0, 0.5, 0.0]);
        assert_eq!(vary("vol=1..0"), vary("vol=1...0"));
        assert_eq!(vary("tone-cap=10n,22n").unwrap().values(None).unwrap(), [10e-9, 22e-9]);
        let pots = vary("vol-pot=100k...1M").unwrap().values(Some(3)).unwrap();
        assert!((pots[1] / 316_227.766 - 1.0).abs() < 1e-8);
        for (text, want) in [
            ("cable", "has no \"=\""),
            ("cables=1m...2m", "no quantity \"cables\""),
            ("cable=1k...2k", "is a resistance, not a length"),
            ("vol=0...1.2", "beyond full rotation"),
            ("res=0...1M", "is a short"),
            ("cable=1,2,3,4,5,6,7,8,9,10,11,12,13", "13 values"),
        ] {
            let e = vary(text).unwrap_err().to_string();
            assert!(e.contains(want) && e.contains("; "), "{text}: {e}");
        }
        assert!(vary("cap=1n,2n").unwrap().values(Some(3)).is_err());
    }

    #[test]
    fn wishes() {
        let g = goal("3.2kHz 6dB").unwrap();
        assert_eq!((g.peak_hz, g.height_db), (Some(3200.0), Some(6.0)));
        assert_eq!(goal("6dB").unwrap().peak_hz, None);
        for text in ["", "3.2kHz 4kHz", "-3dB", "fast", "0"] {
            assert!(goal(text).is_err(), "{text}");
        }
        assert_eq!(by("cap,vol-pot").unwrap(), [Knob::Cap, Knob::VolPot]);
        assert!(by("caps").is_err());
    }

    #[test]
    fn tolerances() {
        let t = tolerance("usual cap=F pots=10% ohms=0.5%").unwrap();
        assert_eq!(t.ohmmeter, Some(0.005));
        assert_eq!(t.stated.parts.of(Knob::Cap), Some(0.01));
        assert_eq!(t.stated.parts.of(Knob::VolPot), Some(0.1));
        assert_eq!(t.stated.parts.of(Knob::ToneCap), Some(0.1));
        assert_eq!(t.stated.parts.of(Knob::Lead), None);
        assert_eq!(tolerance("usual, cap=F,pots=10%, ohms=0.5%"), Ok(t));
        let shared = tolerance("ohms=0.5% cap=1% shared, lead=5%").unwrap().stated;
        assert_eq!(
            (shared.shared, shared.parts.of(Knob::Cap)),
            (vec![Knob::Cap], Some(0.01))
        );
        for (text, want) in [
            ("shared", "behind nothing"),
            ("ohms=1% shared", "behind nothing"),
            ("cap", "has no \"=\""),
            ("vol=1%", "no such part"),
            ("cap=150%", "may be anything"),
            ("cap=Z", "tolerance cap: \"Z\""),
        ] {
            let e = tolerance(text).unwrap_err().to_string();
            assert!(e.contains(want), "{text}: {e}");
        }
    }

    #[test]
    fn loads_and_wirings() {
        assert_eq!(load_arg("none"), Ok(LoadArg::Load(Load::default())));
        assert_eq!(load_arg("coil-split"), Ok(LoadArg::Wiring("coil-split".into())));
        assert_eq!(
            load_arg("a=b/guitar.toml"),
            Ok(LoadArg::Wiring("a=b/guitar.toml".into()))
        );
        assert!(matches!(load_arg("vol=250k"), Ok(LoadArg::Load(_))));
        assert_eq!(load_arg("B=C.TOML"), Ok(LoadArg::Wiring("B=C.TOML".into())));
        assert!(!names_toml("toml") && !names_toml("ÄÖtoml"));
        assert!(load_arg("vol=250x").is_err());
        let e = frequencies("1k,5G").unwrap_err().to_string();
        assert!(e.contains("\"5G\" is above 10 MHz") && e.contains("5k"), "{e}");
        assert_eq!(frequencies("100,1k,5k"), Ok(vec![100.0, 1000.0, 5000.0]));
        assert!(frequencies("100,,5k").is_err() && frequencies("0").is_err());
    }
}
