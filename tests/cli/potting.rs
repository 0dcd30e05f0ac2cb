//! Wax before and after, through the command.

use crate::bench::{Folder, Made};
use crate::rig::check;
use crate::screens::{RIG, shows};

/// A rig with twenty good checks; the lead is some tenths of a picofarad now more, now less.
fn bench() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = without_checks();
        for i in 0..20 {
            let more = [0.1, -0.3, 0.4, -0.1, 0.2, -0.4, 0.0, 0.3, -0.2, 0.1][i as usize % 10];
            check(&f, i + 1, more, &[]).ended(0);
            std::fs::remove_dir_all(f.path(&format!("w{}", i + 1))).unwrap();
        }
        f
    })
}

fn without_checks() -> Folder {
    let f = Folder::new();
    f.write("north.toml", format!("{RIG}[witness]\nname = \"tin one\"\n").as_bytes());
    f
}

fn take(f: &Folder, out: &str, name: &str, sim: &str) {
    f.take(name, sim, out, &["--rig", "north.toml", "--load", "cap=330p"]);
}

#[test]
fn a_pot_load_is_judged() {
    let f = bench();
    std::fs::create_dir(f.path("before")).unwrap();
    std::fs::create_dir(f.path("after")).unwrap();
    for (name, before, after) in [
        (
            "as it was",
            "r=6k l=2.4H cs=120p noise=-80dBFS",
            "r=6k l=2.4H cs=120.2p noise=-80dBFS",
        ),
        (
            "waxed",
            "r=6k l=2.4H cs=120p noise=-80dBFS",
            "r=6k l=2.4H cs=138p noise=-80dBFS",
        ),
        (
            "shorted",
            "r=6k l=2.4H cs=120p noise=-80dBFS",
            "r=6k l=1.9H cs=120p loss=80k noise=-80dBFS",
        ),
        (
            "broken",
            "r=6k l=2.4H cs=120p noise=-80dBFS",
            "r=6k l=2.4H cs=120p open",
        ),
    ] {
        take(&f, &format!("before/{name}"), name, before);
        take(&f, &format!("after/{name}"), name, after);
    }
    let args = [
        "potting",
        "before",
        "--after",
        "after",
        "--rig",
        "north.toml",
        "--rested",
        "14h",
    ];
    let run = f.run(&args);
    assert_eq!(run.status, 3);
    shows("potting", &run);
    let doc = f.run(&[&args[..], &["--json", "--out", "lot"]].concat());
    assert_eq!(doc.status, 3, "{}", doc.err);
    let doc = doc.json();
    assert_eq!(doc["schema"], "coilwright/potting/1");
    let mut seen: Vec<(String, String)> = doc["pairs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| {
            (
                p["pickup"].as_str().unwrap().into(),
                p["verdict"].as_str().unwrap().into(),
            )
        })
        .collect();
    seen.sort();
    let want = [
        ("as it was", "unchanged"),
        ("broken", "other"),
        ("shorted", "other"),
        ("waxed", "wax"),
    ];
    assert_eq!(seen, want.map(|(a, b)| (a.to_owned(), b.to_owned())));
    assert_eq!(f.list("lot"), ["potting.json", "potting.png", "potting.svg"]);
    // One pickup alone, all well: status 0; too short a rest: 1.
    let one = |rested: &str| {
        f.run(&[
            "potting",
            "before/waxed",
            "--after",
            "after/waxed",
            "--rig",
            "north.toml",
            "--rested",
            rested,
        ])
    };
    assert_eq!(one("14h").status, 0);
    let warm = one("2h");
    assert!(warm.status == 1 && warm.out.contains("again after"), "{}", warm.out);
}

