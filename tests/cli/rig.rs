//! The rig that is still the rig: checks of the witness, repeatability, sign, packing list.

use serde_json::Value;

use crate::bench::{Folder, Run, SHORT};
use crate::screens::{RIG, shows};

pub fn folder() -> Folder {
    let f = Folder::new();
    let more = "[witness]\nname = \"tin one\"\nload = \"cap=220p\"\n[pack]\ninterface = \"two inputs, label A\"\nexciter = \"150 turns on wood\"\n";
    f.write("north.toml", format!("{RIG}{more}").as_bytes());
    f
}

/// A check on a day whose lead has so many picofarads more than usual.
pub fn check(f: &Folder, day: u32, more_pf: f64, extra: &[&str]) -> Run {
    let sim = format!("r=6k l=2.4H cs={:.2}p noise=-80dBFS", 120.0 + more_pf);
    let (seed, out) = (day.to_string(), format!("w{day}"));
    let mut args = vec![
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--source",
        "sim",
        "--sim",
        &sim,
        "--rate",
        "48k",
        "--seconds",
        "0.7",
        "--seed",
        &seed,
        "--out",
        &out,
    ];
    args.extend(extra);
    f.run(&args)
}

/// Fixed, as lead capacitances are from day to day: about 1 pF.
const DAYS: [f64; 22] = [
    0.3, -1.1, 0.8, 1.4, -0.4, 0.1, -0.9, 1.9, -1.3, 0.6, 0.2, -0.7, 1.0, -0.2, -1.6, 0.5, 0.9, -0.5, 1.2, -0.8, 0.4,
    -0.3,
];

#[test]
fn the_witness_tells_when_the_rig_is_another() {
    let f = folder();
    for (i, more) in DAYS.iter().enumerate() {
        let run = check(&f, i as u32 + 1, *more, &["--json"]);
        let doc = run.ended(0).json();
        assert_eq!(doc["verdict"], if i == 0 { "baseline" } else { "go" }, "{i}: {doc}");
        assert_eq!(
            (doc["provisional"] == true, doc["baseline"] == i),
            (i < 20, true),
            "{i}: {doc}"
        );
        // From the second check on there are limits.
        assert_eq!(doc["quantities"].as_array().unwrap().is_empty(), i == 0, "{doc}");
    }
    assert!(f.path("north.checks.png").exists() && f.path("north.checks.svg").exists());
    // Fifty picofarads of lead: status 3, and said what it looks like.
    let run = check(&f, 30, 50.0, &[]);
    assert_eq!(run.status, 3, "{}{}", run.out, run.err);
    assert!(
        run.out.starts_with("NO GO: something")
            && run.out.contains("more capacitance")
            && run.out.contains("(95 %, usual)"),
        "{}",
        run.out
    );
    // The peak first, each by its name.
    let told = run.out.lines().filter_map(|l| l.split_once("  "));
    let named: Vec<&str> = told.map(|l| l.0).filter(|n| !n.is_empty()).collect();
    assert_eq!(named[..4], ["Rig", "Peak", "f0", "Q"], "{}", run.out);
    // What was no-go is kept, and is no part of the limits.
    let history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    assert_eq!(history["checks"].as_array().unwrap().len(), 23);
    let doc = check(&f, 31, 0.1, &["--json"]).ended(0).json();
    assert_eq!(doc["verdict"], "go");
    // A turned exciter; the sign comes from the bench's word.
    let sim = "r=6k l=2.4H cs=120p polarity=-1 noise=-80dBFS";
    let args = [
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--source",
        "sim",
        "--sim",
        sim,
        "--rate",
        "48k",
        "--seconds",
        "0.7",
        "--out",
        "t",
    ];
    let run = f.run(&args);
    assert!(
        run.status == 3 && run.out.contains("upside down"),
        "{}{}",
        run.out,
        run.err
    );
    // The same record twice is one check.
    f.run(&["rig", "check", "--rig", "north.toml", "--record", "w31"])
        .refused(&["in the history already"]);
    // Measuring says how old the last good check is.
    f.measure(&["--rig", "north.toml", "--out", "m"]).ended(0);
    let record = f.record("m");
    let notes = record["notes"].to_string();
    assert!(
        notes.contains("rig last checked good less than a day ago; the last check was no-go"),
        "{notes}"
    );
    // Another rig is refused, until a new baseline is wanted.
    let another = text(&f, "north.toml").replace("name = \"north bench\"", "name = \"south bench\"");
    f.write("north.toml", another.as_bytes());
    check(&f, 40, 0.0, &[]).refused(&["its checks are of the rig \"north bench\"", "--begin-again"]);
    assert!(!f.path("w40").exists());
    let doc = check(&f, 41, 0.0, &["--begin-again", "--json"]).ended(0).json();
    assert_eq!(
        (doc["verdict"].as_str(), doc["baseline"].as_u64()),
        (Some("baseline"), Some(0))
    );
    let old: Value = serde_json::from_slice(&f.bytes("north.checks.1.json")).unwrap();
    assert_eq!(old["checks"].as_array().unwrap().len(), 25);
}

