//! From takes under several loads to a coil, and from a coil to what loads do to it.

use serde_json::Value;

use crate::bench::Folder;
use crate::screens::{RIG, shows};

/// What the takes are of.
const SIM: &str = "r=6k l=2.4H cs=110p loss=1.5M noise=-95dBFS";

/// A folder with takes t1, t2 and so on of one pickup under the loads given.
fn takes(loads: &[&str]) -> Folder {
    let f = Folder::new();
    f.write("rig.toml", RIG.as_bytes());
    for (i, load) in loads.iter().enumerate() {
        take(&f, &format!("t{}", i + 1), "neck-7", load);
    }
    f
}

fn take(f: &Folder, out: &str, name: &str, load: &str) {
    take_of(f, SIM, out, name, load);
}

fn take_of(f: &Folder, sim: &str, out: &str, name: &str, load: &str) {
    let args = [
        "measure",
        "--pickup",
        name,
        "--source",
        "sim",
        "--sim",
        sim,
        "--rig",
        "rig.toml",
        "--load",
        load,
        "--ohms",
        "6k",
        "--room",
        "21C",
        "--seconds",
        "1",
        "--out",
        out,
    ];
    assert_eq!(f.run(&args).status, 0, "{load}");
}

fn json(f: &Folder, args: &[&str]) -> Value {
    let mut all = args.to_vec();
    all.push("--json");
    let run = f.run(&all);
    assert_eq!(run.status, 0, "{}", run.err);
    serde_json::from_str(&run.out).unwrap()
}

#[track_caller]
fn refused(f: &Folder, args: &[&str], what: &str) {
    for extra in [&[][..], &["--json"]] {
        let mut all = args.to_vec();
        all.extend(extra);
        let run = f.run(&all);
        assert_eq!((run.status, run.out.as_str()), (2, ""), "{args:?}: {}", run.err);
        assert!(
            run.err.contains(what) && run.err.contains("; "),
            "{args:?}: {}",
            run.err
        );
        assert_eq!(run.err.trim_end().lines().count(), 1, "{}", run.err);
    }
}

/// value within 4 u of the truth, and u no larger than `most` of it.
#[track_caller]
fn found(e: &Value, truth: f64, most: f64) {
    let (v, u) = (e["value"].as_f64().unwrap(), e["u"].as_f64().unwrap());
    assert!(
        (v - truth).abs() < 4.0 * u + 1e-5 * truth && u < most * truth,
        "{v} u {u}, not {truth}"
    );
    assert!(e["u_noise"].as_f64().unwrap() <= u);
}

#[test]
fn the_coil_behind_takes_is_found_and_kept() {
    let f = takes(&["none", "cap=470p", "cap=1n"]);
    let tolerance = ["--tolerance", "cap=1% input=2%"];
    let run = f.run(
        &[
            &[
                "coil",
                "t1",
                "t2",
                "t3",
                "--ohms",
                "6k",
                "--room",
                "21C",
                "--out",
                "neck-7.toml",
                "--spice",
                "neck-7.sub",
            ],
            &tolerance[..],
        ]
        .concat(),
    );
    assert_eq!(run.status, 0, "{}", run.err);
    shows("coil", &run);
    let doc = json(
        &f,
        &[
            &["coil", "t1", "t2", "t3", "--ohms", "6k", "--room", "21C"],
            &tolerance[..],
        ]
        .concat(),
    );
    assert_eq!(doc["schema"], "coilwright/coil/1");
    found(&doc["l_h"], 2.4, 0.01);
    found(&doc["c_f"], 110e-12, 0.05);
    found(&doc["loss_ohm"], 1.5e6, 0.05);
    found(&doc["r_ohm"], 6000.0, 0.01);
    assert_eq!(doc["eddy"], Value::Null);
    let rows = doc["correlations"].as_array().unwrap();
    assert!(rows.len() == 4 && rows.iter().all(|r| r.as_array().unwrap().len() == 4));
    assert!(doc["findings"].is_array() && doc["takes"].as_array().unwrap().len() == 3);
    assert!(doc["advice"]["load"].is_string());
    // The coil file carries all of it on.
    let file = String::from_utf8(f.bytes("neck-7.toml")).unwrap();
    assert!(
        file.contains("schema = \"coilwright/coil/1\"") && file.contains("[uncertainty]"),
        "{file}"
    );
    let loads = json(
        &f,
        &["loads", "--coil", "neck-7.toml", "--load", "cap=470p lead=150p res=1M"],
    );
    let one = &loads["loads"][0];
    let u = one["u"]["peak_hz"].as_f64().unwrap();
    assert!(u > 1.0 && u < 100.0, "{u}");
    let sub = String::from_utf8(f.bytes("neck-7.sub")).unwrap();
    assert!(
        sub.contains(".subckt neck_7 hot cold emf") && sub.trim_end().ends_with(".ends neck_7"),
        "{sub}"
    );
    // Nothing is overwritten, and what cannot be written leaves nothing else behind.
    refused(
        &f,
        &["coil", "t1", "t2", "t3", "--out", "neck-7.toml"],
        "neck-7.toml is there already",
    );
    refused(
        &f,
        &["coil", "t1", "t2", "t3", "--out", "new.toml", "--spice", "neck-7.sub"],
        "neck-7.sub is there already",
    );
    assert!(!f.path("new.toml").exists());
}

