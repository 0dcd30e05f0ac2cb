//! The wiring file: what may stand in it, and what it means.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Deserialize;

use super::{Join, Member, Pickup, Wiring};
use crate::failure::{Failure, Result};
use crate::network::coil::Coil;
use crate::network::load::{Course, Load, Taper, Track};
use crate::quantity::{self, Unit, quoted};

/// The file as it is written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    name: Option<String>,
    about: Option<String>,
    #[serde(default)]
    join: Join,
    load: Option<String>,
    #[serde(default)]
    taper: BTreeMap<String, TaperTable>,
    #[serde(default)]
    pickup: Vec<PickupTable>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct TaperTable {
    rotation: Option<Vec<f64>>,
    share: Option<Vec<f64>>,
    like: Option<String>,
    open_from: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct PickupTable {
    name: Option<String>,
    join: Option<Join>,
    polarity: Option<i8>,
    #[serde(default)]
    state: State,
    load: Option<String>,
    #[serde(default)]
    coil: Vec<CoilTable>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct CoilTable {
    name: Option<String>,
    file: Option<String>,
    r: Option<Amount>,
    l: Option<Amount>,
    cs: Option<Amount>,
    loss: Option<Amount>,
    emf: Option<f64>,
    polarity: Option<i8>,
    #[serde(default)]
    state: State,
    across: Option<String>,
}

/// By hand one writes `r = 4000` as often as `r = "4k"`.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum Amount {
    Text(String),
    Number(f64),
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum State {
    #[default]
    On,
    Off,
    Short,
}

/// What names in the file stand for.
struct Named<'a> {
    tracks: &'a [Arc<Track>],
    coil_file: &'a dyn Fn(&str) -> Result<Coil>,
}

impl Named<'_> {
    fn load(&self, text: &Option<String>) -> Result<Load> {
        Load::parse_with(text.as_deref().unwrap_or_default(), self.tracks)
    }
}

/// "pickup "neck"", or "pickup 1" where it has no name.
fn who(what: &str, name: &Option<String>, i: usize) -> String {
    match name {
        Some(n) => format!("{what} {}", quoted(n)),
        None => format!("{what} {}", i + 1),
    }
}

impl Wiring {
    /// Reads a wiring file. `place` names it in messages; `coil_file` reads the coil of a file named in it.
    pub fn parse(place: &str, text: &str, coil_file: &dyn Fn(&str) -> Result<Coil>) -> Result<Wiring> {
        let hint = "docs/wirings.md lists every key";
        let file: File =
            toml::from_str(text).map_err(|e| Failure::toml(place, text, " cannot be read as a wiring", &e, hint))?;
        file.read(coil_file).map_err(|e| e.at(place))
    }
}

impl File {
    fn read(self, coil_file: &dyn Fn(&str) -> Result<Coil>) -> Result<Wiring> {
        let tracks = self.taper.iter().map(|(name, t)| t.read(name).map(Arc::new));
        let tracks = tracks.collect::<Result<Vec<_>>>()?;
        let named = Named {
            tracks: &tracks,
            coil_file,
        };
        let mut pickups = Vec::new();
        for (i, p) in self.pickup.iter().enumerate() {
            let read = p.read(&named);
            pickups.extend(read.map_err(|e| e.at(who("pickup", &p.name, i)))?);
        }
        if !self.pickup.is_empty() && pickups.is_empty() {
            let hint = "set state = \"on\" for one of them at least";
            return Err(Failure::new("every pickup is off", hint));
        }
        if self.join == Join::Series
            && let Some(p) = pickups.iter().find(|p| pickups.len() > 1 && !two_ended(&p.load))
        {
            let name = quoted(p.name.as_deref().unwrap_or("without a name"));
            return Err(Failure::new(
                format!("pickup {name} has controls of its own in a series join"),
                "in series only cap, res and tone fit across a pickup; put vol, cable and amp into the shared load",
            ));
        }
        let load = named.load(&self.load)?;
        Ok(Wiring {
            name: self.name,
            about: self.about,
            join: self.join,
            pickups,
            load,
        })
    }
}

/// Whether a load is no more than parts from one end to the other.
fn two_ended(load: &Load) -> bool {
    let ends = Load {
        tone: load.tone.clone(),
        cap_f: load.cap_f,
        res_ohm: load.res_ohm,
        ..Load::default()
    };
    *load == ends
}

fn sign(value: Option<i8>) -> Result<f64> {
    match value {
        None | Some(1) => Ok(1.0),
        Some(-1) => Ok(-1.0),
        Some(other) => Err(Failure::new(format!("polarity is {other}"), "give 1 or -1")),
    }
}

