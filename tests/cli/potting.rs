//! Wax before and after, through the command.

use serde_json::Value;

use crate::bench::{Folder, Made};
use crate::rig::check;
use crate::screens::{RIG, shows};

/// What most of these stand on, made once: a rig with twenty good checks, and takes of one winding as it is, with the capacitance
/// that wax brings, and broken. The checks are one take of the witness written twenty times, the lead some tenths of a picofarad
/// now more, now less, and Q as it scatters.
pub fn shop() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = Folder::new();
        f.write("north.toml", format!("{RIG}[witness]\nname = \"tin one\"\n").as_bytes());
        check(&f, 1, 0.0, &[]).ended(0);
        let mut h = json(&f, "north.checks.json");
        let first = h["checks"][0].clone();
        let again = |i: usize| {
            let more_pf = [0.1, -0.3, 0.4, -0.1, 0.2, -0.4, 0.0, 0.3, -0.2, 0.1][i % 10];
            let mut c = first.clone();
            if i < 19 {
                c["taken_at"] = format!("2020-01-{:02}T08:00:00Z", i + 1).into();
            }
            c["id"] = format!("check-{i}").into();
            c["f0_hz"]["value"] = (first["f0_hz"]["value"].as_f64().unwrap() * (1.0 - 0.5 * more_pf / 270.0)).into();
            c["q"]["value"] = (first["q"]["value"].as_f64().unwrap() * (1.0 + 1e-4 * [3.0, -2.0, 1.0][i % 3])).into();
            c
        };
        h["checks"] = (0..20).map(again).collect();
        f.write("north.checks.json", &serde_json::to_vec(&h).unwrap());
        for (name, more, seed) in [
            ("good", "cs=120p", "61"),
            ("waxed", "cs=138p", "62"),
            ("open", "cs=120p open", "63"),
        ] {
            let sim = format!("r=6k l=2.4H {more} noise=-80dBFS");
            f.take(
                "p",
                &sim,
                name,
                &["--rig", "north.toml", "--load", "cap=330p", "--seed", seed],
            );
        }
        f
    })
}

pub fn json(f: &Folder, file: &str) -> Value {
    serde_json::from_slice(&f.bytes(file)).unwrap()
}

/// One of the records of [`shop`], changed, in a folder of its own.
pub fn edited(f: &Folder, of: &str, to: &str, edit: impl FnOnce(&mut Value)) {
    let mut r = f.record(of);
    r["id"] = to.into();
    edit(&mut r);
    std::fs::create_dir_all(f.path(to)).unwrap();
    f.write(&format!("{to}/record.json"), &serde_json::to_vec(&r).unwrap());
}

/// A pickup of this name whose f0 is so many times that of the winding as it is.
fn tuned(f: &Folder, folder: &str, name: &str, times: f64) {
    edited(f, "good", &format!("{folder}/{name}"), |r| {
        r["pickup"]["name"] = name.into();
        scale_f0(r, times);
    });
}

pub fn scale_f0(record: &mut Value, times: f64) {
    if let Some(f0) = record["resonance"]["f0_hz"]["value"].as_f64() {
        record["resonance"]["f0_hz"]["value"] = (times * f0).into();
    }
}

/// Before and after on north.toml, cold.
pub fn rested<'a>(before: &'a str, after: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let args = [
        "potting",
        before,
        "--after",
        after,
        "--rig",
        "north.toml",
        "--rested",
        "14h",
    ];
    [&args[..], more].concat()
}

/// With metal f0 is that of the natural resonance; the second-order model's, which both have, did not move.
#[test]
fn readings_by_two_models_are_compared_by_one() {
    let f = shop();
    edited(&f, "good", "steel", |r| {
        r["resonance"]["definition"] = "pole".into();
        scale_f0(r, 1.05);
    });
    let doc = f.run(&rested("good", "steel", &["--json"])).ended(0).json();
    assert_eq!(doc["pairs"][0]["verdict"], "unchanged", "{}", doc["pairs"][0]);
}

