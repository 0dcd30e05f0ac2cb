//! Wax before and after, through the command.

use crate::bench::Folder;
use crate::rig::check;
use crate::screens::{RIG, shows};

/// A rig with so many good checks; the lead is some tenths of a picofarad now more, now less.
fn bench(checks: u32) -> Folder {
    let f = Folder::new();
    f.write("north.toml", format!("{RIG}[witness]\nname = \"tin one\"\n").as_bytes());
    for i in 0..checks {
        let more = [0.1, -0.3, 0.4, -0.1, 0.2, -0.4, 0.0, 0.3, -0.2, 0.1][i as usize % 10];
        check(&f, i + 1, more, &[]).ended(0);
    }
    f
}

fn take(f: &Folder, out: &str, name: &str, sim: &str) {
    let args = [
        "measure",
        "--pickup",
        name,
        "--source",
        "sim",
        "--sim",
        sim,
        "--rate",
        "48k",
        "--seconds",
        "0.7",
        "--rig",
        "north.toml",
        "--load",
        "cap=330p",
        "--out",
        out,
    ];
    f.run(&args);
}

#[test]
fn a_pot_load_is_judged() {
    let f = bench(20);
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
    let f = bench(0);
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
