//! What can go wrong in a take, seen in the samples themselves and in the residual along time.

use std::ops::Range;

use num_complex::Complex64;

use super::bins::Bins;
use crate::fft;

/// Flat tops of a channel.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Clipping {
    pub samples: u64,
    pub runs: u64,
    /// Level of the flat tops, 1.0 = full scale.
    pub at: f64,
}

/// `clipping`, with the spread that the channel's own noise gives; fewer than three flat tops count as none.
pub fn clipping_over_noise(x: &[f32], step: f64, rate: f64) -> Clipping {
    // Noise after a flat top spreads it; 6 sigma of the quietest stretch, or a converter step.
    let spread = (2.5 * step).max(6.0 * quiet_rms(x, rate));
    [spread, 1.5 * step]
        .into_iter()
        .map(|spread| clipping(x, spread))
        .find(|c| c.runs > 0)
        .filter(|c| c.runs >= 3)
        .unwrap_or_default()
}

/// Rms of the quietest tenth of a channel's blocks.
fn quiet_rms(x: &[f32], rate: f64) -> f64 {
    let block = ((0.01 * rate) as usize).max(16);
    let mut rms: Vec<f64> = x
        .chunks_exact(block)
        .map(|c| {
            let mean = c.iter().map(|v| f64::from(*v)).sum::<f64>() / c.len() as f64;
            (c.iter().map(|v| (f64::from(*v) - mean).powi(2)).sum::<f64>() / c.len() as f64).sqrt()
        })
        .collect();
    rms.sort_by(f64::total_cmp);
    rms.get(rms.len() / 10).copied().unwrap_or(0.0)
}

/// Counts samples in flat tops: runs at the extreme with a kink at both ends. A slow sine has flat tops too, but falls off
/// as a parabola.
///
/// `spread`: how far samples of one flat top may lie apart (converter step or noise).
pub fn clipping(x: &[f32], spread: f64) -> Clipping {
    let mut out = Clipping::default();
    let [low, high] = extremes(x);
    for (sign, top) in [(1.0f64, f64::from(high)), (-1.0, -f64::from(low))] {
        let v = |i: usize| sign * f64::from(x[i]);
        if top <= 0.0 || spread > 0.02 * top {
            continue;
        }
        let (mut samples, mut runs) = (0u64, 0u64);
        let mut i = 0;
        let edge = top - spread;
        while let Some(ahead) = x[i..].iter().position(|x| sign * f64::from(*x) >= edge) {
            let start = i + ahead;
            i = start;
            let mut end = i + 1;
            // Noise on a flat top may dip below it for a sample or two.
            while i < x.len() && i < end + 3 && v(i) >= top - 2.0 * spread {
                if v(i) >= edge {
                    end = i + 1;
                }
                i += 1;
            }
            i = end;
            let long = end - start;
            if long < 2 || start < long || i + long > x.len() {
                continue;
            }
            let fall = top - v(start - long).max(v(i - 1 + long));
            let near = 0.5 * (long as f64 - 1.0);
            let far = near + long as f64;
            if fall > 6.0 * spread * (far / near).powi(2) {
                samples += long as u64;
                runs += 1;
            }
        }
        if runs >= 3 {
            out.samples += samples;
            out.runs += runs;
            out.at = out.at.max(top);
        }
    }
    // A drive that has only two levels is no clipped drive.
    if out.samples as f64 > 0.8 * x.len() as f64 {
        return Clipping::default();
    }
    out
}

/// Lowest and highest sample. In lanes of their own: one running maximum would have each sample wait for the one before.
fn extremes(x: &[f32]) -> [f32; 2] {
    let (mut low, mut high) = ([f32::INFINITY; 16], [f32::NEG_INFINITY; 16]);
    for chunk in x.chunks(16) {
        for ((v, l), h) in chunk.iter().zip(&mut low).zip(&mut high) {
            *l = if *v < *l { *v } else { *l };
            *h = if *v > *h { *v } else { *h };
        }
    }
    [
        low.into_iter().fold(f32::INFINITY, f32::min),
        high.into_iter().fold(f32::NEG_INFINITY, f32::max),
    ]
}

