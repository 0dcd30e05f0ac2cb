//! The bench against a circuit simulator's numbers, against another way of computing, and against the analysis.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::*;
use crate::analysis::chain::Chain;
use crate::analysis::{self, Analysis, Choice, Options};
use crate::network::{Coil, Eddy};
use crate::record::{Code, Level, Verdict};
use crate::stimulus::{self, Settings};

const RIG: &str = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.0005\nsource_ohm = 32.0\nsign = -1\n\
                   [input]\nresistance_ohm = 1e6\ncapacitance_f = 60e-12\nlead_capacitance_f = 90e-12\n";

fn rig(text: &str) -> Rig {
    Rig::parse(text, "bench").unwrap()
}

fn spec(words: &str) -> Spec {
    Spec::parse_words(words).unwrap()
}

fn drive(level_dbfs: f64) -> Vec<f32> {
    let settings = Settings {
        level_dbfs,
        ..Settings::at_rate(96_000)
    };
    stimulus::make(&settings).unwrap().samples
}

fn bench(spec: Spec, rig: Option<&Rig>, load: Option<&Load>, seed: u64) -> Bench {
    Bench::new(spec, rig, load, false, seed).unwrap()
}

fn record(bench: &mut Bench, drive: &[f32]) -> Take {
    let request = Request {
        rate_hz: 96_000,
        drive: drive.to_vec(),
    };
    bench.take(&request, &mut |_| {}).unwrap()
}

fn analyse(take: &Take, rig: Option<&Rig>) -> Analysis {
    let chain = rig.map_or_else(Chain::unknown, Chain::from);
    let options = Options {
        chain: &chain,
        drive: None,
        model: Choice::Better,
    };
    analysis::analyse(take, &options).unwrap()
}

/// ngspice 39, fixtures/spice/rlc.json: f0 from the -90 degree crossing, Q from the gain there.
fn simulator_rows() -> Vec<[f64; 6]> {
    let text = include_str!("../../../fixtures/spice/rlc.json");
    let all: serde_json::Value = serde_json::from_str(text).unwrap();
    let rows = all["rows"].as_array().unwrap();
    let of = |r: &serde_json::Value| ["r_ohm", "l_h", "c_f", "load_ohm", "f0_hz", "q"].map(|k| r[k].as_f64().unwrap());
    rows.iter().map(of).collect()
}

#[test]
fn the_analysis_finds_what_a_circuit_simulator_says() {
    let rows = simulator_rows();
    assert_eq!(rows.len(), 9);
    let drive = drive(-12.0);
    for (i, [r, l, c, load_ohm, f0, q]) in rows.into_iter().enumerate() {
        // Part of the capacitance in the winding, the rest in the load.
        let own = 0.6 * c.min(150e-12);
        let mut s = spec("hum=-70dBFS");
        s.coil = Coil::new(r, l, own);
        // Without clipping at the sharpest of them.
        s.exciter.mutual_h = if q > 10.0 { 5e-5 } else { 2e-4 };
        let load = Load {
            res_ohm: Some(load_ohm),
            cap_f: Some(c - own),
            ..Load::default()
        };
        let take = record(&mut bench(s, None, Some(&load), i as u64), &drive);
        let a = analyse(&take, None);
        assert_ne!(a.verdict, Verdict::Rejected, "row {i}: {:?}", a.findings);
        let found = a.resonance.unwrap();
        for (name, e, truth) in [("f0", found.f0_hz, f0), ("Q", found.q, q)] {
            let off = (e.value - truth) / e.u;
            assert!(off.abs() < 4.0, "row {i}: {name} {e:?} is {off:.1} u from {truth}");
            // Not by being unsure: half a per cent where there is a peak, and nowhere more than some.
            let sure = if q > 0.7 { 0.005 } else { 0.05 };
            assert!(e.u < sure * truth, "row {i}: {name} {e:?}");
        }
    }
}

