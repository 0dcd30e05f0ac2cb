//! A whole guitar's wiring: coils joined to pickups, pickups joined to each other, and what they share.
//!
//! A coil hangs on its neighbours by its two terminals; so everything up to the shared load is a source with an EMF and an
//! impedance (Thevenin), joined in series or in parallel, and the shared load follows as a two-port.

use std::collections::BTreeMap;
use std::sync::Arc;

use num_complex::Complex64;
use serde::Deserialize;

use super::coil::{Coil, Source, Thevenin};
use super::elements::{Ladder, OnePort, TwoPort, Walk};
use super::load::{Course, Load, Taper, ToneFrom, Track};
use super::second_order::SecondOrder;
use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit, quoted};

/// What a pickup or a guitar feeds: pickups, and the load that all of them share.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wiring {
    pub name: Option<String>,
    /// One line for a list.
    pub about: Option<String>,
    pub join: Join,
    /// Empty: one pickup, which is the coil in question.
    pub pickups: Vec<Pickup>,
    pub load: Load,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Join {
    Series,
    #[default]
    Parallel,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Pickup {
    pub name: Option<String>,
    pub join: Join,
    /// -1: its leads are swapped.
    pub polarity: f64,
    pub coils: Vec<Member>,
    /// Controls of its own.
    pub load: Load,
}

/// A coil of a pickup.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    pub name: Option<String>,
    /// `None`: the coil in question.
    pub coil: Option<Coil>,
    /// Its share of the field, with its sense.
    pub emf: f64,
    /// Parts from one of its ends to the other.
    pub across: Load,
}

impl From<Load> for Wiring {
    fn from(load: Load) -> Self {
        Wiring {
            load,
            ..Wiring::default()
        }
    }
}

const NOTHING: Thevenin = Thevenin {
    emf: Complex64::new(0.0, 0.0),
    z: OnePort::SHORT,
};

impl Thevenin {
    fn times(self, k: f64) -> Thevenin {
        Thevenin {
            emf: self.emf * k,
            ..self
        }
    }

    fn in_series(self, other: Thevenin) -> Thevenin {
        Thevenin {
            emf: self.emf + other.emf,
            z: self.z.series(other.z),
        }
    }

    /// Tied together at both ends (Millman's theorem, any textbook on circuits).
    fn in_parallel(self, other: Thevenin) -> Thevenin {
        let (own, others) = OnePort::shares(self.z, other.z);
        Thevenin {
            emf: own * self.emf + others * other.emf,
            z: self.z.parallel(other.z),
        }
    }

    /// Seen behind a two-port.
    fn behind(self, t: TwoPort) -> Thevenin {
        let whole = TwoPort::in_line(self.z).then(t);
        Thevenin {
            emf: self.emf * whole.voltage_ratio(),
            z: whole.output_impedance(),
        }
    }
}

fn joined(join: Join, mut parts: impl Iterator<Item = Thevenin>) -> Thevenin {
    let Some(first) = parts.next() else {
        return NOTHING;
    };
    parts.fold(first, |sum, next| match join {
        Join::Series => sum.in_series(next),
        Join::Parallel => sum.in_parallel(next),
    })
}

impl Pickup {
    fn thevenin(&self, given: &Coil, w: f64) -> Thevenin {
        let coils = self.coils.iter().map(|m| {
            let coil = m.coil.as_ref().unwrap_or(given);
            let t = coil.thevenin(w).times(m.emf);
            if m.across == Load::default() {
                t
            } else {
                t.behind(m.across.two_port(w))
            }
        });
        let t = joined(self.join, coils).times(self.polarity);
        if self.load == Load::default() {
            t
        } else {
            t.behind(self.load.two_port(w))
        }
    }
}

impl Wiring {
    /// Output voltage over the EMF of a coil whose share of the field is 1; `given` is the coil in question. `w` in rad/s.
    pub fn response(&self, given: &Coil, w: f64) -> Complex64 {
        let end = self.load.put_before(Walk::open_end(), w);
        if self.pickups.is_empty() {
            return given.drive(end, w);
        }
        let t = joined(self.join, self.pickups.iter().map(|p| p.thevenin(given, w)));
        t.emf * end.put_in_line(t.z).ratio()
    }