#[test]
fn a_folder_gets_coil_file_plot_and_table() {
    let f = takes(&["none", "cap=1n"]);
    let run = f.run(&["coil", "t1", "t2", "--out", "result"]);
    assert_eq!(run.status, 0, "{}", run.err);
    // What is not said of the parts is taken as usual, and that is told.
    for what in [
        "capacitor ± 10 %",
        "the input's resistance ± 5 %",
        "on one meter, ± 1 % and ± 2.00 pF: the input's capacitance 150 pF",
    ] {
        let screen = run.flat();
        assert!(screen.contains(what), "{what}: {}", run.out);
    }
    assert_eq!(f.list("result"), ["coil.json", "coil.png", "coil.svg", "coil.toml"]);
    // An ohmmeter that is right has no uncertainty, which is not one that is not known.
    let exact = f.run(&["coil", "t1", "t2", "--tolerance", "ohms=0%"]);
    assert!(
        exact.out.contains("6.00 kΩ, taken as exact") && !exact.out.contains('?'),
        "{}",
        exact.out
    );
    let svg = String::from_utf8(f.bytes("result/coil.svg")).unwrap();
    assert!(svg.contains("SIMULATED") || svg.contains("simulated"));
    let doc: Value = serde_json::from_slice(&f.bytes("result/coil.json")).unwrap();
    assert!(
        doc["notes"]
            .as_array()
            .unwrap()
            .iter()
            .any(|n| n.as_str().unwrap().starts_with("simulated"))
    );
}

