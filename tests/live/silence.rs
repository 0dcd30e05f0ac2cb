//! What is played, recorded: on Ctrl-C, termination and a closed terminal the output falls silent within one buffer, along a ramp,
//! at whatever take of whatever command.

use std::io::Write as _;
use std::time::{Duration, SystemTime};

use rustix::process::Signal;

use super::bench::Bench;
use super::tape::{BLOCK, RATE, bench, mark, tape, until, until_sounding};
use super::whole::{RIG, Started, Told, folder, start};

/// Two blocks of 50 ms: what was handed over before the signal came may still sound, and no more.
const BUFFER_S: f64 = 0.1;
const RAMP_S: f64 = 0.005;
/// From the program's last sample to the recording: the server's own delay, and a block of pickup.py with its clock.
const BENCH_S: f64 = 0.12;
fn peak(samples: &[f64]) -> f64 {
    samples.iter().fold(0.0, |a, x| a.max(x.abs()))
}

fn now() -> f64 {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    since.unwrap().as_secs_f64()
}

/// Sends the signal once a drive of this level has sounded for half a second, and looks at what was played from then on.
pub fn silenced(bench: &Bench, from: usize, running: &Started, level: f64, signal: Signal) {
    until_sounding(bench, from, level);
    let pressed = now();
    running.signal(signal);
    // By far long enough for all that a drive cut short could still play.
    std::thread::sleep(Duration::from_millis(700));
    let (samples, clock) = tape(bench, from);
    let last = samples.iter().rposition(|x| *x != 0.0).unwrap();
    let at = clock[last / BLOCK] - (BLOCK - 1 - last % BLOCK) as f64 / RATE;
    println!("{signal:?}: silent {:.0} ms after the signal", 1e3 * (at - pressed));
    assert!(at - pressed > -0.1, "it sounded until the signal came");
    assert!(
        at - pressed < BUFFER_S + RAMP_S + BENCH_S,
        "{signal:?}: it sounded for {:.3} s",
        at - pressed
    );
    ramped(&samples[..=last]);
}

/// The end of what was played goes down over 5 ms: it does not break off, and no step of it is larger than those before.
fn ramped(played: &[f64]) {
    let part = |from_s: f64, to_s: f64| {
        &played[played.len() - (from_s * RATE) as usize..played.len() - (to_s * RATE) as usize]
    };
    let step = |x: &[f64]| x.windows(2).fold(0.0, |a: f64, w| a.max((w[1] - w[0]).abs()));
    let before = part(0.030, RAMP_S);
    let loud = peak(before);
    // Half a cosine of 5 ms is at 0.095 one millisecond before its end, and at 0.006 after 4.75 ms.
    let (late, end) = (peak(part(0.001, 0.0)) / loud, peak(part(0.00025, 0.0)) / loud);
    assert!(
        late < 0.12 && end < 0.01,
        "it breaks off: {late:.3} of it 1 ms, {end:.4} 0.25 ms before the end"
    );
    // Down by half in the middle, so that it is no shorter ramp either.
    let middle = peak(part(0.0035, 0.0015)) / loud;
    assert!(middle > 0.1, "it broke off before its ramp: {middle:.3}");
    let slope = loud * std::f64::consts::PI / (2.0 * RAMP_S * RATE);
    assert!(step(part(RAMP_S, 0.0)) < 1.1 * step(before) + slope, "a step");
}

/// Peak of a drive at the default level.
pub const LEVEL: f64 = 0.25;

fn one_line(told: &Told) {
    let lines: Vec<&str> = told.err.lines().filter(|l| l.starts_with("coilwright: ")).collect();
    assert!(
        lines.len() == 1 && lines[0].starts_with("coilwright: stopped by hand; this take is not kept"),
        "{}",
        told.err
    );
    assert_eq!(told.status, Some(2), "{}", told.err);
}

/// Ten takes of a tray, each silenced by a Ctrl-C, after each of which the next Enter sounds again; the tenth is ended for good.
#[test]
fn every_take_of_a_tray() {
    let Some(bench) = bench() else { return };
    let lot = ["tray", "--lot", "lot", "--source", "live", "--seconds", "2"];
    let mut running = start(&bench, &lot);
    for n in 1..=10 {
        until("prompt", || running.said().matches("lay it down").count() == n);
        let from = mark(&bench);
        running.child.stdin.as_mut().unwrap().write_all(b"\n").unwrap();
        silenced(
            &bench,
            from,
            &running,
            LEVEL,
            if n < 10 { Signal::INT } else { Signal::TERM },
        );
    }
    let told = running.wait();
    assert_eq!(told.err.matches("stopped by hand").count(), 10, "{}", told.err);
    assert_eq!(
        (told.status, told.out.lines().next()),
        (Some(0), Some("Lot lot: nothing measured yet"))
    );
}

#[test]
fn repeats_and_a_drive_before_taps() {
    let Some(bench) = bench() else { return };
    let measure = ["measure", "--pickup", "x", "--source", "live", "--seconds", "2"];
    let from = mark(&bench);
    let running = start(&bench, &[&measure[..], &["--knock", "4"]].concat());
    silenced(&bench, from, &running, LEVEL, Signal::INT);
    one_line(&running.wait());
    let running = start(&bench, &[&measure[..], &["--repeats", "3"]].concat());
    until("second take", || running.said().contains("take 2 of 3"));
    let from = mark(&bench);
    silenced(&bench, from, &running, LEVEL, Signal::HUP);
    running.wait();
}

#[test]
fn the_level_and_the_check_of_a_rig() {
    let Some(bench) = bench() else { return };
    std::fs::write(folder(&bench).join("rig.toml"), RIG).unwrap();
    let from = mark(&bench);
    let running = start(&bench, &["rig", "level", "--rig", "rig.toml", "--source", "live"]);
    // At the third level, -36 dBFS.
    silenced(&bench, from, &running, 10f64.powf(-36.0 / 20.0), Signal::TERM);
    one_line(&running.wait());
    assert_eq!(std::fs::read_to_string(folder(&bench).join("rig.toml")).unwrap(), RIG);
    let from = mark(&bench);
    let running = start(&bench, &["rig", "check", "--rig", "rig.toml", "--seconds", "2"]);
    silenced(&bench, from, &running, LEVEL, Signal::HUP);
    one_line(&running.wait());
}
