//! Chains that are not what their rig file says: thirty faults of sizes from harmless to gross, on four coils.
//!
//! The takes are solved here, node by node, without a line of the program's own circuits or models: source, exciter with its
//! resonance, sense resistor, a ground in common, coil with metal as shorted turns, load, picofarads from exciter to coil, what
//! each input does. Only the drive is the program's. The truth of f0 and Q is the root of the coil's own mesh, at complex
//! frequency, with all capacitance that hangs on it.

use std::f64::consts::TAU;

use coilwright::analysis::chain::Chain;
use coilwright::analysis::{self, Analysis, Choice, Options};
use coilwright::capture::{Provenance, Take};
use coilwright::record::{Code, Level};
use coilwright::rig::Rig;
use coilwright::stimulus::{self, Settings};
use num_complex::Complex64;
use rustfft::FftPlanner;

use crate::metal::Noise;

const J: Complex64 = Complex64::new(0.0, 1.0);
const ONE: Complex64 = Complex64::new(1.0, 0.0);
const RATE: u32 = 48_000;
/// Of the exciter: what is before it, its own, what reads the current, and its mutual inductance to the coil.
const SERIES_OHM: f64 = 100.0;
const COIL_OHM: f64 = 8.0;
const COIL_H: f64 = 0.5e-3;
const SENSE_OHM: f64 = 22.0;
const MUTUAL_H: f64 = 0.5e-3;
/// Highest sample of the louder channel, and the noise of either.
const TOP: f64 = 0.4;
const NOISE: f64 = 5.6e-5;
/// Corners of the inputs' AC coupling.
const CORNERS: (f64, f64) = (2.7, 3.6);
const LATE_S: f64 = 0.01;

const RIG: &str = "name = \"bench\"\n[exciter]\nreference = \"current\"\nsense_ohm = 22.0\nseries_ohm = 100.0\n\
                   inductance_h = 0.0005\nsign = 1\n[input]\nresistance_ohm = 1.0e6\n";

/// A coil under its load; `metal`: shorted turns, each with its share of L, its share of the EMF and its time constant.
pub struct Coil {
    pub name: &'static str,
    ohm: f64,
    henry: f64,
    farad: f64,
    load_ohm: f64,
    metal: &'static [[f64; 3]],
}

/// Poles as a row of turns from deep to skin, and a cover.
const SCREWS: [[f64; 3]; 8] = [
    [0.030, 0.036, 900e-6],
    [0.085, 0.100, 300e-6],
    [0.110, 0.135, 100e-6],
    [0.085, 0.110, 35e-6],
    [0.055, 0.070, 12e-6],
    [0.030, 0.040, 4e-6],
    [0.015, 0.020, 1.3e-6],
    [0.040, 0.120, 9e-6],
];

pub const COILS: [Coil; 4] = [
    coil("air, Q 1.1", 620e-12, 76e3, &[]),
    coil("air, Q 2.5", 620e-12, 204e3, &[]),
    coil("air, Q 6", 230e-12, 945e3, &[]),
    coil("screws, cover", 620e-12, 204e3, &SCREWS),
];

const fn coil(name: &'static str, farad: f64, load_ohm: f64, metal: &'static [[f64; 3]]) -> Coil {
    Coil {
        name,
        ohm: 6e3,
        henry: 2.4,
        farad,
        load_ohm,
        metal,
    }
}

impl Coil {
    /// What is left of inductance and EMF at a complex angular frequency.
    fn left(&self, s: Complex64) -> (Complex64, Complex64) {
        let taken = |which: usize| {
            let turns = self.metal.iter().map(|m| m[which] * s * m[2] / (ONE + s * m[2]));
            ONE - turns.sum::<Complex64>()
        };
        (taken(0), taken(1))
    }

    fn impedance(&self, s: Complex64) -> Complex64 {
        self.ohm + s * self.henry * self.left(s).0
    }

    /// f0 and Q of the mesh's own resonance with so much more capacitance across it.
    fn natural(&self, more_farad: f64) -> (f64, f64) {
        let farad = self.farad + more_farad;
        let mesh = |s: Complex64| ONE + self.impedance(s) * (1.0 / self.load_ohm + s * farad);
        let start = (self.henry * farad).sqrt().recip();
        let mut s = Complex64::new(-0.2 * start, 1.05 * start);
        for _ in 0..200 {
            let h = 1e-6 * s.norm();
            let step = mesh(s) / ((mesh(s + h) - mesh(s - h)) / (2.0 * h));
            s -= step * (0.2 * s.norm() / step.norm()).min(1.0);
        }
        (s.norm() / TAU, s.norm() / (-2.0 * s.re))
    }
}

