//! The notebook asked: lists, lives, and the words for a reading.

use serde_json::Value;

use crate::bench::{Folder, Made, SHORT};

/// Two pickups at two stages, one of them under a second load, and one of a lot.
fn shop() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = Folder::new();
        f.run(&["use", "--folder", "shop"]).ended(0);
        for (name, stage, sim) in [
            ("neck-7", "before wax", "l=2.4H"),
            ("neck-7", "After-Wax", "l=2.4H cs=140p"),
            ("neck-9", "before wax", "l=2.9H"),
        ] {
            let args = [
                "measure", name, "--stage", stage, "--sim", sim, "--load", "res=200k", "--by", "mara",
            ];
            f.run(&[&args, &SHORT[..]].concat()).ended(0);
        }
        let other = [
            "measure", "neck-9", "--sim", "l=2.9H", "--load", "res=100k", "--ohms", "6.05k", "--room", "20C",
        ];
        f.run(&[&other, &SHORT[..]].concat()).ended(0);
        f.typed(
            &[&["tray", "neck-12", "--load", "res=200k"], &SHORT[..]].concat(),
            "\nr\nq\n",
        )
        .ended(0);
        f
    })
}

fn listed(f: &Folder, args: &[&str]) -> Vec<String> {
    let told = f.run(&[&["book", "--json"], args].concat()).ended(0).json();
    let rows = told["readings"].as_array().unwrap();
    rows.iter().map(|r| r["name"].as_str().unwrap().to_owned()).collect()
}

/// The file of the one index that is kept.
fn index_of(f: &Folder) -> std::path::PathBuf {
    let kept = std::fs::read_dir(f.path(".cache/coilwright")).unwrap().flatten();
    let mut indexes = kept
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "sqlite"));
    indexes.next().unwrap()
}

