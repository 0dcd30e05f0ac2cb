use super::*;
use crate::record::{CaptureSummary, Definition, Fit, Model, PeakFrom, Plain, Resonance, SCHEMA as RECORD, Scatters};

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
        budget: None,
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
        local: false,
        corr_f0_q: 0.0,
        peak_hz: peak.map(|p| e(p.0, 5.0, 3.0)),
        peak_db: peak.map(|p| e(p.1, 0.05, 0.03)),
        peak_from: PeakFrom::Model,
        mutual_h: None,
        polarity: 1,
        polarity_referenced: true,
        level_db: Some(e(-46.0, 0.5, 0.01)),
        definition: Definition::Plain,
        u_lay: None,
        u_day: None,
    }
}

fn pair(b: Resonance) -> Difference {
    one(&[first(), record("b", "north", Some(b))])
}

fn first() -> Record {
    record("a", "north", Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))))
}

fn one(records: &[Record]) -> Difference {
    compare(records, &How::default()).unwrap().differences.remove(0)
}

fn answer(d: &Difference, quantity: Quantity) -> Answer {
    d.quantities.iter().find(|j| j.quantity == quantity).unwrap().answer
}

const IN_PLACE: fn() -> How = || How {
    in_place: true,
    ..How::default()
};

#[test]
fn a_lower_peak_on_one_rig() {
    let d = pair(reading(3770.0, 2.52, Some((3570.0, 8.1))));
    assert_eq!(
        (d.between, d.answer, d.same_rig),
        (Question::LaidDown, Answer::Different, true)
    );
    let peak = d.peak_hz.unwrap();
    assert_eq!(peak.value, -230.0);
    // Noise: 3 Hz in 3800 and in 3570; laying down as usual, 0.15 % in each: by hand, relative, times 3800 Hz.
    let noise = (3f64 / 3800.0).hypot(3.0 / 3570.0);
    let want = 3800.0 * noise.hypot(0.0015 * 2f64.sqrt());
    assert!((peak.u - want).abs() < 1e-9, "{peak:?}, not {want}");
    assert!((peak.u_noise - 3.0 * 2f64.sqrt()).abs() < 1e-12);
    assert!(d.significant && d.material);
    for (quantity, want) in [
        (Quantity::Peak, Answer::Different),
        (Quantity::F0, Answer::Different),
        (Quantity::Q, Answer::CannotTell),
        (Quantity::Height, Answer::Same),
        (Quantity::Level, Answer::Same),
    ] {
        assert_eq!(answer(&d, quantity), want, "{quantity:?}");
    }
}

/// A pickup that stayed where it is has the noise alone between its readings, and days, rigs and unknown rigs have more.
#[test]
fn what_lies_between_tells_which_parts_count() {
    let u = |a: &Record, b: &Record, how: &How| {
        let c = compare(&[a.clone(), b.clone()], how).unwrap();
        let d = &c.differences[0];
        (d.between, d.peak_hz.unwrap().u)
    };
    let (a, b) = (first(), {
        let mut b = first();
        b.id = "b".into();
        b
    });
    let (near, apart) = (u(&a, &b, &IN_PLACE()), u(&a, &b, &How::default()));
    assert!((near.1 - 3.0 * 2f64.sqrt()).abs() < 1e-9 && near.0 == Question::InPlace);
    assert_eq!(apart.0, Question::LaidDown);
    let mut later = b.clone();
    later.taken_at = "2026-02-01T09:00:00+01:00".into();
    let day = u(&a, &later, &How::default());
    assert_eq!(day.0, Question::OtherDay);
    later.rig.name = Some("south".into());
    let rig = u(&a, &later, &How::default());
    // Of another rig it was moved, whatever is said.
    assert_eq!(
        (rig.0, u(&a, &later, &IN_PLACE()).0),
        (Question::OtherRig, Question::OtherRig)
    );
    assert!(
        near.1 < apart.1 && apart.1 < day.1 && day.1 < rig.1,
        "{near:?} {apart:?} {day:?} {rig:?}"
    );
    // One and the same record is where it was.
    assert_eq!(u(&a, &a, &How::default()).0, Question::InPlace);
    let mut none = b;
    none.rig = RigSummary::default();
    assert_eq!(u(&a, &none, &IN_PLACE()).0, Question::InPlace);
    assert_eq!(u(&a, &none, &How::default()).0, Question::OtherRig);
}

