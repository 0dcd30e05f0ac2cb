//! Exit statuses, the two streams, one document, values on the command line.

use serde_json::Value;

use crate::bench::{Folder, Run, has_finding};
use crate::screens::RIG;

#[test]
fn the_status_says_how_it_ended_and_the_record_why() {
    for (sim, load, status, verdict, finding) in [
        ("", "res=250k cap=500p", 0, "ok", None),
        ("r=6k l=2.4H cs=120p", "res=10k cap=500p", 0, "ok", Some("no-peak")),
        ("knock=1.0s", "res=250k cap=500p", 0, "suspect", Some("transient")),
        ("hum=-10dB", "res=250k cap=500p", 0, "suspect", Some("hum")),
        ("open", "res=250k cap=500p", 1, "rejected", Some("open-winding")),
        ("unplugged", "res=250k", 1, "rejected", Some("reference-missing")),
        ("silent", "", 1, "rejected", Some("no-signal")),
        ("swapped", "res=250k cap=500p", 1, "rejected", Some("channels-swapped")),
        ("clip=-30dBFS", "", 1, "rejected", Some("clipped")),
    ] {
        let f = Folder::new();
        let mut args = vec!["--sim", sim, "--json", "--out", "one"];
        if !load.is_empty() {
            args.extend(["--load", load]);
        }
        let run = f.measure(&args).ended(status);
        let record = run.json();
        assert_eq!(record, f.record("one"), "{sim}: screen and file differ");
        assert_eq!(record["verdict"], verdict, "{sim}");
        assert_eq!(record["resonance"].is_null(), status == 1, "{sim}");
        assert!(
            finding.is_none_or(|c| has_finding(&record, c)),
            "{sim}: {}",
            record["findings"]
        );
        assert!(run.err.is_empty(), "{}", run.err);
        // A rejected take is kept like any other.
        assert_eq!(
            f.list("one"),
            [
                "asked.json",
                "drive.json",
                "drive.wav",
                "record.json",
                "response.png",
                "response.svg",
                "take.wav"
            ],
            "{sim}"
        );
        assert!(f.bytes("one/take.wav").len() > 44 + 2 * 3 * 48_000);
    }
}

#[test]
fn a_clean_take_raises_nothing_above_a_note() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    for (i, sim) in ["", "r=8k l=4.4H cs=70p", "r=3900 l=1.2H cs=60p m=0.4mH"]
        .iter()
        .enumerate()
    {
        for load in ["res=250k cap=500p", "vol=500k tone=500k+47n cable=3m@100p/m", ""] {
            let seed = i.to_string();
            let mut args = vec!["--sim", sim, "--rig", "north.toml", "--seed", &seed, "--json", "--out"];
            let out = format!("{i}-{}", load.len());
            args.push(&out);
            if !load.is_empty() {
                args.extend(["--load", load]);
            }
            let record = f.measure(&args).ended(0).json();
            assert_eq!(record["verdict"], "ok", "{sim}, {load}: {}", record["findings"]);
        }
    }
}

/// What `main` does with a fault of the program, in a process of its own.
#[test]
fn a_fault_of_the_program_is_one_line() {
    let me = std::env::current_exe().unwrap();
    let faulty = ["--exact", "contract::faulty", "--ignored", "--nocapture"];
    let run = std::process::Command::new(me).args(faulty).output().unwrap();
    let told = String::from_utf8(run.stderr).unwrap();
    let line = told.lines().find(|l| l.starts_with("coilwright: ")).expect(&told);
    let version = format!("version {}", env!("CARGO_PKG_VERSION"));
    for word in [
        "fault of the program",
        &version,
        "tests/cli/contract.rs:",
        "no such coil",
        "please report",
    ] {
        assert!(line.contains(word), "{word}: {line}");
    }
    assert!(!told.contains("RUST_BACKTRACE"), "{told}");
}

#[test]
#[ignore = "the fault that the test before it looks at"]
fn faulty() {
    std::panic::set_hook(Box::new(|info| eprintln!("{}", coilwright::run::fault(info))));
    panic!("no such\ncoil");
}

