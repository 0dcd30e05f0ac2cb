//! A plain coil that stands in for a pickup, as far as one take tells it, and what is read of it once something happened to it.

use std::f64::consts::TAU;

use num_complex::Complex64;

use crate::network::peak::{self, HIGH_HZ, LOW_HZ};
use crate::network::predict::db;
use crate::network::{Coil, Eddy, Load, Wiring};

/// Where resonances are looked for, and how closely: a pickup's has no neighbour within a third.
const FROM_HZ: f64 = 150.0;
const PER_OCTAVE: f64 = 12.0;

/// The pickup and all that hangs on it, the rig's input counted in.
#[derive(Debug, Clone)]
pub(super) struct StandIn {
    pub coil: Coil,
    pub load: Load,
    /// f0 and Q, and the response at low frequency.
    rings: (f64, f64),
    low: f64,
}

/// A stand-in that something happened to.
#[derive(Debug, Clone)]
pub(super) struct After {
    pub coil: Coil,
    pub load: Load,
    /// What is left of the EMF.
    emf: f64,
    /// What an ohmmeter reads at its leads.
    ohm: f64,
}

/// A change: natural logarithms of ratios, of the level decibels.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Change {
    pub f0: f64,
    pub q: f64,
    pub level_db: f64,
    pub ohm: f64,
}

/// f0 and Q of a second-order response with a peak of that height: with h the height as a ratio, h^2 = 4 Q^4/(4 Q^2 - 1), so
/// Q^2 = (h^2 + h sqrt(h^2 - 1))/2; and the peak lies at f0 sqrt(1 - 1/(2 Q^2)).
pub(super) fn ring(peak_hz: f64, height_db: f64) -> (f64, f64) {
    let h = 10f64.powf(height_db / 20.0).max(1.0);
    let q2 = 0.5 * (h * h + h * (h * h - 1.0).sqrt());
    let down = (1.0 - 0.5 / q2).max(1e-6);
    (peak_hz / down.sqrt(), q2.sqrt())
}

/// f0 and Q by the peak, as of a response of second order; without a peak by where the response lies a quarter turn behind its lows,
/// and how high it stands above them there.
fn resonance(coil: &Coil, load: &Load) -> Option<(f64, f64)> {
    let wiring = Wiring::from(load.clone());
    let size = |hz: f64| wiring.response(coil, TAU * hz).norm();
    match peak::find(size) {
        Some(p) => Some(ring(p.hz, db(p.gain / size(LOW_HZ)))),
        None => quarter_turn(&wiring, coil),
    }
}

/// Output over EMF where nothing rings.
fn low(coil: &Coil, load: &Load) -> f64 {
    Wiring::from(load.clone()).response(coil, TAU * LOW_HZ).norm()
}

fn quarter_turn(wiring: &Wiring, coil: &Coil) -> Option<(f64, f64)> {
    // What metal makes of the EMF turns it as well, and is no part of the ringing.
    let coil = Coil {
        eddy: coil.eddy.map(|e| Eddy { emf: 0.0, ..e }),
        ..*coil
    };
    let low = wiring.response(&coil, TAU * LOW_HZ);
    let at = |hz: f64| -> Complex64 { wiring.response(&coil, TAU * hz) / low };
    let step = 2f64.powf(1.0 / PER_OCTAVE);
    let mut below = FROM_HZ;
    while at(below * step).re > 0.0 {
        below *= step;
        if below > HIGH_HZ {
            return None;
        }
    }
    let (mut a, mut b) = (below, below * step);
    for _ in 0..36 {
        let middle = 0.5 * (a + b);
        match at(middle).re > 0.0 {
            true => a = middle,
            false => b = middle,
        }
    }
    let f0 = 0.5 * (a + b);
    Some((f0, at(f0).norm())).filter(|r| r.1.is_finite() && r.1 > 0.0)
}

impl StandIn {
    /// With resistance and winding capacitance given, L and a loss beside it for f0 and Q as they were read; `None` where no coil
    /// rings so under that load.
    pub fn of((r_ohm, c_f): (f64, f64), load: Load, (f0_hz, q): (f64, f64)) -> Option<StandIn> {
        let whole_f = (c_f + load.capacitance()).max(1e-12);
        let mut coil = Coil::new(r_ohm, 1.0 / ((TAU * f0_hz).powi(2) * whole_f), c_f);
        let mut loss = 0.0f64;
        for _ in 0..20 {
            let (f0_now, q_now) = resonance(&coil, &load)?;
            coil.l_h *= (f0_now / f0_hz).powi(2);
            loss = (loss + (1.0 / q - 1.0 / q_now) / (TAU * f0_hz * coil.l_h)).max(0.0);
            coil.loss_ohm = (loss > 0.0).then(|| 1.0 / loss);
        }
        let rings = resonance(&coil, &load)?;
        let low = low(&coil, &load);
        ((rings.0 / f0_hz - 1.0).abs() < 1e-3).then_some(StandIn { coil, load, rings, low })
    }

