//! The published schema of records: written from the types, and records held against it.

use std::path::PathBuf;

use coilwright::coil::behind::CoilDocument;
use coilwright::coil::loads::LoadsDocument;
use coilwright::record::{Record, store};
use coilwright::shop::wax::document::PottingDocument;
use schemars::generate::SchemaSettings;
use schemars::transform::{RecursiveTransform, Transform};
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

use crate::bench::{Folder, SCHEMA_FILE, complaints, hold};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// What stands in every record is required; what later versions of the program added (it has a default) is not. Widths of
/// integers are the program's own business.
fn published() -> Schema {
    of::<Record>("Record of a measurement, version 1")
}

fn of<T: JsonSchema>(title: &str) -> Schema {
    let settings = SchemaSettings::draft2020_12().for_serialize();
    let mut schema = settings.into_generator().into_root_schema_for::<T>();
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
    schema.insert("title".into(), json!(title));
    schema
}

#[test]
fn the_published_schemas_are_those_of_the_types() {
    for (file, schema) in [
        (SCHEMA_FILE, published()),
        (
            "docs/coil.schema.json",
            of::<CoilDocument>("Coil behind several takes, version 1"),
        ),
        (
            "docs/loads.schema.json",
            of::<LoadsDocument>("Predictions under loads, version 1"),
        ),
        (
            "docs/potting.schema.json",
            of::<PottingDocument>("Wax before and after, version 1"),
        ),
    ] {
        let path = root().join(file);
        let mut text = serde_json::to_string_pretty(&schema).unwrap();
        text.push('\n');
        if std::env::var_os("UPDATE_SCHEMA").is_some_and(|v| v == "1") {
            std::fs::write(&path, &text).unwrap();
        }
        let there = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(
            there == text,
            "{file} is not that of the types: UPDATE_SCHEMA=1 cargo test --test cli schema writes it anew"
        );
    }
}

/// Coils and predictions of every kind are what their schemas allow.
#[test]
fn coils_and_predictions_keep_to_their_schemas() {
    let allowed = |file: &str| {
        let schema = serde_json::from_slice(&std::fs::read(root().join(file)).unwrap()).unwrap();
        jsonschema::validator_for(&schema).unwrap()
    };
    let (coil, loads) = (allowed("docs/coil.schema.json"), allowed("docs/loads.schema.json"));
    let f = Folder::new();
    for (out, load) in [
        ("a", "none"),
        ("b", "cap=1n"),
        ("c", "vol=250k@0.5 tone=250k+22n cable=3m@100p/m"),
    ] {
        f.measure(&["--load", load, "--ohms", "6k", "--out", out]).ended(0);
    }
    let metal = [
        "--sim",
        "r=6k l=2.4H cs=110p eddy=k=0.4,tau=33u,emf=0.1",
        "--ohms",
        "6k",
    ];
    for (out, load) in [("d", "none"), ("e", "cap=1n")] {
        f.measure(&[&metal[..], &["--load", load, "--out", out]].concat())
            .ended(0);
    }
    for takes in [&["a", "b"][..], &["a", "b", "c"], &["d", "e"]] {
        let document = f.run(&[&["coil"], takes, &["--json"]].concat()).ended(0).json();
        let complaints: Vec<String> = coil.iter_errors(&document).map(|e| e.to_string()).collect();
        assert_eq!(complaints, [""; 0], "{document}");
    }
    f.run(&["coil", "a", "b", "--out", "coil.toml"]).ended(0);
    let hand = "vol=250k amp=1M";
    for more in [
        &["--load", "one-pickup", "--load", "coils-series", "--tolerance", "usual"][..],
        &["--load", hand, "--vary", "vol=1...0", "--freq", "100,1k"],
        &["--load", hand, "--reach", "3kHz", "--by", "cap"],
        &["--against", "a", "c"],
        &["--undo", "b"],
        &["--load", "vol=250k@0", "--freq", "1k"],
    ] {
        let document = f
            .run(&[&["loads", "--coil", "coil.toml", "--json"], more].concat())
            .ended(0)
            .json();
        let complaints: Vec<String> = loads.iter_errors(&document).map(|e| e.to_string()).collect();
        assert_eq!(complaints, [""; 0], "{more:?}");
    }
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
