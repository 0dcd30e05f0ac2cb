//! A gain that moves while the drive plays: the residual then follows the answer, more here and less there.

use std::ops::Range;

/// Pieces into which the drive's time is cut.
const PIECES: usize = 48;
/// What part of the residual a gain explains that is its cause.
const EXPLAINS: f64 = 0.5;
/// What part of that may come from one piece: a gain that is another for a moment only is a gap.
const ONE_PIECE: f64 = 0.5;

/// How far the gain is off its mean, piece by piece.
#[derive(Debug, Clone)]
pub struct Gain {
    first: usize,
    piece: usize,
    off: Vec<f64>,
    /// What the answer's power is in each.
    weight: Vec<f64>,
}

impl Gain {
    /// Of a residual that is, in the main, the answer times a slow gain; `None` where it is something else. Both whitened alike,
    /// `played` the samples of the drive's time, `window` that of the shortest event.
    pub fn of(residual: &[f64], answer: &[f64], played: Range<usize>, window: usize) -> Option<Self> {
        let piece = (played.len() / PIECES).max(4 * window);
        let (mut off, mut weight, mut explained, mut all) = (Vec::new(), Vec::new(), Vec::new(), 0.0);
        for (r, a) in residual[played.clone()]
            .chunks(piece)
            .zip(answer[played.clone()].chunks(piece))
        {
            let (mut ra, mut aa) = (0.0, f64::MIN_POSITIVE);
            for (r, a) in r.iter().zip(a) {
                ra += r * a;
                aa += a * a;
                all += r * r;
            }
            off.push(ra / aa);
            weight.push(aa);
            explained.push(ra * ra / aa);
        }
        let sum: f64 = explained.iter().sum();
        let most = explained.iter().copied().fold(0.0, f64::max);
        let found = Gain {
            first: played.start,
            piece,
            off,
            weight,
        };
        (off_enough(sum, all) && most < ONE_PIECE * sum).then_some(found)
    }

    /// Takes off the residual what the gain makes of the answer; between the middles of two pieces it moves evenly.
    pub fn take_off(&self, residual: &mut [f64], answer: &[f64]) {
        let last = self.off.len().saturating_sub(1);
        for (k, (r, a)) in residual[self.first..].iter_mut().zip(&answer[self.first..]).enumerate() {
            let p = (k as f64 / self.piece as f64 - 0.5).clamp(0.0, last as f64);
            let i = p as usize;
            let next = self.off[(i + 1).min(last)];
            *r -= (self.off[i] + (next - self.off[i]) * (p - i as f64)) * a;
        }
    }

    /// From the lowest to the highest, in decibels, over the pieces where the answer is loud enough to tell.
    pub fn moved_db(&self) -> f64 {
        let loudest = self.weight.iter().copied().fold(0.0, f64::max);
        let told = self.off.iter().zip(&self.weight).filter(|(_, w)| **w > 0.01 * loudest);
        let (low, high) = told.fold((0.0f64, 0.0f64), |(l, h), (o, _)| (l.min(*o), h.max(*o)));
        20.0 * ((1.0 + high) / (1.0 + low).max(1e-3)).log10()
    }
}

fn off_enough(explained: f64, all: f64) -> bool {
    explained > EXPLAINS * all
}
