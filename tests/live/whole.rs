//! The whole program over the bench: what a user types, what comes out, what stands in the folder afterwards.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

use super::bench::{Bench, INPUT, OUTPUT};
use super::{F0, LEVEL, PICKUP, Q};

/// A working folder of its own, so that no remembered defaults have a say.
pub fn folder(bench: &Bench) -> PathBuf {
    let folder = bench.dir().join("work");
    if !folder.exists() {
        std::fs::create_dir(&folder).unwrap();
    }
    folder
}

/// How the program ended and what it said.
pub struct Told {
    pub status: Option<i32>,
    pub out: String,
    pub err: String,
    end: Instant,
}

impl Told {
    fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {:?} {}", self.out, self.err))
    }

    /// The outcome in a few lines, for messages: the document without its long curve.
    fn brief(&self) -> String {
        let of = |record: Value| {
            let kept = ["verdict", "findings", "resonance", "capture", "notes"];
            kept.map(|k| format!("{k}: {}", record[k])).join("\n")
        };
        let out = serde_json::from_str(&self.out).map_or_else(|_| self.out.clone(), of);
        format!("status {:?}\n{out}\n{}", self.status, self.err)
    }

    /// The codes of all findings.
    fn findings(&self) -> Vec<String> {
        let record = self.json();
        let list = record["findings"].as_array().unwrap();
        list.iter().map(|f| f["code"].as_str().unwrap().to_owned()).collect()
    }
}

pub struct Started {
    pub child: Child,
    files: [PathBuf; 2],
}

/// With somebody at the keys, who may type.
pub fn start(bench: &Bench, args: &[&str]) -> Started {
    let files = [bench.dir().join("told.out"), bench.dir().join("told.err")];
    let mut command: Command = bench.command(env!("CARGO_BIN_EXE_coilwright"));
    let file = |path: &Path| std::fs::File::create(path).unwrap();
    command.args(args).current_dir(folder(bench)).stdin(Stdio::piped());
    command.stdout(file(&files[0])).stderr(file(&files[1]));
    let child = command.spawn().unwrap();
    Started { child, files }
}

impl Started {
    pub fn said(&self) -> String {
        std::fs::read_to_string(&self.files[1]).unwrap()
    }

    pub fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).unwrap();
    }

    pub fn wait(mut self) -> Told {
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status;
            }
            if begun.elapsed() > Duration::from_secs(40) {
                let _ = self.child.kill();
                let _ = self.child.wait();
                panic!("no end after {:?}", begun.elapsed());
            }
            std::thread::sleep(Duration::from_millis(10));
        };
        let end = Instant::now();
        let [out, err] = self.files.map(|f| std::fs::read_to_string(f).unwrap());
        assert!(!err.contains("panicked"), "{err}");
        Told {
            status: status.code(),
            out,
            err,
            end,
        }
    }
}

fn coilwright(bench: &Bench, args: &[&str]) -> Told {
    start(bench, args).wait()
}

/// `measure --source live --json` with further options; the result goes to the folder `out`.
const MEASURE: [&str; 6] = ["measure", "--pickup", "bench", "--source", "live", "--json"];

fn measure(bench: &Bench, options: &[&str]) -> Told {
    coilwright(bench, &[&MEASURE[..], options].concat())
}

/// As [`measure`], once more and once again where samples were lost though the bench was asked for no fault: on a busy
/// machine a sound server may lose some, and says so.
fn measure_calmly(bench: &Bench, options: &[&str]) -> Told {
    let mut told = measure(bench, options);
    for _ in 0..2 {
        if told.status != Some(1) || !told.findings().iter().any(|f| f == "dropout") {
            break;
        }
        println!("not calm: {}", told.brief());
        std::fs::remove_dir_all(folder(bench).join("out")).unwrap();
        told = measure(bench, options);
    }
    told
}

/// Shorter than the default drive, for tests that only ask whether something is noticed.
const SHORT: [&str; 4] = ["--seconds", "1.5", "--out", "out"];

