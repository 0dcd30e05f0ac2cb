//! What a lot keeps: nothing measured, typed or said is lost, and nothing is called what it is not.

use std::io::Write;
use std::process::Stdio;

use serde_json::{Value, json};

use crate::bench::{Folder, Run, SHORT, flat};
use crate::screens::{RIG, shows};
use crate::tray::folder;

pub const GOOD: &str = "r=6k l=2.4H cs=120p noise=-80dBFS";
const HUM: &str = "r=6k l=2.4H cs=120p noise=-80dBFS hum=-30dBFS";
const OHMS: [&str; 2] = ["--columns", "ohms by meter A"];

/// The lot, on pickups of this kind.
fn tray(sim: &str) -> Vec<&str> {
    let args = [
        "tray",
        "--lot",
        "a",
        "--rig",
        "north.toml",
        "--load",
        "cap=330p",
        "--sim",
    ];
    [&args[..], &[sim], &SHORT].concat()
}

/// A lot of pickups of this kind, with these keys typed.
pub fn lot(f: &Folder, sim: &str, keys: &str, more: &[&str]) -> Run {
    f.typed(&[&tray(sim)[..], more].concat(), keys)
}

pub fn bench() -> Folder {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    f
}

pub fn file(f: &Folder) -> Value {
    serde_json::from_slice(&f.bytes("a/tray.json")).unwrap()
}

pub fn save(f: &Folder, tray: &Value) {
    f.write("a/tray.json", &serde_json::to_vec(tray).unwrap());
}

/// The entries that count, by number and record.
fn standing(tray: &Value) -> Vec<(u64, &str)> {
    let all = tray["entries"].as_array().unwrap().iter();
    all.filter(|e| e["withdrawn"] != true)
        .map(|e| (e["number"].as_u64().unwrap(), e["record"].as_str().unwrap_or("-")))
        .collect()
}

/// No record is unknown to its lot, and every figure and word is on both sides.
#[track_caller]
fn agreed(f: &Folder) {
    let tray = file(f);
    let entries = tray["entries"].as_array().unwrap();
    for name in f
        .list("a")
        .iter()
        .filter(|n| f.path("a").join(n).join("record.json").exists())
    {
        assert!(
            entries.iter().any(|e| e["record"] == name.as_str()),
            "{name} is unknown: {tray}"
        );
    }
    for e in entries
        .iter()
        .filter(|e| e["withdrawn"] != true && !e["record"].is_null())
    {
        let folder = format!("a/{}", e["record"].as_str().unwrap());
        let doc = f.run(&["note", &folder, "--json"]).ended(0).json();
        let notes = doc["records"][0]["notes"].as_array().unwrap();
        let words: Vec<&Value> = notes.iter().map(|n| &n["text"]).filter(|t| !t.is_null()).collect();
        assert_eq!(
            words,
            e["notes"].as_array().map_or(Vec::new(), |n| n.iter().collect()),
            "{e}"
        );
        let figures: Vec<&Value> = notes.iter().flat_map(|n| n["readings"].as_array().unwrap()).collect();
        for r in e["readings"].as_array().into_iter().flatten() {
            assert!(figures.contains(&r), "{r} is in the lot alone");
        }
        assert_eq!(figures.is_empty(), e["readings"].is_null(), "{e}: {figures:?}");
    }
}

#[test]
fn what_was_measured_over_stands_again() {
    let f = bench();
    lot(&f, GOOD, "\n6.05k\nn good one\nr\n6.10k\nu\nq\n", &OHMS).ended(0);
    let tray = file(&f);
    assert_eq!((standing(&tray), &tray["next"]), (vec![(1, "a-01")], &json!(2)));
    let first = &tray["entries"][0];
    assert_eq!(
        (&first["readings"][0]["ohm"], &first["notes"][0]),
        (&json!(6050.0), &json!("good one"))
    );
    agreed(&f);
    // Each step back is one: the number comes again, and then there is nothing more.
    let run = lot(&f, GOOD, "u\nu\nq\n", &[]).ended(0);
    assert!(
        run.err.contains("number 1 is taken back") && run.err.contains("nothing to take back"),
        "{}",
        run.err
    );
    assert_eq!((standing(&file(&f)), &file(&f)["next"]), (Vec::new(), &json!(1)));
    agreed(&f);
}

