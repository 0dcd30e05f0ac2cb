//! Pickups by name: where one is measured, and where its records are wanted.

use crate::bench::{Folder, SHORT};
use crate::screens::RIG;

#[test]
fn a_name_stands_bare() {
    let f = Folder::new();
    let sim = |name: &[&str]| f.run(&[&["measure"], name, &SHORT[..]].concat());
    sim(&["neck-7"]).ended(0);
    sim(&["--pickup", "neck-7"]).ended(0);
    assert_eq!(f.list("neck-7"), ["0001", "0002"]);
    sim(&["neck-7", "--pickup", "neck-8"]).refused(&["cannot be used with '--pickup"]);
    sim(&[]).refused(&["NAME"]);
}

#[test]
fn a_rig_file_stands_bare() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    let told = f.run(&["use", "north.toml", "--json"]).ended(0).json();
    assert_eq!(told["defaults"]["rig"], "north.toml");
    f.run(&["use", "north.toml", "--rig", "north.toml"])
        .refused(&["cannot be used with"]);
}

#[test]
fn a_recording_is_for_analyze() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    f.run(&["measure", "a", "--source", "one/take.wav"])
        .refused(&["one/take.wav is a file", "`coilwright analyze one/take.wav`"]);
    f.run(&[&["measure", "one/take.wav"], &SHORT[..]].concat())
        .refused(&["is a file", "`coilwright analyze one/take.wav`"]);
    f.run(&["measure", "a", "--source", "lvie"])
        .refused(&["neither live nor sim"]);
    f.run(&["measure", "a", "--sim", "r=6k"]).refused(&["--source sim"]);
}

#[test]
fn a_name_is_its_latest_usable_reading() {
    let f = Folder::new();
    f.run(&["use", "--folder", "book"]).ended(0);
    for (name, sim) in [
        ("neck-7", "l=2.4H"),
        ("neck-9", "l=2.4H"),
        ("neck-7", "l=3H"),
        ("neck-7", "open"),
    ] {
        f.run(&[&["measure", name, "--sim", sim], &SHORT[..]].concat());
    }
    // The third is an open winding, and rejected: the second counts.
    let told = f.run(&["compare", "neck-9", "neck-7", "--json"]).ended(0).json();
    let f0 = |n: &str| f.record(n)["resonance"]["f0_hz"]["value"].as_f64().unwrap();
    let change = told["differences"][0]["f0_hz"]["value"].as_f64().unwrap();
    assert!(
        (change - (f0("book/neck-7/0002") - f0("book/neck-9/0001"))).abs() < 1e-6,
        "{told}"
    );
    // A folder of readings is the same, by its path.
    let by_path = f
        .run(&["compare", "book/neck-9", "book/neck-7", "--json"])
        .ended(0)
        .json();
    assert_eq!(told, by_path);
    f.run(&["compare", "neck-9", "neck-8"])
        .refused(&["no pickup neck-8", "book"]);
    f.run(&["compare", "neck-9", "book/none"])
        .refused(&["book/none", "no such record"]);
}

#[test]
fn what_is_ambiguous_is_listed() {
    let f = Folder::new();
    for over in ["first coil", "second coil"] {
        f.run(&[&["measure", "bridge-2", "--over", over], &SHORT[..]].concat())
            .ended(0);
    }
    f.run(&[&["measure", "neck-7"], &SHORT[..]].concat()).ended(0);
    f.run(&["compare", "neck-7", "bridge-2"]).refused(&[
        "bridge-2 has readings of 2 kinds",
        "bridge-2/0001 (over first coil",
        "bridge-2/0002 (over second coil",
    ]);
    f.run(&["compare", "neck-7", "bridge-2/0001"]).ended(0);
}

/// A lot's pickups lie in its folder; a folder of something else hides nobody.
#[test]
fn names_are_found_in_lots_and_behind_other_folders() {
    let f = Folder::new();
    f.run(&["use", "--folder", "book"]).ended(0);
    f.run(&[&["measure", "neck-7"], &SHORT[..]].concat()).ended(0);
    std::fs::create_dir(f.path("neck-7")).unwrap();
    let lot = ["tray", "neck-12"];
    f.typed(&[&lot, &SHORT[..]].concat(), "\nq\n").ended(0);
    let told = f.run(&["compare", "neck-7", "neck-12-01", "--json"]).ended(0).json();
    assert_eq!(told["records"][1]["pickup"]["name"], "neck-12-01");
}

#[test]
fn what_matters_is_set_one_by_one() {
    let f = Folder::new();
    f.run(&["use", "--matters", "q=3%"]).ended(0);
    let told = f.run(&["use", "--matters", "peak=2%", "--json"]).ended(0).json();
    let all = told["defaults"]["matters"].as_str().unwrap();
    assert!(all.contains("q=3%") && all.contains("peak=2%"), "{all}");
}

#[test]
fn two_pickups_are_not_in_place() {
    let f = Folder::new();
    for name in ["neck-7", "neck-9"] {
        f.run(&[&["measure", name], &SHORT[..]].concat()).ended(0);
    }
    f.run(&["compare", "neck-7", "neck-9", "--in-place"])
        .refused(&["one pickup that was not touched", "neck-9"]);
}

/// Of a thing that can be given in two ways one is named, and of too few how many are needed.
#[test]
fn what_is_missing_is_named_plainly() {
    let f = Folder::new();
    f.run(&["measure"]).refused(&["<NAME> (or --pickup <NAME>) is missing"]);
    f.run(&["rig", "repeat", "x"]).refused(&["1 given", "at least 2"]);
}