fn listing(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

const FILES: [&str; 7] = [
    "asked.json",
    "drive.json",
    "drive.wav",
    "record.json",
    "response.png",
    "response.svg",
    "take.wav",
];

/// Whether the bench has heard a drive since it was started.
fn heard(bench: &Bench) -> bool {
    bench.log("pickup").contains("drive heard")
}

fn near(value: &Value, truth: f64, relative: f64) {
    let value = value.as_f64().unwrap_or_else(|| panic!("{value} is no number"));
    assert!(
        (value / truth - 1.0).abs() < relative,
        "{value} is not within {relative} of {truth}"
    );
}

/// A clean reading of the bench, with its files in `out`.
fn check_reading(bench: &Bench, told: &Told, rate: u32, channels: u32) -> Value {
    check_coil(bench, told, rate, channels, F0, Q)
}

fn check_coil(bench: &Bench, told: &Told, rate: u32, channels: u32, f0: f64, q: f64) -> Value {
    println!("{}", told.brief());
    assert_eq!(told.status, Some(0));
    let record = told.json();
    near(&record["resonance"]["f0_hz"]["value"], f0, 5e-3);
    near(&record["resonance"]["q"]["value"], q, 2e-2);
    assert_eq!(record["verdict"], "ok");
    assert_eq!(record["capture"]["dropouts"], 0);
    assert_eq!(record["capture"]["clipped_samples"], 0);
    assert_eq!(record["capture"]["rate_hz"], rate);
    assert_eq!(record["capture"]["channels"], channels);
    // Output and input share the server's clock.
    assert!(record["capture"]["clock_ppm"].as_f64().unwrap().abs() < 1.0);
    assert_eq!(record["capture"]["source"], "live");
    assert!(
        record["findings"]
            .as_array()
            .unwrap()
            .iter()
            .all(|f| f["level"] == "note")
    );
    let out = folder(bench).join("out");
    assert_eq!(listing(&out), FILES);
    assert_eq!(listing(&folder(bench)), ["out"]);
    let kept: Value = serde_json::from_slice(&std::fs::read(out.join("record.json")).unwrap()).unwrap();
    assert_eq!(kept, record, "the file holds what was printed");
    assert!(heard(bench));
    record
}

/// The stored take gives the same numbers again, to the last bit.
fn check_again(bench: &Bench, record: &Value, options: &[&str]) {
    let analyze = ["analyze", "out/take.wav", "--drive", "out/drive.wav", "--json"];
    let again = coilwright(bench, &[&analyze[..], options].concat());
    assert_eq!(again.status, Some(0), "{}", again.err);
    let again = again.json();
    let bits = |r: &Value, what: &str| r["resonance"][what]["value"].as_f64().unwrap().to_bits();
    for what in ["f0_hz", "q"] {
        assert_eq!(bits(&again, what), bits(record, what), "{what}");
    }
    for part in [
        "resonance",
        "fit",
        "curve",
        "drive",
        "verdict",
        "findings",
        "notes",
        "pickup",
        "rig",
    ] {
        assert_eq!(again[part], record[part], "{part}");
    }
    for key in ["frames", "peak_dbfs", "latency_s", "clock_ppm", "snr_db", "hum_db"] {
        assert_eq!(again["capture"][key], record["capture"][key], "{key}");
    }
}

/// No number that anybody could take for a reading; the take is kept for whoever wants to look into it.
fn check_refused(bench: &Bench, told: &Told, code: &str) {
    println!("{}", told.brief());
    assert_eq!(told.status, Some(1));
    assert!(told.findings().iter().any(|f| f == code), "{:?}", told.findings());
    let record = told.json();
    assert_eq!(record["verdict"], "rejected");
    assert_eq!(record["resonance"], Value::Null);
    let of_it = |f: &&Value| f["code"] == code && f["level"] == "reject";
    assert!(
        record["findings"].as_array().unwrap().iter().any(|f| of_it(&f)),
        "{code} rejects"
    );
    assert_eq!(listing(&folder(bench).join("out")), FILES);
}

#[test]
fn measure_with_default_devices_at_48_khz() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let told = measure_calmly(&bench, &["--out", "out"]);
    let record = check_reading(&bench, &told, 48_000, 2);
    assert!(record["capture"]["device"].as_str().unwrap().contains("alsa:default"));
    // What will sound, and how loud, is said before.
    assert!(told.err.contains("peak -12 dBFS"), "{}", told.err);
    check_again(&bench, &record, &[]);
}

#[test]
fn measure_with_named_devices_at_96_khz() {
    let Some(bench) = Bench::start(
        96_000,
        &["--f0", "2950", "--q", "1.4", "--polarity", "-1", "--play-ms", "250"],
    ) else {
        return;
    };
    let options = [
        "--output",
        OUTPUT,
        "--input",
        "Bench Input (virtual)",
        "--rate",
        "96k",
        "--out",
        "out",
    ];
    let record = check_coil(&bench, &measure_calmly(&bench, &options), 96_000, 2, 2950.0, 1.4);
    assert_eq!(record["resonance"]["polarity"], -1);
    let device = record["capture"]["device"].as_str().unwrap();
    assert!(
        device.contains("alsa:bench_out") && device.contains("alsa:bench_in"),
        "{device}"
    );
    check_again(&bench, &record, &[]);
}