#[test]
fn a_number_stays_until_it_has_a_reading_or_is_left() {
    let f = bench();
    let open = "r=6k l=2.4H cs=120p open";
    let run = lot(&f, open, "\n\nn lead?\nq\n", &[]).ended(1);
    assert!(
        run.err.contains("a-01: Enter measures it again, s leaves it"),
        "{}",
        run.err
    );
    assert_eq!(
        (standing(&file(&f)), &file(&f)["next"]),
        (vec![(1, "a-01-2")], &json!(1))
    );
    // The same pickup after a look at its lead.
    lot(&f, GOOD, "\nq\n", &[]).ended(0);
    assert_eq!(
        (standing(&file(&f)), &file(&f)["next"]),
        (vec![(1, "a-01-3")], &json!(2))
    );
    assert_eq!(file(&f)["entries"][2]["notes"][0], "lead?");
    // One that is dead is left, and counted.
    let doc = lot(&f, open, "\ns\nq\n", &["--json"]).ended(1).json();
    assert_eq!(
        (&doc["counts"]["no_reading"], &doc["tray"]["next"]),
        (&json!(1), &json!(3))
    );
    // Leaving it can be taken back as well.
    lot(&f, GOOD, "u\nq\n", &[]).ended(1);
    assert_eq!((standing(&file(&f)).len(), &file(&f)["next"]), (2, &json!(2)));
    agreed(&f);
}

#[test]
fn what_another_take_can_cure_is_measured_again() {
    let f = folder();
    let on = ["--standard", "neck.toml", "--json"];
    let run = lot(&f, HUM, "k\n\nq\n", &on).ended(1);
    assert!(run.err.contains("nothing to keep"), "{}", run.err);
    assert!(
        run.err.contains("*** a-01  MEASURE AGAIN: mains hum ***"),
        "{}",
        run.err
    );
    assert!(
        run.err
            .contains("a-01: Enter measures it again, k keeps it, s leaves it"),
        "{}",
        run.err
    );
    let doc = run.json();
    assert_eq!(
        (&doc["counts"]["measure_again"], &doc["counts"]["pass"]),
        (&json!(1), &json!(0))
    );
    let run = lot(&f, HUM, "k\nq\n", &on).ended(0);
    assert!(
        run.err.contains("*** a-01  KEPT all the same: mains hum ***"),
        "{}",
        run.err
    );
    let doc = run.json();
    assert_eq!((&doc["counts"]["kept"], &doc["counts"]["pass"]), (&json!(1), &json!(0)));
    assert_eq!(
        (&doc["tray"]["next"], &doc["tray"]["entries"][0]["kept"]),
        (&json!(2), &json!(true))
    );
    // Enter measures the same number; the hum is gone.
    lot(&f, HUM, "\nq\n", &on).ended(1);
    let doc = lot(&f, GOOD, "\nq\n", &on).ended(0).json();
    assert_eq!((&doc["counts"]["pass"], &doc["tray"]["next"]), (&json!(1), &json!(3)));
    // A hum over a good one changes nothing, and its record is known.
    let run = lot(&f, HUM, "r\nq\n", &on).ended(0);
    assert!(run.err.contains("the one before stands"), "{}", run.err);
    // What is kept is judged: outside stays outside.
    let odd = "r=5.4k l=2.1H cs=115p noise=-80dBFS hum=-30dBFS";
    let run = lot(&f, odd, "\nk\nq\n", &["--standard", "neck.toml"]).ended(3);
    assert!(run.out.contains("a-03: OUTSIDE, and kept: mains hum"), "{}", run.out);
    agreed(&f);
    shows("tray-kept", &run);
}

/// A warning of the rig's is in every take of it: said once, and every take is judged.
#[test]
fn a_warning_of_the_rig_is_said_once() {
    let f = folder();
    let rig = RIG.replace("resistance_ohm = 1.0e6", "resistance_ohm = 150e3");
    f.write("north.toml", rig.as_bytes());
    f.take("low", GOOD, "low", &["--rig", "north.toml", "--load", "cap=330p"])
        .ended(0);
    f.run(&["standard", "low", "--allow", "f0=2% q=8%", "--out", "low.toml"])
        .ended(0);
    let run = lot(&f, GOOD, "\n\nq\n", &["--standard", "low.toml"]).ended(0);
    assert_eq!(
        run.err.matches("Of this rig, in every take: ").count(),
        1,
        "{}",
        run.err
    );
    assert_eq!(run.err.matches("*** a-0").count(), run.err.matches("PASS ***").count());
    assert!(
        run.out.contains("2 pass") && run.out.contains("Of this rig: the sound card's input"),
        "{}",
        run.out
    );
}

