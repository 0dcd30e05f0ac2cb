//! What was measured is on the disk before it is read, and what was found is told before it is drawn.

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::bench::{Folder, Run, SHORT, names};
use crate::screens::RIG;

const SIM: &str = "r=6k l=2.4H cs=120p noise=-80dBFS";

fn notes(record: &Value) -> String {
    record["notes"].to_string()
}

fn rigged(more: &str) -> Folder {
    let f = Folder::new();
    f.write("north.toml", format!("{RIG}{more}").as_bytes());
    f
}

/// Everything that can be told of a pickup.
const TOLD: [&str; 14] = [
    "--rig",
    "north.toml",
    "--load",
    "res=250k cap=500p",
    "--over",
    "first coil",
    "--ohms",
    "6.05k by meter A",
    "--room",
    "70F",
    "--note",
    "same reel",
    "--sim",
    SIM,
];

/// No take is waited for longer.
const LONG: Duration = Duration::from_secs(60);

fn began(f: &Folder, args: &[&str]) -> std::process::Child {
    let all = [&["measure", "--pickup", "trial"], &SHORT[..], args].concat();
    let mut c = f.command(&all);
    c.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Until a file is there; the program must not have ended before.
fn until(f: &Folder, child: &mut std::process::Child, name: &str) {
    let begun = Instant::now();
    while !f.path(name).exists() {
        assert!(begun.elapsed() < LONG, "{name} does not come");
        assert!(child.try_wait().unwrap().is_none(), "{name} never came");
        std::thread::sleep(Duration::from_micros(100));
    }
}

#[test]
fn takes_outlive_the_program_and_are_finished_later() {
    for channels in ["pickup=1,reference=2", "pickup=1"] {
        let f = rigged("");
        let args = [&TOLD[..], &["--channels", channels, "--repeats", "90", "--out", "one"]].concat();
        f.measure(&["--out", "two"]).ended(0);
        let mut child = began(&f, &args);
        until(&f, &mut child, "one/take-2.wav");
        f.run(&["analyze", "one"]).refused(&["one is being measured", "wait"]);
        let others = f.run(&["analyze", "one", "two"]).ended(0);
        assert!(
            others.err.contains("one is being measured: left alone"),
            "{}",
            others.err
        );
        assert!(child.try_wait().unwrap().is_none(), "it ended");
        child.kill().unwrap();
        child.wait().unwrap();
        let takes = |f: &Folder| f.list("one").iter().filter(|n| n.starts_with("take")).count();
        let kept = takes(&f);
        assert!(
            (2..90).contains(&kept) && !f.path("one/record.json").exists(),
            "{:?}",
            f.list("one")
        );
        let record = f.run(&["analyze", "one", "--json"]).ended(0).json();
        assert_eq!(record, f.record("one"));
        let pickup = &record["pickup"];
        assert_eq!(
            json!([
                pickup["name"],
                pickup["over"],
                pickup["r_ohm"],
                pickup["ohmmeter"],
                pickup["note"]
            ]),
            json!(["trial", "first coil", 6050.0, "meter A", "same reel"])
        );
        assert!((pickup["temperature_c"].as_f64().unwrap() - 21.1).abs() < 0.1);
        assert_eq!(record["rig"]["name"], "north bench");
        assert_eq!(record["load"]["text"], "cap=500p res=250k");
        assert_eq!(
            (&record["capture"]["source"], &record["drive"]["rate_hz"]),
            (&"sim".into(), &48_000.into())
        );
        assert_eq!(record["repeats"].as_array().unwrap().len(), kept);
        assert!(record["notes"].as_array().unwrap().contains(&"simulated".into()));
        let said = format!("{kept} of 90 takes were made, and they are kept: the program was ended");
        assert!(notes(&record).contains(&said), "{}", notes(&record));
        assert!(f.path("one/response.png").exists());
    }
}

/// As if the program had been killed between take and record.
fn unfinish(f: &Folder, folder: &str) -> Value {
    let record = f.record(folder);
    for name in f.list(folder) {
        if name == "record.json" || name.ends_with(".svg") || name.ends_with(".png") {
            std::fs::remove_file(f.path(folder).join(name)).unwrap();
        }
    }
    record
}

#[test]
fn what_is_finished_later_is_the_same_record() {
    let f = rigged("");
    for (i, more) in [
        &["--repeats", "2", "--knock", "4"][..],
        &["--channels", "pickup=1", "--model", "eddy"],
        &["--sim", "open", "--load", "none"],
        &["--shape", "noise"],
    ]
    .into_iter()
    .enumerate()
    {
        let out = format!("n{i}");
        let told: &[&str] = if more.contains(&"--sim") { &TOLD[..2] } else { &TOLD };
        let status = i32::from(more.contains(&"open"));
        f.measure(&[told, more, &["--out", &out]].concat()).ended(status);
        let was = unfinish(&f, &out);
        let record = f.run(&["analyze", &out, "--json"]).ended(status).json();
        assert_eq!(record, was);
        assert_eq!(f.record(&out), was);
    }
    // A folder that was moved.
    std::fs::rename(f.path("n1"), f.path("copy")).unwrap();
    let was = unfinish(&f, "copy");
    assert_eq!(f.run(&["analyze", "copy", "--json"]).ended(0).json(), was);
    assert!(notes(&was).contains("\"simulated\""), "{}", notes(&was));
    // The take alone knows it too.
    unfinish(&f, "copy");
    let args = ["analyze", "copy/take.wav", "--drive", "copy/drive.wav", "--json"];
    assert!(notes(&f.run(&args).ended(0).json()).contains("\"simulated\""));
    unfinish(&f, "n0");
    let screen = f.run(&["analyze", "n0"]).ended(0);
    assert!(
        screen.out.contains("Knock") && screen.out.contains("response.svg, "),
        "{}",
        screen.out
    );
    assert!(f.path("n0/knock.png").exists());
}

#[test]
fn what_the_sound_system_reported_is_not_forgotten() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    unfinish(&f, "one");
    let mut asked: Value = serde_json::from_slice(&f.bytes("one/asked.json")).unwrap();
    asked["takes"][0]["trouble"] = json!(["the sound input lost 480 samples"]);
    asked["of a later version"] = json!({ "a": 1 });
    f.write("one/asked.json", asked.to_string().as_bytes());
    let record = f.run(&["analyze", "one", "--json"]).ended(1).json();
    assert!(record["findings"].to_string().contains("lost 480 samples"), "{record}");
}

