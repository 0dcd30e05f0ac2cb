//! The notebook kept over years: another one taken in, everything checked, takes put away, the paper one imported.

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::{Value, json};

use crate::bench::{Folder, Run, copy};
use crate::notebooks::{measure, two};

fn list(f: &Folder) -> Vec<Value> {
    let doc = f.run(&["book", "--all", "--look", "--json"]).ended(0).json();
    doc["readings"].as_array().unwrap().clone()
}

/// Names and folders of all readings.
fn places(f: &Folder) -> BTreeSet<(String, String)> {
    let text = |v: &Value| v.as_str().unwrap().to_owned();
    list(f).iter().map(|r| (text(&r["name"]), text(&r["record"]))).collect()
}

fn pairs(list: &[(&str, &str)]) -> BTreeSet<(String, String)> {
    list.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect()
}

fn add(f: &Folder) -> Value {
    f.run(&["book", "add", "class", "--json"]).ended(0).json()
}

/// A record under another id, name and day.
fn another(f: &Folder, from: &str, to: &str, name: &str, day: &str) {
    let mut record: Value = serde_json::from_slice(&f.bytes(&format!("{from}/record.json"))).unwrap();
    record["id"] = json!(format!("{name}-{day}-{to}"));
    record["pickup"]["name"] = json!(name);
    record["taken_at"] = json!(format!("{day}T10:00:00+00:00"));
    std::fs::create_dir_all(f.path(to)).unwrap();
    f.write(
        &format!("{to}/record.json"),
        &serde_json::to_vec_pretty(&record).unwrap(),
    );
}

#[test]
fn another_notebook_comes_in_once() {
    let f = two();
    f.run(&["note", "class/neck-2/0001", "--text", "first reel"]).ended(0);
    // What this version does not know comes in as it is.
    let mut record: Value = serde_json::from_slice(&f.bytes("class/neck-2/0001/record.json")).unwrap();
    record["of_tomorrow"] = json!({ "a": [1, 2] });
    f.write("class/neck-2/0001/record.json", &serde_json::to_vec(&record).unwrap());
    std::fs::create_dir(f.path("class/entries")).unwrap();
    let entry = json!({ "schema": "coilwright/entry/1", "id": "20260101T000000-aaaa", "at": "2026-01-01T00:00:00+00:00",
        "by": null, "kind": "about", "pickup": "neck-2", "position": "neck", "of_tomorrow": 7 });
    f.write(
        "class/entries/20260101T000000-aaaa.json",
        &serde_json::to_vec(&entry).unwrap(),
    );
    let before = f.bytes("book/neck-1/0001/record.json");
    let told = f.run(&["book", "add", "class"]).ended(0).flat();
    assert!(told.contains("2 readings and 1 entry came in"), "{told}");
    assert!(told.contains("one pickup each from now on: neck-1"), "{told}");
    for (from, to) in [("neck-1/0001", "neck-1/0003"), ("neck-2/0001", "neck-2/0001")] {
        let (a, b) = (f.path("class").join(from), f.path("book").join(to));
        for name in crate::bench::names(&a) {
            assert_eq!(
                std::fs::read(a.join(&name)).unwrap(),
                std::fs::read(b.join(&name)).unwrap(),
                "{to}/{name}"
            );
        }
    }
    assert_eq!(
        f.bytes("book/entries/20260101T000000-aaaa.json"),
        f.bytes("class/entries/20260101T000000-aaaa.json")
    );
    assert_eq!(f.bytes("book/neck-1/0001/record.json"), before);
    f.run(&["book", "check"]).ended(0);
    // Again: all is here.
    let doc = add(&f);
    assert_eq!(
        (
            doc["readings"].as_array().unwrap().len(),
            &doc["known"],
            &doc["entries"]
        ),
        (0, &json!(2), &json!(0))
    );
    assert_eq!(list(&f).len(), 4);
    // A note that was written there since comes in, one that is another here does not.
    f.run(&["note", "class/neck-2/0001", "--text", "second thought"])
        .ended(0);
    assert_eq!(add(&f)["notes"], 1);
    f.run(&["note", "class/neck-2/0001", "--text", "there"]).ended(0);
    f.run(&["note", "book/neck-2/0001", "--text", "here"]).ended(0);
    let doc = add(&f);
    assert!(
        doc["left_out"][0]
            .as_str()
            .unwrap()
            .contains("note-0003.json and what follows it"),
        "{doc}"
    );
}

