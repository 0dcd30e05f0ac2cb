use std::f64::consts::TAU;

use super::*;
use crate::network::coil_file::{InputKnown, Uncertainty};
use crate::network::knob::{Knob, Tolerances, UNIFORM};
use crate::network::{Coil, CoilFile, Wiring};
use crate::record::{
    CaptureSummary, Definition, Fit, LoadSummary, Model, PeakFrom, Pickup, Resonance, RigSummary, SCHEMA, Verdict,
};

pub(in crate::coil) const COIL: Coil = Coil {
    r_ohm: 6e3,
    l_h: 2.4,
    c_f: 110e-12,
    loss_ohm: Some(1.5e6),
    eddy: None,
};
pub(in crate::coil) const INPUT: (f64, f64) = (1e6, 150e-12);

fn e(value: f64, u: f64, u_noise: f64) -> Estimate {
    Estimate { value, u, u_noise }
}

/// A take of the coil under a load on the rig "north", from the closed formulas.
pub(in crate::coil) fn record(coil: &Coil, load: &str, temperature_c: Option<f64>) -> Record {
    let whole = load.parse::<Load>().unwrap().with_input(Some(INPUT.0), INPUT.1);
    record_of(coil, &whole, load, temperature_c)
}

/// The same, where the load and the input are others than is told.
pub(in crate::coil) fn record_of(coil: &Coil, whole: &Load, load: &str, temperature_c: Option<f64>) -> Record {
    let s = whole.second_order(coil).unwrap();
    let freq_hz: Vec<f64> = (0..200).map(|i| 40.0 * 1.03f64.powi(i)).collect();
    let of = |k: fn(num_complex::Complex64) -> f64| -> Vec<f64> {
        freq_hz.iter().map(|f| k(s.response(TAU * f) / s.g0)).collect()
    };
    let n = freq_hz.len();
    Record {
        schema: SCHEMA.into(),
        id: load.into(),
        taken_at: "2026-01-31T14:05:09+01:00".into(),
        tool_version: "0.1.0".into(),
        pickup: Pickup {
            name: "neck-7".into(),
            temperature_c,
            ..Pickup::default()
        },
        rig: RigSummary {
            given: true,
            name: Some("north".into()),
            hash: Some("0123456789abcdef".into()),
            open: Vec::new(),
            values: [
                ("input.resistance_ohm".to_owned(), INPUT.0.into()),
                ("input.capacitance_f".to_owned(), INPUT.1.into()),
            ]
            .into(),
        },
        load: Some(LoadSummary { text: load.into() }),
        drive: None,
        capture: CaptureSummary::default(),
        resonance: Some(Resonance {
            f0_hz: e(s.f0_hz, 5.0, 0.5),
            q: e(s.q, 0.01, 0.001),
            local: false,
            corr_f0_q: 0.0,
            peak_hz: s.peak_hz().map(|f| e(f, 5.0, 0.5)),
            peak_db: s
                .peak_hz()
                .map(|f| e(db(s.response(TAU * f).norm() / s.g0), 0.02, 0.002)),
            peak_from: PeakFrom::Model,
            mutual_h: None,
            polarity: 1,
            polarity_referenced: true,
            level_db: None,
            definition: Definition::Plain,
            u_lay: None,
            u_day: None,
        }),
        fit: None,
        budget: None,
        curve: Some(Curve {
            mag_db: of(|h| db(h.norm())),
            phase_deg: of(|h| h.arg().to_degrees()),
            u_db: vec![0.005; n],
            model_db: of(|h| db(h.norm())),
            freq_hz,
        }),
        verdict: Verdict::Ok,
        findings: vec![],
        notes: vec![],
        repeats: vec![],
        knock: None,
        noted: vec![],
    }
}

fn file(uncertainty: Option<Uncertainty>) -> CoilFile {
    CoilFile {
        schema: None,
        name: None,
        temperature_c: Some(21.0),
        r_ohm: COIL.r_ohm,
        l_h: COIL.l_h,
        c_f: COIL.c_f,
        loss_ohm: COIL.loss_ohm,
        eddy: None,
        uncertainty,
    }
}

/// The input is what the rig says of it.
fn exact_input() -> Stated {
    Stated {
        input: Some(0.0),
        ..Stated::default()
    }
}

fn basis(uncertainty: Option<Uncertainty>) -> Basis {
    Basis::of(file(uncertainty)).unwrap()
}