#[test]
fn the_rigs_own_study_takes_the_place_of_usual_values() {
    let study = |sd: f64, freedom: f64| {
        let mut r = first();
        r.resonance.as_mut().unwrap().u_lay = Some(Scatters {
            f0_hz: sd,
            q: 0.001,
            peak_hz: Some(sd),
            peak_db: None,
            level_db: None,
            freedom,
        });
        r
    };
    let of = |r: Record| {
        let mut other = r.clone();
        other.id = "b".into();
        let d = one(&[r, other]);
        let at = d.quantities.iter().position(|j| j.quantity == Quantity::Peak).unwrap();
        (d.peak_hz.unwrap().u, d.quantities[at].usual)
    };
    let (u, usual) = of(study(20.0, 12.0));
    assert!((u - 2f64.sqrt() * 20f64.hypot(3.0)).abs() < 1e-9 && !usual.any(), "{u}");
    // A small study is pooled.
    let (u, usual) = of(study(20.0, 2.0));
    assert!(usual.laying && !usual.days && u < 2f64.sqrt() * 12.0, "{u}");
}

#[test]
fn what_matters_decides() {
    let b = reading(4060.0, 2.5, Some((3857.0, 8.0)));
    let with = |text: &str| {
        let how = How {
            matters: Matters::parse(text).unwrap(),
            in_place: true,
            ..How::default()
        };
        let mut pair = [first(), record("b", "north", Some(b.clone()))];
        pair[1].pickup = pair[0].pickup.clone();
        compare(&pair, &how).unwrap().differences.remove(0)
    };
    // 1.5 % in peak and f0.
    assert_eq!(with("level=2dB").answer, Answer::Different);
    let d = with("peak=3% f0=3%");
    assert_eq!(d.answer, Answer::Same);
    let peak = Judged::find(&d.quantities, Quantity::Peak).unwrap();
    assert!(peak.is_less_than_matters() && !peak.matters_usual && d.significant && !d.material);
    assert_eq!(with("peak=1.5% f0=1.5%").answer, Answer::CannotTell);
}

#[test]
fn identical_records_are_the_same() {
    let d = one(&[first(), first()]);
    assert!(!d.significant && !d.material && d.answer == Answer::Same);
    let mut exact = first();
    let r = exact.resonance.as_mut().unwrap();
    for e in [&mut r.f0_hz, &mut r.q] {
        (e.u, e.u_noise) = (0.0, 0.0);
    }
    assert_eq!(one(&[exact.clone(), exact]).answer, Answer::Same);
}

#[test]
fn nothing_is_told_where_none_was_looked_for_finely_enough() {
    let mut b = reading(4000.0, 2.55, Some((3800.0, 8.0)));
    b.q = e(2.55, 0.1, 0.1);
    let d = pair(b);
    assert_eq!(
        (answer(&d, Quantity::Q), d.answer),
        (Answer::CannotTell, Answer::CannotTell)
    );
    let q = Judged::find(&d.quantities, Quantity::Q).unwrap();
    assert_eq!(q.open, Some(Open::Noise));
    assert!(
        d.quantities
            .iter()
            .all(|j| (j.answer == Answer::CannotTell) == j.open.is_some())
    );
}

