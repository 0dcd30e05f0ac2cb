//! Pickups with metal about their coils under loads that no take was made under, against circuits solved elsewhere
//! (fixtures/metal/loads.py).

use std::f64::consts::TAU;

use coilwright::fit::joint::{self, CoilFit, Known, Point, Seen, Take};
use coilwright::network::{Coil, Eddy, Load, Wiring, predict, spice};
use num_complex::Complex64;

use crate::joint_sim::e;
use crate::metal::Noise;

/// Noise of a point, relative: some 40 dB.
const NOISE: f64 = 1e-3;

/// A take, and where the peak truly is and how high above the gain at 10 Hz.
struct Truth {
    take: Take,
    peak_hz: f64,
    height_db: f64,
}

fn truths(name: &str) -> Vec<Truth> {
    let text = include_str!("../../fixtures/metal/loads.json");
    let all: serde_json::Value = serde_json::from_str(text).unwrap();
    let number = |v: &serde_json::Value| v.as_f64().unwrap();
    let (first, per_octave) = (number(&all["first_hz"]), number(&all["per_octave"]));
    let pickups = all["pickups"].as_array().unwrap();
    let pickup = pickups.iter().find(|p| p["name"] == name).unwrap();
    let mut noise = Noise::new(5);
    let of = |t: &serde_json::Value| {
        let list = |k: &str| -> Vec<f64> { t[k].as_array().unwrap().iter().map(number).collect() };
        let peak_hz = number(&t["peak_hz"]);
        let points = list("re").into_iter().zip(list("im")).enumerate().map(|(i, (re, im))| {
            let (h, n) = (Complex64::new(re, im), noise.pair() * NOISE * 2f64.sqrt());
            Point {
                hz: first * 2f64.powf(i as f64 / per_octave),
                ln_mag: h.norm().ln() + n.re,
                phase: h.arg() + n.im,
                u: NOISE,
            }
        });
        let top = (4.0 * peak_hz).min(20e3);
        let points = points.collect::<Vec<_>>().into_iter().filter(|p| p.hz <= top).collect();
        Truth {
            take: Take {
                load: t["load"].as_str().unwrap().parse().unwrap(),
                input_ohm: None,
                input_f: 0.0,
                input_u: [0.0; 2],
                warm: 1.0,
                rig: 0,
                seen: Seen::Curve {
                    points,
                    f0_hz: e(peak_hz, 1e-5 * peak_hz),
                },
            },
            peak_hz,
            height_db: number(&t["height_db"]),
        }
    };
    pickup["takes"].as_array().unwrap().iter().map(of).collect()
}

/// The coil behind all takes but one.
fn without(truths: &[Truth], left_out: usize) -> CoilFit {
    let of = |(i, t): (usize, &Truth)| (i != left_out).then(|| t.take.clone());
    let takes: Vec<Take> = truths.iter().enumerate().filter_map(of).collect();
    let known = Known {
        r_ohm: 6e3,
        r_u: 6.0,
        metal: true,
        ..Known::default()
    };
    joint::fit(&takes, &known).unwrap()
}

/// Says how far the peak is off, relative, and its height in dB, each with u.
fn off(truths: &[Truth], left_out: usize) -> [(f64, f64); 2] {
    let (fit, truth) = (without(truths, left_out), &truths[left_out]);
    let wiring = Wiring::from(truth.take.load.clone());
    let told = predict::figures(&wiring, &fit.coil);
    let u = predict::doubt(&wiring, &fit.coil, &fit.covariance);
    [
        (
            told.peak_hz.unwrap() / truth.peak_hz - 1.0,
            u.peak_hz.unwrap() / truth.peak_hz,
        ),
        (told.height_db.unwrap() - truth.height_db, u.height_db.unwrap()),
    ]
}

