//! What the commands show, word for word.
//!
//! The built-in bench draws the same noise every time, so the numbers are the same too. What is not, the time and the
//! record's identity that depends on it, is struck out.

use crate::bench::{Folder, Run};

pub const RIG: &str = r#"name = "north bench"
[exciter]
reference = "voltage"
series_ohm = 100.0
inductance_h = 0.0005
source_ohm = 32.0
series_tolerance = 0.01
inductance_tolerance = 0.02
sign = 1
[input]
resistance_ohm = 1.0e6
capacitance_f = 60e-12
lead_capacitance_f = 90e-12
delay_s = 0.0
gain_db = 0.0
[mains]
frequency_hz = 50
[interface]
output = "built-in bench"
"#;

fn redacted(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let mut words = line.split_whitespace();
        let line = match words.next() {
            // The row of `--details`, and no sentence.
            Some("taken") if words.next().is_some_and(|w| w.starts_with("20")) => "taken       [time]".to_string(),
            Some("record") => "record      [id]".to_string(),
            // Of millions, the last digits hang on the machine's arithmetic.
            Some("eddy") => {
                let (head, rest) = line.split_once("delta BIC ").unwrap();
                format!("{head}delta BIC [large]{}", &rest[rest.find(')').unwrap()..])
            }
            // A letter, and when the record of that letter was taken.
            Some(letter) if letter.len() == 1 && line.get(4..).is_some_and(is_time) => format!("{letter}   [time]"),
            _ => line.replace(env!("CARGO_PKG_VERSION"), "[version]"),
        };
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// Of the form 2026-01-31 14:05.
fn is_time(text: &str) -> bool {
    let form = "0000-00-00 00:00";
    let same = |(c, f): (char, char)| if f == '0' { c.is_ascii_digit() } else { c == f };
    text.len() == form.len() && text.chars().zip(form.chars()).all(same)
}

/// Compares what a run printed with what it printed when the file was made.
#[track_caller]
pub fn shows(name: &str, run: &Run) {
    let mut text = redacted(&run.out);
    if !run.err.is_empty() {
        text.push_str("--- standard error\n");
        text.push_str(&redacted(&run.err));
    }
    text.push_str(&format!("--- status {}\n", run.status));
    let mut settings = insta::Settings::clone_current();
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, text));
}

#[test]
fn measure() {
    let f = Folder::new();
    shows("measure", &f.measure(&["--out", "one"]));
    f.record("one");
}

#[test]
fn measure_with_details() {
    let f = Folder::new();
    let coil = "r=6k l=2.4H cs=120p eddy=k=0.4,tau=33us";
    let run = f.measure(&[
        "--sim",
        coil,
        "--load",
        "res=200k cap=500p",
        "--details",
        "--out",
        "one",
    ]);
    shows("measure-details", &run);
    f.record("one");
}

#[test]
fn measure_without_a_peak() {
    let f = Folder::new();
    let run = f.measure(&[
        "--sim",
        "r=6k l=2.4H cs=120p",
        "--load",
        "res=10k cap=500p",
        "--out",
        "one",
    ]);
    shows("measure-no-peak", &run);
    f.record("one");
}

#[test]
fn measure_with_all_that_can_be_told() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    let run = f.measure(&[
        "--rig",
        "north.toml",
        "--load",
        "vol=250k tone=250k+22n cable=5m@100p/m",
        "--ohms",
        "6.05k",
        "--room",
        "70F",
        "--over",
        "first coil",
        "--note",
        "before potting",
        "--sim",
        "r=6k l=2.4H cs=120p polarity=-1 hum=-40dB",
        "--out",
        "one",
    ]);
    shows("measure-everything", &run);
    f.record("one");
}

#[test]
fn measure_repeatedly() {
    let f = Folder::new();
    let run = f.measure(&["--repeats", "3", "--sim", "noise=-70dBFS", "--details", "--out", "one"]);
    shows("measure-repeats", &run);
    f.record("one");
}

#[test]
fn measure_what_gives_no_reading() {
    for (fault, also) in [
        ("open", "open"),
        ("unplugged", "unplugged"),
        ("silent", "silent"),
        ("swapped", "swapped"),
        ("clipped", "clip=-30dBFS"),
        ("weak", "m=1pH"),
    ] {
        let f = Folder::new();
        let run = f.measure(&["--sim", also, "--out", "one"]);
        shows(&format!("rejected-{fault}"), &run);
        let record = f.record("one");
        assert_eq!(record["verdict"], "rejected", "{fault}");
    }
}

#[test]
fn measure_what_is_to_be_doubted() {
    for (fault, words) in [
        ("knock", "knock=1.0s"),
        ("hum", "hum=-10dB"),
        ("both-coils", "r=4k l=2.2H cs=70p l2=2.4H cs2=76p over=both"),
    ] {
        let f = Folder::new();
        let run = f.measure(&["--sim", words, "--load", "res=250k cap=500p", "--out", "one"]);
        shows(&format!("suspect-{fault}"), &run);
        f.record("one");
    }
}