#[test]
fn what_is_packed_with_the_rig_does_not_make_it_another() {
    let f = folder();
    check(&f, 1, 0.0, &[]).ended(0);
    let changed = String::from_utf8(f.bytes("north.toml"))
        .unwrap()
        .replace("label A", "label A, new lead");
    f.write("north.toml", changed.as_bytes());
    check(&f, 2, 0.0, &[]).ended(0);
    shows("rig-pack", &f.run(&["rig", "pack", "north.toml"]));
}

#[test]
fn a_check_that_cannot_be_made_says_why() {
    let f = folder();
    f.write("plain.toml", RIG.as_bytes());
    f.run(&["rig", "check", "--rig", "plain.toml", "--source", "sim"])
        .refused(&["names no witness", "[witness]"]);
    f.run(&["rig", "check", "--source", "sim"])
        .refused(&["no rig file is given", "use --rig"]);
    f.run(&["rig", "pack", "plain.toml"]).refused(&["has no [pack]"]);
    // No answer from the witness is no check.
    let args = [
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--sim",
        "r=6k l=2.4H cs=120p open",
        "--out",
        "w",
    ];
    f.run(&[&args[..], &SHORT].concat())
        .refused(&["gives no reading", "winding", "its take is kept in w"]);
    assert!(!f.path("north.checks.json").exists());
    // Another pickup, another rig.
    f.measure(&["--rig", "north.toml", "--out", "other"]).ended(0);
    f.run(&["rig", "check", "--rig", "north.toml", "--record", "other"])
        .refused(&["not of the witness"]);
    f.write("north.checks.json", b"{\"schema\": 3}");
    check(&f, 1, 0.0, &[]).refused(&["north.checks.json is no history"]);
    assert!(!f.path("w1").exists());
}

#[test]
fn repeatability_and_sign() {
    let f = folder();
    let mut records = Vec::new();
    for (i, (name, cs)) in [("a", 120.0), ("a", 121.0), ("b", 140.0), ("b", 139.0)]
        .into_iter()
        .enumerate()
    {
        let out = format!("r{i}");
        let sim = format!("r=6k l=2.4H cs={cs}p noise=-80dBFS");
        f.take(name, &sim, &out, &["--rig", "north.toml"]).ended(0);
        records.push(out);
    }
    let mut args = vec!["rig", "repeat", "--rig", "north.toml"];
    args.extend(records.iter().map(String::as_str));
    let run = f.run(&args);
    let tells = run.out.starts_with("This rig can tell") && run.out.contains("\nPeak height scatter ");
    assert!(tells, "{}{}", run.out, run.err);
    args.push("--json");
    let doc = f.run(&args).ended(0).json();
    assert_eq!((doc["pickups"].as_u64(), doc["freedom"].as_u64()), (Some(2), Some(2)));
    // 1 pF of 270 and of 290: half of that in f0, between two readings sqrt 2 less as a deviation.
    let sd = doc["f0"]["sd"].as_f64().unwrap();
    assert!((sd / 1.26e-3 - 1.0).abs() < 0.05, "{sd}");
    assert!(f.path("north.repeat.json").exists());
    f.run(&["rig", "repeat", "--rig", "north.toml", "r0", "r2"])
        .refused(&["no pickup was read twice"]);
    let sign = |known: &str| {
        f.run(&["rig", "polarity", "r0", "--is", known, "--json"])
            .ended(0)
            .json()["sign"]
            .as_i64()
    };
    assert_eq!((sign("+1"), sign("-1")), (Some(1), Some(-1)));
    shows("rig-show", &f.run(&["rig", "show", "north.toml"]));
}

/// The text of a file in the folder.
pub fn text(f: &Folder, name: &str) -> String {
    String::from_utf8(f.bytes(name)).unwrap()
}

const NEW: [&str; 11] = [
    "rig",
    "new",
    "east.toml",
    "--source",
    "sim",
    "--reference",
    "current",
    "--series",
    "123.8",
    "--inductance",
    "217u",
];

