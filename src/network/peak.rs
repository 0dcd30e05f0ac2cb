//! The peak of a response: the highest local maximum that stands above the level at low frequency.

/// Where the search begins, and where the level stands that a peak must be above.
pub const LOW_HZ: f64 = 10.0;
pub const HIGH_HZ: f64 = 40_000.0;
/// A maximum lower than this above the level at `LOW_HZ` is none.
const LEAST_DB: f64 = 0.005;
/// A resonance is a maximum on any grid that is closer than the distance to its neighbour; guitars have two at most.
const PER_OCTAVE: f64 = 48.0;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    pub hz: f64,
    /// |H| there.
    pub gain: f64,
}

/// The peak of |H|, given as a function of hertz; `None` where there is none from 10 Hz to 40 kHz.
pub fn find(mag: impl Fn(f64) -> f64) -> Option<Peak> {
    let at = |i: usize| LOW_HZ * 2f64.powf(i as f64 / PER_OCTAVE);
    let steps = ((HIGH_HZ / LOW_HZ).log2() * PER_OCTAVE).floor() as usize;
    let coarse: Vec<f64> = (0..=steps).map(|i| mag(at(i))).collect();
    let least = coarse[0] * 10f64.powf(LEAST_DB / 20.0);
    let mut best: Option<Peak> = None;
    for i in 1..steps {
        let (a, b, c) = (coarse[i - 1], coarse[i], coarse[i + 1]);
        // A lower maximum than one already found need not be looked at: its top is within the grid's error.
        if !(b > a && b >= c) || best.is_some_and(|p| b < 0.9 * p.gain) {
            continue;
        }
        let hz = top(&mag, at(i - 1), at(i + 1));
        let found = Peak { hz, gain: mag(hz) };
        if found.gain > least && best.is_none_or(|p| found.gain > p.gain) {
            best = Some(found);
        }
    }
    best
}

/// The maximum between two frequencies around it.
///
/// Near its top a curve is flat, and magnitudes tell the place only to the square root of the arithmetic; so golden section
/// comes first, and then the place where the slope is nought.
fn top(mag: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_895;
    let value = |x: f64| mag(x.exp()).ln();
    let (mut lo, mut hi) = (low.ln(), high.ln());
    let (mut a, mut b) = (hi - GOLDEN * (hi - lo), lo + GOLDEN * (hi - lo));
    let (mut fa, mut fb) = (value(a), value(b));
    while hi - lo > 1e-4 {
        if fa < fb {
            (lo, a, fa) = (a, b, fb);
            b = lo + GOLDEN * (hi - lo);
            fb = value(b);
        } else {
            (hi, b, fb) = (b, a, fa);
            a = hi - GOLDEN * (hi - lo);
            fa = value(a);
        }
    }
    // Slope by differences over four points, good to the fourth power of their distance.
    let h = 1e-4;
    let slope = |x: f64| (8.0 * (value(x + h) - value(x - h)) - (value(x + 2.0 * h) - value(x - 2.0 * h))) / (12.0 * h);
    let (mut x, step) = (0.5 * (lo + hi), 1e-4);
    for _ in 0..4 {
        let (left, right) = (slope(x - step), slope(x + step));
        let bend = (right - left) / (2.0 * step);
        let down = (slope(x) / bend).clamp(-2e-4, 2e-4);
        if bend >= 0.0 || !down.is_finite() {
            break;
        }
        x -= down;
    }
    let inside = x.exp();
    if (low..=high).contains(&inside) {
        inside
    } else {
        (0.5 * (lo + hi)).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::SecondOrder;
    use std::f64::consts::TAU;

    /// Against the closed formula, from no peak to a sharp one.
    #[test]
    fn closed_formula() {
        for q in [0.5, 0.7, 0.75, 0.9, 1.5, 3.0, 17.0, 60.0] {
            for f0_hz in [60.0, 900.0, 4187.0, 19_000.0] {
                let s = SecondOrder { f0_hz, q, g0: 0.9 };
                let found = find(|f| s.response(TAU * f).norm());
                let wanted = s.peak_hz().filter(|_| s.peak_db().is_some_and(|d| d > 0.006));
                match (found, wanted) {
                    (None, None) => {}
                    (Some(p), Some(hz)) => {
                        assert!(
                            (p.hz / hz - 1.0).abs() < 2e-8,
                            "Q {q}, f0 {f0_hz}: {} is not {hz}",
                            p.hz
                        );
                        let db = 20.0 * (p.gain / 0.9).log10();
                        assert!((db - s.peak_db().unwrap()).abs() < 1e-9);
                    }
                    other => panic!("Q {q}, f0 {f0_hz}: {other:?}"),
                }
            }
        }
    }

    #[test]
    fn the_highest_of_two() {
        let (a, b) = (
            SecondOrder {
                f0_hz: 800.0,
                q: 2.0,
                g0: 1.0,
            },
            SecondOrder {
                f0_hz: 6000.0,
                q: 3.0,
                g0: 1.0,
            },
        );
        let sum = |f: f64| (a.response(TAU * f) + b.response(TAU * f)).norm();
        let p = find(sum).unwrap();
        assert!((p.hz / 6000.0 - 1.0).abs() < 0.05, "{p:?}");
        assert_eq!(find(|_| 1.0), None);
        assert_eq!(find(|f| 1.0 / f), None);
    }
}
