//! One round as the lines that were played.

use num_complex::Complex64;

use crate::fft;
use crate::stimulus::Round;
use crate::transfer::sums;

/// Beyond this neither pickups nor sound cards behave as the model says.
const TOP_HZ: f64 = 22_000.0;

/// What is played, as far as the lines are concerned.
#[derive(Debug)]
pub(super) struct Played {
    pub spacing_hz: f64,
    /// Whether a line is played, counted from nought hertz.
    pub on: Vec<bool>,
    /// Lowest and highest line.
    pub band: [f64; 2],
}

/// Both channels of one round, a value for each line, played or not.
#[derive(Debug)]
pub(super) struct Lines {
    pub x: Vec<Complex64>,
    pub y: Vec<Complex64>,
    /// Largest samples of pickup and reference; 1.0 = full scale.
    pub peaks: [f32; 2],
}

impl Played {
    pub fn of(round: &Round) -> Self {
        let spacing_hz = 1.0 / round.seconds();
        let on: Vec<bool> = round
            .lines
            .iter()
            .take((TOP_HZ / spacing_hz) as usize + 1)
            .copied()
            .collect();
        let at = |k: Option<usize>| k.unwrap_or(0) as f64 * spacing_hz;
        Played {
            band: [at(on.iter().position(|l| *l)), at(on.iter().rposition(|l| *l))],
            spacing_hz,
            on,
        }
    }

    pub fn lines(&self, [pickup, reference]: &[Vec<f32>; 2]) -> Lines {
        // Over a whole round a line has no skirts, so that no window is wanted.
        let of = |x: &[f32]| fft::forward(x.iter().map(|v| f64::from(*v)), x.len(), self.on.len());
        Lines {
            x: of(reference),
            y: of(pickup),
            peaks: [sums::peak(pickup), sums::peak(reference)],
        }
    }

    /// The lines that are played between two frequencies.
    pub fn between(&self, from: f64, to: f64) -> impl Iterator<Item = usize> + Clone + '_ {
        let at = |f: f64| ((f / self.spacing_hz).ceil() as usize).min(self.on.len());
        (at(from)..at(to)).filter(move |k| self.on[*k])
    }
}