/// Runs of samples that stand still where the signal moves: zeroed or held by a converter that lost its data. The kink at
/// either end tells them from the flat top of a slow, coarsely stepped sine. Returns the frame of each.
pub fn held(channels: &[&[f32]], active: &Range<usize>, step: f64) -> Vec<usize> {
    const SHORTEST: usize = 8;
    let Some(first) = channels.first() else {
        return Vec::new();
    };
    let still = |i: usize| channels.iter().all(|c| c[i] == c[i - 1]);
    let mut out = Vec::new();
    let mut i = active.start.max(1);
    while i < active.end.min(first.len()) {
        if !still(i) {
            i += 1;
            continue;
        }
        let start = i - 1;
        while i < active.end.min(first.len()) && still(i) {
            i += 1;
        }
        if i - start < SHORTEST || start < 24 || i + 24 > first.len() {
            continue;
        }
        // Where the channel moves by several steps a sample it does not stand still, but on a crest; and it goes on from
        // elsewhere than it stopped.
        let kinked = channels.iter().any(|c| {
            let jump = |k: usize| f64::from((c[k] - c[k - 1]).abs());
            let mut near: Vec<f64> = (start - 20..start).chain(i + 1..i + 21).map(jump).collect();
            near.sort_by(f64::total_cmp);
            let typical = near[near.len() / 2];
            let top = c[start].abs();
            let extreme = c[start.saturating_sub(200)..(i + 200).min(c.len())]
                .iter()
                .all(|v| v.abs() <= top);
            !extreme && typical > 4.0 * step && jump(start).max(jump(i)) > 0.25 * typical
        });
        if kinked {
            out.push(start);
        }
    }
    out
}

/// Something in the residual that lasts a short time only.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Seconds from the take's first sample.
    pub start_s: f64,
    pub end_s: f64,
    /// Energy over the noise's in the same time.
    pub strength: f64,
    /// The residual there is a free ringing of the pickup: samples are missing, repeated or zeroed.
    pub splice: bool,
}

/// What the residual along time holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Seen {
    pub events: Vec<Event>,
    /// Residual power while the drive is on, over that in the silence: distortion where it is far above 1.
    pub loud_over_silent: Option<f64>,
    /// Residual power over the answer's where both are loud.
    pub loud_share: f64,
}

/// The residual along time, whitened, against the answer, whitened alike.
pub struct Timeline<'a> {
    pub bins: &'a Bins,
    pub residuals: &'a [Complex64],
    /// H X per bin.
    pub answer: &'a [Complex64],
    /// Bins left out because a line stands there.
    pub lines: &'a [bool],
    /// 1/(1 + b1 s + b2 s^2) at a bin: the pickup's own ringing. Asked for only where there is an event.
    pub ringing: &'a dyn Fn(usize) -> Complex64,
    pub band: [f64; 2],
    /// Seconds from the take's start to the record's, and the record's length.
    pub origin_s: f64,
    pub length_s: f64,
    /// Seconds at its start and end where the record is tapered.
    pub taper_s: [f64; 2],
}

const WINDOW_S: f64 = 0.001;
const NEIGHBOURHOOD_S: f64 = 0.05;
/// Power over what is expected that makes an event; a window of white noise with 20 kHz holds 40 degrees of freedom.
const EVENT: f64 = 10.0;

