//! The published schema of records: written from the types, and records held against it.

use std::path::PathBuf;

use coilwright::record::{Record, store};
use schemars::Schema;
use schemars::generate::SchemaSettings;
use schemars::transform::{RecursiveTransform, Transform};
use serde_json::{Value, json};

use crate::bench::{Folder, SCHEMA_FILE, complaints, hold};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// What stands in every record is required; what later versions of the program added (it has a default) is not. Widths of
/// integers are the program's own business.
fn published() -> Schema {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    let mut schema = settings.into_generator().into_root_schema_for::<Record>();
    RecursiveTransform(|schema: &mut Schema| {
        schema.remove("format");
        let added: Vec<String> = schema
            .get("properties")
            .and_then(Value::as_object)
            .into_iter()
            .flatten()
            .filter(|(_, p)| p.get("default").is_some())
            .map(|(name, _)| name.clone())
            .collect();
        if let Some(Value::Array(required)) = schema.get_mut("required") {
            required.retain(|name| !added.iter().any(|a| name == a));
        }
    })
    .transform(&mut schema);
    schema.insert("title".into(), json!("Record of a measurement, version 1"));
    schema
}

#[test]
fn the_published_schema_is_that_of_the_types() {
    let path = root().join(SCHEMA_FILE);
    let mut text = serde_json::to_string_pretty(&published()).unwrap();
    text.push('\n');
    if std::env::var_os("UPDATE_SCHEMA").is_some_and(|v| v == "1") {
        std::fs::write(&path, &text).unwrap();
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        there == text,
        "{SCHEMA_FILE} is not that of the types: UPDATE_SCHEMA=1 cargo test --test cli schema writes it anew"
    );
}

#[test]
fn every_field_of_the_schema_is_described_or_says_it_by_its_name() {
    let schema = Value::from(published());
    let mut silent = Vec::new();
    let types = schema["$defs"].as_object().unwrap().iter();
    for (name, t) in types.chain([(&"Record".to_string(), &schema)]) {
        if t.get("description").is_none() {
            silent.push(name.clone());
        }
        for (field, f) in t["properties"].as_object().into_iter().flatten() {
            if f.get("description").is_none() && f.get("$ref").is_none() {
                silent.push(format!("{name}.{field}"));
            }
        }
    }
    // Names with their units, and values that stand beside a described uncertainty.
    let plain = [
        "Curve.freq_hz",
        "Curve.mag_db",
        "Curve.phase_deg",
        "Drive.from_hz",
        "Drive.shape",
        "Drive.to_hz",
        "Eddy.reduced_chi2",
        "Estimate.value",
        "Nuisance.value",
        "Repeat.mutual_h",
        "Repeat.peak_db",
        "Repeat.peak_hz",
    ];
    silent.retain(|s| !plain.contains(&s.as_str()));
    assert_eq!(silent, Vec::<String>::new());
}

/// Fields that other programs rely on: without any of them a document is no record.
const REQUIRED: [(&str, &[&str]); 9] = [
    (
        "",
        &[
            "schema",
            "id",
            "taken_at",
            "tool_version",
            "pickup",
            "rig",
            "load",
            "drive",
            "capture",
            "resonance",
            "fit",
            "curve",
            "verdict",
            "findings",
            "notes",
        ],
    ),
    ("/pickup", &["name", "over", "r_ohm", "temperature_c", "note"]),
    ("/rig", &["given"]),
    (
        "/drive",
        &["shape", "rate_hz", "seconds", "from_hz", "to_hz", "level_dbfs"],
    ),
    (
        "/capture",
        &[
            "rate_hz",
            "channels",
            "frames",
            "peak_dbfs",
            "clipped_samples",
            "dropouts",
            "latency_s",
            "clock_ppm",
            "snr_db",
            "hum_db",
        ],
    ),
    (
        "/resonance",
        &[
            "f0_hz",
            "q",
            "corr_f0_q",
            "peak_hz",
            "peak_db",
            "peak_from",
            "mutual_h",
            "polarity",
            "polarity_referenced",
        ],
    ),
    (
        "/fit",
        &["model", "band_hz", "bins", "reduced_chi2", "rms_residual_db", "eddy"],
    ),
    ("/fit/eddy", &["f0_hz", "q", "pole_s", "zero_s", "delta_bic"]),
    ("/curve", &["freq_hz", "mag_db", "phase_deg", "u_db", "model_db"]),
];

