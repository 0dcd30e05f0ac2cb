//! Pickups with metal about their coils, against circuits solved elsewhere (fixtures/metal).

use std::f64::consts::TAU;

use coilwright::estimate::Estimate;
use coilwright::fit::kind::Metal;
use coilwright::fit::ladder::{self, Climb};
use coilwright::fit::model::{Fixed, Param};
use coilwright::fit::natural::{self, Resonance};
use coilwright::fit::rival::{self, Chance};
use coilwright::fit::{self, Known, Nuisance, Setup, Shift, peak};
use coilwright::transfer::bins::Bins;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

const J: Complex64 = Complex64::new(0.0, 1.0);

/// A response solved elsewhere.
pub struct Truth {
    pub name: String,
    pub coil: String,
    pub kind: String,
    /// Whether a model of the program holds it exactly.
    pub inside: bool,
    pub f0_hz: f64,
    pub q: f64,
    /// ln G by ln f, its resonance taken out, evenly spaced, with its slopes.
    first: f64,
    step: f64,
    ln_g: Vec<Complex64>,
    slope: Vec<Complex64>,
}

pub fn truths() -> Vec<Truth> {
    let text = include_str!("../../fixtures/metal/truths.json");
    let all: serde_json::Value = serde_json::from_str(text).unwrap();
    let step = 2f64.ln() / all["per_octave"].as_f64().unwrap();
    let first = all["first_hz"].as_f64().unwrap().ln();
    let of = |p: &serde_json::Value| {
        let list = |k: &str| -> Vec<f64> { p[k].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect() };
        let g: Vec<Complex64> = list("re")
            .into_iter()
            .zip(list("im"))
            .map(|(a, b)| Complex64::new(a, b))
            .collect();
        let (f0_hz, q) = (p["f0_hz"].as_f64().unwrap(), p["q"].as_f64().unwrap());
        // Without its resonance the curve is smooth.
        let plain = |i: usize| {
            let y = (first + step * i as f64).exp() / f0_hz;
            Complex64::new(1.0 - y * y, y / q)
        };
        let mut ln_g: Vec<Complex64> = g.iter().enumerate().map(|(i, g)| (g * plain(i)).ln()).collect();
        for i in 1..ln_g.len() {
            let turns = ((ln_g[i].im - ln_g[i - 1].im) / TAU).round();
            ln_g[i].im -= turns * TAU;
        }
        let text = |k: &str| p[k].as_str().unwrap().to_string();
        Truth {
            name: text("name"),
            coil: text("coil"),
            kind: text("kind"),
            inside: p["inside"].as_bool().unwrap(),
            f0_hz,
            q,
            first,
            step,
            slope: slopes(&ln_g),
            ln_g,
        }
    };
    all["pickups"].as_array().unwrap().iter().map(of).collect()
}

/// Slopes of a cubic spline through evenly spaced values, its ends by differences.
fn slopes(v: &[Complex64]) -> Vec<Complex64> {
    let n = v.len();
    let (mut diagonal, mut right) = (vec![4.0; n], vec![Complex64::new(0.0, 0.0); n]);
    for i in 1..n - 1 {
        right[i] = (v[i + 1] - v[i - 1]) * 3.0;
    }
    (diagonal[0], diagonal[n - 1]) = (1.0, 1.0);
    right[0] = (v[1] * 4.0 - v[0] * 3.0 - v[2]) * 0.5;
    right[n - 1] = -(v[n - 2] * 4.0 - v[n - 1] * 3.0 - v[n - 3]) * 0.5;
    for i in 1..n {
        let below = if i == n - 1 { 0.0 } else { 1.0 };
        let above = if i == 1 { 0.0 } else { 1.0 };
        let w = below / diagonal[i - 1];
        diagonal[i] -= w * above;
        let before = right[i - 1];
        right[i] -= before * w;
    }
    let mut out = right.clone();
    out[n - 1] /= diagonal[n - 1];
    for i in (0..n - 1).rev() {
        let above = if i == 0 { 0.0 } else { 1.0 };
        let after = out[i + 1];
        out[i] = (right[i] - after * above) / diagonal[i];
    }
    out
}

impl Truth {
    pub fn g(&self, f: f64) -> Complex64 {
        let x = (f.ln() - self.first) / self.step;
        let i = (x as usize).min(self.ln_g.len() - 2);
        let t = x - i as f64;
        let (a, b, da, db) = (self.ln_g[i], self.ln_g[i + 1], self.slope[i], self.slope[i + 1]);
        let cubic = a * (1.0 + 2.0 * t) * (1.0 - t) * (1.0 - t)
            + da * t * (1.0 - t) * (1.0 - t)
            + b * t * t * (3.0 - 2.0 * t)
            + db * t * t * (t - 1.0);
        let y = f / self.f0_hz;
        cubic.exp() / Complex64::new(1.0 - y * y, y / self.q)
    }