#[test]
fn a_whole_notebook_is_finished_in_one_go_and_what_is_finished_stays() {
    let f = Folder::new();
    for pickup in ["a", "b", "c"] {
        f.take(pickup, SIM, &format!("book-{pickup}"), &[]).ended(0);
        std::fs::create_dir_all(f.path("book").join(pickup)).unwrap();
        std::fs::rename(
            f.path(&format!("book-{pickup}")),
            f.path("book").join(pickup).join("0001"),
        )
        .unwrap();
    }
    let was = ["a", "c"].map(|n| unfinish(&f, &format!("book/{n}/0001")));
    let whole = f.bytes("book/b/0001/record.json");
    std::fs::remove_file(f.path("book/b/0001/response.svg")).unwrap();
    let run = f.run(&["analyze", "book", "--json"]).ended(0);
    assert_eq!(run.json()["records"], json!(was));
    assert!(run.err.contains("1 finished before, 2 to be finished"), "{}", run.err);
    for n in ["a", "b", "c"] {
        assert!(f.path(&format!("book/{n}/0001/response.svg")).exists());
    }
    assert_eq!(f.bytes("book/b/0001/record.json"), whole);
    let run = f.run(&["analyze", "book"]).ended(0);
    assert_eq!(run.out, "");
    // One alone is told again.
    let run = f.run(&["analyze", "book/b/0001", "--json"]).ended(0);
    assert_eq!(run.json(), f.record("book/b/0001"));
}