#[test]
fn measure_one_channel() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let options = [
        "--output",
        OUTPUT,
        "--input",
        INPUT,
        "--rate",
        "48k",
        "--channels",
        "pickup=1",
        "--out",
        "out",
    ];
    let record = check_reading(&bench, &measure_calmly(&bench, &options), 48_000, 1);
    let latency = record["capture"]["latency_s"].as_f64().unwrap();
    assert!(latency > 0.0 && latency < 0.5, "{latency}");
    check_again(&bench, &record, &["--channels", "pickup=1"]);
}

/// The other way round, over an exciter whose coil has a corner that only the rig file tells, a little hum on top.
#[test]
fn measure_with_a_rig() {
    let rig = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.005\nsign = 1\n";
    let corner = 100.0 / (std::f64::consts::TAU * 0.005);
    let faults = ["--corner", &corner.to_string(), "--polarity", "-1", "--hum", "0.0002"];
    let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &faults].concat()) else {
        return;
    };
    std::fs::write(bench.dir().join("rig.toml"), rig).unwrap();
    let told = measure_calmly(&bench, &["--rig", "../rig.toml", "--out", "out"]);
    let record = check_reading(&bench, &told, 48_000, 2);
    assert_eq!(record["resonance"]["polarity"], -1);
    assert_eq!(record["resonance"]["polarity_referenced"], true);
    // |answer|/|drive| = M w/R far below both corners.
    near(
        &record["resonance"]["mutual_h"]["value"],
        LEVEL / (std::f64::consts::TAU * 1000.0) * 100.0,
        5e-3,
    );
    near(&record["capture"]["mains_hz"], 50.02, 1e-3);
    check_again(&bench, &record, &["--rig", "../rig.toml"]);
    // Without the rig file the corner bends the curve: so it is the file that made it right.
    let without = coilwright(&bench, &["analyze", "out/take.wav", "--json"]).json();
    let wrong = without["resonance"]["f0_hz"]["value"].as_f64();
    assert!(wrong.is_none_or(|f| (f / F0 - 1.0).abs() > 5e-3), "{wrong:?}");
}

#[test]
fn measure_over_a_bench_that_stops() {
    let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &["--stop-after", "0.8"]].concat()) else {
        return;
    };
    check_refused(&bench, &measure(&bench, &SHORT), "dropout");
    assert!(bench.log("pickup").contains("stopping in mid-take"));
}

#[test]
fn measure_over_a_server_that_dies() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let running = start(&bench, &[&MEASURE[..], &["--seconds", "6", "--out", "out"]].concat());
    wait_until_heard(&bench);
    std::thread::sleep(Duration::from_millis(1500));
    bench.kill_server();
    let told = running.wait();
    check_refused(&bench, &told, "dropout");
    let findings = told.json()["findings"].to_string();
    assert!(
        findings.contains("the sound system has stopped") && !findings.contains("other programs"),
        "{findings}"
    );
    let told = measure(&bench, &SHORT);
    assert!(
        told.err.contains("the sound system has stopped, or was never started"),
        "{}",
        told.err
    );
}

/// What was taken before is kept and combined.
#[test]
fn repeats_over_a_server_that_dies() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let options = ["--seconds", "1", "--repeats", "4", "--out", "out"];
    let running = start(&bench, &[&MEASURE[..], &options].concat());
    let begun = Instant::now();
    while !std::fs::read_to_string(bench.dir().join("told.err")).is_ok_and(|t| t.contains("take 3 of 4")) {
        assert!(begun.elapsed() < Duration::from_secs(60));
        std::thread::sleep(Duration::from_millis(50));
    }
    bench.kill_server();
    let told = running.wait();
    println!("{}", told.brief());
    // Two are a reading.
    assert_eq!(told.status, Some(0));
    assert!(told.err.contains("of 4 takes were made, and they are kept: "));
    let record = told.json();
    assert_eq!(record["repeats"].as_array().unwrap().len(), 2);
    near(&record["resonance"]["f0_hz"]["value"], F0, 5e-3);
    assert!(
        record["notes"]
            .to_string()
            .contains("takes were made, and they are kept")
    );
    assert!(listing(&folder(&bench).join("out")).contains(&"take-2.wav".to_string()));
}

