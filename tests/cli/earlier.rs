//! What a shop has on its disk from an earlier version goes on being read, and says what it said then.

use std::path::Path;

use serde_json::Value;

use crate::bench::{Folder, SHORT, copy, measured};
use crate::potting::rested;

/// A copy of what version 0.1.0 left, to work in.
pub fn shop() -> Folder {
    let f = Folder::new();
    copy(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/records/0.1.0-shop"),
        &f.path(""),
    );
    f
}

pub fn document(f: &Folder, name: &str) -> Value {
    serde_json::from_slice(&f.bytes(name)).unwrap()
}

/// The same in every place that the old document has; numbers to nine digits, for another machine's arithmetic.
#[track_caller]
fn says_the_same(new: &Value, old: &Value, place: &str) {
    match (new, old) {
        (Value::Object(n), Value::Object(o)) => {
            for (key, value) in o {
                let there = n.get(key).unwrap_or_else(|| panic!("{place}/{key} is gone"));
                says_the_same(there, value, &format!("{place}/{key}"));
            }
        }
        (Value::Array(n), Value::Array(o)) => {
            assert_eq!(n.len(), o.len(), "{place}");
            for (i, (n, o)) in n.iter().zip(o).enumerate() {
                says_the_same(n, o, &format!("{place}/{i}"));
            }
        }
        (Value::Number(n), Value::Number(o)) => {
            let (n, o) = (n.as_f64().unwrap(), o.as_f64().unwrap());
            assert!((n - o).abs() <= 1e-9 * n.abs().max(o.abs()), "{place}: {n}, was {o}");
        }
        // Sentences may be put better.
        (Value::String(_), Value::String(_)) if place.ends_with("/text") || place.contains("/notes") => {}
        _ => assert_eq!(new, old, "{place}"),
    }
}

#[test]
fn records_of_every_kind_are_read() {
    let f = shop();
    for (folder, verdict, channels, f0) in [
        ("takes/neck-7/0001", "ok", 2, Some(4206.67)),
        ("takes/neck-7/0002", "ok", 2, Some(4206.65)),
        ("takes/one-input", "ok", 1, Some(4206.68)),
        ("takes/tapped", "ok", 2, Some(4206.67)),
        ("takes/broken", "rejected", 2, None),
    ] {
        let r = f.record(folder);
        assert_eq!(
            (r["verdict"].as_str(), r["capture"]["channels"].as_u64()),
            (Some(verdict), Some(channels)),
            "{folder}"
        );
        let read = r["resonance"]
            .as_object()
            .map(|_| measured(&r, "/resonance/f0_hz").unwrap().value);
        assert_eq!(read.map(|v| (v * 100.0).round() / 100.0), f0, "{folder}");
    }
    assert_eq!(f.record("takes/neck-7/0002")["repeats"].as_array().unwrap().len(), 3);
    let knock = &f.record("takes/tapped")["knock"];
    assert_eq!(
        (&knock["taps"], &knock["used"], knock["peaks"].as_array().unwrap().len()),
        (&3.into(), &3.into(), 3)
    );
    let folders = [
        "takes/neck-7/0001",
        "takes/neck-7/0002",
        "takes/one-input",
        "takes/tapped",
        "takes/broken",
    ];
    let table = f.run(&[&["compare"][..], &folders].concat()).ended(0).out;
    // Within what laying down did on that rig.
    let read = table.matches("4206.7 ± 8.2 Hz  6.34 ± 0.12").count();
    assert_eq!(read, 4, "{table}");
    assert!(
        table.lines().any(|l| l.starts_with('E') && l.contains("no reading")),
        "{table}"
    );
}