#[test]
fn what_cannot_be_finished_says_why() {
    let f = rigged("");
    f.measure(&[&TOLD[..], &["--out", "one"]].concat()).ended(0);
    unfinish(&f, "one");
    f.run(&["analyze", "one", "--out", "two"])
        .refused(&["--out has no effect on a folder", "give the take itself"]);
    f.run(&["analyze", "one", "--ohms", "6k"])
        .refused(&["--ohms has no effect"]);
    f.run(&["analyze", "one", "one/take.wav"])
        .refused(&["one/take.wav is a file"]);
    std::fs::create_dir(f.path("empty")).unwrap();
    f.run(&["analyze", "empty"])
        .refused(&["no take lies in empty", "give a file"]);
    std::fs::rename(f.path("north.toml"), f.path("south.toml")).unwrap();
    f.run(&["analyze", "one"]).refused(&["north.toml", "--rig"]);
    assert!(!f.path("one/record.json").exists());
    // A remark changes no rig, another input does.
    for (text, changed) in [
        (format!("# spare\n{RIG}"), false),
        (RIG.replace("1.0e6", "0.9e6"), true),
    ] {
        f.write("south.toml", text.as_bytes());
        let args = ["analyze", "one", "--rig", "south.toml", "--json"];
        let record = f.run(&args).ended(0).json();
        let said = "south.toml is not what it was when the take was made";
        assert_eq!(notes(&record).contains(said), changed, "{}", notes(&record));
        unfinish(&f, "one");
    }
    let asked = String::from_utf8(f.bytes("one/asked.json")).unwrap();
    f.write("one/asked.json", asked.replace("asked/1", "asked/2").as_bytes());
    f.run(&["analyze", "one"]).refused(&["asked/2", "this version reads"]);
    std::fs::remove_file(f.path("one/asked.json")).unwrap();
    f.run(&["analyze", "one"]).refused(&["no asked.json", "one/take.wav"]);
}

#[test]
fn repeats_that_end_early_are_combined() {
    let f = Folder::new();
    let mut child = began(&f, &["--repeats", "12", "--knock", "3", "--sim", SIM, "--out", "one"]);
    until(&f, &mut child, "one/take.wav");
    // Somebody else's file: the last take finds no place, as on a full disk.
    f.write("one/take-12.wav", b"precious");
    let out = child.wait_with_output().unwrap();
    let (screen, err) = (
        String::from_utf8(out.stdout).unwrap(),
        String::from_utf8(out.stderr).unwrap(),
    );
    assert_eq!(out.status.code(), Some(1), "{screen}{err}");
    assert!(
        screen.contains("mean of 11") && err.contains("11 of 12 takes were made, and they are kept"),
        "{screen}{err}"
    );
    let record = f.record("one");
    assert_eq!(record["repeats"].as_array().unwrap().len(), 11);
    assert!(
        notes(&record).contains("take-12.wav is there already"),
        "{}",
        notes(&record)
    );
    assert!(!f.path("one/knock.wav").exists());
    assert_eq!(f.bytes("one/take-12.wav"), b"precious");
}

#[test]
fn a_record_that_cannot_be_written_leaves_its_takes() {
    let f = Folder::new();
    let mut child = began(&f, &["--repeats", "8", "--sim", SIM, "--out", "one"]);
    until(&f, &mut child, "one/take.wav");
    f.write("one/record.json", b"precious");
    let out = child.wait_with_output().unwrap();
    let err = String::from_utf8(out.stderr).unwrap();
    assert_eq!((out.status.code(), out.stdout.as_slice()), (Some(2), &b""[..]), "{err}");
    assert!(
        err.contains("kept in one") && err.contains("`coilwright analyze one` finishes it"),
        "{err}"
    );
    std::fs::remove_file(f.path("one/record.json")).unwrap();
    let record = f.run(&["analyze", "one", "--json"]).ended(0).json();
    assert_eq!(record["repeats"].as_array().unwrap().len(), 8);
}

#[test]
fn a_picture_that_cannot_be_written_is_a_remark() {
    let f = rigged("\n[witness]\nname = \"tin one\"\n");
    let missing = |run: &Run, name: &str| {
        assert!(
            run.err.contains("a picture is missing") && run.err.contains(name),
            "{}",
            run.err
        );
    };
    for json in [&[][..], &["--json"]] {
        let out = format!("one{}", json.len());
        std::fs::create_dir_all(f.path(&out).join("response.svg")).unwrap();
        let run = f.measure(&[&["--out", &out][..], json].concat()).ended(0);
        missing(&run, "response.svg");
        f.record(&out);
        assert!(f.path(&out).join("response.png").exists());
        if json.is_empty() {
            assert!(
                run.out.contains("Reading     ok") && !run.out.contains("response.svg"),
                "{}",
                run.out
            );
        } else {
            assert_eq!(run.json(), f.record(&out));
        }
    }
    std::fs::create_dir(f.path("north.checks.svg")).unwrap();
    let check = ["rig", "check", "--rig", "north.toml", "--sim", SIM, "--out", "w"];
    let run = f.run(&[&check[..], &SHORT].concat()).ended(0);
    missing(&run, "north.checks.svg");
    assert!(run.out.contains("noted: the first check"), "{}", run.out);
    let history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    assert_eq!(history["checks"].as_array().unwrap().len(), 1);
}

