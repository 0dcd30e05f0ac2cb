//! Two notebooks of real readings, and what is done to them that must survive a pulled plug.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::bench::{Folder, Made, Run, copy};
use crate::kill::{Job, QUICK, all, list, run, said};

/// The notebook `book` with neck-1 twice, and `class` with another neck-1 and neck-2.
pub fn two() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = Folder::quick();
        for (folder, pickup, seed) in [
            ("class", "neck-1", "1"),
            ("class", "neck-2", "2"),
            ("book", "neck-1", "3"),
            ("book", "neck-1", "4"),
        ] {
            f.run(&["use", "--folder", folder]).ended(0);
            measure(&f, &["--pickup", pickup, "--seed", seed]).ended(0);
        }
        f
    })
}

pub fn measure(f: &Folder, more: &[&str]) -> Run {
    f.run(&[&["measure"], &QUICK[..], more].concat())
}

/// The same with readings of long ago in `book`, whose takes lie in `kept` as well, and whose neck-1 is mara's.
pub fn old() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, || {
        let f = two();
        copy(&f.path("book"), &f.path("kept"));
        for n in ["0001", "0002"] {
            let path = format!("book/neck-1/{n}/record.json");
            let mut record: Value = serde_json::from_slice(&f.bytes(&path)).unwrap();
            let day = "2020-01-31T14:05:09+00:00";
            let take =
                coilwright::capture::wav::read_take(&f.path(&format!("book/neck-1/{n}/take.wav")), None).unwrap();
            record["taken_at"] = json!(day);
            record["id"] = json!(coilwright::analysis::compose::identity(&take, day, "neck-1"));
            f.write(&path, &serde_json::to_vec(&record).unwrap());
        }
        f.write("old.csv", b"day,name,ohms\n2006-05-31,old,6k\n2006-06-01,old,6.1k\n");
        f.run(&["note", "neck-1", "--by", "mara"]).ended(0);
        std::fs::create_dir(f.path("away")).unwrap();
        f.write("away/remark.md", b"takes of long ago\n");
        f
    })
}

/// What brings into the notebook, out of it, and says of it; each with what has to be true once it was done again.
pub fn keepers() -> Vec<Job> {
    let thin = ["book", "thin", "--older", "2y", "--to", "away"];
    vec![
        job("add", &["book", "add", "class"], |f| count(f, 4)),
        job("thin", &thin, |f| takes(f, false)),
        Job {
            next: all(&["book", "thin", "--back", "--to", "away"]),
            ..job("thin and back", &thin, |f| takes(f, true))
        },
        job("import", &["book", "import", "old.csv"], |f| count(f, 4)),
        Job {
            next: all(&["book", "--all", "--look", "--json"]),
            ..job("rename", &["book", "rename", "neck-1", "neck-9"], |f| {
                let names: BTreeSet<String> = readings(f).iter().map(|r| r["name"].to_string()).collect();
                let half = (names.len() != 1).then(|| format!("called {names:?}"));
                half.into_iter().chain(count(f, 2)).collect()
            })
        },
        job("remark", &["note", "book/neck-1/0001", "--text", "as wound"], |f| {
            count(f, 2)
        }),
        // Two entries at once.
        job(
            "note",
            &["note", "neck-1", "--about", "position=neck", "--recipe", "turns=8000"],
            |f| {
                let life = life(f).to_string();
                let gone = ["\"position\":\"neck\"", "\"turns\":\"8000\"", "\"made_by\":\"mara\""];
                let gone = gone.iter().filter(|w| !life.contains(**w));
                gone.map(|w| format!("{w} is not in {life}")).chain(sound(f)).collect()
            },
        ),
        Job {
            next: all(&["book", "neck-1", "--json"]),
            ..job("undo", &["book", "undo"], |f| {
                // Done or not, never half, and nothing else taken with it.
                let by = &life(f)["about"]["made_by"];
                let half = !by.is_null() && by != "mara";
                let half = half.then(|| format!("made by {by}"));
                half.into_iter().chain(count(f, 2)).collect()
            })
        },
    ]
}

fn life(f: &Folder) -> Value {
    let out = run(
        f,
        None,
        &all(&["book", "neck-1", "--look", "--json", "--with-recipe"]),
        "",
        None,
    );
    serde_json::from_slice(&out.stdout).unwrap_or_default()
}

fn job(name: &'static str, args: &[&str], held: fn(&Folder) -> Vec<String>) -> Job {
    Job {
        held,
        ..Job::same(name, all(args), &[])
    }
}

fn readings(f: &Folder) -> Vec<Value> {
    let out = run(f, None, &all(&["book", "--all", "--look", "--json"]), "", None);
    let doc: Value = serde_json::from_slice(&out.stdout).unwrap_or_default();
    list(&doc["readings"]).cloned().collect()
}

/// Everything in the notebook is what it says.
fn sound(f: &Folder) -> Option<String> {
    let out = run(f, None, &all(&["book", "check"]), "", None);
    (!out.status.success()).then(|| said(&out))
}

fn count(f: &Folder, want: usize) -> Vec<String> {
    let there = readings(f).len();
    let wrong = (there != want).then(|| format!("{there} readings, and {want} were to be there"));
    wrong.into_iter().chain(sound(f)).collect()
}

/// Each take is in the notebook or where it was put, whole; in the end all are at one of them.
fn takes(f: &Folder, back: bool) -> Vec<String> {
    let mut bad: Vec<String> = sound(f).into_iter().collect();
    for reading in ["neck-1/0001", "neck-1/0002"] {
        for name in ["take.wav", "drive.wav"] {
            let path = format!("{reading}/{name}");
            let kept = f.bytes(&format!("kept/{path}"));
            let is_in = |top: &str| std::fs::read(f.path(top).join(&path)).is_ok_and(|b| b == kept);
            if (is_in("book"), is_in("away")) != (back, !back) {
                bad.push(format!("{path}: here {}, put away {}", is_in("book"), is_in("away")));
            }
        }
    }
    bad
}
