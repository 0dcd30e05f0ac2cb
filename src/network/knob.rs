//! The quantities of a load by name: what a sweep turns, a tolerance blurs, a search sets.

use super::load::{Bleed, Load};
use crate::quantity::{Unit, preferred};

/// Pots and cables as shops mostly sell them (common practice).
const POTS_OHM: [f64; 5] = [100e3, 250e3, 300e3, 500e3, 1e6];
const CABLES_M: [f64; 6] = [1.5, 3.0, 4.5, 6.0, 7.5, 9.0];

/// One quantity of a load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Knob {
    /// Rotation of the volume potentiometer.
    Vol,
    VolPot,
    /// Rotation of the tone potentiometer.
    Tone,
    TonePot,
    ToneCap,
    BleedCap,
    BleedRes,
    /// Length of the cable.
    Cable,
    Lead,
    Amp,
    AmpCap,
    Cap,
    Res,
}

/// Name on the command line, unit, and what it is in words.
const NAMES: [(Knob, &str, Unit, &str); 13] = [
    (Knob::Vol, "vol", Unit::Rotation, "volume"),
    (Knob::VolPot, "vol-pot", Unit::Ohm, "volume pot"),
    (Knob::Tone, "tone", Unit::Rotation, "tone"),
    (Knob::TonePot, "tone-pot", Unit::Ohm, "tone pot"),
    (Knob::ToneCap, "tone-cap", Unit::Farad, "tone capacitor"),
    (Knob::BleedCap, "bleed-cap", Unit::Farad, "bleed capacitor"),
    (Knob::BleedRes, "bleed-res", Unit::Ohm, "bleed resistor"),
    (Knob::Cable, "cable", Unit::Metre, "cable"),
    (Knob::Lead, "lead", Unit::Farad, "lead"),
    (Knob::Amp, "amp", Unit::Ohm, "amplifier input"),
    (Knob::AmpCap, "amp-cap", Unit::Farad, "amplifier input capacitance"),
    (Knob::Cap, "cap", Unit::Farad, "capacitor"),
    (Knob::Res, "res", Unit::Ohm, "resistor"),
];

impl Knob {
    pub fn all() -> impl Iterator<Item = Knob> + Clone {
        NAMES.iter().map(|r| r.0)
    }

    fn row(self) -> &'static (Knob, &'static str, Unit, &'static str) {
        // Every variant has its row; the test below says so.
        NAMES.iter().find(|r| r.0 == self).unwrap_or(&NAMES[0])
    }

    pub fn by_name(name: &str) -> Option<Knob> {
        NAMES.iter().find(|r| r.1 == name).map(|r| r.0)
    }

    pub fn names() -> String {
        NAMES.map(|r| r.1).join(", ")
    }

    /// On the command line.
    pub fn name(self) -> &'static str {
        self.row().1
    }

    pub fn unit(self) -> Unit {
        self.row().2
    }

    /// For people.
    pub fn words(self) -> &'static str {
        self.row().3
    }

    /// A part that is bought with a tolerance, not a position that is set.
    pub fn is_part(self) -> bool {
        !matches!(self, Knob::Vol | Knob::Tone)
    }

    /// The nearest that one can buy; `None` for what is set, grows with the wiring or comes with the amplifier.
    pub fn as_sold(self, value: f64) -> Option<f64> {
        let nearest = |sold: &[f64]| {
            let off = |v: &f64| (v / value).ln().abs();
            sold.iter().copied().min_by(|a, b| off(a).total_cmp(&off(b)))
        };
        match self {
            Knob::VolPot | Knob::TonePot => nearest(&POTS_OHM),
            Knob::Cable => nearest(&CABLES_M),
            Knob::ToneCap | Knob::BleedCap | Knob::BleedRes | Knob::Cap | Knob::Res => {
                Some(preferred::nearest_e12(value))
            }
            Knob::Vol | Knob::Tone | Knob::Lead | Knob::Amp | Knob::AmpCap => None,
        }
    }

    pub fn is_potentiometer(self) -> bool {
        matches!(self, Knob::VolPot | Knob::TonePot)
    }

    /// Where it stands in a load; `None` where the load has no such part.
    fn place(self, load: &mut Load) -> Option<&mut f64> {
        match self {
            Knob::Vol => load.vol.as_mut().map(|v| &mut v.rotation),
            Knob::VolPot => load.vol.as_mut().map(|v| &mut v.ohm),
            Knob::Tone => load.tone.as_mut().map(|t| &mut t.rotation),
            Knob::TonePot => load.tone.as_mut().map(|t| &mut t.ohm),
            Knob::ToneCap => load.tone.as_mut().map(|t| &mut t.farad),
            Knob::BleedCap => load.bleed.as_mut().map(|b| match b {
                Bleed::Capacitor { farad } | Bleed::Parallel { farad, .. } | Bleed::Series { farad, .. } => farad,
            }),
            Knob::BleedRes => match load.bleed.as_mut()? {
                Bleed::Capacitor { .. } => None,
                Bleed::Parallel { ohm, .. } | Bleed::Series { ohm, .. } => Some(ohm),
            },
            Knob::Cable => load.cable.as_mut().map(|c| &mut c.length_m),
            Knob::Lead => load.lead_f.as_mut(),
            Knob::Amp => load.amp.as_mut().map(|a| &mut a.ohm),
            Knob::AmpCap => load.amp.as_mut().map(|a| &mut a.farad),
            Knob::Cap => load.cap_f.as_mut(),
            Knob::Res => load.res_ohm.as_mut(),
        }
    }

    /// Of one load; `None` where the load has no such part.
    pub fn get(self, load: &Load) -> Option<f64> {
        self.place(&mut load.clone()).copied()
    }

    /// Sets it; `false` where the load has no such part to set. A capacitor, a resistor and a lead are parts by themselves and
    /// are put in where they are missing.
    #[must_use]
    pub fn set(self, load: &mut Load, value: f64) -> bool {
        match self {
            Knob::Lead => load.lead_f = Some(value),
            Knob::Cap => load.cap_f = Some(value),
            Knob::Res => load.res_ohm = Some(value),
            _ => match self.place(load) {
                Some(place) => *place = value,
                None => return false,
            },
        }
        true
    }
}