    /// Frequency and height of the peak, above the level at 250 Hz carried down as a plain coil of its f0 and Q would.
    pub fn peak(&self) -> (f64, f64) {
        let top = (0..4000).map(|i| 800.0 * 20f64.powf(i as f64 / 4000.0));
        let hz = top
            .max_by(|a, b| self.g(*a).norm().total_cmp(&self.g(*b).norm()))
            .unwrap();
        let (mut low, mut high) = (hz * 0.998, hz * 1.002);
        for _ in 0..100 {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if self.g(a).norm() < self.g(b).norm() {
                low = a
            } else {
                high = b
            }
        }
        let y = 250.0 / self.f0_hz;
        let zero = self.g(250.0).norm() * Complex64::new(1.0 - y * y, y / self.q).norm();
        (low, 20.0 * (self.g(low).norm() / zero).log10())
    }
}

/// AC-coupling corners of pickup's and reference's input.
pub const CORNERS: (f64, f64) = (2.7, 3.6);

/// What the fit is told of the inputs.
#[derive(Clone, Copy, PartialEq)]
pub enum Told {
    /// Corners and delay, as exact.
    All,
    /// Nothing.
    Nothing,
}

pub fn setup(told: Told) -> Setup {
    let mut setup = Setup {
        band: [20.0, 18e3],
        shift: Some(Shift {
            at_s: 0.0,
            usual_s: (told == Told::Nothing).then_some(0.3e-6),
        }),
        ..Setup::default()
    };
    let unknown = |param, start, lower, upper| Nuisance {
        param,
        start,
        lower,
        upper,
        prior: Some((start, 8.0)),
        known: Known::Weakly,
    };
    match told {
        Told::All => {
            setup.fixed.set(Param::AcPickup, CORNERS.0);
            setup.fixed.set(Param::AcReference, CORNERS.1);
        }
        Told::Nothing => {
            setup.nuisance = vec![
                unknown(Param::AcMean, 4.0, 0.0, 15.0),
                unknown(Param::AcDifference, 0.0, -12.0, 12.0),
            ];
        }
    }
    let _ = Fixed::default();
    setup
}

/// Normal deviates.
pub struct Noise(ChaCha8Rng);

impl Noise {
    pub fn new(seed: u64) -> Noise {
        Noise(ChaCha8Rng::seed_from_u64(seed))
    }

    pub fn pair(&mut self) -> Complex64 {
        let uniform = |r: &mut ChaCha8Rng| (r.next_u64() >> 11) as f64 / (1u64 << 53) as f64;
        let (a, b) = (1.0 - uniform(&mut self.0), uniform(&mut self.0));
        Complex64::from_polar((-a.ln()).sqrt(), TAU * b)
    }
}

/// Spectra of a take with a pink drive; `snr_db`: of a bin 0.3 Hz wide at the peak. `chain`: what else lies in the pickup's way.
pub fn bins(truth: &Truth, snr_db: f64, seed: u64, chain: impl Fn(f64) -> Complex64) -> Bins {
    let spacing_hz = 1.0;
    let (first, last) = (16usize, 18_200usize);
    let mut noise = Noise::new(seed);
    let drive = |f: f64| 1.0 / f.sqrt();
    let (top, _) = truth.peak();
    // Fewer, wider bins than 0.3 Hz: each tells as much as the ones it stands for.
    let s2 = (truth.g(top).norm() * TAU * top * drive(top)).powi(2) * 10f64.powf(-snr_db / 10.0) * 0.3 / spacing_hz;
    let mut x = Vec::new();
    let mut y = Vec::new();
    for i in first..=last {
        let f = i as f64 * spacing_hz;
        let phase = 1e-4 * f * f;
        let d = Complex64::from_polar(drive(f), phase);
        let ac = (1.0 + CORNERS.1 / (J * f)) / (1.0 + CORNERS.0 / (J * f));
        x.push(d);
        y.push(d * truth.g(f) * J * (TAU * f) * ac * chain(f) + noise.pair() * s2.sqrt());
    }
    let n = x.len();
    Bins {
        spacing_hz,
        first,
        x,
        y,
        x_clock: None,
        syy: vec![s2; n],
        sxx: vec![0.0; n],
        syx: vec![Complex64::new(0.0, 0.0); n],
        used: vec![true; n],
        length: 1.0,
        energy: 1.0,
    }
}

/// A reading with everything that was found.
pub struct Read {
    pub climb: Climb,
    pub natural: Resonance,
    pub peak: Option<peak::Shown>,
}

