use std::f64::consts::TAU;

use super::*;
use crate::network::knob::UNIFORM;

const COIL: Coil = Coil {
    r_ohm: 6e3,
    l_h: 2.4,
    c_f: 110e-12,
    loss_ohm: Some(1.5e6),
    eddy: None,
};
const INPUT: (f64, f64) = (1e6, 150e-12);

fn e(value: f64, noise: f64) -> Estimate {
    Estimate::new(value, noise * value, noise * value).unwrap()
}

/// What a take of [`COIL`] shows, from the closed formulas; `errs` moves f0 and Q.
fn seen(load: &str, rig: usize, input: (f64, f64), errs: [f64; 2]) -> Take {
    let load = Load::parse(load).unwrap();
    let s = load.with_input(Some(input.0), input.1).second_order(&COIL).unwrap();
    Take {
        load,
        input_ohm: Some(INPUT.0),
        input_f: INPUT.1,
        input_u: [0.0; 2],
        warm: 1.0,
        rig,
        seen: Seen::Resonance {
            f0_hz: e(s.f0_hz * (1.0 + errs[0]), 1e-5),
            q: Some(e(s.q * (1.0 + errs[1]), 1e-4)),
            corr: 0.3,
        },
    }
}

/// The same takes, their input known within this half-width.
fn within(half: f64, takes: impl IntoIterator<Item = Take>) -> Vec<Take> {
    let u = UNIFORM * half;
    let of = |t| Take { input_u: [u; 2], ..t };
    takes.into_iter().map(of).collect()
}

fn known() -> Known {
    Known {
        r_ohm: COIL.r_ohm,
        r_u: 0.001 * COIL.r_ohm,
        ..Known::default()
    }
}

fn sd(m: &DMatrix<f64>, i: usize) -> f64 {
    m[(i, i)].sqrt()
}

/// Input and winding stand side by side: however many takes there are, C_s is not known better than the one input of their
/// rig. By hand: 10 % of 150 pF evenly, 8.66 pF; two rigs that err by themselves leave 1/sqrt(2) of it.
#[test]
fn the_input_of_a_rig_errs_alike_in_all_its_takes() {
    let caps = ["none", "cap=330p", "cap=470p", "cap=1n", "cap=2.2n", "cap=3.3n"];
    let of = |takes: &[Take]| fit(&within(0.1, takes.iter().cloned()), &known()).unwrap();
    let one = |n: usize| {
        caps[..n]
            .iter()
            .map(|c| seen(c, 0, INPUT, [0.0; 2]))
            .collect::<Vec<_>>()
    };
    let alone = UNIFORM * 0.1 * INPUT.1;
    for n in [2, 3, 6] {
        let f = of(&one(n));
        assert!(
            (sd(&f.covariance, 2) / alone - 1.0).abs() < 0.02,
            "{n}: {}",
            sd(&f.covariance, 2)
        );
        let [input] = f.inputs.as_slice() else {
            panic!("{} inputs", f.inputs.len())
        };
        // The capacitances are told apart by nothing: what one has too much the other lacks.
        let at = input
            .factors
            .iter()
            .position(|x| x.0 == InputPart::Capacitance)
            .unwrap()
            + 4;
        let m = &input.covariance;
        let r = m[(2, at)] / (sd(m, 2) * sd(m, at));
        assert!(r < -0.99, "{r}");
    }
    let mut two = one(6);
    two.iter_mut().skip(1).step_by(2).for_each(|t| t.rig = 1);
    let f = of(&two);
    assert_eq!(f.inputs.len(), 2);
    let over = sd(&f.covariance, 2) / alone * 2f64.sqrt();
    assert!((over - 1.0).abs() < 0.05, "{over}");
    assert!(
        f.shares
            .iter()
            .any(|s| s.0 == Source::Input(InputPart::Capacitance) && s.1[1] > 0.3)
    );
}

