//! A computer that is too busy to play: the program stands still for a moment, as where others take its turn.

use std::time::Duration;

use rustix::process::Signal;

use super::bench::Bench;
use super::silence::LEVEL;
use super::tape::{bench, mark, until, until_sounding};
use super::whole::{RIG, Started, Told, folder, start};

const AGAIN: &str = "lost some of the sound: once more";

/// Longer than what the buffers hold.
fn stumble(running: &Started) {
    running.signal(Signal::STOP);
    std::thread::sleep(Duration::from_millis(500));
    running.signal(Signal::CONT);
}

/// Runs it, and has it stumble so many times, each at a drive of this peak.
fn stumbling(bench: &Bench, args: &[&str], peak: f64, times: usize) -> Told {
    let from = mark(bench);
    let running = start(bench, args);
    until_sounding(bench, from, peak);
    stumble(&running);
    if times > 1 {
        until("second try", || running.said().contains(AGAIN));
        until_sounding(bench, mark(bench), peak);
        stumble(&running);
    }
    let told = running.wait();
    println!("{:?} {}\n{}", told.status, told.out, told.err);
    assert_eq!(told.err.matches(AGAIN).count(), 1);
    told
}

#[test]
fn lost_buffers_are_tried_again_once() {
    let Some(bench) = bench() else { return };
    let measure = ["measure", "--pickup", "x", "--source", "live", "--seconds", "1.5"];
    let told = stumbling(&bench, &measure, LEVEL, 1);
    assert!(
        told.status == Some(0) && told.out.contains("Reading     ok"),
        "{}",
        told.out
    );
    let told = stumbling(&bench, &measure, LEVEL, 2);
    assert_eq!(told.status, Some(1));
    assert!(told.out.contains("lost samples"), "{}", told.out);
}

#[test]
fn a_level_is_not_read_from_a_take_that_lost_any() {
    let Some(bench) = bench() else { return };
    let rig = folder(&bench).join("rig.toml");
    std::fs::write(&rig, RIG).unwrap();
    let level = ["rig", "level", "--rig", "rig.toml", "--limit", "-54dBFS"];
    let told = stumbling(&bench, &level, 1e-3, 2);
    assert_eq!(told.status, Some(2));
    assert!(told.err.contains("no level is read from such a take"), "{}", told.err);
    assert!(!told.err.contains("-60.0 dBFS:") && told.out.is_empty(), "{}", told.err);
    assert_eq!(std::fs::read_to_string(&rig).unwrap(), RIG);
}