/// How far a part may be from what is printed on it: relative, to either side.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tolerances(pub Vec<(Knob, f64)>);

impl Tolerances {
    pub fn of(&self, knob: Knob) -> Option<f64> {
        self.0.iter().find(|t| t.0 == knob).map(|t| t.1)
    }

    /// In place of what was there.
    pub fn put(&mut self, knob: Knob, tolerance: f64) {
        self.0.retain(|p| p.0 != knob);
        self.0.push((knob, tolerance));
    }

    /// As parts are sold without a word about it (common practice): potentiometers within 20 %, capacitors within 10 %; a
    /// cable is what its drum says, within 10 %.
    pub fn usual() -> Self {
        let usual = |k: Knob| match k {
            k if k.is_potentiometer() => Some((k, 0.2)),
            Knob::ToneCap | Knob::BleedCap | Knob::Cap | Knob::Cable => Some((k, 0.1)),
            Knob::BleedRes | Knob::Res => Some((k, 0.05)),
            _ => None,
        };
        Tolerances(Knob::all().filter_map(usual).collect())
    }
}

/// What a hand-held meter of capacitance may be off to either side: relative, and in farads besides (common practice; data
/// sheets say so much of it). What was read on one meter errs alike.
pub const METER: (f64, f64) = (0.01, 2e-12);

/// A value that may lie anywhere between two limits with the same chance has this standard deviation, for a half-width of 1
/// (JCGM 100:2008, 4.3.7).
pub const UNIFORM: f64 = 1.0 / 1.732_050_807_568_877_2;

/// Between two values, both included, evenly: by ratio where asked for and possible, else by difference.
pub fn steps(from: f64, to: f64, n: usize, by_ratio: bool) -> Vec<f64> {
    let by_ratio = by_ratio && from > 0.0 && to > 0.0;
    (0..n)
        .map(|i| {
            let t = i as f64 / (n.max(2) - 1) as f64;
            match i {
                0 => from,
                i if i + 1 == n => to,
                _ if by_ratio => from * (to / from).powf(t),
                _ => from + (to - from) * t,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: &str =
        "vol=500k@0.5 bleed=1n+130k tone=250k+22n@0.7 cable=5m@100p/m lead=30p amp=1M//20p cap=470p res=2M";

    #[test]
    fn every_quantity_can_be_read_and_set() {
        let load = Load::parse(WHOLE).unwrap();
        let want = [
            0.5, 500e3, 0.7, 250e3, 22e-9, 1e-9, 130e3, 5.0, 30e-12, 1e6, 20e-12, 470e-12, 2e6,
        ];
        for (knob, want) in Knob::all().zip(want) {
            assert_eq!(knob.row().0, knob);
            assert_eq!(Knob::by_name(knob.name()), Some(knob));
            assert_eq!(knob.get(&load), Some(want), "{knob:?}");
            let mut other = load.clone();
            assert!(knob.set(&mut other, 0.9 * want));
            for k in Knob::all() {
                let moved = k.get(&other) != k.get(&load);
                assert_eq!(moved, k == knob, "{knob:?} moved {k:?}");
            }
        }
        let mut none = Load::default();
        for knob in Knob::all() {
            assert_eq!(knob.get(&none), None);
            let fits = matches!(knob, Knob::Lead | Knob::Cap | Knob::Res);
            assert_eq!(knob.set(&mut none.clone(), 1.0), fits, "{knob:?}");
        }
        assert!(Knob::Cap.set(&mut none, 1e-9));
        assert_eq!(none.to_string(), "cap=1n");
    }

    #[test]
    fn steps_keep_their_ends() {
        assert_eq!(steps(1.0, 10.0, 4, false), [1.0, 4.0, 7.0, 10.0]);
        let s = steps(100e3, 1e6, 3, true);
        assert_eq!((s[0], s[2]), (100e3, 1e6));
        assert!((s[1] / 316_227.766 - 1.0).abs() < 1e-8);
        assert_eq!(steps(1.0, 0.0, 3, true), [1.0, 0.5, 0.0]);
        assert_eq!(steps(5.0, 9.0, 1, true), [5.0]);
    }
}