/// Resistance and capacitance are known each as well as stated: 2 pF of 150 pF by hand.
#[test]
fn each_part_of_an_input_errs_by_itself() {
    let takes = ["none", "cap=470p", "cap=1n"].map(|c| Take {
        input_u: [0.0, 2e-12 / INPUT.1],
        ..seen(c, 0, INPUT, [0.0; 2])
    });
    let f = fit(&takes, &known()).unwrap();
    assert!(
        (sd(&f.covariance, 2) / 2e-12 - 1.0).abs() < 0.05,
        "{}",
        sd(&f.covariance, 2)
    );
    let parts: Vec<InputPart> = f.inputs[0].factors.iter().map(|x| x.0).collect();
    assert_eq!(parts, [InputPart::Capacitance]);
}

/// Two rigs whose inputs hold something else than stated: from one pickup under known capacitors on both, the difference of
/// the two is found.
#[test]
fn two_rigs_tell_each_others_input() {
    let mut takes: Vec<Take> = ["none", "cap=470p", "cap=1n"]
        .map(|c| seen(c, 0, INPUT, [0.0; 2]))
        .into();
    takes.extend(["none", "cap=1n"].map(|c| seen(c, 1, (INPUT.0, 1.08 * INPUT.1), [0.0; 2])));
    let f = fit(&within(0.1, takes), &known()).unwrap();
    let factor = |rig: usize| {
        let i = f.inputs.iter().find(|i| i.rig == rig).unwrap();
        i.factors.iter().find(|x| x.0 == InputPart::Capacitance).unwrap().1
    };
    let apart = factor(1) - factor(0);
    assert!((apart - 0.08).abs() < 0.001, "{apart}");
    assert!(f.chance.unwrap() > 0.05);
}

/// What f0 and Q have in common is as large in hertz and in units of Q as before: the correlation shrinks with the larger u.
#[test]
fn a_loosened_q_keeps_its_covariance() {
    let t = seen("cap=1n", 0, INPUT, [0.0; 2]);
    let of = |t: &Take| match &t.seen {
        Seen::Resonance {
            f0_hz,
            q: Some(q),
            corr,
        } => (corr * f0_hz.u_noise * q.u_noise, q.u_noise / q.value),
        _ => panic!(),
    };
    let (was, now) = (of(&t), of(&t.with_a_loose_q()));
    assert!((now.0 / was.0 - 1.0).abs() < 1e-12 && (now.1 / Q_APART - 1.0).abs() < 1e-12);
}

/// A curve agrees as the coil was during the take, and where the rig's stretch of the frequencies puts it.
#[test]
fn a_curve_agrees_with_the_coil_as_warm_as_it_was() {
    let load = Load::parse("vol=250k@0.6 cable=3m@100p/m").unwrap();
    let warm = Coil {
        r_ohm: 1.15 * COIL.r_ohm,
        ..COIL
    };
    let whole = load.with_input(Some(INPUT.0), INPUT.1);
    // All frequencies read 0.2 % too high.
    let points = (0..150)
        .map(|i| 100.0 * 1.04f64.powi(i))
        .filter(|f| *f < 15e3)
        .map(|hz| {
            let h = whole.response(&warm, TAU * hz / 1.002);
            Point {
                hz,
                ln_mag: h.norm().ln() + 0.7,
                phase: h.arg(),
                u: 1e-4,
            }
        })
        .collect();
    let curve = Take {
        load,
        warm: 1.15,
        seen: Seen::Curve {
            points,
            f0_hz: Estimate::new(5e3, 10.0, 0.05).unwrap(),
        },
        ..seen("none", 0, INPUT, [0.0; 2])
    };
    let open = |mut t: Take| {
        if let Seen::Resonance { f0_hz, .. } = &mut t.seen {
            f0_hz.value *= 1.002;
            f0_hz.u = 0.002 * f0_hz.value;
        }
        t
    };
    let takes = [
        curve,
        open(seen("cap=470p", 0, INPUT, [0.0; 2])),
        open(seen("cap=1n", 0, INPUT, [0.0; 2])),
    ];
    let f = fit(&takes, &known()).unwrap();
    assert!((f.coil.r_ohm / COIL.r_ohm - 1.0).abs() < 0.003, "{}", f.coil.r_ohm);
    let off = f.agreement[0].rms_db.unwrap();
    assert!(off < 0.003, "{off}");
}

