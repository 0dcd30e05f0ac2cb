//! Several takes at once.

use crate::bench::Folder;

/// A folder with takes of known fate: two that can be read, one rejected, one that is no take.
fn lot() -> Folder {
    let f = Folder::new();
    for (name, sim) in [
        ("good", "r=6k l=2.4H cs=120p"),
        ("fine", "r=8k l=4.4H cs=70p"),
        ("open", "open"),
    ] {
        f.measure(&["--sim", sim, "--load", "res=250k cap=350p", "--out", name]);
        std::fs::copy(f.path(name).join("take.wav"), f.path(&format!("{name}.wav"))).unwrap();
        std::fs::remove_dir_all(f.path(name)).unwrap();
    }
    f.write("letter.wav", b"Dear Sir or Madam");
    f
}

#[test]
fn the_status_is_that_of_the_worst_unless_none_could_be_used() {
    let f = lot();
    for (takes, status, read, failed) in [
        (&["good.wav", "fine.wav"][..], 0, 2, 0),
        (&["good.wav", "open.wav"], 1, 2, 0),
        (&["good.wav", "letter.wav"], 1, 1, 1),
        (&["letter.wav", "open.wav", "none.wav"], 1, 1, 2),
        (&["open.wav", "open.wav"], 1, 2, 0),
    ] {
        let run = f.run(&[&["analyze", "--json"], takes].concat()).ended(status);
        let batch = run.json();
        assert_eq!(batch["schema"], "coilwright/batch/1");
        let records = batch["records"].as_array().unwrap();
        assert_eq!(records.len(), read, "{takes:?}");
        let list = batch["failed"].as_array().unwrap();
        assert_eq!(list.len(), failed, "{takes:?}");
        for entry in list {
            let (file, error) = (entry["file"].as_str().unwrap(), entry["error"].as_str().unwrap());
            assert!(
                takes.contains(&file) && error.contains(';') && !error.contains('\n'),
                "{entry}"
            );
        }
        // The records stand in the order of the takes.
        let names: Vec<String> = records
            .iter()
            .map(|r| format!("{}.wav", r["pickup"]["name"].as_str().unwrap()))
            .collect();
        let expected: Vec<&str> = takes
            .iter()
            .copied()
            .filter(|t| !["letter.wav", "none.wav"].contains(t))
            .collect();
        assert_eq!(names, expected);
        // The screen tells the same.
        let screen = f.run(&[&["analyze"], takes].concat()).ended(status);
        for entry in list {
            assert!(screen.out.contains(entry["file"].as_str().unwrap()), "{}", screen.out);
        }
    }
    for json in [&[][..], &["--json"]] {
        f.run(&[&["analyze", "letter.wav", "none.wav", "--out", "results"], json].concat())
            .refused(&["none of 2 takes", "letter.wav"]);
        assert!(!f.path("results").exists());
    }
}

/// More takes than there are processors, the damaged ones first, in between and last.
#[test]
fn a_bad_file_among_good_ones_is_named_and_the_rest_is_done() {
    let f = lot();
    let good = f.bytes("good.wav");
    f.write("cut.wav", &good[..30]);
    f.write("empty.wav", b"");
    let mut takes = vec!["letter.wav".to_string()];
    for n in 0..9 {
        let name = format!("take-{n}.wav");
        f.write(&name, &if n % 2 == 0 { good.clone() } else { f.bytes("fine.wav") });
        takes.push(name);
        if n == 4 {
            takes.push("cut.wav".into());
        }
    }
    takes.push("missing.wav".into());
    takes.push("empty.wav".into());
    let takes: Vec<&str> = takes.iter().map(String::as_str).collect();
    let bad = ["letter.wav", "cut.wav", "missing.wav", "empty.wav"];
    let run = f
        .run(&[&["analyze", "--json", "--out", "results"], &takes[..]].concat())
        .ended(1);
    let batch = run.json();
    let failed: Vec<&str> = batch["failed"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| e["file"].as_str().unwrap())
        .collect();
    assert_eq!(failed, bad, "in the order given");
    let records = batch["records"].as_array().unwrap();
    assert_eq!(records.len(), 9);
    // Nothing of one take got into another that was worked on at the same time.
    for (name, alone) in [("take-0", "good.wav"), ("take-7", "fine.wav")] {
        let one = f.run(&["analyze", "--json", alone]).ended(0).json();
        let of_lot = f.record(&format!("results/{name}"));
        for part in ["resonance", "fit", "curve"] {
            assert_eq!(one[part], of_lot[part], "{name}: {part}");
        }
    }
    assert_eq!(f.list("results").len(), 9);
    let screen = f.run(&[&["analyze"], &takes[..]].concat()).ended(1);
    assert!(screen.out.contains("9 read, 4 could not be used"), "{}", screen.out);
    for name in bad {
        assert!(screen.out.contains(&format!("{name}: ")), "{name}: {}", screen.out);
    }
}

