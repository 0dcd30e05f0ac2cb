//! Taps of known truth.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::*;
use crate::capture::Provenance;

/// What is tapped, and how.
#[derive(Clone)]
struct Scene {
    rate: u32,
    /// Hertz, time constant, amplitude.
    modes: Vec<(f64, f64, f64)>,
    /// Time and relative force of each touch of the rod.
    touches: Vec<(f64, f64)>,
    seconds: f64,
    noise: f64,
    /// Amplitude of the 50 Hz line; the n-th harmonic has 1/n of it.
    hum: f64,
    hum_hz: f64,
    clip: f64,
    seed: u64,
}

impl Default for Scene {
    fn default() -> Self {
        Scene {
            rate: 48_000,
            modes: vec![(620.0, 0.018, 0.02), (2300.0, 0.006, 0.01)],
            touches: (0..8).map(|i| (1.0 + f64::from(i) * 0.98, 1.0)).collect(),
            seconds: 10.0,
            noise: 2e-5,
            hum: 0.0,
            hum_hz: 49.97,
            clip: 1.0,
            seed: 1,
        }
    }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let even = |rng: &mut ChaCha8Rng| ((rng.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
    (-2.0 * even(rng).ln()).sqrt() * (TAU * even(rng)).cos()
}

impl Scene {
    fn take(&self) -> Take {
        let rate = f64::from(self.rate);
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let frames = (self.seconds * rate) as usize;
        let mut x: Vec<f64> = (0..frames).map(|_| self.noise * normal(&mut rng)).collect();
        if self.hum > 0.0 {
            // Turned from sample to sample: a sine for each would be most of the test's time.
            let mut lines: Vec<(Complex64, Complex64)> = (1..=20)
                .map(|k| {
                    let turn = TAU * self.hum_hz * f64::from(k) / rate;
                    let begin = Complex64::from_polar(self.hum / f64::from(k), TAU * normal(&mut rng));
                    (begin, Complex64::from_polar(1.0, turn))
                })
                .collect();
            for v in &mut x {
                for (line, turn) in &mut lines {
                    *v += line.im;
                    *line *= *turn;
                }
            }
        }
        for (at, force) in &self.touches {
            let start = (at * rate) as usize;
            let end = (start + (0.6 * rate) as usize).min(frames);
            for (i, v) in x[start..end].iter_mut().enumerate() {
                let t = i as f64 / rate;
                *v += force
                    * self
                        .modes
                        .iter()
                        .map(|(f, tau, a)| a * (-t / tau).exp() * (TAU * f * t).sin())
                        .sum::<f64>();
            }
        }
        let pickup = x
            .iter()
            .map(|v| ((v.clamp(-self.clip, self.clip) * 8_388_608.0).round() / 8_388_608.0) as f32)
            .collect();
        Take {
            rate_hz: self.rate,
            pickup,
            reference: None,
            step: (2f64).powi(-23),
            provenance: Provenance::default(),
        }
    }

    fn read(&self) -> Result<Knock, NotRead> {
        read(&self.take(), answer())
    }

    /// The same of one mode, within the third of an octave about it, by numbers: |X|^2 of a damped sine.
    fn third_db(&self, mode: usize) -> f64 {
        let (f0, ..) = self.modes[mode];
        let third = 2f64.powf(1.0 / 6.0);
        let steps = 4000;
        let (low, high) = (f0 / third, f0 * third);
        let df = (high - low) / f64::from(steps);
        let energy: f64 = (0..steps)
            .map(|i| {
                let w = TAU * (low + (f64::from(i) + 0.5) * df);
                let x: Complex64 = self
                    .modes
                    .iter()
                    .map(|(f, tau, a)| {
                        let (w0, s) = (TAU * f, Complex64::new(1.0 / tau, w));
                        a * w0 / (s * s + w0 * w0)
                    })
                    .sum();
                2.0 * x.norm_sqr() * df
            })
            .sum();
        10.0 * (energy / WINDOW_S / (0.5 * 10f64.powf(ANSWER_DB / 10.0))).log10()
    }

    /// A tap of force 1: energy A^2 tau/4 per mode and second, closed form for a damped sine, modes far apart; over that of a
    /// full-scale sine's answer in the window.
    fn truth_db(&self) -> f64 {
        let power: f64 = self
            .modes
            .iter()
            .map(|(f, tau, a)| {
                // Integral of exp(-2t/tau) sin^2(wt).
                let wt = TAU * f * tau;
                a * a * tau / 4.0 * (wt * wt / (1.0 + wt * wt))
            })
            .sum();
        10.0 * (power / WINDOW_S / (0.5 * 10f64.powf(ANSWER_DB / 10.0))).log10()
    }
}

const ANSWER_DB: f64 = -38.0;

fn answer() -> Option<Estimate> {
    Estimate::new(ANSWER_DB, 0.01, 0.01)
}

fn count(k: &Knock, why: LeftOut) -> usize {
    k.single.iter().filter(|t| t.left_out == Some(why)).count()
}

#[test]
fn taps_are_found_where_they_are_and_have_the_level_of_the_formula() {
    for rate in [44_100, 48_000, 96_000, 192_000] {
        let scene = Scene {
            rate,
            ..Scene::default()
        };
        let k = scene.read().unwrap();
        assert_eq!((k.taps, k.used), (8, 8), "{rate}");
        for (tap, (at, _)) in k.single.iter().zip(&scene.touches) {
            assert!((tap.at_s - at).abs() < 1e-3, "{rate}: {} {at}", tap.at_s);
        }
        // The closed formula takes the modes as orthogonal, which they are to some hundredths of a decibel.
        let off = k.level_db.value - scene.truth_db();
        assert!(off.abs() < 0.05, "{rate}: {off}");
        assert_eq!(k.peaks.len(), 2, "{:?}", k.peaks);
        for (p, (f, tau, _)) in k.peaks.iter().zip(&scene.modes) {
            assert!((p.hz.value - f).abs() < 2.5 * p.hz.u, "{p:?}");
            let d = p.decay_s.unwrap();
            assert!((d.value / tau - 1.0).abs() < 0.03, "{d:?} {tau}");
        }
        // White noise from nought to half the rate, and of that the band.
        let band = 2e-5f64.powi(2) * (band::HIGH_HZ - band::LOW_HZ) / (0.5 * f64::from(rate));
        let want = 10.0 * (band / (0.5 * 10f64.powf(ANSWER_DB / 10.0))).log10();
        assert!((k.noise_db - want).abs() < 0.5, "{} {want}", k.noise_db);
    }
}

/// Hands that scatter by 2 dB, and hum that stands high above the noise. COILWRIGHT_KNOCK_RUNS makes it more runs.
#[test]
fn the_intervals_hold_the_truth_as_often_as_they_say() {
    let given = std::env::var("COILWRIGHT_KNOCK_RUNS").ok();
    let runs: u32 = given.map_or(200, |n| n.parse().unwrap());
    let mut held = [[0u32; 2]; 4];
    let mut decays = [0u32; 2];
    let mut clear = f64::INFINITY;
    for run in 0..u64::from(runs) {
        let mut rng = ChaCha8Rng::seed_from_u64(1000 + run);
        let n = 3 + run % 8;
        let touches = (0..n)
            .map(|i| {
                let force = 10f64.powf(2.0 * normal(&mut rng) / 20.0);
                (0.8 + i as f64 * 0.95 + 0.05 * normal(&mut rng).clamp(-2.0, 2.0), force)
            })
            .collect();
        let scene = Scene {
            touches,
            seconds: 1.5 + n as f64,
            noise: 1e-4,
            hum: 1e-3,
            seed: run,
            ..Scene::default()
        };
        let k = scene.read().unwrap();
        assert_eq!(
            (u64::from(k.taps), u64::from(k.used)),
            (n, n),
            "run {run} {:?} {:?}",
            k.single,
            scene.touches
        );
        assert_eq!(k.peaks.len(), 2, "run {run}: {:?}", k.peaks);
        let holds = |e: &Estimate, truth: f64| u32::from((e.value - truth).abs() <= e.half_width_95());
        clear = clear.min(k.level_db.value - k.noise_db);
        held[0][0] += holds(&k.level_db, scene.truth_db());
        for (i, (p, (f, tau, _))) in k.peaks.iter().zip(&scene.modes).enumerate() {
            held[1][i] += holds(&p.hz, *f);
            held[2][i] += holds(&p.level_db, scene.third_db(i));
            if let Some(d) = &p.decay_s {
                decays[i] += 1;
                held[3][i] += holds(d, *tau);
            }
        }
    }
    println!(
        "of {runs}, {clear:.1} dB and more over the noise: level {}, peaks' frequencies {:?}, levels {:?}, decays {:?} of {decays:?}",
        held[0][0], held[1], held[2], held[3]
    );
    // Wide limits, 3.3 standard deviations of a count with 95 %. A frequency's interval is meant to be too wide, because it allows
    // for any slope of the force.
    let n = f64::from(runs);
    let least = |share: f64| share * n - 3.3 * (share * (1.0 - share) * n).sqrt();
    let most = (0.95 * n + 3.3 * (0.95 * 0.05 * n).sqrt()).min(n);
    assert!((least(0.95)..=most).contains(&f64::from(held[0][0])), "{held:?}");
    for i in 0..2 {
        assert!(f64::from(held[1][i]) >= least(0.95), "{held:?}");
        assert!((least(0.95)..=most).contains(&f64::from(held[2][i])), "{held:?}");
        assert!(f64::from(decays[i]) >= 0.95 * n, "{decays:?}");
        assert!(f64::from(held[3][i]) >= least(0.95), "{held:?} {decays:?}");
    }
}

#[test]
fn a_bounce_belongs_to_its_tap() {
    let mut scene = Scene::default();
    let again: Vec<(f64, f64)> = scene.touches.iter().map(|(t, f)| (t + 0.04, 0.6 * f)).collect();
    scene.touches.extend(again);
    let k = scene.read().unwrap();
    assert_eq!((k.taps, k.used), (8, 8));
    // Its energy counts: 0.36 of the tap's own, and the time is the first touch's.
    let off = k.level_db.value - scene.truth_db() - 10.0 * 1.36f64.log10();
    assert!(off.abs() < 0.3, "{off}");
    assert!((k.single[0].at_s - 1.0).abs() < 1e-3);
}

#[test]
fn taps_too_near_are_left_out_both() {
    let mut scene = Scene::default();
    scene.touches.push((4.0 * 0.98 + 1.0 + 0.3, 1.0));
    let k = scene.read().unwrap();
    assert_eq!((k.taps, k.used, count(&k, LeftOut::Overlap)), (9, 7, 2));
    assert!((k.level_db.value - scene.truth_db()).abs() < 0.05);
    assert!(k.single.iter().all(|t| t.level_db.is_some() == t.left_out.is_none()));
}

#[test]
fn clipped_taps_are_left_out() {
    let mut scene = Scene::default();
    for (i, hard) in [(1, 90.0), (5, 120.0)] {
        scene.touches[i].1 = hard;
    }
    let k = scene.read().unwrap();
    assert_eq!((k.taps, k.used, count(&k, LeftOut::Clipped)), (8, 6, 2));
    assert!((k.level_db.value - scene.truth_db()).abs() < 0.05);
    // A flat top below full scale as well: something before the converter ran out of room.
    scene.clip = 0.5;
    let k = scene.read().unwrap();
    assert_eq!((k.used, count(&k, LeftOut::Clipped)), (6, 2));
}

#[test]
fn a_tap_at_the_end_and_a_weak_one_are_left_out() {
    let mut scene = Scene::default();
    scene.touches.push((9.9, 1.0));
    let k = scene.read().unwrap();
    assert_eq!((k.taps, k.used, count(&k, LeftOut::Cut)), (9, 8, 1));
    // A rod laid down is no tap.
    scene.touches = Scene::default().touches;
    scene.touches.push((9.4, 0.01));
    let k = scene.read().unwrap();
    assert_eq!((k.taps, k.used), (8, 8));
}

#[test]
fn what_cannot_be_read_is_a_note_and_no_figure() {
    let two = Scene {
        touches: vec![(1.0, 1.0), (3.0, 1.0)],
        ..Scene::default()
    };
    let e = two.read().unwrap_err();
    assert!(e.contains("2 of 2 taps usable, 3 are needed"), "{e}");
    let near = Scene {
        touches: (0..20).map(|i| (1.0 + 0.2 * f64::from(i), 1.0)).collect(),
        ..Scene::default()
    };
    let e = near.read().unwrap_err();
    assert!(e.contains("less than half a second apart"), "{e}");
    let clipped = Scene {
        touches: Scene::default().touches.iter().map(|t| (t.0, 90.0)).collect(),
        ..Scene::default()
    };
    let e = clipped.read().unwrap_err();
    assert!(e.contains("clipped: tap lighter"), "{e}");
    let none = Scene {
        touches: vec![],
        hum: 1e-2,
        ..Scene::default()
    };
    let e = none.read().unwrap_err();
    assert!(e.contains("0 of 0 taps usable"), "{e}");
    // Somebody talks, or the pickup is carried about.
    let loud = Scene {
        noise: 0.02,
        ..Scene::default()
    };
    assert!(loud.read().is_err());
}

#[test]
fn silence_and_no_numbers_are_refused_in_words() {
    let mut take = Scene::default().take();
    let frames = take.pickup.len();
    for pickup in [vec![], vec![0.0; 7], vec![0.0; frames], vec![0.5; frames]] {
        take.pickup = pickup;
        let e = read(&take, answer()).unwrap_err();
        assert!(e.starts_with("knock not read: ") && !e.contains('\n'), "{e}");
    }
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        let mut take = Scene::default().take();
        take.pickup[frames / 2] = bad;
        let e = read(&take, answer()).unwrap_err();
        assert!(e.contains("no number"), "{e}");
    }
    let mut long = Scene::default().take();
    long.pickup.resize(121 * 48_000, 0.0);
    assert!(read(&long, answer()).unwrap_err().contains("longer than 120 s"));
    let take = Scene::default().take();
    assert!(read(&take, None).unwrap_err().contains("no reading at 1 kHz"));
    let mut broken = take;
    broken.provenance.trouble.push("12 samples lost".into());
    assert!(read(&broken, answer()).unwrap_err().contains("12 samples lost"));
}

#[test]
fn the_level_is_counted_from_the_answer_whatever_the_input_s_gain() {
    let scene = Scene::default();
    let mut quiet = scene.take();
    quiet.pickup.iter_mut().for_each(|v| *v *= 0.5);
    let a = read(&scene.take(), answer()).unwrap();
    let b = read(&quiet, Estimate::new(ANSWER_DB - 6.0206, 0.01, 0.01)).unwrap();
    assert!((a.level_db.value - b.level_db.value).abs() < 1e-3);
    assert!((a.peaks[0].level_db.value - b.peaks[0].level_db.value).abs() < 1e-3);
    assert!((a.noise_db - b.noise_db).abs() < 1e-3);
}