#[test]
fn a_rig_given_to_both_cancels_out_of_the_reading() {
    // Second order: 6 kOhm, 2.4 H, 120 pF + 350 pF + 150 pF of the rig; 250 kOhm beside its 1 MOhm: 200 kOhm.
    let [f0, q] = [4187.330865, 2.490390989];
    let load: Load = "res=250k cap=350p".parse().unwrap();
    for text in [
        RIG.to_string(),
        RIG.replace("voltage", "current")
            .replace("sign = -1", "sense_ohm = 22.0"),
        format!("{RIG}ac_pickup_hz = 5.0\nac_reference_hz = 1.0\ndelay_s = 5e-6\ngain_db = -3.0\n"),
    ] {
        let rig = rig(&text);
        let s = spec("r=6k l=2.4H cs=120p polarity=-1 m=0.3mH");
        let take = record(&mut bench(s, Some(&rig), Some(&load), 3), &drive(-12.0));
        let found = analyse(&take, Some(&rig)).resonance.unwrap();
        let m = found.mutual_h.unwrap();
        let gain_dc = 200.0 / 206.0;
        for (name, e, truth) in [("f0", found.f0_hz, f0), ("Q", found.q, q), ("M", m, 0.3e-3 * gain_dc)] {
            // The size of the mutual inductance; its sign is the polarity, looked at below.
            let off = (e.value.abs() - truth) / e.u;
            assert!(off.abs() < 4.0, "{name} {e:?}: {off:.1} u from {truth}");
        }
        assert_eq!(found.polarity, -1);
    }
}

/// Sum of x_n exp(-j 2 pi f n / rate), term by term.
fn dft(x: &[f32], f: f64, rate: f64) -> Complex64 {
    let turns = f / rate;
    x.iter()
        .enumerate()
        .filter(|(_, v)| **v != 0.0)
        .map(|(n, v)| Complex64::from_polar(f64::from(*v), -TAU * ((turns * n as f64) % 1.0)))
        .sum()
}

#[test]
fn a_one_channel_take_is_the_drive_through_the_formula_on_the_other_clock() {
    let rig = rig(RIG);
    let load: Load = "res=250k cap=350p".parse().unwrap();
    let mut drive = drive(-12.0);
    // One sweep: where two cancel there is nothing to compare with.
    let one = (0.6 * 96_000.0) as usize + (1.5 * 96_000.0) as usize;
    drive[one..].fill(0.0);
    for ppm in [0.0, 120.0, -250.0] {
        let mut s = spec("r=6k l=2.4H cs=120p noise=-250dBFS hum=none latency=0.0307s");
        s.card.clock_ppm = ppm;
        let mut bench = Bench::new(s, Some(&rig), Some(&load), true, 1).unwrap();
        let take = record(&mut bench, &drive);
        assert!(take.reference.is_none() && take.provenance.simulated);
        for f in [40.0, 333.0, 1000.0, 4187.0, 9000.0, 15_000.0] {
            let jw = Complex64::new(0.0, TAU * f);
            let (w0, q, g0) = (TAU * 4187.330865, 2.490390989, 200.0 / 206.0);
            let pickup = g0 * w0 * w0 / (w0 * w0 + jw * jw + jw * w0 / q);
            // The output's voltage, not the tap's: its own 32 ohm count. Sign of the rig: -1.
            let emf = -2e-4 * jw / (132.0 + jw * 0.0005);
            let ac = |corner: f64| jw / (jw + TAU * corner);
            let late = Complex64::from_polar(1.0, -TAU * f * 0.0307);
            let pace = 1.0 + 1e-6 * ppm;
            let want = dft(&drive, f, 96_000.0 * pace) / pace * pickup * emf * ac(2.7) * ac(2.0) * late;
            let got = dft(&take.pickup, f, 96_000.0);
            // What is left: 24-bit steps, which count most where the answer is weakest.
            let off = (got - want).norm() / want.norm();
            let least = if f < 100.0 { 4e-4 } else { 1e-4 };
            assert!(off < least, "{ppm} ppm, {f} Hz: {off:.1e}");
        }
    }
}