#[test]
fn what_is_no_other_notebook() {
    let f = two();
    std::fs::create_dir(f.path("empty")).unwrap();
    for (other, word) in [
        ("book/neck-1", "lie one in the other"),
        ("book", "lie one in the other"),
        (".", "lie one in the other"),
        ("empty", "holds no reading"),
        ("nowhere", "there is no notebook in nowhere"),
        ("coilwright.toml", "there is no notebook in"),
    ] {
        f.run(&["book", "add", other]).refused(&[word]);
    }
    assert_eq!(list(&f).len(), 2);
}

#[cfg(unix)]
#[test]
fn no_link_is_followed() {
    let f = two();
    let link = |from: &str, to: &str| std::os::unix::fs::symlink(from, f.path(to)).unwrap();
    f.write("secret", b"x");
    link("../../../secret", "class/neck-2/0001/letter.txt");
    link("..", "class/ring");
    link("neck-1", "class/neck-9");
    link(".", "book/ring");
    link("../class/neck-2", "book/out");
    let doc = add(&f);
    assert_eq!(doc["readings"].as_array().unwrap().len(), 2, "{doc}");
    assert!(doc["left_out"].to_string().contains("letter.txt is no file"), "{doc}");
    assert!(f.path("book/neck-2/0001/letter.txt").symlink_metadata().is_err());
    assert_eq!(list(&f).len(), 4);
    let doc = f.run(&["book", "check", "--json"]).ended(0).json();
    assert_eq!(doc["links"], json!(["out", "ring"]));
}

fn lot(f: &Folder, notebook: &str, numbers: &[(u32, &str)]) {
    let folder = format!("{notebook}/lot");
    std::fs::create_dir_all(f.path(&folder)).unwrap();
    let entries: Vec<Value> = (1..)
        .zip(numbers)
        .map(|(i, (n, _))| json!({ "number": i, "name": format!("lot-{n:02}"), "record": format!("lot-{n:02}") }))
        .collect();
    for (n, seed) in numbers {
        let out = format!("{folder}/lot-{n:02}");
        if !f.path(&out).exists() {
            measure(f, &["--pickup", &format!("lot-{n:02}"), "--seed", seed, "--out", &out]).ended(0);
        }
    }
    let tray = json!({ "schema": "coilwright/tray/1", "lot": "lot", "standard": null, "entries": entries, "next": 9 });
    f.write(&format!("{folder}/tray.json"), &serde_json::to_vec(&tray).unwrap());
}

