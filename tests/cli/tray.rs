//! A lot on the bench, driven by its keys.

use coilwright::stats::tolerance::two_sided;
use std::io::Write;
use std::process::Stdio;

use crate::bench::{Folder, Made, Run, SHORT};
use crate::screens::{RIG, shows};

const GOOD: &str = "r=6k l=2.4H cs=120p noise=-80dBFS";

/// A rig, and a standard from one master.
pub fn folder() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, made)
}

fn made() -> Folder {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    let on = ["--rig", "north.toml", "--load", "cap=330p"];
    f.take("master", GOOD, "master", &on).ended(0);
    let args = [
        "standard",
        "master",
        "--allow",
        "f0=2% q=8% level=2dB",
        "--name",
        "neck set",
        "--out",
        "neck.toml",
    ];
    f.run(&args).ended(0);
    f
}

/// The tray with these keys typed.
fn tray(f: &Folder, keys: &str, more: &[&str]) -> Run {
    f.typed(&[&NECK_12[..], &SHORT, more].concat(), keys)
}

/// A lot on the bench of [`folder`].
pub const NECK_12: [&str; 7] = ["tray", "--lot", "neck-12", "--rig", "north.toml", "--load", "cap=330p"];

/// Forty pickups, a line of the bench for each; six with a fault.
pub fn day() -> String {
    let faults = [
        (5, "r=6k l=2.4H cs=120p open"),
        (11, "r=5.2k l=1.9H cs=120p loss=80k noise=-80dBFS"),
        (17, "r=6k l=2.4H cs=120p polarity=-1 noise=-80dBFS"),
        (23, "r=5.4k l=2.1H cs=115p noise=-80dBFS"),
        (29, "r=6k l=2.4H cs=190p noise=-80dBFS"),
        (36, "r=6k l=2.4H cs=120p m=8u noise=-80dBFS"),
    ];
    let lines: Vec<String> = (1..=40)
        .map(|i| match faults.iter().find(|x| x.0 == i) {
            Some((_, words)) => (*words).to_owned(),
            None => format!(
                "r=6k l={:.4}H cs=120p noise=-80dBFS",
                2.4 * (1.0 + 0.002 * f64::from(i % 7 - 3))
            ),
        })
        .collect();
    lines.join("\n")
}

/// Forty pickups with six faults among them.
#[test]
fn a_day_at_the_tray() {
    let f = folder();
    f.write("day.txt", day().as_bytes());
    let more = ["--standard", "neck.toml", "--sim", "day.txt"];
    // Half of the day; then the power goes, as it were.
    // The number that gives no reading stays until it is left.
    let run = tray(&f, &format!("{}s\n{}", "\n".repeat(5), "\n".repeat(15)), &more);
    assert_eq!(run.status, 3, "{}", run.err);
    assert!(run.err.contains("*** neck-12-01  PASS ***"), "{}", run.err);
    assert!(run.err.contains("*** neck-12-05  NO READING, measure again ***"));
    assert!(run.err.contains("shorted turns") && run.err.contains("the other way"));
    // The other half goes on where it stopped.
    let run = tray(
        &f,
        // The one that is too weak beside the hum is no better another time, and kept.
        &format!("{}k\n{}q\n", "\n".repeat(16), "\n".repeat(4)),
        &[&more[..], &["--json"]].concat(),
    );
    let doc = run.json();
    let c = &doc["counts"];
    assert_eq!(
        (c["pass"].as_u64(), c["outside"].as_u64(), c["no_reading"].as_u64()),
        (Some(34), Some(5), Some(1)),
        "{c}"
    );
    let outside: Vec<u64> = doc["tray"]["entries"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|e| e["judged"]["call"] == "outside")
        .map(|e| e["number"].as_u64().unwrap())
        .collect();
    assert_eq!(outside, [11, 17, 23, 29, 36]);
    assert!(f.path("neck-12/tray.png").exists() && f.path("neck-12/neck-12-40/record.json").exists());
}

#[test]
fn keys_do_what_they_say() {
    let f = folder();
    let more = ["--standard", "neck.toml", "--sim", GOOD];
    let run = tray(&f, "u\nr\nn x\n\ns\n\nn a chip in the bobbin\nr\nu\nwhat\nq\n", &more);
    assert_eq!(run.status, 0, "{}", run.err);
    shows("tray", &run);
    let doc = tray(&f, "", &[&more[..], &["--json"]].concat()).json();
    let entries = doc["tray"]["entries"].as_array().unwrap();
    // Measured, skipped, measured, measured again, that taken back.
    let seen: Vec<(u64, bool)> = entries
        .iter()
        .map(|e| (e["number"].as_u64().unwrap(), e["withdrawn"].as_bool().unwrap_or(false)))
        .collect();
    assert_eq!(seen, [(1, false), (2, false), (3, false), (3, true)]);
    assert_eq!(entries[2]["notes"][0], "a chip in the bobbin");
    assert_eq!(doc["tray"]["next"], 4);
    // No record is ever overwritten: the same number again lies beside the first.
    assert!(f.path("neck-12/neck-12-03/record.json").exists() && f.path("neck-12/neck-12-03-2/record.json").exists());
}

