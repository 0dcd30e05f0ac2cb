//! The winding as a source: its EMF behind resistance, inductance and losses, shunted by its own capacitance.

use num_complex::Complex64;
use serde::{Deserialize, Serialize};

use super::eddy::Eddy;
use super::elements::{Ladder, OnePort, TwoPort, Walk};
use crate::failure::{Failure, Result};

/// A pickup's winding. One EMF in series with L; what lies parallel to L carries it too.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Coil {
    /// Resistance of the wire in ohms, at the temperature of the calculation.
    pub r_ohm: f64,
    /// Inductance in henries, at low frequency.
    pub l_h: f64,
    /// The winding's own capacitance in farads.
    pub c_f: f64,
    /// Losses in metal as a resistance parallel to L in ohms, the EMF inside the pair: still a second-order circuit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loss_ohm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub eddy: Option<Eddy>,
}

/// What a source does at one frequency: the voltage with nothing connected (per volt of EMF) and its impedance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thevenin {
    pub emf: Complex64,
    pub z: OnePort,
}

impl Thevenin {
    pub(super) const NOTHING: Thevenin = Thevenin::new(Complex64::new(0.0, 0.0), OnePort::SHORT);

    pub const fn new(emf: Complex64, z: OnePort) -> Thevenin {
        Thevenin { emf, z }
    }

    pub fn times(self, k: f64) -> Thevenin {
        Thevenin::new(self.emf * k, self.z)
    }

    pub fn in_series(self, other: Thevenin) -> Thevenin {
        Thevenin::new(self.emf + other.emf, self.z.series(other.z))
    }
}

impl Coil {
    /// Resistance, inductance and capacitance alone.
    pub fn new(r_ohm: f64, l_h: f64, c_f: f64) -> Self {
        Coil {
            r_ohm,
            l_h,
            c_f,
            loss_ohm: None,
            eddy: None,
        }
    }

    /// Refuses what no coil can be, by the name of the value.
    pub fn check(&self) -> Result<()> {
        // Far above any coil, and far below where the arithmetic ends.
        let above = |name: &str, v: f64, most: f64| {
            (v > 0.0 && v <= most)
                .then_some(())
                .ok_or_else(|| wrong(name, v, &format!("above 0, up to {most:e}")))
        };
        above("r_ohm", self.r_ohm, 1e9)?;
        above("l_h", self.l_h, 1e6)?;
        if !(0.0..=1e-3).contains(&self.c_f) {
            return Err(wrong("c_f", self.c_f, "from 0 to 1e-3"));
        }
        if let Some(r) = self.loss_ohm {
            above("loss_ohm", r, 1e15)?;
        }
        match self.eddy.and_then(|e| e.impossible()) {
            Some((name, v, allowed)) => Err(wrong(name, v, allowed)),
            None => Ok(()),
        }
    }

    /// Puts the winding, from its EMF to its ends, C_s included, before what hangs on it.
    fn put_before<L: Ladder>(&self, end: L, w: f64) -> L {
        let mut jwl = Complex64::new(0.0, w * self.l_h);
        if let Some(e) = self.eddy {
            jwl *= 1.0 - e.k * e.k * e.reach(w);
        }
        let mut t = end
            .put_across(OnePort::capacitor(self.c_f, w))
            .put_in_line(OnePort::resistor(self.r_ohm));
        if let Some(r) = self.loss_ohm {
            t = t.put_across(OnePort::resistor(r));
        }
        t.put_in_line(OnePort::impedance_of(jwl))
    }

    /// The winding with nothing on it; `w` in rad/s.
    pub fn thevenin(&self, w: f64) -> Thevenin {
        let t = self.put_before(TwoPort::through(), w);
        Thevenin::new(self.shape(w) * t.voltage_ratio(), t.output_impedance())
    }

    /// Output voltage over EMF where the circuit `load` hangs on the winding.
    pub fn drive(&self, load: Walk, w: f64) -> Complex64 {
        self.shape(w) * self.put_before(load, w).ratio()
    }

    /// What the metal makes of the EMF.
    fn shape(&self, w: f64) -> Complex64 {
        match self.eddy {
            Some(e) => 1.0 - e.emf * e.of_emf().reach(w),
            None => 1.0.into(),
        }
    }
}