impl Read {
    /// f0, Q, peak and its height, the distance to the next model counted in.
    pub fn all(&self) -> [Estimate; 4] {
        let none = Estimate {
            value: f64::NAN,
            u: f64::NAN,
            u_noise: f64::NAN,
        };
        let of = |n: Option<&Resonance>, p: Option<&peak::Shown>| {
            [
                n.map_or(none, |n| n.f0),
                n.map_or(none, |n| n.q),
                p.map_or(none, |p| p.hz),
                p.map_or(none, |p| p.db),
            ]
        };
        let here = of(Some(&self.natural), self.peak.as_ref());
        let there = self.climb.rivals.iter();
        let there: Vec<_> = there
            .map(|r| {
                (
                    of(natural::of(&r.fit).as_ref(), peak::estimate(&r.fit).as_ref()),
                    r.chance,
                )
            })
            .collect();
        std::array::from_fn(|i| {
            let a = here[i];
            let rivals = there.iter().map(|(all, chance)| (all[i], *chance));
            let rivals: Vec<(Estimate, Chance)> = rivals.filter(|(e, _)| e.value.is_finite()).collect();
            let apart = rival::apart(a, &rivals);
            let carried = match i == 3 && self.climb.chosen.rung.kind.metal >= Metal::Core {
                true => natural::LEVEL_U_DB,
                false => 0.0,
            };
            Estimate {
                u: [a.u, apart.beyond, apart.by_choice, carried]
                    .into_iter()
                    .fold(0.0, f64::hypot),
                u_noise: a.u_noise.hypot(apart.by_choice),
                ..a
            }
        })
    }
}

pub fn read(bins: &Bins, told: Told) -> Option<Read> {
    let setup = setup(told);
    let plain = fit::second_order(bins, &setup)?;
    let climb = ladder::climb(bins, &setup, &plain);
    Some(Read {
        natural: natural::of(&climb.chosen)?,
        peak: peak::estimate(&climb.chosen),
        climb,
    })
}

/// Nothing besides in the pickup's way.
pub fn straight(_: f64) -> Complex64 {
    Complex64::new(1.0, 0.0)
}

/// Figures of the truth in the order of [`Read::all`], and how far one may be off besides three standard uncertainties.
pub fn wanted(truth: &Truth) -> [(f64, f64); 4] {
    let (hz, db) = truth.peak();
    [
        (truth.f0_hz, 2e-3 * truth.f0_hz),
        (truth.q, 0.01 * truth.q),
        (hz, 1e-3 * hz),
        (db, 0.05),
    ]
}

#[test]
fn every_circuit_is_read_right() {
    for (i, truth) in truths().iter().enumerate() {
        // All of them, but each under one signal-to-noise ratio, its corners told or not.
        let (snr_db, told) = ([60.0, 40.0, 20.0][i % 3], [Told::All, Told::Nothing][i % 2]);
        let read = read(&bins(truth, snr_db, 7, straight), told).unwrap();
        for (k, (got, (want, within))) in read.all().into_iter().zip(wanted(truth)).enumerate() {
            // A bar that long leaves no peak under this load.
            if k >= 2 && got.value.is_nan() {
                assert_eq!((truth.name.as_str(), truth.coil.as_str()), ("long bar", "loaded"));
                continue;
            }
            let off = (got.value - want).abs();
            let place = format!("{} {} {} at {snr_db} dB", truth.name, truth.coil, truth.kind);
            assert!(
                off <= within + 3.0 * got.u,
                "{place}: {k} is {} for {want}, u {}",
                got.value,
                got.u
            );
        }
    }
}

/// A plain coil's level at nought hertz is the plain model's gain; with steel that gain is whatever the curve makes of it. So the
/// heights above the two are no one quantity, and readings by two definitions are compared without them.
#[test]
fn the_height_counts_from_another_level_with_metal() {
    let mut most: f64 = 0.0;
    for truth in truths().iter().filter(|t| t.coil == "loaded" && t.kind == "one coil") {
        let bins = bins(truth, 60.0, 11, straight);
        let read = read(&bins, Told::All).unwrap();
        let plain = fit::second_order(&bins, &setup(Told::All)).unwrap();
        let level = |n: Resonance| 20.0 * n.level.value.log10();
        let levels = level(natural::of(&plain).unwrap()) - level(read.natural.clone());
        let Some((here, there)) = read.peak.as_ref().zip(peak::estimate(&plain)) else {
            continue;
        };
        let apart = there.db.value - here.db.value;
        println!(
            "{:26} {apart:+.3} dB, of which the level {:+.3} dB",
            truth.name, -levels
        );
        if truth.name == "air" {
            assert!(apart.abs() < 3.0 * here.db.u, "{apart}");
        }
        most = most.max(apart.abs() / here.db.u.hypot(there.db.u));
    }
    assert!(most > 4.0, "{most}");
}