#[test]
fn ohms_are_judged_where_the_standard_allows_for_them() {
    let f = folder();
    let standard = [
        "standard",
        "master",
        "--allow",
        "f0=2% q=8% ohms=3%",
        "--out",
        "set.toml",
    ];
    f.run(&standard).refused(&["name of its meter", "coilwright note"]);
    f.run(&["note", "master", "--ohms", "6.00k by meter A", "--room", "20C"])
        .ended(0);
    let run = f.run(&standard).ended(0);
    assert!(run.out.contains("6.000 kΩ ± 3.0 % by meter A"), "{}", run.out);
    let text = String::from_utf8(f.bytes("set.toml")).unwrap();
    // What is written by hand is refused where it is not understood.
    f.write(
        "bad.toml",
        text.replace("allow = 0.02", "alow = 1\nallow = 0.02").as_bytes(),
    );
    lot(&f, GOOD, "", &["--standard", "bad.toml"]).refused(&["there is no key f0.alow"]);
    let on = [&["--standard", "set.toml", "--room", "30C"][..], &OHMS].concat();
    // 6.24 kilohms at 30 degrees are 6.00 at 20; 6.40 are 6.16, and 6.60 are too many.
    let run = lot(&f, GOOD, "\n6.24k\n\n6.40k\n\n6.60k\n6.60k\n\n\nq\n", &on).ended(3);
    assert_eq!(run.err.matches("type it once more").count(), 1, "{}", run.err);
    assert!(
        run.err
            .contains("outside what the standard allows (5.820 kΩ ... 6.180 kΩ)"),
        "{}",
        run.err
    );
    let tray = file(&f);
    let calls: Vec<&Value> = tray["entries"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| &e["judged"]["call"])
        .collect();
    assert_eq!(calls, ["pass", "pass", "outside", "pass"]);
    let ohms = &tray["entries"][2]["judged"]["against"][0];
    assert_eq!(
        (&ohms["quantity"], &ohms["answer"]),
        (&"ohms".into(), &"different".into())
    );
    let off = ohms["off"].as_f64().unwrap();
    assert!((off - 0.0584).abs() < 1e-4, "{ohms}");
    assert!(run.out.contains("only the ohms are off"), "{}", run.out);
    assert!(
        run.out.contains("Ohms not judged, as none were typed: a-04"),
        "{}",
        run.out
    );
    // Another ohmmeter's are not held against it, and that is said.
    let run = lot(&f, GOOD, "\n6.60k\nq\n", &["--columns", "ohms by meter B"]).ended(3);
    assert!(
        run.err.contains("judges ohms by meter A, and nothing asks for them"),
        "{}",
        run.err
    );
    assert_eq!(file(&f)["entries"][4]["judged"]["call"], "pass");
}

/// Without a standard a figure is held against its mates, from five on.
#[test]
fn a_figure_far_from_its_mates_is_typed_twice() {
    let f = bench();
    let keys = "\n6.50k\nu\n\n6.05k\n\n6.10k\n\n6.00k\n\n6.04k\n\n6.08k\n\n6.50k\n6.50k\n\n6.15k\nq\n";
    let run = lot(&f, GOOD, keys, &OHMS).ended(0);
    let far = "far from the others of this lot (6.000 kΩ ... 6.100 kΩ): type it once more";
    assert_eq!(flat(&run.err).matches(far).count(), 1, "{}", run.err);
    let tray = file(&f);
    let ohms: Vec<f64> = tray["entries"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|e| e["readings"][0]["ohm"].as_f64())
        .collect();
    assert_eq!(ohms, [6500.0, 6050.0, 6100.0, 6000.0, 6040.0, 6080.0, 6500.0, 6150.0]);
}

#[test]
fn fields_of_a_later_version_survive() {
    let f = folder();
    let on = [&["--standard", "neck.toml"][..], &OHMS].concat();
    lot(&f, GOOD, "\n6.05k\n\n6.00k\nq\n", &on).ended(0);
    let mut tray = file(&f);
    let places = [
        "",
        "/standard",
        "/standard/f0",
        "/setting",
        "/columns/0",
        "/entries/0",
        "/entries/0/f0_hz",
        "/entries/0/readings/0",
        "/entries/0/judged",
        "/entries/1",
    ];
    for place in places {
        tray.pointer_mut(place).unwrap()["of_tomorrow"] = json!({ "x": [1, null] });
    }
    save(&f, &tray);
    lot(&f, GOOD, "r\n5.99k\nn x\nu\nu\nr\n\n\n\nq\n", &[]).ended(0);
    let new = file(&f);
    for place in places {
        assert_eq!(
            new.pointer(place).unwrap()["of_tomorrow"],
            json!({ "x": [1, null] }),
            "{place}: {new}"
        );
    }
    assert_eq!(new["entries"][2]["of_tomorrow"], Value::Null);
}