#[test]
fn a_tray_that_cannot_be_begun_says_why() {
    let f = folder();
    tray(&f, "", &["--standard", "none.toml"]).refused(&["none.toml", "check the path"]);
    f.write("bad.toml", b"schema = \"coilwright/standard/1\"\n");
    tray(&f, "", &["--standard", "bad.toml"]).refused(&["bad.toml line 1 is no standard"]);
    f.run(&["tray", "--lot", "a/b", "--source", "sim"])
        .refused(&["a lot's name"]);
    tray(&f, "\n", &["--standard", "neck.toml", "--sim", GOOD]).ended(0);
    let other = String::from_utf8(f.bytes("neck.toml"))
        .unwrap()
        .replace("version = 1", "version = 2");
    f.write("neck.toml", other.as_bytes());
    tray(&f, "", &["--standard", "neck.toml"]).refused(&["begun with another standard"]);
    f.write("neck-12/tray.json", b"{}");
    tray(&f, "", &[]).refused(&["tray.json is no tray"]);
}

/// Limits from twenty good ones, for f0, Q and level together: each 98.33 % with 98.33 % confidence.
#[test]
fn limits_are_proposed_from_twenty_good_ones() {
    let f = folder();
    let mut args = vec!["standard".to_owned()];
    for i in 0..20 {
        let out = format!("g{i}");
        if i < 5 {
            let sim = format!("r=6k l={:.4}H cs=120p noise=-80dBFS", 2.4 + 0.01 * f64::from(i));
            f.take("good", &sim, &out, &["--rig", "north.toml"]).ended(0);
        } else {
            // Of each of the five there are four.
            let mut record = f.record(&format!("g{}", i % 5));
            record["id"] = format!("copy {i}").into();
            std::fs::create_dir(f.path(&out)).unwrap();
            f.write(&format!("{out}/record.json"), &serde_json::to_vec(&record).unwrap());
        }
        args.push(out);
    }
    let few: Vec<&str> = args
        .iter()
        .take(6)
        .map(String::as_str)
        .chain(["--out", "few.toml"])
        .collect();
    f.run(&few).refused(&["too few to propose", "--allow"]);
    let all: Vec<&str> = args
        .iter()
        .map(String::as_str)
        .chain(["--out", "all.toml", "--json"])
        .collect();
    let doc = f.run(&all).ended(0).json();
    let factor = doc["proposal"]["factor"].as_f64().unwrap();
    assert_eq!(Some(factor), two_sided(20, 1.0 - 0.05 / 3.0, 1.0 - 0.05 / 3.0));
    assert!(factor > 2.7603 && doc["proposal"]["one_lot"] == false, "{doc}");
    // L in five steps of 0.01 H: ln f0 in steps of 0.2 %, a standard deviation of 0.30 %.
    let allow = doc["standard"]["f0"]["allow"].as_f64().unwrap();
    assert!((allow / (factor * 0.00298) - 1.0).abs() < 0.05, "{allow}");
    shows(
        "standard",
        &f.run(&["standard", "master", "--allow", "f0=2% q=8%", "--out", "one.toml"]),
    );
}

/// On another rig the level says nothing; under another load nothing does.
#[test]
fn a_reading_on_another_rig_is_judged_by_what_can_be() {
    let f = folder();
    let on = |lot: &str, rig: &str, load: &str, standard: &str| {
        let args = ["tray", lot, "--sim", GOOD, "--standard", standard];
        let on = ["--rig", rig, "--load", load, "--json"];
        let doc = f.typed(&[&args[..], &SHORT, &on].concat(), "\nq\n").json();
        doc["tray"]["entries"][0]["judged"].clone()
    };
    // What its file says more makes it no other rig.
    let more = RIG.replace("[input]", "[input]\nresistance_tolerance = 0.01");
    f.write("north.toml", more.as_bytes());
    let own = on("a", "north.toml", "cap=330p", "neck.toml");
    assert_eq!(
        (&own["call"], &own["against"][2]["quantity"]),
        (&"pass".into(), &"level".into())
    );
    f.write("south.toml", RIG.replace("north bench", "south bench").as_bytes());
    let other = on("b", "south.toml", "cap=330p", "neck.toml");
    assert_eq!(
        (&other["call"], other["against"].as_array().unwrap().len()),
        (&"cannot-tell".into(), 2)
    );
    let reason = other["reasons"][0].as_str().unwrap();
    assert!(reason.contains("another rig's exciter"), "{other}");
    let other = on("c", "north.toml", "cap=470p", "neck.toml");
    assert_eq!(
        other["reasons"][0],
        "measured under cap=470p, and the standard is of cap=330p: give --load \"cap=330p\""
    );
}

