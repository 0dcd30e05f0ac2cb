//! The rig that is still the rig: checks of the witness, repeatability, sign, packing list.

use serde_json::Value;

use crate::bench::{Folder, Run};
use crate::screens::{RIG, shows};

fn folder() -> Folder {
    let f = Folder::new();
    let more = "[witness]\nname = \"tin one\"\nload = \"cap=220p\"\n[pack]\ninterface = \"two inputs, label A\"\nexciter = \"150 turns on wood\"\n";
    f.write("north.toml", format!("{RIG}{more}").as_bytes());
    f
}

/// A check on a day whose lead has so many picofarads more than usual.
pub fn check(f: &Folder, day: u32, more_pf: f64, extra: &[&str]) -> Run {
    let sim = format!("r=6k l=2.4H cs={:.2}p noise=-80dBFS", 120.0 + more_pf);
    let (seed, out) = (day.to_string(), format!("w{day}"));
    let mut args = vec![
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--source",
        "sim",
        "--sim",
        &sim,
        "--rate",
        "48k",
        "--seconds",
        "0.7",
        "--seed",
        &seed,
        "--out",
        &out,
    ];
    args.extend(extra);
    f.run(&args)
}

/// Fixed, as lead capacitances are from day to day: about 1 pF.
const DAYS: [f64; 22] = [
    0.3, -1.1, 0.8, 1.4, -0.4, 0.1, -0.9, 1.9, -1.3, 0.6, 0.2, -0.7, 1.0, -0.2, -1.6, 0.5, 0.9, -0.5, 1.2, -0.8, 0.4,
    -0.3,
];

#[test]
fn the_witness_tells_when_the_rig_is_another() {
    let f = folder();
    for (i, more) in DAYS.iter().enumerate() {
        let run = check(&f, i as u32 + 1, *more, &["--json"]);
        let doc = run.ended(0).json();
        assert_eq!(doc["verdict"], if i < 20 { "baseline" } else { "go" }, "{i}: {doc}");
    }
    assert!(f.path("north.checks.png").exists() && f.path("north.checks.svg").exists());
    // Fifty picofarads of lead: status 3, and said what it looks like.
    let run = check(&f, 30, 50.0, &[]);
    assert_eq!(run.status, 3, "{}{}", run.out, run.err);
    assert!(
        run.out.starts_with("NO GO") && run.out.contains("more capacitance"),
        "{}",
        run.out
    );
    // What was no-go is kept, and is no part of the limits.
    let history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    assert_eq!(history["checks"].as_array().unwrap().len(), 23);
    let doc = check(&f, 31, 0.1, &["--json"]).ended(0).json();
    assert_eq!(doc["verdict"], "go");
    // A turned exciter; the sign comes from the bench's word.
    let sim = "r=6k l=2.4H cs=120p polarity=-1 noise=-80dBFS";
    let args = [
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--source",
        "sim",
        "--sim",
        sim,
        "--rate",
        "48k",
        "--seconds",
        "0.7",
        "--out",
        "t",
    ];
    let run = f.run(&args);
    assert!(
        run.status == 3 && run.out.contains("upside down"),
        "{}{}",
        run.out,
        run.err
    );
    // The same record twice is one check.
    f.run(&["rig", "check", "--rig", "north.toml", "--record", "w31"])
        .refused(&["in the history already"]);
    // Measuring says how old the last good check is.
    f.measure(&["--rig", "north.toml", "--out", "m"]).ended(0);
    let record = f.record("m");
    let notes = record["notes"].to_string();
    assert!(
        notes.contains("rig last checked good less than a day ago; the last check was no-go"),
        "{notes}"
    );
    // Another rig file is another rig: refused, until a new baseline is wanted.
    let changed = String::from_utf8(f.bytes("north.toml"))
        .unwrap()
        .replace("60e-12", "70e-12");
    f.write("north.toml", changed.as_bytes());
    check(&f, 40, 0.0, &[]).refused(&["has been changed since its checks began", "--begin-again"]);
    assert!(!f.path("w40").exists());
    let doc = check(&f, 41, 0.0, &["--begin-again", "--json"]).ended(0).json();
    assert_eq!(
        (doc["verdict"].as_str(), doc["baseline"].as_u64()),
        (Some("baseline"), Some(0))
    );
    let old: Value = serde_json::from_slice(&f.bytes("north.checks.1.json")).unwrap();
    assert_eq!(old["checks"].as_array().unwrap().len(), 25);
}