/// The circuit's differential equations, for Runge and Kutta's fourth-order method.
///
/// x: exciter current, coil current, current in the shorted turn, voltage at the input, and the three capacitors of the AC
/// couplings (voltage across each, taken away from what drives it).
struct Equations {
    l: f64,
    r: f64,
    c: f64,
    rp: f64,
    /// Turn: inductance and resistance; mutual inductance to the coil.
    l2: f64,
    r2: f64,
    m12: f64,
}

impl Equations {
    const SOURCE: f64 = 32.0;
    const SERIES: f64 = 100.0;
    const LX: f64 = 0.0005;
    const M: f64 = -2e-4;

    fn slope(&self, x: &[f64; 7], volt: f64) -> [f64; 7] {
        let [ix, i1, i2, v, co, cp, cr] = *x;
        let out = volt - co;
        let dix = (out - (Self::SOURCE + Self::SERIES) * ix) / Self::LX;
        // e = L i1' + m12 i2' + R i1 + v;  0 = L2 i2' + m12 i1' + R2 i2
        let a = Self::M * dix - self.r * i1 - v;
        let b = -self.r2 * i2;
        let det = self.l * self.l2 - self.m12 * self.m12;
        let di1 = (a * self.l2 - b * self.m12) / det;
        let di2 = (b * self.l - a * self.m12) / det;
        let dv = (i1 - v / self.rp) / self.c;
        let tap = Self::SERIES * ix + Self::LX * dix;
        [
            dix,
            di1,
            di2,
            dv,
            out * TAU * 2.0,
            (v - cp) * TAU * 2.7,
            (tap - cr) * TAU * 3.6,
        ]
    }

    /// Pickup and reference at the converters.
    fn outputs(&self, x: &[f64; 7], volt: f64) -> [f64; 2] {
        let dix = self.slope(x, volt)[0];
        let tap = Self::SERIES * x[0] + Self::LX * dix;
        [x[3] - x[5], tap - x[6]]
    }

    fn run(&self, drive: impl Fn(f64) -> f64, rate: f64, frames: usize, fine: usize) -> [Vec<f64>; 2] {
        let h = 1.0 / (rate * fine as f64);
        let mut x = [0.0; 7];
        let mut out = [Vec::new(), Vec::new()];
        let add = |x: &[f64; 7], k: &[f64; 7], s: f64| std::array::from_fn(|i| x[i] + s * k[i]);
        for n in 0..frames {
            let now = self.outputs(&x, drive(n as f64 / rate));
            out[0].push(now[0]);
            out[1].push(now[1]);
            for j in 0..fine {
                let t = n as f64 / rate + j as f64 * h;
                let k1 = self.slope(&x, drive(t));
                let k2 = self.slope(&add(&x, &k1, 0.5 * h), drive(t + 0.5 * h));
                let k3 = self.slope(&add(&x, &k2, 0.5 * h), drive(t + 0.5 * h));
                let k4 = self.slope(&add(&x, &k3, h), drive(t + h));
                x = std::array::from_fn(|i| x[i] + h / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]));
            }
        }
        out
    }
}

#[test]
fn takes_agree_with_the_differential_equations_integrated_in_time() {
    let (rate, frames) = (96_000.0, 1500);
    // A burst with nothing to speak of beyond 30 kHz.
    let burst = |t: f64| {
        let u = t - 0.002;
        0.5 * (-(u / 2.5e-4).powi(2)).exp() * (TAU * 4000.0 * u).sin()
    };
    let samples: Vec<f32> = (0..frames).map(|n| burst(n as f64 / rate) as f32).collect();
    let load: Load = "res=250k cap=350p".parse().unwrap();
    // The turn's own scale is free: only k and L2/R2 count.
    let (l, k, tau_s, l2) = (2.4, 0.4, 33e-6, 0.1);
    for (name, eddy) in [
        ("plain", None),
        (
            "with a shorted turn",
            Some(Eddy {
                k,
                tau_s,
                emf: 0.0,
                a: 0.0,
                b: 1.0,
            }),
        ),
    ] {
        let mut s = spec("r=6k l=2.4H cs=120p noise=-250dBFS hum=none latency=0s");
        s.coil.eddy = eddy;
        let take = record(&mut bench(s, Some(&rig(RIG)), Some(&load), 1), &samples);
        let equations = Equations {
            l,
            r: 6e3,
            c: 620e-12,
            rp: 200e3,
            l2,
            r2: l2 / tau_s,
            m12: if eddy.is_some() { k * (l * l2).sqrt() } else { 0.0 },
        };
        let want = equations.run(burst, rate, frames, 40);
        let got = [take.pickup, take.reference.unwrap()];
        for (channel, (got, want)) in ["pickup", "reference"].iter().zip(got.iter().zip(&want)) {
            let top = want.iter().fold(0.0f64, |m, v| m.max(v.abs()));
            let off = got
                .iter()
                .zip(want)
                .fold(0.0f64, |m, (a, b)| m.max((f64::from(*a) - b).abs()));
            assert!(
                top > 0.01 && off < 1e-4 * top,
                "{name}, {channel}: off by {:.1e}",
                off / top
            );
        }
    }
}

