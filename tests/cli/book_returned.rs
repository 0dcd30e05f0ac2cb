//! Pickups that leave the shop and come back, through the command.

use serde_json::Value;

use crate::bench::{Folder, Made, Run, SHORT};

const RIG: &str = "name = \"north\"\n[exciter]\nreference = \"current\"\nseries_ohm = 123.8\ninductance_h = 217e-6\nsign = 1\n\
                   [input]\nresistance_ohm = 1e6\ncapacitance_f = 60e-12\n";
const NECK_7: &str = "r=6k l=2.4H cs=120p";
const CUSTOMER: &str = "the shop by the bridge";

/// A notebook with two pickups of one lot, one of them sent.
fn shop() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = Folder::new();
        f.write("north.toml", RIG.as_bytes());
        f.run(&["use", "north.toml", "--load", "cap=330p"]).ended(0);
        for (name, sim, ohms) in [("neck-7", NECK_7, "6k"), ("neck-8", "r=6.2k l=2.55H cs=121p", "6.2k")] {
            measured(&f, name, sim, &["--ohms", ohms, "--room", "21C"]).ended(0);
        }
        f.run(&["book", "sent", "neck-7", "--to", CUSTOMER]).ended(0);
        f
    })
}

fn measured(f: &Folder, name: &str, sim: &str, more: &[&str]) -> Run {
    f.run(&[&["measure", name, "--sim", sim], &SHORT[..], more].concat())
}

fn returned(f: &Folder, sim: &str, more: &[&str]) -> Run {
    let args = ["book", "returned", "neck-7", "--seed", "7", "--sim", sim];
    f.run(&[&args, &SHORT[..], more].concat())
}

fn looks(document: &Value) -> Vec<&str> {
    let list = document["looks"].as_array().unwrap();
    list.iter().map(|l| l["looks"].as_str().unwrap()).collect()
}

fn entries(f: &Folder) -> Vec<Value> {
    let each = f.list("entries").into_iter().filter(|n| n.ends_with(".json"));
    each.map(|n| serde_json::from_slice(&f.bytes(&format!("entries/{n}"))).unwrap())
        .collect()
}

#[test]
fn an_unchanged_one_is_called_so_and_nobody_learns_where_it_was() {
    let f = shop();
    let sent = entries(&f).pop().unwrap();
    assert_eq!((&sent["kind"], &sent["to"]), (&"sent".into(), &CUSTOMER.into()));
    let run = returned(&f, NECK_7, &["--ohms", "6k", "--room", "21C"]).ended(0);
    for word in [
        "SIMULATED",
        "neck-7: unchanged",
        "the same pickup, unchanged",
        "gauss meter",
    ] {
        assert!(run.out.contains(word), "{word}: {}", run.out);
    }
    let back = entries(&f).into_iter().find(|e| e["kind"] == "returned").unwrap();
    assert_eq!(
        (&back["found"], &back["pickup"]),
        (&"unchanged".into(), &"neck-7".into())
    );
    for args in [
        &["book", "returned", "neck-7", "--record", "neck-7/0002", "--json"][..],
        &["book", "sent", "neck-8", "--to", CUSTOMER, "--json"],
        &["book", "--json"],
        &["book", "--all", "--csv"],
        &["book", "neck-7", "--json"],
    ] {
        let run = f.run(args).ended(0);
        assert!(!run.out.contains("bridge"), "{args:?}: {}", run.out);
    }
}