fn wrong(name: &str, v: f64, allowed: &str) -> Failure {
    Failure::new(
        format!("coil: {name} = {v} is impossible"),
        format!("give a value {allowed}"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn refuses_impossible_coils_by_name() {
        let good = Coil {
            loss_ohm: Some(1e6),
            eddy: Some(Eddy {
                k: 0.4,
                tau_s: 33e-6,
                emf: 0.1,
                a: 6.0,
                b: 0.6,
            }),
            ..Coil::new(6e3, 2.4, 120e-12)
        };
        assert_eq!(good.check(), Ok(()));
        let eddy = |k, tau_s, emf, a| Coil {
            eddy: Some(Eddy {
                k,
                tau_s,
                emf,
                a,
                b: 1.0,
            }),
            ..good
        };
        for (coil, name) in [
            (Coil { r_ohm: -1.0, ..good }, "r_ohm"),
            (Coil { r_ohm: 0.0, ..good }, "r_ohm"),
            (Coil { l_h: f64::NAN, ..good }, "l_h"),
            (Coil { c_f: -1e-12, ..good }, "c_f"),
            (
                Coil {
                    loss_ohm: Some(0.0),
                    ..good
                },
                "loss_ohm",
            ),
            (eddy(1.0, 1e-5, 0.0, 0.0), "eddy.k"),
            (eddy(0.4, 0.0, 0.0, 0.0), "eddy.tau"),
            (eddy(0.4, 1e-5, f64::INFINITY, 0.0), "eddy.emf"),
            (eddy(0.4, 1e-5, 0.0, -1.0), "eddy.a"),
            (eddy(0.4, 1e-5, 0.0, f64::NAN), "eddy.a"),
            (eddy(0.4, 1e-5, 0.0, 1001.0), "eddy.a"),
        ] {
            let e = coil.check().map_err(|e| e.to_string());
            assert!(e.as_ref().is_err_and(|e| e.contains(name)), "{name}: {e:?}");
        }
    }

    #[test]
    fn file_form() {
        let text = "r_ohm = 6000.0\nl_h = 2.4\nc_f = 1.2e-10\n\n[eddy]\nk = 0.4\ntau = 3.3e-5\nemf = 0.1\n";
        let coil: Coil = toml::from_str(text).unwrap();
        assert_eq!(coil.eddy.unwrap().tau_s, 33e-6);
        assert_eq!(toml::from_str::<Coil>(&toml::to_string(&coil).unwrap()).unwrap(), coil);
        // A turn's file says nothing of the shape.
        assert!(!toml::to_string(&coil).unwrap().contains("\na = "));
        let core: Coil = toml::from_str(&format!("{text}a = 6.0\nb = 0.6\n")).unwrap();
        assert_eq!(core.eddy.map(|e| (e.a, e.b)), Some((6.0, 0.6)));
        assert_eq!(toml::from_str::<Coil>(&toml::to_string(&core).unwrap()).unwrap(), core);
        assert!(toml::from_str::<Coil>("r_ohm = 1.0\nl_h = 1.0\nc_f = 0.0\ncolour = 1").is_err());
    }

    /// Low f: L; high f: L(1 - k^2) and added R of k^2 L R2/L2 = k^2 L/T (worked out by hand from the formula).
    #[test]
    fn shorted_turn_limits() {
        let (l, k, tau_s) = (2.4, 0.4, 33e-6);
        let coil = Coil {
            eddy: Some(Eddy {
                k,
                tau_s,
                emf: 0.25,
                a: 0.0,
                b: 1.0,
            }),
            ..Coil::new(6e3, l, 0.0)
        };
        let w = 1.0;
        let z = coil.thevenin(w).z.impedance();
        assert!((z.im / (w * l) - 1.0).abs() < 1e-8 && (z.re / 6e3 - 1.0).abs() < 1e-8);
        let w = 1e9;
        let t = coil.thevenin(w);
        let z = t.z.impedance();
        assert!((z.im / (w * l * (1.0 - k * k)) - 1.0).abs() < 1e-8);
        assert!((z.re / (6e3 + k * k * l / tau_s) - 1.0).abs() < 1e-5, "{z}");
        assert!((t.emf - 0.75).norm() < 1e-4);
    }

    /// Two halves in series, each with twice the capacitance, are the whole coil.
    #[test]
    fn halves_in_series_make_the_whole() {
        let whole = Coil::new(8e3, 4.4, 70e-12);
        let half = Coil::new(4e3, 2.2, 140e-12);
        for w in [0.0, 1e2, 1e4, 3e4, 1e6] {
            let part = half.thevenin(w).times(0.5);
            let (a, b) = (whole.thevenin(w), part.in_series(part));
            assert!((a.emf - b.emf).norm() < 1e-12 * a.emf.norm());
            assert!((a.z.impedance() - b.z.impedance()).norm() < 1e-12 * a.z.impedance().norm());
        }
    }
}
