//! Whether two rounds are of one thing.
//!
//! What chance does to a line it does to each line in its own way; what a pot, a cable or a hand does is alike in neighbouring
//! lines. So the mean change of a sixth of an octave is held against the scatter of the changes in it. It must be more than
//! chance, and large enough to matter.

use num_complex::Complex64;

use super::lines::{Lines, Played};

/// Where pickups have something to tell.
const FROM_HZ: f64 = 300.0;
const TO_HZ: f64 = 16_000.0;
/// Groups in an octave.
const PER_OCTAVE: f64 = 6.0;
/// Lines that a group needs.
const ENOUGH: usize = 8;
/// Standard deviations of the mean over all groups: with two to three hundred looks a minute, none by chance in an hour.
const CLEARLY: f64 = 6.0;
/// The rms change of the response that matters: 0.03 dB. The peak of a pickup of Q 2.5 has moved by a thousandth then.
const MATTERS: f64 = 0.003;
/// A group whose noise hides changes of this size says nothing.
const TOO_VAGUE: f64 = 0.02;

/// Whether something changed from one round to the other.
pub(super) fn apart(played: &Played, old: &Lines, new: &Lines) -> bool {
    let step = 2f64.powf(1.0 / PER_OCTAVE);
    let edges = std::iter::successors(Some(FROM_HZ), |f| Some(f * step)).take_while(|f| *f < TO_HZ);
    let groups: Vec<Change> = edges
        .filter_map(|f| change(old, new, played.between(f, f * step)))
        .collect();
    let n = groups.len() as f64;
    let mean = |of: fn(&Change) -> f64| groups.iter().map(of).sum::<f64>() / n;
    n > 0.0 && mean(|c| c.chance) > 1.0 + CLEARLY / n.sqrt() && mean(|c| c.square) > MATTERS * MATTERS
}

/// Of the lines of one group.
struct Change {
    /// Mean change squared, over what chance makes of it: 1 on average where nothing changed.
    chance: f64,
    /// The same over the response squared, what chance makes of it taken off.
    square: f64,
}

fn change(old: &Lines, new: &Lines, lines: impl Iterator<Item = usize> + Clone) -> Option<Change> {
    let ratio = |l: &Lines, k: usize| l.y[k] / l.x[k];
    let told = lines.filter(|k| old.x[*k].norm_sqr() > 0.0 && new.x[*k].norm_sqr() > 0.0);
    let n = told.clone().count() as f64;
    if n < ENOUGH as f64 {
        return None;
    }
    let mean = |of: &dyn Fn(usize) -> Complex64| told.clone().map(of).sum::<Complex64>() / n;
    let by = mean(&|k| ratio(new, k) - ratio(old, k));
    let level = mean(&|k| ratio(old, k)).norm_sqr();
    let scatter = told
        .clone()
        .map(|k| (ratio(new, k) - ratio(old, k) - by).norm_sqr())
        .sum::<f64>()
        / (n - 1.0);
    let of_mean = scatter / n;
    (of_mean > 0.0 && of_mean < TOO_VAGUE * TOO_VAGUE * level).then(|| Change {
        chance: by.norm_sqr() / of_mean,
        square: (by.norm_sqr() - of_mean) / level,
    })
}
