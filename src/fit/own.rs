//! The pickup's own response, with metal about its coil and another coil in series, and its derivatives.
//!
//! G = N P / Q,  Q = 1 + b1 s (1 + L)/2 + b2 s^2 L,  N = (1 - e + e D)(1 - e2 + e2 D2),  L = 1 - k - k2 + k D + k2 D2,
//! P = 1 + (d x + h s)/(1 + b3 s + x),  x = b4 s^2 L,  s = j f / f_ref
//!
//! D is the part of its flux at low frequency that eddy currents leave a core, 1/(1 + u) with u = (a + 2) y/(1 + R),
//! R = sqrt(1 + a (a + 2) y), y = j w tau. One family holds a shorted turn (a = 0), a long rod (about a = 1), a short rod (a
//! larger, by what its ends demagnetise) and fluxes of half order (a without end). D2 = 1/(1 + j w tau2) is that of one loop: a
//! cover or a baseplate. L is the inductance, N the EMF over their values at low frequency; P is what another coil in series,
//! with a capacitance of its own, adds. One turn alone is not told apart from one pole and one zero, and is fitted as these. a = 1 is the form of order 1/2 of Davidson and Cole (J. Chem. Phys. 19 (1951) 1484), a
//! without end that of Cole and Cole (J. Chem. Phys. 9 (1941) 341); both recalled from memory, not opened.

use num_complex::Complex64;

use super::param::Param;
use crate::network::eddy::{Diffusion, diffusion};

const ONE: Complex64 = Complex64::new(1.0, 0.0);
const NOUGHT: Complex64 = Complex64::new(0.0, 0.0);

/// What the response is made of, by the parameters' names; what is not there is nought.
#[derive(Debug, Clone, Copy, Default)]
pub struct Own {
    pub b1: f64,
    pub b2: f64,
    /// One pole and one zero besides, over f_ref: a shorted turn.
    pub pole: f64,
    pub zero: f64,
    pub core: Option<Core>,
    pub sheet: Option<Sheet>,
    pub other: Option<Other>,
}

/// Poles, slugs, a bar: shares of inductance and EMF, tau in seconds, a.
#[derive(Debug, Clone, Copy)]
pub struct Core {
    pub of_l: f64,
    pub of_emf: f64,
    pub tau_s: f64,
    pub a: f64,
}

/// A cover or a baseplate: one loop.
#[derive(Debug, Clone, Copy)]
pub struct Sheet {
    pub of_l: f64,
    pub of_emf: f64,
    pub tau_s: f64,
}

/// The other coil in series.
#[derive(Debug, Clone, Copy)]
pub struct Other {
    pub size: f64,
    pub slope: f64,
    pub b3: f64,
    pub b4: f64,
}

/// The flux that is left, and its derivatives by ln tau and ln a.
#[derive(Debug, Clone, Copy)]
struct Flux {
    d: Complex64,
    by_tau: Complex64,
    by_a: Complex64,
}

impl Core {
    /// `y`: complex angular frequency times tau.
    fn flux(&self, y: Complex64) -> Flux {
        let a = self.a;
        let Diffusion { root: r, part, u } = diffusion(a, y);
        let d = (ONE + u).inv();
        let d2 = -d * d;
        let inverse_r = r.inv();
        Flux {
            d,
            by_tau: d2 * u * (r + ONE) * inverse_r * 0.5,
            by_a: d2 * y * part * a * (ONE - y * part * inverse_r * ((a + 1.0) * (a + 2.0))),
        }
    }
}

/// Everything at one frequency.
struct Parts {
    core: Flux,
    sheet: Flux,
    l: Complex64,
    emf: [Complex64; 2],
    /// b1 s/2 + b2 s^2: what L acts on in Q.
    c: Complex64,
    inverse_q: Complex64,
    /// n, Dp and P of the other coil.
    other: Option<[Complex64; 3]>,
    /// b4 s^2 L.
    x: Complex64,
    g: Complex64,
}

impl Own {
    /// Without metal and other coil: nothing but b1 and b2.
    pub fn is_plain(&self) -> bool {
        self.core.is_none() && self.sheet.is_none() && self.other.is_none() && self.pole == 0.0 && self.zero == 0.0
    }

    /// Q and its derivative by s, at any complex frequency: `s` over 2 pi f_ref, `w_ref` that in 1/s.
    pub fn quad(&self, s: Complex64, w_ref: f64) -> (Complex64, Complex64) {
        let (core, sheet) = self.fluxes(s * w_ref);
        let l = self.l(&core, &sheet);
        // d/ds is d/dln tau over s.
        let mut by_s = NOUGHT;
        if let Some(m) = &self.core {
            by_s += core.by_tau * m.of_l / s;
        }
        if let Some(m) = &self.sheet {
            by_s += sheet.by_tau * m.of_l / s;
        }
        let c = s * (0.5 * self.b1 + s * self.b2);
        (
            ONE + s * (0.5 * self.b1) + c * l,
            (ONE + l) * (0.5 * self.b1) + s * l * (2.0 * self.b2) + c * by_s,
        )
    }

