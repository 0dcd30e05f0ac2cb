//! Metal near a coil: what its eddy currents do to inductance and EMF.

use std::f64::consts::{FRAC_2_PI, TAU};
use std::ops::RangeInclusive;

use num_complex::Complex64;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::failure::{Failure, Result};
use crate::quantity::{self, Unit, quoted};

/// Metal near the coil: jwL becomes jwL (1 - k^2 (1 - D)), and the EMF is shaped to e (1 - emf (1 - D_e)). D = 1/(1 + u) is what eddy
/// currents leave of the metal's flux ([`diffusion`]); of one shorted turn it is 1/(1 + jw tau) (any textbook on transformers: the
/// secondary carried over). D_e = 1/(1 + b u): a pole's ends weaken the field of a winding around it and that of the string, or the
/// exciter, by different parts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Eddy {
    /// Coupling factor, 0 to 1.
    pub k: f64,
    /// Time constant in seconds; of a turn its inductance over its resistance.
    #[serde(rename = "tau")]
    pub tau_s: f64,
    /// The share of the EMF that the metal takes away at high frequency.
    #[serde(default)]
    pub emf: f64,
    /// Shape: 0 for a shorted turn, about 1 for a long rod that flux diffuses into, larger for a short one.
    #[serde(default, skip_serializing_if = "is_turn")]
    pub a: f64,
    /// By how much faster the flux of the EMF goes; left out 1.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub b: f64,
}

fn is_turn(a: &f64) -> bool {
    *a == 0.0
}

fn one() -> f64 {
    1.0
}

fn is_one(b: &f64) -> bool {
    *b == 1.0
}

/// Beyond this the shape is of half order in all that can be heard.
const MOST_A: f64 = 1e3;
const B: RangeInclusive<f64> = 1e-3..=1e3;

/// How flux goes into metal: what is left of it is D = 1/(1 + u).
#[derive(Debug, Clone, Copy)]
pub struct Diffusion {
    /// R = sqrt(1 + a (a + 2) y).
    pub root: Complex64,
    /// 1/(1 + R).
    pub part: Complex64,
    /// (a + 2) y/(1 + R).
    pub u: Complex64,
}

/// The root with the positive real part, as `Complex64::sqrt` gives it, without a sine, a cosine and an arc tangent: a fit asks for
/// it a million times.
fn root_of(z: Complex64) -> Complex64 {
    let size = z.norm_sqr().sqrt();
    let larger = (0.5 * (size + z.re.abs())).sqrt();
    if larger == 0.0 {
        return z;
    }
    let other = 0.5 * z.im / larger;
    match z.re >= 0.0 {
        true => Complex64::new(larger, other),
        false => Complex64::new(other.abs(), larger.copysign(z.im)),
    }
}

/// `a`: the shape; `y`: complex angular frequency times tau.
pub fn diffusion(a: f64, y: Complex64) -> Diffusion {
    let root = root_of(1.0 + y * (a * (a + 2.0)));
    let part = (1.0 + root).inv();
    Diffusion {
        root,
        part,
        u: y * (a + 2.0) * part,
    }
}

/// How metal is written on the command line.
const EDDY_FORM: &str = "write it as k=0.4,tau=33u,emf=0.1,a=6,b=0.6 (emf, a and b may be left out)";

impl Eddy {
    /// From "k=0.4,tau=33u,emf=0.1,a=6,b=0.6"; `place` names the option in messages.
    pub fn parse(place: &str, text: &str) -> Result<Eddy> {
        const NAMES: [&str; 5] = ["k", "tau", "emf", "a", "b"];
        let mut values = [None; 5];
        for part in text.split(',') {
            let named = part.split_once('=');
            let Some((i, v)) = named.and_then(|(name, v)| Some((NAMES.iter().position(|n| *n == name)?, v))) else {
                return Err(Failure::new(
                    format!("{place}: {} is not understood", quoted(part)),
                    EDDY_FORM,
                ));
            };
            let unit = if NAMES[i] == "tau" {
                Unit::Second
            } else {
                Unit::Relative
            };
            if values[i].replace(quantity::parse_at(place, v, unit)?).is_some() {
                return Err(Failure::new(
                    format!("{place}: {} stands twice", quoted(part)),
                    EDDY_FORM,
                ));
            }
        }
        let [k, tau_s, emf, a, b] = values;
        match (k, tau_s) {
            (Some(k), Some(tau_s)) => Ok(Eddy {
                k,
                tau_s,
                emf: emf.unwrap_or(0.0),
                a: a.unwrap_or(0.0),
                b: b.unwrap_or(1.0),
            }),
            _ => Err(Failure::new(format!("{place}={text} lacks k or tau"), EDDY_FORM)),
        }
    }