/// What is not as the rig file says.
#[derive(Clone, Copy)]
pub enum Fault {
    None,
    /// The pickup heard on the reference, in dB of its samples.
    Leak(f64),
    /// Both heard on the other's input.
    Crosstalk(f64),
    /// First-order roll-offs of one input.
    LowPass(f64, Input),
    /// Second order, maximally flat.
    RollOff(f64, Input),
    /// The pickup's samples late by so many.
    Skew(f64),
    /// So many dB from `hz` on up, or below it.
    HighShelf(f64, f64),
    LowShelf(f64, f64),
    /// The exciter's own resonance, in hertz.
    Exciter(f64),
    /// From the exciter's hot end to the coil's, in farads.
    Farad(f64),
    /// Ground of sense resistor and pickup in common, in ohms.
    Ground(f64),
}

#[derive(Clone, Copy, PartialEq)]
pub enum Input {
    Pickup,
    Reference,
}

use Fault::*;

pub const FAULTS: [(&str, Fault); 30] = [
    ("leak -50 dB", Leak(-50.0)),
    ("leak -60 dB", Leak(-60.0)),
    ("leak -70 dB", Leak(-70.0)),
    ("leak -80 dB", Leak(-80.0)),
    ("crosstalk -50 dB", Crosstalk(-50.0)),
    ("crosstalk -70 dB", Crosstalk(-70.0)),
    ("crosstalk -90 dB", Crosstalk(-90.0)),
    ("low-pass 60 kHz, pickup", LowPass(60e3, Input::Pickup)),
    ("low-pass 120 kHz, pickup", LowPass(120e3, Input::Pickup)),
    ("low-pass 300 kHz, pickup", LowPass(300e3, Input::Pickup)),
    ("low-pass 60 kHz, reference", LowPass(60e3, Input::Reference)),
    ("low-pass 120 kHz, reference", LowPass(120e3, Input::Reference)),
    ("low-pass 300 kHz, reference", LowPass(300e3, Input::Reference)),
    ("roll-off 80 kHz, pickup", RollOff(80e3, Input::Pickup)),
    ("roll-off 150 kHz, reference", RollOff(150e3, Input::Reference)),
    ("skew 0.02 samples", Skew(0.02)),
    ("skew -0.1 samples", Skew(-0.1)),
    ("skew 1 sample", Skew(1.0)),
    ("high shelf +0.2 dB", HighShelf(0.2, 5e3)),
    ("high shelf -1 dB", HighShelf(-1.0, 5e3)),
    ("low shelf -0.2 dB", LowShelf(-0.2, 200.0)),
    ("low shelf +1 dB", LowShelf(1.0, 200.0)),
    ("exciter rings at 30 kHz", Exciter(30e3)),
    ("exciter rings at 80 kHz", Exciter(80e3)),
    ("exciter rings at 200 kHz", Exciter(200e3)),
    ("0.2 pF", Farad(0.2e-12)),
    ("1 pF", Farad(1e-12)),
    ("3 pF", Farad(3e-12)),
    ("10 pF", Farad(10e-12)),
    ("ground of 0.05 ohm", Ground(0.05)),
];