/// Noise of a curve is no disagreement with the coil: what is told is the rest.
#[test]
fn the_noise_of_a_curve_is_taken_off() {
    let whole = Load::parse("vol=250k@0.6").unwrap();
    let u = 0.02;
    let points = |noise: f64| {
        (0..150)
            .map(|i| 100.0 * 1.03f64.powi(i))
            .enumerate()
            .map(|(i, hz)| {
                let h = whole.with_input(Some(INPUT.0), INPUT.1).response(&COIL, TAU * hz);
                Point {
                    hz,
                    // Alternating: of the size of u, and far from anything a coil does.
                    ln_mag: h.norm().ln() + if i % 2 == 0 { noise } else { -noise },
                    phase: h.arg(),
                    u,
                }
            })
            .collect()
    };
    let off = |noise: f64| {
        let curve = Take {
            load: whole.clone(),
            seen: Seen::Curve {
                points: points(noise),
                f0_hz: e(5e3, 1e-5),
            },
            ..seen("none", 0, INPUT, [0.0; 2])
        };
        let f = fit(&[curve, seen("cap=1n", 0, INPUT, [0.0; 2])], &known()).unwrap();
        f.agreement[0].rms_db.unwrap()
    };
    assert!(off(u) < 0.03, "{}", off(u));
    // Three times as much is 20 log10(e) sqrt(8) u.
    let want = 8.686 * 8f64.sqrt() * u;
    assert!((off(3.0 * u) / want - 1.0).abs() < 0.1, "{} {want}", off(3.0 * u));
}

/// The damping is blamed where it is the Qs that contradict each other, and only there.
#[test]
fn damping_is_apart_only_where_it_is() {
    let caps = ["none", "cap=330p", "cap=680p", "cap=1n", "cap=2.2n"];
    let of = |errs: [[f64; 2]; 5]| {
        let takes: Vec<Take> = caps.iter().zip(errs).map(|(c, e)| seen(c, 0, INPUT, e)).collect();
        fit(&takes, &known()).unwrap()
    };
    let damped = of([[0.0, 0.01], [0.0, -0.01], [0.0, 0.01], [0.0, -0.01], [0.0, 0.01]]);
    assert!(damped.damping_apart && damped.chance.unwrap() > UNLIKELY);
    assert!((damped.coil.l_h / COIL.l_h - 1.0).abs() < 0.002);
    let moved = of([[1e-3, 0.0], [-1e-3, 0.0], [1e-3, 0.0], [-1e-3, 0.0], [1e-3, 0.0]]);
    assert!(!moved.damping_apart && moved.chance.unwrap() < UNLIKELY);
    assert!(!of([[0.0; 2]; 5]).damping_apart);
}

/// A reading of another coil, or with the lead counted in, shows in the Qs; a right one raises nothing.
#[test]
fn a_resistance_that_does_not_fit_is_found() {
    let takes: Vec<Take> = ["none", "cap=470p", "cap=1n", "cap=2.2n", "cap=4.7n"]
        .map(|c| seen(c, 0, INPUT, [0.0; 2]))
        .into();
    let of = |r_ohm: f64| {
        let known = Known {
            r_ohm,
            r_u: UNIFORM * 0.01 * r_ohm,
            ..Known::default()
        };
        fit(&takes, &known).unwrap().other_r
    };
    let other = of(7.2e3).unwrap();
    assert!(
        (other.value - 6e3).abs() < 3.0 * other.u + 30.0 && other.u < 300.0,
        "{other:?}"
    );
    assert!(of(6e3).is_none() && of(6.03e3).is_none());
}

/// What is known to the last digit needs no further take, what hangs on parts does.
#[test]
fn advice_is_silent_where_nothing_is_left() {
    let takes: Vec<Take> = ["none", "cap=470p"].map(|c| seen(c, 0, INPUT, [0.0; 2])).into();
    let of = |tolerance: f64| {
        let known = Known {
            tolerances: Tolerances(vec![(Knob::Cap, tolerance)]),
            r_u: 0.0,
            ..known()
        };
        fit(&takes, &known).unwrap().advice
    };
    assert_eq!(of(0.0), None);
    assert!(of(0.01).is_some());
}