#[test]
fn what_is_packed_with_the_rig_does_not_make_it_another() {
    let f = folder();
    check(&f, 1, 0.0, &[]).ended(0);
    let changed = String::from_utf8(f.bytes("north.toml"))
        .unwrap()
        .replace("label A", "label A, new lead");
    f.write("north.toml", changed.as_bytes());
    check(&f, 2, 0.0, &[]).ended(0);
    shows("rig-pack", &f.run(&["rig", "pack", "north.toml"]));
}

#[test]
fn a_check_that_cannot_be_made_says_why() {
    let f = folder();
    f.write("plain.toml", RIG.as_bytes());
    f.run(&["rig", "check", "--rig", "plain.toml", "--source", "sim"])
        .refused(&["names no witness", "[witness]"]);
    f.run(&["rig", "check", "--source", "sim"])
        .refused(&["no rig file is given", "use --rig"]);
    f.run(&["rig", "pack", "plain.toml"]).refused(&["has no [pack]"]);
    // No answer from the witness is no check.
    let args = [
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--source",
        "sim",
        "--sim",
        "r=6k l=2.4H cs=120p open",
        "--seconds",
        "0.7",
        "--out",
        "w",
    ];
    f.run(&args).refused(&["gives no reading"]);
    assert!(!f.path("north.checks.json").exists());
    // Another pickup, another rig.
    f.measure(&["--rig", "north.toml", "--out", "other"]).ended(0);
    f.run(&["rig", "check", "--rig", "north.toml", "--record", "other"])
        .refused(&["not of the witness"]);
    f.write("north.checks.json", b"{\"schema\": 3}");
    check(&f, 1, 0.0, &[]).refused(&["north.checks.json is no history"]);
    assert!(!f.path("w1").exists());
}

#[test]
fn repeatability_and_sign() {
    let f = folder();
    let mut records = Vec::new();
    for (i, (name, cs)) in [("a", 120.0), ("a", 121.0), ("b", 140.0), ("b", 139.0)]
        .into_iter()
        .enumerate()
    {
        let out = format!("r{i}");
        let sim = format!("r=6k l=2.4H cs={cs}p noise=-80dBFS");
        let args = [
            "measure",
            "--pickup",
            name,
            "--source",
            "sim",
            "--sim",
            &sim,
            "--rate",
            "48k",
            "--seconds",
            "0.7",
            "--rig",
            "north.toml",
            "--out",
            &out,
        ];
        f.run(&args).ended(0);
        records.push(out);
    }
    let mut args = vec!["rig", "repeat", "--rig", "north.toml"];
    args.extend(records.iter().map(String::as_str));
    let run = f.run(&args);
    assert!(run.out.starts_with("This rig can tell"), "{}{}", run.out, run.err);
    args.push("--json");
    let doc = f.run(&args).ended(0).json();
    assert_eq!((doc["pickups"].as_u64(), doc["freedom"].as_u64()), (Some(2), Some(2)));
    // 1 pF of 270 and of 290: half of that in f0, between two readings sqrt 2 less as a deviation.
    let sd = doc["f0"]["sd"].as_f64().unwrap();
    assert!((sd / 1.26e-3 - 1.0).abs() < 0.05, "{sd}");
    assert!(f.path("north.repeat.json").exists());
    f.run(&["rig", "repeat", "--rig", "north.toml", "r0", "r2"])
        .refused(&["no pickup was read twice"]);
    let sign = |known: &str| {
        f.run(&["rig", "polarity", "r0", "--is", known, "--json"])
            .ended(0)
            .json()["sign"]
            .as_i64()
    };
    assert_eq!((sign("+1"), sign("-1")), (Some(1), Some(-1)));
    shows("rig-show", &f.run(&["rig", "show", "north.toml"]));
}