/// Two at one lot would write over each other's; one that was killed lets go.
#[test]
fn a_lot_is_on_one_tray_at_a_time() {
    let f = folder();
    let args = [&["tray", "--lot", "a", "--sim", GOOD][..], &SHORT].concat();
    let mut command = f.command(&args);
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let mut first = command.spawn().unwrap();
    let mut keys = first.stdin.take().unwrap();
    keys.write_all(b"\n").unwrap();
    let start = std::time::Instant::now();
    while !f.path("a/tray.json").exists() {
        assert!(start.elapsed().as_secs() < 60);
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    f.run(&args).refused(&["on another tray", "end that one with q"]);
    first.kill().unwrap();
    first.wait().unwrap();
    f.run(&args).ended(0);
}

/// What stands is lost neither to a plug that was out nor to another load.
#[test]
fn a_reading_stands_until_there_is_a_better_one() {
    let f = folder();
    let on = |keys: &str, more: &[&str]| {
        let args = [
            "tray",
            "--lot",
            "a",
            "--standard",
            "neck.toml",
            "--rig",
            "north.toml",
            "--json",
        ];
        f.typed(&[&args[..], &SHORT, more].concat(), keys)
    };
    let good = ["--sim", GOOD, "--load", "cap=330p", "--columns", "ohms by meter A"];
    on("\n6.05k\nq\n", &good).ended(0);
    // Rig and load need not be said again.
    let args = ["tray", "--lot", "a", "--json", "--sim", "silent"];
    let run = f.typed(&[&args[..], &SHORT].concat(), "r\nq\n").ended(0);
    assert!(run.err.contains("the one before stands"), "{}", run.err);
    let doc = run.json();
    assert_eq!(
        (doc["counts"]["pass"].as_u64(), doc["counts"]["no_reading"].as_u64()),
        (Some(1), Some(0))
    );
    on("q\n", &["--sim", GOOD, "--load", "cap=470p"])
        .refused(&["was begun on north bench, load cap=330p", "load cap=470p"]);
    // Taken back, and another pickup under that number: the first one's ohms are none of its.
    let run = on("u\n\n\nr\n\nq\n", &good).ended(0);
    assert!(!run.err.contains("Enter keeps"), "{}", run.err);
}

#[test]
fn a_standard_is_of_pickups_that_go_together() {
    let f = folder();
    let allow = ["--allow", "f0=2% q=8%", "--out", "x.toml"];
    f.run(&[&["standard", "master", "master"][..], &allow].concat())
        .refused(&["given twice"]);
    let on = [
        "--rig",
        "north.toml",
        "--load",
        "cap=330p",
        "--over",
        "second coil",
        "--seed",
        "4",
    ];
    f.take("other", GOOD, "other", &on).ended(0);
    f.run(&[&["standard", "master", "other"][..], &allow].concat())
        .refused(&["over different coils (not told and second coil)"]);
}

/// What was typed and said of a pickup stays with it when it is measured again, though the questions are never answered.
#[test]
fn what_belongs_to_a_pickup_stays_with_it() {
    let f = folder();
    let on = |keys: &str| {
        let args = [
            "tray",
            "--lot",
            "a",
            "--rig",
            "north.toml",
            "--load",
            "cap=330p",
            "--sim",
            GOOD,
            "--json",
        ];
        let columns = ["--columns", "ohms by meter A, gauss by probe C"];
        f.typed(&[&args[..], &columns, &SHORT].concat(), keys).ended(0).json()
    };
    on("\n6.05k\n400 410 405\nn dead pole\nq\n");
    let doc = on("r\nq\n");
    let last = doc["tray"]["entries"].as_array().unwrap().last().unwrap().clone();
    assert_eq!(last["record"], "a-01-2");
    assert_eq!(
        (last["readings"].as_array().unwrap().len(), &last["notes"][0]),
        (2, &"dead pole".into()),
        "{last}"
    );
    // It lies beside the new record too.
    let noted = f.run(&["note", "a/a-01-2"]).ended(0).out;
    assert!(noted.contains("dead pole") && noted.contains("6.05 kΩ"), "{noted}");
    // A new figure takes the old one's place.
    let doc = on("r\n6.10k\n\nq\n");
    let last = doc["tray"]["entries"].as_array().unwrap().last().unwrap().clone();
    let ohms: Vec<f64> = last["readings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|r| r["ohm"].as_f64())
        .collect();
    assert_eq!(ohms, [6100.0]);
}

/// Without a standard nothing is judged, but for what is no reading.
#[test]
fn no_reading_needs_no_standard() {
    let f = folder();
    let args = ["tray", "--lot", "a", "--sim", "r=6k l=2.4H cs=120p open", "--json"];
    let doc = f.typed(&[&args[..], &SHORT].concat(), "\nq\n").ended(1).json();
    assert_eq!(
        (doc["counts"]["no_reading"].as_u64(), doc["counts"]["measured"].as_u64()),
        (Some(1), Some(0)),
        "{doc}"
    );
}

/// What lies damaged beside the rig file is said, and stops nobody from working.
#[test]
fn damaged_files_beside_the_rig_stop_no_tray() {
    let f = folder();
    f.write("north.checks.json", b"{");
    f.write("north.repeat.json", b"{");
    let args = ["tray", "--lot", "a", "--rig", "north.toml", "--sim", GOOD];
    let run = f.typed(&[&args[..], &SHORT].concat(), "\nq\n").ended(0);
    assert!(
        run.err.contains("north.checks.json") && run.err.contains("north.repeat.json"),
        "{}",
        run.err
    );
}