#[test]
fn a_pot_load_is_judged() {
    let f = shop();
    let shorted = "r=6k l=1.9H cs=120p loss=80k noise=-80dBFS";
    let on = ["--rig", "north.toml", "--load", "cap=330p"];
    f.take("p", shorted, "short", &on).ended(0);
    let named = |of: &str, side: &str, name: &str, times: f64| {
        edited(&f, of, &format!("{side}/{name}"), |r| {
            r["pickup"]["name"] = name.into();
            scale_f0(r, times);
        });
    };
    for (name, after, times) in [
        ("as it was", "good", 0.9998),
        ("waxed", "waxed", 1.0),
        ("shorted", "short", 1.0),
        ("broken", "open", 1.0),
    ] {
        named("good", "before", name, 1.0);
        named(after, "after", name, times);
    }
    let run = f.run(&rested("before", "after", &[]));
    assert_eq!(run.status, 3);
    shows("potting", &run);
    let doc = f
        .run(&rested("before", "after", &["--json", "--out", "lot"]))
        .ended(3)
        .json();
    assert_eq!(doc["schema"], "coilwright/potting/1");
    let mut seen: Vec<(&str, &str)> = doc["pairs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| (p["pickup"].as_str().unwrap(), p["verdict"].as_str().unwrap()))
        .collect();
    seen.sort_unstable();
    let want = [
        ("as it was", "unchanged"),
        ("broken", "other"),
        ("shorted", "other"),
        ("waxed", "wax"),
    ];
    assert_eq!(seen, want);
    assert_eq!(f.list("lot"), ["potting.json", "potting.png", "potting.svg"]);
    // One pickup alone, all well: status 0; too short a rest: 1.
    let one = |hours: &str| {
        let args = [
            "potting",
            "before/waxed",
            "--after",
            "after/waxed",
            "--rig",
            "north.toml",
            "--rested",
            hours,
        ];
        f.run(&args)
    };
    assert_eq!(one("14h").status, 0);
    let warm = one("2h");
    assert!(
        warm.status == 1 && warm.out.contains("still warm: 2.0 h") && warm.out.contains("measure again"),
        "{}",
        warm.out
    );
}

/// Nor days nor laying down were ever looked at: usual values stand in, and it is said.
#[test]
fn without_a_history_days_are_what_they_usually_are() {
    let f = shop();
    std::fs::remove_file(f.path("north.checks.json")).unwrap();
    // Nor did the records know them when they were made.
    for place in ["good", "waxed"] {
        let id = f.record(place)["id"].clone();
        edited(&f, place, place, |r| {
            r["resonance"]["u_day"] = Value::Null;
            r["id"] = id;
        });
    }
    let args = ["potting", "good", "--after", "waxed", "--rig", "north.toml"];
    let doc = f.run(&[&args[..], &["--json"]].concat()).ended(0).json();
    assert_eq!(
        (&doc["pairs"][0]["verdict"], &doc["rig"]),
        (&"wax".into(), &Value::Null)
    );
    let notes = doc["notes"].to_string();
    assert!(
        notes.contains("day to day is not known") && notes.contains("pickup down does is not known"),
        "{notes}"
    );
    // 5 pF, 0.4 %: less than 2 pF on either day can tell.
    edited(&f, "good", "little", |r| scale_f0(r, 0.996));
    let little = f
        .run(&["potting", "good", "--after", "little", "--rig", "north.toml", "--json"])
        .ended(0)
        .json();
    assert_eq!(little["pairs"][0]["verdict"], "cannot-tell");
    assert!(doc["pairs"][0]["c_f"]["value"].as_f64().unwrap() > 0.0);
    f.run(&["potting", "good", "--after", "none"])
        .refused(&["none", "a pickup's name"]);
    f.run(&[&args[..], &["--limit", "f0=0"]].concat()).refused(&["is none"]);
    f.run(&[&args[..], &["--rested", "long"]].concat()).refused(&["14h"]);
    edited(&f, "good", "c", |r| r["pickup"]["name"] = "another".into());
    f.run(&["potting", "good", "--after", "c"])
        .refused(&["no pickup is on both sides"]);
}

/// Student's sleep data (Biometrika 1908) as changes of f0 in thousandths: p of the paired t test 0.002833 (statsmodels, as in
/// `cargo test --test reference stats`), mean -1.58, standard error 0.38896.
#[test]
fn a_pot_load_as_students_sleepers() {
    let f = shop();
    let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    for (i, (a, b)) in first.iter().zip(second).enumerate() {
        let name = format!("p{i}");
        tuned(&f, "before", &name, (b / 1000.0f64).exp());
        tuned(&f, "after", &name, (a / 1000.0f64).exp());
        // What the rig's days do nobody knows.
        for place in [format!("before/{name}"), format!("after/{name}")] {
            edited(&f, &place, &place, |r| r["resonance"]["u_day"] = Value::Null);
        }
    }
    let doc = f
        .run(&["potting", "before", "--after", "after", "--limit", "f0=0.25%", "--json"])
        .ended(0)
        .json();
    let lot = |key: &str| doc["lot"][key].as_f64().unwrap();
    assert_eq!(doc["lot"]["pairs"], 10);
    assert!((lot("p") - 0.002833).abs() < 6e-7, "{}", doc["lot"]);
    assert!(
        (lot("f0") + 1.58e-3).abs() < 1e-9 && (lot("f0_se") - 0.38896e-3).abs() < 1e-8,
        "{}",
        doc["lot"]
    );
    // More pairs tell nothing of the days, which all of them have in common: 2 pF on 600, twice.
    let half = doc["lot"]["decided"][0]["half_95"].as_f64().unwrap();
    let days = 2.0 * 2f64.sqrt() * 0.5 * 2.0 / 600.0;
    assert!((half / days.hypot(2.26 * 0.38896e-3) - 1.0).abs() < 0.1, "{half}");
    assert_eq!(doc["lot"]["verdict"], "cannot-tell");
}

/// From ten changes on the shop's own wax is known; a pot-load that took hardly any stands out.
#[test]
fn the_shops_own_wax() {
    let f = shop();
    for i in 0..10 {
        let name = format!("p{i}");
        tuned(&f, "before", &name, 1.0);
        tuned(&f, "after", &name, 1.0 - 0.018 - 0.0005 * f64::from(i % 3));
    }
    f.run(&rested("before", "after", &["--keep", "--json"])).ended(0);
    // What a later version wrote there stays.
    let mut history = json(&f, "north.wax.json");
    let changes = history["changes"].as_array_mut().unwrap();
    changes.pop();
    changes[0]["bath_c"] = 65.into();
    f.write("north.wax.json", &serde_json::to_vec(&history).unwrap());
    f.run(&rested("before", "after", &["--keep"])).ended(0);
    let kept = json(&f, "north.wax.json");
    assert_eq!(kept["changes"][0]["bath_c"], 65);
    assert_eq!(kept["changes"].as_array().unwrap().len(), 10);
    for (name, share) in [("like", 0.0185), ("dry", 0.008)] {
        tuned(&f, "new-before", name, 1.0);
        tuned(&f, "new-after", name, 1.0 - share);
    }
    let doc = f.run(&rested("new-before", "new-after", &["--json"])).ended(0).json();
    let usual = |i: usize| {
        (
            doc["pairs"][i]["pickup"].clone(),
            doc["pairs"][i]["usual"]["within"].clone(),
        )
    };
    let mut seen = [usual(0), usual(1)];
    seen.sort_by_key(|s| s.0.to_string());
    assert_eq!(seen, [("dry".into(), false.into()), ("like".into(), true.into())]);
    let told = f.run(&rested("new-before", "new-after", &[])).ended(0).out;
    assert!(told.contains("NOT as your wax before (10 changes"), "{told}");
    f.run(&["potting", "new-before", "--after", "new-after", "--keep"])
        .refused(&["--keep needs a rig"]);
}

/// The days of one rig say nothing of readings on another.
#[test]
fn another_rigs_days_judge_nothing() {
    let f = shop();
    let other = RIG
        .replace("series_ohm = 100.0", "series_ohm = 200.0")
        .replace("north bench", "south bench");
    f.write("south.toml", other.as_bytes());
    let sim = "r=6k l=2.4H cs=120p noise=-80dBFS";
    f.take("p", sim, "south", &["--rig", "south.toml", "--load", "cap=330p"])
        .ended(0);
    edited(&f, "south", "later", |r| scale_f0(r, 0.98));
    let doc = f.run(&rested("south", "later", &["--json"])).ended(0).json();
    assert_eq!(doc["pairs"][0]["verdict"], "cannot-tell", "{doc}");
    let text = doc["pairs"][0]["text"].as_str().unwrap();
    assert!(
        text.contains("measured on south bench, and the days are those of north bench"),
        "{text}"
    );
}

/// Twenty checks of one afternoon are no twenty days, and nobody looked at the witness last year.
#[test]
fn what_the_days_do_not_tell_is_said() {
    let f = shop();
    let notes = |before: &str, after: &str| {
        let doc = f.run(&rested(before, after, &["--json"])).ended(0).json();
        doc["notes"].to_string()
    };
    let told = notes("good", "waxed");
    assert!(
        told.contains("rig repeat") && !told.contains("was not checked"),
        "{told}"
    );
    assert!(!told.contains("day to day is not known"), "{told}");
    for (of, to) in [("good", "b0"), ("waxed", "a0")] {
        edited(&f, of, to, |r| r["resonance"]["u_day"] = Value::Null);
    }
    let whole = f.bytes("north.checks.json");
    for (days, want) in [(1, "day to day is not known"), (2, "are of 2 days only")] {
        let mut h = json(&f, "north.checks.json");
        for (i, c) in h["checks"].as_array_mut().unwrap().iter_mut().enumerate() {
            c["taken_at"] = format!("2020-01-0{}T08:00:00Z", 1 + i % days).into();
        }
        f.write("north.checks.json", &serde_json::to_vec(&h).unwrap());
        let told = notes("b0", "a0");
        assert!(told.contains(want), "{told}");
    }
    f.write("north.checks.json", &whole);
    for (of, to, day) in [
        ("good", "b", "2025-01-07T09:00:00+01:00"),
        ("waxed", "a", "2025-01-09T09:00:00+01:00"),
    ] {
        edited(&f, of, to, |r| r["taken_at"] = day.into());
    }
    let told = notes("b", "a");
    assert!(told.contains("was not checked within a day and a half"), "{told}");
}

/// Four pickups and the witness went the same way: a lead, for one and for all.
#[test]
fn a_lead_that_moved_is_no_wax_of_the_lot() {
    let f = shop();
    let dated = |side: &str, name: &str, at: &str, times: f64| {
        tuned(&f, side, name, times);
        let place = format!("{side}/{name}");
        edited(&f, &place, &place, |r| r["taken_at"] = at.into());
    };
    for i in 0..4 {
        let name = format!("p{i}");
        dated("before", &name, "2026-03-02T10:00:00+01:00", 1.0);
        dated(
            "after",
            &name,
            "2026-03-04T10:00:00+01:00",
            0.98 + 0.0001 * f64::from(i),
        );
    }
    // Twenty checks on days of their own, and one more on the second day, 2 % lower.
    let mut h = json(&f, "north.checks.json");
    let checks = h["checks"].as_array_mut().unwrap();
    let mut last = checks[19].clone();
    for (i, c) in checks.iter_mut().enumerate() {
        c["taken_at"] = format!("2026-02-{:02}T08:00:00+01:00", i + 1).into();
    }
    checks[19]["taken_at"] = "2026-03-02T08:00:00+01:00".into();
    last["taken_at"] = "2026-03-04T08:00:00+01:00".into();
    last["id"] = "moved".into();
    last["f0_hz"]["value"] = (0.98 * last["f0_hz"]["value"].as_f64().unwrap()).into();
    checks.push(last);
    f.write("north.checks.json", &serde_json::to_vec(&h).unwrap());
    let doc = f.run(&rested("before", "after", &["--json"])).ended(0).json();
    let pairs = doc["pairs"].as_array().unwrap();
    assert!(
        pairs
            .iter()
            .all(|p| p["text"].as_str().unwrap().contains("the witness moved")),
        "{doc}"
    );
    assert_eq!(doc["lot"]["verdict"], "cannot-tell", "{}", doc["lot"]);
}

/// Two coils of one pickup are two windings.
#[test]
fn coils_are_paired_with_themselves() {
    let f = shop();
    for (to, of, over) in [
        ("b1", "good", "first coil"),
        ("b2", "waxed", "second coil"),
        ("a1", "good", "first coil"),
    ] {
        edited(&f, of, to, |r| r["pickup"]["over"] = over.into());
    }
    let args = [
        "potting",
        "b1",
        "b2",
        "--after",
        "a1",
        "--rig",
        "north.toml",
        "--rested",
        "14h",
        "--json",
    ];
    let doc = f.run(&args).ended(0).json();
    assert_eq!(doc["pairs"].as_array().unwrap().len(), 1, "{doc}");
    assert_eq!(doc["pairs"][0]["pickup"], "p, first coil");
    assert_eq!(doc["pairs"][0]["verdict"], "unchanged");
    assert_eq!(doc["unpaired"][0], "p, second coil");
}

/// A pickup that gives no reading any more is none that is unchanged, whatever the day before said; nor is one whose resistance
/// doubled merely warm.
#[test]
fn what_died_or_broke_is_to_be_looked_at() {
    let f = shop();
    for (to, ohms) in [("b", 6000.0), ("a1", 6000.0), ("a3", 12_000.0), ("a4", 6200.0)] {
        edited(&f, "good", to, |r| {
            (r["pickup"]["r_ohm"], r["pickup"]["temperature_c"]) = (ohms.into(), 21.0.into());
        });
    }
    edited(&f, "open", "a2", |r| r["taken_at"] = "2099-01-01T09:00:00Z".into());
    let judged = |after: &[&str], status: i32| {
        let args = [&["potting", "b", "--rig", "north.toml", "--json", "--after"][..], after].concat();
        let doc = f.run(&args).ended(status).json();
        (
            doc["pairs"][0]["verdict"].as_str().unwrap().to_owned(),
            doc["pairs"][0]["text"].as_str().unwrap().to_owned(),
        )
    };
    assert_eq!(judged(&["a1"], 0).0, "unchanged");
    let (verdict, text) = judged(&["a1", "a2"], 3);
    assert!(
        verdict == "other" && text.contains("no reading any more"),
        "{verdict}: {text}"
    );
    let (verdict, text) = judged(&["a3"], 3);
    assert!(
        verdict == "other" && text.contains("100 % more resistance"),
        "{verdict}: {text}"
    );
    assert_eq!(judged(&["a4"], 1).0, "warm");
}

/// How each was laid down is in the scatter of a lot already: the repeatability does not count against it once more.
#[test]
fn laying_down_anew_is_each_pickups_own() {
    let f = shop();
    for i in 0..16 {
        let name = format!("p{i}");
        tuned(&f, "before", &name, 1.0);
        tuned(&f, "after", &name, 0.9912 + 0.003 * f64::from(i % 4 - 2));
    }
    let lot = || f.run(&rested("before", "after", &["--json"])).json()["lot"].clone();
    let alone = lot();
    let records: Vec<String> = (0..8)
        .map(|i| format!("{}/p{}", if i < 4 { "before" } else { "after" }, i % 4))
        .collect();
    let repeat: Vec<&str> = records.iter().map(String::as_str).collect();
    f.run(&[&["rig", "repeat", "--rig", "north.toml"][..], &repeat].concat())
        .ended(0);
    let with = lot();
    assert_eq!(
        (&alone["verdict"], &with["verdict"]),
        (&"wax".into(), &"wax".into()),
        "{alone} {with}"
    );
    assert_eq!(alone["decided"], with["decided"]);
}
