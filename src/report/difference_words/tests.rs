use super::*;
use crate::record::{Definition, LoadSummary};
use crate::report::samples::{Recipe, e};
use crate::shop::difference::{How, compare};
use crate::shop::yardstick::Matters;

fn of(f0: f64, q: f64) -> Record {
    Recipe {
        f0,
        q,
        seed: (f0 * q) as u64,
        ..Recipe::default()
    }
    .record()
}

fn said(pair: &[Record], how: &How) -> String {
    let mut c = compare(pair, how).unwrap();
    put(&mut c, pair);
    c.differences.remove(0).text
}

/// What is usual in it.
fn stands_for(pair: &[Record], how: &How) -> Option<String> {
    usual(compare(pair, how).unwrap().judged())
}

fn unset(b: Record) -> String {
    said(&[of(3500.0, 2.95), b], &How::default())
}

#[test]
fn what_decided_stands_in_the_line() {
    // Peaks: 3500 sqrt(1 - 1/(2 2.95^2)) = 3397.7 Hz; 6 % below. Half of 0.15 % times sqrt 2, and Student's t.
    let text = unset(of(3290.0, 2.95));
    assert!(text.starts_with("different: peak 200 Hz lower (-6.00 ± 0."), "{text}");
    assert!(text.contains(" %, 1 % matters); the same: Q (0.0 ± 2."), "{text}");
    assert!(
        text.contains("peak height (0.00 ± 0.2") && text.contains(" dB, 0.5 dB matters)"),
        "{text}"
    );
    let said = stands_for(&[of(3500.0, 2.95), of(3290.0, 2.95)], &How::default()).unwrap();
    assert!(
        said.ends_with("stand for what matters (`use --matters`), laying down (`rig repeat`)"),
        "{said}"
    );
}

#[test]
fn what_is_less_than_matters_is_given_all_the_same() {
    let how = How {
        in_place: true,
        matters: Matters::parse("peak=1% f0=1% q=5% height=0.5dB level=2dB curve=0.3dB").unwrap(),
        ..How::default()
    };
    let pair = [of(3500.0, 2.95), of(3517.5, 2.95)];
    let text = said(&pair, &how);
    assert!(
        text.starts_with("the same: peak 17 Hz higher (+0.50 ± 0.03 %, less than the 1 % that matter), Q ("),
        "{text}"
    );
    assert_eq!(stands_for(&pair, &how), None);
}

#[test]
fn what_would_tell_is_said() {
    let text = unset(of(3500.0, 3.05));
    let told = "the same: peak (";
    assert!(
        text.starts_with("cannot tell: Q (+3.4 ± 2.") && text.contains(told),
        "{text}"
    );
    assert_eq!(text.matches("matters; `rig repeat` may tell)").count(), 2, "{text}");
    let usual = stands_for(&[of(3500.0, 2.95), of(3500.0, 3.05)], &How::default()).unwrap();
    assert!(
        usual.ends_with("what matters (`use --matters`), laying down (`rig repeat`)"),
        "{usual}"
    );
}

#[test]
fn without_a_peak_it_is_said_where_there_is_one() {
    let text = unset(of(3500.0, 0.5));
    assert!(
        text.starts_with("no peak, where the first has one at 3.4 kHz; different: peak height 9.5 dB lower (±"),
        "{text}"
    );
    assert!(said(&[of(3500.0, 0.5), of(3500.0, 0.51)], &How::default()).starts_with("no peak in either; "));
}

#[test]
fn circumstances_and_causes_are_told() {
    let mut b = of(3500.0, 2.95);
    b.id = "b".into();
    b.load = Some(LoadSummary {
        text: "cap=470p".into(),
    });
    let r = b.resonance.as_mut().unwrap();
    r.polarity = -1;
    r.level_db = Some(e(-51.0, 0.1, 0.01));
    (b.taken_at, b.pickup.over) = ("2026-02-02T10:00:00+01:00".into(), Some("second coil".into()));
    let mut a = of(3500.0, 2.95);
    a.load = None;
    a.pickup.over = Some("first coil".into());
    let text = said(&[a.clone(), b.clone()], &How::default());
    assert!(
        text.starts_with("different: coupling from the exciter 5.2 dB lower (± "),
        "{text}"
    );
    assert!(text.contains("polarity the other way round; "), "{text}");
    assert!(
        text.ends_with(", on two days, under different loads, over different coils"),
        "{text}"
    );
    let usual = stands_for(&[a.clone(), b.clone()], &How::default()).unwrap();
    assert!(
        usual.ends_with("laying down (`rig repeat`), the rig's days (`rig check`)"),
        "{usual}"
    );
    b.rig.name = Some("south".into());
    a.load = Some(LoadSummary {
        text: "cap=330p".into(),
    });
    let text = said(&[a.clone(), b.clone()], &How::default());
    assert!(
        text.starts_with("140 pF more; ") && text.contains(", measured on two rigs"),
        "{text}"
    );
    b.resonance.as_mut().unwrap().definition = Definition::Pole;
    let text = said(&[a.clone(), b.clone()], &How::default());
    assert!(
        text.starts_with("cannot tell: f0 and Q of the first are \"plain\", of this one \"pole\"; "),
        "{text}"
    );
    b.verdict = crate::record::Verdict::Rejected;
    assert_eq!(
        said(&[a, b], &How::default()),
        "no reading, so nothing to compare: measure again"
    );
}

#[test]
fn a_load_moves_the_peak_from_here_to_there() {
    let loaded = |f0: f64, load: &str, ohm: f64| {
        let mut r = of(f0, 2.95);
        r.load = Some(LoadSummary { text: load.into() });
        r.rig.values.insert("input.resistance_ohm".into(), ohm.into());
        r
    };
    let text = said(
        &[loaded(4000.0, "", 1e6), loaded(3000.0, "cap=470p", 500e3)],
        &How::default(),
    );
    assert!(
        text.starts_with("rig's input 500 kΩ rather than 1.00 MΩ, 470 pF more; different: peak 3.9 -> 2.9 kHz (-25"),
        "{text}"
    );
}

#[test]
fn amounts_have_two_digits() {
    for (x, want) in [
        (229.6, "230 Hz"),
        (9.96, "10 Hz"),
        (99.6, "100 Hz"),
        (0.0123, "0.012 Hz"),
        (1234.0, "1.2 kHz"),
    ] {
        assert_eq!(amount(x, "Hz"), want);
    }
    assert_eq!(amount(0.0, ""), "0");
    assert_eq!(amount(1e300, ""), "1.0e300");
}
