//! Knowing more of a rig makes no other rig of it: what each kind of key does to what was kept.

use serde_json::Value;

use crate::bench::{Folder, SHORT, copy, measured};
use crate::potting::rested;
use crate::rig::{check, folder, text};

/// Its input is what it is, whatever the rig's file says of it.
const COIL: &str = "r=6k l=2.4H cs=120p input=1M//150p noise=-80dBFS";
const ON: [&str; 2] = ["--rig", "north.toml"];

fn rewrite(f: &Folder, from: &str, to: &str) {
    let was = text(f, "north.toml");
    assert!(was.contains(from), "{was}");
    f.write("north.toml", was.replace(from, to).as_bytes());
}

fn history(f: &Folder) -> Value {
    serde_json::from_slice(&f.bytes("north.checks.json")).unwrap()
}

fn f0(record: &Value) -> f64 {
    measured(record, "/resonance/f0_hz").unwrap().value
}

/// A rig whose exciter's coil is taken as exact, and its file as it was in the beginning, which is what the bench is.
fn exact() -> Folder {
    let f = folder();
    rewrite(&f, "series_tolerance = 0.01\ninductance_tolerance = 0.02\n", "");
    f.write("true.toml", &f.bytes("north.toml"));
    f
}

/// The folder's readings that were made anew.
fn anew(f: &Folder, folder: &str) -> Vec<String> {
    f.list(folder).into_iter().filter(|n| n.starts_with("anew-")).collect()
}

/// Remarks, tolerances, what is packed, how switches stand, the sign, and what the input and the lead put on a pickup.
#[test]
fn what_is_in_no_reading_changes_nothing_that_was_kept() {
    let f = folder();
    check(&f, 1, 0.0, &[]).ended(0);
    for (out, seed) in [("a", "3"), ("b", "4")] {
        f.take("p", COIL, out, &[&ON[..], &["--seed", seed]].concat()).ended(0);
    }
    f.run(&["rig", "repeat", "--rig", "north.toml", "a", "b"]).ended(0);
    f.run(&[
        "standard",
        "a",
        "b",
        "--allow",
        "f0=2% q=8% level=2dB",
        "--out",
        "neck.toml",
    ])
    .ended(0);
    let tray = [
        "tray",
        "--lot",
        "lot",
        "--rig",
        "north.toml",
        "--standard",
        "neck.toml",
        "--sim",
        COIL,
    ];
    let tray = |keys: &str| f.typed(&[&tray[..], &SHORT].concat(), keys);
    tray("\nq\n").ended(0);
    for (from, to) in [
        ("capacitance_f = 60e-12", "capacitance_f = 64e-12 # read anew"),
        ("lead_capacitance_f = 90e-12", "lead_capacitance_f = 80e-12"),
        ("resistance_ohm = 1.0e6", "resistance_ohm = 1.1e6"),
        ("series_tolerance = 0.01", "series_tolerance = 0.001"),
        ("sign = 1\n", ""),
        ("frequency_hz = 50", "frequency_hz = 60"),
        (
            "exciter = \"150 turns on wood\"",
            "exciter = \"150 turns\"\n[setup]\nphantom = \"off\"",
        ),
    ] {
        rewrite(&f, from, to);
        let compared = f.run(&["compare", "a", "b", "--json"]).ended(0).json();
        assert_eq!(compared["differences"][0]["same_rig"], true, "{to}");
    }
    f.take("p", COIL, "c", &ON).ended(0);
    let compared = f.run(&["compare", "a", "c", "--json"]).ended(0);
    assert!(compared.err.is_empty(), "{}", compared.err);
    let difference = compared.json()["differences"][0].clone();
    assert_eq!(
        (&difference["same_rig"], &difference["answer"]),
        (&true.into(), &"same".into())
    );
    // Checks, the study, the standard and the lot go on.
    let run = check(&f, 2, 0.1, &[]).ended(0);
    assert!(
        !run.err.contains("left out") && !run.err.contains("nobody knows"),
        "{}",
        run.err
    );
    assert_eq!(history(&f)["checks"].as_array().unwrap().len(), 2);
    let run = tray("\nq\n").ended(0);
    assert!(!run.err.contains("laying a pickup down anew"), "{}", run.err);
    assert!(run.out.contains("2 pass"), "{}{}", run.out, run.err);
    f.run(&["rig", "repeat", "--rig", "north.toml", "a", "b", "c"]).ended(0);
    assert!(
        ["a", "b", "c", "w1", "w2"]
            .iter()
            .all(|folder| anew(&f, folder).is_empty())
    );
}

