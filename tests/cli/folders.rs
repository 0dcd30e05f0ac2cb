//! Where things are written, and what is never written over.

use serde_json::{Value, json};

use crate::bench::{Folder, SHORT};
use crate::lot::{GOOD, bench, file, lot, save};
use crate::screens::RIG;

const KEPT: [&str; 7] = [
    "asked.json",
    "drive.json",
    "drive.wav",
    "record.json",
    "response.png",
    "response.svg",
    "take.wav",
];

#[test]
fn takes_are_numbered_within_the_pickups_folder() {
    let f = Folder::new();
    for n in ["0001", "0002", "0003"] {
        let run = f.measure(&[]).ended(0);
        assert!(run.out.contains(&format!("trial/{n}/record.json")), "{}", run.out);
        assert_eq!(f.list(&format!("trial/{n}")), KEPT);
    }
    // A gap is not filled, other folders and files do not count, and five digits follow four.
    std::fs::remove_dir_all(f.path("trial/0002")).unwrap();
    std::fs::create_dir(f.path("trial/sorted out")).unwrap();
    f.write("trial/0041", b"a file");
    f.measure(&[]).ended(0);
    std::fs::create_dir(f.path("trial/9999")).unwrap();
    f.measure(&[]).ended(0);
    assert_eq!(
        f.list("trial"),
        ["0001", "0003", "0041", "0042", "10000", "9999", "sorted out"]
    );
    // Another pickup begins at one; a rejected take counts too.
    f.measure(&["--pickup=other", "--sim", "open"]).refused(&["--pickup"]);
    let args = [
        "measure",
        "--pickup",
        "other",
        "--source",
        "sim",
        "--seconds",
        "0.7",
        "--sim",
        "open",
    ];
    f.run(&args).ended(1);
    f.run(&args[..7]).ended(0);
    assert_eq!(f.list("other"), ["0001", "0002"]);
}

#[test]
fn any_name_makes_one_folder_here() {
    let f = Folder::new();
    for (name, folder) in [
        ("neck/7", "neck-7"),
        ("../up", "-up"),
        ("/etc/passwd", "-etc-passwd"),
        ("C:\\pickups", "C--pickups"),
        (" .hidden. ", "hidden"),
        ("Brücke 3 \"hot\"", "Brücke 3 -hot-"),
    ] {
        let args = [
            "measure",
            "--pickup",
            name,
            "--source",
            "sim",
            "--seconds",
            "0.4",
            "--rate",
            "48k",
            "--json",
        ];
        let record = f.run(&args).ended(0).json();
        // The record keeps the name as it was given.
        assert_eq!(record["pickup"]["name"], name);
        assert_eq!(f.record(&format!("{folder}/0001")), record);
    }
    for name in ["", "  ", ".", "..", "..."] {
        f.run(&["measure", "--pickup", name, "--source", "sim"])
            .refused(&["pickup"]);
    }
    assert_eq!(f.list("").len(), 6, "{:?}", f.list(""));
}

#[test]
fn folders_are_made_here_and_not_above_those_elsewhere() {
    let f = Folder::new();
    f.measure(&["--out", "new"]).ended(0);
    f.run(&["analyze", "new/take.wav", "--out", "analysed"]).ended(0);
    f.run(&["compare", "new", "analysed", "--out", "compared"]).ended(0);
    f.measure(&["--out", "new/deeper"]).ended(0);
    f.measure(&["--out", "before/wax/neck-1"]).ended(0);
    let here = f.path("after/wax/neck-1");
    f.run(&["analyze", "new/take.wav", "--out", here.to_str().unwrap()])
        .ended(0);
    // What is refused leaves none of them behind.
    f.measure(&["--out", "these/are/not", "--sim", "r=0"])
        .refused(&["r_ohm"]);
    f.run(&[
        "loads",
        "--r",
        "6k",
        "--l",
        "2.4H",
        "--load",
        "cap=1x",
        "--out",
        "nor/these",
    ])
    .refused(&["cap"]);
    let elsewhere = tempfile::tempdir().unwrap();
    std::os::unix::fs::symlink(elsewhere.path(), f.path("linked")).unwrap();
    let before = f.list("");
    for out in ["../no/such", "linked/no/such"] {
        f.measure(&["--out", out]).refused(&["no/such", "does not exist"]);
        f.run(&["analyze", "new/take.wav", "--out", out])
            .refused(&["no/such", "does not exist"]);
        f.run(&["compare", "new", "analysed", "--out", out])
            .refused(&["no/such", "does not exist"]);
    }
    assert_eq!(elsewhere.path().read_dir().unwrap().count(), 0);
    f.run(&["drive", "--out", "no/such.wav"]).refused(&["no/such.wav"]);
    f.write("file", b"x");
    for args in [
        &["measure", "--pickup", "a", "--source", "sim", "--out", "file"][..],
        &["analyze", "new/take.wav", "--out", "file"],
        &["compare", "new", "analysed", "--out", "file"],
    ] {
        f.run(args).refused(&["file is a file", "folder"]);
    }
    assert_eq!(f.bytes("file"), b"x");
    assert_eq!(f.list("").len(), before.len() + 1);
}