#[test]
fn a_rig_file_is_made_from_options_or_from_questions() {
    let f = Folder::new();
    let args = [
        &NEW[..],
        &[
            "--sense",
            "22",
            "--lead",
            "50p",
            "--witness",
            "tin one",
            "--unit",
            "label A",
        ],
    ]
    .concat();
    shows("rig-new", &f.run(&args));
    let made = text(&f, "east.toml");
    for line in [
        "name = \"east\"",
        "unit = \"label A\"",
        "sense_ohm = 22.0",
        "lead_capacitance_f = 5e-11",
    ] {
        assert!(made.contains(line), "{line}: {made}");
    }
    f.run(&["rig", "show", "east.toml"]).ended(0);
    // What is there already is not written over.
    f.run(&args).refused(&["east.toml"]);
    assert_eq!(text(&f, "east.toml"), made);
    // The same by questions: name, label, reference, ohms, sense, henries, known, input ohms and farads, lead, mains,
    // witness, (an interface, where one is found), five switches, knobs. Where nothing is needed Enter leaves it open; a unit
    // that cannot be is asked again at once.
    let said = "\nlabel B\nwhat\ncurrent\n\n123.8\n220\n22\n217\n217u\n0.4%,3%\n\n60p\n\n60\ntin two\nmaybe\ny\n\nyes\nno\ny\ngain at one third\n";
    let run = f
        .typed(&["rig", "new", "west.toml", "--output", "no such device"], said)
        .ended(0);
    for said in [
        "voltage or current",
        "needed; no rig is without it",
        "217 is not from 0 to 0.1 (henries",
        "220 is more than the 123.8 ohms",
        "  y or n\n",
    ] {
        assert!(run.err.contains(said), "{said}: {}", run.err);
    }
    let made = text(&f, "west.toml");
    for line in [
        "name = \"west\"",
        "unit = \"label B\"",
        "reference = \"current\"",
        "series_ohm = 123.8",
        "series_tolerance = 0.004",
        "frequency_hz = 60.0",
        "name = \"tin two\"",
        "phantom = \"off\"",
        "# resistance_ohm =",
        "capacitance_f = 6e-11",
        "# lead_capacitance_f =",
        "automatic_gain = \"off\"",
        "knobs = \"gain at one third\"",
    ] {
        assert!(made.contains(line), "{line}: {made}");
    }
    // Enter is nobody's word that a switch was looked at.
    assert!(
        !made.contains("monitoring =") && !made.contains("enhancement ="),
        "{made}"
    );
    // Left in the middle: nothing is there.
    let run = f.run(&["rig", "new", "south.toml"]).ended(2);
    assert!(run.err.contains("not answered to the end"), "{}", run.err);
    assert!(!f.path("south.toml").exists());
}

const NAMELESS: &str = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.0";

/// `rig level` or `rig inputs` on the built-in bench.
fn set_up(f: &Folder, what: &str, sim: &str, extra: &[&str]) -> Run {
    let args = [
        "rig",
        what,
        "--rig",
        "east.toml",
        "--source",
        "sim",
        "--rate",
        "48k",
        "--sim",
        sim,
        "--json",
    ];
    f.run(&[&args[..], extra].concat())
}

fn level(f: &Folder, sim: &str, extra: &[&str]) -> Run {
    set_up(f, "level", sim, extra)
}

/// Samples that were lost without a word show in the tone itself.
#[test]
fn no_level_is_read_from_a_take_that_lost_samples() {
    let f = Folder::new();
    let file = format!("{NAMELESS}\n[interface]\noutput = \"built-in bench\"\n");
    f.write("east.toml", file.as_bytes());
    let run = level(&f, "r=6k l=2.4H cs=120p drop=0.93s drop-samples=48", &[]);
    assert_eq!(run.status, 2, "{}", run.out);
    assert!(
        run.err.contains("samples are missing or doubled; no level is read"),
        "{}",
        run.err
    );
    assert_eq!(f.bytes("east.toml"), file.as_bytes());
}

