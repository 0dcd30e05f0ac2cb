//! `book experiment`: what one change of the recipe did.

use serde_json::{Value, json};

use crate::bench::Folder;
use crate::book_lot::{figures, put, record};
use crate::screens::shows;

/// Seven pickups of a letter with a recipe, their peaks so much higher.
fn group(f: &Folder, letter: char, day: u32, up: f64, recipe: Value) {
    for i in 1..=7 {
        let name = format!("{letter}-{i}");
        let [peak, q, ohms] = figures(i);
        let r = record(
            &name,
            &format!("2026-03-{day:02}T10:{i:02}:00+00:00"),
            [up * peak, q, ohms],
        );
        put(f, &format!("{name}/0001"), &r);
        if !recipe.is_null() {
            entry(
                f,
                &format!("{name}-recipe"),
                json!({"kind": "recipe", "pickup": name, "words": recipe}),
            );
        }
    }
}

fn entry(f: &Folder, id: &str, what: Value) {
    std::fs::create_dir_all(f.path("entries")).unwrap();
    let mut e = json!({"schema": "coilwright/entry/1", "id": id, "at": "2026-03-01T10:00:00+00:00", "by": null});
    e.as_object_mut().unwrap().extend(what.as_object().unwrap().clone());
    f.write(&format!("entries/{id}.json"), e.to_string().as_bytes());
}

fn two(second: Value, day: u32) -> Folder {
    let f = Folder::quick();
    group(&f, 'a', 2, 1.0, json!({"turns": "7600", "wire": "0.063mm"}));
    group(&f, 'b', day, 0.95, second);
    f
}

fn comparison(f: &Folder, args: &[&str]) -> Value {
    let d = f
        .run(&[&["book", "experiment", "--json"], args].concat())
        .ended(0)
        .json();
    assert_eq!(d["schema"], "coilwright/experiment/1");
    d["comparisons"][0].clone()
}

const BOTH: [&str; 3] = ["a-*", "--with", "b-*"];

#[test]
fn one_word_and_what_it_did() {
    let f = two(json!({"turns": "8000", "wire": "0.063mm"}), 2);
    let run = f.run(&["book", "experiment", "a-*", "--with", "b-*"]).ended(0);
    shows("book-experiment", &run);
    let c = comparison(&f, &BOTH);
    assert_eq!(
        (&c["cause"], &c["answer"]),
        (&json!("one-word"), &json!("different")),
        "{c}"
    );
    // The same, found by its word.
    let by_word = comparison(&f, &["--word", "turns"]);
    assert_eq!(
        (&by_word["effects"], &by_word["changed"]),
        (&c["effects"], &c["changed"])
    );
    f.run(&["book", "experiment", "--word", "magnet"])
        .refused(&["no two pickups are known to differ in magnet"]);
    f.run(&["book", "experiment", "a-1"]).refused(&["--with"]);
}

#[test]
fn two_words_at_once_tell_nobody_which() {
    let f = two(json!({"turns": "8000", "wire": "0.06mm"}), 3);
    let run = f.run(&[&["book", "experiment"], &BOTH[..]].concat()).ended(0);
    for words in [
        "turns, wire were changed together: what they did together is below; nobody can tell which of them did it",
        "different: peak",
        "not on the same days: what days do is counted in the intervals",
    ] {
        assert!(
            run.out.replace("\n            ", " ").contains(words),
            "{words}: {}",
            run.out
        );
    }
    f.run(&["book", "experiment", "--word", "turns"])
        .refused(&["no two pickups are known to differ in turns"]);
}

#[test]
fn without_recipes_or_under_other_loads_nothing_did_it() {
    let f = two(Value::Null, 2);
    let run = f.run(&[&["book", "experiment"], &BOTH[..]].concat()).ended(0);
    assert!(run.out.contains("nobody can tell"), "{}", run.out);
    for i in 1..=7 {
        let place = format!("b-{i}/0001");
        let mut r: Value = serde_json::from_slice(&f.bytes(&format!("{place}/record.json"))).unwrap();
        r["load"] = json!({"text": "cap=470p"});
        put(&f, &place, &r);
    }
    let c = comparison(&f, &[&BOTH[..]].concat());
    assert_eq!(
        (&c["answer"], &c["why"]),
        (&json!("cannot-tell"), &json!("nothing-in-common")),
        "{c}"
    );
}

#[test]
fn stages_of_the_same_pickups_are_pairs() {
    let f = Folder::quick();
    for (number, stage, up) in [("0001", "before wax", 1.0), ("0002", "after wax", 0.97)] {
        for i in 1..=6 {
            let [peak, q, ohms] = figures(i);
            let mut r = record(&format!("a-{i}"), "2026-03-02T10:00:00+00:00", [up * peak, q, ohms]);
            r["id"] = json!(format!("{i} {stage}"));
            r["pickup"]["stage"] = json!(stage);
            put(&f, &format!("a-{i}/{number}"), &r);
        }
    }
    let c = comparison(&f, &["a-*@before-wax", "--with", "a-*@after-wax"]);
    assert_eq!((&c["paired"], &c["cause"]), (&json!(true), &json!("one-word")), "{c}");
    assert_eq!(c["changed"][0]["word"], "stage");
    let word = comparison(&f, &["--word", "stage"]);
    let size = |c: &Value| c["effects"][0]["difference"].as_f64().unwrap().abs();
    assert!(
        (size(&c) - 0.97f64.ln().abs()).abs() < 1e-6 && (size(&word) - size(&c)).abs() < 1e-9,
        "{c} {word}"
    );
}