#[test]
fn a_folder_that_cannot_be_written_to_is_found_before_anything_else() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    std::fs::create_dir(f.path("shut")).unwrap();
    let mode = |m| {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(f.path("shut"), std::fs::Permissions::from_mode(m)).unwrap();
    };
    mode(0o555);
    // The superuser may write anywhere but where the kernel itself says no.
    let shut = if std::fs::write(f.path("shut/trial"), b"").is_ok() {
        std::fs::remove_file(f.path("shut/trial")).unwrap();
        "/proc/sys/kernel"
    } else {
        "shut"
    };
    let inner = format!("{shut}/inner");
    for out in [shut, inner.as_str()] {
        f.measure(&["--out", out]).refused(&[out]);
        f.run(&["analyze", "one/take.wav", "--out", out]).refused(&[out]);
        f.run(&["analyze", "one/take.wav", "one/take.wav", "--out", out])
            .refused(&[out]);
        f.run(&["compare", "one", "one", "--out", out]).refused(&[out]);
        f.run(&["drive", "--out", &format!("{out}/d.wav")]).refused(&[out]);
    }
    mode(0o755);
    assert_eq!(f.list("shut"), [""; 0]);
}

#[test]
fn nothing_that_is_there_is_written_over() {
    let f = Folder::new();
    f.measure(&["--repeats", "2", "--out", "one"]).ended(0);
    let everything = || -> Vec<(String, Vec<u8>)> {
        let names = f.list("one").into_iter();
        names.map(|n| (n.clone(), f.bytes(&format!("one/{n}")))).collect()
    };
    let before = everything();
    assert_eq!(before.len(), 8);
    f.measure(&["--out", "one"])
        .refused(&["one/record.json is there already", "--out"]);
    f.measure(&["--sim", "open", "--out", "one", "--json"])
        .refused(&["one/record.json is there already"]);
    f.run(&["analyze", "one/take.wav", "--out", "one"])
        .refused(&["one/record.json is there already"]);
    f.run(&["drive", "--out", "one/drive.wav"])
        .refused(&["one/drive.wav is there already"]);
    assert_eq!(before, everything());
    // A take alone is not written over either.
    for lonely in ["take.wav", "drive.wav", "drive.json", "take-2.wav", "asked.json"] {
        let out = lonely.replace('.', "-");
        std::fs::create_dir(f.path(&out)).unwrap();
        f.write(&format!("{out}/{lonely}"), b"precious");
        f.measure(&["--repeats", "2", "--out", &out])
            .refused(&[lonely, "is there already"]);
        assert_eq!(f.list(&out), [lonely]);
        assert_eq!(f.bytes(&format!("{out}/{lonely}")), b"precious");
    }
    // A link to nowhere is something too.
    std::fs::create_dir(f.path("linked")).unwrap();
    std::os::unix::fs::symlink("elsewhere.json", f.path("linked/record.json")).unwrap();
    f.measure(&["--out", "linked"])
        .refused(&["linked/record.json is there already"]);
    assert_eq!(f.list("linked"), ["record.json"]);
    assert!(!f.path("linked/elsewhere.json").exists());
}

