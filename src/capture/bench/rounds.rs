//! The built-in bench played over and over: a round lasts as long as it would on a sound card.

use std::thread;
use std::time::{Duration, Instant};

use super::super::Rounds;
use super::{Bench, blemish};
use crate::failure::Result;
use crate::fft;
use crate::network::Load;

impl Bench {
    /// The answer to one round of a signal that has gone on for long. Its faults have a time in a take, and this has none.
    fn round(&mut self, round: &[f32], rate: f64) -> [Vec<f32>; 2] {
        let n = round.len();
        let played = fft::forward(round.iter().map(|v| f64::from(*v)), n, n / 2 + 1);
        let [mut pickup, mut reference] = self.respond(&played, n, rate);
        if self.spec.faults.reference_unplugged {
            reference.fill(0.0);
        }
        let answer_rms = blemish::rms(&pickup);
        self.add_hum(&mut pickup, rate, answer_rms);
        let both = self.convert([pickup, reference], rate, n);
        self.takes += 1;
        both
    }
}

/// A round that is played until this is dropped.
pub(super) struct Running {
    bench: Bench,
    rate: f64,
    round: Vec<f32>,
    due: Instant,
}

impl Running {
    pub fn new(mut bench: Bench, rate_hz: u32, round: &[f32]) -> Self {
        bench.spec.faults.drop_s.clear();
        Running {
            bench,
            rate: f64::from(rate_hz),
            round: round.to_vec(),
            due: Instant::now(),
        }
    }
}

impl Rounds for Running {
    fn next(&mut self) -> Result<Vec<[Vec<f32>; 2]>> {
        self.due += Duration::from_secs_f64(self.round.len() as f64 / self.rate);
        let now = Instant::now();
        match self.due.checked_duration_since(now) {
            Some(left) => thread::sleep(left),
            // Whoever reads is slower than the bench: what it missed is never made.
            None => self.due = now,
        }
        Ok(vec![self.bench.round(&self.round, self.rate)])
    }

    fn hang(&mut self, load: &Load) {
        self.bench.circuit.load = load.clone();
    }
}