#[test]
fn one_line_a_pickup_the_newest_first() {
    let f = shop();
    assert_eq!(listed(&f, &["--sort", "name"]), ["neck-12-01", "neck-7", "neck-9"]);
    let days = f.run(&["book", "--json", "--all"]).ended(0).json();
    let days = days["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["taken_at"].as_str().unwrap().to_owned());
    assert!(days.collect::<Vec<_>>().is_sorted_by(|a, b| a >= b));
    assert_eq!(listed(&f, &["--lot", "neck-12"]), ["neck-12-01"]);
    assert_eq!(listed(&f, &["--stage", "after wax"]), ["neck-7"]);
    assert_eq!(listed(&f, &["--load", "res=100k"]), ["neck-9"]);
    assert_eq!(listed(&f, &["neck-?*"]).len(), 0);
    assert_eq!(listed(&f, &["neck-*", "--since", "2199"]).len(), 0);
    // The tray's first take was measured again.
    assert!(listed(&f, &["--all"]).len() >= 5);
    let told = f.run(&["book", "--json", "--sort", "name"]).ended(0).json();
    let row = |i: usize, key: &str| told["readings"][i][key].clone();
    assert_eq!(row(0, "record"), "neck-12/neck-12-01-2");
    assert_eq!((row(1, "stage"), row(1, "by")), ("after wax".into(), "mara".into()));
    assert_eq!((row(2, "ohm20"), row(2, "verdict")), (6050.0.into(), "ok".into()));
    assert_eq!(told["left_out"], Value::Array(Vec::new()));
    let peaks: Vec<f64> = f.run(&["book", "--sort", "peak", "--json"]).ended(0).json()["readings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|r| r["peak_hz"].as_f64())
        .collect();
    assert!(peaks.len() == 2 && peaks.is_sorted_by(|a, b| a >= b), "{peaks:?}");
    let screen = f.run(&["book"]).ended(0).out;
    assert!(
        screen.contains("neck-7") && screen.contains("after wax") && screen.contains("SIMULATED"),
        "{screen}"
    );
    let table = f.run(&["book", "--csv"]).ended(0).out;
    assert!(
        table.starts_with("name,over,stage,by,lot,taken_at,") && table.lines().count() == 4,
        "{table}"
    );
}

#[test]
fn the_index_is_never_right_against_the_files() {
    let f = shop();
    assert_eq!(listed(&f, &[]).len(), 3);
    // Copied in, changed, moved and deleted by hand.
    crate::bench::copy(&f.path("shop/neck-9/0001"), &f.path("shop/neck-10/0001"));
    let record = f.path("shop/neck-10/0001/record.json");
    let text = std::fs::read_to_string(&record).unwrap();
    let mut changed: Value = serde_json::from_str(&text).unwrap();
    changed["id"] = "another".into();
    changed["pickup"]["name"] = "neck-10".into();
    std::fs::write(&record, changed.to_string()).unwrap();
    std::fs::remove_dir_all(f.path("shop/neck-7")).unwrap();
    std::fs::rename(f.path("shop/neck-9"), f.path("shop/kept-elsewhere")).unwrap();
    let names = listed(&f, &["--sort", "name"]);
    assert_eq!(names, ["neck-10", "neck-12-01", "neck-9"]);
    // Broken, and of another version.
    let index = index_of(&f);
    std::fs::write(
        &index,
        b"this is no database, and never was one; it is long enough to be read as one",
    )
    .unwrap();
    assert_eq!(listed(&f, &["--sort", "name"]), names);
    std::fs::remove_dir_all(f.path(".cache")).unwrap();
    f.write(".cache", b"nothing can be made in a file");
    assert_eq!(listed(&f, &["--sort", "name"]), names);
}

#[test]
fn what_cannot_be_read_is_named_and_the_rest_is_answered() {
    let f = shop();
    let cut = &f.bytes("shop/neck-9/0001/record.json")[..2000];
    f.write("shop/neck-9/0001/record.json", cut);
    let newer = r#"{"schema": "coilwright/record/9"}"#;
    f.write("shop/neck-9/0002/record.json", newer.as_bytes());
    // The same reading once more.
    crate::bench::copy(&f.path("shop/neck-7"), &f.path("shop/again/neck-7"));
    let told = f.run(&["book", "--json"]).ended(0).json();
    let left_out: Vec<&str> = told["left_out"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l.as_str().unwrap())
        .collect();
    assert_eq!(left_out.len(), 2, "{left_out:?}");
    assert!(left_out.iter().any(|l| l.contains("newer coilwright")), "{left_out:?}");
    assert_eq!(listed(&f, &["neck-7", "--all"]).len(), 2);
    let run = f.run(&["book"]).ended(0);
    assert_eq!(run.err.matches("left out:").count(), 2, "{}", run.err);
    assert!(run.out.contains("neck-7"), "{}", run.out);
}

#[test]
fn a_life_tells_what_each_stage_changed() {
    let f = shop();
    let told = f.run(&["book", "neck-7", "--json"]).ended(0).json();
    assert_eq!(told["schema"], "coilwright/life/1");
    assert_eq!(told["about"]["made_by"], "mara");
    let readings = told["readings"].as_array().unwrap();
    assert_eq!(readings.len(), 2);
    assert_eq!(readings[0]["change"], Value::Null);
    // By the limits and in the words of `compare`.
    let compared = f.run(&["compare", "neck-7", "--json"]).ended(0).json();
    assert_eq!(readings[1]["change"], compared["differences"][0]);
    let screen = f.run(&["book", "neck-7", "--out", "plots"]).ended(0).out;
    let place = |what: &str| {
        screen
            .find(what)
            .unwrap_or_else(|| panic!("{what} is not in\n{screen}"))
    };
    assert!(place("before wax") < place("after wax"), "{screen}");
    assert!(place("after wax") < place("against before wax"), "{screen}");
    assert_eq!(f.list("plots"), ["life.png", "life.svg"]);
    f.run(&["book", "neck-8"]).refused(&["no pickup neck-8", "shop"]);
}

#[test]
fn words_behind_a_name() {
    let f = shop();
    let ids = |args: &[&str]| {
        let told = f.run(&[&["compare", "--json"], args].concat()).ended(0).json();
        let records = told["records"].as_array().unwrap();
        records
            .iter()
            .map(|r| r["id"].as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    let id = |place: &str| f.record(&format!("shop/{place}"))["id"].as_str().unwrap().to_owned();
    let [first, second] = [id("neck-7/0001"), id("neck-7/0002")];
    assert_eq!(ids(&["neck-7"]), [first.clone(), second.clone()]);
    assert_eq!(
        ids(&["neck-7@after-wax", "neck-7@before wax"]),
        [second.clone(), first.clone()]
    );
    assert_eq!(ids(&["neck-7#0002", "neck-7#1"]), [second.clone(), first.clone()]);
    // Of two loads the one that both have.
    assert_eq!(ids(&["neck-7", "neck-9"]), [second.clone(), id("neck-9/0001")]);
    assert_eq!(ids(&["neck-7", "neck-9", "neck-12-*"]).len(), 3);
    let record = f.record("shop/neck-7/0001");
    let year = &record["taken_at"].as_str().unwrap()[..4];
    assert_eq!(ids(&["neck-12-01", &format!("neck-7@{year}")])[1], second);
    f.run(&["compare", "neck-7@1999", "neck-9"])
        .refused(&["no reading of that time"]);
    f.run(&["compare", "neck-7@covered", "neck-9"])
        .refused(&["at the stage \"covered\""]);
    f.run(&["compare", "neck-7@2026-13", "neck-9"])
        .refused(&["neither a stage nor a day"]);
    f.run(&["compare", "neck-9"])
        .refused(&["no two stages under one load", "--stage"]);
}

#[test]
fn another_name_is_an_entry_that_can_be_taken_back() {
    let f = shop();
    f.run(&["note", "neck-7", "--about", "position=neck magnet=north"])
        .ended(0);
    f.run(&["book", "rename", "neck-7", "neck-70"]).ended(0);
    assert_eq!(listed(&f, &["--sort", "name"]), ["neck-12-01", "neck-70", "neck-9"]);
    let told = f.run(&["book", "neck-70", "--json"]).ended(0).json();
    assert_eq!(
        (&told["about"]["position"], &told["about"]["magnet"]),
        (&"neck".into(), &"north".into())
    );
    f.run(&["compare", "neck-70", "neck-9"]).ended(0);
    // Its folder is still called so.
    let life = f.run(&["book", "neck-7"]).ended(0).out;
    assert!(life.starts_with("neck-70"), "{life}");
    // By its path it goes by the new name too, and what is said of it then is said of that.
    f.run(&["note", "shop/neck-7/0002", "--about", "winding=clockwise"])
        .ended(0);
    let told = f.run(&["book", "neck-70", "--json"]).ended(0).json();
    assert_eq!(told["about"]["winding"], "clockwise");
    f.run(&["book", "undo"]).ended(0);
    // The record itself stays as it is.
    assert_eq!(f.record("shop/neck-7/0001")["pickup"]["name"], "neck-7");
    let back = f.run(&["book", "undo"]).ended(0).out;
    assert!(back.contains("neck-7 is called neck-70"), "{back}");
    assert_eq!(listed(&f, &["--sort", "name"]), ["neck-12-01", "neck-7", "neck-9"]);
    // One reading that was of another pickup.
    f.run(&["book", "rename", "neck-7#0002", "neck-9"]).ended(0);
    assert_eq!(listed(&f, &["neck-9", "--all"]).len(), 3);
    assert_eq!(f.list("shop/entries").len(), 6);
    for _ in 0..2 {
        f.run(&["book", "undo"]).ended(0);
    }
    f.run(&["book", "undo"]).refused(&["no entry to take back"]);
    f.run(&["book", "rename", "neck-7", "a@b"])
        .refused(&["would not be understood"]);
    f.run(&["book", "rename", "neck-*", "b"]).refused(&["may be several"]);
}

/// Where a look takes long the next one waits a minute: not for what the program has written itself.
#[test]
fn what_was_just_said_is_in_the_next_list() {
    let f = shop();
    assert_eq!(listed(&f, &[]).len(), 3);
    let index = index_of(&f);
    let slow = || {
        let db = rusqlite::Connection::open(&index).unwrap();
        db.execute("UPDATE looks SET took = 1000", []).unwrap();
    };
    slow();
    f.run(&["book", "rename", "neck-7", "neck-70"]).ended(0);
    assert_eq!(listed(&f, &["--sort", "name"]), ["neck-12-01", "neck-70", "neck-9"]);
    // What others have written waits, and what they took away is seen at once.
    slow();
    crate::bench::copy(&f.path("shop/neck-9"), &f.path("elsewhere"));
    std::fs::remove_dir_all(f.path("shop/neck-9")).unwrap();
    assert_eq!(listed(&f, &["--sort", "name"]), ["neck-12-01", "neck-70"]);
    slow();
    std::fs::rename(f.path("elsewhere"), f.path("shop/neck-9")).unwrap();
    assert_eq!(listed(&f, &["--sort", "name"]), ["neck-12-01", "neck-70"]);
    assert_eq!(
        listed(&f, &["--sort", "name", "--look"]),
        ["neck-12-01", "neck-70", "neck-9"]
    );
}

#[test]
fn a_stage_and_a_recipe_are_told_later_too() {
    let f = shop();
    f.run(&["note", "neck-9", "--stage", "covered"])
        .refused(&["neck-9 has readings of 2 kinds"]);
    f.run(&["note", "neck-9#0002", "--stage", "covered"]).ended(0);
    assert_eq!(listed(&f, &["--stage", "covered"]), ["neck-9"]);
    f.run(&["note", "--design", "warm", "--recipe", "turns=8000 wire=0.063mm"])
        .ended(0);
    f.run(&["note", "--design", "warm", "--recipe", "turns=8200"]).ended(0);
    f.run(&[
        "note",
        "neck-7",
        "neck-20",
        "--design",
        "warm@1",
        "--recipe",
        "magnets=five rods",
    ])
    .ended(0);
    let screen = f.run(&["book", "neck-7"]).ended(0).out;
    for word in ["warm version 1", "turns=8000", "wire=0.063mm", "magnets=five rods"] {
        assert!(screen.contains(word), "{word} is not in\n{screen}");
    }
    // One that was never measured may have its recipe; it stays in the shop.
    let told = f.run(&["book", "neck-20", "--json"]).ended(0);
    assert!(!told.out.contains("five rods"), "{}", told.out);
    let told = f.run(&["book", "neck-20", "--json", "--with-recipe"]).ended(0);
    assert!(told.out.contains("five rods"), "{}", told.out);
    // A new version has words in it that were not typed just now.
    let version = ["note", "--design", "warm", "--recipe", "turns=8300", "--json"];
    let kept = f.run(&version).ended(0).json();
    assert_eq!(kept["entries"][0]["version"], 3);
    assert_eq!(kept["entries"][0]["words"], Value::Null, "{kept}");
    let told = f.run(&[&version[..], &["--with-recipe"]].concat()).ended(0).json();
    assert_eq!(told["entries"][0]["words"]["wire"], "0.063mm", "{told}");
    f.run(&["note", "neck-7", "--design", "cold"])
        .refused(&["there is no design cold"]);
    f.run(&["note", "neck-7", "--design", "warm@5"])
        .refused(&["warm has 4 versions"]);
    f.run(&["note", "neck-7", "--about", "position=tail"])
        .refused(&["position is one of neck"]);
    f.run(&["note", "--design", "warm"]).refused(&["no pickup is named"]);
}