/// 20 K more, IEC 60028: (1 + 0.00393 * 21)/(1 + 0.00393) of the ohms.
fn warm() -> Coil {
    Coil {
        r_ohm: COIL.r_ohm * 1.08253 / 1.00393,
        ..COIL
    }
}

#[test]
fn the_coil_is_as_warm_as_the_take() {
    let of = |r: &Record| against(std::slice::from_ref(r), &basis(None), &exact_input()).unwrap();
    let a = of(&record(&warm(), "cap=1n", Some(41.0)));
    let height = a.takes[0].height_db.unwrap();
    assert!(height.value.abs() < 1e-3, "{height:?}");
    // Two thermometers right within 1 K each: 0.55 % of the resistance, three quarters of it in Q, 0.036 dB.
    assert!((0.025..0.06).contains(&height.u), "{}", height.u);
    assert!(!a.notes.iter().any(|n| n.contains("temperature")));
    // Told of no temperature it is another coil, and what is not known is said.
    let a = of(&record(&warm(), "cap=1n", None));
    assert!(a.takes[0].height_db.unwrap().value < -0.3);
    assert!(
        a.notes
            .iter()
            .any(|n| n.contains("the temperature of the take is not known")),
        "{:?}",
        a.notes
    );
}

#[test]
fn undoing_counts_the_temperature_as_well() {
    let of = |r: &Record| {
        let u = undo(r, &basis(None), &Instead::default(), &Stated::default()).unwrap();
        (u.height_db.unwrap(), u.notes)
    };
    let alone = predict::figures(&Wiring::default(), &warm()).height_db.unwrap();
    let (height, notes) = of(&record(&warm(), "cap=1n", Some(41.0)));
    assert!((height.value - alone).abs() < 1e-3, "{} {alone}", height.value);
    assert!(!notes.iter().any(|n| n.contains("temperature")));
    let (cold, notes) = of(&record(&warm(), "cap=1n", None));
    assert!((cold.value - alone).abs() > 0.01);
    assert!(notes.iter().any(|n| n.contains("temperature")), "{notes:?}");
}

#[test]
fn resistances_that_cannot_both_be_are_named() {
    let of = |r_ohm: f64, at: f64| {
        let mut r = record(&COIL, "cap=1n", Some(at));
        r.pickup.r_ohm = Some(r_ohm);
        let a = against(&[r], &basis(None), &Stated::default()).unwrap();
        a.notes.into_iter().find(|n| n.contains("contradict"))
    };
    let said = of(7.2e3, 21.0).unwrap();
    assert!(said.contains("7.200 kΩ") && said.contains("at 21 °C"), "{said}");
    assert_eq!(of(6.05e3, 21.0), None);
    // The same reading twenty kelvins warmer is another coil.
    assert!(of(6.05e3, 41.0).is_some());
    assert_eq!(of(6.47e3, 41.0), None);
}

/// A curve may agree all along and yet not at its peak: both are told.
#[test]
fn peak_and_height_are_told_besides_the_curve() {
    let of = |change: fn(&mut Resonance)| {
        let mut r = record(&COIL, "cap=1n", Some(21.0));
        change(r.resonance.as_mut().unwrap());
        let a = against(&[r], &basis(None), &Stated::default()).unwrap();
        assert!(a.rms_db < 1e-6, "{}", a.rms_db);
        let t = &a.takes[0];
        (t.peak_hz.map(|e| e.value), t.height_db.map(|e| e.value))
    };
    let near = |a: Option<f64>, b: f64| a.is_some_and(|a| (a - b).abs() < 1e-2);
    let (peak, height) = of(|r| r.peak_db.as_mut().unwrap().value += 0.5);
    assert!(near(peak, 0.0) && near(height, 0.5), "{peak:?} {height:?}");
    let (peak, height) = of(|r| r.peak_hz.as_mut().unwrap().value += 60.0);
    assert!(near(peak, 60.0) && near(height, 0.0), "{peak:?} {height:?}");
    assert_eq!(of(|r| r.peak_hz = None).0, None);
}

/// C_s and the input's capacitance are known only together: 8.66 pF each, and their sum exactly.
fn found_on_the_rig() -> Uncertainty {
    let u = UNIFORM * 0.1;
    Uncertainty {
        c_f: u * INPUT.1,
        loss_ohm: Some(1e3),
        input: vec![InputKnown {
            rig: Some("north".into()),
            hash: Some("0123456789abcdef".into()),
            capacitance: Some(1.0),
            u_capacitance: Some(u),
            correlations: vec![vec![0.0, 0.0, -1.0, 0.0, 1.0]],
            ..InputKnown::default()
        }],
        ..Uncertainty::default()
    }
}