#[test]
fn what_cannot_tell_a_coil_says_why() {
    let f = takes(&["cap=470p", "cap=470p", "cap=1n"]);
    refused(
        &f,
        &["coil", "t1", "t2", "--ohms", "6k"],
        "one load cannot tell L from C",
    );
    refused(&f, &["coil", "t1", "--ohms", "6k"], "one load cannot tell L from C");
    refused(&f, &["coil", "t1", "no/such/record"], "cannot read");
    // A record that does not tell its load, and one without a resistance.
    let mut record: Value = serde_json::from_slice(&f.bytes("t3/record.json")).unwrap();
    record["load"] = Value::Null;
    f.write("bare.json", &serde_json::to_vec(&record).unwrap());
    refused(
        &f,
        &["coil", "t1", "bare.json", "--ohms", "6k"],
        "does not say what hung on the pickup",
    );
    for name in ["t1", "t3"] {
        let mut record: Value = serde_json::from_slice(&f.bytes(&format!("{name}/record.json"))).unwrap();
        record["pickup"]["r_ohm"] = Value::Null;
        f.write(&format!("{name}.json"), &serde_json::to_vec(&record).unwrap());
    }
    refused(&f, &["coil", "t1.json", "t3.json"], "resistance is not known");
    refused(&f, &["coil", "t1", "t3", "--ohms", "-6k"], "negative");
    // A load that is not what hung there: the takes contradict each other, and that is said.
    let mut wrong: Value = serde_json::from_slice(&f.bytes("t3/record.json")).unwrap();
    wrong["load"]["text"] = "cap=1.2n".into();
    f.write("wrong.json", &serde_json::to_vec(&wrong).unwrap());
    take(&f, "t4", "neck-7", "none");
    let close = "cap=1% input=1%";
    let doc = json(
        &f,
        &["coil", "t1", "t4", "wrong.json", "--ohms", "6k", "--tolerance", close],
    );
    let codes: Vec<&str> = doc["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f["code"].as_str().unwrap())
        .collect();
    assert!(codes.contains(&"takes-disagree"), "{codes:?}");
    assert!(doc["reduced_chi2"].as_f64().unwrap() > 10.0);
    // Two pickups are not one.
    take(&f, "t5", "bridge-2", "none");
    let doc = json(&f, &["coil", "t1", "t5", "--ohms", "6k"]);
    assert!(doc["findings"].to_string().contains("more than one pickup"));
}

/// Under controls the circuit is not of second order any more: the curve tells.
#[test]
fn takes_under_a_whole_guitar_will_do() {
    let f = takes(&["vol=250k@0.6 tone=250k+22n cable=3m@100p/m", "cap=1n"]);
    let exact = "pots=0% caps=0% cable=0% input=0%";
    let args = [
        "coil",
        "t1",
        "t2",
        "--ohms",
        "6k",
        "--room",
        "21C",
        "--tolerance",
        exact,
    ];
    let doc = json(&f, &args);
    assert!(doc["takes"][0]["curve_db"].as_f64().unwrap() < 0.1);
    assert_eq!(doc["takes"][0]["f0_off"], Value::Null);
    found(&doc["l_h"], 2.4, 0.01);
    found(&doc["c_f"], 110e-12, 0.05);
}

/// A warm winding has more ohms than the ohmmeter read: both temperatures are told, and counted.
#[test]
fn copper_follows_the_temperature() {
    let f = takes(&["none", "cap=1n"]);
    let at = |room: &str| {
        json(&f, &["coil", "t1", "t2", "--ohms", "6k", "--room", room])["r_ohm"]["value"]
            .as_f64()
            .unwrap()
    };
    // The takes were at 21 degrees: a reading of 6 k at 31 degrees would be 3.9 % less copper.
    assert!((at("21C") / 6000.0 - 1.0).abs() < 0.005);
    let doc = json(&f, &["coil", "t1", "t2", "--ohms", "6236", "--room", "31C"]);
    let r = doc["r_ohm"]["value"].as_f64().unwrap();
    assert!((r / 6236.0 - 1.0).abs() < 0.005 && doc["temperature_c"] == 31.0, "{r}");
}

const HAND: [&str; 7] = ["loads", "--r", "6k", "--l", "2.4H", "--cs", "120p"];

fn by_hand(rest: &[&str]) -> Vec<String> {
    HAND.iter().chain(rest).map(|s| (*s).to_owned()).collect()
}

fn predicted(f: &Folder, rest: &[&str]) -> Value {
    let args = by_hand(rest);
    json(f, &args.iter().map(String::as_str).collect::<Vec<_>>())
}

/// ngspice 39, AC analysis: 620 pF and 200 k on 6 k and 2.4 H peak at 4014.996 Hz with 7.8473 dB re EMF; f0 4187.331 Hz, Q
/// 2.49039. With 250 k and 22 nF in series across it, 3774.3047 Hz and 3.90236 dB.
#[test]
fn predictions_of_known_circuits() {
    let f = Folder::new();
    let doc = predicted(
        &f,
        &[
            "--load",
            "cap=500p res=200k",
            "--load",
            "cap=500p res=200k tone=250k+22n",
        ],
    );
    assert_eq!(doc["schema"], "coilwright/loads/1");
    let n = |i: usize, key: &str| doc["loads"][i][key].as_f64().unwrap();
    assert!((n(0, "peak_hz") / 4014.996 - 1.0).abs() < 3e-7 && (n(0, "peak_db") - 7.8473).abs() < 6e-5);
    assert!((n(0, "f0_hz") / 4187.331 - 1.0).abs() < 3e-7 && (n(0, "q") / 2.49039 - 1.0).abs() < 3e-6);
    assert!((n(1, "peak_hz") / 3774.3047 - 1.0).abs() < 1e-7 && (n(1, "peak_db") - 3.90236).abs() < 6e-6);
    assert_eq!(
        (&doc["loads"][1]["f0_hz"], &doc["loads"][1]["q"]),
        (&Value::Null, &Value::Null)
    );
    let freq = doc["loads"][0]["curve"]["freq_hz"].as_array().unwrap();
    assert_eq!(freq.len(), 512);
    let ends = (freq[0].as_f64().unwrap(), freq[511].as_f64().unwrap());
    assert!((ends.0 / 20.0 - 1.0).abs() < 1e-12 && (ends.1 / 20e3 - 1.0).abs() < 1e-12);
    // Shorted secondary: k 0.4, 0.1 H, 3 k.
    let doc = predicted(
        &f,
        &[
            "--eddy",
            "k=0.4,tau=33.333333333333u",
            "--load",
            "cap=500p res=200k",
            "--freq",
            "100,1k,4085.0779",
        ],
    );
    let one = &doc["loads"][0];
    assert!((one["peak_hz"].as_f64().unwrap() / 4085.0779 - 1.0).abs() < 1e-7);
    assert!((one["peak_db"].as_f64().unwrap() - 6.35596).abs() < 6e-6);
    assert_eq!(one["curve"]["freq_hz"], serde_json::json!([100.0, 1000.0, 4085.0779]));
    assert!((one["curve"]["gain_db"][2].as_f64().unwrap() - 6.35596).abs() < 6e-6);
    // A pot turned down: nothing comes out, and that is null, not minus infinity.
    let doc = predicted(&f, &["--load", "vol=250k@0 amp=1M", "--freq", "1k"]);
    assert_eq!(doc["loads"][0]["curve"]["gain_db"], serde_json::json!([null]));
    assert_eq!(doc["loads"][0]["level_100_hz_db"], Value::Null);
    let silent = by_hand(&["--load", "vol=250k@0 amp=1M"]);
    let silent = f.run(&silent.iter().map(String::as_str).collect::<Vec<_>>());
    assert!(
        silent.out.contains("silent") && !silent.out.contains("300"),
        "{}",
        silent.out
    );
    // A bare value, a recording, an ending in capitals.
    for (load, what) in [
        ("500k", "vol=500k for a volume pot"),
        ("470p", "write cap=470p for a capacitor"),
    ] {
        let args = by_hand(&["--load", load]);
        refused(&f, &args.iter().map(String::as_str).collect::<Vec<_>>(), what);
    }
    f.write("take.wav", b"RIFF\0\0\0\0WAVE");
    refused(&f, &["coil", "take.wav"], "take.wav is a recording, not a record");
    f.write("GUITAR.TOML", b"load = \"cap=1n\"\n");
    let named = predicted(&f, &["--load", "GUITAR.TOML"]);
    assert!(named["loads"][0]["peak_hz"].as_f64().is_some());
    assert_eq!(doc["loads"][0]["peak_hz"], Value::Null);
}

#[test]
fn sweeps_tolerances_and_wishes() {
    let f = Folder::new();
    let load = "vol=250k tone=250k+22n cable=5m@100p/m amp=1M";
    let doc = predicted(&f, &["--load", load, "--vary", "cable=1m...10m", "--steps", "4"]);
    let peaks: Vec<f64> = doc["loads"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l["peak_hz"].as_f64().unwrap())
        .collect();
    assert!(peaks.len() == 4 && peaks.windows(2).all(|p| p[1] < p[0]), "{peaks:?}");
    assert_eq!(
        doc["loads"][3]["varied"],
        serde_json::json!({"quantity": "cable", "value": 10.0})
    );
    assert_eq!(
        doc["loads"][3]["load"],
        "vol=250k@1 tone=250k+22n@1 cable=10m@100p/m amp=1M"
    );
    let one = predicted(&f, &["--load", load, "--tolerance", "usual", "--freq", "3k"]);
    assert_eq!(
        one,
        predicted(&f, &["--load", load, "--tolerance", "usual", "--freq", "3k"])
    );
    let band = &one["loads"][0]["band"];
    let peak = one["loads"][0]["peak_hz"].as_f64().unwrap();
    assert!(band["peak_hz"][0].as_f64().unwrap() < peak && band["peak_hz"][1].as_f64().unwrap() > peak);
    assert!(band["low_db"][0].as_f64().unwrap() < band["high_db"][0].as_f64().unwrap());
    let doc = predicted(
        &f,
        &[
            "--load",
            "vol=250k amp=1M",
            "--reach",
            "3.2kHz 6dB",
            "--by",
            "cap,vol-pot",
        ],
    );
    assert!((doc["reached"]["peak_hz"].as_f64().unwrap() - 3200.0).abs() < 0.1);
    assert!((doc["reached"]["height_db"].as_f64().unwrap() - 6.0).abs() < 1e-3);
    assert_eq!(doc["reached"]["parts"][0]["quantity"], "cap");
}

#[test]
fn takes_against_their_prediction() {
    let f = takes(&["none", "cap=470p", "cap=1n"]);
    let exact = ["--tolerance", "cap=0% input=0%"];
    let made = f.run(&[&["coil", "t1", "t3", "--out", "neck-7.toml"], &exact[..]].concat());
    assert_eq!(made.status, 0);
    // A take that the coil file does not know.
    let doc = json(
        &f,
        &["loads", "--coil", "neck-7.toml", "--against", "t2", "--out", "laid"],
    );
    let a = &doc["against"];
    assert!(
        a["rms_db"].as_f64().unwrap() < 0.05 && a["answer"] == "same",
        "{}",
        a["rms_db"]
    );
    assert_eq!(f.list("laid"), ["against.png", "against.svg", "loads.json"]);
    let screen = f.run(&["loads", "--coil", "neck-7.toml", "--against", "t2"]).flat();
    assert!(screen.contains(" peak height off by "), "{screen}");
    // Laid down anew it would read something else, by what is usual.
    for what in [
        "0.00 dB apart: the same",
        "± 0.36 % (95 %, usual); 1.0 % matters (usual): the same",
    ] {
        assert!(screen.contains(what), "{what}: {screen}");
    }
    f.write("coilwright.toml", b"matters = \"curve=0.25dB\"\n");
    let screen = f.run(&["loads", "--coil", "neck-7.toml", "--against", "t2"]).flat();
    assert!(screen.contains("0.25 dB matters: the same"), "{screen}");
    // Against another coil it is different.
    let doc = json(
        &f,
        &["loads", "--r", "6k", "--l", "2.6H", "--cs", "110p", "--against", "t2"],
    );
    assert!(doc["against"]["rms_db"].as_f64().unwrap() > 0.3 && doc["against"]["answer"] == "different");
    // With the instrument and the capacitor taken off, the pickup alone: 6 k, 2.4 H, 110 pF, 1.5 M.
    let doc = json(
        &f,
        &["loads", "--coil", "neck-7.toml", "--undo", "t2", "--out", "freed"],
    );
    let alone = json(
        &f,
        &[
            "loads", "--r", "6k", "--l", "2.4H", "--cs", "110p", "--loss", "1.5M", "--load", "none",
        ],
    );
    // What is undone has one place to go, and options without a say are refused.
    for (rest, what) in [
        (
            &["--load", "cap=1n", "--load", "none"][..],
            "--undo wants one --load, and 2 are given",
        ),
        (&["--load", "cap=1n", "--vary", "cap=1n,2n"], "--vary makes many"),
        (&["--tolerance", "ohms=1%"], "--tolerance ohms= is of the ohmmeter"),
    ] {
        let args = [&["loads", "--coil", "neck-7.toml", "--undo", "t2"][..], rest].concat();
        refused(&f, &args, what);
    }
    refused(
        &f,
        &["loads", "--coil", "neck-7.toml", "--tolerance", "input=5%"],
        "no take is given",
    );
    // Of an input within 5 % more is left open than of an exact one.
    let u_of = |tolerance: &[&str]| {
        let args = [&["loads", "--coil", "neck-7.toml", "--undo", "t2"][..], tolerance].concat();
        json(&f, &args)["undone"]["height_db"]["u"].as_f64().unwrap()
    };
    assert!(u_of(&["--tolerance", "input=5%"]) > 1.05 * u_of(&[]));
    assert!(u_of(&["--tolerance", "cap=5%"]) > 1.05 * u_of(&[]));
    let u = &doc["undone"];
    let off = u["peak_hz"]["value"].as_f64().unwrap() / alone["loads"][0]["peak_hz"].as_f64().unwrap() - 1.0;
    assert!(off.abs() < 0.002, "{off}");
    let off = u["height_db"]["value"].as_f64().unwrap() - alone["loads"][0]["height_db"].as_f64().unwrap();
    assert!(off.abs() < 0.1, "{off}");
    assert_eq!(u["to"], "none");
    assert_eq!(f.list("freed"), ["loads.json", "undone.png", "undone.svg"]);
}

#[test]
fn wrong_and_impossible_loads_are_named() {
    let f = Folder::new();
    f.write("bad.toml", b"load = \"vol=250k@1.2\"\n");
    for (rest, what) in [
        (&["--load", "cap=-470p"][..], "\"-470p\" is negative"),
        (&["--load", "cap=470"], "is in farads"),
        (&["--load", "vol=250k@1.2"], "beyond full rotation"),
        (&["--load", "vol=250k vol=500k"], "vol is given twice"),
        (&["--load", "volume"], "neither a load nor a wiring nor a file"),
        (&["--load", "bad.toml"], "bad.toml: load part \"vol=250k@1.2\""),
        (&["--load", "missing.toml"], "cannot read missing.toml"),
        (&["--load", "cap=1n", "--vary", "cable=1m...2m"], "has no cable to vary"),
        (&["--load", "cap=1n", "--vary", "length=1m"], "no quantity \"length\""),
        (&["--load", "cap=1n", "--reach", "30kHz", "--by", "cap"], "goes from"),
        (&["--load", "cap=1n", "--reach", "3kHz", "--by", "cap,res"], "1 wishes"),
        (&["--freq", "0"], "is no frequency"),
        (&["--eddy", "k=1.5,tau=33u"], "eddy.k = 1.5"),
        (&["--eddy", "k=0.4,tau=33u,a=-1"], "eddy.a = -1"),
        (&["--eddy", "k=0.4,tau=33u,b=0"], "eddy.b = 0"),
        (&["--tolerance", "vol=10%"], "no such part"),
    ] {
        let args = by_hand(rest);
        refused(&f, &args.iter().map(String::as_str).collect::<Vec<_>>(), what);
    }
    refused(&f, &["loads"], "no coil is given");
    refused(&f, &["loads", "--r", "6k", "--load", "none"], "--l");
    refused(&f, &["loads", "--coil", "no.toml"], "cannot read no.toml");
    // Loads without effect are remarked on.
    let doc = predicted(&f, &["--load", "bleed=1n amp=1M"]);
    assert_eq!(doc["notes"][0], "load: bleed has no effect without vol");
}

#[test]
fn screens_of_predictions() {
    let f = Folder::new();
    let run = |rest: &[&str]| {
        let args = by_hand(rest);
        f.run(&args.iter().map(String::as_str).collect::<Vec<_>>())
    };
    shows(
        "loads",
        &run(&[
            "--load",
            "none",
            "--load",
            "one-pickup",
            "--load",
            "coil-split",
            "--details",
        ]),
    );
    shows(
        "loads-tolerance",
        &run(&["--load", "vol=250k cable=5m@100p/m amp=1M", "--tolerance", "usual"]),
    );
    shows(
        "loads-reach",
        &run(&[
            "--load",
            "vol=250k amp=1M",
            "--reach",
            "3.2kHz 6dB",
            "--by",
            "cap,vol-pot",
        ]),
    );
    shows("loads-list", &f.run(&["loads", "--list"]));
}

#[test]
fn comparisons_by_load() {
    let f = takes(&["cap=1n", "none", "cap=470p"]);
    shows("compare-by-load", &f.run(&["compare", "t1", "t2", "t3", "--by-load"]));
    let doc = json(&f, &["compare", "t1", "t2", "t3", "--by-load"]);
    let loads: Vec<&str> = doc["records"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["load"]["text"].as_str().unwrap())
        .collect();
    assert_eq!(loads, ["", "cap=470p", "cap=1n"]);
    assert!(
        doc["differences"][0]["text"]
            .as_str()
            .unwrap()
            .starts_with("470 pF more; different: peak 6.")
    );
}

/// A wiring file with coils of its own wants no coil from the command line; its coil files lie beside it.
#[test]
fn wiring_files() {
    let f = Folder::new();
    std::fs::create_dir(f.path("guitar")).unwrap();
    f.write("guitar/neck.toml", b"r_ohm = 6000\nl_h = 2.4\nc_f = 120e-12\n");
    f.write(
        "guitar/all.toml",
        b"name = \"workshop guitar\"\nload = \"cable=3m@100p/m amp=1M\"\n[[pickup]]\nload = \"vol=500k@0.8\"\n[[pickup.coil]]\nfile = \"neck.toml\"\n",
    );
    let doc = json(&f, &["loads", "--load", "guitar/all.toml"]);
    let same = predicted(&f, &["--load", "vol=500k@0.8 cable=3m@100p/m amp=1M"]);
    assert_eq!(doc["loads"][0]["load"], "workshop guitar");
    let off = doc["loads"][0]["peak_hz"].as_f64().unwrap() / same["loads"][0]["peak_hz"].as_f64().unwrap() - 1.0;
    assert!(off.abs() < 1e-9, "{off}");
}

/// Two takes of a steel-cored pickup tell what a third shows.
#[test]
fn a_steel_core_is_known_from_two_loads() {
    const METAL: &str = "k=0.66,tau=16u,emf=0.51,a=7.4,b=0.57";
    let sim = format!("r=6k l=2.4H cs=110p noise=-95dBFS eddy={METAL}");
    let f = Folder::new();
    f.write("rig.toml", RIG.as_bytes());
    let third = "cap=470p res=300k";
    for (out, load) in [("t1", "none"), ("t2", "cap=1n res=300k"), ("t3", third)] {
        take_of(&f, &sim, out, "neck-7", load);
    }
    let known = ["--tolerance", "cap=0 res=0 input=0 ohms=0.1%"];
    let coil = ["coil", "t1", "t2", "--ohms", "6k", "--room", "21C"];
    let doc = json(&f, &[&coil[..], &known].concat());
    for name in ["k", "tau", "emf", "a", "b"] {
        assert!(doc["eddy"][name]["u"].as_f64().is_some_and(|u| u > 0.0), "{name}");
    }
    assert!(doc["correlations"].as_array().unwrap().len() == 8 && doc["loss_ohm"].is_null());
    let run = f.run(&[&coil[..], &known, &["--out", "neck-7.toml"]].concat());
    let screen = run.flat();
    assert!(
        run.status == 0 && screen.contains(", a ") && screen.contains(", b "),
        "{screen}"
    );
    let peak = |doc: &Value| {
        let of = |key: &str| doc["loads"][0][key].as_f64().unwrap();
        (of("peak_hz"), of("height_db"))
    };
    let told = peak(&json(&f, &["loads", "--coil", "neck-7.toml", "--load", third]));
    let by_hand = [
        "loads", "--r", "6k", "--l", "2.4H", "--cs", "110p", "--eddy", METAL, "--load", third,
    ];
    let (hz, db) = peak(&json(&f, &by_hand));
    assert!(
        (told.0 / hz - 1.0).abs() < 1e-3 && (told.1 - db).abs() < 0.05,
        "{told:?} {hz} {db}"
    );
    // The same as a take shows, its 0 dB and the prediction's being one.
    let doc = json(&f, &["loads", "--coil", "neck-7.toml", "--against", "t3"]);
    let take = &doc["against"]["takes"][0];
    let (off, height) = (
        take["peak_hz"]["value"].as_f64().unwrap(),
        take["height_db"]["value"].as_f64().unwrap(),
    );
    assert!(
        off.abs() < 1e-3 * hz && height.abs() < 0.03 && doc["against"]["answer"] == "same",
        "{take}"
    );
    let details = f
        .run(&["loads", "--coil", "neck-7.toml", "--load", third, "--details"])
        .out;
    assert!(details.contains(", a ") && details.contains(", b "), "{details}");
}
