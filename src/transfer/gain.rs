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
        (sum > EXPLAINS * all && most < ONE_PIECE * sum).then_some(found)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn answer() -> Vec<f64> {
        (0..96_000)
            .map(|i| (0.3 * f64::from(i)).sin() * (1.0 + 0.5 * (0.001 * f64::from(i)).sin()))
            .collect()
    }

    fn noise(i: usize) -> f64 {
        ((i * 7919 % 104_729) as f64 / 104_729.0 - 0.5) * 0.002
    }

    #[test]
    fn a_slow_gain_is_told_and_taken_off() {
        let a = answer();
        // A decibel from end to end.
        let db = |i: usize| i as f64 / 96_000.0 - 0.5;
        let mut r: Vec<f64> = a
            .iter()
            .enumerate()
            .map(|(i, a)| a * (10f64.powf(db(i) / 20.0) - 1.0) + noise(i))
            .collect();
        let gain = Gain::of(&r, &a, 0..96_000, 40).unwrap();
        assert!((gain.moved_db() - 1.0).abs() < 0.05, "{}", gain.moved_db());
        gain.take_off(&mut r, &a);
        let rms = (r.iter().map(|v| v * v).sum::<f64>() / r.len() as f64).sqrt();
        assert!(rms < 2e-3, "{rms}");
    }

    #[test]
    fn neither_a_gap_nor_noise_is_a_gain() {
        let a = answer();
        let gap = |i: usize| if (40_000..40_400).contains(&i) { -a[i] } else { 0.0 };
        let r: Vec<f64> = (0..96_000).map(|i| gap(i) + noise(i)).collect();
        assert!(Gain::of(&r, &a, 0..96_000, 40).is_none());
        let r: Vec<f64> = (0..96_000).map(noise).collect();
        assert!(Gain::of(&r, &a, 0..96_000, 40).is_none());
    }
}
