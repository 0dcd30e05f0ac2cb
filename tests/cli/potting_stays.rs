//! Wax without a history: what stays out of the wax, and a dip measured Enter by Enter.

use serde_json::Value;

use crate::bench::{Folder, Run, SHORT};
use crate::potting::{edited, json, rested, scale_f0, shop};
use crate::screens::{RIG, shows};

/// A rig on its first day: nothing is known of it, and nothing was when the records were made.
fn new_rig() -> Folder {
    let f = shop();
    std::fs::remove_file(f.path("north.checks.json")).unwrap();
    f
}

/// The n-th placement of a pickup on this day, f0 being so many times what it was.
fn placed(f: &Folder, side: &str, name: &str, n: usize, day: &str, times: f64) {
    edited(f, "good", &format!("{side}/{name}-{n}"), |r| {
        r["pickup"]["name"] = name.into();
        r["taken_at"] = format!("2026-03-{day}T10:0{n}:00+01:00").into();
        (r["resonance"]["u_day"], r["resonance"]["u_lay"]) = (Value::Null, Value::Null);
        scale_f0(r, times);
        let q = r["resonance"]["q"]["value"].as_f64().unwrap();
        r["resonance"]["q"]["value"] = (q * (1.0 + 10.0 * (LAID[n] - 1.0))).into();
    });
}

const LAID: [f64; 3] = [1.0, 1.0005, 0.9995];

/// Between the days a lead brought all of them down by 1.5 %, and wax one of them by as much again.
fn dip() -> Folder {
    let f = new_rig();
    for (side, day, lead) in [("before", "02", 1.0), ("after", "04", 0.985)] {
        for (n, laid) in LAID.into_iter().enumerate() {
            placed(&f, side, "ref", n, day, lead * laid);
            placed(&f, side, "plain", n, day, lead * laid);
        }
        let wax = if side == "after" { 0.985 } else { 1.0 };
        placed(&f, side, "waxed", 0, day, lead * wax);
    }
    f
}

fn judge(f: &Folder, more: &[&str]) -> Run {
    f.run(&rested("before", "after", more))
}

fn verdicts(doc: &Value) -> Vec<(String, String)> {
    let word = |v: &Value| v.as_str().unwrap().to_owned();
    let pairs = doc["pairs"].as_array().unwrap().iter();
    let mut out: Vec<_> = pairs.map(|p| (word(&p["pickup"]), word(&p["verdict"]))).collect();
    out.sort();
    out
}

fn seen(doc: &Value, want: &[(&str, &str)]) {
    let want: Vec<_> = want.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect();
    assert_eq!(verdicts(doc), want, "{doc}");
}

/// What stays out tells the lead from the wax; without it both are wax, or nobody can tell.
#[test]
fn what_stays_out_tells_a_lead_from_wax() {
    let f = dip();
    let doc = judge(&f, &["--stays", "ref", "--json"]).ended(0).json();
    seen(&doc, &[("plain", "unchanged"), ("waxed", "wax")]);
    assert_eq!(doc["laying"]["freedom"], 8, "{}", doc["laying"]);
    assert_eq!(doc["laying"]["placements"], 12);
    assert!((doc["laying"]["f0"].as_f64().unwrap() - 5e-4).abs() < 1e-5);
    assert!(
        doc["pairs"]
            .as_array()
            .unwrap()
            .iter()
            .all(|p| p["carried_by"][0] == "ref")
    );
    assert_eq!(doc["stayed"][0]["pickup"], "ref");
    let moved = doc["stayed"][0]["changed"][0]["difference"].as_f64().unwrap();
    assert!((moved - 0.985f64.ln()).abs() < 1e-6, "{moved}");
    // What was read stands as it was read.
    let read = &doc["pairs"][0]["read"]["f0_hz"];
    assert!(read[1].as_f64().unwrap() < 0.987 * read[0].as_f64().unwrap(), "{read}");
    assert!(!doc["notes"].to_string().contains("usual value"), "{}", doc["notes"]);
    shows("potting-stays", &judge(&f, &["--stays", "ref"]));
    let details = judge(&f, &["--stays", "ref", "--details"]).ended(0).out;
    assert!(
        details.contains("within the limits: f0") && details.contains("winding"),
        "{details}"
    );
    let alone = judge(&f, &["--json"]).ended(0).json();
    assert!(verdicts(&alone).contains(&("plain".into(), "wax".into())), "{alone}");
}