/// Samples lost on both channels alike, down to a single one: always told. With a reference that lost the same samples the
/// number may survive, as suspect; then it has to be right.
#[test]
fn measure_with_samples_lost() {
    for (after, lost) in [("0.5", "1"), ("0.9", "64")] {
        let drop = ["--drop-after", after, "--drop", lost];
        let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &drop].concat()) else {
            return;
        };
        let told = measure(&bench, &SHORT);
        println!("{lost} samples lost after {after} s: {}", told.brief());
        check_dropout(&told);
    }
}

/// The drive file does not lose what the take has lost.
#[test]
fn measure_one_channel_with_samples_lost() {
    for (after, lost) in [("0.7", "8"), ("0.9", "700")] {
        let drop = ["--drop-after", after, "--drop", lost];
        let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &drop].concat()) else {
            return;
        };
        let told = measure(&bench, &[&SHORT[..], &["--channels", "pickup=1"]].concat());
        println!("{lost} samples lost after {after} s: {}", told.brief());
        check_dropout(&told);
    }
}

fn check_dropout(told: &Told) {
    assert!(told.findings().iter().any(|f| f == "dropout"), "{:?}", told.findings());
    let record = told.json();
    assert!(record["capture"]["dropouts"].as_u64().unwrap() > 0);
    if record["resonance"].is_null() {
        assert_eq!((told.status, &record["verdict"]), (Some(1), &Value::from("rejected")));
    } else {
        assert_eq!((told.status, &record["verdict"]), (Some(0), &Value::from("suspect")));
        near(&record["resonance"]["f0_hz"]["value"], F0, 5e-3);
        near(&record["resonance"]["q"]["value"], Q, 2e-2);
    }
}

/// Hum above the answer at 50 Hz but far below it in all: worth a note, and no reason to doubt the coil or to look for knocks.
#[test]
fn measure_in_hum() {
    let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &["--hum", "0.0005"]].concat()) else {
        return;
    };
    let record = check_reading(&bench, &measure_calmly(&bench, &["--out", "out"]), 48_000, 2);
    let hum = record["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["code"] == "hum");
    assert_eq!(hum.expect("hum is noted")["level"], "note");
    near(&record["capture"]["mains_hz"], 50.02, 1e-3);
}

#[test]
fn measure_where_the_pickup_is_silent() {
    let Some(bench) = Bench::start(48_000, &["--silence", "--play-ms", "250"]) else {
        return;
    };
    check_refused(&bench, &measure(&bench, &SHORT), "no-signal");
}

#[test]
fn measure_with_channels_swapped() {
    let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &["--swap"]].concat()) else {
        return;
    };
    check_refused(&bench, &measure(&bench, &SHORT), "channels-swapped");
    // The same plugs, told as they are.
    let told = measure(
        &bench,
        &[
            "--channels",
            "pickup=2,reference=1",
            "--seconds",
            "1.5",
            "--out",
            "told",
        ],
    );
    assert_eq!(told.status, Some(0), "{}", told.err);
    near(&told.json()["resonance"]["f0_hz"]["value"], F0, 5e-3);
}