#[test]
fn what_cannot_be_asked_for_is_refused_in_one_line_that_names_it() {
    let f = Folder::new();
    let long: String = "x".repeat(5000);
    for (args, words) in [
        (&[][..], &["no command given", "--help"][..]),
        (&["frob"], &["'frob'"]),
        (&["measure"], &["--pickup"]),
        (&["tray", "lot", "--details"], &["--details"]),
        (&["rig", "show", "north.toml", "--details"], &["--details"]),
        (&["measure", "--pickup", "a", "--frob"], &["--frob"]),
        (&["measure", "--pickup", "a", "--pickup", "b"], &["--pickup"]),
        (
            &["measure", "--pickup", "a", "--json", "--details"],
            &["--json", "--details"],
        ),
        (&["measure", "--pickup", "a", "--repeats", "0"], &["'0'", "--repeats"]),
        (
            &["measure", "--pickup", "a", "--repeats", "1.5"],
            &["'1.5'", "--repeats"],
        ),
        (
            &["measure", "--pickup", "a", "--shape", "square"],
            &["square", "sweep, noise"],
        ),
        (&["measure", "--pickup", "a", "--model", "third"], &["third", "turn"]),
        (&["analyze"], &["TAKE"]),
        (&["compare"], &["RECORD"]),
        (&["compare", "one"], &["one"]),
        (&["drive"], &["--out"]),
        (&["use", "--forget", "colour"], &["colour", "rig, load"]),
        (&["use", "--channels", "both"], &["both", "pickup=1"]),
    ] {
        f.run(args).refused(words);
    }
    for (option, value, words) in [
        ("--ohms", "6.05q", &["6.05q", "--ohms"][..]),
        ("--ohms", "0", &["'0'", "above zero"]),
        ("--ohms", "-5", &["'-5'", "--ohms"]),
        ("--ohms", "", &["--ohms"]),
        ("--ohms", "inf", &["inf", "--ohms"]),
        ("--room", "900C", &["900C", "21C"]),
        ("--room", "21K7", &["21K7"]),
        ("--load", "vol=250k vol=3k", &["vol is given twice", "once"]),
        ("--load", "vol=250k@1.2", &["vol=250k@1.2"]),
        ("--load", "vol=-250k", &["vol=-250k"]),
        ("--load", "res=", &["res="]),
        ("--load", "colour=3", &["colour", "parts are vol, tone"]),
        ("--load", &long, &["--load"]),
        ("--rate", "48.5", &["48.5", "48k or 96k"]),
        ("--rate", "8k", &["8000", "44.1k"]),
        ("--rate", "-48k", &["-48k", "--rate"]),
        ("--seconds", "nan", &["nan", "--seconds"]),
        ("--seconds", "-3", &["-3", "--seconds"]),
        ("--seconds", "1e9", &["1000000000", "0.2 and 60"]),
        ("--from", "-20", &["-20", "--from"]),
        ("--from", "15k", &["15000", "octave"]),
        ("--to", "30k", &["30000", "--rate"]),
        ("--level", "6dBFS", &["6 dBFS", "0dBFS"]),
        ("--level", "-6V", &["-6V", "-6dBFS"]),
        ("--channels", "left", &["left", "pickup=1"]),
        ("--channels", "pickup=1,reference=1", &["same channel"]),
        ("--sim", "r=0", &["r_ohm"]),
        ("--sim", "colour=red", &["colour", "known are"]),
        ("--sim", "none.toml", &["none.toml", "check the path"]),
        ("--rig", "none.toml", &["none.toml", "check the path"]),
        (
            "--out",
            "../missing/folder/one",
            &["missing/folder/one", "does not exist"],
        ),
    ] {
        for json in [false, true] {
            let mut args = vec!["measure", "--pickup", "a", option, value, "--source", "sim"];
            if json {
                args.push("--json");
            }
            f.run(&args).refused(words);
        }
    }
    // Nothing was begun for any of them.
    assert_eq!(f.list(""), [""; 0]);
}

#[test]
fn a_value_may_be_negative_or_written_as_the_trade_does() {
    let f = Folder::new();
    let record = |args: &[&str], out: &str| {
        let run = f.measure(&[args, &["--json", "--out", out]].concat()).ended(0);
        run.json()
    };
    let a = record(&["--level", "-6dBFS", "--ohms", "6k05", "--room", "-5C"], "a");
    assert_eq!(a["drive"]["level_dbfs"], -6.0);
    assert_eq!(a["pickup"]["r_ohm"], 6050.0);
    assert_eq!(a["pickup"]["temperature_c"], -5.0);
    let b = record(&["--level=-20", "--ohms", "8.2K", "--room", "70F"], "b");
    assert_eq!(b["drive"]["level_dbfs"], -20.0);
    assert_eq!(b["pickup"]["r_ohm"], 8200.0);
    // (70 - 32) 5/9
    assert!((b["pickup"]["temperature_c"].as_f64().unwrap() - 21.111_111).abs() < 1e-6);
    // R20 = R/(1 + 0.00393 (T - 20)): copper, IEC 60028 (from memory).
    let r20 = b["pickup"]["r20_ohm"].as_f64().unwrap();
    assert!((r20 - 8164.35).abs() < 0.01, "{r20}");
    // The same load in two spellings is the same text and the same reading.
    let c = record(&["--load", "cap=470p res=.2M"], "c");
    let d = record(&["--load", "res=200k cap=0.47n"], "d");
    assert_eq!(c["load"], d["load"]);
    assert_eq!(c["resonance"], d["resonance"]);
}