#[test]
fn lots_come_in_whole_go_on_or_stand_beside_each_other() {
    let f = two();
    lot(&f, "class", &[(1, "11")]);
    let doc = add(&f);
    assert_eq!(doc["lots"], json!([{ "lot": "lot", "to": "lot", "how": "new" }]));
    assert_eq!(f.bytes("book/lot/tray.json"), f.bytes("class/lot/tray.json"));
    // More of it was measured there.
    lot(&f, "class", &[(1, "11"), (2, "12")]);
    let doc = add(&f);
    assert_eq!(doc["lots"], json!([{ "lot": "lot", "to": "lot", "how": "goes-on" }]));
    assert_eq!(doc["readings"].as_array().unwrap().len(), 1);
    assert_eq!(f.bytes("book/lot/tray.json"), f.bytes("class/lot/tray.json"));
    assert_eq!(add(&f)["lots"], json!([]));
    // What was taken back here is not written over by what goes on there.
    let mut tray: Value = serde_json::from_slice(&f.bytes("book/lot/tray.json")).unwrap();
    tray["entries"][1]["withdrawn"] = true.into();
    f.write("book/lot/tray.json", &serde_json::to_vec(&tray).unwrap());
    let copy = f.copy();
    lot(&copy, "class", &[(1, ""), (2, ""), (3, "15")]);
    assert_eq!(
        add(&copy)["lots"],
        json!([{ "lot": "lot", "to": "lot-class", "how": "other-name" }])
    );
    assert_eq!(copy.bytes("book/lot/tray.json"), f.bytes("book/lot/tray.json"));
    // Here and there went on, each by itself.
    lot(&f, "book", &[(1, ""), (2, ""), (3, "13")]);
    lot(&f, "class", &[(1, ""), (2, ""), (3, "14")]);
    let ours = f.bytes("book/lot/tray.json");
    let told = f.run(&["book", "add", "class"]).ended(0).flat();
    assert!(told.contains("the one from there is lot-class now"), "{told}");
    assert_eq!(f.bytes("book/lot/tray.json"), ours);
    let places = places(&f);
    for want in [
        ("lot-03", "lot/lot-03"),
        ("lot-class-03", "lot-class/lot-03"),
        ("lot-01", "lot/lot-01"),
    ] {
        assert!(
            places.contains(&(want.0.into(), want.1.into())),
            "{want:?} in {places:?}"
        );
    }
    assert_eq!(
        places.iter().filter(|p| p.0.starts_with("lot")).count(),
        4,
        "{places:?}"
    );
    assert_eq!(add(&f)["lots"], json!([]));
}

/// What either notebook renamed takes nothing of the other along.
#[test]
fn names_of_both_stay_as_each_notebook_has_them() {
    let f = two();
    f.run(&["use", "--folder", "class"]).ended(0);
    f.run(&["book", "rename", "neck-1", "class-1"]).ended(0);
    f.run(&["book", "rename", "neck-2", "class-2"]).ended(0);
    f.run(&["use", "--folder", "book"]).ended(0);
    let told = f.run(&["book", "add", "class"]).ended(0).flat();
    assert!(told.contains("by an entry for each reading: class-1"), "{told}");
    let want = [
        ("class-1", "neck-1/0003"),
        ("class-2", "neck-2/0001"),
        ("neck-1", "neck-1/0001"),
        ("neck-1", "neck-1/0002"),
    ];
    assert_eq!(places(&f), pairs(&want));
    add(&f);
    assert_eq!(places(&f), pairs(&want));
    // The other way round.
    let f = two();
    f.run(&["book", "rename", "neck-1", "mine"]).ended(0);
    add(&f);
    let want = [
        ("mine", "neck-1/0001"),
        ("mine", "neck-1/0002"),
        ("neck-1", "neck-1/0003"),
        ("neck-2", "neck-2/0001"),
    ];
    assert_eq!(places(&f), pairs(&want));
}