fn wait_until_heard(bench: &Bench) {
    let begun = Instant::now();
    while !heard(bench) {
        assert!(
            begun.elapsed() < Duration::from_secs(10),
            "no drive after {:?}",
            begun.elapsed()
        );
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Ctrl-C, in a folder named with --out and in a numbered one: silent within a second, no trace.
#[test]
fn measure_stopped_by_ctrl_c() {
    for place in [&["--out", "out"][..], &[]] {
        let Some(bench) = Bench::start(48_000, &PICKUP) else {
            return;
        };
        let running = start(&bench, &[&MEASURE[..], &["--seconds", "6"], place].concat());
        wait_until_heard(&bench);
        std::thread::sleep(Duration::from_millis(700));
        let pressed = Instant::now();
        running.signal(Signal::INT);
        let told = running.wait();
        let took = told.end - pressed;
        println!("ended after {took:?}: {}", told.err);
        assert!(took < Duration::from_secs(1), "{took:?}");
        assert_eq!((told.status, told.out.as_str()), (Some(2), ""));
        let lines: Vec<&str> = told.err.lines().collect();
        let (last, before) = lines.split_last().unwrap();
        assert!(last.starts_with("coilwright: stopped by hand"), "{last}");
        assert!(
            before.len() <= 3 && before[0].starts_with("Headphones off your ears"),
            "{before:?}"
        );
        assert_eq!(
            listing(&folder(&bench)),
            Vec::<String>::new(),
            "left behind for {place:?}"
        );
    }
}

/// Whatever stands in the way of the record is said before anything sounds.
#[test]
fn measure_without_a_place_for_the_record() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let work = folder(&bench);
    std::fs::write(work.join("file"), "").unwrap();
    std::fs::create_dir(work.join("taken")).unwrap();
    std::fs::write(work.join("taken/record.json"), "{}").unwrap();
    std::fs::create_dir(work.join("locked")).unwrap();
    let mut mode = std::fs::metadata(work.join("locked")).unwrap().permissions();
    std::os::unix::fs::PermissionsExt::set_mode(&mut mode, 0o555);
    std::fs::set_permissions(work.join("locked"), mode).unwrap();
    // Nothing can be made in /proc/self, not by root either; root may write in a folder that is locked to all others.
    let mut places = vec!["file", "file/below", "../no/such/parent", "taken", "/proc/self"];
    if std::fs::write(work.join("locked/trial"), "").is_err() {
        places.push("locked");
    }
    let before = listing(&work);
    for place in places {
        let told = measure(&bench, &["--out", place]);
        assert_eq!((told.status, told.out.as_str()), (Some(2), ""), "{place}: {}", told.err);
        println!("{}", told.err);
        assert!(
            told.err.lines().count() == 1 && told.err.contains(place),
            "{}",
            told.err
        );
    }
    assert_eq!(listing(&work), before);
    assert_eq!(std::fs::read_to_string(work.join("taken/record.json")).unwrap(), "{}");
    assert!(!heard(&bench), "nothing has sounded");
    // The bench does hear, when there is a place.
    assert_eq!(measure(&bench, &SHORT).status, Some(0));
    assert!(heard(&bench));
}

pub const RIG: &str = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.0\nsign = 1\n[witness]\nname = \"tin one\"\n";

/// As [`coilwright`], again where samples were lost on a busy machine.
fn calmly(bench: &Bench, args: &[&str]) -> Told {
    let mut told = coilwright(bench, args);
    for _ in 0..2 {
        if told.status == Some(0) {
            break;
        }
        println!("not calm: {:?} {} {}", told.status, told.out, told.err);
        told = coilwright(bench, args);
    }
    assert_eq!(told.status, Some(0), "{} {}", told.out, told.err);
    told
}

/// Both inputs carry one signal; what is measured binds the rig to this interface and this rate.
#[test]
fn rig_inputs_over_a_wire() {
    let Some(bench) = Bench::start(48_000, &["--wire"]) else {
        return;
    };
    let work = folder(&bench);
    std::fs::write(work.join("rig.toml"), RIG).unwrap();
    let told = calmly(&bench, &["rig", "inputs", "--rig", "rig.toml", "--json"]);
    assert!(told.err.contains("Headphones off"), "{}", told.err);
    let doc = told.json();
    // One stream on both channels: no difference but what 16 bits leave.
    let value = |key: &str| doc[key]["value"].as_f64().unwrap();
    assert!(value("gain_db").abs() < 1e-3, "{doc}");
    assert!(value("delay_s").abs() < 1e-8, "{doc}");
    let made = std::fs::read_to_string(work.join("rig.toml")).unwrap();
    assert!(
        made.contains("inputs_measured") && made.contains("rate_hz = 48000"),
        "{made}"
    );
    // The other rate is refused before a sound.
    let other = coilwright(
        &bench,
        &["measure", "--pickup", "x", "--rig", "rig.toml", "--rate", "44100"],
    );
    assert_eq!(other.status, Some(2), "{} {}", other.out, other.err);
    assert!(
        other.err.contains("rate 48000") && other.err.contains("44100"),
        "{}",
        other.err
    );
}

/// What the system has as default today is nothing to bind a rig to; a device with a name of its own is.
#[test]
fn rig_new_binds_to_named_devices_or_to_none() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let new = [
        "--reference",
        "voltage",
        "--series",
        "100",
        "--inductance",
        "217u",
        "--rate",
        "48k",
    ];
    for (file, named, bound, said) in [
        (
            "a.toml",
            &[][..],
            false,
            "Bound to no interface: alsa:default is whatever",
        ),
        (
            "b.toml",
            &["--output", OUTPUT],
            false,
            "Bound to no interface: alsa:default is whatever",
        ),
        (
            "c.toml",
            &["--output", OUTPUT, "--input", INPUT],
            true,
            "Bound to the output alsa:bench_out",
        ),
    ] {
        let told = coilwright(&bench, &[&["rig", "new", file][..], &new, named].concat());
        assert!(told.status == Some(0) && told.err.contains(said), "{}", told.err);
        let made = std::fs::read_to_string(folder(&bench).join(file)).unwrap();
        assert_eq!(made.contains("\n[interface]"), bound, "{made}");
        assert!(!made.contains("alsa:default"), "{made}");
    }
}

