//! What other meters read: beside a record by `note`, after a take at the tray, and never two instruments in one figure.

use serde_json::Value;

use crate::bench::{Folder, Run};
use crate::screens::shows;

fn measure(f: &Folder, out: &str, more: &[&str]) {
    f.take("neck-7", "r=6k l=2.4H cs=120p", out, more).ended(0);
}

#[test]
fn notes_are_added_and_nothing_is_rewritten() {
    let f = Folder::new();
    measure(&f, "a", &[]);
    let before = f.bytes("a/record.json");
    shows("note-none", &f.run(&["note", "a"]));
    f.run(&["note", "a", "--ohms", "6.05k by meter A", "--room", "21C"])
        .ended(0);
    let first = f.bytes("a/note-0001.json");
    let doc = f
        .run(&[
            "note",
            "a/record.json",
            "--gauss",
            "340 430 428 431 425 350 by probe C",
            "--lcr",
            "2.43H at 120Hz by bridge B",
            "--text",
            "first reel",
            "--json",
        ])
        .ended(0)
        .json();
    let notes = doc["records"][0]["notes"].as_array().unwrap();
    assert_eq!(notes.len(), 2);
    assert_eq!(notes[0]["readings"][0]["ohm"], 6050.0);
    assert_eq!(notes[0]["temperature_c"], 21.0);
    assert_eq!(notes[1]["text"], "first reel");
    assert_eq!((f.bytes("a/record.json"), f.bytes("a/note-0001.json")), (before, first));
    let told = f.run(&["note", "a"]).ended(0);
    assert!(told.out.contains("weak at both ends (-20 %, -18 %)"), "{}", told.out);
    // The meter's name is asked for, or known from the columns.
    f.run(&["note", "a", "--ohms", "6.1k"]).refused(&["on which meter"]);
    f.run(&["use", "--columns", "ohms by meter A, gauss by probe C"])
        .ended(0);
    f.run(&["note", "a", "--ohms", "6.1k"]).ended(0);
    f.run(&["note", "a", "--room", "21C"])
        .refused(&["--room has no reading"]);
    f.run(&["note", "a", "--text", " "]).refused(&["--text is empty"]);
    measure(&f, "b", &[]);
    f.run(&["note", "a", "b", "--ohms", "6k by A"])
        .refused(&["one record at a time"]);
    f.run(&["note", "a", "b", "--text", "same reel"]).ended(0);
    assert!(f.path("a/note-0004.json").exists() && f.path("b/note-0001.json").exists());
    // A damaged note is named, and no command reads past it.
    f.write("b/note-0001.json", b"{");
    f.run(&["compare", "a", "b"]).refused(&["note-0001.json is no note"]);
}

/// What was typed wrongly is asked about, and taken back by a further note.
#[test]
fn a_slip_of_the_fingers_is_taken_back() {
    let f = Folder::new();
    measure(&f, "a", &[]);
    let run = f.run(&["note", "a", "--ohms", "6.05 by meter A"]).ended(0);
    assert!(
        run.err.contains("was 6.05k meant?") && run.err.contains("--withdraw NUMBER` takes it back"),
        "{}",
        run.err
    );
    f.run(&["note", "a", "--ohms", "6.05k by meter A"]).ended(0);
    let before = f.bytes("a/note-0001.json");
    let told = f.run(&["note", "a", "--withdraw", "1"]).ended(0).out;
    assert!(
        told.contains("takes back note 1") && told.contains("6.05 kΩ") && !told.contains("6.05 Ω"),
        "{told}"
    );
    assert_eq!(f.bytes("a/note-0001.json"), before);
    f.run(&["note", "a", "--withdraw", "1"])
        .refused(&["has no note 1 that holds"]);
    f.run(&["note", "nowhere", "--text", "x"])
        .refused(&["there is no record and no pickup nowhere"]);
    // A note that lies in the wrong folder is not taken for this record's.
    measure(&f, "b", &["--seed", "7"]);
    f.write("b/note-0001.json", &before);
    f.run(&["note", "b"]).refused(&["a note on another record"]);
}

/// 6 K of warmth are 2.4 % of copper: told on one meter, not made up from two.
#[test]
fn warmth_is_told_from_one_ohmmeter() {
    let f = Folder::new();
    measure(&f, "before", &[]);
    measure(&f, "after", &["--seed", "2"]);
    f.run(&["note", "before", "--ohms", "6.00k by meter A", "--room", "21C"])
        .ended(0);
    f.run(&["note", "after", "--ohms", "6.14k by meter B", "--room", "21C"])
        .ended(0);
    let potting = || f.run(&["potting", "before", "--after", "after", "--json"]);
    let doc = potting().ended(0).json();
    assert_eq!(doc["pairs"][0]["verdict"], "cannot-tell");
    assert!(doc["notes"].to_string().contains("two meters"), "{}", doc["notes"]);
    f.run(&["note", "after", "--ohms", "6.14k by meter A", "--room", "21C"])
        .ended(0);
    let doc = potting().ended(1).json();
    assert_eq!(doc["pairs"][0]["verdict"], "warm", "{doc}");
    // The meter may be named when measuring.
    measure(
        &f,
        "later",
        &["--seed", "3", "--ohms", "6.00k by meter A", "--room", "21C"],
    );
    assert_eq!(f.record("later")["pickup"]["ohmmeter"], "meter A");
    let doc = f
        .run(&["potting", "before", "--after", "later", "--json"])
        .ended(0)
        .json();
    assert_eq!(doc["pairs"][0]["verdict"], "cannot-tell");
    assert!(doc["notes"].to_string().contains("by their ohms"), "{}", doc["notes"]);
}