/// A response of second order without a peak, and its curve: 3 dB down where (f/f0)^2 is s + sqrt(s^2 + 10^0.3 - 1), with
/// s = 1 - 1/(2 Q^2).
fn flat(id: &str, f0: f64, q: f64) -> Record {
    let told = Resonance {
        q: e(q, 1e-4 * q, 1e-4 * q),
        ..reading(f0, q, None)
    };
    let mut r = record(id, "north", Some(told));
    let freq_hz: Vec<f64> = (0..400).map(|i| 50.0 * 1.02f64.powi(i)).collect();
    let gain = |f: &f64| {
        let x = (f / f0).powi(2);
        -10.0 * ((1.0 - x).powi(2) + x / (q * q)).log10()
    };
    let gains: Vec<f64> = freq_hz.iter().map(gain).collect();
    r.curve = Some(crate::record::Curve {
        model_db: gains.clone(),
        mag_db: gains,
        u_db: vec![0.002; freq_hz.len()],
        freq_hz,
        ..Default::default()
    });
    r
}

/// f0 and Q of what has no peak are told by little: where it is 3 dB down decides.
#[test]
fn without_a_peak_the_3_db_point_decides() {
    let named = |d: &Difference| d.quantities.iter().map(|j| j.quantity.code()).collect::<Vec<_>>();
    // f0 1 % lower and Q 1 % higher: 0.4 % between them.
    let like = one(&[flat("a", 5200.0, 0.5), flat("b", 5148.0, 0.505)]);
    assert_eq!((named(&like), like.answer), (vec!["level", "down"], Answer::Same));
    let down = |f0: f64, q: f64| {
        let s = 1.0 - 0.5 / (q * q);
        f0 * (s + (s * s + 10f64.powf(0.3) - 1.0).sqrt()).sqrt()
    };
    let far = one(&[flat("a", 5200.0, 0.5), flat("b", 5200.0, 0.55)]);
    let j = Judged::find(&far.quantities, Quantity::Down).unwrap();
    let want = (down(5200.0, 0.55) / down(5200.0, 0.5)).ln();
    assert!(
        (j.difference - want).abs() < 2e-4 && far.answer == Answer::Different,
        "{far:?}"
    );
    // Against one with a peak its height is none; and of what has neither peak nor curve nobody can tell.
    let mut peaked = flat("a", 4000.0, 2.5);
    peaked.resonance = first().resonance;
    let d = one(&[peaked, flat("b", 5200.0, 0.5)]);
    assert_eq!(named(&d), ["height", "level", "down"]);
    assert_eq!(answer(&d, Quantity::Height), Answer::Different);
    let bare = |id| record(id, "north", Some(reading(5200.0, 0.5, None)));
    assert_eq!(one(&[bare("a"), bare("b")]).answer, Answer::CannotTell);
}

#[test]
fn a_level_is_judged_on_one_rig_only() {
    let mut b = reading(4000.0, 2.5, Some((3800.0, 8.0)));
    b.level_db = Some(e(-51.0, 0.5, 0.01));
    let d = pair(b.clone());
    assert_eq!(
        (answer(&d, Quantity::Level), d.answer),
        (Answer::Different, Answer::Different)
    );
    let d = one(&[first(), record("b", "south", Some(b))]);
    assert!(d.quantities.iter().all(|j| j.quantity != Quantity::Level));
    assert_eq!(d.level_db.unwrap().value, -5.0);
}

#[test]
fn an_opposite_sign_is_a_difference_by_itself() {
    let mut b = first();
    b.id = "b".into();
    b.resonance.as_mut().unwrap().polarity = -1;
    let d = one(&[first(), b]);
    assert!(d.turned && !d.significant && d.answer == Answer::Different);
}

#[test]
fn two_definitions_are_never_subtracted() {
    let mut b = reading(4000.0, 2.5, Some((3800.0, 8.0)));
    b.definition = Definition::Pole;
    let d = pair(b);
    assert_eq!((d.answer, d.why), (Answer::CannotTell, Some(Why::Definitions)));
    assert!(d.f0_hz.is_none() && d.peak_hz.is_none() && d.quantities.is_empty());
}