/// Its records may lie elsewhere, and go to the side of their day; those of another day, and a pickup with none, tell nothing.
#[test]
fn records_of_what_stays_out_are_found_by_their_day() {
    let f = dip();
    std::fs::create_dir(f.path("out")).unwrap();
    for side in ["before", "after"] {
        for n in 0..3 {
            let name = format!("ref-{n}");
            let to = f.path(&format!("out/{side}-{name}"));
            std::fs::rename(f.path(&format!("{side}/{name}")), to).unwrap();
        }
    }
    let doc = judge(&f, &["--stays", "out", "--json"]).ended(0).json();
    seen(&doc, &[("plain", "unchanged"), ("waxed", "wax")]);
    // By its name, from the notebook.
    let doc = judge(&f, &["--stays", "ref", "--json"]).ended(0).json();
    seen(&doc, &[("plain", "unchanged"), ("waxed", "wax")]);
    for n in 0..3 {
        let place = format!("out/after-ref-{n}");
        edited(&f, &place, &place, |r| {
            r["taken_at"] = format!("2026-03-05T10:0{n}:00+01:00").into()
        });
    }
    let doc = judge(&f, &["--stays", "out", "--json"]).ended(0).json();
    assert!(doc["pairs"][0]["carried_by"].as_array().unwrap().is_empty(), "{doc}");
    assert!(
        doc["notes"].to_string().contains("was not measured on both sides"),
        "{}",
        doc["notes"]
    );
    judge(&f, &["--stays", "nobody"]).refused(&["nobody"]);
    judge(&f, &["--stays", "plain", "--stays", "waxed"]).refused(&["nothing to compare"]);
    judge(&f, &["--load", "none"]).refused(&["--load", "--sitting"]);
}

/// Two that stayed out and went different ways: one of them was touched, and nobody knows which.
#[test]
fn two_that_contradict_each_other_carry_nothing() {
    let f = dip();
    for (side, day, times) in [("before", "02", 1.0), ("after", "04", 1.01)] {
        for (n, laid) in LAID.into_iter().enumerate() {
            placed(&f, side, "touched", n, day, times * laid);
        }
    }
    let doc = judge(&f, &["--stays", "ref", "--stays", "touched", "--json"])
        .ended(0)
        .json();
    seen(&doc, &[("plain", "cannot-tell"), ("waxed", "cannot-tell")]);
    assert!(
        doc["pairs"][0]["text"]
            .as_str()
            .unwrap()
            .contains("contradict each other"),
        "{doc}"
    );
    assert_eq!(doc["lot"]["verdict"], "cannot-tell");
}

/// Cold again is within 0.5 % of the ohms before, on one meter, whether or not anybody told the room.
#[test]
fn ohms_that_are_not_back_are_still_warm() {
    let f = new_rig();
    for (to, ohms) in [("b", 6000.0), ("back", 6027.0), ("warm", 6033.0), ("less", 5500.0)] {
        edited(&f, "good", to, |r| {
            (r["pickup"]["r_ohm"], r["pickup"]["temperature_c"]) = (ohms.into(), Value::Null);
        });
    }
    let run = |after: &str, more: &[&str]| {
        f.run(&[&["potting", "b", "--after", after, "--rig", "north.toml"][..], more].concat())
    };
    let doc = run("back", &["--json"]).ended(0).json();
    assert_ne!(doc["pairs"][0]["verdict"], "warm", "{doc}");
    assert!(
        doc["notes"].to_string().contains("back within 0.5 %"),
        "{}",
        doc["notes"]
    );
    assert_eq!(doc["pairs"][0]["read"]["ohm"], serde_json::json!([6000.0, 6027.0]));
    let warm = run("warm", &[]).ended(1).out;
    assert!(warm.contains("still warm") && warm.contains("6.000 → 6.033"), "{warm}");
    assert_eq!(
        run("less", &["--json"]).ended(3).json()["pairs"][0]["reason"]["code"],
        "resistance"
    );
}

