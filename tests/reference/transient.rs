//! A tone burst through a pickup with its controls: the network, and the built-in bench, against a circuit simulator that
//! integrates in time.
//!
//! ngspice 39, transient analysis, fixtures/spice/transient.json: pickup, potentiometer, cable and amplifier, 321 samples.

use std::f64::consts::{PI, TAU};

use coilwright::capture::bench::{Bench, Spec};
use coilwright::capture::{Capture, Request};
use coilwright::fft;
use coilwright::network::{Coil, Load};
use serde_json::Value;

use crate::near;

fn fixture() -> (Value, Vec<f64>) {
    let v: Value = serde_json::from_str(include_str!("../../fixtures/spice/transient.json")).unwrap();
    let response = v["response_v"]
        .as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect();
    (v, response)
}

fn pickup(v: &Value) -> (Coil, Load) {
    let of = |name: &str| v["circuit"][name].as_f64().unwrap();
    let coil = Coil::new(of("r_ohm"), of("l_h"), of("c_s_f"));
    let load = format!(
        "vol={}@1 cap={:e} amp={}//1e-20",
        of("pot_ohm"),
        of("cable_f"),
        of("amp_ohm")
    );
    (coil, load.parse().unwrap_or_else(|e| panic!("{load}: {e}")))
}

const LENGTH: f64 = 5e-3;
const FREQUENCY: f64 = 3000.0;

/// As the fixture defines it.
fn burst(t: f64) -> f64 {
    if (0.0..LENGTH).contains(&t) {
        (PI * t / LENGTH).sin().powi(2) * (TAU * FREQUENCY * t).sin()
    } else {
        0.0
    }
}

/// Its integral from 0: sin^2 a = (1 - cos 2a)/2 and sin b cos c = (sin(b + c) + sin(b - c))/2. Zero again at the end.
fn integral(t: f64) -> f64 {
    let (w, v) = (TAU * FREQUENCY, TAU / LENGTH);
    let part = |w: f64| (1.0 - (w * t).cos()) / w;
    if (0.0..LENGTH).contains(&t) {
        0.5 * part(w) - 0.25 * (part(w + v) + part(w - v))
    } else {
        0.0
    }
}

#[test]
fn the_network_rings_as_the_simulator_says() {
    let (v, want) = fixture();
    let (coil, load) = pickup(&v);
    let step = v["step_s"].as_f64().unwrap();
    // Finer than the fixture, so that nothing of the burst lies beyond, and long enough to die away.
    let (fine, n) = (16, 1 << 16);
    let dt = step / f64::from(fine);
    let mut bins = fft::forward((0..n).map(|i| burst(i as f64 * dt)), n, n / 2 + 1);
    for (k, b) in bins.iter_mut().enumerate() {
        *b *= load.response(&coil, TAU * k as f64 / (n as f64 * dt));
    }
    let got = fft::inverse(&bins, n);
    let error = v["max_error_v"].as_f64().unwrap();
    assert!(want.len() == 321 && want.iter().any(|x| x.abs() > 1.7));
    for (i, w) in want.iter().enumerate() {
        // The simulator's own error, and as much again for what the finer grid still cuts off.
        near(&format!("sample {i}"), got[i * fine as usize], *w, 3.0 * error);
    }
}

/// The bench plays a voltage, and its exciter makes an EMF of the current's slope: the burst's integral is what to play.
#[test]
fn the_bench_rings_as_the_simulator_says() {
    let (v, want) = fixture();
    let (coil, load) = pickup(&v);
    // Four samples of the bench to one of the fixture. The played signal begins with some silence.
    let (rate, lead, every) = (160_000u32, 800u32, 4);
    let full = integral(LENGTH / 2.0)
        .abs()
        .max(integral(LENGTH / 2.0 + 0.5 / FREQUENCY).abs());
    let scale = 0.9 / full;
    let drive: Vec<f32> = (0..3 * 800 + 1400)
        .map(|i| (scale * integral((i as f64 - f64::from(lead)) / f64::from(rate))) as f32)
        .collect();
    assert!(drive.iter().all(|x| x.abs() < 1.0));
    let words = "noise=-300dBFS hum=none ac-pickup=0Hz ac-reference=0Hz ac-output=0Hz latency=0s m=0.002H";
    let mut spec = Spec::parse_words(words).unwrap();
    spec.coil = coil;
    let mut bench = Bench::new(spec, None, Some(&load), false, 1).unwrap();
    let request = Request { rate_hz: rate, drive };
    let take = bench.take(&request, &mut |_| {}).unwrap();
    // Without a rig: 100 ohm, no inductance, so the EMF is M/100 of the voltage's slope, and the reference the voltage.
    let volt = scale * 0.002 / 100.0;
    assert!(volt * 1.7 < 1.0 && volt * 1.7 > 0.05, "{volt}");
    for (i, w) in want.iter().enumerate() {
        let got = f64::from(take.pickup[lead as usize + every * i]) / volt;
        // Samples of 24 bits in and out: 1e-7 of full scale each.
        near(&format!("sample {i}"), got, *w, 2e-7 / volt + 5e-6);
    }
    // The reference is what was played, but for the mean, which no sound card passes.
    let reference = take.reference.unwrap();
    for (i, (got, played)) in reference.iter().zip(&request.drive).enumerate() {
        near(
            &format!("reference {i}"),
            f64::from(got - reference[0]),
            f64::from(*played),
            3e-7,
        );
    }
}
