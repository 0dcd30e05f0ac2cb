use super::*;
use crate::record::{CaptureSummary, PeakFrom, SCHEMA as RECORD};

fn e(value: f64, u: f64, u_noise: f64) -> Estimate {
    Estimate { value, u, u_noise }
}

fn record(id: &str, rig: &str, resonance: Option<Resonance>) -> Record {
    Record {
        schema: RECORD.into(),
        id: id.into(),
        taken_at: "2026-01-31T14:05:09+01:00".into(),
        tool_version: "0.1.0".into(),
        pickup: Pickup {
            name: format!("coil {id}"),
            ..Pickup::default()
        },
        rig: RigSummary {
            given: true,
            name: Some(rig.into()),
            hash: Some("0123456789abcdef".into()),
            ..RigSummary::default()
        },
        load: None,
        drive: None,
        capture: CaptureSummary::default(),
        verdict: if resonance.is_some() {
            Verdict::Ok
        } else {
            Verdict::Rejected
        },
        resonance,
        fit: None,
        curve: None,
        findings: vec![],
        notes: vec![],
        repeats: vec![],
        noted: vec![],
        knock: None,
    }
}

fn reading(f0: f64, q: f64, peak: Option<(f64, f64)>) -> Resonance {
    Resonance {
        f0_hz: e(f0, 5.0, 3.0),
        q: e(q, 0.05, 0.03),
        corr_f0_q: 0.0,
        peak_hz: peak.map(|p| e(p.0, 5.0, 3.0)),
        peak_db: peak.map(|p| e(p.1, 0.05, 0.03)),
        peak_from: PeakFrom::Model,
        mutual_h: None,
        polarity: 1,
        polarity_referenced: true,
        level_db: Some(e(-46.0, 0.5, 0.01)),
    }
}

fn pair(b: Resonance) -> Difference {
    let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
    one(&[a, record("b", "north", Some(b))])
}

fn one(records: &[Record]) -> Difference {
    compare(records, &Limits::default()).unwrap().differences.remove(0)
}

#[test]
fn a_lower_peak_on_one_rig() {
    let d = pair(reading(3770.0, 2.52, Some((3570.0, 6.9))));
    // Noise parts only: 3 Hz in each, so 3 sqrt 2 Hz.
    let peak = d.peak_hz.unwrap();
    assert_eq!(peak.value, -230.0);
    assert!((peak.u - 4.242_640_687).abs() < 1e-6, "{peak:?}");
    assert!((d.q.unwrap().value - 0.02).abs() < 1e-12);
    assert!((d.peak_db.unwrap().u - 0.042_426_407).abs() < 1e-8);
    assert!(d.significant && d.material && d.different && d.same_rig);
    // 230/3800 = 6.05 %.
    assert_eq!(d.text, "peak 230 Hz lower (-6.1 %), 1.1 dB lower; Q no different");
}

#[test]
fn two_rigs_combine_whole_uncertainties_and_say_so() {
    let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
    let b = record("b", "south", Some(reading(3770.0, 2.52, Some((3570.0, 6.9)))));
    let d = one(&[a, b]);
    assert!(!d.same_rig);
    assert!((d.peak_hz.unwrap().u - 7.071_067_812).abs() < 1e-6);
    assert!((d.peak_hz.unwrap().u_noise - 4.242_640_687).abs() < 1e-6);
    assert!(d.text.ends_with(", measured on two rigs"), "{}", d.text);
}