/// Everything that prints a result prints one document with --json, and the same thing as without it.
#[test]
fn json_is_one_document_for_every_command() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    f.measure(&["--seed", "2", "--out", "two"]).ended(0);
    for (args, schema) in [
        (
            &["measure", "--pickup", "a", "--source", "sim", "--repeats", "2"][..],
            "coilwright/record/1",
        ),
        (&["analyze", "one/take.wav"], "coilwright/record/1"),
        (&["analyze", "one/take.wav", "two/take.wav"], "coilwright/batch/1"),
        (&["compare", "one", "two"], "coilwright/compare/1"),
        (&["drive", "--out", "d.wav"], "coilwright/drive/1"),
        (&["use", "--room", "21C"], "coilwright/use/1"),
        (&["use"], "coilwright/use/1"),
    ] {
        let run = f.run(&[args, &["--json"]].concat()).ended(0);
        assert_eq!(run.json()["schema"], schema, "{args:?}");
        finite(&run.json());
        assert!(!run.out.contains('\u{1b}'));
    }
}

/// No null stands where a list has numbers: that is what NaN and Infinity turn into.
fn finite(v: &Value) {
    match v {
        Value::Array(list) => list.iter().for_each(|x| {
            assert!(!x.is_null(), "{list:?}");
            finite(x);
        }),
        Value::Object(map) => map.values().for_each(finite),
        _ => {}
    }
}

#[test]
fn colours_are_for_terminals_that_want_them() {
    let f = Folder::new();
    let run = |vars: &[(&str, &str)]| {
        let mut c = f.command(&["compare", "one", "one"]);
        c.envs(vars.iter().copied());
        Run::of(&mut c).ended(0).out
    };
    f.measure(&["--out", "one"]).ended(0);
    let plain = run(&[]);
    assert!(!plain.contains('\u{1b}'), "{plain}");
    assert_eq!(run(&[("NO_COLOR", "1")]), plain);
    let coloured = run(&[("CLICOLOR_FORCE", "1")]);
    assert!(coloured.contains("\u{1b}["), "{coloured}");
    assert_eq!(run(&[("NO_COLOR", "1"), ("CLICOLOR_FORCE", "1")]), plain);
    // The words are the same, with or without.
    let mut bare = String::new();
    let mut rest = coloured.as_str();
    while let Some((before, after)) = rest.split_once('\u{1b}') {
        bare.push_str(before);
        rest = after.split_once('m').unwrap().1;
    }
    assert_eq!(bare + rest, plain);
}

#[test]
fn a_narrow_screen_gets_narrow_lines() {
    let f = Folder::new();
    let mut c = f.command(&[
        "measure",
        "--pickup",
        "a",
        "--source",
        "sim",
        "--seconds",
        "0.7",
        "--details",
    ]);
    c.env("COLUMNS", "50");
    let run = Run::of(&mut c).ended(0);
    let longest = run.out.lines().map(|l| l.chars().count()).max();
    assert!(longest <= Some(50), "{}", run.out);
}

#[test]
fn nobody_reading_the_result_is_no_error() {
    let f = Folder::new();
    let mut c = f.command(&["drive", "--out", "d.wav"]);
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    c.stdout(writer).stderr(std::process::Stdio::piped());
    let out = c.spawn().unwrap().wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&out.stderr), "");
}

/// Noise of -80 dBFS up to 20 kHz is -83.05 dBFS from 100 Hz to 10 kHz (9,900 of 20,000 Hz), hum is what it was made, and neither
/// the drive's level and length nor the coil is in them.
#[test]
fn noise_and_hum_are_told_against_full_scale() {
    let f = Folder::new();
    for (i, (coil, more)) in [
        ("r=6k l=2.4H cs=120p", &["--level", "-30dBFS"][..]),
        ("r=6k l=2.4H cs=120p", &["--level", "-40dBFS"]),
        ("r=6k l=2.4H cs=620p", &["--level", "-30dBFS"]),
        ("r=13k l=2.4H cs=120p", &["--level", "-30dBFS", "--seconds", "2"]),
    ]
    .into_iter()
    .enumerate()
    {
        let sim = format!("{coil} noise=-80dBFS hum=-70dBFS flicker=0");
        let out = format!("t{i}");
        let args = [
            "measure", "--pickup", "x", "--source", "sim", "--rate", "48k", "--sim", &sim, "--out", &out,
        ];
        f.run(&[&args[..], more].concat()).ended(0);
        let capture = f.record(&out)["capture"].clone();
        let near = |key: &str, want: f64, within: f64| {
            let v = capture[key].as_f64().unwrap();
            assert!((v - want).abs() < within, "{i} {key}: {v}");
        };
        near("noise_dbfs", -80.0 + 10.0 * (9900.0f64 / 20_000.0).log10(), 0.3);
        near("hum_dbfs", -70.0, 0.05);
    }
}
