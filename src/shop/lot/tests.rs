use super::*;
use crate::record::store;

fn record(call: Call) -> (Record, Option<Judged>) {
    let bytes = include_bytes!("../../../fixtures/records/0.1.0/record.json");
    let record = store::parse(bytes, "record.json".as_ref()).unwrap();
    let judged = Judged {
        call,
        why: Vec::new(),
        reasons: Vec::new(),
        looks: None,
        fault: None,
        against: Vec::new(),
    };
    (record, Some(judged))
}

/// A lot in which these takes were made of the numbers that came.
fn lot(takes: &[Call]) -> Tray {
    let mut t = Tray::new("a", None, 1);
    for (i, call) in takes.iter().enumerate() {
        let (record, judged) = record(*call);
        t.take(t.next, &record, format!("r{i}"), judged);
    }
    t
}

fn standing(t: &Tray) -> Vec<(u32, &str)> {
    let all = t.standing();
    all.map(|e| (e.number, e.record.as_deref().unwrap_or("-"))).collect()
}

#[test]
fn a_number_stays_until_it_is_read_left_or_kept() {
    let t = lot(&[
        Call::Pass,
        Call::NoReading,
        Call::MeasureAgain,
        Call::NoReading,
        Call::Outside,
    ]);
    // What is worth less takes no place.
    assert_eq!((standing(&t), t.next), (vec![(1, "r0"), (2, "r4")], 3));
    assert_eq!(t.entries.len(), 5);
    let mut t = lot(&[Call::NoReading]);
    t.skip();
    assert_eq!((standing(&t), t.next), (vec![(1, "r0")], 2));
    t.skip();
    assert_eq!((standing(&t), t.next), (vec![(1, "r0"), (2, "-")], 3));
    let mut t = lot(&[Call::MeasureAgain]);
    t.keep(1, record(Call::Kept).1);
    assert_eq!((t.counts().kept, t.counts().measure_again, t.next), (1, 0, 2));
}

#[test]
fn each_step_back_is_one() {
    let mut t = lot(&[Call::Pass, Call::MeasureAgain, Call::Pass]);
    let (again, judged) = record(Call::Outside);
    assert!(t.take(2, &again, "again".into(), judged));
    let mut steps = Vec::new();
    while let Some(u) = t.undo() {
        steps.push((u.number, u.stands, t.next));
    }
    // From the second reading of 2 to the first, to the take that was to be measured again, to none; and number 1.
    assert_eq!(steps, [(2, true, 3), (2, true, 2), (2, false, 2), (1, false, 1)]);
    let mut t = lot(&[Call::NoReading]);
    t.skip();
    t.skip();
    assert_eq!(t.undo().map(|u| (u.number, t.next)), Some((2, 2)));
    assert_eq!(t.undo().map(|u| (u.stands, t.next)), Some((true, 1)));
    assert_eq!(t.undo().map(|u| (u.stands, t.next)), Some((false, 1)));
}

/// A take that did not count is a step too: what stood before it goes on standing.
#[test]
fn a_step_back_from_a_take_in_vain_takes_nothing_else_back() {
    let mut t = lot(&[Call::Pass]);
    let (bad, judged) = record(Call::NoReading);
    assert!(!t.take(1, &bad, "bad".into(), judged));
    let mut step = || t.undo().map(|u| (u.number, u.stands, t.next));
    assert_eq!(
        [step(), step(), step()],
        [Some((1, true, 2)), Some((1, false, 1)), None]
    );
    // And a step back that was one is not looked at twice.
    let mut t = lot(&[Call::Pass]);
    let (good, judged) = record(Call::Outside);
    assert!(t.take(1, &good, "good".into(), judged));
    let mut step = || t.undo().map(|u| (u.number, u.stands, t.next));
    assert_eq!(
        [step(), step(), step()],
        [Some((1, true, 2)), Some((1, false, 1)), None]
    );
}

#[test]
fn an_older_number_moves_nothing() {
    let mut t = lot(&[Call::Pass, Call::Pass, Call::Pass]);
    let (open, judged) = record(Call::NoReading);
    t.undo();
    t.skip();
    t.entries.retain(|e| e.number != 1);
    t.take(1, &open, "late".into(), judged);
    assert_eq!(t.next, 4);
}

#[test]
fn folders_of_takes_are_told() {
    let mut t = Tray::new("a-2", None, 1);
    t.copied_from = Some("a".into());
    for (name, want) in [
        ("a-2-07", Some((7, 1))),
        ("a-2-107-3", Some((107, 3))),
        ("a-07", Some((7, 1))),
        ("b-07", None),
        ("a-2-", None),
        ("a-2-x", None),
        ("a-2-1-2-3", None),
    ] {
        assert_eq!(t.number_of(name), want, "{name}");
    }
    for (name, plain) in [
        ("neck 12_b-07", true),
        ("..", false),
        ("a/b", false),
        ("a\\b", false),
        (" ", false),
        ("c:", false),
    ] {
        assert_eq!(is_plain(name), plain, "{name}");
    }
}

#[test]
fn mates_tell_what_is_far() {
    let mut t = lot(&[Call::Pass; 6]);
    let ohms = |ohm: f64| Reading::Ohms { meter: "m".into(), ohm };
    for (e, ohm) in t.entries.iter_mut().zip([6050.0, 6000.0, 6100.0, 6020.0, 60.5]) {
        e.readings = vec![ohms(ohm)];
    }
    // An odd mate moves neither the middle nor the limit.
    let far = |t: &Tray, ohm: f64| t.odd(6, &ohms(ohm));
    assert_eq!(far(&t, 6180.0), None);
    assert_eq!(
        far(&t, 6500.0).as_deref(),
        Some("far from the others of this lot (6.000 kΩ ... 6.100 kΩ)")
    );
    let other = Reading::Ohms {
        meter: "n".into(),
        ohm: 6500.0,
    };
    assert_eq!(t.odd(6, &other), None);
    // Four tell nothing, and a number is no mate of its own.
    assert_eq!(t.odd(1, &ohms(6500.0)), None);
}
