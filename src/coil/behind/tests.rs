use super::*;
use crate::coil::against::tests::{COIL, record};
use crate::network::coil_file::CoilFile;
use crate::record::Verdict;

fn takes(coil: &Coil, loads: &[&str]) -> Vec<Record> {
    loads.iter().map(|l| record(coil, l, Some(21.0))).collect()
}

fn about(ohms: f64, tolerances: &[(Knob, f64)], input: Option<f64>) -> About {
    About {
        ohms: Some(ohms),
        room_c: Some(21.0),
        tolerances: Tolerances(tolerances.to_vec()),
        input,
        ..About::default()
    }
}

#[track_caller]
fn said(doc: &CoilDocument, code: CoilCode) -> String {
    let f = doc.findings.iter().find(|f| f.code == code);
    f.unwrap_or_else(|| panic!("{:?} {:?} {:?} {:?}", doc.findings, doc.from_parts, doc.l_h, doc.c_f))
        .text
        .clone()
}

fn silent(doc: &CoilDocument, code: CoilCode) -> bool {
    !doc.findings.iter().any(|f| f.code == code)
}

/// Takes whose noise is far below what the parts leave open.
fn quiet(mut records: Vec<Record>, of_q: f64) -> Vec<Record> {
    for r in &mut records {
        let r = r.resonance.as_mut().unwrap();
        for (e, noise) in [(&mut r.f0_hz, 1e-5), (&mut r.q, of_q)] {
            e.u_noise = noise * e.value;
            e.u = e.u_noise;
        }
    }
    records
}

#[test]
fn the_part_that_decides_is_named() {
    // Q has little to say, so that neither it nor the ohmmeter decides.
    let records = quiet(takes(&COIL, &["none", "cap=1n", "cap=2.2n"]), 0.05);
    let of = |parts: &[(Knob, f64)], input| find(&records, &about(6e3, parts, input)).unwrap();
    let text = said(&of(&[(Knob::Cap, 0.02)], Some(0.001)), CoilCode::PartsDominate);
    assert!(
        text.contains("L hangs on what is printed on the capacitor (cap)"),
        "{text}"
    );
    let text = said(&of(&[(Knob::Cap, 0.0002)], Some(0.05)), CoilCode::PartsDominate);
    assert!(text.contains("input's capacitance"), "{text}");
    assert!(silent(&of(&[], None), CoilCode::PartsDominate));
}

#[test]
fn the_loads_that_are_alike_are_named() {
    let mut records = takes(&COIL, &["cap=1n", "cap=1.01n", "cap=1.02n"]);
    for r in &mut records {
        let r = r.resonance.as_mut().unwrap();
        for (e, noise) in [(&mut r.f0_hz, 3e-3), (&mut r.q, 0.1)] {
            e.u_noise = noise * e.value;
            e.u = e.u_noise;
        }
    }
    let text = said(&find(&records, &about(6e3, &[], None)).unwrap(), CoilCode::LoadsAlike);
    assert!(text.contains("cap=1n and cap=1.02n") && text.contains('%'), "{text}");
}

#[test]
fn a_record_without_a_reading_is_named_where_it_is_missed() {
    let mut records = takes(&COIL, &["none", "none", "cap=1n"]);
    records[2].verdict = Verdict::Rejected;
    let e = find(&records, &about(6e3, &[], None)).unwrap_err().to_string();
    assert!(
        e.contains("one load cannot tell L from C") && e.contains("\"neck-7\" under cap=1n"),
        "{e}"
    );
    assert!(!e.contains('\n'));
    // Where it is not missed a note says so.
    records.push(record(&COIL, "cap=2.2n", Some(21.0)));
    let doc = find(&records, &about(6e3, &[], None)).unwrap();
    let note = doc.notes.iter().find(|n| n.contains("without a reading"));
    assert!(note.is_some_and(|n| n.contains("cap=1n")), "{:?}", doc.notes);
}

#[test]
fn ohms_that_do_not_go_with_the_takes_are_questioned() {
    let records = quiet(
        takes(&COIL, &["none", "cap=470p", "cap=1n", "cap=2.2n", "cap=4.7n"]),
        0.001,
    );
    let text = said(&find(&records, &about(7.2e3, &[], None)).unwrap(), CoilCode::OhmsApart);
    assert!(
        text.contains("7.20 kΩ") && text.contains("which coil and lead"),
        "{text}"
    );
    let doc = find(&records, &about(7.2e3, &[], None)).unwrap();
    let asked = doc.findings.iter().filter(|f| f.text.contains("is every load"));
    assert_eq!(asked.count(), 0, "{:?}", doc.findings);
    assert!(silent(
        &find(&records, &about(6e3, &[], None)).unwrap(),
        CoilCode::OhmsApart
    ));
}

