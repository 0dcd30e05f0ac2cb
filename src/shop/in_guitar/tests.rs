use super::*;
use crate::coil::basis::Basis;
use crate::estimate::Estimate;
use crate::network::wirings::built_in;
use crate::network::{Coil, CoilFile, Tolerances};
use crate::record::about::Pole;
use crate::record::{Code, Definition, Finding, Level, PeakFrom, Record, store};
use crate::shop::yardstick::{Answer, Matters};

fn basis() -> Basis {
    Basis::of(CoilFile::from(Coil::new(6.2e3, 2.6, 110e-12))).unwrap()
}

fn record(peak_hz: f64, height_db: f64, polarity: i8) -> Record {
    let bytes = include_bytes!("../../../fixtures/records/0.1.0-shop/takes/neck-7/0001/record.json");
    let mut record = store::parse(bytes, "record.json".as_ref()).unwrap();
    let x = record.resonance.as_mut().unwrap();
    (x.peak_hz, x.peak_db) = (Estimate::new(peak_hz, 1.0, 0.1), Estimate::new(height_db, 0.01, 0.01));
    (x.definition, x.peak_from, x.polarity) = (Definition::Plain, PeakFrom::Model, polarity);
    record
}

fn dead() -> Record {
    let mut record = record(4000.0, 5.0, 1);
    record.resonance = None;
    record.verdict = crate::record::Verdict::Rejected;
    record.findings = vec![Finding {
        code: Code::NoSignal,
        level: Level::Reject,
        text: String::new(),
    }];
    record
}

fn all() -> Vec<Step> {
    let wiring = built_in("two-pickups").unwrap().unwrap();
    steps(&wiring, "x", &positions(&wiring, "x", None).unwrap())
}

fn measured() -> Bench {
    Bench {
        input: (Some(1e6), 60e-12),
        ..Bench::default()
    }
}

fn took(record: &Record) -> Took<'_> {
    Took {
        record,
        left: None,
        left_db: None,
    }
}

/// The player's cable and amplifier are not at the bench; two pickups side by side have half the inductance.
#[test]
fn what_the_jack_should_read() {
    let all = all();
    let hz = |i: usize| expected(&all[i], &basis(), &measured()).peak_hz.unwrap().0;
    let all_hz = [hz(0), hz(1), hz(2), hz(3)];
    // Two pots of 250 k full up and 1 MΩ damp it: 111 kΩ across L and C.
    let peak = |l: f64, c: f64| {
        let q = 111.1e3 * (c / l).sqrt();
        (1.0 - 0.5 / (q * q)).sqrt() / (std::f64::consts::TAU * (l * c).sqrt())
    };
    // 2.6 H with 110 pF of its own and 60 pF of the input; both: 1.3 H with 220 and 60 pF.
    assert!((hz(0) / peak(2.6, 170e-12) - 1.0).abs() < 0.02, "{all_hz:?}");
    assert!((hz(1) / peak(1.3, 280e-12) - 1.0).abs() < 0.02, "{all_hz:?}");
    assert!(
        (hz(1) / hz(2) - 1.0).abs() < 0.2 && (hz(0) - hz(3)).abs() < 1e-6,
        "{all_hz:?}"
    );
}

#[test]
fn pots_count_unless_they_are_measured() {
    let sold = Bench {
        tolerances: Tolerances::usual(),
        ..measured()
    };
    let (step_0, basis) = (&all()[0], basis());
    let (sold, known) = (expected(step_0, &basis, &sold), expected(step_0, &basis, &measured()));
    let (a, b) = (sold.height_db.unwrap(), known.height_db.unwrap());
    assert!(a.0 == b.0 && a.1 > 3.0 * b.1 && b.1 > 0.0, "{a:?} {b:?}");
    // What lies within the pots' tolerance is nobody's fault.
    let off = record(sold.peak_hz.unwrap().0, a.0 + 0.9, 1);
    let told = |e| step(step_0, e, &took(&off), &Matters::default()).heard;
    assert_eq!((told(&sold), told(&known)), (Heard::CannotTell, Heard::Different));
}

#[test]
fn one_step_after_the_other() {
    let basis = basis();
    let read = |i: usize, polarity: i8, factor: f64| {
        let e = expected(&all()[i], &basis, &measured());
        let r = record(factor * e.peak_hz.unwrap().0, e.height_db.unwrap().0, polarity);
        step(&all()[i], &e, &took(&r), &Matters::default())
    };
    let whole = vec![read(0, 1, 1.0), read(1, 1, 1.0), read(2, -1, 1.0), read(3, -1, 1.0)];
    let nobody = |_: &str| None;
    let it = conclude("x", "two-pickups", whole.clone(), &nobody);
    assert_eq!((it.answer, it.pairs.len()), (Answer::Same, 1));
    let pair = &it.pairs[0];
    assert!(!pair.one_way && pair.phase == Phase::AskTheIndicator);
    // Wound opposite ways: in phase with opposite poles, out of phase with one.
    for (bridge, phase) in [(Pole::South, Phase::In), (Pole::North, Phase::Out)] {
        let told = |name: &str| Some(if name == "bridge" { bridge } else { Pole::North });
        assert_eq!(conclude("x", "w", whole.clone(), &told).pairs[0].phase, phase);
    }
    let off = vec![read(0, 1, 0.8)];
    assert_eq!(
        (off[0].heard, conclude("x", "w", off.clone(), &nobody).answer),
        (Heard::Different, Answer::Different)
    );
    let e = expected(&all()[0], &basis, &measured());
    let none = step(&all()[0], &e, &took(&dead()), &Matters::default());
    assert_eq!((none.heard, none.sign), (Heard::Dead, None));
    // One that left with the other sign, on the same rig.
    let (left, now) = (record(4000.0, 5.0, -1), record(4000.0, 5.0, 1));
    let took = Took {
        left: Some(&left),
        ..took(&now)
    };
    assert!(step(&all()[0], &e, &took, &Matters::default()).turned);
}