/// What the exciter's coil does is in a reading: the take is read again, once, and the record stays as it is.
#[test]
fn what_is_in_a_reading_is_read_again_from_its_take() {
    let f = exact();
    for (out, seed) in [("a", "3"), ("b", "4"), ("c", "6"), ("gone", "5")] {
        f.take("p", COIL, out, &["--rig", "true.toml", "--seed", seed]).ended(0);
    }
    std::fs::remove_file(f.path("gone/take.wav")).unwrap();
    let kept = f.bytes("a/record.json");
    rewrite(&f, "inductance_h = 0.0005", "inductance_h = 0.00051");
    f.write("coilwright.toml", b"rig = \"north.toml\"\n");
    let by_hand = |take: &str| f0(&f.run(&["analyze", take, "--json"]).ended(0).json());
    let (a, c) = (by_hand("a/take.wav"), by_hand("c/take.wav"));
    assert!(
        (a / f0(&f.record("a")) - 1.0).abs() > 1e-5,
        "it moves too little to be seen"
    );
    let run = f.run(&["compare", "a", "c", "--json"]).ended(0);
    assert!(
        run.err.contains("exciter.inductance_h") && run.err.contains("the take reads f0 "),
        "{}",
        run.err
    );
    let difference = run.json()["differences"][0].clone();
    let told = difference["f0_hz"]["value"].as_f64().unwrap();
    assert!(
        (told - (c - a)).abs() < 1e-6 && difference["answer"] == "same",
        "{difference} {c} {a}"
    );
    assert_eq!(f.bytes("a/record.json"), kept);
    // It is kept beside the record, and read from there.
    let [name] = &anew(&f, "a")[..] else {
        panic!("{:?}", f.list("a"))
    };
    assert!(name.ends_with("-0.1.0.json"), "{name}");
    std::fs::remove_file(f.path("a/take.wav")).unwrap();
    let again = f.run(&["compare", "a", "c", "--json"]).ended(0);
    assert_eq!(again.json(), run.json());
    // Without its take nobody can tell, and the key is named.
    let run = f.run(&["compare", "gone", "c", "--json"]).ended(0);
    assert!(
        run.err.contains("exciter.inductance_h") && run.err.contains("the take is gone"),
        "{}",
        run.err
    );
    let difference = run.json()["differences"][0].clone();
    assert_eq!(
        (&difference["answer"], &difference["why"]),
        (&"cannot-tell".into(), &"rig-file".into())
    );
    assert!(
        difference["text"]
            .as_str()
            .unwrap()
            .starts_with("cannot tell: exciter.inductance_h")
    );
    f.run(&["rig", "repeat", "--rig", "north.toml", "gone", "c"])
        .refused(&["exciter.inductance_h is not the same", "whose takes are gone"]);
    f.run(&["standard", "gone", "c", "--allow", "f0=2% q=8%", "--out", "neck.toml"])
        .refused(&["exciter.inductance_h is not the same"]);
    f.run(&["rig", "repeat", "--rig", "north.toml", "a", "b", "c"]).ended(0);
}

/// The gain of the inputs is in levels alone; a change that moves less than its own u passes in silence.
#[test]
fn what_moves_less_than_its_own_u_is_no_matter() {
    let f = folder();
    for (out, seed) in [("a", "3"), ("b", "4")] {
        f.take("p", COIL, out, &[&ON[..], &["--seed", seed]].concat()).ended(0);
    }
    std::fs::remove_file(f.path("b/take.wav")).unwrap();
    rewrite(&f, "inductance_h = 0.0005", "inductance_h = 0.00050001");
    f.write("coilwright.toml", b"rig = \"north.toml\"\n");
    f.take("p", COIL, "c", &[]).ended(0);
    let run = f.run(&["compare", "a", "c"]).ended(0);
    assert!(run.err.is_empty() && anew(&f, "a").len() == 1, "{}", run.err);
    rewrite(&f, "inductance_h = 0.00050001", "inductance_h = 0.0005");
    rewrite(&f, "gain_db = 0.0", "gain_db = 3.0");
    let run = f.run(&["compare", "b", "a", "--json"]).ended(0);
    assert!(
        run.err.contains("level -3.00 dB") && !run.err.contains("f0 "),
        "{}",
        run.err
    );
    let difference = run.json()["differences"][0].clone();
    assert!(
        difference["level_db"].is_null() && difference["f0_hz"].is_object(),
        "{difference}"
    );
    // Of the level nobody can tell, and so not of the whole.
    let text = difference["text"].as_str().unwrap();
    assert!(
        difference["answer"] == "cannot-tell"
            && text.contains("coupling from the exciter (input.gain_db is not the same"),
        "{difference}"
    );
}

