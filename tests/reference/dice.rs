//! Chance that is the same each time.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

pub struct Dice(ChaCha8Rng);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Dice(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Between 0 and 1, neither of them.
    pub fn even(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.even().ln()).sqrt() * (TAU * self.even()).cos()
    }

    pub fn normals(&mut self, n: usize, sd: f64) -> Vec<f64> {
        (0..n).map(|_| sd * self.normal()).collect()
    }
}