#[test]
fn check_names_what_is_wrong() {
    let f = two();
    let kinds = |status: i32| {
        let doc = f.run(&["book", "check", "--json"]).ended(status).json();
        let faults = doc["faults"].as_array().unwrap().clone();
        let of = |f: &Value| {
            (
                f["kind"].as_str().unwrap().to_owned(),
                f["place"].as_str().unwrap().to_owned(),
            )
        };
        faults.iter().map(of).collect::<Vec<_>>()
    };
    let fault = |kind: &str, place: &str| (kind.to_owned(), place.to_owned());
    assert!(
        f.run(&["book", "check"])
            .ended(0)
            .out
            .contains("2 takes are what the record says")
    );
    // One sample more or less is another take.
    let take = f.bytes("book/neck-1/0001/take.wav");
    let mut other = take.clone();
    other[take.len() / 2] ^= 1;
    f.write("book/neck-1/0001/take.wav", &other);
    assert_eq!(kinds(3), [fault("other", "neck-1/0001/take.wav")]);
    std::fs::remove_file(f.path("book/neck-1/0001/take.wav")).unwrap();
    assert_eq!(kinds(3), [fault("missing", "neck-1/0001/take.wav")]);
    f.write("book/neck-1/0001/take.wav", b"RIFF");
    assert_eq!(kinds(3), [fault("unreadable", "neck-1/0001/take.wav")]);
    f.write("book/neck-1/0001/take.wav", &take);
    copy(&f.path("book/neck-1/0001"), &f.path("book/neck-1/0007"));
    assert_eq!(kinds(3), [fault("doubled", "neck-1/0007")]);
    assert_eq!(list(&f).len(), 2);
    std::fs::remove_file(f.path("book/neck-1/0007/record.json")).unwrap();
    assert_eq!(kinds(3), [fault("missing", "neck-1/0007/record.json")]);
    std::fs::remove_dir_all(f.path("book/neck-1/0007")).unwrap();
    // A record of a later version is no damage of others.
    let record = String::from_utf8(f.bytes("book/neck-1/0002/record.json")).unwrap();
    f.write(
        "book/neck-1/0002/record.json",
        record.replace("record/1\"", "record/9\"").as_bytes(),
    );
    let told = f.run(&["book", "check"]).ended(3).flat();
    assert!(
        told.contains("Cannot be read:") && told.contains("newer coilwright"),
        "{told}"
    );
    f.write("book/neck-1/0002/record.json", record.as_bytes());
    // Entries name readings.
    f.run(&["book", "rename", "neck-1#0002", "neck-5"]).ended(0);
    assert!(kinds(0).is_empty());
    std::fs::remove_dir_all(f.path("book/neck-1/0002")).unwrap();
    assert_eq!(kinds(3)[0].0, "missing");
}

#[test]
fn a_backup_is_proven_or_not() {
    let f = two();
    copy(&f.path("book"), &f.path("copy"));
    let told = f.run(&["book", "check", "copy"]).ended(0).flat();
    assert!(told.contains("copy is proven: all"), "{told}");
    f.write("copy/neck-1/0001/old.txt", b"x");
    f.run(&["book", "check", "copy"]).ended(0);
    f.write("book/neck-1/0001/new.txt", b"x");
    let mut take = f.bytes("copy/neck-1/0002/take.wav");
    let middle = take.len() / 2;
    take[middle] ^= 1;
    f.write("copy/neck-1/0002/take.wav", &take);
    let doc = f.run(&["book", "check", "copy", "--json"]).ended(3).json();
    let backup = &doc["backup"];
    assert_eq!(backup["missing"], json!(["neck-1/0001/new.txt"]));
    assert_eq!(backup["other"], json!(["neck-1/0002/take.wav"]));
    assert_eq!(backup["only_there"], json!(["neck-1/0001/old.txt"]));
    f.run(&["book", "check", "book/neck-1"])
        .refused(&["lie one in the other"]);
    f.run(&["book", "check", "nowhere"])
        .refused(&["there is no notebook in nowhere"]);
}

