//! Synchronised exponential sweep: x(t) = sin(2 pi f1 L exp(t/L)), L = T/ln(f2/f1), f1 L whole.
//! Novak, Lotton, Simon, J. Audio Eng. Soc. 63 (2015) 786. With f1 L whole the sweep starts at phase zero and its
//! n-th harmonic is the same sweep, earlier by L ln n.

use std::f64::consts::TAU;

use super::settings::{Body, Settings, ramp};

/// The rate of sweep L in seconds for one sweep as close as can be to `seconds`.
fn synchronous_l(from: f64, to: f64, seconds: f64) -> f64 {
    (from * seconds / (to / from).ln()).round().max(1.0) / from
}

/// One sweep with faded ends, and its L in seconds.
pub fn once(s: &Settings) -> (Vec<f64>, f64) {
    let rate = f64::from(s.rate_hz);
    let octaves = (s.to_hz / s.from_hz).ln();
    let l = synchronous_l(s.from_hz, s.to_hz, 0.5 * s.seconds);
    let t = l * octaves;
    let n = (t * rate).round() as usize;
    // One period at the start, a few milliseconds at the end: enough to keep the ends out of the pass band.
    let fade_in = (1.0 / s.from_hz).min(0.1 * t);
    let fade_out = 0.005f64.min(0.1 * t);
    let x = (0..n)
        .map(|i| {
            let at = i as f64 / rate;
            let gain = ramp(at / fade_in) * ramp((t - at) / fade_out);
            gain * (TAU * (s.from_hz * l * (at / l).exp()).fract()).sin()
        })
        .collect();
    (x, l)
}

/// Two sweeps in a row: one alone confuses a clock difference with losses.
pub(super) fn twice(s: &Settings) -> Body {
    let (one, l) = once(s);
    let period = one.len();
    let mut samples = one.clone();
    samples.extend(one);
    Body {
        samples,
        seconds: 2.0 * l * (s.to_hz / s.from_hz).ln(),
        period_samples: period as f64,
        periods: 2,
    }
}
