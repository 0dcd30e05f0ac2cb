use super::*;
use crate::capture::bench::{Bench, Spec};
use crate::capture::{Capture, Request};
use crate::stimulus::{self, Settings};

fn take(words: &str, seed: u64, rate_hz: u32) -> Take {
    let drive = stimulus::make(&Settings {
        from_hz: 5.0,
        seconds: 3.0,
        level_dbfs: -20.0,
        ..Settings::at_rate(rate_hz)
    })
    .unwrap();
    let mut bench = Bench::new(Spec::from_arg(words).unwrap(), None, None, false, seed).unwrap();
    bench
        .take(
            &Request {
                rate_hz,
                drive: drive.samples,
            },
            &mut |_| (),
        )
        .unwrap()
}

const WIRE: &str = "wire gain=1dB delay=5us ac-pickup=2.7 ac-reference=3.6 noise=-85dBFS noise-reference=-88dBFS";

/// Every value within what its uncertainty allows, and the uncertainties of the size that the errors have.
#[test]
fn gain_delay_and_corners_are_found_and_their_uncertainties_hold() {
    let (mut sums, mut chi2, n) = ([0.0; 4], 0.0, 60u32);
    for seed in 1..=n {
        let rate = if seed % 2 == 0 { 48_000 } else { 44_100 };
        let p = pair(&take(WIRE, u64::from(seed), rate)).unwrap();
        let found = [p.gain_db, p.delay_s, p.ac_pickup_hz, p.ac_reference_hz];
        for (k, (e, truth)) in found.iter().zip([1.0, 5e-6, 2.7, 3.6]).enumerate() {
            let z = (e.value - truth) / e.u_noise;
            assert!(e.u > e.u_noise);
            assert!(z.abs() < 4.5, "{seed} {k}: {} +- {}", e.value, e.u);
            sums[k] += z * z / f64::from(n);
        }
        assert!(
            p.gain_db.u < 3e-3 && p.delay_s.u < 5e-9 && p.ac_pickup_hz.u < 0.1,
            "{p:?}"
        );
        chi2 += p.reduced_chi2 / f64::from(n);
    }
    assert!((0.93..1.07).contains(&chi2), "{chi2}");
    // The mean of 60 squares has a standard deviation of 0.18.
    for s in sums {
        assert!((0.4..1.6).contains(&s), "{sums:?}");
    }
}

/// As noise alone leaves it: what is between takes is no part of a simulation.
fn bare(p: Pair) -> Pair {
    let bare = |e: Estimate| Estimate { u: e.u_noise, ..e };
    Pair {
        gain_db: bare(p.gain_db),
        delay_s: bare(p.delay_s),
        ac_pickup_hz: bare(p.ac_pickup_hz),
        ac_reference_hz: bare(p.ac_reference_hz),
        ..p
    }
}

#[test]
fn what_the_input_puts_on_a_pickup_is_found_through_a_resistor_or_a_capacitor() {
    let wire = bare(pair(&take(WIRE, 7, 48_000)).unwrap());
    let with = |part: &str| WIRE.replace("wire", &format!("wire={part} input=1M//150p"));
    let (mut square, mut n) = ([0.0; 2], 0.0);
    for seed in 1..=20 {
        let through = [
            (take(&with("1M"), seed, 48_000), Part::Resistor(1e6)),
            (take(&with("100p"), seed, 48_000), Part::Capacitor(100e-12)),
        ];
        for (take, part) in through {
            // The part is exact here, so its tolerance is none.
            let l = loading(&take, &wire, part, 1e-6).unwrap();
            let z = [
                (l.siemens.value - 1e-6) / l.siemens.u_noise,
                (l.farad.value - 150e-12) / l.farad.u_noise,
            ];
            assert!(z.iter().all(|z| z.abs() < 4.5), "{seed} {part:?} {l:?} {z:?}");
            square = [square[0] + z[0] * z[0], square[1] + z[1] * z[1]];
            n += 1.0;
            let ohm = l.ohm().unwrap();
            assert!((ohm.value - 1e6).abs() < 5.0 * ohm.u && ohm.u < 1e4, "{ohm:?}");
        }
    }
    for s in square {
        assert!((0.4..1.7).contains(&(s / n)), "{square:?} of {n}");
    }
}

