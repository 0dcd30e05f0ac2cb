//! A pickup watched over the sound server: what is seen is the pickup, and the take kept after it agrees.

use std::io::Write as _;

use rustix::process::Signal;
use serde_json::Value;

use super::silence::{LEVEL, silenced};
use super::tape::{bench, mark};
use super::whole::{folder, start};
use super::{F0, Q};

#[test]
fn what_is_seen_is_the_pickup_and_the_take_agrees() {
    let Some(bench) = bench() else { return };
    let mut running = start(&bench, &["watch", "neck-7", "--json"]);
    running.child.stdin.as_mut().unwrap().write_all(b" kq").unwrap();
    let told = running.wait();
    assert_eq!(told.status, Some(0), "{}", told.err);
    let watched: Value = serde_json::from_str(&told.out).unwrap_or_else(|e| panic!("{e}: {} {}", told.out, told.err));
    let seen = |quantity: &str| watched["held"][0]["figures"][quantity]["value"].as_f64().unwrap();
    assert!((seen("f0_hz") / F0 - 1.0).abs() < 0.003, "{watched}");
    assert!((seen("q") / Q - 1.0).abs() < 0.02, "{watched}");
    let kept = &watched["kept"][0];
    assert_eq!(kept["agrees"], true, "{kept}");
    assert!(
        folder(&bench)
            .join(kept["folder"].as_str().unwrap())
            .join("record.json")
            .exists()
    );
    // The caution comes before the first sound.
    assert!(told.err.starts_with("Headphones off"), "{}", told.err);
}

#[test]
fn it_is_silent_within_a_buffer_and_ends_well() {
    let Some(bench) = bench() else { return };
    for signal in [Signal::INT, Signal::TERM] {
        let from = mark(&bench);
        let running = start(&bench, &["watch", "neck-7"]);
        silenced(&bench, from, &running, LEVEL, signal);
        let told = running.wait();
        assert_eq!(told.status, Some(0), "{}", told.err);
    }
}