#[test]
fn what_is_asked_too_much_of_leaves_nothing_behind() {
    let f = Folder::new();
    f.measure(&["--sim", "knock=99s", "--out", "new"])
        .refused(&["knock at 99 s", "within the take"]);
    f.measure(&["--sim", "knock=99s"]).refused(&["knock at 99 s"]);
    assert_eq!(f.list(""), [""; 0]);
    // A folder that was there before stays, with what is in it.
    std::fs::create_dir_all(f.path("trial/0001")).unwrap();
    std::fs::create_dir(f.path("empty")).unwrap();
    f.measure(&["--sim", "knock=99s"]).refused(&["knock at 99 s"]);
    f.measure(&["--sim", "knock=99s", "--out", "empty"])
        .refused(&["knock at 99 s"]);
    assert_eq!(f.list(""), ["empty", "trial"]);
    assert_eq!(f.list("trial"), ["0001"]);
}

#[test]
fn what_is_remembered_counts_until_an_option_says_otherwise() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    f.write("south.toml", RIG.replace("north", "south").as_bytes());
    f.run(&[
        "use",
        "--rig",
        "north.toml",
        "--load",
        "res=250k cap=500p",
        "--folder",
        "notebook",
        "--room",
        "21C",
        "--over",
        "first coil",
    ])
    .ended(0);
    let record = f.measure(&["--ohms", "6k", "--json"]).ended(0).json();
    assert_eq!(record, f.record("notebook/trial/0001"));
    assert_eq!(record["rig"]["name"], "north bench");
    assert_eq!(record["load"]["text"], "cap=500p res=250k");
    assert_eq!(record["pickup"]["temperature_c"], 21.0);
    assert_eq!(record["pickup"]["over"], "first coil");
    let record = f
        .measure(&[
            "--rig",
            "south.toml",
            "--load",
            "res=1M",
            "--room",
            "-3C",
            "--over",
            "second coil",
            "--out",
            "here",
            "--json",
        ])
        .ended(0)
        .json();
    assert_eq!(record, f.record("here"));
    assert_eq!(record["rig"]["name"], "south bench");
    assert_eq!(record["load"]["text"], "res=1M");
    assert_eq!(record["pickup"]["temperature_c"], -3.0);
    assert_eq!(record["pickup"]["over"], "second coil");
    // analyze hears the same defaults, but writes nothing unasked.
    let before = f.list("");
    let record = f.run(&["analyze", "here/take.wav", "--json"]).ended(0).json();
    assert_eq!(
        (&record["rig"]["name"], &record["load"]["text"]),
        (&"north bench".into(), &"cap=500p res=250k".into())
    );
    assert_eq!(f.list(""), before);
    // One channel by default, and as said.
    f.run(&["use", "--channels", "pickup=1"]).ended(0);
    let record = f.measure(&["--json"]).ended(0).json();
    assert_eq!(record["capture"]["channels"], 1);
    let record = f
        .measure(&["--channels", "pickup=1,reference=2", "--json"])
        .ended(0)
        .json();
    assert_eq!(record["capture"]["channels"], 2);
    assert_eq!(f.list("notebook/trial"), ["0001", "0002", "0003"]);
    // Forgotten is as never said; the folder's file is valid TOML that a hand may have changed.
    f.run(&["use", "--forget", "rig", "--forget", "channels", "--forget", "folder"])
        .ended(0);
    f.write(
        "coilwright.toml",
        &[&b"# by hand\nload = \"\"\n"[..], &b"room = 19\n"[..]].concat(),
    );
    let record = f.measure(&["--json", "--ohms", "6k"]).ended(0).json();
    assert_eq!(record["rig"]["given"], false);
    assert_eq!(record["pickup"]["temperature_c"], 19.0);
    assert_eq!(record, f.record("trial/0001"));
}

#[test]
fn a_refused_default_leaves_the_old_ones() {
    let f = Folder::new();
    f.run(&["use", "--load", "res=250k"]).ended(0);
    let before = f.bytes("coilwright.toml");
    f.run(&["use", "--rig", "none.toml", "--load", "res=1M"])
        .refused(&["none.toml"]);
    f.run(&["use", "--load", "res=1M", "--forget", "colour"])
        .refused(&["colour"]);
    f.run(&["use", "--channels", "pickup=1,reference=1"])
        .refused(&["same channel"]);
    f.run(&["use", "--over", ""]).refused(&["over"]);
    assert_eq!(f.bytes("coilwright.toml"), before);
    assert_eq!(f.list(""), [".coilwright.toml.lock", "coilwright.toml"]);
}