    /// What no metal can be: name, value, and what is allowed.
    pub(super) fn impossible(&self) -> Option<(&'static str, f64, &'static str)> {
        let all = [
            ("eddy.k", self.k, (0.0..1.0).contains(&self.k), "from 0 to below 1"),
            (
                "eddy.tau",
                self.tau_s,
                self.tau_s > 0.0 && self.tau_s <= 1e3,
                "above 0, up to 1e3",
            ),
            ("eddy.emf", self.emf, (-1.0..=1.0).contains(&self.emf), "from -1 to 1"),
            ("eddy.a", self.a, (0.0..=MOST_A).contains(&self.a), "from 0 to 1000"),
            ("eddy.b", self.b, B.contains(&self.b), "from 0.001 to 1000"),
        ];
        let wrong = all.into_iter().find(|v| !v.2);
        wrong.map(|(name, v, _, allowed)| (name, v, allowed))
    }

    /// The nearest that metal can be, all other than a turn by its shape.
    pub(super) fn held(self, was: Eddy) -> Eddy {
        let above = |v: f64, was: f64| v.max(1e-6 * was).max(f64::MIN_POSITIVE);
        Eddy {
            k: self.k.clamp(0.0, 0.999_999),
            tau_s: above(self.tau_s, was.tau_s),
            emf: self.emf.clamp(-1.0, 1.0),
            a: if is_turn(&was.a) {
                0.0
            } else {
                above(self.a, was.a).min(MOST_A)
            },
            b: self.b.clamp(*B.start(), *B.end()),
        }
    }

    /// Shape and time constant with which D is what D_e is.
    pub(super) fn of_emf(&self) -> Eddy {
        let (a, b) = (self.a, self.b);
        Eddy {
            a: a / b,
            tau_s: self.tau_s * b * b * (a + 2.0) / (a + 2.0 * b),
            ..*self
        }
    }

    /// The values that a coil may have besides k, tau and emf, with their names: those that are not what a turn has.
    pub fn shape(&self) -> Vec<(&'static str, f64)> {
        let all = [("a", self.a, is_turn(&self.a)), ("b", self.b, is_one(&self.b))];
        all.into_iter().filter(|v| !v.2).map(|(name, v, _)| (name, v)).collect()
    }

    /// 1 - D: 0 at low frequency, 1 at high.
    pub(super) fn reach(&self, w: f64) -> Complex64 {
        let u = diffusion(self.a, Complex64::new(0.0, w * self.tau_s)).u;
        u / (1.0 + u)
    }