    /// Capacitance across the winding, its own counted in.
    pub fn whole_f(&self) -> f64 {
        self.coil.c_f + self.load.capacitance()
    }

    fn after(&self, coil: Coil) -> After {
        After {
            emf: 1.0,
            ohm: coil.r_ohm,
            coil,
            load: self.load.clone(),
        }
    }

    /// More across the winding, or less.
    pub fn with_capacitance(&self, farad: f64) -> After {
        let c_f = self.coil.c_f + farad;
        self.after(Coil { c_f, ..self.coil })
    }

    pub fn with_resistor(&self, ohm: f64) -> After {
        let there = self.load.res_ohm.map_or(0.0, |r| 1.0 / r);
        let mut after = self.after(self.coil);
        after.load.res_ohm = Some(1.0 / (there + 1.0 / ohm));
        after.ohm = 1.0 / (1.0 / self.coil.r_ohm + 1.0 / ohm);
        after
    }

    /// A share of the turns that touch: gone from the winding, and a loop of their own about the rest, coupled to it by `k`. The loop
    /// has L s^2 and R s. What is induced in it takes k of its share from the rest, by the same coupling.
    pub fn with_turns_shorted(&self, share: f64, k: f64) -> After {
        let (c, rest) = (&self.coil, 1.0 - share);
        let coil = Coil {
            r_ohm: c.r_ohm * rest,
            l_h: c.l_h * rest * rest,
            loss_ohm: c.loss_ohm.map(|r| r * rest * rest),
            eddy: self.looped(share, k, k),
            ..*c
        };
        After {
            emf: rest,
            ..self.after(coil)
        }
    }

    /// Metal about the winding, coupled by `k`: a loop as sluggish as so many of its turns would be.
    pub fn with_metal(&self, share: f64, k: f64) -> After {
        let eddy = self.looped(share, k, 0.0);
        self.after(Coil { eddy, ..self.coil })
    }

    /// A loop as sluggish as this share of the turns.
    fn looped(&self, share: f64, k: f64, emf: f64) -> Option<Eddy> {
        let tau_s = share * self.coil.l_h / self.coil.r_ohm;
        let (a, b) = (0.0, 1.0);
        Some(Eddy { k, tau_s, emf, a, b })
    }

    /// A share of the winding alone, or more than there was: coils in series, or side by side, of which one is out. The exciter lies
    /// over one that is heard.
    pub fn with_share(&self, share: f64) -> After {
        let c = &self.coil;
        self.after(Coil {
            r_ohm: c.r_ohm * share,
            l_h: c.l_h * share,
            c_f: c.c_f / share,
            loss_ohm: c.loss_ohm.map(|r| r * share),
            eddy: None,
        })
    }
}

impl After {
    /// What is read of it, held against what was read before.
    pub fn against(&self, before: &StandIn) -> Option<Change> {
        let (a, b) = (before.rings, resonance(&self.coil, &self.load)?);
        Some(Change {
            f0: (b.0 / a.0).ln(),
            q: (b.1 / a.1).ln(),
            level_db: db(self.emf * low(&self.coil, &self.load) / before.low),
            ohm: (self.ohm / before.coil.r_ohm).ln(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Method.md's closed formulas the other way round: Q 2.49039 at 4187.33 Hz peaks at 4014.996 Hz, 8.1040 dB high (ngspice 39).
    #[test]
    fn f0_and_q_from_the_peak() {
        let (f0, q) = ring(4014.996, 8.1040);
        assert!((f0 / 4187.33 - 1.0).abs() < 1e-5, "{f0}");
        assert!((q / 2.49039 - 1.0).abs() < 1e-4, "{q}");
        assert!(ring(1000.0, 0.0).0.is_finite());
    }

    /// What rings as it was read is as good as the coil: L comes out as it is, with or without a peak.
    #[test]
    fn the_coil_of_one_take() {
        for load in [
            "cap=500p res=200k",
            "cap=500p res=40k",
            "vol=250k tone=250k+22n cable=5m@100p/m amp=1M",
        ] {
            let load = Load::parse(load).unwrap();
            let coil = Coil {
                loss_ohm: Some(8e5),
                ..Coil::new(6e3, 2.4, 120e-12)
            };
            let read = resonance(&coil, &load).unwrap();
            let found = StandIn::of((6e3, 120e-12), load, read).unwrap().coil;
            assert!((found.l_h / 2.4 - 1.0).abs() < 1e-3, "{found:?}");
            assert!((found.loss_ohm.unwrap() / 8e5 - 1.0).abs() < 0.02, "{found:?}");
        }
    }
}