#[test]
fn the_same_seed_is_the_same_take_and_every_take_has_noise_of_its_own() {
    let drive = drive(-12.0);
    let take = |words: &str, seed: u64| record(&mut bench(spec(words), None, None, seed), &drive);
    let (a, b) = (take("knock=1s", 5), take("knock=1s", 5));
    assert_eq!((&a.pickup, &a.reference), (&b.pickup, &b.reference));
    assert_ne!(take("knock=1s", 6).pickup, a.pickup);
    // A knock more leaves everything before it as it was.
    assert_eq!(take("", 5).pickup[..96_000], a.pickup[..96_000]);
    let mut bench = bench(spec(""), None, None, 5);
    let (first, second) = (record(&mut bench, &drive), record(&mut bench, &drive));
    assert_eq!(first.pickup[..96_000], a.pickup[..96_000]);
    assert_ne!(first.pickup, second.pickup);
}

#[test]
fn levels_are_what_their_words_say() {
    let silence = vec![0f32; 192_000];
    let take = |words: &str| record(&mut bench(spec(words), None, None, 9), &silence);
    let dbfs = |x: &[f32]| {
        let x: Vec<f64> = x.iter().map(|v| f64::from(*v)).collect();
        20.0 * (blemish::rms(&x) * std::f64::consts::SQRT_2).log10()
    };
    let t = take("noise=-80dBFS noise-reference=-60dBFS flicker=0Hz hum=none");
    // 48 kHz of white noise, of which 20 count: 3.80 dB more.
    let wider = 10.0 * (48.0f64 / 20.0).log10();
    assert!((dbfs(&t.pickup) - wider + 80.0).abs() < 0.1, "{}", dbfs(&t.pickup));
    assert!((dbfs(&t.reference.unwrap()) - wider + 60.0).abs() < 0.1);
    let t = take("noise=-200dBFS hum=-30dBFS mains=50Hz");
    assert!((dbfs(&t.pickup) + 30.0).abs() < 0.02, "{}", dbfs(&t.pickup));
    // Lines only: what comes back after a period of the mains is the same.
    let period = &t.pickup[..1920];
    let again = &t.pickup[96_000..97_920];
    assert!(period.iter().zip(again).all(|(a, b)| (a - b).abs() < 1e-6));
    let t = take("noise=-200dBFS hum=none knock=0.5s knock-level=-6dBFS");
    let top = t.pickup.iter().fold(0f32, |m, v| m.max(v.abs()));
    assert!((20.0 * top.log10() + 6.0).abs() < 0.01);
    assert!(t.pickup[..48_000].iter().all(|v| *v == 0.0));
    let t = take("bits=16 noise=-60dBFS");
    assert_eq!(t.step, 1.0 / 32768.0);
    assert!(t.pickup.iter().all(|v| (v * 32768.0).fract() == 0.0));
}

