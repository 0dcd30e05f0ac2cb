//! Models that might have been taken for a take instead of the one that was, and what they leave open of a reading.

use statrs::distribution::{ContinuousCDF, Normal};

use super::Fitted;
use crate::estimate::Estimate;

/// Another model of a take.
pub struct Rival {
    pub fit: Fitted,
    pub chance: Chance,
}

/// What speaks for a rival.
#[derive(Debug, Clone, Copy)]
pub struct Chance {
    /// How likely it is by BIC, among the chosen one and its rivals.
    pub odds: f64,
    /// How often other noise would have had it chosen.
    pub turns: f64,
}

/// How often noise turns a choice that was made by a margin; `swing`: the standard deviation of that margin.
pub(super) fn turns(margin: f64, swing: f64) -> f64 {
    match swing > 0.0 {
        true => Normal::standard().sf(margin.abs() / swing),
        false => 0.0,
    }
}

/// What rivals leave open of one figure.
#[derive(Debug, Clone, Copy, Default)]
pub struct Apart {
    /// How far they lie off, beyond noise; signed.
    pub beyond: f64,
    /// By how much the figure scatters because noise decides between them.
    pub by_choice: f64,
}

/// How far the rivals of a model lie from it in one figure. The first is the next richer one, whatever speaks for it: noise makes
/// a difference of the richer one's variance less the plainer one's (Hausman, Econometrica 46 (1978) 1251; recalled from memory).
/// Where noise hides what the richer ones could show, that difference says nothing; there each counts as far as it is likely, with
/// its own noise (Buckland, Burnham and Augustin, Biometrics 53 (1997) 603; recalled from memory).
pub fn apart(here: Estimate, there: &[(Estimate, Chance)]) -> Apart {
    let square = |e: &Estimate| (e.value - here.value).powi(2);
    let by_noise = |e: &Estimate| e.u_noise.powi(2) - here.u_noise.powi(2);
    let Some((next, _)) = there.first() else {
        return Apart::default();
    };
    let least = square(next) - by_noise(next).max(0.0);
    let likely = |(e, c): &(Estimate, Chance)| c.odds * (square(e) + by_noise(e)).max(0.0);
    let beyond = least.max(there.iter().map(likely).sum()).max(0.0);
    let chosen = |(e, c): &(Estimate, Chance)| c.turns * (1.0 - c.turns) * square(e);
    Apart {
        beyond: beyond.sqrt().copysign(next.value - here.value),
        by_choice: there.iter().map(chosen).sum::<f64>().sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(value: f64, u_noise: f64) -> Estimate {
        Estimate {
            value,
            u: u_noise,
            u_noise,
        }
    }

    fn rival(value: f64, u_noise: f64, odds: f64, turns: f64) -> (Estimate, Chance) {
        (figure(value, u_noise), Chance { odds, turns })
    }

    #[test]
    fn a_difference_counts_beyond_noise_and_as_far_as_it_is_likely() {
        let of = |there: &[(Estimate, Chance)]| apart(figure(10.0, 3.0), there);
        assert_eq!(of(&[]).beyond, 0.0);
        // 8 apart, of which noise makes 4 (5² = 3² + 4²): what is left is √(64 − 16).
        assert!((of(&[rival(2.0, 5.0, 0.0, 0.0)]).beyond + 48f64.sqrt()).abs() < 1e-12);
        // 3 apart is noise; at odds of a half it counts all the same: √((9 + 16)/2).
        assert!((of(&[rival(13.0, 5.0, 0.5, 0.0)]).beyond - 12.5f64.sqrt()).abs() < 1e-12);
        // One that is plainer adds nothing where it lies near.
        assert_eq!(of(&[rival(10.5, 2.0, 0.5, 0.0)]).beyond, 0.5);
    }

    #[test]
    fn what_noise_decides_is_noise() {
        // Either as often: half the jump.
        let even = turns(0.0, 2.0);
        assert_eq!(even, 0.5);
        assert_eq!(apart(figure(10.0, 3.0), &[rival(14.0, 3.0, 0.0, even)]).by_choice, 2.0);
        // One and two standard deviations: Φ(−1), Φ(−2).
        assert!((turns(-2.0, 2.0) - 0.158655).abs() < 1e-6 && (turns(4.0, 2.0) - 0.022750).abs() < 1e-6);
        assert_eq!(turns(1.0, 0.0), 0.0);
    }
}