/// Readings that another file would have made otherwise, and whose takes nobody read again.
#[test]
fn what_was_worked_out_otherwise_is_told_by_nobody() {
    let of = |id: &str, hz: f64, coil: f64, gain: f64| {
        let mut r = record(id, "north", Some(reading(hz, 2.5, Some((hz, 8.0)))));
        let values = [
            ("exciter.inductance_h", coil),
            ("exciter.series_ohm", 100.0),
            ("input.gain_db", gain),
        ];
        r.rig.values = values.iter().map(|(k, v)| ((*k).to_owned(), (*v).into())).collect();
        r.rig.values.insert("exciter.reference".into(), "voltage".into());
        r.rig.hash = Some(format!("{coil} {gain}"));
        r.capture.channels = 2;
        r
    };
    let d = one(&[of("a", 4000.0, 5e-4, 0.0), of("b", 3000.0, 6e-4, 0.0)]);
    assert!(d.same_rig && !d.significant && !d.different);
    assert_eq!(
        d.text,
        "cannot tell: exciter.inductance_h is not the same in these two readings"
    );
    // A gain is in levels only.
    let d = one(&[of("a", 4000.0, 5e-4, 0.0), of("b", 3000.0, 5e-4, 1.0)]);
    assert!(d.different && d.level_db.is_none(), "{d:?}");
}

#[test]
fn significant_but_small_is_no_difference() {
    // 20 Hz of 3800 is 0.53 %, but 4.7 standard uncertainties.
    let d = pair(reading(4021.0, 2.5, Some((3820.0, 8.0))));
    assert!(d.significant && !d.material && !d.different);
    assert_eq!(d.text, "peak no different; Q no different");
}

#[test]
fn large_but_uncertain_is_no_difference_either() {
    let mut b = reading(4000.0, 2.65, Some((3800.0, 8.0)));
    b.q = e(2.65, 0.2, 0.2);
    let d = pair(b);
    assert!(!d.significant && d.material && !d.different);
    // 1.96 hypot(0.03, 0.2) = 0.396.
    assert_eq!(d.text, "peak no different; Q cannot be told apart (sure to 0.40 only)");
}

#[test]
fn significant_and_material_in_different_quantities_is_no_difference() {
    let mut b = reading(4021.0, 2.65, Some((3820.0, 8.0)));
    b.q = e(2.65, 0.2, 0.2);
    let d = pair(b);
    assert!(d.significant && d.material && !d.different);
}

#[test]
fn many_records_raise_the_bar() {
    // Two-sided normal points at 5 %/4 and 5 %/8, as scipy.stats.norm.ppf(1 - 0.025/m) gives them.
    assert!((critical_z(4) - 2.497_705).abs() < 1e-6);
    assert!((critical_z(8) - 2.734_369).abs() < 1e-6);
    assert!((critical_z(0) - Z95).abs() < 1e-9);
    let r = |id: &str, f: f64| record(id, "north", Some(reading(f, 2.5, Some((f - 200.0, 8.0)))));
    // 11 Hz is 2.593 standard uncertainties: enough for one pair, too little for two.
    let two = [r("a", 4000.0), r("b", 4011.0)];
    assert!(one(&two).significant);
    let three = [r("a", 4000.0), r("b", 4011.0), r("c", 4000.0)];
    let c = compare(&three, &Limits::default()).unwrap();
    assert!((c.z - 2.734_369).abs() < 1e-6);
    assert!(!c.differences[0].significant);
}

#[test]
fn identical_records_do_not_differ() {
    let a = reading(4000.0, 2.5, Some((3800.0, 8.0)));
    let mut exact = a.clone();
    exact.f0_hz.u_noise = 0.0;
    let r = record("a", "north", Some(exact));
    let d = one(&[r.clone(), r]);
    assert!(!d.significant && !d.material && !d.different);
}

#[test]
fn a_missing_peak_is_said() {
    let d = pair(reading(5200.0, 0.2, None));
    assert_eq!(d.peak_hz, None);
    assert!(d.different);
    assert_eq!(
        d.text,
        "no peak, where the first has one at 3.8 kHz; f0 1.2 kHz higher (+30 %); Q 2.3 lower (-92 %)"
    );
}