impl Timeline<'_> {
    /// Looks for events within `span` (seconds from the take's start).
    pub fn look(&self, span: Range<f64>) -> Seen {
        let (from, to) = (
            self.bins.index_of(self.band[0]),
            self.bins.index_of(self.band[1]).min(self.bins.len().saturating_sub(1)),
        );
        if to <= from + 16 {
            return Seen::default();
        }
        let whiten = |i: usize, c: Complex64| {
            if self.lines[i] || i < from || i > to {
                Complex64::new(0.0, 0.0)
            } else {
                c / (self.bins.syy[i] * self.bins.length).max(f64::MIN_POSITIVE).sqrt()
            }
        };
        // A shorter transform that still holds the band: the time axis is coarser, nothing is lost.
        let top = self.bins.first + to;
        let n = fft::good_length(2 * top + top / 10);
        let in_time = |c: &dyn Fn(usize) -> Complex64| {
            let mut full = vec![Complex64::new(0.0, 0.0); top + 1];
            for i in from..=to {
                full[self.bins.first + i] = c(i);
            }
            fft::inverse(&full, n)
        };
        let step_s = self.bins.length / self.rate() / n as f64;
        let r = in_time(&|i| whiten(i, self.residuals[i]));
        let a = in_time(&|i| whiten(i, self.answer[i]));
        let window = ((WINDOW_S / step_s).round() as usize).max(4);
        let usable = ((self.length_s / step_s) as usize).min(n);
        let power = |v: &[f64]| -> Vec<f64> {
            v[..usable]
                .chunks(window)
                .map(|c| c.iter().map(|x| x * x).sum::<f64>() / c.len() as f64)
                .collect()
        };
        let (pr, pa) = (power(&r), power(&a));
        let median = |v: &mut Vec<f64>| {
            let k = v.len() / 2;
            if v.is_empty() {
                0.0
            } else {
                *v.select_nth_unstable_by(k, f64::total_cmp).1
            }
        };
        let typical = median(&mut pr.clone());
        let centre = |w: usize| self.origin_s + (w as f64 + 0.5) * window as f64 * step_s;
        let (mut loud, mut silent) = (Vec::new(), Vec::new());
        for (w, p) in pr.iter().enumerate() {
            let at = centre(w);
            if span.contains(&at) {
                loud.push(*p);
            } else if (at < span.start - 0.01 && at > self.origin_s + self.taper_s[0])
                || (at > span.end + 0.1 && at < self.origin_s + self.length_s - self.taper_s[1])
            {
                silent.push(*p);
            }
        }
        // A sweep is loud for a small part of its time only.
        let high = |v: &mut Vec<f64>| {
            let k = v.len() * 15 / 16;
            v.get(k)
                .copied()
                .map_or(0.0, |_| *v.select_nth_unstable_by(k, f64::total_cmp).1)
        };
        let loud_over_silent = (silent.len() >= 32).then(|| high(&mut loud) / high(&mut silent).max(f64::MIN_POSITIVE));
        let mut answers: Vec<f64> = (0..pa.len())
            .filter(|w| span.contains(&centre(*w)))
            .map(|w| pa[w])
            .collect();
        let loud_share = high(&mut loud) / high(&mut answers).max(f64::MIN_POSITIVE);
        // Share of the answer that the model misses, at the typical time.
        let mut shares: Vec<f64> = pr
            .iter()
            .zip(&pa)
            .filter(|(_, a)| **a > 30.0 * typical)
            .map(|(r, a)| (r - typical).max(0.0) / a)
            .collect();
        let share = median(&mut shares);
        let half = (NEIGHBOURHOOD_S / WINDOW_S) as usize;
        let mut hot = Vec::new();
        for (w, p) in pr.iter().enumerate() {
            let at = centre(w);
            if !span.contains(&at) || *p < EVENT * typical {
                continue;
            }
            let mut near: Vec<f64> = pr[w.saturating_sub(half)..(w + half + 1).min(pr.len())].to_vec();
            let expected = median(&mut near).max(typical).max(8.0 * share * pa[w]);
            if *p > EVENT * expected {
                hot.push((w, p / expected));
            }
        }
        let mut events: Vec<(Range<usize>, f64)> = Vec::new();
        for (w, strength) in hot {
            match events.last_mut() {
                // Windows side by side are one event.
                Some((range, s)) if w <= range.end + 2 => {
                    range.end = w + 1;
                    *s = s.max(strength);
                }
                _ => events.push((w..w + 1, strength)),
            }
        }
        if events.is_empty() {
            return Seen {
                events: Vec::new(),
                loud_over_silent,
                loud_share,
            };
        }
        let templates = [
            in_time(&|i| whiten(i, (self.ringing)(i))),
            in_time(&|i| whiten(i, (self.ringing)(i) * Complex64::new(0.0, self.bins.freq(i)))),
        ];
        let events = events
            .into_iter()
            .map(|(range, strength)| {
                let seconds = |w: usize| self.origin_s + w as f64 * window as f64 * step_s;
                Event {
                    start_s: seconds(range.start),
                    end_s: seconds(range.end),
                    strength,
                    splice: is_ringing(&r, &templates, range.start * window, range.end * window),
                }
            })
            .collect();
        Seen {
            events,
            loud_over_silent,
            loud_share,
        }
    }

    fn rate(&self) -> f64 {
        self.bins.spacing_hz * self.bins.length
    }
}