/// What a lot read by the old file it reads by the new one when it is gone on with.
#[test]
fn a_lot_is_read_again_by_todays_file() {
    let f = exact();
    let tray = ["tray", "lot", "--rig", "north.toml", "--sim", COIL];
    let tray = |keys: &str| f.typed(&[&tray[..], &SHORT].concat(), keys).ended(0);
    tray("\nq\n");
    let lot = || -> Value { serde_json::from_slice(&f.bytes("lot/tray.json")).unwrap() };
    let was = lot()["entries"][0]["f0_hz"]["value"].as_f64().unwrap();
    rewrite(&f, "inductance_h = 0.0005", "inductance_h = 0.00051");
    let run = tray("q\n");
    assert!(
        run.err.contains("exciter.inductance_h is not what it was: read again"),
        "{}",
        run.err
    );
    let now = lot()["entries"][0]["f0_hz"]["value"].as_f64().unwrap();
    let by_hand = ["analyze", "lot/lot-01/take.wav", "--rig", "north.toml", "--json"];
    let by_hand = f0(&f.run(&by_hand).ended(0).json());
    assert!(
        (now / was - 1.0).abs() > 1e-5 && (now / by_hand - 1.0).abs() < 1e-9,
        "{was} {now} {by_hand}"
    );
    // Once.
    assert!(!tray("q\n").err.contains("is not what it was"));
}

/// More than a reader waits for is left for the next question.
#[test]
fn at_most_twenty_takes_are_read_again() {
    let f = folder();
    f.take("p", COIL, "p00", &ON).ended(0);
    let names: Vec<String> = (0..22).map(|n| format!("p{n:02}")).collect();
    for name in &names[1..] {
        copy(&f.path("p00"), &f.path(name));
    }
    rewrite(&f, "delay_s = 0.0", "delay_s = 2e-6");
    f.write("coilwright.toml", b"rig = \"north.toml\"\n");
    let args: Vec<&str> = std::iter::once("compare")
        .chain(names.iter().map(String::as_str))
        .collect();
    let later = |run: &crate::bench::Run| run.err.matches("20 takes were read again already").count();
    assert_eq!(later(&f.run(&args).ended(0)), 2);
    let done = || names.iter().filter(|n| !anew(&f, n).is_empty()).count();
    assert_eq!(done(), 20);
    assert_eq!(later(&f.run(&args).ended(0)), 0);
    assert_eq!(done(), 22);
}

/// The witness's checks go by today's file as well, and those whose takes are gone are left out of the limits.
#[test]
fn checks_are_read_again_too() {
    let f = exact();
    let witness = |day: u32| {
        let (out, seed) = (format!("w{day}"), day.to_string());
        let more = ["--rig", "true.toml", "--load", "cap=220p", "--seed", &seed];
        let sim = COIL.replace("120p", &format!("{}p", 120.0 + 0.2 * f64::from(day % 3)));
        f.take("tin one", &sim, &out, &more).ended(0);
        f.run(&["rig", "check", "north.toml", "--record", &out, "--json"])
            .ended(0)
    };
    for day in 1..=7 {
        witness(day);
    }
    let before = history(&f);
    rewrite(&f, "inductance_h = 0.0005", "inductance_h = 0.0006");
    // Seven checks would call a shift as large as this one NO GO.
    let run = witness(8);
    assert!(!run.err.contains("left out"), "{}", run.err);
    assert_eq!(run.json()["baseline"], 7);
    assert_eq!(anew(&f, "w1").len(), 1);
    let after = history(&f);
    assert_eq!(
        after["checks"].as_array().unwrap()[..7],
        before["checks"].as_array().unwrap()[..]
    );
    let was = before["checks"][0]["f0_hz"]["value"].as_f64().unwrap();
    assert!((after["checks"][7]["f0_hz"]["value"].as_f64().unwrap() / was - 1.0).abs() > 1e-4);
    for gone in ["w1", "w2"] {
        std::fs::remove_dir_all(f.path(gone)).unwrap();
    }
    let run = witness(9);
    assert!(
        run.err.contains("2 of 8 checks are left out: exciter.inductance_h"),
        "{}",
        run.err
    );
    assert_eq!(run.json()["baseline"], 6);
    assert_eq!(history(&f)["checks"].as_array().unwrap().len(), 9);
}