    /// The response, 1 at nought hertz.
    pub fn response(&self, s: Complex64, w_ref: f64) -> Complex64 {
        match self.is_plain() {
            true => (ONE + s * (self.b1 + s * self.b2)).inv(),
            false => self.parts(s, w_ref).g,
        }
    }

    /// The response, and its derivative by each own parameter over itself.
    pub fn derived<'p>(
        &self,
        s: Complex64,
        w_ref: f64,
        params: impl Iterator<Item = (&'p Param, &'p mut Complex64)>,
    ) -> Complex64 {
        let p = self.parts(s, w_ref);
        // What a change of L does to ln G, and a change of a flux through L and N.
        let mut by_l = -p.c * p.inverse_q;
        if let (Some([n, dp, pp]), Some(o)) = (p.other, self.other) {
            by_l += s * s * o.b4 * (dp * o.size - n) / (dp * dp * pp);
        }
        let by_core = self.core.map_or(NOUGHT, |m| by_l * m.of_l + p.emf[0].inv() * m.of_emf);
        let by_sheet = self.sheet.map_or(NOUGHT, |m| by_l * m.of_l + p.emf[1].inv() * m.of_emf);
        for (param, slot) in params {
            *slot = match (param, p.other, self.other) {
                (Param::B1, ..) => -s * (ONE + p.l) * p.inverse_q * 0.5,
                (Param::B2, ..) => -s * s * p.l * p.inverse_q,
                (Param::Pole, ..) => -s / (ONE + s * self.pole),
                (Param::Zero, ..) => s / (ONE + s * self.zero),
                (Param::CoreL, ..) => by_l * (p.core.d - ONE),
                (Param::CoreEmf, ..) => (p.core.d - ONE) / p.emf[0],
                (Param::CoreLnTau, ..) => by_core * p.core.by_tau,
                (Param::CoreLnA, ..) => by_core * p.core.by_a,
                (Param::SheetL, ..) => by_l * (p.sheet.d - ONE),
                (Param::SheetEmf, ..) => (p.sheet.d - ONE) / p.emf[1],
                (Param::SheetLnTau, ..) => by_sheet * p.sheet.by_tau,
                (Param::OtherSize, Some([_, dp, pp]), _) => p.x / (dp * pp),
                (Param::OtherSlope, Some([_, dp, pp]), _) => s / (dp * pp),
                (Param::OtherLnB3, Some([n, dp, pp]), Some(o)) => -n * s * o.b3 / (dp * dp * pp),
                (Param::OtherLnB4, Some([n, dp, pp]), Some(o)) => (dp * o.size - n) * p.x / (dp * dp * pp),
                _ => continue,
            };
        }
        p.g
    }

    fn fluxes(&self, w: Complex64) -> (Flux, Flux) {
        let none = Flux {
            d: ONE,
            by_tau: NOUGHT,
            by_a: NOUGHT,
        };
        let core = self.core.map_or(none, |m| m.flux(w * m.tau_s));
        let sheet = self.sheet.map_or(none, |m| {
            let y = w * m.tau_s;
            let d = (ONE + y).inv();
            Flux {
                d,
                by_tau: -y * d * d,
                by_a: NOUGHT,
            }
        });
        (core, sheet)
    }

    fn l(&self, core: &Flux, sheet: &Flux) -> Complex64 {
        let of_core = self.core.map_or(0.0, |m| m.of_l);
        let of_sheet = self.sheet.map_or(0.0, |m| m.of_l);
        ONE + (core.d - ONE) * of_core + (sheet.d - ONE) * of_sheet
    }

    fn parts(&self, s: Complex64, w_ref: f64) -> Parts {
        let (core, sheet) = self.fluxes(s * w_ref);
        let l = self.l(&core, &sheet);
        let emf = [
            ONE + (core.d - ONE) * self.core.map_or(0.0, |m| m.of_emf),
            ONE + (sheet.d - ONE) * self.sheet.map_or(0.0, |m| m.of_emf),
        ];
        let c = s * (0.5 * self.b1 + s * self.b2);
        let inverse_q = (ONE + s * (0.5 * self.b1) + c * l).inv();
        let mut g = emf[0] * emf[1] * inverse_q;
        if self.pole != 0.0 || self.zero != 0.0 {
            g *= (ONE + s * self.zero) / (ONE + s * self.pole);
        }
        let mut x = NOUGHT;
        let other = self.other.map(|o| {
            x = s * s * l * o.b4;
            let (n, dp) = (x * o.size + s * o.slope, ONE + s * o.b3 + x);
            let pp = ONE + n / dp;
            g *= pp;
            [n, dp, pp]
        });
        Parts {
            core,
            sheet,
            l,
            emf,
            c,
            inverse_q,
            other,
            x,
            g,
        }
    }
}