#[test]
fn takes_of_long_ago_go_and_come_back() {
    let f = two();
    let elsewhere = Folder::quick();
    let to = elsewhere.path("takes").display().to_string();
    let thin = |more: &[&str]| f.run(&[&["book", "thin", "--to", &to], more].concat());
    assert!(thin(&["--older", "1d"]).ended(0).flat().contains("No reading that old"));
    // Readings of long ago, with their takes.
    for n in ["0001", "0002"] {
        let path = format!("book/neck-1/{n}/record.json");
        let mut record: Value = serde_json::from_slice(&f.bytes(&path)).unwrap();
        record["taken_at"] = json!("2020-01-31T14:05:09+00:00");
        f.write(&path, &serde_json::to_vec(&record).unwrap());
    }
    let before: Vec<Vec<u8>> = ["take.wav", "drive.wav"]
        .iter()
        .map(|n| f.bytes(&format!("book/neck-1/0001/{n}")))
        .collect();
    let told = thin(&["--older", "2y", "--dry"]).ended(0).flat();
    assert!(
        told.contains("4 recordings of 2 readings") && told.contains("would go"),
        "{told}"
    );
    assert!(f.path("book/neck-1/0001/take.wav").exists() && !elsewhere.path("takes").exists());
    let told = thin(&["--older", "2y"]).ended(0).flat();
    assert!(
        told.contains("went to") && told.contains("nobody can read a take again"),
        "{told}"
    );
    for (name, bytes) in ["take.wav", "drive.wav"].iter().zip(&before) {
        assert!(!f.path(&format!("book/neck-1/0001/{name}")).exists());
        assert_eq!(&elsewhere.bytes(&format!("takes/neck-1/0001/{name}")), bytes);
    }
    // The check knows where they are, and nobody takes that back by a slip.
    let doc = f.run(&["book", "check", "--json"]).ended(0).json();
    assert_eq!((&doc["put_away"], &doc["faults"]), (&json!(2), &json!([])));
    f.run(&["book", "undo"]).refused(&["were put away in", "--back"]);
    assert_eq!(list(&f).len(), 2);
    // Another file in a take's place there is never written over.
    let doc = thin(&["--back", "--json"]).ended(0).json();
    assert_eq!((&doc["files"], &doc["left_there"]), (&json!(4), &json!([])));
    assert_eq!(f.bytes("book/neck-1/0001/take.wav"), before[0]);
    assert_eq!(crate::bench::names(&elsewhere.path("takes")), [""; 0]);
    std::fs::create_dir_all(elsewhere.path("takes/neck-1/0001")).unwrap();
    elsewhere.write("takes/neck-1/0001/take.wav", b"another");
    thin(&["--older", "2y"]).refused(&["is there already, and is not what"]);
    assert_eq!(f.bytes("book/neck-1/0001/take.wav"), before[0]);
    f.run(&["book", "thin", "--older", "2 years", "--to", &to])
        .refused(&["is no age"]);
    f.run(&["book", "thin", "--older", "2y", "--to", "book/away"])
        .refused(&["lie one in the other"]);
    assert!(!f.path("book/away").exists());
}

const PAPER: &str = "\u{feff}Date;Pickup;Ohms (k);Henries;Stage;Wire\r\n\
                     31.5.2006;neck-old;6,05;2,4;wound;\"reel; the grey one\"\r\n\
                     3.6.2006;neck-old;6.05 kOhm;2.41H;after wax;\r\n\
                     4.6.2006;brücke-ß;7k2;;;\r\n";