fn tray(f: &Folder, typed: &str, more: &[&str]) -> Run {
    let args = [
        "tray",
        "--lot",
        "neck",
        "--standard",
        "neck.toml",
        "--source",
        "sim",
        "--seconds",
        "0.7",
        "--rate",
        "48k",
    ];
    f.typed(&[&args[..], more].concat(), typed)
}

/// Figures that look like slips are kept where they are typed twice; q ends at any question.
#[test]
fn doubtful_figures_are_typed_twice_at_the_tray() {
    let f = Folder::new();
    measure(&f, "good", &[]);
    f.run(&["standard", "good", "--allow", "f0=3% q=8%", "--out", "neck.toml"])
        .ended(0);
    let sim = "r=6k l=2.4H cs=120p";
    let more = ["--sim", sim, "--columns", "ohms by meter A, gauss by probe C", "--json"];
    let run = tray(&f, "\n6.05\n6.05k\nq\n", &more).ended(0);
    assert!(run.err.contains("was 6.05k meant? Type it once more to"), "{}", run.err);
    let doc: Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(doc["tray"]["entries"][0]["readings"].as_array().unwrap().len(), 1);
    assert_eq!(doc["tray"]["entries"][0]["readings"][0]["ohm"], 6050.0);
    let run = tray(&f, "\n6.05\n6.05\n\nq\n", &["--sim", sim, "--json"]).ended(0);
    let doc: Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(doc["tray"]["entries"][1]["readings"][0]["ohm"], 6.05);
}

const COLUMNS: &str = "ohms by meter A, gauss by probe C";

#[test]
fn columns_at_the_tray() {
    let f = Folder::new();
    measure(&f, "good", &[]);
    f.run(&["note", "good", "--ohms", "6.00k by meter A"]).ended(0);
    f.run(&["standard", "good", "--allow", "f0=3% q=8%", "--out", "neck.toml"])
        .ended(0);
    // The first as it should be; the second with turns missing: a twentieth of the ohms, a tenth of the henries.
    f.write("day.txt", b"r=6k l=2.4H cs=120p\nr=5.7k l=2.16H cs=120p\n");
    let sim = ["--sim", "day.txt", "--columns", COLUMNS];
    let run = tray(&f, "\n6.02k\n410 420 -415 430 425 418\n\nwhat\n5.70k\n\nq\n", &sim);
    assert_eq!(run.status, 3, "{}{}", run.out, run.err);
    assert!(run.err.contains("ohms by meter A (Enter skips)"), "{}", run.err);
    assert!(run.err.contains("\"what\" is not a resistance"), "{}", run.err);
    // The ohms turn "outside" into its reason.
    assert!(
        run.out.contains("turns missing") && run.out.contains("pole 3 is magnetised the other way"),
        "{}",
        run.out
    );
    // Each figure lies beside its record.
    let note: Value = serde_json::from_slice(&f.bytes("neck/neck-02/note-0001.json")).unwrap();
    assert_eq!(
        note["readings"][0],
        serde_json::json!({"kind": "ohms", "meter": "meter A", "ohm": 5700.0})
    );
    // The lot remembers its columns; measuring again keeps what was read, on Enter.
    let run = tray(
        &f,
        "r\n\n405 410 400 398 402 404\nn second reel\nq\n",
        &["--sim", "day.txt", "--json"],
    );
    assert!(run.err.contains("Enter keeps 5.70 kΩ"), "{}", run.err);
    let doc: Value = serde_json::from_str(&run.out).unwrap();
    let entries = doc["tray"]["entries"].as_array().unwrap();
    let last = entries.last().unwrap();
    assert_eq!(
        (last["number"].as_u64(), last["readings"].as_array().unwrap().len()),
        (Some(2), 2)
    );
    // One statistic for each meter, of what stands.
    let ohms = &doc["tallies"][0];
    assert_eq!(
        (ohms["column"]["meter"].as_str(), ohms["readings"].as_u64()),
        (Some("meter A"), Some(2))
    );
    assert!((ohms["mean"].as_f64().unwrap() - 5860.0).abs() < 1e-9, "{ohms}");
    let words: Value = serde_json::from_slice(&f.bytes("neck/neck-02-2/note-0003.json")).unwrap();
    assert_eq!(words["text"], "second reel");
    // Another ohmmeter is another column, and not held against the standard's.
    let run = tray(
        &f,
        "\n5.70k\nq\n",
        &[
            "--sim",
            "r=5.7k l=2.16H cs=120p",
            "--columns",
            "ohms by meter B",
            "--json",
        ],
    );
    let doc: Value = serde_json::from_str(&run.out).unwrap();
    let last = doc["tray"]["entries"].as_array().unwrap().last().unwrap();
    assert_eq!(last["judged"]["call"], "outside");
    assert_eq!(last["judged"]["fault"], Value::Null);
    assert_eq!(doc["tallies"].as_array().unwrap().len(), 3, "{}", doc["tallies"]);
    tray(&f, "", &["--columns", "volts by A"]).refused(&["is no column"]);
}