#[test]
fn documents_are_made_again_from_their_records() {
    let f = shop();
    let compared = f
        .run(&["compare", "takes/bare", "takes/nano", "--json"])
        .ended(0)
        .json();
    let mut old = document(&f, "compare.json");
    // The limits are the yardstick's now, and laying the pickup down is in every u.
    for gone in ["limits", "z"] {
        old.as_object_mut().unwrap().remove(gone).unwrap();
    }
    let difference = old["differences"][0].as_object_mut().unwrap();
    assert_eq!(difference.remove("different"), Some(true.into()));
    for e in difference.values_mut().filter_map(Value::as_object_mut) {
        e.remove("u").unwrap();
    }
    assert_eq!(compared["differences"][0]["answer"], "different");
    says_the_same(&compared, &old, "compare");
    let parts = ["--tolerance", "cap=1% input=2%"];
    let coil = f.run(&[&["coil", "takes/bare", "takes/nano", "--json"][..], &parts].concat());
    says_the_same(&coil.ended(0).json(), &document(&f, "coil.json"), "coil");
    let judged = || f.run(&rested("before", "after", &["--json"])).ended(0);
    // Its checks are all of one day, and tell nothing of days.
    assert!(judged().json()["notes"].to_string().contains("day to day is not known"));
    let mut checks = document(&f, "north.checks.json");
    for (i, c) in checks["checks"].as_array_mut().unwrap().iter_mut().enumerate() {
        c["taken_at"] = format!("2025-03-{:02}T08:00:00Z", i + 1).into();
    }
    f.write("north.checks.json", &serde_json::to_vec(&checks).unwrap());
    let run = judged();
    let old = document(&f, "potting.json");
    let first = |d: &Value| {
        d["pairs"]
            .as_array()
            .unwrap()
            .iter()
            .find(|p| p["pickup"] == "wax-1")
            .unwrap()
            .clone()
    };
    let (mut then, now) = (first(&old), first(&run.json()));
    // When it was kept there was no history of wax yet.
    assert_eq!((&then["usual"], &then["verdict"]), (&Value::Null, &"wax".into()));
    let then = then.as_object_mut().unwrap();
    then.remove("usual");
    // Since then laying down counts in every interval, a small study of it with the usual value: u is another one.
    then.remove("p_equivalence");
    for key in ["f0_hz", "q", "peak_db", "level_db", "c_f"] {
        then[key].as_object_mut().unwrap().remove("u");
    }
    says_the_same(&now, &Value::Object(then.clone()), "potting");
    assert_eq!(
        (now["usual"]["changes"].as_u64(), now["usual"]["within"].as_bool()),
        (Some(11), Some(true))
    );
    // It is in the history already, and is not put there twice.
    f.run(&rested("before", "after", &["--keep"])).ended(0);
    assert_eq!(document(&f, "north.wax.json")["changes"].as_array().unwrap().len(), 12);
}

#[test]
fn a_coil_file_predicts_what_it_predicted() {
    let f = shop();
    let args = ["loads", "--coil", "neck-8.toml", "--load", "vol=250k amp=1M"];
    let run = f.run(&args).ended(0);
    assert!(run.out.contains("8.12 kHz   +3.3 dB"), "{}", run.out);
    assert!(run.out.contains("± 77 Hz    ± 0.12 dB"), "{}", run.out);
    let against = f.run(&["loads", "--coil", "neck-8.toml", "--against", "takes/nano", "--json"]);
    against.ended(0);
}