impl Fault {
    /// Findings that are of its kind: what one would then look at.
    fn names(self) -> &'static [Code] {
        match self {
            None => &[],
            Leak(_) => &[Code::ReferenceLeak],
            Crosstalk(_) => &[Code::ReferenceLeak, Code::InputsDiffer],
            _ => &[Code::InputsDiffer],
        }
    }

    /// What the circuit itself has of it.
    fn parts(self) -> Parts {
        let none = Parts {
            across_exciter: 0.0,
            to_coil: 0.0,
            ground_ohm: 0.0,
        };
        match self {
            Exciter(hz) => Parts {
                across_exciter: 1.0 / (COIL_H * (TAU * hz).powi(2)),
                ..none
            },
            Farad(f) => Parts { to_coil: f, ..none },
            Ground(ohm) => Parts {
                ground_ohm: ohm,
                ..none
            },
            _ => none,
        }
    }

    /// Highest samples of pickup and reference: the weaker is what suffers.
    fn tops(self) -> [f64; 2] {
        match self {
            Crosstalk(_) => [TOP * decibels(-18.0), TOP],
            _ => [TOP, TOP * decibels(-34.0)],
        }
    }

    /// What it does on the way to one input.
    fn on(self, input: Input, f: f64) -> Complex64 {
        let s = J * f;
        let shelf = |low: f64, high: f64, hz: f64| (low + high * s / hz) / (1.0 + s / hz);
        match self {
            LowPass(hz, at) if at == input => (1.0 + s / hz).inv(),
            RollOff(hz, at) if at == input => (1.0 + s / hz * (2f64.sqrt() + s / hz)).inv(),
            Skew(samples) if input == Input::Pickup => Complex64::from_polar(1.0, -TAU * f * samples / f64::from(RATE)),
            HighShelf(db, hz) if input == Input::Pickup => shelf(1.0, decibels(db), hz),
            LowShelf(db, hz) if input == Input::Pickup => shelf(decibels(db), 1.0, hz),
            _ => ONE,
        }
    }
}

