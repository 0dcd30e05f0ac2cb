//! Whole takes of pickups with metal, and of chains that are not what their rig's file says: samples in, verdict out.

use std::f64::consts::TAU;

use coilwright::analysis::chain::Chain;
use coilwright::analysis::{self, Analysis, Choice, Options};
use coilwright::capture::{Provenance, Take};
use coilwright::fft;
use coilwright::record::{Code, Definition, Level, Verdict};
use coilwright::rig::Rig;
use coilwright::stimulus::{self, Settings};
use num_complex::Complex64;

use crate::metal::{Noise, Truth, truths};

const J: Complex64 = Complex64::new(0.0, 1.0);
const RATE: u32 = 48_000;

/// A rig that reads the current, so that the reference is all there is to know.
const RIG: &str = r#"name = "bench"
[exciter]
reference = "current"
sense_ohm = 22.0
series_ohm = 100.0
inductance_h = 0.0005
sign = 1
[input]
resistance_ohm = 1.0e6
"#;

/// What is done to a take.
struct Fault {
    /// On the pickup's input alone.
    pickup: fn(f64) -> Complex64,
    /// Share of the pickup's samples that is heard on the reference.
    leak: f64,
}

const NONE: Fault = Fault {
    pickup: |_| Complex64::new(1.0, 0.0),
    leak: 0.0,
};

/// A sweep as a pickup and the reference hear it, 10 ms late, in noise of -85 dBFS.
fn take(truth: &Truth, fault: &Fault, seed: u64) -> (Take, Vec<f32>) {
    let settings = Settings {
        seconds: 1.0,
        ..Settings::at_rate(RATE)
    };
    let drive = stimulus::make(&settings).unwrap().samples;
    let n = fft::good_length(drive.len() + RATE as usize / 2);
    let x = fft::forward(drive.iter().map(|v| f64::from(*v)), n, n / 2 + 1);
    let hear = |response: &dyn Fn(f64) -> Complex64| {
        let bins: Vec<Complex64> = x
            .iter()
            .enumerate()
            .map(|(k, x)| {
                let f = k as f64 * f64::from(RATE) / n as f64;
                // Below the coupling nothing comes through, above the truth's table nothing is played.
                let through = (4.0..22e3).contains(&f);
                let late = Complex64::from_polar(1.0, -TAU * f * 0.01);
                if through {
                    x * late * response(f)
                } else {
                    Complex64::new(0.0, 0.0)
                }
            })
            .collect();
        fft::inverse(&bins, n)
    };
    let coupling = |corner: f64, f: f64| (1.0 + corner / (J * f)).inv();
    let reference = hear(&|f| coupling(3.6, f) * 0.05);
    let pickup = hear(&|f| truth.g(f) * J * (f / 4e4) * coupling(2.7, f) * (fault.pickup)(f));
    let mut noise = Noise::new(seed);
    let mut noisy = |v: &f64| (v + noise.pair().re * 1.4 * 4e-5) as f32;
    let pickup: Vec<f32> = pickup.iter().map(&mut noisy).collect();
    let reference: Vec<f32> = reference.iter().map(&mut noisy).collect();
    let reference = reference
        .iter()
        .zip(&pickup)
        .map(|(r, p)| r + fault.leak as f32 * p)
        .collect();
    let take = Take {
        rate_hz: RATE,
        pickup,
        reference: Some(reference),
        step: 2f64.powi(-24),
        provenance: Provenance::default(),
    };
    (take, drive)
}

fn read(truth: &Truth, fault: &Fault, rig: &str, seed: u64) -> Analysis {
    let (take, drive) = take(truth, fault, seed);
    let rig = Rig::parse(rig, "bench").unwrap();
    let options = Options {
        chain: &Chain::from(&rig),
        drive: Some(&drive),
        model: Choice::Better,
    };
    analysis::analyse(&take, &options).unwrap()
}

fn named(name: &str) -> Truth {
    let all = truths().into_iter();
    all.filter(|t| t.coil == "loaded" && t.kind == "one coil")
        .find(|t| t.name == name)
        .unwrap()
}

fn level_of(a: &Analysis, code: Code) -> Option<Level> {
    a.findings.iter().find(|f| f.code == code).map(|f| f.level)
}

#[test]
fn screws_under_a_cover_read_ok() {
    for (name, seed) in [
        ("screws, cover", 1),
        ("screws and slugs", 2),
        ("brass cover", 3),
        ("alnico poles", 4),
    ] {
        let truth = named(name);
        let a = read(&truth, &NONE, RIG, seed);
        assert_eq!(a.verdict, Verdict::Ok, "{name}: {:?}", a.findings);
        let r = a.resonance.unwrap();
        let (hz, _) = truth.peak();
        assert!(
            (r.f0_hz.value - truth.f0_hz).abs() < 2e-3 * truth.f0_hz + 3.0 * r.f0_hz.u,
            "{name}: {:?}",
            r.f0_hz
        );
        assert!(
            (r.q.value - truth.q).abs() < 0.01 * truth.q + 3.0 * r.q.u,
            "{name}: {:?}",
            r.q
        );
        let peak = r.peak_hz.unwrap();
        assert!((peak.value - hz).abs() < 1e-3 * hz + 3.0 * peak.u, "{name}: {peak:?}");
        assert!(r.f0_hz.u < 3e-3 * truth.f0_hz, "{name}: {:?}", r.f0_hz);
        // What the second-order model says of it is kept, and is something else.
        let plain = a.fit.unwrap().plain.unwrap();
        let metal = r.definition == Definition::Pole;
        assert!(metal || name == "alnico poles", "{name}");
        assert_eq!(metal, plain.f0_hz.value != r.f0_hz.value, "{name}");
    }
}