#[test]
fn what_became_of_it_is_named() {
    let f = shop();
    let dead = returned(&f, &format!("{NECK_7} open"), &["--json"]).ended(3).json();
    assert_eq!(looks(&dead), ["dead"]);
    assert!(
        dead["text"]
            .as_str()
            .unwrap()
            .starts_with("changed: it is dead, and it left with a peak at"),
        "{dead}"
    );
    // One turn in a hundred touches its neighbour: a loop of L s^2 and R s, coupled by 0.9.
    let shorted = "r=5.94k l=2.352H cs=120p eddy=k=0.9,tau=4u,emf=0.9";
    let shorted = returned(&f, shorted, &["--ohms", "5.94k", "--room", "21C", "--json"])
        .ended(3)
        .json();
    assert!(looks(&shorted).contains(&"turns-shorted"), "{shorted}");
    let wax = returned(&f, "r=6k l=2.4H cs=150p", &["--ohms", "6k", "--room", "21C", "--json"])
        .ended(3)
        .json();
    assert_eq!(looks(&wax)[0], "wax", "{wax}");
    let farad = wax["looks"][0]["farad"].as_f64().unwrap();
    assert!((20e-12..45e-12).contains(&farad), "{farad}");
    let other = returned(&f, "r=6.2k l=2.55H cs=121p", &["--ohms", "6.2k", "--room", "21C"]).ended(3);
    assert!(other.out.contains("it reads as neck-8 left"), "{}", other.out);
}

#[test]
fn under_another_load_its_coil_is_asked() {
    let f = shop();
    let cannot = returned(&f, NECK_7, &["--load", "cap=680p"]).ended(0);
    assert!(
        cannot.out.contains("cannot tell: it left under cap=330p on north"),
        "{}",
        cannot.out
    );
    f.write("neck-7.toml", b"r_ohm = 6000.0\nl_h = 2.4\nc_f = 120e-12\n");
    let freed = returned(&f, NECK_7, &["--load", "cap=680p", "--coil", "neck-7.toml", "--json"])
        .ended(0)
        .json();
    let off = |i: usize| freed["freed"]["quantities"][i]["difference"].as_f64().unwrap();
    assert!(off(0).abs() < 0.003 && off(1).abs() < 0.1, "{freed}");
    let other = "r=6k l=2.0H cs=120p";
    returned(&f, other, &["--load", "cap=680p", "--coil", "neck-7.toml"]).ended(3);
}

#[test]
fn nothing_to_hold_it_against() {
    let f = shop();
    f.run(&["book", "returned", "neck-99"]).refused(&["neck-99"]);
    f.run(&["book", "sent", "neck-99"])
        .refused(&["neck-99", "measure it before it leaves"]);
    f.run(&["book", "sent", "neck-8", "--record", "neck-7/0001"])
        .refused(&["a reading of neck-7, not of neck-8"]);
    let kept = entries(&f).len();
    f.run(&["book", "sent", "neck-8", "neck-99"]).refused(&["neck-99"]);
    assert_eq!(entries(&f).len(), kept, "half of them were written");
    // No reading is held against itself.
    f.run(&["book", "returned", "neck-8", "--record", "neck-8/0001"])
        .refused(&["no reading from before it left"]);
    measured(
        &f,
        "neck-8",
        "r=6.2k l=2.55H cs=121p",
        &["--ohms", "6.2k", "--room", "21C", "--seed", "3"],
    )
    .ended(0);
    let unmarked = f
        .run(&["book", "returned", "neck-8", "--record", "neck-8/0002"])
        .ended(0);
    assert!(
        unmarked.err.contains("neck-8 was never marked as sent"),
        "{}",
        unmarked.err
    );
}

/// A pickup whose label another one bears is known by what it left with, not by what became of it since.
#[test]
fn others_are_known_by_what_they_left_with() {
    let f = shop();
    f.run(&["book", "sent", "neck-8"]).ended(0);
    let bridged = "r=3.1k l=1.25H cs=240p";
    measured(
        &f,
        "neck-8",
        bridged,
        &["--ohms", "3.1k", "--room", "21C", "--seed", "5"],
    )
    .ended(0);
    let other = returned(&f, "r=6.2k l=2.55H cs=121p", &["--ohms", "6.2k", "--room", "21C"]).ended(3);
    assert!(other.out.contains("it reads as neck-8 left"), "{}", other.out);
}

