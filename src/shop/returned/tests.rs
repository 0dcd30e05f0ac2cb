use super::*;
use crate::coil::basis::Basis;
use crate::estimate::Estimate;
use crate::network::{Coil, CoilFile, Load, SecondOrder};
use crate::record::meters::Reading;
use crate::record::notes::Note;
use crate::record::{Code, Definition, Finding, Level, LoadSummary, PeakFrom, Record, Scatters, store};
use crate::shop::difference::How;

const COIL: Coil = Coil {
    r_ohm: 6.2e3,
    l_h: 2.6,
    c_f: 110e-12,
    loss_ohm: Some(8e5),
    eddy: None,
};
const LOAD: &str = "cap=400p res=1M";

/// What a coil reads under a load on a rig that lays pickups down very well.
fn read(coil: &Coil, load: &str, day: u32) -> Record {
    let bytes = include_bytes!("../../../fixtures/records/0.1.0-shop/takes/neck-7/0001/record.json");
    let mut record = store::parse(bytes, "record.json".as_ref()).unwrap();
    let s: SecondOrder = Load::parse(load).unwrap().second_order(coil).unwrap();
    let e = |v: f64, u: f64| Estimate::new(v, u, u);
    let x = record.resonance.as_mut().unwrap();
    (x.f0_hz, x.q) = (e(s.f0_hz, 1e-5 * s.f0_hz).unwrap(), e(s.q, 1e-4 * s.q).unwrap());
    (x.peak_from, x.definition, x.polarity) = (PeakFrom::Model, Definition::Plain, 1);
    let down = 1.0 - 0.5 / (s.q * s.q);
    x.peak_hz = e(s.f0_hz * down.sqrt(), 0.03);
    x.peak_db = e(20.0 * (s.q / (1.0 - 0.25 / (s.q * s.q)).sqrt()).log10(), 0.001);
    x.level_db = e(20.0 * s.g0.log10() - 46.0, 0.003);
    let scatter = |part: f64| Scatters {
        f0_hz: part * s.f0_hz,
        q: 4.0 * part * s.q,
        peak_hz: Some(part * s.f0_hz),
        peak_db: Some(30.0 * part),
        level_db: Some(100.0 * part),
        freedom: 30.0,
    };
    (x.u_lay, x.u_day) = (Some(scatter(5e-4)), Some(scatter(5e-4)));
    record.id = format!("{load} {day} {}", s.f0_hz);
    record.taken_at = format!("2026-02-{day:02}T10:00:00+01:00");
    record.load = Some(LoadSummary {
        text: Load::parse(load).unwrap().to_string(),
    });
    record.rig.values.retain(|k, _| !k.starts_with("input."));
    (record.pickup.name, record.pickup.over) = ("neck-7".into(), None);
    (record.pickup.r_ohm, record.pickup.temperature_c) = (Some(coil.r_ohm), Some(21.0));
    record
}

fn judged(left: &Record, today: &Record) -> Returned {
    with_coil(left, today, None)
}

fn with_coil(left: &Record, today: &Record, basis: Option<&Basis>) -> Returned {
    judge(&Question {
        left,
        today,
        basis,
        how: &How::default(),
        others: &[],
    })
    .unwrap()
}

fn rejected(code: Code) -> Record {
    let mut record = read(&COIL, LOAD, 20);
    record.resonance = None;
    record.verdict = crate::record::Verdict::Rejected;
    record.findings = vec![Finding {
        code,
        level: Level::Reject,
        text: String::new(),
    }];
    record
}

#[test]
fn the_same_one_and_dead_ones() {
    let left = read(&COIL, LOAD, 2);
    let back = judged(&left, &read(&COIL, LOAD, 20));
    assert_eq!(
        (back.verdict, back.looks.len(), back.magnet),
        (Verdict::Unchanged, 0, Magnet::NotHeard)
    );
    for (code, feed) in [(Code::OpenWinding, true), (Code::NoSignal, false)] {
        let back = judged(&left, &rejected(code));
        assert_eq!(
            (back.verdict, back.looks),
            (Verdict::Changed, vec![Look::Dead { feed }])
        );
    }
    // A bad take is no bad pickup.
    let back = judged(&left, &rejected(Code::Clipped));
    let finding = Some(Code::Clipped);
    assert_eq!(
        (back.verdict, back.why),
        (Verdict::CannotTell, Some(Why::NoReading { finding }))
    );
}

