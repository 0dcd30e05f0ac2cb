//! The response that is fitted: exciter, pickup, AC coupling, delay; with its derivatives.
//!
//! H(f) = g jw E(f) G(f) A(f) exp(-jw t)
//!
//! G is the pickup's own response ([`super::own`]), 1/(1 + b1 s + b2 s^2) without metal; E is 1 where the reference reads the
//! current, 1/(1 + jf/f_x) where it reads the voltage; A the AC coupling of the inputs. b1 = f_ref/(Q f0) and b2 = (f_ref/f0)^2
//! behave better than f0 and Q where the coil is strongly damped.

use num_complex::Complex64;

use super::own::{Core, Other, Own, Sheet};
pub use super::param::Param;

/// Most parameters that a fit can have.
pub const MOST: usize = 20;

const PARAMS: usize = Param::Clock as usize + 1;

/// Values of what is not fitted: nought unless set.
#[derive(Debug, Clone, Copy, Default)]
pub struct Fixed([f64; PARAMS]);

impl Fixed {
    pub fn get(&self, p: Param) -> f64 {
        self.0[p as usize]
    }

    pub fn set(&mut self, p: Param, value: f64) {
        self.0[p as usize] = value;
    }
}

/// Which parameters are fitted and what the rest is.
#[derive(Debug, Clone)]
pub struct Model {
    pub f_ref: f64,
    pub params: Vec<Param>,
    pub fixed: Fixed,
    /// Place of each parameter in `params`, by its discriminant: looked up a million times in a fit.
    place: [Option<u8>; PARAMS],
}

/// What lies about the pickup at one frequency.
struct Factors {
    jf: Complex64,
    w: f64,
    exciter: Complex64,
    inv_jf: Complex64,
    series: Complex64,
    /// All of it.
    unit: Complex64,
}

const ONE: Complex64 = Complex64::new(1.0, 0.0);

impl Model {
    pub fn new(f_ref: f64, params: Vec<Param>, fixed: Fixed) -> Self {
        let mut place = [None; PARAMS];
        for (i, p) in params.iter().enumerate() {
            place[*p as usize] = Some(i as u8);
        }
        Model {
            f_ref,
            params,
            fixed,
            place,
        }
    }

    pub fn index(&self, p: Param) -> Option<usize> {
        self.place[p as usize].map(usize::from)
    }

    pub fn get(&self, theta: &[f64], p: Param) -> Option<f64> {
        self.index(p).map(|i| theta[i])
    }

    /// The pickup's own part.
    pub fn own(&self, theta: &[f64]) -> Own {
        let v = |p: Param| self.get(theta, p);
        let or_none = |p: Param| v(p).unwrap_or(0.0);
        Own {
            b1: or_none(Param::B1),
            b2: or_none(Param::B2),
            pole: or_none(Param::Pole),
            zero: or_none(Param::Zero),
            core: v(Param::CoreLnTau).map(|ln_tau| Core {
                of_l: or_none(Param::CoreL),
                of_emf: or_none(Param::CoreEmf),
                tau_s: ln_tau.exp(),
                a: or_none(Param::CoreLnA).exp(),
            }),
            sheet: v(Param::SheetLnTau).map(|ln_tau| Sheet {
                of_l: or_none(Param::SheetL),
                of_emf: or_none(Param::SheetEmf),
                tau_s: ln_tau.exp(),
            }),
            other: v(Param::OtherLnB3).zip(v(Param::OtherLnB4)).map(|(b3, b4)| Other {
                size: or_none(Param::OtherSize),
                slope: or_none(Param::OtherSlope),
                b3: b3.exp(),
                b4: b4.exp(),
            }),
        }
    }

