//! A whole guitar's wiring: coils joined to pickups, pickups joined to each other, and what they share.
//!
//! A coil hangs on its neighbours by its two terminals; so everything up to the shared load is a source with an EMF and an
//! impedance (Thevenin), joined in series or in parallel, and the shared load follows as a two-port.

use num_complex::Complex64;
use serde::Deserialize;

use super::coil::{Coil, Thevenin};
use super::elements::{Ladder, OnePort, TwoPort, Walk};
use super::load::{Load, Taper, ToneFrom};
use super::second_order::SecondOrder;

mod file;
#[cfg(test)]
mod tests;

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

impl Thevenin {
    /// Tied together at both ends (Millman's theorem, any textbook on circuits).
    fn in_parallel(self, other: Thevenin) -> Thevenin {
        let (own, others) = OnePort::shares(self.z, other.z);
        Thevenin::new(own * self.emf + others * other.emf, self.z.parallel(other.z))
    }

    /// Seen behind a load.
    fn behind(self, load: &Load, w: f64) -> Thevenin {
        if *load == Load::default() {
            return self;
        }
        let whole = TwoPort::in_line(self.z).then(load.two_port(w));
        Thevenin::new(self.emf * whole.voltage_ratio(), whole.output_impedance())
    }
}

fn joined(join: Join, mut parts: impl Iterator<Item = Thevenin>) -> Thevenin {
    let Some(first) = parts.next() else {
        return Thevenin::NOTHING;
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
            coil.thevenin(w).times(m.emf).behind(&m.across, w)
        });
        joined(self.join, coils).times(self.polarity).behind(&self.load, w)
    }
}

impl Wiring {
    /// Output voltage over the EMF of a coil whose share of the field is 1; `given` is the coil in question. `w` in rad/s.
    pub fn response(&self, given: &Coil, w: f64) -> Complex64 {
        let end = self.load.put_before(Walk::open_end(), w);
        if self.pickups.is_empty() {
            return given.drive(end, w);
        }
        let t = self.source(given, w);
        t.emf * end.put_in_line(t.z).ratio()
    }

    /// The pickups of a list, as they are joined, before what all of them share.
    pub fn source(&self, given: &Coil, w: f64) -> Thevenin {
        joined(self.join, self.pickups.iter().map(|p| p.thevenin(given, w)))
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
        let alone = self.pickups.is_empty();
        alone.then(|| self.load.second_order(given)).flatten()
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
        // Whether the wiper has left the track.
        let unnamed = |taper: &mut Taper, rotation: &mut f64| {
            let open = taper.is_open(*rotation);
            if let Taper::Track(_) = taper {
                (*rotation, *taper) = (taper.share(*rotation), Taper::Linear);
            }
            open
        };
        let vol = load.vol.as_mut().map(|v| unnamed(&mut v.taper, &mut v.rotation));
        let tone = load.tone.as_mut().map(|t| unnamed(&mut t.taper, &mut t.rotation));
        if vol == Some(true) {
            load.vol = None;
        }
        if tone == Some(true) {
            (load.tone, load.tone_from) = (None, ToneFrom::Hot);
        }
        Some(load)
    }
}