/// A record of version 0.1.0 with everything in it that a record can have.
fn old() -> Value {
    let text = std::fs::read_to_string(root().join("fixtures/records/0.1.0/record.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

#[test]
fn the_schema_asks_for_all_that_others_rely_on_and_bears_more() {
    let whole = old();
    hold(&whole);
    for (place, fields) in REQUIRED {
        for field in fields {
            let mut less = whole.clone();
            let gone = less.pointer_mut(place).unwrap().as_object_mut().unwrap().remove(*field);
            assert!(gone.is_some(), "{place}/{field} is not in the fixture");
            assert!(!complaints(&less).is_empty(), "{place}/{field} may be missing");
        }
        let mut more = whole.clone();
        more.pointer_mut(place).unwrap()["of_a_later_version"] = json!({"x": [1]});
        assert_eq!(complaints(&more), Vec::<String>::new(), "{place}");
    }
    // What came to records beyond that may be missing.
    let mut less = whole.clone();
    for (place, field) in [
        ("", "repeats"),
        ("/pickup", "r20_ohm"),
        ("/capture", "source"),
        ("/resonance", "level_db"),
        ("/fit", "nuisance"),
        ("/fit", "noise_from"),
        ("/fit/eddy", "reduced_chi2"),
    ] {
        let gone = less.pointer_mut(place).unwrap().as_object_mut().unwrap().remove(field);
        assert!(gone.is_some(), "{place}/{field} is not in the fixture");
    }
    assert_eq!(complaints(&less), Vec::<String>::new());
}

#[test]
fn the_schema_refuses_what_no_record_can_say() {
    for (place, value) in [
        ("/schema", json!("coilwright/record/2")),
        ("/taken_at", Value::Null),
        ("/verdict", json!("good")),
        ("/verdict", json!("rejected")),
        ("/resonance", Value::Null),
        ("/resonance/f0_hz", json!(4187.3)),
        ("/resonance/f0_hz/u", json!(-1.0)),
        ("/resonance/q/u_noise", Value::Null),
        ("/resonance/q/value", json!("NaN")),
        ("/resonance/polarity", json!(0)),
        ("/resonance/corr_f0_q", json!(1.5)),
        ("/resonance/peak_from", json!("guess")),
        ("/fit/model", json!("third-order")),
        ("/fit/band_hz", json!([1.0])),
        ("/drive/shape", json!("square")),
        ("/capture/channels", json!(3)),
        ("/capture/clipped_samples", json!(-1)),
        ("/capture/frames", json!(1.5)),
        ("/curve/mag_db/0", Value::Null),
        ("/findings", json!([{"code": "unknown", "level": "note", "text": ""}])),
        ("/findings", json!([{"code": "hum", "level": "grave", "text": ""}])),
        ("/findings", json!([{"code": "hum", "level": "note"}])),
        ("/notes", json!("simulated")),
    ] {
        let mut wrong = old();
        *wrong.pointer_mut(place).unwrap() = value.clone();
        assert!(!complaints(&wrong).is_empty(), "{place} may be {value}");
    }
}

#[test]
fn a_record_of_the_first_version_is_still_read() {
    let text = std::fs::read(root().join("fixtures/records/0.1.0/record.json")).unwrap();
    let record = store::parse(&text, "record.json".as_ref()).unwrap();
    let r = record.resonance.unwrap();
    // As they stand in the file.
    let file = old();
    for (field, value) in [("f0_hz", r.f0_hz.value), ("q", r.q.value)] {
        assert_eq!(file["resonance"][field]["value"].as_f64(), Some(value));
    }
    assert_eq!(record.repeats.len(), 2);
    assert_eq!(record.tool_version, "0.1.0");
    assert_eq!(
        record.fit.unwrap().eddy.unwrap().delta_bic,
        file["fit"]["eddy"]["delta_bic"]
    );
}

#[test]
fn records_that_cannot_be_read_are_refused_kindly() {
    let f = Folder::new();
    let whole = root().join("fixtures/records/0.1.0/record.json");
    let mut newer = old();
    newer["schema"] = json!("coilwright/record/2");
    newer["resonance"] = json!({"in": "another shape"});
    let mut damaged = old();
    damaged["resonance"]["q"].take();
    for (name, text, words) in [
        (
            "newer.json",
            newer.to_string(),
            [
                "newer.json was written by a newer coilwright (record version 2)",
                "update coilwright",
            ],
        ),
        (
            "damaged.json",
            damaged.to_string(),
            ["damaged.json is a damaged record", "measure again"],
        ),
        (
            "cut.json",
            old().to_string()[..2000].to_string(),
            ["cut.json is not a record", "give a record.json"],
        ),
        (
            "other.json",
            r#"{"schema": "coilwright/drive/1"}"#.to_string(),
            ["other.json is not a record of a measurement", "give a record.json"],
        ),
        (
            "list.json",
            "[]".into(),
            ["list.json is not a record", "give a record.json"],
        ),
        (
            "empty.json",
            String::new(),
            ["empty.json is not a record", "give a record.json"],
        ),
    ] {
        f.write(name, text.as_bytes());
        for order in [[name, whole.to_str().unwrap()], [whole.to_str().unwrap(), name]] {
            let run = f.run(&["compare", order[0], order[1], "--out", "comparison"]);
            run.refused(&words);
            assert!(!f.path("comparison").exists());
        }
    }
}