#[test]
fn the_amplifier_makes_its_third_harmonic_and_no_image_of_it() {
    let rate = 96_000;
    // Exactly 200 periods of a sine at 12 kHz + some; the harmonic at 36 kHz lies in the band.
    let n = 9600;
    let sine = |f: f64| -> Vec<f32> {
        (0..n)
            .map(|i| (0.5 * (TAU * f * i as f64 / f64::from(rate)).sin()) as f32)
            .collect()
    };
    let level = |x: &[f64], f: f64| {
        let x: Vec<f32> = x.iter().map(|v| *v as f32).collect();
        2.0 * dft(&x, f, f64::from(rate)).norm() / n as f64
    };
    let y = blemish::third_harmonic(&sine(1000.0), 1e-2);
    assert!((level(&y, 3000.0) / 0.5e-2 - 1.0).abs() < 1e-3, "{}", level(&y, 3000.0));
    // 20 kHz: the harmonic at 60 kHz would come back at 36 kHz.
    let y = blemish::third_harmonic(&sine(20_000.0), 1e-2);
    assert!(level(&y, 36_000.0) < 1e-7, "{}", level(&y, 36_000.0));
}

#[test]
fn two_coils_answer_by_where_the_exciter_lies() {
    let drive = drive(-12.0);
    let load: Load = "res=333k cap=500p".parse().unwrap();
    let peak = |over: &str| {
        let words = format!("r=4k l=2.2H cs=70p r2=4.1k l2=2.4H cs2=90p {over}");
        let take = record(&mut bench(spec(&words), None, Some(&load), 2), &drive);
        analyse(&take, None)
    };
    let (first, second, both) = (peak("over=first"), peak("over=second"), peak("over=both"));
    let (a, b) = (first.resonance.unwrap(), second.resonance.unwrap());
    assert_eq!((a.polarity, b.polarity), (1, -1));
    let (pa, pb) = (a.peak_hz.unwrap().value, b.peak_hz.unwrap().value);
    assert!((pa / pb - 1.0).abs() < 0.03, "{pa} {pb}");
    assert!(
        both.findings.iter().any(|f| f.code == Code::CoilsCancel),
        "{:?}",
        both.findings
    );
}

#[test]
fn faults_are_found_as_what_they_are() {
    let rig = rig(RIG);
    let load: Load = "res=250k cap=350p".parse().unwrap();
    let drive = drive(-12.0);
    for (words, code, level) in [
        ("knock=1.2s", Code::Transient, Level::Warning),
        ("drop=1.5s", Code::Dropout, Level::Warning),
        ("open", Code::OpenWinding, Level::Reject),
        ("unplugged", Code::ReferenceMissing, Level::Reject),
        ("silent", Code::NoSignal, Level::Reject),
        ("swapped", Code::ChannelsSwapped, Level::Reject),
        ("wire", Code::ChannelsSwapped, Level::Reject),
        ("clip=-40dBFS", Code::Clipped, Level::Warning),
        ("hum=-10dB", Code::Hum, Level::Warning),
    ] {
        let take = record(&mut bench(spec(words), Some(&rig), Some(&load), 4), &drive);
        let a = analyse(&take, Some(&rig));
        let found = a.findings.iter().find(|f| f.code == code);
        assert!(found.is_some_and(|f| f.level >= level), "{words}: {:?}", a.findings);
    }
    let take = record(&mut bench(spec(""), Some(&rig), Some(&load), 4), &drive);
    let a = analyse(&take, Some(&rig));
    assert!(a.findings.iter().all(|f| f.level == Level::Note), "{:?}", a.findings);
}

#[test]
fn what_cannot_be_played_is_refused() {
    let mut bench = bench(spec("knock=9s"), None, None, 1);
    let request = |n: usize| Request {
        rate_hz: 48_000,
        drive: vec![0.0; n],
    };
    let e = bench.take(&request(48_000), &mut |_| {}).unwrap_err().to_string();
    assert!(e.contains("knock at 9 s lies beyond the take of 1.00 s"), "{e}");
    assert!(bench.take(&request(0), &mut |_| {}).is_err());
    let mut bad = spec("");
    bad.coil.l_h = f64::NAN;
    let e = Bench::new(bad, None, None, false, 1).unwrap_err().to_string();
    assert!(e.contains("l_h"), "{e}");
}