    /// The response at one point of the parameter space, for many frequencies.
    pub fn at(&self, theta: &[f64]) -> At<'_> {
        let v = |p: Param| self.get(theta, p).unwrap_or(self.fixed.get(p));
        let (fy, fr) = match (self.get(theta, Param::AcMean), self.get(theta, Param::AcDifference)) {
            (Some(mean), Some(difference)) => (mean + 0.5 * difference, mean - 0.5 * difference),
            _ => (v(Param::AcPickup), v(Param::AcReference)),
        };
        At {
            model: self,
            g: self.get(theta, Param::Gain).unwrap_or(1.0),
            own: self.own(theta),
            x: v(Param::InverseCorner),
            fy,
            fr,
            fo: v(Param::AcOutput),
            series: self.get(theta, Param::AcSum).zip(self.get(theta, Param::AcProduct)),
            mean: self.index(Param::AcMean).is_some() || self.index(Param::AcDifference).is_some(),
            delay: v(Param::Delay),
        }
    }

    /// H alone: the derivatives would cost more than all of it.
    pub fn response(&self, theta: &[f64], f: f64) -> Complex64 {
        self.at(theta).response(f)
    }

    /// The pickup's part of the response: gain x shape, without exciter, coupling and delay.
    pub fn shape(&self, theta: &[f64], f: f64) -> Complex64 {
        self.own(theta)
            .response(Complex64::new(0.0, f / self.f_ref), self.w_ref())
            * self.get(theta, Param::Gain).unwrap_or(1.0)
    }

    /// The reference frequency in 1/s.
    pub fn w_ref(&self) -> f64 {
        std::f64::consts::TAU * self.f_ref
    }
}

/// A model with its parameters looked up.
pub struct At<'a> {
    model: &'a Model,
    g: f64,
    own: Own,
    /// 1/f_x.
    x: f64,
    fy: f64,
    fr: f64,
    fo: f64,
    /// Sum and product of two corners in series.
    series: Option<(f64, f64)>,
    /// Whether mean and difference of the corners are fitted.
    mean: bool,
    delay: f64,
}

impl At<'_> {
    /// H at f, and its derivatives by each parameter (zero for the clock, which acts on the drive).
    pub fn eval(&self, f: f64, d: &mut [Complex64; MOST]) -> Complex64 {
        let params = &self.model.params;
        let s = Complex64::new(0.0, f / self.model.f_ref);
        let own = self.own.derived(s, self.model.w_ref(), params.iter().zip(d.iter_mut()));
        let m = self.factors(f);
        let unit = m.unit * own;
        let h = unit * self.g;
        // Both are asked for twice where both corners are unknown, and divisions are dear.
        let zero = Complex64::new(0.0, 0.0);
        let (mut by_pickup, mut by_reference) = (zero, zero);
        if self.mean {
            (by_pickup, by_reference) = (h / (m.jf + self.fy), h / (m.jf + self.fr));
        }
        for (slot, p) in d.iter_mut().zip(params) {
            *slot = match p {
                Param::Gain => unit,
                Param::AcPickup => -h / (m.jf + self.fy),
                Param::AcReference => h / (m.jf + self.fr),
                Param::AcMean => by_reference - by_pickup,
                Param::AcDifference => -(by_reference + by_pickup) * 0.5,
                Param::AcOutput => -h / (m.jf + self.fo),
                Param::AcSum => -h * m.inv_jf / m.series,
                Param::AcProduct => -h * m.inv_jf * m.inv_jf / m.series,
                Param::InverseCorner => -h * m.jf * m.exciter,
                Param::Delay => Complex64::new(h.im, -h.re) * m.w,
                Param::Clock => zero,
                // The pickup's own, over H so far.
                _ => h * *slot,
            };
        }
        h
    }

    /// H alone.
    pub fn response(&self, f: f64) -> Complex64 {
        let s = Complex64::new(0.0, f / self.model.f_ref);
        self.factors(f).unit * self.own.response(s, self.model.w_ref()) * self.g
    }

    /// All but the pickup's own part.
    #[inline(always)]
    fn factors(&self, f: f64) -> Factors {
        let jf = Complex64::new(0.0, f);
        let w = std::f64::consts::TAU * f;
        // Evaluated for every bin of every pass: what is not there is not computed.
        let mut unit = Complex64::new(0.0, w);
        let mut exciter = ONE;
        if self.x != 0.0 {
            exciter = (ONE + jf * self.x).inv();
            unit *= exciter;
        }
        let inv_jf = Complex64::new(0.0, -1.0 / f);
        let series = match self.series {
            Some((sum, product)) => ONE + inv_jf * sum + inv_jf * inv_jf * product,
            None if self.fo == 0.0 => ONE + inv_jf * self.fy,
            None => (ONE + inv_jf * self.fy) * (ONE + inv_jf * self.fo),
        };
        unit *= (ONE + inv_jf * self.fr) / series;
        if self.delay != 0.0 {
            unit *= Complex64::from_polar(1.0, -w * self.delay);
        }
        Factors {
            jf,
            w,
            exciter,
            inv_jf,
            series,
            unit,
        }
    }
}