#[test]
fn a_rig_keeps_its_values_and_goes_on_being_checked() {
    let f = shop();
    let shown = f.run(&["rig", "show", "north.toml", "--json"]).ended(0).json();
    assert_eq!(
        (&shown["hash"], &shown["witness"], &shown["checks"]),
        (&"616fc6e8b1bccba3".into(), &"tin one".into(), &26.into())
    );
    assert_eq!(
        shown["pack"][0],
        serde_json::json!(["witness", "tin one, in the drawer"])
    );
    let words = shown["words"].to_string();
    assert!(
        words.contains("known to 0.01 dB, 95 %") && words.contains("both at one third"),
        "{words}"
    );
    let before = document(&f, "north.checks.json");
    let go: Vec<bool> = before["checks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| c["go"].as_bool().unwrap())
        .collect();
    assert_eq!(
        (go.len(), go[7], go[25], go.iter().filter(|g| **g).count()),
        (26, false, false, 24)
    );
    let run = f
        .run(&[
            "rig",
            "check",
            "--rig",
            "north.toml",
            "--record",
            "witness/next",
            "--json",
        ])
        .ended(0);
    let doc = run.json();
    // The blunder at the eighth is in no limit.
    let f0 = &doc["quantities"][0];
    let limit = f0["limit"].as_f64().unwrap();
    assert_eq!(
        (&doc["verdict"], &doc["baseline"], &f0["quantity"]),
        (&"go".into(), &24.into(), &"f0".into())
    );
    assert!((0.0005..0.002).contains(&limit), "{doc}");
    let again = f.run(&["rig", "check", "--rig", "north.toml", "--record", "witness/next"]);
    again.refused(&["is in the history already"]);
    let after = document(&f, "north.checks.json");
    says_the_same(
        &after["checks"].as_array().unwrap()[..26].into(),
        &before["checks"],
        "checks",
    );
    assert_eq!(after["checks"].as_array().unwrap().len(), 27);
}

#[test]
fn a_lot_goes_on_where_it_stood() {
    let f = shop();
    let before = document(&f, "neck-12/tray.json");
    let args = [
        "tray",
        "--lot",
        "neck-12",
        "--folder",
        ".",
        "--standard",
        "neck.toml",
        "--json",
    ];
    let sim = [
        "--sim",
        "r=6k l=2.4H cs=120p noise=-80dBFS",
        "--columns",
        "ohms by meter A",
    ];
    let doc = f
        .typed(&[&args[..], &sim, &SHORT].concat(), "\n6.1k\nq\n")
        .ended(3)
        .json();
    let counts = &doc["counts"];
    let of = |name: &str| counts[name].as_u64().unwrap();
    assert_eq!(
        (of("pass"), of("outside"), of("no_reading"), of("skipped")),
        (2, 1, 1, 1),
        "{counts}"
    );
    let tray = document(&f, "neck-12/tray.json");
    let entries = tray["entries"].as_array().unwrap();
    says_the_same(&entries[..5].into(), &before["entries"], "entries");
    let last = &entries[5];
    assert_eq!(
        (&last["number"], &last["judged"]["call"], &last["readings"][0]["ohm"]),
        (&5.into(), &"pass".into(), &6100.0.into())
    );
    // Taken back, its record and the ohms beside it stay.
    assert_eq!(
        (&entries[4]["withdrawn"], &last["record"]),
        (&true.into(), &"neck-12-05-2".into())
    );
    assert!(f.run(&["note", "neck-12/neck-12-05"]).ended(0).out.contains("5.90 kΩ"));
    says_the_same(&tray["standard"], &before["standard"], "standard");
}

#[test]
fn notes_hold_as_they_did() {
    let f = shop();
    let show = ["note", "takes/neck-7/0001", "--json"];
    let numbers = |run: crate::bench::Run| -> Vec<(u64, usize)> {
        let notes = run.ended(0).json()["records"][0]["notes"].as_array().unwrap().clone();
        let one = |n: &Value| {
            (
                n["withdraws"].as_u64().unwrap_or(0),
                n["readings"].as_array().unwrap().len(),
            )
        };
        notes.iter().map(one).collect()
    };
    assert_eq!(numbers(f.run(&show)), [(0, 1), (2, 0), (0, 1)]);
    let more = f.run(&["note", "takes/neck-7/0001", "--text", "and this", "--json"]);
    assert_eq!(numbers(more).len(), 4);
    let shown = f.run(&show[..2]).ended(0).out;
    for words in [
        "6.05 kΩ, at 21 °C",
        "412 430 428 431 425 405 G",
        "no, rightly",
        "and this",
    ] {
        assert!(shown.contains(words), "{shown}");
    }
    assert!(!shown.contains("typed wrongly"), "{shown}");
}

/// What `use` remembered is what `measure` goes by.
#[test]
fn defaults_and_placement_hold_as_they_did() {
    let f = shop();
    let shown = f.run(&["use"]).ended(0).out;
    for (name, value) in [
        ("rig", "north.toml"),
        ("load", "cap=330p"),
        ("folder", "takes"),
        ("room", "21C"),
        ("over", "first coil"),
        ("columns", "ohms by meter A"),
    ] {
        assert!(
            shown.lines().any(|l| l.starts_with(name) && l.ends_with(value)),
            "{shown}"
        );
    }
    f.measure(&["--sim", "r=6k l=2.4H cs=120p noise=-80dBFS"]).ended(0);
    let r = f.record("takes/trial/0001");
    assert_eq!(
        (
            &r["rig"]["name"],
            &r["load"]["text"],
            &r["pickup"]["temperature_c"],
            &r["pickup"]["over"]
        ),
        (
            &"north bench".into(),
            &"cap=330p".into(),
            &21.0.into(),
            &"first coil".into()
        )
    );
    // The same coil as in the shop's first record.
    let of = |folder: &str| measured(&f.record(folder), "/resonance/f0_hz").unwrap().value;
    assert!((of("takes/trial/0001") / of("takes/neck-7/0001") - 1.0).abs() < 1e-5);
    // What `rig repeat` found is in the verdict: nothing is said to be missing.
    let args = ["tray", "--lot", "new", "--standard", "neck.toml", "--sim", "silent"];
    let run = f.typed(&[&args[..], &SHORT].concat(), "q\n").ended(0);
    assert!(!run.err.contains("laying a pickup down anew"), "{}", run.err);
}
