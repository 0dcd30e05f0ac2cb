//! Ctrl-C while a take is read, when nothing sounds any more.

use std::io::Write as _;
use std::process::Stdio;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

use crate::bench::{Folder, SHORT};

/// The take is kept with its reading, and the tray ends with its summary at the next prompt.
#[test]
fn the_take_at_hand_is_kept_and_the_tray_ends() {
    let f = Folder::new();
    let errors = f.path("errors");
    let mut command = f.command(&[&["tray", "--lot", "lot"][..], &SHORT].concat());
    command.stdin(Stdio::piped()).stdout(Stdio::piped());
    command.stderr(std::fs::File::create(&errors).unwrap());
    let mut child = command.spawn().unwrap();
    let mut keys = child.stdin.take().unwrap();
    let begun = Instant::now();
    while !std::fs::read_to_string(&errors).unwrap().contains("lay it down") {
        assert!(begun.elapsed() < Duration::from_secs(30), "no prompt");
        std::thread::sleep(Duration::from_millis(5));
    }
    keys.write_all(b"\n").unwrap();
    // The take lies there before it is read.
    while !f.path("lot/lot-01/take.wav").exists() {
        assert!(begun.elapsed() < Duration::from_secs(30), "no take");
        std::thread::sleep(Duration::from_millis(2));
    }
    kill_process(Pid::from_child(&child), Signal::INT).unwrap();
    drop(keys);
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&out.stdout).contains("Lot lot"), "no summary");
    let tray: Value = serde_json::from_slice(&f.bytes("lot/tray.json")).unwrap();
    assert_eq!(tray["entries"].as_array().unwrap().len(), 1);
    f.record("lot/lot-01");
}