#[test]
fn without_a_history_nobody_can_tell() {
    let f = without_checks();
    take(&f, "b", "a", "r=6k l=2.4H cs=120p noise=-80dBFS");
    take(&f, "a", "a", "r=6k l=2.4H cs=138p noise=-80dBFS");
    let doc = f
        .run(&["potting", "b", "--after", "a", "--rig", "north.toml", "--json"])
        .ended(0)
        .json();
    assert_eq!(
        (&doc["pairs"][0]["verdict"], &doc["rig"]),
        (&"cannot-tell".into(), &serde_json::Value::Null)
    );
    assert!(doc["pairs"][0]["c_f"]["value"].as_f64().unwrap() > 0.0);
    f.run(&["potting", "b", "--after", "none"])
        .refused(&["none", "check the path"]);
    f.run(&["potting", "b", "--after", "a", "--limit", "f0=0"])
        .refused(&["is none"]);
    f.run(&["potting", "b", "--after", "a", "--rested", "long"])
        .refused(&["14h"]);
    take(&f, "c", "another", "r=6k l=2.4H cs=120p noise=-80dBFS");
    f.run(&["potting", "b", "--after", "c"])
        .refused(&["no pickup is on both sides"]);
}

/// The record that [`edited`] ones are made of, and its f0.
fn master(f: &Folder) -> f64 {
    take(f, "master", "master", "r=6k l=2.4H cs=120p noise=-80dBFS");
    f.record("master")["resonance"]["f0_hz"]["value"].as_f64().unwrap()
}

/// Records whose f0 went from one value to another, as files.
fn edited(f: &Folder, folder: &str, name: &str, f0: f64) {
    let mut record = f.record("master");
    record["pickup"]["name"] = name.into();
    record["id"] = format!("{folder}-{name}").into();
    record["resonance"]["f0_hz"]["value"] = f0.into();
    std::fs::create_dir_all(f.path(&format!("{folder}/{name}"))).unwrap();
    let bytes = serde_json::to_vec(&record).unwrap();
    f.write(&format!("{folder}/{name}/record.json"), &bytes);
}

/// Student's sleep data (Biometrika 1908) as changes of f0 in thousandths: p of the paired t test 0.002833 (statsmodels, as in
/// `cargo test --test reference stats`), mean -1.58, standard error 0.38896; equivalence within 2.5: p 0.021117 (statsmodels).
#[test]
fn a_pot_load_as_students_sleepers() {
    let f = without_checks();
    take(&f, "master", "master", "r=6k l=2.4H cs=120p noise=-80dBFS");
    let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    for (i, (a, b)) in first.iter().zip(second).enumerate() {
        let name = format!("p{i}");
        edited(&f, "before", &name, 5000.0 * (b / 1000.0f64).exp());
        edited(&f, "after", &name, 5000.0 * (a / 1000.0f64).exp());
    }
    let doc = f
        .run(&["potting", "before", "--after", "after", "--limit", "f0=0.25%", "--json"])
        .ended(0)
        .json();
    let lot = |key: &str| doc["lot"][key].as_f64().unwrap();
    assert_eq!(doc["lot"]["pairs"], 10);
    // Q stands still, so this is f0's alone; no history of the rig, so these are the pairs alone, and no verdict.
    assert!((lot("p_equivalence") - 0.021117).abs() < 6e-7, "{}", doc["lot"]);
    assert_eq!(doc["lot"]["verdict"], "cannot-tell");
    assert!((lot("p") - 0.002833).abs() < 6e-7, "{}", doc["lot"]);
    assert!(
        (lot("f0") + 1.58e-3).abs() < 1e-9 && (lot("f0_se") - 0.38896e-3).abs() < 1e-8,
        "{}",
        doc["lot"]
    );
}

