use super::*;
use crate::record::{Plain, store};
use crate::shop::witness::eras::Eras;
use crate::shop::witness::history::{Change, History};
use crate::shop::yardstick::{Answer, Quantity};

/// f0 4.2 kHz, on the rig "north bench", under a load.
fn record() -> Record {
    let bytes = include_bytes!("../../../fixtures/records/0.1.0-shop/takes/neck-7/0001/record.json");
    store::parse(bytes, "record.json".as_ref()).unwrap()
}

fn standard(of: &Record) -> Standard {
    let allowed = Allowed {
        f0: Some(0.02),
        q: Some(0.08),
        level_db: Some(2.0),
        ohms: None,
    };
    let good = std::slice::from_ref(of);
    Standard::from("neck set", good, allowed).unwrap().0
}

fn judged(record: &Record, s: &Standard) -> Judged {
    judge(record, Some(s), &Eras::default(), false).unwrap()
}

fn half(j: &Judged, quantity: Quantity) -> Option<f64> {
    let found = j.against.iter().find(|a| a.quantity == quantity)?;
    Some(found.held.half_95)
}

/// Each part enters where it belongs, with the usual values: laying down 0.1 % in f0, 1 % in Q, 0.3 dB in level, each with thirty
/// degrees of freedom (t 2.042); days 0.5 % in Q, so 2.042 hypot(1, 0.5) or a little less.
#[test]
fn the_parts_of_a_verdict_are_the_yardsticks() {
    let r = record();
    let same_day = standard(&r);
    assert_eq!(same_day.taken_on.as_deref(), r.taken_at.get(..10));
    let j = judged(&r, &same_day);
    assert_eq!((j.call, j.against.len()), (Call::Pass, 3));
    assert!(j.against.iter().all(|a| a.held.usual && a.held.answer == Answer::Same));
    let near = |v: Option<f64>, want: f64| assert!((v.unwrap() / want - 1.0).abs() < 0.02, "{v:?} is not {want}");
    near(half(&j, Quantity::F0), 0.002_042);
    near(half(&j, Quantity::Q), 0.020_42);
    near(half(&j, Quantity::Level), 0.6126);
    // A standard of old tells no day.
    let old = Standard {
        taken_on: None,
        ..same_day.clone()
    };
    near(half(&judged(&r, &old), Quantity::Q), 2.02 * 0.01f64.hypot(0.005));
    // Of another rig its chain counts, and the level says nothing.
    let mut tolerant = r.clone();
    let x = tolerant.resonance.as_mut().unwrap();
    x.f0_hz.u = 0.015 * x.f0_hz.value;
    assert!(half(&judged(&tolerant, &same_day), Quantity::F0).unwrap() < 0.0022);
    let south = Standard {
        rig: Some("south bench".into()),
        level: None,
        polarity: None,
        ..same_day.clone()
    };
    let j = judged(&tolerant, &south);
    assert!(half(&j, Quantity::F0).unwrap() > 0.029);
    assert_eq!(j.call, Call::CannotTell);
    assert_eq!(judged(&r, &south).call, Call::Pass);
    let with_level = Standard {
        level: same_day.level,
        polarity: same_day.polarity,
        ..south
    };
    let j = judged(&r, &with_level);
    assert_eq!(
        (j.call, j.why.len(), half(&j, Quantity::Level)),
        (Call::CannotTell, 2, None)
    );
}

/// Readings by two definitions are never subtracted. A file without one is plain.
#[test]
fn another_definition_is_refused() {
    let r = record();
    let plain = standard(&r);
    let text = plain.to_toml("x").unwrap();
    assert!(text.contains("definition = \"plain\""), "{text}");
    let old = text.replace("definition = \"plain\"\n", "");
    assert_eq!(Standard::parse("x", &old), Ok(plain));
    let pole = Standard::parse("x", &text.replace("\"plain\"", "\"pole\"")).unwrap();
    let j = judged(&r, &pole);
    assert_eq!((j.call, j.against.len()), (Call::CannotTell, 0));
    assert_eq!(j.why, [Why::Elsewhere(Elsewhere::Definition)]);
    // With metal the second-order model's f0 and Q are judged, and its level, which nobody kept, is not.
    let mut steel = r.clone();
    let (read, fit) = (steel.resonance.as_mut().unwrap(), steel.fit.as_mut().unwrap());
    fit.plain = Some(Plain {
        f0_hz: read.f0_hz,
        q: read.q,
    });
    read.definition = Definition::Pole;
    let j = judged(&steel, &standard(&r));
    assert_eq!((j.call, half(&j, Quantity::Level)), (Call::CannotTell, None));
    assert!(half(&j, Quantity::F0).is_some() && j.why == [Why::Elsewhere(Elsewhere::Definition)]);
}

/// What its file says of a rig makes it no other one; its unit does.
#[test]
fn knowing_more_is_not_another_rig() {
    let mut r = record();
    let s = standard(&r);
    r.rig.hash = Some("another".into());
    r.rig.values.insert("exciter.series_tolerance".into(), 0.001.into());
    r.rig.values.insert("input.capacitance_f".into(), 70e-12.into());
    assert!(s.is_of(&r.rig) && judged(&r, &s).call == Call::Pass);
    let units = Standard {
        unit: Some("serial 7".into()),
        ..s
    };
    assert!(units.is_of(&r.rig));
    r.rig.values.insert("unit".into(), "serial 8".into());
    assert!(!units.is_of(&r.rig));
}

/// What was changed on the bench since is in a reading, and not in the standard.
#[test]
fn a_change_of_the_bench_leaves_the_standard_behind() {
    let r = record();
    let s = standard(&r);
    let mut later = r.clone();
    later.taken_at = "2099-01-02T10:00:00Z".into();
    let eras = |at: &str| {
        let mut h = History::new(&r.rig, "tin");
        h.changed = Some(Change {
            what: "new lead".into(),
            at: at.into(),
            before: None,
        });
        Eras::of(Some(h), |_| None)
    };
    let call = |s: &Standard, at: &str| judge(&later, Some(s), &eras(at), false).unwrap();
    let changed = call(&s, "2099-01-01T10:00:00Z");
    assert_eq!(changed.call, Call::CannotTell);
    assert_eq!(changed.why, [Why::Elsewhere(Elsewhere::Changed("new lead".into()))]);
    assert_eq!(call(&s, "2000-01-01T10:00:00Z").call, Call::Pass);
    // One of old knows its day alone.
    let old = Standard {
        taken_until: None,
        ..s.clone()
    };
    assert_eq!(call(&old, "2099-01-01T10:00:00Z").call, Call::CannotTell);
    // Made anew it goes on.
    let anew = standard(&later);
    assert!(anew.is_made_anew(&s) && !s.is_made_anew(&anew) && !s.is_made_anew(&s));
    assert_eq!(call(&anew, "2099-01-01T10:00:00Z").call, Call::Pass);
}

/// f0 and Q without a peak pass nothing; where every good one has a peak, that it is gone is a fault.
#[test]
fn nothing_passes_without_a_peak() {
    let mut r = record();
    let x = r.resonance.as_mut().unwrap();
    (x.peak_hz, x.peak_db) = (None, None);
    let s = standard(&r);
    assert_eq!(judged(&r, &s).call, Call::Outside);
    let mut damped = s.clone();
    damped.q.value = 0.6;
    damped.q.allow = 0.9;
    assert_ne!(judged(&r, &damped).call, Call::Pass);
    r.resonance.as_mut().unwrap().q.value = 0.6;
    assert_eq!(judged(&r, &damped).call, Call::CannotTell);
}