#[test]
fn what_keeps_readings_apart() {
    let left = read(&COIL, LOAD, 2);
    let why = |today: &Record| judged(&left, today).why;
    let mut over = read(&COIL, LOAD, 20);
    over.pickup.over = Some("second coil".into());
    assert_eq!(why(&over), None, "told of one of them only");
    let mut first = left.clone();
    first.pickup.over = Some("first coil".into());
    assert!(matches!(judged(&first, &over).why, Some(Why::OtherCoil { .. })));
    assert_eq!(why(&read(&COIL, "cap=700p res=1M", 20)), Some(Why::OtherLoad));
    let mut untold = read(&COIL, LOAD, 20);
    untold.load = None;
    assert_eq!(why(&untold), Some(Why::LoadNotTold));
    // The rig's input hangs there as well.
    let mut rig = read(&COIL, LOAD, 20);
    rig.rig.values.insert("input.capacitance_f".into(), 100e-12.into());
    assert_eq!(why(&rig), Some(Why::OtherLoad));
    // Ohms that are another coil's tell, whatever hung on it.
    untold.pickup.r_ohm = Some(8.1e3);
    let back = judged(&left, &untold);
    assert_eq!((back.verdict, back.why), (Verdict::Changed, None));
    // The same ring with other ohms is no coil: one of the figures is wrong.
    let mut ohms = read(&COIL, LOAD, 20);
    ohms.pickup.r_ohm = Some(5.6e3);
    assert_eq!(why(&ohms), Some(Why::OhmsAlone));
}

/// Its coil frees today's reading of 300 pF more, and of nothing else.
#[test]
fn freed_by_its_coil() {
    let basis = Basis::of(CoilFile::from(COIL)).unwrap();
    let left = read(&COIL, LOAD, 2);
    let more = "cap=700p res=1M";
    let back = with_coil(&left, &read(&COIL, more, 20), Some(&basis));
    let freed = back.freed.unwrap();
    assert_eq!(freed.quantities.len(), 2);
    assert!(freed.quantities.iter().all(|j| j.difference.abs() < 0.01), "{freed:?}");
    assert_ne!(back.verdict, Verdict::Changed);
    let other = Coil { l_h: 2.0, ..COIL };
    let back = with_coil(&left, &read(&other, more, 20), Some(&basis));
    assert_eq!(back.verdict, Verdict::Changed, "{back:?}");
}

#[test]
fn leads_level_and_magnet() {
    let left = read(&COIL, LOAD, 2);
    let mut turned = read(&COIL, LOAD, 20);
    turned.resonance.as_mut().unwrap().polarity = -1;
    assert_eq!(judged(&left, &turned).looks, [Look::Turned]);
    let mut far = read(&COIL, LOAD, 20);
    let level = far.resonance.as_mut().unwrap().level_db.as_mut().unwrap();
    level.value -= 6.0;
    assert_eq!(judged(&left, &far).looks, [Look::Level]);
    let probed = |day: u32, tesla: f64| {
        let mut record = read(&COIL, LOAD, day);
        let gauss = Reading::Gauss {
            meter: "probe C".into(),
            poles_t: vec![tesla; 6],
        };
        let at = record.taken_at.clone();
        record.noted.push(Note::new(at, &record.id, None, vec![gauss], None));
        record
    };
    let back = judged(&probed(2, 0.05), &probed(20, 0.049));
    assert_eq!((back.verdict, back.looks.len()), (Verdict::Unchanged, 0));
    assert!(matches!(back.magnet, Magnet::Read { .. }));
    let back = judged(&probed(2, 0.05), &probed(20, 0.03));
    assert!(
        back.verdict == Verdict::Changed
            && matches!(back.looks[..], [Look::Magnet { ratio }] if (ratio - 0.6).abs() < 1e-9)
    );
    let back = judged(&probed(2, 0.05), &probed(20, -0.05));
    assert_eq!(back.looks, [Look::MagnetTurned]);
}

/// A coil of another kind explains itself by nothing that happens to this one.
#[test]
fn another_coil() {
    let left = read(&COIL, LOAD, 2);
    let other = Coil {
        r_ohm: 8.4e3,
        l_h: 1.9,
        c_f: 180e-12,
        ..COIL
    };
    let back = judged(&left, &read(&other, LOAD, 20));
    assert_eq!(back.looks, [Look::AnotherCoil { like: vec![] }]);
    let mut named = read(&other, LOAD, 3);
    named.pickup.name = "neck-9".into();
    let back = judge(&Question {
        left: &left,
        today: &read(&other, LOAD, 20),
        basis: None,
        how: &How::default(),
        others: &[named, left.clone()],
    });
    let like = vec!["neck-9".into()];
    assert_eq!(back.unwrap().looks[0], Look::AnotherCoil { like });
}