/// A quarter of a picofarad across a megohm would move C by as much times R/R_in, were it not found.
#[test]
fn what_lies_across_the_resistor_is_found() {
    let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
    let mut t = take(&WIRE.replace("wire", "wire=1M input=1M//150p"), 3, 48_000);
    // The divider with the stray over the one without, as a first-order filter in the time domain (bilinear).
    let (stray, whole) = (0.5e-12, 150.5e-12);
    let (r, rate) = (1e6, 48_000.0);
    let half = |tau: f64| 2.0 * rate * tau;
    let (zero, pole, was) = (half(r * stray), half(0.5 * r * whole), half(0.5 * r * 150e-12));
    let filtered = |x: &[f32], a: f64, b: f64| {
        // (1 + a s')/(1 + b s'), s' the bilinear operator.
        let (mut last_x, mut last_y) = (0.0f64, 0.0f64);
        let of = |v: &f32| {
            let x = f64::from(*v);
            let y = ((1.0 + a) * x + (1.0 - a) * last_x - (1.0 - b) * last_y) / (1.0 + b);
            (last_x, last_y) = (x, y);
            y as f32
        };
        x.iter().map(of).collect::<Vec<f32>>()
    };
    let once = filtered(&t.pickup, zero, pole);
    t.pickup = filtered(&once, was, 0.0);
    let l = loading(&t, &wire, Part::Resistor(1e6), 1e-6).unwrap();
    assert!(
        (l.farad.value - 150e-12).abs() < 0.15e-12 && l.farad.u < 0.5e-12,
        "{l:?}"
    );
}

/// A part of 1 % makes R and C uncertain by the divider's share of it.
#[test]
fn the_parts_own_tolerance_counts() {
    let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
    let t = take(&WIRE.replace("wire", "wire=1.01M input=1M//150p"), 3, 48_000);
    let l = loading(&t, &wire, Part::Resistor(1e6), 0.01 / 3f64.sqrt()).unwrap();
    let off = l.farad.value / 150e-12 - 1.0;
    assert!((off - 0.01).abs() < 2e-3, "{off}");
    assert!((l.farad.u / l.farad.value - 0.01 / 3f64.sqrt()).abs() < 1e-3, "{l:?}");
    assert!(off.abs() < 2.0 * l.farad.u / l.farad.value);
}

/// However little is known of the part, the ratio that the take tells is found, with a long lead as well as a short one.
#[test]
fn a_part_hardly_known_is_no_hindrance() {
    let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
    for (pf, tolerance) in [(110.0, 0.05), (160.0, 0.05), (250.0, 0.1), (600.0, 0.1)] {
        let t = take(&WIRE.replace("wire", &format!("wire=1M input=1M//{pf}p")), 3, 48_000);
        let l = loading(&t, &wire, Part::Resistor(1e6), tolerance / 3f64.sqrt()).unwrap();
        assert!((l.farad.value / pf / 1e-12 - 1.0).abs() < 2e-3, "{pf}: {l:?}");
        assert!(
            (l.ohm().unwrap().u / 1e6 / (tolerance / 3f64.sqrt()) - 1.0).abs() < 0.02,
            "{l:?}"
        );
    }
}

/// A corner that is not the one the wire told is said to be that; it makes no part uncertain, and none missing.
#[test]
fn inputs_that_changed_since_the_wire_are_refused() {
    let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
    for (was, now) in [("ac-pickup=2.7", "ac-pickup=6"), ("ac-pickup=2.7", "ac-pickup=17")] {
        let t = take(
            &WIRE.replace("wire", "wire=1M input=1M//150p").replace(was, now),
            3,
            48_000,
        );
        let e = loading(&t, &wire, Part::Resistor(1e6), 0.006).unwrap_err().to_string();
        assert!(
            e.contains("does not go with what the wire") || e.contains("one signal"),
            "{now}: {e}"
        );
    }
    let t = take(&WIRE.replace("wire", "wire input=1M//150p"), 3, 48_000);
    let e = loading(&t, &wire, Part::Resistor(1e6), 0.006).unwrap_err().to_string();
    assert!(e.contains("as if no part were in line"), "{e}");
}

/// An input of many megohms: the resistance is not told, and not made up.
#[test]
fn a_resistance_too_high_to_be_told_is_none() {
    let wire = pair(&take(WIRE, 7, 48_000)).unwrap();
    let t = take(&WIRE.replace("wire", "wire=10k input=100000M//150p"), 3, 48_000);
    let l = loading(&t, &wire, Part::Resistor(10e3), 0.006).unwrap();
    assert!(l.ohm().is_none(), "{l:?}");
}

#[test]
fn what_is_no_pair_is_refused() {
    let why = |words: &str| pair(&take(words, 1, 48_000)).unwrap_err().to_string();
    assert!(why("r=6k l=2.4H cs=120p").contains("do not carry one signal"));
    assert!(
        why("wire unplugged").contains("nothing arrives on channel 2") || why("wire unplugged").contains("one signal")
    );
    assert!(why("wire clip=-30dBFS").contains("channel 1 clips"));
    assert!(why("wire silent").contains("channel 1") || why("wire silent").contains("one signal"));
    let mut lone = take(WIRE, 1, 48_000);
    lone.reference = None;
    assert!(pair(&lone).unwrap_err().to_string().contains("one channel"));
}