/// Whoever writes while another one does waits for it, and begins with what that one has written; remarks stay.
#[test]
fn of_two_at_once_neither_loses_what_the_other_remembers() {
    let f = Folder::new();
    f.write("coilwright.toml", b"# the small room\nroom = \"21C\"\n");
    let lock = std::fs::File::create(f.path(".coilwright.toml.lock")).unwrap();
    lock.lock().unwrap();
    let mut command = f.command(&["use", "--over", "first coil"]);
    let mut child = command.stdout(std::process::Stdio::null()).spawn().unwrap();
    std::thread::sleep(std::time::Duration::from_millis(300));
    assert!(child.try_wait().unwrap().is_none());
    f.write("coilwright.toml", b"# the small room\nroom = \"18C\"\n");
    drop(lock);
    assert!(child.wait().unwrap().success());
    let text = String::from_utf8(f.bytes("coilwright.toml")).unwrap();
    assert_eq!(text, "# the small room\nroom = \"18C\"\nover = \"first coil\"\n");
}

/// What a killed command left is put away by the next one in that folder; whatever else lies there is not touched.
#[test]
fn leftovers_are_put_away() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    let before = f.list("one");
    f.write("one/.coilwright-a1b2c3.tmp", b"half a rec");
    f.write("one/.somebody.tmp", b"mine");
    f.run(&["note", "one", "--text", "looked at"]).ended(0);
    let mut want = [before, vec![".somebody.tmp".into(), "note-0001.json".into()]].concat();
    want.sort();
    assert_eq!(f.list("one"), want);
}

#[test]
fn a_lot_from_elsewhere_leads_nowhere() {
    let f = bench();
    lot(&f, GOOD, "\nq\n", &[]).ended(0);
    let good = file(&f);
    for (place, name) in [
        ("/lot", "../b"),
        ("/entries/0/record", "../../b"),
        ("/entries/0/record", "/tmp"),
        ("/entries/0/record", ".."),
    ] {
        let mut bad = good.clone();
        *bad.pointer_mut(place).unwrap() = name.into();
        save(&f, &bad);
        lot(&f, GOOD, "n x\nq\n", &[]).refused(&["leads out of its folder", "ask where the file came from"]);
    }
    save(&f, &good);
    #[cfg(unix)]
    {
        std::fs::rename(f.path("a/a-01"), f.path("elsewhere")).unwrap();
        std::os::unix::fs::symlink("../elsewhere", f.path("a/a-01")).unwrap();
        lot(&f, GOOD, "n x\nq\n", &[]).refused(&["a-01 is a link", "put the record itself there"]);
        assert_eq!(f.list("elsewhere").iter().filter(|n| n.starts_with("note-")).count(), 0);
    }
}

#[test]
fn a_copied_lot_has_its_own_name() {
    let f = bench();
    lot(&f, GOOD, "\n\nq\n", &[]).ended(0);
    std::fs::create_dir(f.path("a-2")).unwrap();
    for name in ["a-01", "a-02"] {
        std::fs::create_dir(f.path("a-2").join(name)).unwrap();
        f.write(
            &format!("a-2/{name}/record.json"),
            &f.bytes(&format!("a/{name}/record.json")),
        );
    }
    f.write("a-2/tray.json", &f.bytes("a/tray.json"));
    let args = ["tray", "--lot", "a-2", "--sim", GOOD, "--json"];
    let run = f.typed(&[&args[..], &SHORT].concat(), "\nq\n").ended(0);
    assert!(
        run.err.contains("This folder is the lot a's, copied or renamed"),
        "{}",
        run.err
    );
    let doc = run.json();
    assert_eq!(
        (&doc["tray"]["lot"], &doc["tray"]["copied_from"]),
        (&json!("a-2"), &json!("a"))
    );
    let names: Vec<&Value> = doc["tray"]["entries"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| &e["name"])
        .collect();
    assert_eq!(names, ["a-01", "a-02", "a-2-03"]);
    assert!(f.path("a-2/a-2-03/record.json").exists());
    // Said once; the first lot is as it was.
    let run = f.typed(&[&args[..], &SHORT].concat(), "q\n").ended(0);
    assert!(!run.err.contains("copied or renamed"), "{}", run.err);
    assert_eq!(file(&f)["lot"], "a");
}