#[test]
fn the_paper_notebook_comes_in_as_one() {
    let f = two();
    f.write("old.csv", PAPER.as_bytes());
    let told = f.run(&["book", "import", "old.csv", "--dry"]).ended(0).flat();
    assert!(told.contains("3 lines would come in; nothing is written"), "{told}");
    assert!(
        told.contains("2006-05-31 neck-old, wound: ") && told.contains("Wire reel; the grey one"),
        "{told}"
    );
    assert!(!f.path("book/entries").exists());
    let doc = f.run(&["book", "import", "old.csv", "--json"]).ended(0).json();
    assert_eq!(doc["rows"].as_array().unwrap().len(), 3);
    assert_eq!(f.list("book/entries").len(), 1);
    let old: Vec<Value> = list(&f).into_iter().filter(|r| r["verdict"].is_null()).collect();
    assert_eq!(old.len(), 3);
    let line = old.iter().find(|r| r["stage"] == "wound").unwrap();
    assert_eq!(
        (&line["name"], &line["ohm20"], &line["taken_at"]),
        (&json!("neck-old"), &json!(6050.0), &json!("2006-05-31"))
    );
    // A life has its own lines, each on its day.
    let told = f.run(&["book", "neck-old"]).ended(0).flat();
    assert!(
        told.contains("2006-05-31") && told.contains("2006-06-03") && !told.contains("7.2"),
        "{told}"
    );
    let doc = f.run(&["book", "neck-old", "--json"]).ended(0).json();
    assert_eq!(doc["entries"][0]["rows"].as_array().unwrap().len(), 2);
    // The same file again, and with one line more.
    assert!(
        f.run(&["book", "import", "old.csv"])
            .ended(0)
            .out
            .contains("Nothing in it is new")
    );
    f.write("old.csv", format!("{PAPER}5.6.2006;neck-late;6,1;;;\r\n").as_bytes());
    let told = f.run(&["book", "import", "old.csv"]).ended(0).flat();
    assert!(
        told.contains("1 line came in") && told.contains("3 lines were here already"),
        "{told}"
    );
    // One step back for each.
    f.run(&["book", "undo"]).ended(0);
    f.run(&["book", "undo"]).ended(0);
    assert_eq!(list(&f).len(), 2);
    f.run(&["book", "check"]).ended(0);
    // A slash that may be either is asked about.
    f.write("open.csv", b"day,name,ohms\n3/4/2006,a,6k\n");
    f.run(&["book", "import", "open.csv"]).refused(&["line 2", "--day dmy"]);
    f.run(&["book", "import", "open.csv", "--day", "mdy"]).ended(0);
    assert!(list(&f).iter().any(|r| r["taken_at"] == "2006-03-04"));
    f.write("bad.csv", b"day,name,ohms\n2006,a,6H\n");
    f.run(&["book", "import", "bad.csv"])
        .refused(&["bad.csv line 2", "is an inductance"]);
    f.run(&["book", "import", "none.csv"]).refused(&["none.csv"]);
}

/// Whatever else lies in the folder: what cannot be read is named, and the rest is answered.
#[test]
fn a_folder_with_everything_in_it() {
    let f = two();
    for n in 0..1000 {
        let folder = f.path(&format!("book/pictures/{}", n % 10));
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join(format!("{n}.json")), [n as u8; 40]).unwrap();
    }
    let record = f.bytes("book/neck-1/0001/record.json");
    for (name, bytes) in [
        ("cut", &record[..record.len() / 2]),
        ("empty", b""),
        ("text", b"hello"),
        ("list", b"[1]"),
    ] {
        std::fs::create_dir_all(f.path(&format!("book/{name}/0001"))).unwrap();
        f.write(&format!("book/{name}/0001/record.json"), bytes);
    }
    std::fs::create_dir_all(f.path("book/later/0001")).unwrap();
    let later = String::from_utf8(record.clone())
        .unwrap()
        .replace("record/1\"", "record/9\"");
    f.write("book/later/0001/record.json", later.as_bytes());
    std::fs::create_dir_all(f.path("book/folder/0001/record.json")).unwrap();
    std::fs::create_dir_all(f.path("book/entries")).unwrap();
    f.write("book/entries/cut.json", b"{");
    // Names in other scripts, and one that says nothing to a pattern.
    for (n, name) in ["шея-7", "ネック", "hals ö", "a[b]c", "צוואר"].iter().enumerate() {
        another(
            &f,
            "book/neck-1/0001",
            &format!("book/other-{n}/0001"),
            name,
            "2021-01-01",
        );
    }
    // Two folders put into one, both with the same reading.
    copy(&f.path("book/neck-1"), &f.path("book/neck-1 copy"));
    let doc = f.run(&["book", "--all", "--look", "--json"]).ended(0).json();
    assert_eq!(doc["readings"].as_array().unwrap().len(), 7, "{doc}");
    let left_out = doc["left_out"].to_string();
    for name in [
        "cut/0001",
        "empty/0001",
        "text/0001",
        "list/0001",
        "later/0001",
        "entries/cut.json",
    ] {
        assert_eq!(left_out.matches(name).count(), 1, "{name}: {left_out}");
    }
    for name in ["шея-7", "ネック", "hals ö", "a[b]c", "צוואר"] {
        let doc = f.run(&["book", name, "--json"]).ended(0).json();
        assert_eq!(doc["readings"].as_array().unwrap().len(), 1, "{name}");
    }
    // Gone again by hand.
    std::fs::remove_dir_all(f.path("book/neck-1")).unwrap();
    let doc = f.run(&["book", "neck-1", "--look", "--json"]).ended(0).json();
    assert_eq!(doc["readings"].as_array().unwrap().len(), 2);
}