/// Whether the residual between two samples is, in the main, one free ringing that begins there.
fn is_ringing(r: &[f64], templates: &[Vec<f64>; 2], start: usize, end: usize) -> bool {
    let n = r.len();
    // Long enough to hold a ringing of a few milliseconds, and what an event of that kind lasts at most.
    let reach = (end - start).clamp(200, 600);
    let from = start.saturating_sub(reach / 2);
    let seen: Vec<f64> = (from..(start + 2 * reach).min(n)).map(|i| r[i]).collect();
    let total: f64 = seen.iter().map(|x| x * x).sum();
    let mut best: f64 = 0.0;
    for t0 in from..(start + reach).min(n) {
        let (mut aa, mut ab, mut bb, mut ra, mut rb) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (k, x) in seen.iter().enumerate() {
            let i = (from + k + n - t0) % n;
            let (a, b) = (templates[0][i], templates[1][i]);
            aa += a * a;
            ab += a * b;
            bb += b * b;
            ra += x * a;
            rb += x * b;
        }
        let det = aa * bb - ab * ab;
        if det > 1e-12 * aa * bb {
            best = best.max((ra * ra * bb - 2.0 * ra * rb * ab + rb * rb * aa) / det);
        }
    }
    best > 0.6 * total
}

/// Bursts in a silence: windows far above the rest of it. Returns their times in seconds.
///
/// `floor`: variance per sample that the converter's rounding leaves.
pub fn bursts_in_silence(y: &[f32], silences: &[Range<usize>], rate_hz: f64, floor: f64) -> Vec<f64> {
    let burst = |window_s: f64, power: &dyn Fn(&[f32]) -> f64| {
        let window = ((window_s * rate_hz) as usize).max(8);
        let mut powers = Vec::new();
        for s in silences {
            for (k, c) in y[s.clone()].chunks_exact(window).enumerate() {
                powers.push((power(c), (s.start + k * window) as f64 / rate_hz));
            }
        }
        if powers.len() < 8 {
            return Vec::new();
        }
        let mut sorted: Vec<f64> = powers.iter().map(|p| p.0).collect();
        sorted.sort_by(f64::total_cmp);
        // A fifth of the windows may be loud without being typical; more, and it is a buzz that comes with every period.
        let typical = sorted[sorted.len() * 4 / 5].max(floor * window as f64);
        let hot = powers.iter().filter(|p| typical > 0.0 && p.0 > 4.0 * typical);
        hot.map(|p| p.1 + 0.5 * window_s).collect()
    };
    // First differences: hum and rumble drop out, clicks stay. Whole periods of the mains: knocks stand above hum.
    let difference = |c: &[f32]| c.windows(2).map(|w| f64::from(w[1] - w[0]).powi(2)).sum::<f64>();
    let level = |c: &[f32]| {
        let mean = c.iter().map(|v| f64::from(*v)).sum::<f64>() / c.len() as f64;
        c.iter().map(|v| (f64::from(*v) - mean).powi(2)).sum::<f64>()
    };
    let mut times: Vec<f64> = burst(0.005, &difference);
    times.extend(burst(0.04, &level));
    times.sort_by(f64::total_cmp);
    times
}

