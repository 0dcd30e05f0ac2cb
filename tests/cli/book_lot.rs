//! `book lot`: a lot of the tray in the order of making.

use serde_json::{Value, json};

use crate::bench::Folder;
use crate::screens::shows;

/// A record as an earlier version wrote it, as another pickup's.
pub fn record(name: &str, taken_at: &str, [peak, q, ohms]: [f64; 3]) -> Value {
    let mut r: Value = serde_json::from_slice(include_bytes!("../../fixtures/records/0.1.0/record.json")).unwrap();
    r["id"] = json!(format!("{name} {taken_at}"));
    r["taken_at"] = json!(taken_at);
    let pickup = json!({"name": name, "over": "first coil", "r_ohm": ohms, "ohmmeter": "meter A", "temperature_c": 20.0, "note": null});
    r["pickup"] = pickup;
    let e = |v: f64| json!({"value": v, "u": 2e-4 * v, "u_noise": 1e-4 * v});
    r["resonance"]["f0_hz"] = e(1.05 * peak);
    r["resonance"]["peak_hz"] = e(peak);
    r["resonance"]["q"] = e(q);
    // The take is not kept.
    r["capture"]["take"] = Value::Null;
    r
}

pub fn put(f: &Folder, folder: &str, record: &Value) {
    std::fs::create_dir_all(f.path(folder)).unwrap();
    f.write(&format!("{folder}/record.json"), record.to_string().as_bytes());
}

/// A clean scatter of half a per cent, two and one.
pub fn figures(i: u32) -> [f64; 3] {
    let even = |k: u32| f64::from((i * k + 3) % 13) / 6.0 - 1.0;
    [
        4000.0 * (1.0 + 0.005 * even(5)),
        2.5 * (1.0 + 0.02 * even(7)),
        8000.0 * (1.0 + 0.01 * even(11)),
    ]
}

/// A lot of so many, changed one by one.
fn lot(n: u32, change: impl Fn(u32, &mut Value)) -> Folder {
    let f = Folder::quick();
    for i in 1..=n {
        let name = format!("neck-12-{i:02}");
        let mut r = record(&name, &format!("2026-03-02T10:{i:02}:00+00:00"), figures(i));
        change(i, &mut r);
        put(&f, &format!("neck-12/{name}"), &r);
    }
    let tray = json!({"schema": "coilwright/tray/1", "lot": "neck-12", "standard": null, "entries": [], "next": n + 1});
    f.write("neck-12/tray.json", tray.to_string().as_bytes());
    f
}

fn higher(number: u32, by: f64) -> impl Fn(u32, &mut Value) {
    move |i, r| {
        if i == number {
            let peak = &mut r["resonance"]["peak_hz"]["value"];
            *peak = json!(by * peak.as_f64().unwrap());
        }
    }
}

#[test]
fn the_odd_one_is_looked_at_first() {
    let f = lot(13, higher(7, 1.07));
    let run = f.run(&["book", "lot", "neck-12"]).ended(0);
    shows("book-lot", &run);
    let d = f.run(&["book", "lot", "neck-12", "--json"]).ended(0).json();
    assert_eq!(d["schema"], "coilwright/lot/1");
    let first = &d["look_first"];
    assert_eq!(
        (&first["name"], &first["why"]),
        (&json!("neck-12-07"), &json!("odd")),
        "{first}"
    );
    assert_eq!(d["quantities"][0]["told"]["odd"][0]["number"], 7);
    // What matters to the shop decides whether it is worth the walk.
    f.run(&["use", "--matters", "peak=20%"]).ended(0);
    let d = f.run(&["book", "lot", "neck-12", "--json"]).ended(0).json();
    assert_eq!(d["look_first"]["why"], "odd-a-little");
    let details = f.run(&["book", "lot", "neck-12", "--details"]).ended(0).out;
    assert!(
        details.contains("Grubbs") && details.contains("neck-12-07 G "),
        "{details}"
    );
}

#[test]
fn a_small_lot_says_what_it_cannot_tell() {
    for n in [2, 3, 5] {
        let f = lot(n, higher(2, 1.07));
        let run = f.run(&["book", "lot", "neck-12"]).ended(0);
        assert!(
            run.out
                .contains(&format!("with {n}, nobody can tell whether one is odd")),
            "{}",
            run.out
        );
        assert!(
            run.out.contains("none stands out; the farthest from the middle"),
            "{}",
            run.out
        );
        assert!(!run.out.contains("Odd  ") && !run.out.contains("Drift"), "{}", run.out);
    }
    let one = lot(1, |_, _| ()).run(&["book", "lot", "neck-12"]).ended(0);
    assert!(one.out.contains("one pickup has nothing beside it"), "{}", one.out);
    lot(2, |_, _| ())
        .run(&["book", "lot", "neck-99"])
        .refused(&["there is no lot neck-99", "coilwright tray"]);
}

#[test]
fn a_drift_a_sign_and_what_was_left_out() {
    let f = lot(13, |i, r| {
        let peak = &mut r["resonance"]["peak_hz"]["value"];
        *peak = json!(peak.as_f64().unwrap() * (1.0 + 0.004 * f64::from(i)));
        match i {
            3 => r["load"] = Value::Null,
            5 => (r["verdict"], r["resonance"]) = (json!("rejected"), Value::Null),
            9 => r["resonance"]["polarity"] = json!(-1),
            _ => {}
        }
    });
    let run = f.run(&["book", "lot", "neck-12"]).ended(0);
    for words in [
        "neck-12-09: its sign is the other one",
        "% from the first to the last",
        "a rig that drifts while a lot is measured looks the same",
        "neck-12-03: left out",
        "neck-12-05: left out, no reading",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let csv = f.run(&["book", "lot", "neck-12", "--csv"]).ended(0).out;
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines.len(), 14);
    assert!(lines[0].starts_with("number,name,taken_at,peak_hz,q,"), "{csv}");
    assert!(
        lines[9].starts_with("9,neck-12-09,2026-03-02T10:09:00+00:00,") && lines[9].ends_with(",true,"),
        "{csv}"
    );
    assert!(lines[5].ends_with(",no reading"), "{csv}");
}

#[test]
fn its_picture_and_document_lie_where_they_were_asked_for() {
    let f = lot(13, higher(7, 1.07));
    f.run(&["book", "lot", "neck-12", "--out", "seen"]).ended(0);
    assert_eq!(f.list("seen"), ["lot.json", "lot.png", "lot.svg"]);
    let svg = String::from_utf8(f.bytes("seen/lot.svg")).unwrap();
    assert!(svg.contains("SIMULATED") && svg.contains("number, in the order of making"));
    f.run(&["book", "lot", "neck-12", "--out", "seen"])
        .refused(&["lot.", "is there already"]);
}