impl TaperTable {
    fn read(&self, name: &str) -> Result<Track> {
        let wrong = |what: &str, hint: &str| Failure::new(format!("taper {}: {what}", quoted(name)), hint);
        if name.parse::<Taper>().is_ok() {
            return Err(wrong("that is a taper of its own already", "choose another name"));
        }
        let fits = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
        if name.is_empty() || !name.chars().all(fits) {
            let hint = "use letters, digits, - and _";
            return Err(wrong("the name does not fit into a load", hint));
        }
        let course = match (&self.like, &self.rotation, &self.share) {
            (Some(like), None, None) => match like.parse() {
                Ok(taper) => Course::Like(taper),
                Err(e) => return Err(wrong(&format!("like: {e}"), "or give rotation and share as lists")),
            },
            (None, Some(rotation), Some(share)) => {
                let ends = rotation.first() == Some(&0.0) && rotation.last() == Some(&1.0);
                let rising = rotation.windows(2).all(|p| p[1] > p[0]);
                if rotation.len() != share.len() || rotation.len() < 2 || !ends || !rising {
                    let hint = "give as many of one as of the other, rotation rising from 0.0 to 1.0";
                    return Err(wrong("rotation and share do not go together", hint));
                }
                if !share.is_sorted() || share.iter().any(|s| !(0.0..=1.0).contains(s)) {
                    let hint = "a track's share only rises, from 0 to 1";
                    return Err(wrong("share falls, or leaves 0 to 1", hint));
                }
                Course::Points(rotation.iter().copied().zip(share.iter().copied()).collect())
            }
            _ => {
                let hint = "give either like = \"audio\" or the lists rotation and share";
                return Err(wrong("its course is missing or given twice", hint));
            }
        };
        if let Some(from) = self.open_from.filter(|x| !(*x > 0.0 && *x <= 1.0)) {
            return Err(wrong(
                &format!("open_from is {from}"),
                "give the rotation, above 0 and up to 1, from which the wiper has left the track",
            ));
        }
        Ok(Track {
            name: name.into(),
            course,
            open_from: self.open_from,
        })
    }
}

impl PickupTable {
    /// `None` for a pickup that is switched off.
    fn read(&self, named: &Named) -> Result<Option<Pickup>> {
        let join = self.join.unwrap_or(Join::Series);
        let mut coils = Vec::new();
        let one = [CoilTable::default()];
        let tables = if self.coil.is_empty() { &one[..] } else { &self.coil };
        for (i, c) in tables.iter().enumerate() {
            let read = c.read(join, named);
            coils.extend(read.map_err(|e| e.at(who("coil", &c.name, i)))?);
        }
        if coils.is_empty() && self.state == State::On {
            let hint = "set state = \"on\" for one of them";
            return Err(Failure::new("no coil of it is on", hint));
        }
        let read = Pickup {
            name: self.name.clone(),
            join,
            polarity: sign(self.polarity)?,
            coils,
            load: named.load(&self.load)?,
        };
        match self.state {
            State::On => Ok(Some(read)),
            State::Off => Ok(None),
            State::Short => Err(Failure::new(
                "a pickup cannot be short",
                "set state to \"on\" or \"off\"; single coils can be \"short\"",
            )),
        }
    }
}

impl CoilTable {
    /// `None` for a coil that is out of circuit.
    fn read(&self, join: Join, named: &Named) -> Result<Option<Member>> {
        let coil = self.own(named)?;
        let emf = self.emf.unwrap_or(1.0);
        if !(-1e6..=1e6).contains(&emf) {
            let hint = "give its share of the field, such as 1.0";
            return Err(Failure::new(format!("emf is {emf}"), hint));
        }
        let across = named.load(&self.across)?;
        if !two_ended(&across) {
            let what = format!("across is {}", quoted(&across.to_string()));
            let hint = "only cap, res and tone fit from one end of a coil to the other";
            return Err(Failure::new(what, hint));
        }
        let sense = sign(self.polarity)?;
        match (self.state, join) {
            (State::On, _) => Ok(Some(Member {
                name: self.name.clone(),
                coil,
                emf: sense * emf,
                across,
            })),
            (State::Off, Join::Parallel) | (State::Short, Join::Series) => Ok(None),
            (State::Off, Join::Series) => Err(Failure::new(
                "taken out of a series it leaves a gap",
                "set state = \"short\": a wire in its place",
            )),
            (State::Short, Join::Parallel) => Err(Failure::new(
                "short in parallel it silences the pickup",
                "set state = \"off\": cut out",
            )),
        }
    }

    /// What stands for the coil itself; `None`: it is the coil in question.
    fn own(&self, named: &Named) -> Result<Option<Coil>> {
        let amount = |key: &str, a: &Option<Amount>, unit: Unit| match a {
            None => Ok(None),
            Some(Amount::Number(v)) => Ok(Some(*v)),
            Some(Amount::Text(t)) => quantity::parse_at(key, t, unit).map(Some),
        };
        let values = (
            amount("r", &self.r, Unit::Ohm)?,
            amount("l", &self.l, Unit::Henry)?,
            amount("cs", &self.cs, Unit::Farad)?,
            amount("loss", &self.loss, Unit::Ohm)?,
        );
        match (&self.file, values) {
            (Some(path), (None, None, None, None)) => (named.coil_file)(path).map(Some),
            (None, (Some(r), Some(l), Some(cs), loss_ohm)) => {
                let plain = Coil::new(r, l, cs);
                let coil = Coil { loss_ohm, ..plain };
                coil.check().map(|()| Some(coil))
            }
            (None, (None, None, None, None)) => Ok(None),
            _ => Err(Failure::new(
                "it is half given",
                "give file, or r, l and cs, or none of them for the coil in question",
            )),
        }
    }
}