/// One that took hardly any is named by its mates alone, from six on, and of three by what this wax did before.
#[test]
fn who_took_less_than_their_mates_is_named() {
    let f = shop();
    let pickup = |side: &str, name: &str, share: f64| {
        edited(&f, "good", &format!("{side}/{name}"), |r| {
            r["pickup"]["name"] = name.into();
            scale_f0(r, 1.0 - share);
        });
    };
    let dip = |n: usize, dry: f64| {
        for i in 0..n {
            let took = if i == 1 { dry } else { 0.018 + 0.0005 * (i % 3) as f64 };
            pickup(&format!("before-{n}"), &format!("p{n}-{i}"), 0.0);
            pickup(&format!("after-{n}"), &format!("p{n}-{i}"), took);
        }
        let (before, after) = (format!("before-{n}"), format!("after-{n}"));
        f.run(&rested(&before, &after, &["--keep", "--json"])).ended(0).json()
    };
    let named = |doc: &Value| -> Vec<(String, bool)> {
        let pairs = doc["pairs"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|p| !p["took_less"].is_null());
        pairs
            .map(|p| {
                (
                    p["pickup"].as_str().unwrap().to_owned(),
                    p["took_less"]["by_history"] == true,
                )
            })
            .collect()
    };
    // Three mates tell nothing by themselves.
    assert_eq!(named(&dip(3, 0.010)), []);
    assert_eq!(named(&dip(8, 0.010)), [("p8-1".to_owned(), false)]);
    assert_eq!(named(&dip(4, 0.0185)), []);
    // By now fifteen are known, two dry ones among them.
    assert_eq!(named(&dip(5, 0.001)), [("p5-1".to_owned(), true)]);
}

/// Seven takes before the wax and seven after it; the lead brings 2 pF, the wax 20.
fn bench() -> Folder {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    let line = |name: &str, n: usize, more_pf: f64| {
        let wax = if name == "soaked" && more_pf > 0.0 { 20.0 } else { 0.0 };
        let laid = 2.4 * [1.0, 1.001, 0.999][n];
        format!("r=6k l={laid}H cs={}p noise=-80dBFS", 120.0 + more_pf + wax)
    };
    let order = [
        ("ref", 0),
        ("plain", 0),
        ("soaked", 0),
        ("ref", 1),
        ("plain", 1),
        ("ref", 2),
        ("plain", 2),
    ];
    let half = |more_pf: f64| order.map(|(name, n)| line(name, n, more_pf)).join("\n");
    f.write("dip.txt", format!("{}\n{}\n", half(0.0), half(2.0)).as_bytes());
    f
}

fn sitting(f: &Folder, keys: &str, more: &[&str]) -> Run {
    let args = ["potting", "--sitting", "dip", "--rig", "north.toml", "--sim", "dip.txt"];
    f.typed(&[&args[..], &SHORT, more].concat(), keys)
}

const NAMES: [&str; 6] = ["plain", "soaked", "--stays", "ref", "--load", "cap=330p"];

