//! A pickup watched while it is handled: rounds of periodic noise, averaged as long as nothing moves.
//!
//! Each round is read by itself, line by line: H = Y/X. Rounds that agree are averaged; what they scatter is the noise. A round
//! that does not agree with the oldest of them begins anew.

pub mod document;
mod lines;
mod moving;
mod reading;

use std::collections::VecDeque;

use crate::analysis::chain::Chain;
use crate::stimulus::Round;
use lines::{Lines, Played};
use reading::LEAST_ROUNDS;
pub use reading::{Reading, Unread};

/// Whether what is seen holds still.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// The last rounds are not alike.
    Moving,
    /// They are, but for less than the time that is averaged: before that it moved.
    Settling,
    Steady,
}

/// The last rounds of one signal.
#[derive(Debug)]
pub struct Watch {
    played: Played,
    chain: Chain,
    /// Rounds that are averaged.
    most: usize,
    /// All of them alike.
    rounds: VecDeque<Lines>,
}

impl Watch {
    /// Averages over so many seconds, to whole rounds.
    pub fn new(round: &Round, chain: Chain, over_s: f64) -> Self {
        Watch {
            played: Played::of(round),
            chain,
            most: ((over_s / round.seconds()).round() as usize).max(LEAST_ROUNDS),
            rounds: VecDeque::new(),
        }
    }

    /// The next round: the pickup, then the reference.
    pub fn see(&mut self, round: &[Vec<f32>; 2]) -> Pace {
        let new = self.played.lines(round);
        if self
            .rounds
            .front()
            .is_some_and(|old| moving::apart(&self.played, old, &new))
        {
            self.rounds.clear();
        }
        self.rounds.push_back(new);
        if self.rounds.len() > self.most {
            self.rounds.pop_front();
        }
        self.pace()
    }

    pub fn pace(&self) -> Pace {
        match self.rounds.len() {
            n if n < LEAST_ROUNDS => Pace::Moving,
            n if n < self.most => Pace::Settling,
            _ => Pace::Steady,
        }
    }

    /// What was seen before a pause does not count after it.
    pub fn forget(&mut self) {
        self.rounds.clear();
    }

    /// The reading of all rounds that are alike.
    pub fn read(&self) -> Result<Reading, Unread> {
        let rounds: Vec<&Lines> = self.rounds.iter().collect();
        reading::read(&self.played, &self.chain, &rounds)
    }
}

#[cfg(test)]
mod tests;
