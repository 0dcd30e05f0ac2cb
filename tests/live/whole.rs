//! The whole program over the bench: what a person types, what comes back.

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::bench::{Bench, INPUT, OUTPUT};

const PROGRAM: &str = env!("CARGO_BIN_EXE_coilwright");

fn measure(bench: &Bench, rate: u32, folder: &Path, more: &[&str]) -> Command {
    let mut c = bench.command(PROGRAM);
    let rate = rate.to_string();
    c.current_dir(bench.dir());
    c.args([
        "measure", "--pickup", "trial", "--source", "live", "--json", "--rate", &rate, "--out",
    ]);
    c.arg(folder).args(more);
    c
}

fn json(o: &Output) -> Value {
    serde_json::from_slice(&o.stdout).unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&o.stderr)))
}

fn codes(record: &Value) -> Vec<&str> {
    let list = record["findings"].as_array().map_or(&[][..], |l| l.as_slice());
    list.iter().filter_map(|f| f["code"].as_str()).collect()
}

fn reads(rate: u32, options: &[&str], devices: &[&str], f0: f64, q: f64, polarity: i64) {
    let mut all = vec!["--play-ms", "250"];
    all.extend_from_slice(options);
    let Some(bench) = Bench::start(rate, &all) else { return };
    let folder = bench.dir().join("out");
    let o = measure(&bench, rate, &folder, devices).output().unwrap();
    let r = json(&o);
    assert_eq!(o.status.code(), Some(0), "{r:#}");
    assert_eq!(r["verdict"], "ok", "{:#}", r["findings"]);
    assert_eq!(r["capture"]["dropouts"], 0);
    let of = |name: &str| r["resonance"][name]["value"].as_f64().unwrap();
    assert!((of("f0_hz") / f0 - 1.0).abs() < 0.005, "f0 {}", of("f0_hz"));
    assert!((of("q") / q - 1.0).abs() < 0.02, "Q {}", of("q"));
    assert_eq!(r["resonance"]["polarity"], polarity);
    // The clock of a bench in one computer is one clock.
    assert!(
        r["capture"]["clock_ppm"].as_f64().unwrap().abs() < 1.0,
        "{}",
        r["capture"]["clock_ppm"]
    );
    for file in [
        "record.json",
        "response.svg",
        "response.png",
        "take.wav",
        "drive.wav",
        "drive.json",
    ] {
        assert!(folder.join(file).is_file(), "{file}");
    }
    // The stored take gives the same numbers, to the last digit.
    let again = bench
        .command(PROGRAM)
        .args(["analyze", "--json", "--drive"])
        .args([folder.join("drive.wav"), folder.join("take.wav")])
        .output()
        .unwrap();
    let again = json(&again);
    assert_eq!(again["resonance"], r["resonance"]);
    assert_eq!(again["curve"], r["curve"]);
    assert_eq!(again["pickup"]["name"], "trial");
}

#[test]
fn default_devices_read_the_pickup_at_48_khz() {
    reads(48_000, &["--f0", "4200", "--q", "2.5"], &[], 4200.0, 2.5, 1);
}

#[test]
fn named_devices_read_the_pickup_at_96_khz() {
    let named = ["--output", OUTPUT, "--input", INPUT];
    reads(
        96_000,
        &["--f0", "2950", "--q", "1.4", "--polarity=-1"],
        &named,
        2950.0,
        1.4,
        -1,
    );
}

/// A take that cannot be trusted gives no number: status 1, the finding, and the record kept with its take.
fn refused(options: &[&str], wanted: &[&str]) {
    let mut all = vec!["--play-ms", "250"];
    all.extend_from_slice(options);
    let Some(bench) = Bench::start(48_000, &all) else {
        return;
    };
    let folder = bench.dir().join("out");
    let begun = Instant::now();
    let o = measure(&bench, 48_000, &folder, &[]).output().unwrap();
    assert!(begun.elapsed() < Duration::from_secs(25), "{:?}", begun.elapsed());
    let r = json(&o);
    assert_eq!(o.status.code(), Some(1), "{r:#}");
    assert_eq!(r["verdict"], "rejected");
    assert!(r["resonance"].is_null());
    assert!(codes(&r).iter().any(|c| wanted.contains(c)), "{:?}", codes(&r));
    assert!(folder.join("record.json").is_file() && folder.join("take.wav").is_file());
}

#[test]
fn silence_is_refused() {
    refused(&["--silence"], &["no-signal"]);
}

#[test]
fn swapped_plugs_are_refused() {
    refused(&["--swap"], &["channels-swapped"]);
}

#[test]
fn a_bench_that_stops_in_mid_take_is_refused() {
    refused(&["--stop-after", "1.2"], &["dropout", "no-signal", "reference-missing"]);
}

/// Lost samples are noticed; the reading may stand as suspect, but then it is near the truth.
#[test]
fn lost_samples_are_noticed() {
    let Some(bench) = Bench::start(48_000, &["--play-ms", "250", "--drop-after", "1.0", "--drop", "400"]) else {
        return;
    };
    let o = measure(&bench, 48_000, &bench.dir().join("out"), &[]).output().unwrap();
    let r = json(&o);
    assert!(codes(&r).contains(&"dropout"), "{:#}", r["findings"]);
    assert_ne!(r["verdict"], "ok");
    if let Some(f0) = r["resonance"]["f0_hz"]["value"].as_f64() {
        assert!((f0 / 4200.0 - 1.0).abs() < 0.02, "{f0}");
    }
}

#[test]
fn a_folder_that_cannot_be_written_is_found_out_before_the_sound() {
    let Some(bench) = Bench::start(48_000, &["--play-ms", "250"]) else {
        return;
    };
    let folder = bench.dir().join("missing").join("out");
    let begun = Instant::now();
    let o = measure(&bench, 48_000, &folder, &[]).output().unwrap();
    assert_eq!(o.status.code(), Some(2));
    assert!(o.stdout.is_empty());
    let said = String::from_utf8_lossy(&o.stderr).into_owned();
    assert!(said.contains("missing") && said.lines().count() == 1, "{said}");
    assert!(begun.elapsed() < Duration::from_secs(3), "it must not play first");
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_the_sound_and_leaves_nothing() {
    let Some(bench) = Bench::start(48_000, &["--play-ms", "250"]) else {
        return;
    };
    let folder = bench.dir().join("out");
    let child = measure(&bench, 48_000, &folder, &["--seconds", "20"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    std::thread::sleep(Duration::from_millis(2500));
    let pid = child.id().to_string();
    assert!(Command::new("kill").args(["-INT", &pid]).status().unwrap().success());
    let begun = Instant::now();
    let o = child.wait_with_output().unwrap();
    assert!(begun.elapsed() < Duration::from_millis(1500), "{:?}", begun.elapsed());
    assert_eq!(o.status.code(), Some(2));
    assert!(o.stdout.is_empty());
    assert!(String::from_utf8_lossy(&o.stderr).contains("stopped by hand"));
    let left = std::fs::read_dir(&folder).map_or(0, |d| d.count());
    assert_eq!(left, 0, "something was left behind");
}