/// From ten changes on the shop's own wax is known; a pot-load that took hardly any stands out.
#[test]
fn the_shops_own_wax() {
    let f = bench();
    let master = master(&f);
    for i in 0..10 {
        let name = format!("p{i}");
        edited(&f, "before", &name, master);
        edited(&f, "after", &name, master * (1.0 - 0.018 - 0.0005 * f64::from(i % 3)));
    }
    let lot = [
        "potting",
        "before",
        "--after",
        "after",
        "--rig",
        "north.toml",
        "--rested",
        "14h",
    ];
    f.run(&[&lot[..], &["--keep", "--json"]].concat()).ended(0);
    // What a later version wrote there stays.
    let mut history: serde_json::Value = serde_json::from_slice(&f.bytes("north.wax.json")).unwrap();
    let changes = history["changes"].as_array_mut().unwrap();
    changes.pop();
    changes[0]["bath_c"] = 65.into();
    f.write("north.wax.json", &serde_json::to_vec(&history).unwrap());
    f.run(&[&lot[..], &["--keep"]].concat()).ended(0);
    let kept: serde_json::Value = serde_json::from_slice(&f.bytes("north.wax.json")).unwrap();
    assert_eq!(kept["changes"][0]["bath_c"], 65);
    assert_eq!(kept["changes"].as_array().unwrap().len(), 10);
    for (name, share) in [("like", 0.0185), ("dry", 0.008)] {
        edited(&f, "new-before", name, master);
        edited(&f, "new-after", name, master * (1.0 - share));
    }
    let new = [
        "potting",
        "new-before",
        "--after",
        "new-after",
        "--rig",
        "north.toml",
        "--rested",
        "14h",
    ];
    let doc = f.run(&[&new[..], &["--json"]].concat()).ended(0).json();
    let usual = |i: usize| {
        (
            doc["pairs"][i]["pickup"].clone(),
            doc["pairs"][i]["usual"]["within"].clone(),
        )
    };
    let mut seen = [usual(0), usual(1)];
    seen.sort_by_key(|s| s.0.to_string());
    assert_eq!(seen, [("dry".into(), false.into()), ("like".into(), true.into())]);
    let told = f.run(&new).ended(0).out;
    assert!(told.contains("NOT as your wax before (10 changes"), "{told}");
    f.run(&["potting", "new-before", "--after", "new-after", "--keep"])
        .refused(&["--keep needs a rig"]);
}

/// Before and after on north.toml, cold.
fn rested<'a>(before: &'a str, after: &'a str) -> [&'a str; 9] {
    [
        "potting",
        before,
        "--after",
        after,
        "--rig",
        "north.toml",
        "--rested",
        "14h",
        "--json",
    ]
}

fn waxed(f: &Folder, rig: &str, before: &str, after: &str) {
    let on = ["--rig", rig, "--load", "cap=330p"];
    for (out, sim, seed) in [
        (before, "r=6k l=2.4H cs=120p noise=-80dBFS", "71"),
        (after, "r=6k l=2.4H cs=138p noise=-80dBFS", "72"),
    ] {
        f.take("p", sim, out, &[&on[..], &["--seed", seed]].concat()).ended(0);
    }
}

/// The days of one rig say nothing of readings on another.
#[test]
fn another_rigs_days_judge_nothing() {
    let f = bench();
    let other = RIG
        .replace("series_ohm = 100.0", "series_ohm = 200.0")
        .replace("north bench", "south bench");
    f.write("south.toml", other.as_bytes());
    waxed(&f, "south.toml", "b", "a");
    let args = rested("b", "a");
    let doc = f.run(&args).ended(0).json();
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
    let f = bench();
    waxed(&f, "north.toml", "b", "a");
    let args = rested("b", "a");
    let notes = |f: &Folder| f.run(&args).ended(0).json()["notes"].to_string();
    let told = notes(&f);
    assert!(
        told.contains("are of one day only") && told.contains("rig repeat"),
        "{told}"
    );
    assert!(!told.contains("was not checked"), "{told}");
    for (name, day) in [("b", "2025-01-07T09:00:00+01:00"), ("a", "2025-01-09T09:00:00+01:00")] {
        let mut r = f.record(name);
        r["taken_at"] = day.into();
        f.write(&format!("{name}/record.json"), &serde_json::to_vec(&r).unwrap());
    }
    assert!(
        notes(&f).contains("was not checked within a day and a half"),
        "{}",
        notes(&f)
    );
}