/// f0 and Q from b1 and b2.
pub fn f0_q(f_ref: f64, b1: f64, b2: f64) -> (f64, f64) {
    (f_ref / b2.sqrt(), b2.sqrt() / b1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn derivatives_agree_with_differences() {
        use Param::*;
        for params in [
            vec![Gain, B1, B2, AcPickup, AcReference, InverseCorner, Delay],
            vec![Gain, B1, B2, Pole, Zero],
            vec![Gain, B1, B2, CoreL, CoreEmf, CoreLnTau, CoreLnA, Delay],
            vec![Gain, B1, B2, OtherSize, OtherSlope, OtherLnB3, OtherLnB4],
            vec![
                Gain,
                B1,
                B2,
                CoreL,
                CoreEmf,
                CoreLnTau,
                CoreLnA,
                SheetL,
                SheetEmf,
                SheetLnTau,
                OtherSize,
                OtherSlope,
                OtherLnB3,
                OtherLnB4,
                AcMean,
                AcDifference,
            ],
            vec![Gain, B1, B2, AcSum, AcProduct, Delay],
            vec![Gain, B1, B2, AcPickup, AcOutput],
            vec![Gain, B1, B2, AcMean, AcDifference],
        ] {
            let all = |p: &Param| match p {
                Gain => -2e-4,
                B1 => 0.4,
                B2 => 1.1,
                Pole => 0.2,
                Zero => 0.15,
                CoreL => 0.4,
                CoreEmf => 0.45,
                CoreLnTau => -8.1,
                CoreLnA => 0.7,
                SheetL => 0.06,
                SheetEmf => 0.2,
                SheetLnTau => -11.5,
                OtherSize => 0.1,
                OtherSlope => 0.02,
                OtherLnB3 => -3.0,
                OtherLnB4 => -3.2,
                AcPickup => 3.0,
                AcReference => 5.0,
                AcOutput => 2.0,
                AcMean => 4.0,
                AcDifference => -3.0,
                AcSum => 6.0,
                AcProduct => 8.0,
                InverseCorner => 3e-5,
                Delay => 2e-5,
                Clock => 0.0,
            };
            let theta: Vec<f64> = params.iter().map(all).collect();
            let m = Model::new(3000.0, params, Fixed::default());
            for f in [21.0, 300.0, 2900.0, 15_000.0] {
                let mut d = [Complex64::new(0.0, 0.0); MOST];
                m.at(&theta).eval(f, &mut d);
                for i in 0..theta.len() {
                    let h = 1e-5 * theta[i];
                    let (mut a, mut b) = (theta.clone(), theta.clone());
                    a[i] += h;
                    b[i] -= h;
                    let num = (m.response(&a, f) - m.response(&b, f)) / (2.0 * h);
                    assert!(
                        (num - d[i]).norm()
                            < 1e-6 * d[i].norm() + 1e-10 * m.response(&theta, f).norm() / h.abs() * 1e-3,
                        "{:?} at {f}: {num} {}",
                        m.params[i],
                        d[i]
                    );
                }
            }
        }
    }
}