/// Before the wax, cut off and gone on with; after it; and what became of them, without any history.
#[test]
fn a_dip_is_measured_enter_by_enter() {
    let f = bench();
    let run = sitting(&f, "\nwhat\n6.05k\n\n\n", &NAMES).ended(0);
    assert!(run.out.contains("3 takes to go"), "{}{}", run.out, run.err);
    assert!(
        run.err
            .contains("before the wax, 1 of 7: ref (1 of 3), which stays out of the wax"),
        "{}",
        run.err
    );
    assert!(run.err.contains("SIMULATED"), "{}", run.err);
    // The names, the load and the rig are those it was begun with.
    let run = sitting(&f, "\n\n\n", &[]).ended(0);
    assert!(
        run.err.contains("5 of 7: plain, laid down anew (2 of 3)"),
        "{}",
        run.err
    );
    assert!(
        run.out.contains("Now the wax") && run.out.contains("potting --sitting dip"),
        "{}",
        run.out
    );
    assert_eq!(
        f.list("dip/before"),
        ["plain", "plain-2", "plain-3", "ref", "ref-2", "ref-3", "soaked"]
    );
    let first = f.record("dip/before/plain");
    assert_eq!(
        (&first["pickup"]["r_ohm"], &first["pickup"]["stage"]),
        (&6050.0.into(), &"before wax".into())
    );
    assert!(f.record("dip/before/ref")["pickup"]["stage"].is_null());
    // Nothing was judged, and nothing is lost, where it ends before anything was measured.
    let run = sitting(&f, "q\n", &[]).ended(0);
    assert!(
        run.err.contains("after the wax, 1 of 7: ref") && run.out.contains("7 takes to go"),
        "{}",
        run.out
    );
    next_second();
    let run = sitting(&f, "\n6.06k\n\n\n\n\n6.3k\n", &["--json"]).ended(0);
    assert!(run.err.contains("still warm"), "{}", run.err);
    let doc = run.json();
    seen(&doc, &[("plain", "unchanged"), ("soaked", "wax")]);
    // Twice two for each of two pickups, but for the warm one, which is left out.
    assert_eq!(
        (&doc["laying"]["freedom"], &doc["stayed"][0]["pickup"]),
        (&7.into(), &"ref".into())
    );
    // Once more: there is nothing left to measure.
    let again = sitting(&f, "", &["--json", "--out", "told"]).ended(0).json();
    assert_eq!(again["pairs"], doc["pairs"]);
    assert_eq!(f.list("told"), ["potting.json", "potting.png", "potting.svg"]);
    sitting(&f, "", &["--out", "told"]).refused(&["potting"]);
}

/// The built-in bench makes one take twice within a second.
fn next_second() {
    std::thread::sleep(std::time::Duration::from_millis(1100));
}

#[test]
fn a_dip_is_gone_on_with_as_it_was_begun() {
    let f = bench();
    let none = sitting(&f, "", &[]);
    none.refused(&["a dip is begun with the pickups"]);
    assert!(!f.path("dip").exists());
    sitting(&f, "", &["ref", "--stays", "ref"]).refused(&["named twice"]);
    sitting(&f, "\n\nq\n", &NAMES).ended(0);
    sitting(&f, "", &["plain"]).refused(&["begun with plain, soaked, and ref staying out"]);
    sitting(&f, "", &["--load", "cap=470p"]).refused(&["was begun on north bench, load cap=330p", "load cap=470p"]);
    let live = f.run(&["potting", "--sitting", "dip"]);
    live.refused(&["holds simulated takes"]);
    // Skipped ones are asked for again, and w says that they have been in the wax: then what was not read before is not asked for.
    next_second();
    let run = sitting(&f, "s\nw\n\n\nq\n", &["--json"]).ended(0);
    assert!(run.err.contains("after the wax, 2 of 6: plain (1 of 3)"), "{}", run.err);
    seen(&run.json(), &[("plain", "unchanged")]);
    assert!(json(&f, "dip/sitting.json")["waxed"] == true && !run.err.contains("6: soaked"));
    f.write("dip/sitting.json", b"{}");
    sitting(&f, "", &[]).refused(&["sitting.json tells of no dip"]);
}