#[test]
fn level_is_told_but_judged_only_where_asked() {
    let mut b = reading(4000.0, 2.5, Some((3800.0, 8.0)));
    b.level_db = Some(e(-49.0, 0.5, 0.01));
    let d = pair(b.clone());
    assert!(!d.significant && !d.material && !d.different);
    assert_eq!(
        d.text,
        "peak no different; Q no different; \
         coupling from the exciter 3.0 dB lower (its position counts; not loudness)"
    );
    let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
    let limits = Limits {
        level_db: Some(0.5),
        ..Limits::default()
    };
    let c = compare(&[a, record("b", "north", Some(b))], &limits).unwrap();
    assert!(c.differences[0].different);
}

#[test]
fn polarity_loads_and_coils_are_told() {
    let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
    let mut b = a.clone();
    b.id = "b".into();
    b.resonance.as_mut().unwrap().polarity = -1;
    b.load = Some(LoadSummary {
        text: "cap=470p".into(),
    });
    let mut a = a;
    a.pickup.over = Some("first coil".into());
    b.pickup.over = Some("second coil".into());
    let d = one(&[a, b]);
    assert!(d.different && !d.significant);
    assert_eq!(
        d.text,
        "peak no different; Q no different; polarity the other way round, under different loads, over different coils"
    );
}

#[test]
fn rejected_records() {
    let good = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
    let bad = record("b", "north", None);
    let d = one(&[good.clone(), bad.clone()]);
    assert_eq!(d.f0_hz, None);
    assert!(!d.significant && !d.material && !d.different);
    assert!(d.text.contains("measure again"));
    let err = compare(&[bad, good.clone()], &Limits::default()).unwrap_err();
    assert!(err.what.contains("coil b"));
    assert!(compare(&[good], &Limits::default()).is_err());
    assert!(compare(&[], &Limits::default()).is_err());
}

#[test]
fn the_document_has_the_published_fields() {
    let a = record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
    let c = compare(&[a.clone(), a, record("b", "north", None)], &Limits::default()).unwrap();
    let json = serde_json::to_value(&c).unwrap();
    assert_eq!(json["schema"], "coilwright/compare/1");
    assert_eq!(json["reference"], "a");
    assert_eq!(json["records"].as_array().unwrap().len(), 3);
    for field in ["id", "pickup", "rig", "load", "verdict"] {
        assert!(json["records"][0].get(field).is_some(), "{field}");
    }
    let d = &json["differences"][1];
    for field in ["f0_hz", "q", "peak_hz", "peak_db", "level_db"] {
        assert!(d[field].is_null(), "{field}");
    }
    let back: Comparison = serde_json::from_value(json).unwrap();
    assert_eq!(back, c);
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

/// What hangs on the winding is the load and the rig's input.
#[test]
fn the_inputs_of_the_rigs_are_part_of_the_load() {
    let of = |id: &str, load: &str, input: Option<(f64, f64)>| {
        let mut r = record(id, id, Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        r.pickup.name = "neck-7".into();
        r.load = Some(LoadSummary { text: load.into() });
        if let Some((ohm, farad)) = input {
            r.rig.values.insert("input.resistance_ohm".into(), ohm.into());
            r.rig.values.insert("input.capacitance_f".into(), farad.into());
        }
        r
    };
    // 470 pF on an input of 100 pF are less than 330 pF on one of 500 pF.
    let small = of("a", "cap=470p", Some((1e6, 100e-12)));
    let large = of("b", "cap=330p", Some((500e3, 500e-12)));
    let (sorted, c) = compare_by_load(vec![large.clone(), small.clone()], &Limits::default()).unwrap();
    assert_eq!((sorted[0].id.as_str(), sorted[1].id.as_str()), ("a", "b"));
    let text = &c.differences[0].text;
    assert!(
        text.contains("260 pF more") && text.contains("rig's input 500 kΩ rather than 1.00 MΩ"),
        "{text}"
    );
    // What one rig does not state is not told as a difference.
    let (_, c) = compare_by_load(vec![of("c", "cap=330p", None), small], &Limits::default()).unwrap();
    assert!(
        c.differences[0].text.contains("140 pF more"),
        "{}",
        c.differences[0].text
    );
}
