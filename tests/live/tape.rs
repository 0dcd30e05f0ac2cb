//! What is played on the bench, as pickup.py records it.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::time::{Duration, Instant};

use super::PICKUP;
use super::bench::Bench;

pub const RATE: f64 = 48_000.0;
const NAME: &str = "played";
/// pickup.py writes a clock and so many samples at a time.
pub const BLOCK: usize = 1024;
const BYTES: usize = 8 + 4 * BLOCK;

pub fn bench() -> Option<Bench> {
    Bench::start(RATE as u32, &[&PICKUP[..], &["--record", NAME]].concat())
}

/// What was played from a block on: samples, and for each block the clock when its last one had come.
pub fn tape(bench: &Bench, from: usize) -> (Vec<f64>, Vec<f64>) {
    let mut bytes = Vec::new();
    let mut file = File::open(bench.dir().join(NAME)).unwrap();
    file.seek(SeekFrom::Start((from * BYTES) as u64)).unwrap();
    file.read_to_end(&mut bytes).unwrap();
    let (mut samples, mut clock) = (Vec::new(), Vec::new());
    for block in bytes.chunks_exact(BYTES) {
        let (at, rest) = block.split_at(8);
        clock.push(f64::from_le_bytes(at.try_into().unwrap()));
        samples.extend(
            rest.chunks_exact(4)
                .map(|b| f64::from(f32::from_le_bytes(b.try_into().unwrap()))),
        );
    }
    (samples, clock)
}

/// A block that is silent: what is played from here on belongs to the next take.
pub fn mark(bench: &Bench) -> usize {
    std::fs::metadata(bench.dir().join(NAME)).map_or(0, |m| m.len() as usize / BYTES)
}

/// Waits until a drive of this peak has sounded for half a second.
pub fn until_sounding(bench: &Bench, from: usize, peak: f64) {
    until("drive", || {
        let played = tape(bench, from).0;
        let begun = played.iter().position(|x| x.abs() > 0.3 * peak);
        begun.is_some_and(|b| played.len() - b > RATE as usize / 2)
    });
}

pub fn until(what: &str, is: impl Fn() -> bool) {
    let begun = Instant::now();
    while !is() {
        assert!(begun.elapsed() < Duration::from_secs(30), "no {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}