/// What the rig's file says of its input by now is other knowledge of the same input: 165 pF with a factor of 10/11 are the 150 pF
/// that were found.
#[test]
fn the_input_is_the_rigs_whatever_its_file_says_by_now() {
    let mut found = found_on_the_rig();
    found.input[0].stated_f = Some(INPUT.1);
    let r = record(&COIL, "none", Some(21.0));
    let laid = |r: &Record, found: &Uncertainty| {
        let laid = against(std::slice::from_ref(r), &basis(Some(found.clone())), &Stated::default()).unwrap();
        (laid.takes[0].predicted_hz.unwrap(), laid.takes[0].peak_hz.unwrap().u)
    };
    let was = laid(&r, &found);
    let mut restated = r.clone();
    restated.rig.hash = Some("another".into());
    restated
        .rig
        .values
        .insert("input.capacitance_f".into(), (1.1 * INPUT.1).into());
    let now = laid(&restated, &found);
    assert!(
        (now.0 / was.0 - 1.0).abs() < 1e-9 && (now.1 / was.1 - 1.0).abs() < 1e-6,
        "{now:?} {was:?}"
    );
    // A file of old does not tell it, and another rig is another one.
    assert!(laid(&restated, &found_on_the_rig()).1 > 10.0 * was.1);
    restated.rig.name = Some("south".into());
    assert!(laid(&restated, &found).1 > 10.0 * was.1);
}

/// What one does not know of the input cancels on that input, and comes out where it is taken off.
#[test]
fn a_coil_hangs_together_with_the_input_it_was_found_on() {
    let r = record(&COIL, "none", Some(21.0));
    let u_peak = |r: &Record, stated: &Stated| {
        let laid = against(std::slice::from_ref(r), &basis(Some(found_on_the_rig())), stated).unwrap();
        (laid.takes[0].peak_hz.unwrap().u, laid.notes)
    };
    let own = Stated::default();
    let (u, _) = u_peak(&r, &own);
    assert!(u < 5.5, "{u}");
    // On another rig it does not cancel: 8.66 pF of 260 are 1.67 % of f0 of 6.4 kHz; with an input as uncertain twice that
    // in squares.
    let mut other = r.clone();
    other.rig.hash = Some("another".into());
    let (u, notes) = u_peak(&other, &own);
    assert!((95.0..120.0).contains(&u), "{u}");
    assert!(notes.iter().any(|n| n.contains("as usual")));
    let loose = Stated {
        input: Some(0.1),
        ..Stated::default()
    };
    let (both, notes) = u_peak(&other, &loose);
    // With the usual one it is uncertain already, by 1.4 pF.
    assert!((both / u / 2f64.sqrt() - 1.0).abs() < 0.05, "{both} {u}");
    assert!(!notes.iter().any(|n| n.contains("as usual")));
    // The coil file knows this one: what is said besides has no say, and that is told.
    let (u, notes) = u_peak(&r, &loose);
    assert!(u < 5.5 && notes.iter().any(|n| n.contains("input= is not used")), "{u}");
    // The pickup alone is known as badly as its C_s: 8.66 pF of 110, 3.9 % of 9.8 kHz.
    let u = undo(&r, &basis(Some(found_on_the_rig())), &Instead::default(), &own).unwrap();
    let alone = u.peak_hz.unwrap();
    assert!((alone.u / alone.value - 0.039).abs() < 0.004, "{alone:?}");
    // And on the same input again it cancels.
    let again = Instead {
        load: "cap=1n".parse().unwrap(),
        input: (Some(INPUT.0), INPUT.1),
    };
    let u = undo(&r, &basis(Some(found_on_the_rig())), &again, &own).unwrap();
    let on = u.peak_hz.unwrap();
    assert!(on.u < 1.5e-3 * on.value, "{on:?}");
}

