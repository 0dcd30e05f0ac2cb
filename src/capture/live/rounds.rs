//! A round played over and over, and what answers it: both streams run on until this is dropped.
//!
//! A signal that repeats itself needs no beginning: wherever a round is cut, the answer to all of it is in it.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};

use super::super::Rounds;
use super::ledger::{Fault, Tally};
use super::rolling::{self, Pulses, Tape};
use super::selection::Selection;
use super::session::{NEVER, Played, Session, Shared};
use super::voice::Then;
use super::waiting::POLL;
use crate::failure::{Failure, Result};

/// From the first sample to the first round that counts: latency, and whatever rings at the beginning.
const RING_IN_S: f64 = 0.4;
/// For the output to begin.
const BEGIN_LIMIT: Duration = Duration::from_secs(2);

pub(super) struct Running {
    shared: Arc<Shared>,
    tape: Tape,
    /// Closed last of all, and silent by then.
    _session: Session,
    frames: usize,
    pulses: Pulses,
    before: [Tally; 2],
    lost: u64,
}

impl Running {
    pub fn start(selection: &Selection, rate_hz: u32, round: &[f32], shared: Arc<Shared>) -> Result<Self> {
        shared.stopped()?;
        let played = Played {
            drive: round.into(),
            then: Then::Again,
        };
        let (session, opened) = Session::start(selection, rate_hz, played, &shared)?;
        let mut tape = Tape::new(opened.ring, 8 * round.len());
        rolling::settle(&shared, &opened.labels, &mut tape, rate_hz)?;
        let before = shared.tallies();
        shared.playing.store(true, Ordering::Release);
        let start = Instant::now();
        let begun = || shared.began_at.load(Ordering::Acquire) != NEVER;
        while !begun() && start.elapsed() < BEGIN_LIMIT {
            thread::sleep(POLL);
            shared.stopped()?;
            tape.skip();
        }
        let mut left = (RING_IN_S * f64::from(rate_hz)) as usize;
        while left > 0 && start.elapsed() < 2 * BEGIN_LIMIT {
            thread::sleep(POLL);
            shared.stopped()?;
            left = left.saturating_sub(tape.skip());
        }
        Ok(Running {
            pulses: Pulses::new(&shared),
            lost: shared.lost.load(Ordering::Acquire),
            shared,
            tape,
            _session: session,
            frames: round.len(),
            before,
        })
    }

    /// Why nothing more will come.
    fn ended(&mut self) -> Option<Failure> {
        let now = self.shared.tallies();
        let tallies: [Tally; 2] = std::array::from_fn(|i| now[i].since(&self.before[i]));
        let all = tallies[0].plus(&tallies[1]);
        let still = self.pulses.still(&self.shared, all.total());
        if let Some((what, cause)) = rolling::standstill(still, &all) {
            return Some(Failure::new(what, cause.remedy()));
        }
        let sides = self.shared.sides().into_iter().zip(&tallies);
        let gone = sides.filter(|(_, t)| t.of(Fault::Gone) > 0);
        let said = gone.flat_map(|(side, t)| side.ledger.sentences(side.direction.words(), t));
        let said: Vec<String> = said.collect();
        (!said.is_empty()).then(|| Failure::new(said.join(", "), "look at the interface and its cable"))
    }
}

impl Rounds for Running {
    /// Frames that found no room are no rounds: what lies about the gap is let go.
    fn next(&mut self) -> Result<Vec<[Vec<f32>; 2]>> {
        loop {
            thread::sleep(POLL);
            self.shared.stopped()?;
            self.tape.drain();
            let rounds = self.tape.rounds(self.frames);
            let lost = self.shared.lost.load(Ordering::Acquire);
            if lost > self.lost {
                self.lost = lost;
                self.tape.forget();
                continue;
            }
            if !rounds.is_empty() {
                return Ok(rounds);
            }
            if let Some(failure) = self.ended() {
                return Err(failure);
            }
        }
    }
}