#[test]
fn two_definitions_are_compared_by_the_one_that_both_have() {
    let with_plain = |id, f0, q, definition| {
        let mut read = reading(f0, q, Some((3800.0, 8.0)));
        read.definition = definition;
        let mut out = record(id, "north", Some(read));
        out.fit = Some(Fit {
            model: Model::SecondOrder,
            plain: Some(Plain {
                f0_hz: e(4000.0, 5.0, 3.0),
                q: e(2.5, 0.05, 0.03),
            }),
            shift_s: None,
            band_hz: [80.0, 12e3],
            bins: 1000,
            reduced_chi2: 1.0,
            rms_residual_db: 0.01,
            eddy: None,
            nuisance: std::collections::BTreeMap::new(),
            noise_from: "silence".into(),
        });
        out
    };
    let d = one(&[
        with_plain("a", 4000.0, 2.5, Definition::Plain),
        with_plain("b", 5200.0, 3.5, Definition::Pole),
    ]);
    assert_eq!(d.why, None);
    assert_eq!((d.f0_hz.unwrap().value, d.q.unwrap().value), (0.0, 0.0));
    assert!(d.quantities.iter().all(|j| j.difference == 0.0));
    // The heights count from two levels; and a height that is left out is no peak of 0 dB.
    let judged: Vec<&str> = d.quantities.iter().map(|j| j.quantity.code()).collect();
    assert_eq!((d.peak_db, judged), (None, vec!["peak", "f0", "q"]));
}

#[test]
fn rejected_records() {
    let good = first();
    let bad = record("b", "north", None);
    let d = one(&[good.clone(), bad.clone()]);
    assert_eq!(d.f0_hz, None);
    assert!(!d.significant && !d.material && d.answer == Answer::CannotTell);
    assert_eq!(d.why, Some(Why::NoReading));
    let err = compare(&[bad, good.clone()], &How::default()).unwrap_err();
    assert!(err.what.contains("coil b"));
    assert!(compare(&[good], &How::default()).is_err());
    assert!(compare(&[], &How::default()).is_err());
}

#[test]
fn the_document_has_the_published_fields() {
    let a = first();
    let c = compare(&[a.clone(), a, record("b", "north", None)], &How::default()).unwrap();
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
}

/// What hangs on the winding is the load and the rig's input.
#[test]
fn the_inputs_of_the_rigs_are_part_of_the_load() {
    let of = |id: &str, load: &str, farad: f64| {
        let mut r = record(id, id, Some(reading(4000.0, 2.5, Some((3800.0, 8.0)))));
        r.pickup.name = "neck-7".into();
        r.load = Some(LoadSummary { text: load.into() });
        r.rig.values.insert("input.capacitance_f".into(), farad.into());
        r
    };
    // 470 pF on an input of 100 pF are less than 330 pF on one of 500 pF.
    let (small, large) = (of("a", "cap=470p", 100e-12), of("b", "cap=330p", 500e-12));
    let (sorted, c) = compare_by_load(vec![large, small], &How::default()).unwrap();
    assert_eq!((sorted[0].id.as_str(), sorted[1].id.as_str()), ("a", "b"));
    assert_eq!(c.reference, "a");
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
    let pair = [of("a", 4000.0, 5e-4, 0.0), of("b", 3000.0, 6e-4, 0.0)];
    let d = one(&pair);
    assert_eq!((d.answer, d.why), (Answer::CannotTell, Some(Why::RigFile)));
    assert_eq!(unlike_in(&pair[0], &pair[1]), ["exciter.inductance_h"]);
    // A gain is in levels only: of those nobody can tell, and so not of the whole either, unless something else differs.
    let d = one(&[of("a", 4000.0, 5e-4, 0.0), of("b", 3000.0, 5e-4, 1.0)]);
    assert!(d.answer == Answer::Different && d.level_db.is_none(), "{d:?}");
    let d = one(&[of("a", 4000.0, 5e-4, 0.0), of("b", 4000.0, 5e-4, 1.0)]);
    assert_eq!(
        (d.answer, d.level_unlike),
        (Answer::CannotTell, vec!["input.gain_db".to_owned()])
    );
}