/// Where noise hides what little metal there is, a plainer model is taken; its intervals count that in.
#[test]
fn what_noise_hides_is_in_u() {
    let faint = [
        "alnico poles",
        "plate",
        "cover",
        "alnico poles, plate",
        "alnico poles, cover",
    ];
    // Of the height also by the chosen model's own u.
    let (mut takes, mut held, mut alone) = (0, [0; 4], 0);
    for (i, truth) in truths().iter().enumerate() {
        if truth.kind != "one coil" || !faint.contains(&truth.name.as_str()) {
            continue;
        }
        for seed in 0..12 {
            let read = read(&bins(truth, 20.0, 100 * i as u64 + seed, straight), Told::All).unwrap();
            let holds = |e: Estimate, want: f64| usize::from((e.value - want).abs() <= 1.96 * e.u);
            takes += 1;
            for (k, (want, _)) in wanted(truth).into_iter().enumerate() {
                held[k] += holds(read.all()[k], want);
            }
            alone += holds(read.peak.as_ref().unwrap().db, wanted(truth)[3].0);
        }
    }
    println!("of {takes}: f0, Q, peak, height {held:?}; {alone} without rivals");
    let least = [0.85, 0.93, 0.9, 0.8].map(|share| (share * f64::from(takes)) as usize);
    assert!(
        held.iter().zip(least).all(|(n, least)| *n >= least),
        "{held:?} of {takes}"
    );
    assert!(alone + 10 < held[3], "{alone} of {takes}");
}

#[test]
fn the_corners_told_or_not_move_nothing_that_matters() {
    for truth in truths()
        .iter()
        .filter(|t| t.coil == "loaded" && t.kind == "one coil")
        .step_by(4)
    {
        let of = |told| read(&bins(truth, 40.0, 3, straight), told).unwrap().all();
        let (told, free) = (of(Told::All), of(Told::Nothing));
        let apart = (told[0].value / free[0].value - 1.0).abs();
        let u = told[0].u.hypot(free[0].u) / told[0].value;
        assert!(apart <= 2e-3 + 3.0 * u, "{}: {apart}", truth.name);
    }
}

#[test]
fn air_is_never_taken_for_metal() {
    for truth in truths().iter().filter(|t| t.name == "air" && t.kind == "one coil") {
        for seed in 0..20 {
            let read = read(
                &bins(truth, [60.0, 40.0, 20.0][seed as usize % 3], seed, straight),
                Told::Nothing,
            )
            .unwrap();
            assert_eq!(read.climb.chosen.rung.kind.metal, Metal::None, "{seed}");
            assert!((read.natural.f0.value / truth.f0_hz - 1.0).abs() < 1e-3 + 4.0 * read.natural.f0.u / truth.f0_hz);
        }
    }
}

/// A skew of the inputs, a roll-off of one, a few picofarads from the exciter: found and taken out, not taken for metal.
#[test]
fn what_the_inputs_do_is_not_metal() {
    let delay = |s: f64| move |f: f64| Complex64::from_polar(1.0, -TAU * f * s);
    let low_pass = |hz: f64| move |f: f64| (1.0 + J * (f / hz)).inv();
    for truth in truths().iter().filter(|t| t.name == "air" && t.kind == "one coil") {
        let shifted: [(&str, f64, Bins); 4] = [
            ("1 us late", -1e-6, bins(truth, 50.0, 1, delay(1e-6))),
            ("2 us early", 2e-6, bins(truth, 50.0, 2, delay(-2e-6))),
            ("5 us late", -5e-6, bins(truth, 50.0, 3, delay(5e-6))),
            (
                "200 kHz on the pickup's input",
                -0.8e-6,
                bins(truth, 50.0, 4, low_pass(200e3)),
            ),
        ];
        for (name, lead_s, bins) in shifted {
            let read = read(&bins, Told::Nothing).unwrap();
            let chosen = &read.climb.chosen;
            assert_eq!(chosen.rung.kind.metal, Metal::None, "{name}");
            let lead = chosen.lead().unwrap_or_else(|| panic!("{name}"));
            assert!((lead.value - lead_s).abs() < 0.1e-6 + 3.0 * lead.u, "{name}: {lead:?}");
            let off = read.natural.f0.value / truth.f0_hz - 1.0;
            assert!(
                off.abs() < 5e-4 + 3.0 * read.natural.f0.u / truth.f0_hz,
                "{name}: {off}"
            );
        }
    }
}