#[test]
fn every_take_that_could_be_read_gets_a_folder_of_its_stem() {
    let f = lot();
    let args = ["analyze", "good.wav", "open.wav", "letter.wav", "--out", "results"];
    f.run(&args).ended(1);
    assert_eq!(f.list("results"), ["good", "open"]);
    for name in ["good", "open"] {
        assert_eq!(
            f.list(&format!("results/{name}")),
            ["record.json", "response.png", "response.svg"]
        );
        let record = f.record(&format!("results/{name}"));
        assert_eq!(record["pickup"]["name"], name);
        assert_eq!(record["capture"]["take"], format!("{name}.wav"));
    }
    // Once more into the same folder: nothing is overwritten, each is told of, and what is new is written.
    let before = f.bytes("results/good/record.json");
    let run = f
        .run(&["analyze", "good.wav", "fine.wav", "--out", "results", "--json"])
        .ended(1);
    let batch = run.json();
    assert_eq!(batch["failed"][0]["file"], "good.wav");
    assert!(
        batch["failed"][0]["error"]
            .as_str()
            .unwrap()
            .contains("is there already")
    );
    assert_eq!(batch["records"][0]["pickup"]["name"], "fine");
    assert_eq!(f.bytes("results/good/record.json"), before);
    assert_eq!(f.list("results"), ["fine", "good", "open"]);
    f.run(&["analyze", "good.wav", "fine.wav", "--out", "../no/such"])
        .refused(&["no/such", "does not exist"]);
}

#[test]
fn stems_that_repeat_get_their_folders_name_in_front() {
    let f = lot();
    // As measure --repeats leaves them: NAME/0001/take.wav and take-2.wav.
    for folder in ["a", "b", "c/a"] {
        std::fs::create_dir_all(f.path(folder)).unwrap();
        for take in ["take.wav", "take-2.wav"] {
            let from = if take == "take.wav" { "good.wav" } else { "fine.wav" };
            std::fs::copy(f.path(from), f.path(&format!("{folder}/{take}"))).unwrap();
        }
    }
    let takes = [
        "a/take.wav",
        "a/take-2.wav",
        "b/take.wav",
        "b/take-2.wav",
        "c/a/take.wav",
        "c/a/take-2.wav",
        "open.wav",
    ];
    f.run(&[&["analyze", "--out", "results"], &takes[..]].concat()).ended(1);
    let folders = f.list("results");
    assert_eq!(folders.len(), takes.len(), "{folders:?}");
    for expected in ["a-take", "a-take-2", "b-take", "b-take-2", "open"] {
        assert!(folders.iter().any(|x| x == expected), "{expected}: {folders:?}");
    }
    // Each record has the plot of its own take beside it.
    let own = |name: &str| {
        let f0 = f.record(&format!("results/{name}"))["resonance"]["f0_hz"]["value"].as_f64();
        (f0.unwrap(), f.bytes(&format!("results/{name}/response.svg")))
    };
    let (good, fine) = (own("b-take"), own("b-take-2"));
    assert!(good.0 != fine.0 && good.1 != fine.1);
    for name in folders.iter().filter(|x| *x != "open") {
        let (f0, svg) = own(name);
        assert_eq!(f0 == good.0, svg == good.1, "{name}");
        assert_eq!(f0 == fine.0, svg == fine.1, "{name}");
    }
    let count = |f0: f64| folders.iter().filter(|x| *x != "open" && own(x).0 == f0).count();
    assert_eq!((count(good.0), count(fine.0)), (3, 3));
}

#[test]
fn the_name_comes_from_the_option_then_the_record_beside_the_take_then_the_file() {
    let f = Folder::new();
    let args = [
        "measure",
        "--pickup",
        "neck 7",
        "--source",
        "sim",
        "--seconds",
        "0.7",
        "--rate",
        "48k",
    ];
    f.run(&[&args[..], &["--repeats", "2", "--out", "one"]].concat())
        .ended(0);
    std::fs::copy(f.path("one/take.wav"), f.path("one/another.wav")).unwrap();
    std::fs::copy(f.path("one/take.wav"), f.path("alone.wav")).unwrap();
    let name =
        |args: &[&str]| f.run(&[&["analyze", "--json"], args].concat()).ended(0).json()["pickup"]["name"].clone();
    assert_eq!(name(&["one/take.wav"]), "neck 7");
    assert_eq!(name(&["one/take-2.wav"]), "neck 7");
    // The record is not of this file.
    assert_eq!(name(&["one/another.wav"]), "another");
    assert_eq!(name(&["alone.wav"]), "alone");
    assert_eq!(name(&["one/take.wav", "--pickup", "bridge"]), "bridge");
    let batch = f
        .run(&["analyze", "one/take.wav", "alone.wav", "--json"])
        .ended(0)
        .json();
    assert_eq!(batch["records"][0]["pickup"]["name"], "neck 7");
    assert_eq!(batch["records"][1]["pickup"]["name"], "alone");
    // A record that cannot be read names nothing and does no harm.
    f.write("record.json", b"{");
    assert_eq!(name(&["alone.wav"]), "alone");
}