/// What was changed on the bench no file knows: it is said, and from then on the checks are counted anew.
#[test]
fn a_change_on_the_bench_begins_a_history_of_its_own() {
    let f = folder();
    for day in 1..=6 {
        check(&f, day, 0.2 * f64::from(day % 3), &[]).ended(0);
    }
    let before = f.bytes("north.checks.json");
    check(&f, 7, 50.0, &[]).ended(3);
    let with = f.bytes("north.checks.json");
    assert_ne!(before, with);
    let run = f.run(&["rig", "changed", "new lead", "--rig", "north.toml"]).ended(0);
    assert!(
        run.out.contains("new lead") && run.out.contains("north.checks.1.json"),
        "{}",
        run.out
    );
    assert_eq!(f.bytes("north.checks.1.json"), with);
    let doc = check(&f, 8, 50.0, &["--json"]).ended(0).json();
    assert_eq!((&doc["verdict"], &doc["baseline"]), (&"baseline".into(), &0.into()));
    let shown = f.run(&["rig", "show", "north.toml", "--json"]).ended(0).json();
    assert_eq!(
        (&shown["checks"], &shown["changed"]["what"], &shown["changed"]["before"]),
        (&1.into(), &"new lead".into(), &"north.checks.1.json".into())
    );
    // Of a rig that is not checked nothing is kept.
    rewrite(&f, "[witness]\nname = \"tin one\"\nload = \"cap=220p\"\n", "");
    f.run(&["rig", "changed", "new exciter", "--rig", "north.toml"])
        .refused(&["names no witness"]);
}

/// A pickup is not blamed for what was changed on the bench between its readings.
#[test]
fn readings_across_a_change_of_the_bench_are_not_of_one_sitting() {
    let f = exact();
    let second = || std::thread::sleep(std::time::Duration::from_millis(1100));
    f.take("p", COIL, "a", &ON).ended(0);
    f.run(&["standard", "a", "--allow", "f0=2% q=8%", "--out", "neck.toml"])
        .ended(0);
    second();
    for what in ["new lead", "new exciter"] {
        f.run(&["rig", "changed", what, "--rig", "north.toml"]).ended(0);
    }
    second();
    f.take("p", COIL, "b", &ON).ended(0);
    f.write("coilwright.toml", b"rig = \"north.toml\"\n");
    let told = f.run(&["compare", "a", "b", "--json"]).ended(0).json()["differences"][0].clone();
    assert_eq!(
        (&told["between"], &told["same_rig"]),
        (&"other-rig".into(), &true.into())
    );
    let text = told["text"].as_str().unwrap();
    assert!(text.contains("the bench was changed between them (new "), "{text}");
    // Nor by the standard, nor by wax; and no standard is made of both.
    let tray = [
        "tray",
        "lot",
        "--rig",
        "north.toml",
        "--standard",
        "neck.toml",
        "--sim",
        COIL,
    ];
    let run = f.typed(&[&tray[..], &SHORT].concat(), "\nq\n").ended(0);
    assert!(
        run.err
            .contains("No verdict: the bench was changed since the standard was measured (new ")
            && run.out.contains("1 cannot tell"),
        "{}{}",
        run.err,
        run.out
    );
    let pair = f.run(&rested("a", "b", &["--json"])).ended(0).json()["pairs"][0].clone();
    assert_eq!(
        (&pair["verdict"], &pair["reason"]["code"]),
        (&"cannot-tell".into(), &"bench-changed".into())
    );
    f.run(&["standard", "a", "b", "--allow", "f0=2% q=8%", "--out", "both.toml"])
        .refused(&["the bench was changed between these readings (new "]);
    let run = f.run(&["rig", "changed", " ", "--rig", "north.toml"]);
    run.refused(&["it is empty"]);
}