fn decibels(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

struct Parts {
    across_exciter: f64,
    to_coil: f64,
    ground_ohm: f64,
}

/// Voltages at pickup's and reference's plug for 1 V from the output: four nodes and two branch currents.
fn plugs(coil: &Coil, parts: &Parts, f: f64) -> (Complex64, Complex64) {
    let s = J * TAU * f;
    // Unknowns: exciter's hot end, its cold end, the common ground, the pickup's hot end; current of exciter, of winding.
    let (hot, cold, ground, pickup, by_exciter, by_winding) = (0, 1, 2, 3, 4, 5);
    let mut a = [[Complex64::new(0.0, 0.0); 7]; 6];
    let mut join = |n: usize, m: Option<usize>, y: Complex64| {
        a[n][n] += y;
        if let Some(m) = m {
            a[m][m] += y;
            a[n][m] -= y;
            a[m][n] -= y;
        }
    };
    let real = |v: f64| Complex64::new(v, 0.0);
    join(hot, Option::None, real(1.0 / SERIES_OHM));
    join(hot, Some(cold), s * parts.across_exciter);
    join(hot, Some(pickup), s * parts.to_coil);
    join(cold, Some(ground), real(1.0 / SENSE_OHM));
    // No resistance is a very small one.
    join(ground, Option::None, real(1.0 / parts.ground_ohm.max(1e-9)));
    join(pickup, Option::None, real(1.0 / coil.load_ohm));
    join(pickup, Some(ground), s * coil.farad);
    a[hot][6] = real(1.0 / SERIES_OHM);
    for (n, i, sign) in [
        (hot, by_exciter, 1.0),
        (cold, by_exciter, -1.0),
        (ground, by_winding, 1.0),
        (pickup, by_winding, -1.0),
    ] {
        a[n][i] += sign;
    }
    // Exciter: V_hot - V_cold = (R + s L) I. Winding: V_ground + e - V_pickup = Z I', e = s M E I.
    let (_, emf) = coil.left(s);
    (a[4][hot], a[4][cold], a[4][by_exciter]) = (ONE, -ONE, -(COIL_OHM + s * COIL_H));
    (a[5][ground], a[5][pickup]) = (ONE, -ONE);
    (a[5][by_exciter], a[5][by_winding]) = (s * MUTUAL_H * emf, -coil.impedance(s));
    let v = solved(a);
    (v[pickup], v[cold])
}

/// By elimination, the largest of each column first.
fn solved(mut a: [[Complex64; 7]; 6]) -> [Complex64; 6] {
    for i in 0..6 {
        let top = (i..6)
            .max_by(|p, q| a[*p][i].norm().total_cmp(&a[*q][i].norm()))
            .unwrap();
        a.swap(i, top);
        for k in 0..6 {
            if k != i {
                let by = a[k][i] / a[i][i];
                for c in i..7 {
                    let part = by * a[i][c];
                    a[k][c] -= part;
                }
            }
        }
    }
    std::array::from_fn(|i| a[i][6] / a[i][i])
}

fn take(coil: &Coil, fault: Fault, seed: u64) -> (Take, Vec<f32>) {
    let settings = Settings {
        seconds: 1.0,
        ..Settings::at_rate(RATE)
    };
    let drive = stimulus::make(&settings).unwrap().samples;
    let n = (drive.len() + RATE as usize / 2).next_power_of_two();
    let mut planner = FftPlanner::new();
    let mut x: Vec<Complex64> = drive.iter().map(|v| Complex64::new(f64::from(*v), 0.0)).collect();
    x.resize(n, Complex64::new(0.0, 0.0));
    planner.plan_fft_forward(n).process(&mut x);
    let parts = fault.parts();
    let mut heard = [vec![Complex64::new(0.0, 0.0); n], vec![Complex64::new(0.0, 0.0); n]];
    for k in 1..n / 2 {
        let f = k as f64 * f64::from(RATE) / n as f64;
        let (pickup, reference) = plugs(coil, &parts, f);
        let late = Complex64::from_polar(2.0, -TAU * f * LATE_S) * x[k];
        let coupled = |corner: f64| (1.0 + corner / (J * f)).inv();
        heard[0][k] = late * pickup * coupled(CORNERS.0) * fault.on(Input::Pickup, f);
        heard[1][k] = late * reference * coupled(CORNERS.1) * fault.on(Input::Reference, f);
    }
    let back = planner.plan_fft_inverse(n);
    let [pickup, reference] = heard.map(|mut h| {
        back.process(&mut h);
        let x: Vec<f64> = h.iter().map(|v| v.re / n as f64).collect();
        let top = x.iter().fold(0.0, |t: f64, v| t.max(v.abs()));
        x.into_iter().map(|v| v / top).collect::<Vec<f64>>()
    });
    let mut noise = Noise::new(seed);
    let (onto_reference, onto_pickup) = match fault {
        Leak(db) => (decibels(db), 0.0),
        Crosstalk(db) => (decibels(db), decibels(db)),
        _ => (0.0, 0.0),
    };
    let [of_pickup, of_reference] = fault.tops();
    let heard = pickup.iter().zip(&reference).map(|(p, r)| {
        let (p, r, noise) = (of_pickup * p, of_reference * r, noise.pair() * 2f64.sqrt() * NOISE);
        (
            (p + onto_pickup * r + noise.re) as f32,
            (r + onto_reference * p + noise.im) as f32,
        )
    });
    let (pickup, reference) = heard.unzip();
    let take = Take {
        rate_hz: RATE,
        pickup,
        reference: Some(reference),
        step: 2f64.powi(-24),
        provenance: Provenance::default(),
    };
    (take, drive)
}

/// What came of one fault on one coil.
pub struct Outcome {
    pub read: Analysis,
    /// Of f0 and Q: error in percent, and in u.
    pub off: [(f64, f64); 2],
    /// By how much the fault alone moves both where nobody takes it out: of the second-order model, in percent.
    pub moved: [f64; 2],
    /// Whether a warning is of the fault's kind; and of what kinds there are warnings.
    pub named: bool,
    pub warned: Vec<Code>,
}

/// Of a fault: the largest that may pass without a word, and the largest that is nobody's business; f0 and Q in percent.
const GROSS: [f64; 2] = [0.3, 3.0];
const HARMLESS: [f64; 2] = [0.05, 0.5];

/// NaN is within nothing.
fn within(percent: [f64; 2], most: [f64; 2]) -> bool {
    percent.iter().zip(most).all(|(p, most)| p.abs() < most)
}

impl Outcome {
    pub fn held(&self) -> bool {
        self.off.iter().all(|o| o.1.abs() <= 2.0)
    }

    /// What is refused says nothing wrong.
    pub fn silent_and_gross(&self) -> bool {
        self.read.resonance.is_some() && !self.named && !within(self.off.map(|o| o.0), GROSS)
    }

    pub fn harmless(&self) -> bool {
        within(self.moved, HARMLESS)
    }

    pub fn cried_at(&self) -> bool {
        self.harmless() && !self.warned.is_empty()
    }
}

fn read(coil: &Coil, fault: Fault, seed: u64) -> Analysis {
    let (take, drive) = take(coil, fault, seed);
    let rig = Rig::parse(RIG, "bench").unwrap();
    let options = Options {
        chain: &Chain::from(&rig),
        drive: Some(&drive),
        model: Choice::Better,
    };
    analysis::analyse(&take, &options).unwrap()
}

/// f0 and Q of the second-order model.
fn plain(read: &Analysis) -> [f64; 2] {
    let plain = read.fit.as_ref().and_then(|f| f.plain);
    plain.map_or([f64::NAN; 2], |p| [p.f0_hz.value, p.q.value])
}

/// The coil with each of the faults, in the order given.
pub fn outcomes(coil: &Coil, faults: &[Fault], seed: u64) -> Vec<Outcome> {
    // The same levels without the fault.
    let still = [None, Crosstalk(f64::NEG_INFINITY)].map(|f| (f.tops(), plain(&read(coil, f, seed))));
    let of = |f: &Fault| still.iter().find(|s| s.0 == f.tops()).map_or([f64::NAN; 2], |s| s.1);
    faults.iter().map(|f| outcome(coil, *f, seed, of(f))).collect()
}

fn outcome(coil: &Coil, fault: Fault, seed: u64, still: [f64; 2]) -> Outcome {
    let read = read(coil, fault, seed);
    let (f0, q) = coil.natural(fault.parts().to_coil);
    let r = read.resonance.as_ref();
    let off = |e: Option<coilwright::estimate::Estimate>, want: f64| {
        e.map_or((f64::NAN, f64::NAN), |e| {
            (100.0 * (e.value / want - 1.0), (e.value - want) / e.u)
        })
    };
    let off = [off(r.map(|r| r.f0_hz), f0), off(r.map(|r| r.q), q)];
    let loud = read.findings.iter().filter(|f| f.level >= Level::Warning);
    let warned: Vec<Code> = loud.map(|f| f.code).collect();
    Outcome {
        moved: std::array::from_fn(|i| 100.0 * (plain(&read)[i] / still[i] - 1.0)),
        named: warned.iter().any(|c| fault.names().contains(c)),
        warned,
        off,
        read,
    }
}

/// Without a fault the nodes give what the closed formula does, and its root is the formula's f0 and Q.
#[test]
fn the_nodes_agree_with_the_closed_formula() {
    for coil in COILS.iter().filter(|c| c.metal.is_empty()) {
        let g0 = coil.load_ohm / (coil.ohm + coil.load_ohm);
        let w0 = ((1.0 + coil.ohm / coil.load_ohm) / (coil.henry * coil.farad)).sqrt();
        let q = w0 / (coil.ohm / coil.henry + 1.0 / (coil.load_ohm * coil.farad));
        let (f0_hz, of_mesh) = coil.natural(0.0);
        crate::near("f0", f0_hz, w0 / TAU, 1e-9 * w0);
        crate::near("Q", of_mesh, q, 1e-9 * q);
        for f in [30.0, 900.0, 4e3, 18e3] {
            let (pickup, reference) = plugs(coil, &None.parts(), f);
            let y = TAU * f / w0;
            let formula = J * TAU * f * MUTUAL_H / SENSE_OHM * g0 / (1.0 - y * y + J * y / q);
            crate::near("G", (pickup / reference / formula - 1.0).norm(), 0.0, 1e-6);
        }
    }
}

/// A third of all, another third with each coil; all of them: `cargo bench --bench chain`.
#[test]
fn faults_of_the_chain_are_held_or_named() {
    let mut all: Vec<(String, Outcome)> = Vec::new();
    for (i, coil) in COILS.iter().enumerate() {
        let some: Vec<(&str, Fault)> = FAULTS.into_iter().skip(i % 3).step_by(3).collect();
        let faults: Vec<Fault> = some.iter().map(|f| f.1).collect();
        let names = some.iter().map(|f| format!("{} on {}", f.0, coil.name));
        all.extend(names.zip(outcomes(coil, &faults, 1)));
    }
    let of = |what: fn(&Outcome) -> bool| -> Vec<&str> {
        let those = all.iter().filter(|(_, o)| what(o));
        those.map(|(name, _)| name.as_str()).collect()
    };
    let missed = of(|o| !o.held() && !o.named);
    assert!(10 * missed.len() <= all.len(), "{missed:?}");
    let gross = of(Outcome::silent_and_gross);
    assert!(gross.is_empty(), "{gross:?}");
    let (cried, harmless) = (of(Outcome::cried_at), of(Outcome::harmless));
    assert!(
        harmless.len() > 5 && 20 * cried.len() <= harmless.len(),
        "{cried:?} of {harmless:?}"
    );
}