#[test]
fn a_tray_draws_once_it_is_put_down() {
    let f = Folder::new();
    let mut c = f.command(&[&["tray", "--lot", "lot", "--sim", SIM][..], &SHORT].concat());
    c.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null());
    let mut child = c.spawn().unwrap();
    let mut keys = child.stdin.take().unwrap();
    keys.write_all(b"\n").unwrap();
    let folders = || -> Vec<std::path::PathBuf> {
        let all = f.path("lot").read_dir().into_iter().flatten().flatten();
        all.map(|e| e.path())
            .filter(|p| p.join("record.json").exists())
            .collect()
    };
    let begun = Instant::now();
    while folders().is_empty() {
        assert!(begun.elapsed() < LONG, "no reading");
        assert!(child.try_wait().unwrap().is_none(), "it ended");
        std::thread::sleep(Duration::from_micros(100));
    }
    assert!(!folders()[0].join("response.svg").exists());
    keys.write_all(b"\n").unwrap();
    drop(keys);
    child.wait().unwrap();
    assert_eq!(folders().len(), 2);
    assert!(folders().iter().all(|f| f.join("response.png").exists()));
    assert!(f.path("lot/tray.png").exists());
}

/// Files of more than `blocks` of 512 bytes cannot be written, as on a full disk.
fn cramped(f: &Folder, blocks: u32, args: &[&str]) -> Run {
    let limit = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
    let mut c = Command::new("/bin/sh");
    c.args(["-c", &limit, env!("CARGO_BIN_EXE_coilwright")]).args(args);
    c.current_dir(f.path(""))
        .env_clear()
        .env("TZ", "UTC")
        .stdin(Stdio::null());
    Run::of(&mut c)
}

#[test]
fn a_full_disk_takes_the_pictures_and_not_the_finding() {
    let f = rigged("");
    f.take("x", SIM, "a", &["--rig", "north.toml"]).ended(0);
    f.take("x", SIM, "b", &["--rig", "north.toml", "--seed", "2"]).ended(0);
    for (args, document) in [
        (&["compare", "a", "b", "--out", "out1"][..], "out1/compare.json"),
        (&["potting", "a", "--after", "b", "--out", "out2"], "out2/potting.json"),
    ] {
        let run = cramped(&f, 20, args);
        assert!(
            run.err.contains("a picture is missing: cannot write out"),
            "{}{}",
            run.out,
            run.err
        );
        assert!(!run.out.is_empty() && run.status < 2, "{}{}", run.out, run.err);
        serde_json::from_slice::<Value>(&f.bytes(document)).unwrap();
        let left = names(f.path(document).parent().unwrap());
        assert!(!left.iter().any(|n| n.ends_with(".png")), "{left:?}");
        assert!(!run.out.contains(".png"), "{}", run.out);
    }
}

#[test]
fn a_check_of_tomorrow_is_no_check_of_minus_one_day_ago() {
    let f = rigged("\n[witness]\nname = \"tin one\"\n");
    let check = ["rig", "check", "--rig", "north.toml", "--sim", SIM, "--out", "w"];
    f.run(&[&check[..], &SHORT].concat()).ended(0);
    let mut history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    history["checks"][0]["taken_at"] = "2099-01-31T14:05:09+01:00".into();
    f.write("north.checks.json", history.to_string().as_bytes());
    let record = f.measure(&["--rig", "north.toml", "--json"]).ended(0).json();
    let said = "rig last checked good on 2099-01-31, by the clock after this take";
    assert!(notes(&record).contains(said), "{}", notes(&record));
    assert!(!notes(&record).contains("days ago"));
}
