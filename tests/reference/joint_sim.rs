//! A coil of known truth under known loads, its takes as they would be read, and the bound of what they tell.

use coilwright::estimate::Estimate;
use coilwright::fit::joint::{Known, Seen, Take};
use coilwright::network::knob::{Knob, Tolerances};
use coilwright::network::{Coil, Load};
use nalgebra::DMatrix;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;
use std::f64::consts::TAU;

pub fn take(load: &str, input_f: f64, f0_hz: Estimate, q: Option<Estimate>) -> Take {
    Take {
        load: load.parse::<Load>().unwrap(),
        input_ohm: None,
        input_f,
        input_u: [0.0; 2],
        warm: 1.0,
        rig: 0,
        seen: Seen::Resonance { f0_hz, q, corr: 0.0 },
    }
}

pub fn e(value: f64, u: f64) -> Estimate {
    Estimate::new(value, u, u).unwrap()
}

/// Numbers between -1 and 1, and normal ones.
pub trait Numbers {
    /// Evenly from -1 to 1.
    fn even(&mut self) -> f64;

    fn normal(&mut self) -> f64 {
        let u = 0.5 * (self.even() + 1.0);
        let v = 0.5 * (self.even() + 1.0);
        (-2.0 * (1.0 - u).ln()).sqrt() * (TAU * v).cos()
    }
}

/// By chance.
pub struct Draw(pub ChaCha8Rng);

impl Numbers for Draw {
    fn even(&mut self) -> f64 {
        2.0 * ((self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64) - 1.0
    }
}

/// Spread evenly over a cube of as many dimensions as there are draws in a trial (additive recurrence by the powers of the root of
/// x^22 = x + 1), so that some hundred trials tell what thousands by chance do.
pub struct Spread {
    trial: f64,
    dimension: i32,
}

impl Spread {
    pub fn trial(n: usize) -> Spread {
        Spread {
            trial: n as f64,
            dimension: 0,
        }
    }
}

impl Numbers for Spread {
    fn even(&mut self) -> f64 {
        let step = (0..40).fold(1.05f64, |x, _| (1.0 + x).powf(1.0 / 22.0));
        self.dimension += 1;
        2.0 * (0.5 + self.trial * step.powi(-self.dimension)).fract() - 1.0
    }
}

/// The truth of the simulations.
pub const TRUTH: Coil = Coil {
    r_ohm: 6e3,
    l_h: 2.4,
    c_f: 110e-12,
    loss_ohm: Some(1.5e6),
    eddy: None,
};
/// Test lead and input together, known exactly.
pub const INPUT_F: f64 = 150e-12;

/// Takes with noise as 40 dB leaves it, capacitors anywhere within `tolerance` of what is printed on them.
pub fn drawn(draw: &mut impl Numbers, caps_pf: &[f64], tolerance: f64, noise: [f64; 2]) -> Vec<Take> {
    caps_pf
        .iter()
        .map(|pf| {
            let real = pf * (1.0 + tolerance * draw.even());
            let load: Load = format!("cap={real}p res=1M").parse().unwrap();
            let s = load.with_input(None, INPUT_F).second_order(&TRUTH).unwrap();
            let f0 = s.f0_hz * (1.0 + noise[0] * draw.normal());
            let q = s.q * (1.0 + noise[1] * draw.normal());
            let told = if *pf > 0.0 {
                format!("cap={pf}p res=1M")
            } else {
                "res=1M".into()
            };
            take(&told, INPUT_F, e(f0, noise[0] * f0), Some(e(q, noise[1] * q)))
        })
        .collect()
}

pub fn tolerances(cap: f64) -> Known {
    Known {
        r_ohm: TRUTH.r_ohm,
        // An ohmmeter within 1 %.
        r_u: 0.01 / 3f64.sqrt() * TRUTH.r_ohm,
        tolerances: Tolerances(if cap > 0.0 { vec![(Knob::Cap, cap)] } else { vec![] }),
        ..Known::default()
    }
}

/// Cramer-Rao bound of L and C_s, with the loss among the unknowns, from the Jacobian of the true f0 and Q by differences.
pub fn bound(caps_pf: &[f64], noise: [f64; 2]) -> [f64; 2] {
    bound_of(caps_pf, &vec![noise; caps_pf.len()])
}

/// The same, each take with noise of its own.
pub fn bound_of(caps_pf: &[f64], noise: &[[f64; 2]]) -> [f64; 2] {
    let scale = [TRUTH.l_h, TRUTH.c_f, 1.0 / 1.5e6];
    let at = |p: [f64; 3]| -> Vec<f64> {
        let coil = Coil {
            l_h: p[0],
            c_f: p[1],
            loss_ohm: Some(1.0 / p[2]),
            ..TRUTH
        };
        let of = |(pf, noise): (&f64, &[f64; 2])| {
            let load: Load = format!("cap={pf}p res=1M").parse().unwrap();
            let s = load.with_input(None, INPUT_F).second_order(&coil).unwrap();
            [s.f0_hz.ln() / noise[0], s.q.ln() / noise[1]]
        };
        caps_pf.iter().zip(noise).flat_map(of).collect()
    };
    let columns: Vec<Vec<f64>> = (0..3)
        .map(|i| {
            let (mut a, mut b) = (scale, scale);
            a[i] *= 1.0 + 1e-5;
            b[i] *= 1.0 - 1e-5;
            let (a, b) = (at(a), at(b));
            a.iter().zip(&b).map(|(x, y)| (x - y) / (2e-5 * scale[i])).collect()
        })
        .collect();
    let j = DMatrix::from_fn(columns[0].len(), 3, |r, c| columns[c][r] * scale[c]);
    let c = (j.transpose() * j).try_inverse().unwrap();
    [c[(0, 0)].sqrt() * scale[0], c[(1, 1)].sqrt() * scale[1]]
}