/// Four pickups and the witness went the same way: a lead, for one and for all.
#[test]
fn a_lead_that_moved_is_no_wax_of_the_lot() {
    let f = bench();
    let f0 = master(&f);
    let day = |f: &Folder, folder: &str, name: &str, at: &str| {
        let path = format!("{folder}/{name}/record.json");
        let mut r: serde_json::Value = serde_json::from_slice(&f.bytes(&path)).unwrap();
        r["taken_at"] = at.into();
        f.write(&path, &serde_json::to_vec(&r).unwrap());
    };
    for i in 0..4 {
        let name = format!("p{i}");
        edited(&f, "before", &name, f0);
        edited(&f, "after", &name, f0 * (0.98 + 0.0001 * f64::from(i)));
        day(&f, "before", &name, "2026-03-02T10:00:00+01:00");
        day(&f, "after", &name, "2026-03-04T10:00:00+01:00");
    }
    // Twenty checks on days of their own, the last one on the second day and 2 % lower.
    let mut h: serde_json::Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    let mut last = h["checks"][19].clone();
    for (i, c) in h["checks"].as_array_mut().unwrap().iter_mut().enumerate() {
        c["taken_at"] = format!("2026-02-{:02}T08:00:00+01:00", i + 1).into();
    }
    h["checks"][19]["taken_at"] = "2026-03-02T08:00:00+01:00".into();
    last["taken_at"] = "2026-03-04T08:00:00+01:00".into();
    last["id"] = "moved".into();
    last["f0_hz"]["value"] = (0.98 * last["f0_hz"]["value"].as_f64().unwrap()).into();
    h["checks"].as_array_mut().unwrap().push(last);
    f.write("north.checks.json", &serde_json::to_vec(&h).unwrap());
    let args = rested("before", "after");
    let doc = f.run(&args).ended(0).json();
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
    let f = bench();
    let on = ["--rig", "north.toml", "--load", "cap=330p"];
    for (out, over, cs, seed) in [
        ("b1", "first coil", 120, "5"),
        ("b2", "second coil", 131, "6"),
        ("a1", "first coil", 120, "7"),
    ] {
        let sim = format!("r=6k l=2.4H cs={cs}p noise=-80dBFS");
        f.take("p", &sim, out, &[&on[..], &["--over", over, "--seed", seed]].concat())
            .ended(0);
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
    let f = bench();
    let good = "r=6k l=2.4H cs=120p noise=-80dBFS";
    let on = ["--rig", "north.toml", "--load", "cap=330p", "--room", "21C"];
    for (out, sim, more) in [
        ("b", good, &["--seed", "61", "--ohms", "6.00k"][..]),
        ("a1", good, &["--seed", "62", "--ohms", "6.00k"]),
        ("a2", "r=6k l=2.4H cs=120p open", &["--seed", "63"]),
        ("a3", good, &["--seed", "64", "--ohms", "12.0k"]),
        ("a4", good, &["--seed", "65", "--ohms", "6.20k"]),
    ] {
        f.take("p", sim, out, &[&on[..], more].concat());
    }
    let judged = |after: &[&str], status: i32| {
        let args = [&["potting", "b", "--rig", "north.toml", "--json", "--after"][..], after].concat();
        let doc = f.run(&args).ended(status).json();
        (
            doc["pairs"][0]["verdict"].as_str().unwrap().to_owned(),
            doc["pairs"][0]["text"].as_str().unwrap().to_owned(),
        )
    };
    assert_eq!(judged(&["a1"], 0).0, "unchanged");
    let mut later = f.record("a2");
    later["taken_at"] = "2099-01-01T09:00:00Z".into();
    f.write("a2/record.json", &serde_json::to_vec(&later).unwrap());
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
    let f = bench();
    let f0 = master(&f);
    for i in 0..16 {
        let name = format!("p{i}");
        edited(&f, "before", &name, f0);
        edited(&f, "after", &name, f0 * (0.9912 + 0.003 * f64::from(i % 4 - 2)));
    }
    let args = rested("before", "after");
    let lot = |f: &Folder| f.run(&args).json()["lot"].clone();
    let alone = lot(&f);
    let records: Vec<String> = (0..8)
        .map(|i| format!("{}/p{}", if i < 4 { "before" } else { "after" }, i % 4))
        .collect();
    let repeat: Vec<&str> = records.iter().map(String::as_str).collect();
    f.run(&[&["rig", "repeat", "--rig", "north.toml"][..], &repeat].concat())
        .ended(0);
    let with = lot(&f);
    assert_eq!(
        (&alone["verdict"], &with["verdict"]),
        (&"wax".into(), &"wax".into()),
        "{alone} {with}"
    );
    assert_eq!(alone["f0_u"], with["f0_u"]);
}