/// The index is never right against the files, and never stops a question.
#[test]
fn a_broken_older_or_locked_index() {
    let f = two();
    let cache = f.path("cache");
    let ask = || {
        let mut command = f.command(&["book", "--all", "--json"]);
        command.env("XDG_CACHE_HOME", &cache);
        Run::of(&mut command).ended(0).json()["readings"]
            .as_array()
            .unwrap()
            .len()
    };
    assert_eq!(ask(), 2);
    let folder = cache.join("coilwright");
    let file = || {
        let names = crate::bench::names(&folder);
        folder.join(names.iter().find(|n| n.ends_with(".sqlite")).unwrap())
    };
    for bytes in [
        &b"no database at all, and longer than its head would be"[..],
        b"",
        b"SQLite format 3\0",
    ] {
        std::fs::write(file(), bytes).unwrap();
        assert_eq!(ask(), 2, "{bytes:?}");
    }
    let db = rusqlite::Connection::open(file()).unwrap();
    db.pragma_update(None, "user_version", 77).unwrap();
    assert_eq!(ask(), 2);
    db.execute_batch("DROP TABLE readings").unwrap();
    assert_eq!(ask(), 2);
    drop(db);
    // Held by somebody else for ever.
    let db = rusqlite::Connection::open(file()).unwrap();
    db.execute_batch("BEGIN EXCLUSIVE").unwrap();
    assert_eq!(ask(), 2);
    drop(db);
    // No place for one: a file where its folder would be.
    std::fs::remove_dir_all(&cache).unwrap();
    std::fs::write(&cache, b"").unwrap();
    assert_eq!(ask(), 2);
}

#[cfg(unix)]
#[test]
fn a_notebook_that_nobody_can_write() {
    use std::os::unix::fs::PermissionsExt as _;
    let f = two();
    let allow = |mode: u32| {
        for path in ["book", "book/neck-1", "book/neck-1/0001", "book/neck-1/0002"] {
            std::fs::set_permissions(f.path(path), std::fs::Permissions::from_mode(mode)).unwrap();
        }
    };
    allow(0o555);
    let root = std::fs::write(f.path("book/trial"), b"").is_ok();
    assert_eq!(list(&f).len(), 2);
    f.run(&["book", "neck-1"]).ended(0);
    if !root {
        f.run(&["book", "rename", "neck-1", "x"]).refused(&["cannot"]);
        f.run(&["book", "add", "class"]).refused(&["cannot"]);
    }
    allow(0o755);
}

/// Two write entries and readings while a third asks.
#[test]
fn two_write_while_a_third_asks() {
    let f = two();
    let wrote = std::sync::atomic::AtomicUsize::new(0);
    std::thread::scope(|s| {
        for (who, other) in [("a", "class"), ("b", "class-b")] {
            let (f, wrote) = (&f, &wrote);
            s.spawn(move || {
                for n in 0..4 {
                    let file = format!("{who}-{n}.csv");
                    f.write(
                        &file,
                        format!("day,name,ohms\n2006-05-0{},{who}-{n},6k\n", n + 1).as_bytes(),
                    );
                    f.run(&["book", "import", &file]).ended(0);
                    wrote.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                }
                if Path::new(&f.path(other)).is_dir() {
                    f.run(&["book", "add", other]).ended(0);
                }
            });
        }
        let mut seen = 0;
        for _ in 0..10 {
            let there = wrote.load(std::sync::atomic::Ordering::Relaxed);
            let now = list(&f).len();
            assert!(now >= seen && now >= 2 + there, "{now} after {seen}, {there} written");
            seen = now;
        }
    });
    assert_eq!(list(&f).len(), 12);
}