    /// Every load of the wiring, and whose it is: the shared one first, then those of the pickups and across their coils.
    pub fn loads(&self) -> Vec<(Option<String>, &Load)> {
        let mut all = vec![(None, &self.load)];
        for (i, p) in self.pickups.iter().enumerate() {
            let name = p.name.clone().unwrap_or_else(|| format!("pickup {}", i + 1));
            all.push((Some(name.clone()), &p.load));
            for (k, m) in p.coils.iter().enumerate() {
                let coil = m.name.clone().unwrap_or_else(|| format!("coil {}", k + 1));
                let whose = match p.coils.len() {
                    1 => name.clone(),
                    _ => format!("{name}, {coil}"),
                };
                all.push((Some(whose), &m.across));
            }
        }
        all
    }

    /// The same loads in the same order, to be changed.
    pub fn loads_mut(&mut self) -> Vec<&mut Load> {
        let mut all = vec![&mut self.load];
        for p in &mut self.pickups {
            all.push(&mut p.load);
            all.extend(p.coils.iter_mut().map(|m| &mut m.across));
        }
        all
    }

    /// The closed formulas, where the circuit is of second order.
    pub fn second_order(&self, given: &Coil) -> Option<SecondOrder> {
        if self.pickups.is_empty() {
            self.load.second_order(given)
        } else {
            None
        }
    }

    /// Whether the coil in question takes part at all.
    pub fn asks_for_a_coil(&self) -> bool {
        self.pickups.is_empty() || self.pickups.iter().flat_map(|p| &p.coils).any(|m| m.coil.is_none())
    }

    /// As one load on one pickup, where it is no more than that: potentiometers of named tracks become linear ones at the same
    /// share, so that the command line's notation can say it.
    pub fn as_load(&self) -> Option<Load> {
        if !self.pickups.is_empty() {
            return None;
        }
        let mut load = self.load.clone();
        let unnamed = |taper: &mut Taper, rotation: &mut f64| {
            if let Taper::Track(_) = taper {
                *rotation = taper.share(*rotation);
                *taper = Taper::Linear;
            }
        };
        if let Some(v) = &mut load.vol {
            if v.taper.is_open(v.rotation) {
                load.vol = None;
            } else {
                unnamed(&mut v.taper, &mut v.rotation);
            }
        }
        if let Some(t) = &mut load.tone {
            if t.taper.is_open(t.rotation) {
                load.tone = None;
                load.tone_from = ToneFrom::Hot;
            } else {
                unnamed(&mut t.taper, &mut t.rotation);
            }
        }
        Some(load)
    }
}

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

impl Wiring {
    /// Reads a wiring file. `place` names it in messages; `coil_file` reads the coil of a file named in it.
    pub fn parse(place: &str, text: &str, coil_file: &dyn Fn(&str) -> Result<Coil>) -> Result<Wiring> {
        let hint = "docs/wirings.md lists every key";
        let file: File =
            toml::from_str(text).map_err(|e| Failure::toml(place, text, " cannot be read as a wiring", &e, hint))?;
        let within = |what: &str, e: Failure| Failure::new(format!("{place}: {what}{}", e.what), e.hint);
        let tracks: Vec<Arc<Track>> = file
            .taper
            .iter()
            .map(|(name, t)| t.read(name).map(Arc::new).map_err(|e| within("", e)))
            .collect::<Result<_>>()?;
        let load = |text: &Option<String>| match text {
            Some(t) => Load::parse_with(t, &tracks),
            None => Ok(Load::default()),
        };
        let mut pickups = Vec::new();
        for (i, p) in file.pickup.iter().enumerate() {
            let who = match &p.name {
                Some(n) => format!("pickup {}: ", quoted(n)),
                None => format!("pickup {}: ", i + 1),
            };
            if let Some(read) = p.read(&load, coil_file).map_err(|e| within(&who, e))? {
                pickups.push(read);
            }
        }
        if !file.pickup.is_empty() && pickups.is_empty() {
            return Err(Failure::new(
                format!("{place}: every pickup is off"),
                "set state = \"on\" for one of them at least",
            ));
        }
        if file.join == Join::Series
            && let Some(p) = pickups.iter().find(|p| pickups.len() > 1 && !two_ended(&p.load))
        {
            return Err(Failure::new(
                format!(
                    "{place}: pickup {} has controls of its own in a series join",
                    quoted(p.name.as_deref().unwrap_or("without a name"))
                ),
                "in series only cap, res and tone fit across a pickup; put vol, cable and amp into the shared load",
            ));
        }
        Ok(Wiring {
            name: file.name.clone(),
            about: file.about.clone(),
            join: file.join,
            pickups,
            load: load(&file.load).map_err(|e| within("", e))?,
        })
    }
}