/// Two loads tell what a third does: between them and beyond, 1 Mohm and 150 pF being all that hangs on it.
#[test]
fn two_loads_tell_what_a_third_does() {
    for name in ["screws", "screws, cover"] {
        let truths = truths(name);
        for left_out in 0..3 {
            let [peak, height] = off(&truths, left_out);
            println!("{name} {left_out}: {peak:?} {height:?}");
            assert!(
                peak.0.abs() < 2e-3 && height.0.abs() < 0.1,
                "{name}: {peak:?} {height:?}"
            );
            // As sure as it is said to be, and no less sure than is of use.
            assert!(
                peak.0.abs() < 3.0 * peak.1 && height.0.abs() < 3.0 * height.1,
                "{name}: {peak:?} {height:?}"
            );
            assert!(peak.1 < 2e-3 && height.1 < 0.1, "{name}: {peak:?} {height:?}");
        }
    }
    // Unlike poles under a cover are more than one core.
    let [peak, height] = off(&truths("screws and slugs, cover"), 0);
    assert!(peak.0.abs() < 2.5e-3 && height.0.abs() < 0.1, "{peak:?} {height:?}");
    assert!(
        peak.0.abs() < 3.0 * peak.1 && height.0.abs() < 3.0 * height.1,
        "{peak:?} {height:?}"
    );
}

#[test]
fn a_turn_stays_a_turn() {
    let truths = truths("turn");
    let turn = without(&truths, 0);
    let found = turn.coil.eddy.unwrap();
    assert_eq!((found.a, found.b), (0.0, 1.0));
    // k^2 0.1, 40 us, 0.2 of the EMF.
    assert!(
        (found.k * found.k - 0.1).abs() < 1e-3 && (found.tau_s / 40e-6 - 1.0).abs() < 0.01,
        "{found:?}"
    );
    assert!((found.emf - 0.2).abs() < 2e-3, "{found:?}");
    let core = without(&self::truths("alnico poles"), 0).coil.eddy.unwrap();
    assert!(core.a > 0.0 && core.b < 1.0, "{core:?}");
}

/// The subcircuit's own elements, put together here by hand: nodes one after the other from the field to the winding's end.
#[test]
fn a_subcircuit_is_good_to_a_fiftieth_of_a_decibel() {
    let chain = |text: &str, letter: char| -> Vec<(f64, f64)> {
        let value = |line: &str| line.split_whitespace().last().unwrap().parse::<f64>().unwrap();
        let of = |first: &str| -> Vec<f64> { text.lines().filter(|l| l.starts_with(first)).map(value).collect() };
        let (r, x) = match letter {
            'L' => (of("Rturn"), of("Lturn")),
            _ => (of("Rshape"), of("Cshape")),
        };
        r.into_iter().zip(x).collect()
    };
    let load: Load = "res=250k cap=500p".parse().unwrap();
    for (k, tau_s, emf, a, b) in [
        (0.66, 16e-6, 0.51, 7.4, 0.57),
        (0.6, 150e-6, 0.4, 0.8, 1.0),
        (0.8, 1e-3, 0.6, 100.0, 2.0),
        (0.95, 3e-6, 0.9, 20.0, 0.7),
        (0.5, 30e-6, 0.3, 0.0, 1.0),
    ] {
        let coil = Coil {
            eddy: Some(Eddy { k, tau_s, emf, a, b }),
            ..Coil::new(6e3, 2.4, 110e-12)
        };
        let text = spice::subcircuit("a", &coil, &[]);
        for i in 0..200 {
            let w = TAU * 20.0 * 1000f64.powf(f64::from(i) / 199.0);
            let s = Complex64::new(0.0, w);
            let turns: Complex64 = chain(&text, 'L')
                .iter()
                .map(|(r, l)| (1.0 / r + 1.0 / (s * l)).inv())
                .sum();
            let shape: Complex64 = chain(&text, 'C').iter().map(|(r, c)| (1.0 / r + s * c).inv()).sum();
            let z = 6e3 + s * 2.4 * (1.0 - k * k) + turns;
            let y = 1.0 / 250e3 + s * (110e-12 + 500e-12);
            let by_hand = (1.0 - emf + emf * shape / 1e3) / (1.0 + z * y);
            let off = 20.0 * (by_hand / load.response(&coil, w)).norm().log10();
            assert!(off.abs() < 0.02, "{k} {a}: {off} dB at {} Hz", w / TAU);
        }
    }
}