#[test]
fn compare() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    let pairs = [
        ("first", "r=6k l=2.4H cs=120p"),
        ("second", "r=6k l=2.4H cs=120p"),
        ("potted", "r=6k l=2.4H cs=150p"),
        ("broken", "open"),
    ];
    for (seed, (name, coil)) in pairs.iter().enumerate() {
        let seed = seed.to_string();
        f.measure(&[
            "--rig",
            "north.toml",
            "--load",
            "res=250k cap=100p",
            "--sim",
            coil,
            "--seed",
            &seed,
            "--out",
            name,
        ]);
    }
    shows(
        "compare",
        &f.run(&["compare", "first", "second", "potted", "broken"]).ended(0),
    );
    let run = f.run(&["compare", "first", "potted/record.json", "--details", "--out", "both"]);
    shows("compare-details", &run.ended(0));
    assert_eq!(f.list("both"), ["compare.json", "overlay.png", "overlay.svg"]);
    let run = f.run(&["compare", "first", "potted", "--json"]).ended(0);
    let document: serde_json::Value = serde_json::from_slice(&f.bytes("both/compare.json")).unwrap();
    assert_eq!(run.json(), document);
    f.run(&["compare", "first", "potted", "--out", "both"])
        .refused(&["both/overlay.svg is there already"]);
    f.run(&["compare", "broken", "first"])
        .refused(&["has no reading", "put a record with a reading first"]);
}

#[test]
fn analyze_one_and_many() {
    let f = Folder::new();
    std::fs::create_dir(f.path("lot")).unwrap();
    for (name, words) in [
        ("a", "r=6k l=2.4H cs=120p"),
        ("b", "r=8k l=4.4H cs=70p"),
        ("c", "open"),
        ("d", "knock=1.0s"),
    ] {
        f.measure(&["--sim", words, "--load", "res=250k cap=350p", "--out", name]);
        std::fs::copy(f.path(name).join("take.wav"), f.path(&format!("lot/{name}.wav"))).unwrap();
    }
    f.write("lot/e.wav", b"Dear Sir or Madam");
    let run = f.run(&[
        "analyze",
        "lot/a.wav",
        "--pickup",
        "bridge 3",
        "--load",
        "res=250k cap=350p",
    ]);
    shows("analyze", &run.ended(0));
    let lot = ["lot/a.wav", "lot/b.wav", "lot/c.wav", "lot/d.wav", "lot/e.wav"];
    let mut args = vec!["analyze"];
    args.extend(lot);
    shows("analyze-batch", &f.run(&args).ended(1));
}

#[test]
fn drive() {
    let f = Folder::new();
    shows("drive-sweep", &f.run(&["drive", "--out", "drive.wav"]).ended(0));
    let noise = [
        "drive",
        "--shape",
        "noise",
        "--rate",
        "96k",
        "--seconds",
        "4",
        "--from",
        "30",
        "--to",
        "15k",
    ];
    let noise = [
        &noise[..],
        &[
            "--level",
            "-20dBFS",
            "--tilt",
            "pink",
            "--seed",
            "7",
            "--out",
            "noise.wav",
        ],
    ]
    .concat();
    shows("drive-noise", &f.run(&noise).ended(0));
    let json = f.run(&["drive", "--out", "third.wav", "--json"]).ended(0);
    shows("drive-json", &json);
    let beside: serde_json::Value = serde_json::from_slice(&f.bytes("third.json")).unwrap();
    assert_eq!(json.json(), beside);
}

#[test]
fn use_shows_and_remembers() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    shows("use-nothing", &f.run(&["use"]).ended(0));
    let run = f.run(&[
        "use",
        "--rig",
        "north.toml",
        "--load",
        "amp=1M vol=250K cable=18ft@30p/ft",
        "--folder",
        "notebook",
        "--output",
        "out 3",
        "--input",
        "in 3",
        "--channels",
        "pickup=2,reference=1",
        "--room",
        "-5C",
        "--over",
        "second coil",
    ]);
    shows("use", &run.ended(0));
    insta::with_settings!({prepend_module_to_snapshot => false, omit_expression => true}, {
        insta::assert_snapshot!("use-file", String::from_utf8(f.bytes("coilwright.toml")).unwrap());
    });
    shows("use-json", &f.run(&["use", "--json"]).ended(0));
    shows(
        "use-forget",
        &f.run(&["use", "--forget", "rig", "--forget", "channels"]).ended(0),
    );
}

#[test]
fn help_and_version() {
    let f = Folder::new();
    shows("version", &f.run(&["--version"]).ended(0));
    shows("help", &f.run(&["--help"]).ended(0));
    for command in ["demo", "devices", "drive", "use", "measure", "analyze", "compare"] {
        let long = f.run(&[command, "--help"]).ended(0);
        // What is used daily is in both.
        let short = f.run(&[command, "-h"]).ended(0).out;
        let options = |text: &str| text.lines().filter(|l| l.trim_start().starts_with("--")).count();
        assert!(
            options(&short) <= 10 && options(&short) <= options(&long.out),
            "{short}"
        );
        // Fits a screen's width.
        assert!(long.out.lines().all(|l| l.chars().count() <= 100), "{}", long.out);
        assert!(
            long.out.contains("Example") || command == "devices",
            "{command}: no example"
        );
        shows(&format!("help-{command}"), &long);
    }
}