/// The input that the takes were made on goes into the coil file, with how it hangs together with the coil.
#[test]
fn the_coil_file_keeps_the_input_of_its_takes() {
    let records = quiet(takes(&COIL, &["none", "cap=470p", "cap=1n"]), 0.001);
    let doc = find(&records, &about(6e3, &[], Some(0.1))).unwrap();
    let [input] = doc.inputs.as_slice() else {
        panic!("{:?}", doc.inputs)
    };
    assert_eq!((input.rig.as_deref(), input.correlations.len()), (Some("north"), 2));
    let n = doc.correlations.len();
    assert!(input.correlations.iter().all(|row| row.len() == n + 2));
    assert!(input.correlations[1][2] < -0.98, "{:?}", input.correlations);
    let text = doc.file().to_toml("");
    let back = CoilFile::parse("x", &text).unwrap();
    assert_eq!(back, doc.file());
    assert!(find(&records, &about(6e3, &[], None)).unwrap().inputs.is_empty());
}

/// Takes without an error of their own have no cost to speak of, which is an end as good as any: the loss is found whatever
/// is said of the noise.
#[test]
fn exact_takes_are_fitted_to_the_end() {
    for of_q in [0.001, 0.01, 0.02, 0.05, 0.1] {
        let records = quiet(takes(&COIL, &["none", "cap=1n", "cap=2.2n"]), of_q);
        let doc = find(&records, &about(6e3, &[(Knob::Cap, 0.02)], Some(0.001))).unwrap();
        assert!(doc.findings.iter().all(|f| f.code != CoilCode::TakesDisagree), "{of_q}");
        let loss = doc.loss_ohm.unwrap();
        assert!((loss.value / 1.5e6 - 1.0).abs() < 1e-6, "{of_q}: {loss:?}");
    }
}

#[test]
fn a_temperature_that_is_not_known_is_said() {
    let mut records = takes(&COIL, &["none", "cap=1n"]);
    let of = |records: &[Record], room_c| {
        let about = About {
            room_c,
            ..about(6e3, &[], None)
        };
        let notes = find(records, &about).unwrap().notes;
        notes.into_iter().find(|n| n.contains("temperature"))
    };
    assert_eq!(of(&records, Some(21.0)), None);
    assert!(of(&records, None).is_some_and(|n| n.contains("of the ohmmeter's reading")));
    records[1].pickup.temperature_c = None;
    assert!(of(&records, Some(21.0)).is_some_and(|n| n.contains("of 1 of the takes")));
}

/// What the rig file states of its own input counts, each part by itself; what is said on the command line goes before it.
#[test]
fn the_rigs_own_tolerances_count() {
    let mut records = quiet(takes(&COIL, &["none", "cap=470p", "cap=1n"]), 0.001);
    let of = |records: &[Record], input| find(records, &about(6e3, &[], input)).unwrap();
    let note = |doc: &CoilDocument| doc.notes.iter().find(|n| n.contains("taken as exact")).cloned();
    assert!(note(&of(&records, None)).unwrap().contains("exact: input, cap"));
    for r in &mut records {
        r.rig
            .values
            .insert("input.capacitance_tolerance_f".into(), 2e-12.into());
    }
    let doc = of(&records, None);
    assert!((doc.c_f.u / 2e-12 - 1.0).abs() < 0.05, "{:?}", doc.c_f);
    assert!(doc.inputs[0].resistance.is_none() && doc.inputs[0].capacitance.is_some());
    assert!(
        note(&doc).unwrap().contains("the input's resistance"),
        "{:?}",
        doc.notes
    );
    for r in &mut records {
        r.rig.values.insert("input.resistance_tolerance".into(), 0.01.into());
    }
    let doc = of(&records, None);
    assert!(
        doc.inputs[0].resistance.is_some() && !note(&doc).unwrap().contains("input"),
        "{:?}",
        doc.notes
    );
    // 10 % of 150 pF evenly: 8.66 pF.
    let doc = of(&records, Some(0.1));
    assert!((doc.c_f.u / 8.66e-12 - 1.0).abs() < 0.05, "{:?}", doc.c_f);
    // A remark in the rig file, or its sign, makes no second input.
    records[1].rig.hash = Some("another".into());
    records[2].rig.values.insert("exciter.sign".into(), 1.into());
    assert_eq!(of(&records, None).inputs.len(), 1);
}

/// Takes warmer than the ohmmeter's reading hang on two readings of a thermometer: 1 K each, 0.55 % of the resistance together.
#[test]
fn thermometers_are_not_exact() {
    let of = |celsius: f64| {
        let mut records = quiet(takes(&COIL, &["none", "cap=470p"]), 0.05);
        records.iter_mut().for_each(|r| r.pickup.temperature_c = Some(celsius));
        let exact = About {
            ohmmeter: Some(1e-6),
            ..about(6e3, &[], None)
        };
        find(&records, &exact).unwrap().r_ohm
    };
    assert!(of(21.0).u / 6e3 < 1e-4);
    assert!((of(27.0).u / 6e3 / 0.0055 - 1.0).abs() < 0.1, "{:?}", of(27.0));
}