/// A reading from elsewhere is none of this notebook's, and an entry that named it would say it of nothing.
#[test]
fn a_reading_that_lies_elsewhere() {
    let f = shop();
    std::fs::create_dir_all(f.path("book")).unwrap();
    f.run(&["use", "--folder", "book"]).ended(0);
    f.run(&["note", "neck-8/0001", "--stage", "wound"])
        .refused(&["neck-8/0001 is not in the notebook book", "copy its folder there"]);
    f.run(&["book", "rename", "neck-8/0001", "neck-9"])
        .refused(&["neck-8/0001 is not in the notebook book"]);
    f.run(&["book", "returned", "neck-8", "--record", "neck-8/0001"])
        .refused(&["neck-8/0001 is not in the notebook book"]);
    assert!(!f.path("book/entries").exists());
}

#[test]
fn in_its_guitar_at_the_jack() {
    let f = shop();
    f.write("neck-7.toml", b"r_ohm = 6000.0\nl_h = 2.4\nc_f = 120e-12\n");
    let args = |more: &[&'static str]| {
        let all = [
            "book",
            "returned",
            "neck-7",
            "--in-guitar",
            "two-pickups",
            "--coil",
            "neck-7.toml",
        ];
        [&all, &SHORT[..], &["--seed", "9"], more].concat()
    };
    let whole = f
        .typed(
            &args(&["--sim", NECK_7, "--tolerance", "pots=0.1% caps=1%"]),
            "\n\n\n\n",
        )
        .ended(0);
    for word in [
        "1 of 4: switch to neck, exciter over the first coil of neck",
        "4 of 4: switch to bridge",
    ] {
        assert!(whole.err.contains(word), "{word}: {}", whole.err);
    }
    assert!(
        whole.out.contains("everything at the jack reads as the coil predicts"),
        "{}",
        whole.out
    );
    let told = whole.flat();
    assert!(told.contains("ask the polarity indicator"), "{told}");
    // The bridge is dead alone, and wound the other way round where both are on.
    f.write(
        "faults.txt",
        b"r=6k l=2.4H cs=120p\nr=6k l=2.4H cs=120p\nr=6k l=2.4H cs=120p polarity=-1\nsilent\n",
    );
    let faults = f
        .typed(&args(&["--sim", "faults.txt", "--json"]), "\n\n\n\n")
        .ended(3)
        .json();
    let heard: Vec<&str> = faults["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["heard"].as_str().unwrap())
        .collect();
    assert_eq!(heard[3], "dead");
    assert_eq!(faults["pairs"][0]["one_way"], false);
    assert_eq!(faults["pairs"][0]["phase"], "ask-the-indicator");
    // It ends where the typing does, and says so; readings at the jack hang under no load that could be told.
    let early = f.typed(&args(&["--sim", NECK_7]), "\ns\nq\n").ended(0);
    assert!(early.out.contains("as far as it was measured"), "{}", early.out);
    // One that was skipped, with all others measured, is not as predicted either.
    let skipped = f.typed(&args(&["--sim", NECK_7]), "\ns\n\n\n").ended(0);
    assert!(skipped.out.contains("as far as it was measured"), "{}", skipped.out);
    let last = f.list("neck-7").pop().unwrap();
    let record = f.record(&format!("neck-7/{last}"));
    assert_eq!(record["load"], Value::Null);
    assert_eq!(record["pickup"]["over"], "bridge in bridge, at the jack of the guitar");
    // What was heard through the guitar's controls is neither what it is nor what it leaves with.
    let listed = f.run(&["book", "--look", "--json"]).ended(0).json();
    let latest = listed["readings"].as_array().unwrap().iter();
    let latest: Vec<&Value> = latest.filter(|r| r["name"] == "neck-7").map(|r| &r["record"]).collect();
    assert_eq!(latest, ["neck-7/0001"]);
    let sent = f.run(&["book", "sent", "neck-7", "--json"]).ended(0).json();
    assert_eq!(sent["sent"][0]["record"], f.record("neck-7/0001")["id"]);
    f.run(&args(&["--sim", NECK_7, "--positions", "middle"]))
        .refused(&["no pickup \"middle\""]);
    f.run(&args(&["--sim", NECK_7, "--load", "vol=250k"]))
        .refused(&["more than a cable"]);
}