/// Slope of a raw ratio in dB per octave over a band, by weighted least squares, and its uncertainty.
pub fn slope_db_per_octave(
    points: impl Iterator<Item = (f64, Complex64, f64)>,
    band: Range<f64>,
) -> Option<(f64, f64)> {
    let (mut s, mut sx, mut sy, mut sxx, mut sxy, mut syy, mut n) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0i32);
    for (f, h, weight) in points {
        // Weight of a level in dB: its signal-to-noise ratio, limited so that no single point decides.
        let snr = h.norm_sqr() * weight;
        if !band.contains(&f) || snr < 4.0 {
            continue;
        }
        let (x, y, w) = (f.log2(), 20.0 * h.norm().log10(), snr.min(1e4));
        s += w;
        sx += w * x;
        sy += w * y;
        sxx += w * x * x;
        sxy += w * x * y;
        syy += w * y * y;
        n += 1;
    }
    let det = s * sxx - sx * sx;
    if n < 10 || det <= 0.0 {
        return None;
    }
    let slope = (s * sxy - sx * sy) / det;
    let level = (sy - slope * sx) / s;
    // Variance of a level in dB is (8.686)^2/2 over its signal-to-noise ratio, or what the points show if that is more.
    let chi2 = (syy - level * sy - slope * sxy) / (37.72 * f64::from(n - 2));
    Some((slope, 6.142 * (s / det * chi2.max(1.0)).sqrt()))
}

/// Level in dB of a raw ratio that is real and stays where it is over the lows, as that of a signal to itself; `None` for any other.
///
/// A pickup's EMF leads by a right angle there, and so does what comes through a capacitor; inputs turn it by no more than their
/// coupling to DC and their delays do.
pub fn constant_db(points: impl Iterator<Item = (f64, Complex64)>) -> Option<f64> {
    // From further up a damped coil may look so as well.
    const LOW_HZ: f64 = 40.0;
    const BEGINS_HZ: f64 = 100.0;
    const HIGH_HZ: f64 = 900.0;
    const COUPLING_HZ: f64 = 15.0;
    const DELAY_S: f64 = 50e-6;
    const ROUGH: f64 = 0.1;
    let lows: Vec<(f64, Complex64)> = points.filter(|p| (LOW_HZ..HIGH_HZ).contains(&p.0)).collect();
    let real = |(f, h): &&(f64, Complex64)| {
        (h.im / h.re).abs() < (ROUGH + COUPLING_HZ / f + std::f64::consts::TAU * DELAY_S * f)
    };
    // Hum or a knock may spoil some.
    let enough = lows.iter().filter(real).count() * 5 >= lows.len() * 4;
    if lows.len() < 40 || lows[0].0 > BEGINS_HZ || !enough {
        return None;
    }
    let mut db: Vec<f64> = lows.iter().map(|(_, h)| 20.0 * h.norm().log10()).collect();
    db.sort_by(f64::total_cmp);
    Some(db[db.len() / 2])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(hz: f64, amplitude: f64, rate: f64, step: f64) -> Vec<f32> {
        (0..48_000)
            .map(|i| {
                let v = amplitude * (std::f64::consts::TAU * hz * i as f64 / rate).sin();
                ((v / step).round() * step) as f32
            })
            .collect()
    }

    #[test]
    fn flat_tops_are_found_and_slow_coarse_sines_are_not() {
        let step = (2f64).powi(-15);
        for hz in [3.0, 20.0, 100.0, 1000.0, 5000.0] {
            for amplitude in [0.01, 0.5, 0.98] {
                let x = sine(hz, amplitude, 48_000.0, step);
                assert_eq!(clipping(&x, 1.5 * step).samples, 0, "{hz} {amplitude}");
                let clipped: Vec<f32> = x.iter().map(|v| v.clamp(-1.0, (0.94 * amplitude) as f32)).collect();
                if amplitude > 0.1 && hz < 4000.0 && hz > 10.0 {
                    assert!(clipping(&clipped, 1.5 * step).samples > 100, "{hz} {amplitude}");
                }
            }
        }
    }
}