/// What the rig leaves open of the take is no noise.
#[test]
fn what_is_undone_keeps_noise_and_the_rest_apart() {
    // Without a temperature nothing but the take counts. Its f0 and Q are known ten times worse than their noise.
    let r = record(&COIL, "cap=1n", None);
    let of = |r: &Record| {
        let u = undo(r, &basis(None), &Instead::default(), &exact_input()).unwrap();
        u.height_db.unwrap()
    };
    let p = of(&r);
    assert!((p.u / p.u_noise - 10.0).abs() < 0.1, "{p:?}");
    let mut noisy = r.clone();
    let reading = noisy.resonance.as_mut().unwrap();
    (reading.f0_hz.u_noise, reading.q.u_noise) = (5.0, 0.01);
    let q = of(&noisy);
    assert!(
        (q.u_noise / p.u - 1.0).abs() < 0.01 && (q.u / p.u - 1.0).abs() < 0.01,
        "{q:?}"
    );
    // Far above f0 the take's curve lies with f0 squared: noise that is common to f0 and Q adds up or cancels.
    noisy.resonance.as_mut().unwrap().corr_f0_q = 0.9;
    assert!((of(&noisy).u_noise / q.u_noise - 1.0).abs() > 0.001);
}

/// Of a coil with metal the peak is that of its model's curve, as well known as the take's own.
#[test]
fn with_metal_the_curve_carries_the_peak() {
    let mut r = record(&COIL, "cap=1n", Some(21.0));
    let plain = undo(&r, &basis(None), &Instead::default(), &Stated::default()).unwrap();
    r.fit = Some(Fit {
        model: Model::Metal,
        plain: None,
        shift_s: None,
        band_hz: [20.0, 20e3],
        bins: 100,
        reduced_chi2: 1.0,
        rms_residual_db: 0.01,
        eddy: None,
        nuisance: Default::default(),
        noise_from: "silence".into(),
    });
    let s = r.resonance.as_mut().unwrap();
    s.peak_db = s.peak_db.map(|p| Estimate {
        u_noise: 0.1,
        u: 0.1,
        ..p
    });
    let metal = undo(&r, &basis(None), &Instead::default(), &Stated::default()).unwrap();
    let hz = |u: &Undone| u.peak_hz.unwrap().value;
    let db = |u: &Undone| u.height_db.unwrap();
    assert!(
        (hz(&metal) / hz(&plain) - 1.0).abs() < 1e-3,
        "{} {}",
        hz(&metal),
        hz(&plain)
    );
    assert!((db(&metal).value - db(&plain).value).abs() < 0.02);
    assert!((db(&metal).u_noise - 0.1).abs() < 1e-9 && db(&plain).u_noise < 0.02);
}

#[test]
fn parts_taken_off_and_put_on_again_cancel() {
    let r = record(&COIL, "cap=1n", Some(21.0));
    let stated = Stated {
        parts: Tolerances(vec![(Knob::Cap, 0.05)]),
        ..Stated::default()
    };
    let of = |to: &str, stated: &Stated| {
        let to = Instead {
            load: to.parse().unwrap(),
            input: (Some(INPUT.0), INPUT.1),
        };
        undo(&r, &basis(None), &to, stated).unwrap().height_db.unwrap().u
    };
    let exact = Stated::default();
    assert!((of("cap=1n", &stated) / of("cap=1n", &exact) - 1.0).abs() < 1e-6);
    // Far above the take's f0 its curve goes with 1/C: 2.89 % of 1 nF in 1.26 nF are 0.2 dB, and some more nearer to it.
    let part = (of("none", &stated).powi(2) - of("none", &exact).powi(2)).sqrt();
    let far = 8.686 * UNIFORM * 0.05 / 1.26;
    assert!((0.9..1.4).contains(&(part / far)), "{part} {far}");
}

/// The level of a curve says nothing; without lows to lay on each other it is not known, which is something else than exact.
#[test]
fn a_curve_without_lows_is_refused() {
    let of = |from_hz: f64| {
        let mut r = record(&COIL, "cap=1n", Some(21.0));
        let c = r.curve.as_mut().unwrap();
        let first = c.freq_hz.iter().position(|f| *f > from_hz).unwrap();
        for column in [
            &mut c.freq_hz,
            &mut c.mag_db,
            &mut c.phase_deg,
            &mut c.u_db,
            &mut c.model_db,
        ] {
            column.drain(..first);
        }
        against(&[r], &basis(None), &Stated::default())
    };
    assert!(of(200.0).unwrap().rms_db < 1e-6);
    let e = of(1000.0).unwrap_err().to_string();
    assert!(e.contains("far enough below its resonance"), "{e}");
}