/// Whether a load is no more than parts from one end to the other.
fn two_ended(load: &Load) -> bool {
    let Load {
        vol,
        tone: _,
        tone_from,
        bleed,
        cable,
        lead_f,
        amp,
        cap_f: _,
        res_ohm: _,
    } = load;
    let line = cable.is_none() && lead_f.is_none() && amp.is_none();
    vol.is_none() && bleed.is_none() && line && *tone_from == ToneFrom::Hot
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
            return Err(wrong(
                "the name does not fit into a load",
                "use letters, digits, - and _",
            ));
        }
        let course = match (&self.like, &self.rotation, &self.share) {
            (Some(like), None, None) => Course::Like(
                like.parse::<Taper>()
                    .map_err(|e| wrong(&format!("like: {e}"), "or give rotation and share as lists"))?,
            ),
            (None, Some(rotation), Some(share)) => {
                let points: Vec<(f64, f64)> = rotation.iter().copied().zip(share.iter().copied()).collect();
                let ends = rotation.first() == Some(&0.0) && rotation.last() == Some(&1.0);
                let rising = rotation.windows(2).all(|p| p[1] > p[0]);
                let falling = !share.is_sorted();
                if rotation.len() != share.len() || points.len() < 2 || !ends || !rising {
                    return Err(wrong(
                        "rotation and share do not go together",
                        "give as many of one as of the other, rotation rising from 0.0 to 1.0",
                    ));
                }
                if falling || share.iter().any(|s| !(0.0..=1.0).contains(s)) {
                    return Err(wrong(
                        "share falls, or leaves 0 to 1",
                        "a track's share only rises, from 0 to 1",
                    ));
                }
                Course::Points(points)
            }
            _ => {
                return Err(wrong(
                    "its course is missing or given twice",
                    "give either like = \"audio\" or the lists rotation and share",
                ));
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
    fn read(
        &self,
        load: &dyn Fn(&Option<String>) -> Result<Load>,
        coil_file: &dyn Fn(&str) -> Result<Coil>,
    ) -> Result<Option<Pickup>> {
        let join = self.join.unwrap_or(Join::Series);
        let mut coils = Vec::new();
        let one = [CoilTable::default()];
        let tables = if self.coil.is_empty() { &one[..] } else { &self.coil };
        for (i, c) in tables.iter().enumerate() {
            let who = match &c.name {
                Some(n) => format!("coil {}: ", quoted(n)),
                None => format!("coil {}: ", i + 1),
            };
            let read = c
                .read(join, load, coil_file)
                .map_err(|e| Failure::new(format!("{who}{}", e.what), e.hint))?;
            coils.extend(read);
        }
        if coils.is_empty() && self.state == State::On {
            return Err(Failure::new(
                "no coil of it is on",
                "set state = \"on\" for one of them",
            ));
        }
        let read = Pickup {
            name: self.name.clone(),
            join,
            polarity: sign(self.polarity)?,
            coils,
            load: load(&self.load)?,
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
    fn read(
        &self,
        join: Join,
        load: &dyn Fn(&Option<String>) -> Result<Load>,
        coil_file: &dyn Fn(&str) -> Result<Coil>,
    ) -> Result<Option<Member>> {
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
        let coil = match (&self.file, values) {
            (Some(path), (None, None, None, None)) => Some(coil_file(path)?),
            (None, (Some(r), Some(l), Some(cs), loss_ohm)) => {
                let coil = Coil {
                    loss_ohm,
                    ..Coil::new(r, l, cs)
                };
                coil.check()?;
                Some(coil)
            }
            (None, (None, None, None, None)) => None,
            _ => {
                return Err(Failure::new(
                    "it is half given",
                    "give file, or r, l and cs, or none of them for the coil in question",
                ));
            }
        };
        let emf = self.emf.unwrap_or(1.0);
        if !(-1e6..=1e6).contains(&emf) {
            return Err(Failure::new(
                format!("emf is {emf}"),
                "give its share of the field, such as 1.0",
            ));
        }
        let across = load(&self.across)?;
        if !two_ended(&across) {
            return Err(Failure::new(
                format!("across is {}", quoted(&across.to_string())),
                "only cap, res and tone fit from one end of a coil to the other",
            ));
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
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn no_files(path: &str) -> Result<Coil> {
        Err(Failure::new(format!("no file {path} here"), ""))
    }

    fn wiring(text: &str) -> Wiring {
        Wiring::parse("w.toml", text, &no_files).unwrap()
    }

    fn close(a: Complex64, b: Complex64) {
        assert!((a - b).norm() < 1e-12 * b.norm().max(1e-12), "{a} is not {b}");
    }

    const COIL: Coil = Coil {
        r_ohm: 4e3,
        l_h: 2.2,
        c_f: 140e-12,
        loss_ohm: None,
        eddy: None,
    };

    #[test]
    fn a_load_alone_is_a_wiring() {
        let load = Load::parse("vol=250k@0.7 tone=250k+22n cable=5m@100p/m amp=1M").unwrap();
        let plain = Wiring::from(load.clone());
        let file = wiring("load = \"vol=250k@0.7 tone=250k+22n cable=5m@100p/m amp=1M\"");
        let spelt = wiring("load = \"vol=250k@0.7 tone=250k+22n cable=5m@100p/m amp=1M\"\n[[pickup]]\n");
        for f in [50.0, 3e3, 9e3] {
            let want = load.response(&COIL, TAU * f);
            for w in [&plain, &file, &spelt] {
                close(w.response(&COIL, TAU * f), want);
            }
        }
        assert_eq!(plain.as_load(), Some(load));
        assert!(plain.asks_for_a_coil() && spelt.asks_for_a_coil());
    }

    /// By hand: two equal coils in series are a coil of twice R and L and half C with twice the EMF; in parallel half R and L
    /// and twice C with the EMF of one; opposed in series, nothing.
    #[test]
    fn equal_coils_joined() {
        let load = "load = \"vol=500k cable=3m@100p/m amp=1M\"\n";
        let two = |join: &str, second: &str| {
            wiring(&format!(
                "{load}[[pickup]]\njoin = \"{join}\"\n[[pickup.coil]]\n[[pickup.coil]]\n{second}\n"
            ))
        };
        let shared = Load::parse("vol=500k cable=3m@100p/m amp=1M").unwrap();
        for f in [50.0, 3e3, 9e3] {
            let w = TAU * f;
            let series = Coil::new(8e3, 4.4, 70e-12);
            close(two("series", "").response(&COIL, w), 2.0 * shared.response(&series, w));
            let parallel = Coil::new(2e3, 1.1, 280e-12);
            close(two("parallel", "").response(&COIL, w), shared.response(&parallel, w));
            let split = two("series", "state = \"short\"");
            close(split.response(&COIL, w), shared.response(&COIL, w));
            let cut = two("parallel", "state = \"off\"");
            close(cut.response(&COIL, w), shared.response(&COIL, w));
            assert!(two("series", "polarity = -1").response(&COIL, w).norm() < 1e-12);
        }
    }

    /// Two pickups at one jack, each with its own volume; one turned down to nothing silences both (common practice: that is
    /// what this wiring is known for).
    #[test]
    fn volumes_of_their_own_in_parallel() {
        let text = |turn: &str| {
            format!(
                "load = \"amp=1M\"\n[[pickup]]\nname = \"neck\"\nload = \"vol=500k\"\n[[pickup]]\nname = \"bridge\"\nload = \"vol=500k@{turn}\"\n"
            )
        };
        let down = wiring(&text("0"));
        assert_eq!(down.response(&COIL, TAU * 1e3), Complex64::new(0.0, 0.0));
        // Both full up: the pots are in parallel with each other and with the coils.
        let up = wiring(&text("1"));
        let both = Load::parse("res=250k amp=1M").unwrap();
        let pair = Coil::new(2e3, 1.1, 280e-12);
        close(up.response(&COIL, TAU * 2e3), both.response(&pair, TAU * 2e3));
    }

    #[test]
    fn tracks_and_no_load() {
        let text = "load = \"vol=250k:worn@0.25 tone=250k:free+22n@1 amp=1M\"\n[taper.worn]\nrotation = [0.0, 0.5, 1.0]\nshare = [0.0, 0.12, 1.0]\n[taper.free]\nlike = \"audio\"\nopen_from = 0.98\n";
        let w = wiring(text);
        let plain = Load::parse("vol=250k@0.06 amp=1M").unwrap();
        close(w.response(&COIL, TAU * 2e3), plain.response(&COIL, TAU * 2e3));
        assert_eq!(w.as_load().map(|l| l.to_string()), Some("vol=250k@0.06 amp=1M".into()));
        let below = wiring(&text.replace("22n@1", "22n@0.75"));
        let plain = Load::parse("vol=250k@0.06 tone=250k+22n@0.55 amp=1M").unwrap();
        close(below.response(&COIL, TAU * 2e3), plain.response(&COIL, TAU * 2e3));
        assert!(w.load.to_string().contains("vol=250k:worn@0.25"));
    }

    #[test]
    fn errors_name_the_place_and_the_remedy() {
        for (text, want) in [
            (
                "lod = \"\"",
                "w.toml line 1 cannot be read as a wiring: unknown field `lod`",
            ),
            (
                "load = \"vol=250k@1.2\"",
                "w.toml: load part \"vol=250k@1.2\": \"1.2\" is beyond full rotation",
            ),
            ("load = \"vol=250k:worn\"", "\"worn\" is no taper"),
            ("[taper.audio]\nlike = \"linear\"", "taper \"audio\": that is a taper"),
            ("[taper.a]\nrotation = [0.0, 1.0]\nshare = [0.0]", "do not go together"),
            (
                "[taper.a]\nrotation = [0.0, 0.5, 1.0]\nshare = [0.0, 0.6, 0.5]",
                "share falls",
            ),
            ("[taper.a]\nopen_from = 0.9", "course is missing"),
            ("[taper.a]\nlike = \"audio\"\nopen_from = 0.0", "open_from is 0"),
            ("[[pickup]]\nstate = \"off\"", "every pickup is off"),
            (
                "[[pickup]]\nname = \"neck\"\npolarity = 2",
                "pickup \"neck\": polarity is 2",
            ),
            (
                "[[pickup]]\n[[pickup.coil]]\nr = \"4k\"",
                "pickup 1: coil 1: it is half given",
            ),
            (
                "[[pickup]]\n[[pickup.coil]]\nr = \"4x\"\nl = 2.2\ncs = \"1p\"",
                "coil 1: r: \"4x\" is not a resistance",
            ),
            (
                "[[pickup]]\n[[pickup.coil]]\n[[pickup.coil]]\nstate = \"off\"",
                "coil 2: taken out of a series",
            ),
            (
                "[[pickup]]\n[[pickup.coil]]\nacross = \"vol=250k\"",
                "across is \"vol=250k@1\"",
            ),
            ("[[pickup]]\n[[pickup.coil]]\nfile = \"a.toml\"", "no file a.toml here"),
            (
                "join = \"series\"\n[[pickup]]\nname = \"neck\"\nload = \"vol=250k\"\n[[pickup]]\n",
                "pickup \"neck\" has controls of its own in a series join",
            ),
        ] {
            let e = Wiring::parse("w.toml", text, &no_files)
                .map(|_| ())
                .unwrap_err()
                .to_string();
            assert!(
                e.contains(want) && e.starts_with("w.toml") && !e.contains('\n'),
                "{text}: {e}"
            );
        }
    }
}