/// Cut off between a record, a note and tray.json, at every place where that may happen.
#[test]
fn what_lies_beside_is_taken_in() {
    let f = folder();
    let on = [&["--standard", "neck.toml"][..], &OHMS].concat();
    lot(&f, GOOD, "\n6.05k\nn one\nq\n", &on).ended(0);
    let before = file(&f);
    lot(&f, GOOD, "r\n6.07k\nn two\n\n6.10k\nq\n", &[]).ended(0);
    let after = file(&f);
    // Before the records were entered: the second take of 1, and 2 with its figure.
    save(&f, &before);
    let run = lot(&f, GOOD, "", &[]).ended(0);
    assert_eq!(
        run.err.matches("cut off before this was entered").count(),
        2,
        "{}",
        run.err
    );
    agreed(&f);
    let now = file(&f);
    assert_eq!(
        (standing(&now), &now["next"]),
        (vec![(1, "a-01-2"), (2, "a-02")], &after["next"])
    );
    assert_eq!(
        (&now["entries"][1]["notes"], &now["entries"][1]["readings"]),
        (&json!(["one", "two"]), &after["entries"][1]["readings"])
    );
    assert_eq!(now["entries"][2]["judged"]["call"], "pass");
    // Before what belongs to the pickup was carried over to the new record.
    save(&f, &before);
    for name in f.list("a/a-01-2").iter().filter(|n| n.starts_with("note-")) {
        std::fs::remove_file(f.path("a/a-01-2").join(name)).unwrap();
    }
    lot(&f, GOOD, "", &[]).ended(0);
    agreed(&f);
    assert_eq!(file(&f)["entries"][1]["notes"], json!(["one"]));
    assert_eq!(file(&f)["entries"][1]["readings"][0]["ohm"], 6050.0);
    // Noted outside of the tray, and taken back there.
    f.run(&["note", "a/a-02", "--text", "chip"]).ended(0);
    f.run(&["note", "a/a-02", "--withdraw", "1"]).ended(0);
    lot(&f, GOOD, "", &[]).ended(0);
    agreed(&f);
    assert_eq!(
        (&file(&f)["entries"][2]["notes"], &file(&f)["entries"][2]["readings"]),
        (&json!(["chip"]), &Value::Null)
    );
    // A word that only the lot had, as earlier versions wrote it.
    let mut tray = file(&f);
    tray["entries"][2]["notes"] = json!(["chip", "lost"]);
    save(&f, &tray);
    lot(&f, GOOD, "", &[]).ended(0);
    agreed(&f);
    // A lot that has lost its file, and a take that was never analysed.
    std::fs::remove_file(f.path("a/tray.json")).unwrap();
    std::fs::create_dir(f.path("a/a-03")).unwrap();
    f.write("a/a-03/take.wav", b"RIFF");
    let run = lot(&f, GOOD, "", &on).ended(0);
    assert!(
        run.err.contains("a-03 holds a take that was never analysed"),
        "{}",
        run.err
    );
    agreed(&f);
    assert_eq!(standing(&file(&f)), [(1, "a-01-2"), (2, "a-02")]);
}

/// The standard is the lot's from the first sound on.
#[test]
fn the_first_take_knows_its_lot() {
    let f = folder();
    let args = [
        &[
            "tray",
            "--lot",
            "a",
            "--standard",
            "neck.toml",
            "--rig",
            "north.toml",
            "--load",
            "cap=330p",
            "--sim",
            GOOD,
        ][..],
        &SHORT,
    ]
    .concat();
    let mut child = f
        .command(&args)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    child.stdin.as_mut().unwrap().write_all(b"\n").unwrap();
    let start = std::time::Instant::now();
    while !f.path("a/a-01/record.json").exists() {
        assert!(start.elapsed().as_secs() < 60);
        std::thread::sleep(std::time::Duration::from_micros(200));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    lot(&f, GOOD, "", &[]).ended(0);
    agreed(&f);
    assert_eq!(
        (&file(&f)["entries"][0]["judged"]["call"], &file(&f)["standard"]["name"]),
        (&json!("pass"), &json!("neck set"))
    );
}

/// A byte that is no text is asked again, and the end of what is typed keeps everything.
#[test]
fn slips_of_the_fingers_cost_nothing() {
    let f = bench();
    let mut command = f.command(&[&tray(GOOD)[..], &["--columns", "ohms by meter A, gauss by probe C"]].concat());
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(b"\xff\n\n6\xff05k\n6.05k\n41")
        .unwrap();
    let run = Run::from(child.wait_with_output().unwrap()).ended(0);
    assert_eq!(
        run.err.matches("that is no text; type it once more").count(),
        2,
        "{}",
        run.err
    );
    assert_eq!(file(&f)["entries"][0]["readings"][0]["ohm"], 6050.0);
    agreed(&f);
}