#[test]
fn the_strongest_clean_drive_is_found_from_silence_up() {
    let f = Folder::new();
    f.run(&NEW).ended(0);
    let run = level(&f, "r=6k l=2.4H cs=120p", &["--limit", "-20dBFS"]);
    assert!(
        run.err.contains("Headphones off") && run.err.contains("phantom power off"),
        "{}",
        run.err
    );
    let doc = run.ended(0).json();
    assert_eq!(
        (doc["level_dbfs"].as_f64(), doc["end"].as_str()),
        (Some(-20.0), Some("limit"))
    );
    let steps: Vec<f64> = doc["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["level_dbfs"].as_f64().unwrap())
        .collect();
    assert_eq!(steps[0], -60.0);
    assert!(
        steps.windows(2).all(|w| w[1] > w[0] && w[1] - w[0] <= 12.0),
        "{steps:?}"
    );
    assert!(text(&f, "east.toml").contains("level_dbfs = -20.0"));
    // Measuring plays at that level, unless told otherwise.
    let peak = |more: &[&str]| {
        let args = [&["--rig", "east.toml", "--json"][..], more].concat();
        f.measure(&args).ended(0).json()["drive"]["level_dbfs"].as_f64()
    };
    assert_eq!((peak(&[]), peak(&["--level", "-30dBFS"])), (Some(-20.0), Some(-30.0)));
    // A louder pickup: stops before the room is gone, never into it.
    let doc = level(&f, "r=6k l=2.4H cs=120p gain=12dB", &[]).ended(0).json();
    assert_eq!(doc["end"], "pickup-room");
    assert!(
        doc["steps"]
            .as_array()
            .unwrap()
            .iter()
            .all(|s| s["pickup_dbfs"].as_f64().unwrap() < -5.5),
        "{doc}"
    );
    // Something clips long before full scale.
    let doc = level(&f, "r=6k l=2.4H cs=120p clip=-20dBFS", &[]).ended(0).json();
    assert_eq!(doc["end"], "pickup-room");
    assert!(doc["level_dbfs"].as_f64().unwrap() <= -18.0, "{doc}");
    // An output that bends, at every level the same: no level is clean, and nothing is written.
    let before = text(&f, "east.toml");
    let doc = level(&f, "r=6k l=2.4H cs=120p h3=-35dB", &[]).ended(1).json();
    assert_eq!(
        (doc["level_dbfs"].as_f64(), doc["end"].as_str()),
        (None, Some("output-bends"))
    );
    // A minus that was forgotten: nothing is played.
    level(&f, "r=6k l=2.4H cs=120p", &["--limit", "12"]).refused(&["nothing was played"]);
    let doc = level(&f, "r=6k l=2.4H cs=120p unplugged", &[]).ended(1).json();
    assert_eq!(doc["end"], "nothing-heard");
    // Nor into the file of a real rig, whether it is bound to an interface already or not.
    for interface in ["", "\n[interface]\noutput = \"front output\"\n"] {
        let real = format!("{NAMELESS}{interface}");
        f.write("real.toml", real.as_bytes());
        for what in ["level", "inputs"] {
            f.run(&["rig", what, "--rig", "real.toml", "--source", "sim"])
                .refused(&["of a real rig", "no place in it", "rig new FILE --source sim"]);
        }
        assert_eq!(text(&f, "real.toml"), real);
        // Nor anything real into that of the built-in bench.
        f.run(&["rig", "inputs", "--rig", "east.toml", "--replace"])
            .refused(&["east.toml is of the built-in bench"]);
    }
    // A dead lead is not driven harder.
    let doc = level(&f, "silent", &["--limit", "-3dBFS"]).ended(1).json();
    assert_eq!(doc["end"], "nothing-heard");
    assert!(
        doc["steps"]
            .as_array()
            .unwrap()
            .iter()
            .all(|s| s["level_dbfs"].as_f64().unwrap() <= -24.0),
        "{doc}"
    );
    assert_eq!(text(&f, "east.toml"), before);
}

fn inputs(f: &Folder, sim: &str, extra: &[&str]) -> Run {
    set_up(f, "inputs", sim, extra)
}

#[test]
fn what_the_inputs_are_is_measured_kept_and_applied() {
    let f = Folder::new();
    f.run(&[&NEW[..], &["--lead", "50p"]].concat()).ended(0);
    const CHAIN: &str = "gain=1dB delay=5us ac-pickup=2.7 ac-reference=3.6";
    let wire = |part: &str| format!("wire{part} input=1M//150p {CHAIN}");
    // The part says nothing without the wire alone.
    inputs(&f, &wire("=1M"), &["--through", "1M"]).refused(&["not been measured against each other"]);
    let doc = inputs(&f, &wire(""), &["--range", "gain at one third"]).ended(0).json();
    let holds = |doc: &Value, key: &str, truth: f64| {
        let (v, u) = (doc[key]["value"].as_f64().unwrap(), doc[key]["u"].as_f64().unwrap());
        assert!((v - truth).abs() < 4.0 * u, "{key}: {v} +- {u}, not {truth}");
    };
    holds(&doc, "gain_db", 1.0);
    holds(&doc, "delay_s", 5e-6);
    holds(&doc, "ac_pickup_hz", 2.7);
    holds(&doc, "ac_reference_hz", 3.6);
    let doc = inputs(&f, &wire("=1M"), &["--through", "1M", "--tolerance", "0.1%"])
        .ended(0)
        .json();
    holds(&doc, "resistance_ohm", 1e6);
    holds(&doc, "capacitance_f", 150e-12);
    let made = text(&f, "east.toml");
    for key in [
        "inputs_measured",
        "loading_measured",
        "range = \"gain at one third\"",
        "gain_tolerance_db",
    ] {
        assert!(made.contains(key), "{key}: {made}");
    }
    // The part forgotten: what was known stays.
    let before = text(&f, "east.toml");
    let run = inputs(&f, &wire("").replace("input=1M//150p ", ""), &["--through", "1M"]).ended(2);
    assert!(run.err.contains("as if no part were in line"), "{}", run.err);
    assert_eq!(text(&f, "east.toml"), before);
    // The lead is stated, so what is left is the input's own.
    let own: f64 = made
        .lines()
        .find_map(|l| l.strip_prefix("capacitance_f = "))
        .unwrap()
        .split('#')
        .next()
        .unwrap()
        .trim()
        .parse()
        .unwrap();
    assert!((own / 100e-12 - 1.0).abs() < 0.01, "{own}");
    // What was found makes a take on that chain right; without it level and sharpness are off.
    let sim = format!("r=6k l=2.4H cs=120p m=0.2mH input=1M//150p {CHAIN}");
    let with = f
        .take("x", &sim, "x", &["--rig", "east.toml", "--json"])
        .ended(0)
        .json();
    let mutual = &with["resonance"]["mutual_h"];
    // In the lows the winding and the input divide.
    let off = (mutual["value"].as_f64().unwrap() - 0.2e-3 / (1.0 + 6e3 / 1e6)).abs();
    assert!(off < 4.0 * mutual["u"].as_f64().unwrap() && off < 2e-8, "{mutual}");
    // A recording at another rate was not made on these inputs as they were measured.
    f.run(&[
        "measure", "--pickup", "y", "--source", "sim", "--rate", "96k", "--out", "fast",
    ])
    .ended(0);
    f.run(&["analyze", "fast/take.wav", "--rig", "east.toml"])
        .refused(&["96000 Hz", "measured at 48000 Hz"]);
    // No wire at all.
    let before = text(&f, "east.toml");
    let run = inputs(&f, "r=6k l=2.4H cs=120p", &[]).ended(2);
    assert!(run.err.contains("do not carry one signal"), "{}", run.err);
    assert_eq!(text(&f, "east.toml"), before);
}

/// The sign is found with a rig that has been checked already: it makes no other rig of it, and a witness that lies the other
/// way round is seen from the second check on.
#[test]
fn the_sign_makes_no_other_rig() {
    let f = folder();
    check(&f, 1, 0.0, &[]).ended(0);
    let known = "r=6k l=2.4H cs=120p noise=-80dBFS";
    let on = ["--rig", "north.toml"];
    f.take("known", known, "known", &on).ended(0);
    f.write("plain.toml", RIG.replace("sign = 1", "").as_bytes());
    let rig = String::from_utf8(f.bytes("north.toml")).unwrap();
    f.write("north.toml", rig.replace("sign = 1\n", "").as_bytes());
    check(&f, 2, 0.1, &[]).ended(0);
    f.take("known", known, "again", &on).ended(0);
    let run = f
        .run(&["rig", "polarity", "again", "--is", "+1", "--rig", "north.toml"])
        .ended(0);
    assert!(run.out.contains("it is written into the rig file"), "{}", run.out);
    let run = f
        .run(&["rig", "polarity", "again", "--is", "+1", "--rig", "north.toml"])
        .ended(0);
    assert!(run.out.contains("is +1 already"), "{}", run.out);
    check(&f, 3, 0.2, &[]).ended(0);
    let compared = f.run(&["compare", "known", "again", "--json"]).ended(0).json();
    assert_eq!(compared["differences"][0]["same_rig"], true);
    // Turned over at the fourth check: long before any limit is believed.
    let args = [
        "rig",
        "check",
        "--rig",
        "north.toml",
        "--sim",
        "r=6k l=2.4H cs=120p polarity=-1",
    ];
    let run = f.run(&[&args[..], &SHORT].concat()).ended(3);
    assert!(run.out.contains("the sign is the other one"), "{}", run.out);
}

/// Checks of the built-in bench are none of a real rig's.
#[test]
fn simulated_and_real_checks_stand_in_no_one_history() {
    let f = folder();
    check(&f, 1, 0.0, &[]).ended(0);
    let mut real = f.record("w1");
    real["capture"]["source"] = "live".into();
    real["capture"]["simulated"] = false.into();
    real["notes"] = serde_json::json!([]);
    real["id"] = "another".into();
    f.write("real.json", &serde_json::to_vec(&real).unwrap());
    let given = ["rig", "check", "--rig", "north.toml", "--record", "real.json"];
    f.run(&given).refused(&["north.toml is of the built-in bench"]);
    // A file that was checked on the bench before it was known to be of a real rig.
    f.write(
        "north.toml",
        text(&f, "north.toml").replace(BENCH, "front output").as_bytes(),
    );
    f.run(&given).refused(&["are of the built-in bench", "--begin-again"]);
    f.run(&[&given[..], &["--begin-again"]].concat()).ended(0);
    check(&f, 2, 0.0, &[]).refused(&["simulated values have no place"]);
    assert!(!f.path("w2").exists());
    // A recording of the bench is of the bench, whatever it is called.
    let read = ["analyze", "w1/take.wav", "--pickup", "tin one", "--load", "cap=220p"];
    f.run(&[&read[..], &["--rig", "north.toml", "--out", "w3"]].concat())
        .ended(0);
    f.run(&["rig", "check", "north.toml", "--record", "w3"])
        .refused(&["simulated values have no place"]);
}

const BENCH: &str = "built-in bench";

/// A value that somebody wrote is shown when it gives way, and stays in the file with the day.
#[test]
fn what_gives_way_is_shown_and_kept() {
    let f = Folder::new();
    f.run(&[&NEW[..], &["--lead", "50p"]].concat()).ended(0);
    let by_hand = "level_dbfs = -41.5  # the old card\n";
    f.write(
        "east.toml",
        text(&f, "east.toml")
            .replace("[interface] ", &format!("[interface]\n{by_hand}#"))
            .as_bytes(),
    );
    let args = [
        "rig",
        "level",
        "--rig",
        "east.toml",
        "--source",
        "sim",
        "--sim",
        "r=6k l=2.4H cs=120p",
        "--limit",
        "-48dBFS",
    ];
    let run = f.run(&args).ended(0);
    assert!(
        run.out.contains("interface.level_dbfs: -41.5 before, now -48"),
        "{}",
        run.out
    );
    let kept = |what: &str| {
        let is = |l: &&str| l.starts_with(&format!("# {what}  until 2"));
        text(&f, "east.toml").lines().filter(is).count()
    };
    assert_eq!(kept("level_dbfs = -41.5"), 1, "{}", text(&f, "east.toml"));
    assert!(text(&f, "east.toml").contains("level_dbfs = -48.0  # the old card\n"));
    // The same again is no change.
    let doc = f.run(&[&args[..], &["--json"]].concat()).ended(0).json();
    assert_eq!(doc["replaced"], serde_json::json!([]));
    assert_eq!(kept("level_dbfs = -48.0"), 0);
    // What others measure too, such as a lead's own figure: gone from the file, but for the remark.
    f.write(
        "east.toml",
        text(&f, "east.toml")
            .replace("[input]\n", "[input]\ngain_db = 7\n")
            .as_bytes(),
    );
    let doc = inputs(&f, "wire", &[]).ended(0).json();
    let gain = doc["replaced"]
        .as_array()
        .unwrap()
        .iter()
        .find(|r| r["key"] == "input.gain_db")
        .unwrap();
    assert_eq!(
        (gain["old"].as_f64(), gain["new"].is_number()),
        (Some(7.0), true),
        "{doc}"
    );
    assert_eq!(kept("gain_db = 7"), 1);
}

/// A later version's fields, at every depth, are in the file still when this one has added to it.
#[test]
fn what_a_later_version_wrote_into_the_checks_stays() {
    let f = folder();
    check(&f, 1, 0.0, &[]).ended(0);
    let mut history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    let more = serde_json::json!({ "of": ["a", "later", "version"] });
    for place in ["", "/checks/0", "/checks/0/f0_hz"] {
        history.pointer_mut(place).unwrap()["later"] = more.clone();
    }
    f.write("north.checks.json", &serde_json::to_vec(&history).unwrap());
    check(&f, 2, 0.1, &[]).ended(0);
    let history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    for place in ["/later", "/checks/0/later", "/checks/0/f0_hz/later"] {
        assert_eq!(history.pointer(place), Some(&more), "{place}: {history}");
    }
    assert_eq!(history["checks"].as_array().unwrap().len(), 2);
    assert_eq!(history.pointer("/checks/1/later"), None);
    // A new baseline is none of its.
    check(&f, 3, 0.1, &["--begin-again"]).ended(0);
    assert!(!text(&f, "north.checks.json").contains("later"));
}

/// By whatever link it is reached, a rig is one, and has one history.
#[test]
fn a_rig_behind_a_link_has_one_history() {
    let f = folder();
    // Without a name of its own it has that of its file.
    f.write(
        "north.toml",
        text(&f, "north.toml")
            .replace("name = \"north bench\"\n", "")
            .as_bytes(),
    );
    std::fs::create_dir(f.path("today")).unwrap();
    std::os::unix::fs::symlink("../north.toml", f.path("today/rig.toml")).unwrap();
    check(&f, 1, 0.0, &[]).ended(0);
    let args = ["rig", "check", "--rig", "today/rig.toml", "--record"];
    f.take(
        "tin one",
        "r=6k l=2.4H cs=120.1p",
        "w2",
        &["--rig", "today/rig.toml", "--load", "cap=220p"],
    )
    .ended(0);
    assert_eq!(f.record("w2")["rig"]["name"], "north");
    f.run(&[&args[..], &["w2"]].concat()).ended(0);
    let history: Value = serde_json::from_slice(&f.bytes("north.checks.json")).unwrap();
    assert_eq!(history["checks"].as_array().unwrap().len(), 2);
    f.run(&["rig", "repeat", "--rig", "today/rig.toml", "w1", "w2"])
        .ended(0);
    assert!(f.path("north.repeat.json").exists());
    assert_eq!(f.list("today"), ["rig.toml"]);
}

/// A lead that is said to hold more than was measured of input and lead together.
#[test]
fn a_lead_that_cannot_be_is_refused() {
    let f = Folder::new();
    f.run(&[&NEW[..], &["--lead", "500p"]].concat()).ended(0);
    inputs(&f, "wire", &[]).ended(0);
    let before = text(&f, "east.toml");
    let run = inputs(&f, "wire=100k input=1M//150p", &["--through", "100k"]).ended(2);
    assert!(
        run.err.contains("the lead alone has 500 pF") && run.err.contains("lead_capacitance_f"),
        "{}",
        run.err
    );
    assert_eq!(text(&f, "east.toml"), before);
}

#[test]
fn a_rig_of_the_built_in_bench_is_bound_to_it() {
    let f = Folder::new();
    f.run(&NEW).ended(0);
    inputs(&f, "wire", &[]).ended(0);
    for what in ["level", "inputs"] {
        let args = ["rig", what, "--rig", "east.toml", "--source", "sim", "--rate", "96k"];
        f.run(&args).refused(&["measured with the rate 48000", "--replace"]);
    }
    let doc = level(&f, "wire", &[]).ended(1).json();
    assert_eq!(
        (doc["end"].as_str(), &doc["level_dbfs"]),
        (Some("no-pickup"), &Value::Null)
    );
    let doc = level(&f, "r=6k l=2.4H cs=120p", &["--channels", "pickup=1"])
        .ended(0)
        .json();
    assert!(doc["level_dbfs"].as_f64().is_some_and(|l| l > -20.0), "{doc}");
    assert!(text(&f, "east.toml").contains("reference_channel = 2"));
}

/// A study is of readings, each once, under one load; the one before it is put aside.
#[test]
fn repeatability_is_of_readings_that_go_together() {
    let f = folder();
    let on = ["--rig", "north.toml"];
    for (out, sim, more) in [
        ("a", "r=6k l=2.4H cs=120p", &["--seed", "3"][..]),
        ("b", "r=6k l=2.4H cs=121p", &["--seed", "4"]),
        ("c", "r=6k l=2.4H cs=121p", &["--load", "cap=1n"]),
    ] {
        f.take("p", sim, out, &[&on[..], more].concat()).ended(0);
    }
    let repeat = |list: &[&str]| f.run(&[&["rig", "repeat", "--rig", "north.toml"][..], list].concat());
    repeat(&["a", "a"]).refused(&["given twice"]);
    repeat(&["a", "c"]).refused(&["under two loads"]);
    assert!(!f.path("north.repeat.json").exists());
    repeat(&["a", "b"]).ended(0);
    let first = f.bytes("north.repeat.json");
    repeat(&["b", "a"]).ended(0);
    assert_eq!(f.bytes("north.repeat.1.json"), first);
    // A real rig's files take nothing simulated.
    f.write(
        "north.toml",
        text(&f, "north.toml").replace(BENCH, "front output").as_bytes(),
    );
    repeat(&["a", "b"]).refused(&["simulated values have no place"]);
    f.run(&["rig", "polarity", "a", "--is", "-1", "--rig", "north.toml"])
        .refused(&["simulated values have no place"]);
    check(&f, 1, 0.0, &[]).refused(&["simulated values have no place"]);
    // A take of the bench says so itself, wherever it went.
    std::fs::copy(f.path("a/take.wav"), f.path("elsewhere.wav")).unwrap();
    for out in ["d", "e"] {
        f.run(&[
            "analyze",
            "elsewhere.wav",
            "--pickup",
            out,
            "--rig",
            "north.toml",
            "--out",
            out,
        ])
        .ended(0);
    }
    assert_eq!(f.record("d")["capture"]["simulated"], true);
    f.run(&["rig", "polarity", "d", "--is", "-1", "--rig", "north.toml"])
        .refused(&["simulated values have no place"]);
    let run = f.run(&["standard", "d", "e", "--allow", "f0=2% q=8%", "--out", "neck.toml"]);
    run.ended(0);
    assert!(text(&f, "neck.toml").contains("simulated = true"));
    // Nor is a study of another kind or a later version one of these.
    for kind in ["repeat/2", "checks/1"] {
        let other = String::from_utf8(first.clone()).unwrap().replace("repeat/1", kind);
        f.write("north.repeat.json", other.as_bytes());
        let args = ["tray", "--lot", "new", "--rig", "north.toml", "--sim", "silent"];
        let run = f.typed(&[&args[..], &SHORT].concat(), "q\n");
        let said = format!("is of the kind \"coilwright/{kind}\", this version reads");
        assert!(run.err.contains(&said), "{}{}", run.out, run.err);
    }
}

/// What was measured is kept, whatever became of the checks' file.
#[test]
fn a_damaged_history_stops_no_measurement() {
    let f = folder();
    f.write("north.checks.json", b"{");
    f.measure(&["--rig", "north.toml", "--out", "m"]).ended(0);
    assert!(
        f.record("m")["notes"]
            .to_string()
            .contains("north.checks.json is no history")
    );
}

/// Ten good checks and one with a forgotten 50 pF: it is no part of what the limits will stand on.
#[test]
fn a_blunder_is_no_part_of_the_baseline() {
    let f = folder();
    for (i, more) in DAYS.iter().enumerate().take(8) {
        check(&f, i as u32 + 1, *more, &[]).ended(0);
    }
    let run = check(&f, 9, 50.0, &[]).ended(3);
    let flat = run.flat();
    assert!(
        flat.contains("they come from 8 good checks and what is known of such rigs"),
        "{flat}"
    );
    let doc = check(&f, 10, 0.1, &["--json"]).ended(0).json();
    assert_eq!(
        (doc["verdict"].as_str(), doc["baseline"].as_u64()),
        (Some("go"), Some(8))
    );
}

#[test]
fn away_from_home_it_says_what_the_journey_changed() {
    let f = folder();
    for (i, more) in DAYS.iter().take(4).enumerate() {
        check(&f, i as u32 + 1, *more, &[]).ended(0);
    }
    let at = ["--at", "the class"];
    let arrived = check(&f, 10, 0.2, &at).ended(0);
    assert!(
        arrived.out.contains("the class: the journey changed nothing"),
        "{}",
        arrived.out
    );
    // Another lead, under other mains.
    let run = f.run(
        &[
            &["rig", "check", "--rig", "north.toml", "--out", "w11", "--sim"],
            &["r=6k l=2.4H cs=180p noise=-80dBFS hum=-50dBFS mains=60.02Hz"][..],
            &SHORT,
            &at,
        ]
        .concat(),
    );
    assert_eq!(run.status, 3, "{}{}", run.out, run.err);
    for words in [
        "the class: the journey changed what stands below",
        "more capacitance",
        "the mains here are 60 Hz, at home 50 Hz",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    // It moves no limit of home.
    let home = check(&f, 12, 0.1, &["--json"]).ended(0).json();
    assert_eq!(home["baseline"], 4);
    assert_eq!(home["at"], Value::Null);
}