    /// D as shorted turns side by side, the sum of r/(1 + jw t) over what is returned, all r above 0: within 5e-4 up to 20 kHz.
    ///
    /// D has a pole where a < 1, and a branch cut on which R = jv; so the rest is the integral over v from 0 on of turns of
    /// t = tau a (a + 2)/(1 + v^2), each of r = (2/pi) a v^2/(((a - 1)^2 + v^2)(1 + v^2)) dv. Summed evenly over ln v that converges
    /// geometrically. Those too fast to be heard are one turn, and so are those about as slow as the slowest.
    pub(super) fn turns(&self) -> Vec<(f64, f64)> {
        const STEP: f64 = 0.5;
        const FAST: f64 = 0.1 / (TAU * 20e3);
        const SLOW: f64 = 0.3;
        const NONE: f64 = 1e-6;
        let a = self.a;
        let mut turns = vec![((2.0 - 2.0 * a).max(0.0) / (2.0 - a), self.tau_s * (2.0 + a) / (2.0 - a))];
        // Weights, and weights times time constants, of the slow and of the fast.
        let mut ends = [(0.0, 0.0); 2];
        for v in (-60..=120).map(|i| (STEP * f64::from(i)).exp()) {
            let r = STEP * FRAC_2_PI * a * v / (((a - 1.0) / v).powi(2) + 1.0) / (1.0 + v * v);
            let t = self.tau_s * a * (a + 2.0) / (1.0 + v * v);
            let end = match (v < SLOW, t < FAST) {
                (true, _) => &mut ends[0],
                (_, true) => &mut ends[1],
                _ => {
                    turns.push((r, t));
                    continue;
                }
            };
            *end = (end.0 + r, end.1 + r * t);
        }
        turns.extend(ends.map(|(r, rt)| (r, rt / r)));
        turns.retain(|(r, t)| *r > NONE && *t > 0.0);
        let all: f64 = turns.iter().map(|t| t.0).sum();
        turns.iter_mut().for_each(|t| t.0 /= all);
        turns
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// D by another way: a/(a - 1 + R), and its limits of a turn, of order 1/2 and without end.
    #[test]
    fn what_is_left_of_the_flux() {
        let left = |a: f64, w: f64| {
            let e = Eddy {
                k: 0.5,
                tau_s: 30e-6,
                emf: 0.0,
                a,
                b: 1.0,
            };
            1.0 - e.reach(w)
        };
        for w in [10.0, 1e4, 3e5] {
            let y = Complex64::new(0.0, w * 30e-6);
            assert!((left(0.0, w) - (1.0 + y).inv()).norm() < 1e-14);
            assert!((left(1.0, w) - (1.0 + 3.0 * y).sqrt().inv()).norm() < 1e-14);
            assert!((left(1e3, w) - (1.0 + y.sqrt()).inv()).norm() < 2e-3);
            for a in [0.3, 2.0, 6.0] {
                let other = a / (a - 1.0 + (1.0 + a * (a + 2.0) * y).sqrt());
                assert!((left(a, w) - other).norm() < 1e-14, "{a}");
            }
        }
    }

    /// 1/(1 + b u) by itself, and as a core of a shape of its own.
    #[test]
    fn the_field_of_the_emf_goes_by_its_own() {
        for (a, b) in [(0.0, 1.0), (0.0, 3.0), (0.4, 0.5), (6.0, 0.6), (6.0, 2.0)] {
            let e = Eddy {
                k: 0.5,
                tau_s: 30e-6,
                emf: 0.3,
                a,
                b,
            };
            for w in [10.0, 1e4, 3e5] {
                let u = diffusion(a, Complex64::new(0.0, w * e.tau_s)).u;
                assert!(
                    (1.0 - e.of_emf().reach(w) - (1.0 + b * u).inv()).norm() < 1e-13,
                    "{a} {b}"
                );
            }
        }
    }

    #[test]
    fn turns_side_by_side_are_the_core() {
        for a in [0.0, 1e-3, 0.1, 0.9, 1.0, 1.1, 2.0, 6.0, 100.0, 1e3] {
            for tau_s in [1e-6, 3e-5, 3e-4, 5e-2] {
                let e = Eddy {
                    k: 0.5,
                    tau_s,
                    emf: 0.0,
                    a,
                    b: 1.0,
                };
                let turns = e.turns();
                assert!(
                    turns.iter().all(|t| t.0 > 0.0 && t.1 > 0.0) && turns.len() <= 30,
                    "{a}: {}",
                    turns.len()
                );
                for i in 0..200 {
                    let w = TAU * 10.0 * 2000f64.powf(f64::from(i) / 199.0);
                    let sum: Complex64 = turns.iter().map(|(r, t)| r / Complex64::new(1.0, w * t)).sum();
                    let off = (sum / (1.0 - e.reach(w)) - 1.0).norm();
                    assert!(off < 5e-4, "{a} {tau_s} {w}: {off}");
                }
            }
        }
        let turn = Eddy {
            k: 0.5,
            tau_s: 33e-6,
            emf: 0.0,
            a: 0.0,
            b: 1.0,
        };
        assert_eq!(turn.turns(), [(1.0, 33e-6)]);
        let usual = Eddy { a: 6.0, ..turn };
        assert!(usual.turns().len() <= 12, "{}", usual.turns().len());
    }

    #[test]
    fn in_words() {
        let read = |text: &str| Eddy::parse("eddy", text);
        assert_eq!(read("k=0.4,tau=33u").map(|e| (e.emf, e.a)), Ok((0.0, 0.0)));
        assert_eq!(read("a=6,k=0.4,emf=10%,tau=33u").map(|e| (e.emf, e.a)), Ok((0.1, 6.0)));
        for wrong in [
            "k=0.4,tau=33u,c=6",
            "k=0.4,a=6",
            "a=6,a=6,k=0.4,tau=33u",
            "k=0.4,tau=33u,a=much",
        ] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn the_root_is_the_principal_one() {
        for n in 0..64 {
            let z = Complex64::from_polar(10f64.powi(n % 7 - 3), 0.1 * f64::from(n) - 3.1);
            assert!((root_of(z) - z.sqrt()).norm() < 1e-15 * (1.0 + z.norm()), "{z}");
        }
        assert_eq!(root_of(Complex64::new(0.0, 0.0)).norm(), 0.0);
    }
}