/// The level is found from silence up, and a check of the witness plays at it.
#[test]
fn rig_level_and_rig_check() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let work = folder(&bench);
    std::fs::write(work.join("rig.toml"), RIG).unwrap();
    let told = calmly(
        &bench,
        &["rig", "level", "--rig", "rig.toml", "--limit", "-15dBFS", "--json"],
    );
    assert!(told.err.contains("phantom power off"), "{}", told.err);
    let doc = told.json();
    let steps = doc["steps"].as_array().unwrap();
    assert_eq!(steps[0]["level_dbfs"], -60.0);
    let level = doc["level_dbfs"].as_f64().unwrap();
    assert!((-40.0..=-15.0).contains(&level), "{doc}");
    let told = calmly(
        &bench,
        &["rig", "check", "--rig", "rig.toml", "--seconds", "1.5", "--json"],
    );
    let check = told.json();
    assert_eq!(check["verdict"], "baseline");
    near(&check["f0_hz"]["value"], F0, 5e-3);
    assert!(work.join("rig.checks.json").exists());
    // One folder of the witness, with the level that was found.
    let record = std::fs::read(work.join("tin one/0001/record.json")).unwrap();
    let record: Value = serde_json::from_slice(&record).unwrap();
    near(&record["drive"]["level_dbfs"], level, 1e-9);
}

/// Ctrl-C while taps are awaited: what was measured before them is kept, and the loss is said.
#[test]
fn taps_stopped_by_ctrl_c() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let running = start(
        &bench,
        &[&MEASURE[..], &["--seconds", "1", "--knock", "9", "--out", "out"]].concat(),
    );
    let begun = Instant::now();
    while !running.said().contains("Tap now") {
        assert!(begun.elapsed() < Duration::from_secs(30));
        std::thread::sleep(Duration::from_millis(50));
    }
    std::thread::sleep(Duration::from_millis(700));
    running.signal(Signal::INT);
    let told = running.wait();
    println!("{}", told.err);
    assert_eq!(told.status, Some(1));
    assert!(
        told.err
            .contains("the taps were lost: stopped by hand; the measurement before them is kept")
    );
    let record = told.json();
    near(&record["resonance"]["f0_hz"]["value"], F0, 5e-3);
    assert_eq!(listing(&folder(&bench).join("out")), FILES);
    assert!(record.get("knock").is_none() && record["notes"].to_string().contains("the taps were lost"));
}

/// After the take somebody taps; the exciter is silent meanwhile.
#[test]
fn taps_after_the_take() {
    let options = [&PICKUP[..], &["--taps", "12"]].concat();
    let Some(bench) = Bench::start(48_000, &options) else {
        return;
    };
    let told = measure_calmly(&bench, &[&SHORT[..], &["--rate", "48k", "--knock", "4"]].concat());
    println!("{}", told.brief());
    assert_eq!(told.status, Some(0));
    for words in [
        "Tap now, 4 times",
        "never on the windings",
        "exciter is silent",
        "headphones off",
    ] {
        // Remarks are broken at 80 columns.
        let said = told.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{words}: {}", told.err);
    }
    let record = told.json();
    let knock = &record["knock"];
    // The first ones may fall before the recording.
    assert!((3..=9).contains(&knock["used"].as_u64().unwrap()), "{knock}");
    near(&knock["peaks"][0]["hz"]["value"], 700.0, 0.01);
    near(&knock["peaks"][0]["decay_s"]["value"], 0.012, 0.03);
    let args = [
        "analyze",
        "out/take.wav",
        "--drive",
        "out/drive.wav",
        "--knock-take",
        "out/knock.wav",
        "--json",
    ];
    let again = coilwright(&bench, &args);
    assert_eq!(again.status, Some(0), "{}", again.err);
    assert_eq!(&again.json()["knock"], knock);
}