#[test]
fn an_air_coil_is_read_both_ways_alike() {
    let truth = named("air");
    let a = read(&truth, &NONE, RIG, 5);
    assert_eq!((a.verdict, a.findings.len()), (Verdict::Ok, 1), "{:?}", a.findings);
    let (r, budget) = (a.resonance.unwrap(), a.budget.unwrap());
    assert_eq!(r.definition, Definition::Plain);
    assert!((r.f0_hz.value - truth.f0_hz).abs() < 4.0 * r.f0_hz.u, "{:?}", r.f0_hz);
    // Of what the rig does not state something is left open, and the parts are the whole.
    let f0 = budget.f0_hz;
    let whole = [f0.noise, f0.stated, f0.unstated, f0.misfit, f0.ways]
        .into_iter()
        .fold(0.0, f64::hypot);
    assert!(
        (whole / r.f0_hz.u - 1.0).abs() < 1e-9 && f0.unstated > 0.0 && f0.ways == 0.0,
        "{f0:?}"
    );
}

/// Algebraically a change of Q: only the drive file tells it.
#[test]
fn the_pickup_on_the_reference_is_named() {
    let fault = Fault { leak: 1e-2, ..NONE };
    let truth = named("air");
    let a = read(&truth, &fault, RIG, 6);
    assert_eq!(
        level_of(&a, Code::ReferenceLeak),
        Some(Level::Warning),
        "{:?}",
        a.findings
    );
    let q = a.resonance.unwrap().q;
    let off = (q.value - truth.q).abs();
    assert!(off > 0.02 * truth.q && off < 2.0 * q.u, "{q:?}");
}

#[test]
fn a_late_input_is_taken_out_and_told() {
    let fault = Fault {
        pickup: |f| Complex64::from_polar(1.0, -TAU * f * 2e-6),
        ..NONE
    };
    let truth = named("air");
    let a = read(&truth, &fault, RIG, 7);
    assert_eq!(level_of(&a, Code::InputsDiffer), Some(Level::Note), "{:?}", a.findings);
    let r = a.resonance.unwrap();
    assert!(
        (r.f0_hz.value - truth.f0_hz).abs() < 5e-4 * truth.f0_hz + 3.0 * r.f0_hz.u,
        "{:?}",
        r.f0_hz
    );
    let lead = a.fit.unwrap().shift_s.unwrap();
    assert!((lead.value + 2e-6).abs() < 1e-7 + 3.0 * lead.u, "{lead:?}");
}

/// The file says that the inputs are together within a tenth of a microsecond; they are 2 apart.
#[test]
fn a_stated_value_that_the_take_contradicts_is_named() {
    let fault = Fault {
        pickup: |f| Complex64::from_polar(1.0, -TAU * f * 2e-6),
        ..NONE
    };
    let rig = format!("{RIG}delay_s = 0.0\ndelay_tolerance_s = 1e-7\n");
    let truth = named("air");
    let a = read(&truth, &fault, &rig, 8);
    assert!(a.notes.iter().any(|n| n.contains("delay_s")), "{:?}", a.notes);
    let (f0, parts) = (a.resonance.unwrap().f0_hz, a.budget.unwrap().f0_hz);
    assert!(
        (f0.value - truth.f0_hz).abs() < 3.0 * f0.u && parts.stated > 0.0,
        "{f0:?} {parts:?}"
    );
}

/// What a capacitance of so many farads from the exciter (122 ohm, 217 uH, 0.5 mH to the coil) does to the answer of the coil
/// "air" (6 kilohm, 2.4 H): a current from the exciter's voltage into R + s L.
fn coupled(farad: f64, f: f64) -> Complex64 {
    let s = J * TAU * f;
    1.0 + farad * (6e3 + s * 2.4) * (122.0 + s * 217e-6) / 0.5e-3
}

#[test]
fn picofarads_from_the_exciter_are_held_or_named() {
    let truth = named("air");
    type Answer = fn(f64) -> Complex64;
    let faults = [
        (0.2, (|f| coupled(0.2e-12, f)) as Answer),
        (0.5, |f| coupled(0.5e-12, f)),
        (1.0, |f| coupled(1e-12, f)),
        (3.0, |f| coupled(3e-12, f)),
    ];
    for (pf, pickup) in faults {
        let a = read(&truth, &Fault { pickup, ..NONE }, RIG, 9);
        let (r, fit) = (a.resonance.as_ref().unwrap(), a.fit.as_ref().unwrap());
        let off = |e: coilwright::estimate::Estimate, want: f64| (e.value - want) / e.u;
        let [f0, q] = [off(r.f0_hz, truth.f0_hz), off(r.q, truth.q)];
        let plain = fit.plain.unwrap().f0_hz.value;
        println!(
            "{pf} pF: {:?}, lead {:?}, f0 {f0:+.1} u ({:+.4} %, of {:+.4} % taken out), Q {q:+.1} u ({:+.3} %), {:?}",
            fit.model,
            fit.shift_s.map(|s| s.value),
            100.0 * (r.f0_hz.value / truth.f0_hz - 1.0),
            100.0 * (plain / r.f0_hz.value - 1.0),
            100.0 * (r.q.value / truth.q - 1.0),
            level_of(&a, Code::InputsDiffer)
        );
        let held = f0.abs() < 3.0 && q.abs() < 3.0;
        assert!(
            held || level_of(&a, Code::InputsDiffer) == Some(Level::Warning),
            "{pf} pF"
        );
    }
}
