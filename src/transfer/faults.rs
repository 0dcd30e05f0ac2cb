//! What can go wrong in a take, seen in the samples themselves and in the raw ratio.

use std::ops::Range;

use num_complex::Complex64;

use super::sums;

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
        .unwrap_or_else(|| piled(x, (spread / step).ceil() * step))
}

/// Tops too short to lie flat for two samples, as those of a high resonance: more samples within `spread` of the extreme than
/// any crest leaves there. Of a sine 2.4 times as many come that near as lie within the next spread below, of all else fewer.
fn piled(x: &[f32], spread: f64) -> Clipping {
    const LEAST: usize = 12;
    const LEAST_DIFFERENT: usize = 5;
    const OVER_BELOW: usize = 4;
    let mut out = Clipping::default();
    let [low, high] = extremes(x);
    for (sign, top) in [(1.0f64, f64::from(high)), (-1.0, -f64::from(low))] {
        if top <= 0.0 || spread > 0.05 * top {
            continue;
        }
        let (mut hits, mut below) = (Vec::new(), [0usize; 4]);
        let mut i = 0;
        let near = top - 5.0 * spread;
        while let Some(ahead) = x[i..].iter().position(|x| sign * f64::from(*x) > near) {
            i += ahead;
            match ((top - sign * f64::from(x[i])) / spread) as usize {
                0 => hits.push(i),
                k => below[k.min(4) - 1] += 1,
            }
            i += 1;
        }
        let most = below.into_iter().max().unwrap_or(0);
        if hits.len() >= LEAST && hits.len() > OVER_BELOW * most && different(x, &hits, spread, LEAST_DIFFERENT) {
            out.samples += hits.len() as u64;
            out.runs += hits.len() as u64;
            out.at = out.at.max(top);
        }
    }
    out
}

/// Whether so many of the crests are different ones: a drive that repeats itself comes to the same height with each period.
fn different(x: &[f32], hits: &[usize], spread: f64, enough: usize) -> bool {
    const BESIDE: [isize; 6] = [-14, -9, -5, 5, 9, 14];
    let at = |i: usize, k: isize| i.checked_add_signed(k).and_then(|i| x.get(i)).copied().unwrap_or(0.0);
    let mut seen: Vec<usize> = Vec::new();
    for i in hits {
        let alike = |j: &usize| {
            BESIDE
                .iter()
                .all(|k| f64::from((at(*i, *k) - at(*j, *k)).abs()) < 4.0 * spread)
        };
        if !seen.iter().any(alike) {
            seen.push(*i);
        }
        if seen.len() >= enough {
            return true;
        }
    }
    false
}

/// Rms of the quietest tenth of a channel's blocks.
fn quiet_rms(x: &[f32], rate: f64) -> f64 {
    let block = ((0.01 * rate) as usize).max(16);
    let rms = |c: &[f32]| (sums::squares_about(c, sums::mean(c)) / c.len() as f64).sqrt();
    let mut levels: Vec<f64> = x.chunks_exact(block).map(rms).collect();
    let tenth = levels.len() / 10;
    sums::ranked(&mut levels, tenth)
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

/// Runs of samples that stand still where the channel moves: zeroed or held by a converter that lost its data, on one channel
/// or on both. The kink at either end tells them from the flat top of a slow, coarsely stepped sine. Returns the frames, in order.
pub fn held(channels: &[&[f32]], active: &Range<usize>, step: f64) -> Vec<usize> {
    let mut out: Vec<usize> = channels.iter().flat_map(|c| held_on(c, active, step)).collect();
    out.sort_unstable();
    // Both channels lose their data at once.
    out.dedup_by(|b, a| *b - *a < AROUND);
    out
}

const SHORTEST: usize = 8;
/// Nought exactly is what a converter leaves that lost its data; no signal stays there as long.
const SHORTEST_NOUGHT: usize = 4;
/// How often a sample may begin such a run by chance.
const BY_CHANCE: f64 = 1e-12;
/// Samples on either side that tell how a channel moves.
const AROUND: usize = 20;

fn held_on(c: &[f32], active: &Range<usize>, step: f64) -> Vec<usize> {
    let end = active.end.min(c.len());
    let still = |i: usize| c[i] == c[i - 1];
    let mut out = Vec::new();
    let mut i = active.start.max(1);
    while i < end {
        if !still(i) {
            i += 1;
            continue;
        }
        let start = i - 1;
        while i < end && still(i) {
            i += 1;
        }
        let shortest = if c[start] == 0.0 { SHORTEST_NOUGHT } else { SHORTEST };
        if i - start < shortest || start <= AROUND || i + AROUND >= c.len() {
            continue;
        }
        // Where the channel moves by several steps a sample it does not stand still, but on a crest; and it goes on from
        // elsewhere than it stopped.
        let jump = |k: usize| f64::from((c[k] - c[k - 1]).abs());
        let usual = |side: Range<usize>| sums::median(&mut side.map(jump).collect::<Vec<f64>>());
        // On both sides: where the drive ends it stands still because nothing is played.
        let typical = usual(start - AROUND..start).min(usual(i + 1..i + AROUND + 1));
        let v = c[start];
        let wide = &c[start.saturating_sub(10 * AROUND)..(i + 10 * AROUND).min(c.len())];
        let crest = (v > 0.0 && wide.iter().all(|w| *w <= v)) || (v < 0.0 && wide.iter().all(|w| *w >= v));
        // Noise of a few steps stands still for some samples by chance.
        let by_chance = (2.0 * typical / step).powi(1 - (i - start) as i32);
        let moves = typical > 4.0 * step && by_chance < BY_CHANCE;
        if !crest && moves && jump(start).max(jump(i)) > 0.25 * typical {
            out.push(start);
        }
    }
    out
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
        let mut ranks: Vec<f64> = powers.iter().map(|p| p.0).collect();
        // A fifth of the windows may be loud without being typical; more, and it is a buzz that comes with every period.
        let typical = sums::ranked(&mut ranks, powers.len() * 4 / 5).max(floor * window as f64);
        let hot = powers.iter().filter(|p| typical > 0.0 && p.0 > 4.0 * typical);
        hot.map(|p| p.1 + 0.5 * window_s).collect()
    };
    // First differences: hum and rumble drop out, clicks stay. Whole periods of the mains: knocks stand above hum.
    let difference = |c: &[f32]| c.windows(2).map(|w| f64::from(w[1] - w[0]).powi(2)).sum::<f64>();
    let level = |c: &[f32]| sums::squares_about(c, sums::mean(c));
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
    let (mut line, mut syy, mut n) = (sums::Pair::default(), 0.0, 0i32);
    for (f, h, weight) in points {
        // Weight of a level in dB: its signal-to-noise ratio, limited so that no single point decides.
        let snr = h.norm_sqr() * weight;
        if band.contains(&f) && snr >= 4.0 {
            let (y, w) = (20.0 * h.norm().log10(), snr.min(1e4));
            line.add(w, [1.0, f.log2()], y);
            syy += w * y * y;
            n += 1;
        }
    }
    let [_, slope] = line.solve().filter(|_| n >= 10)?;
    let level = (line.ar - slope * line.ab) / line.aa;
    // Variance of a level in dB is (8.686)^2/2 over its signal-to-noise ratio, or what the points show if that is more.
    let chi2 = (syy - level * line.ar - slope * line.br) / (37.72 * f64::from(n - 2));
    Some((slope, 6.142 * (line.aa / line.determinant() * chi2.max(1.0)).sqrt()))
}

/// Level in dB of a raw ratio that is real and stays where it is over the lows, as that of a signal to itself; `None` for any other.
///
/// A pickup's EMF leads by a right angle there, and so does what comes through a capacitor; inputs turn it by no more than their
/// coupling to DC and their delays do.
pub fn constant_db(points: impl Iterator<Item = (f64, Complex64)>) -> Option<f64> {
    const LOW_HZ: f64 = 40.0;
    const BEGINS_HZ: f64 = 400.0;
    const COUPLING_HZ: f64 = 15.0;
    const DELAY_S: f64 = 50e-6;
    const ROUGH: f64 = 0.1;
    let heard: Vec<(f64, Complex64)> = points.filter(|p| p.0 > LOW_HZ).collect();
    let begins = heard.first()?.0;
    let lows = &heard[..heard.partition_point(|p| p.0 < (4.0 * begins).max(900.0))];
    let real = |(f, h): &&(f64, Complex64)| {
        (h.im / h.re).abs() < (ROUGH + COUPLING_HZ / f + std::f64::consts::TAU * DELAY_S * f)
    };
    // Hum or a knock may spoil some.
    let enough = lows.iter().filter(real).count() * 5 >= lows.len() * 4;
    if lows.len() < 40 || begins > BEGINS_HZ || !enough {
        return None;
    }
    // From further up a damped coil may look so as well; but it turns like an input whose coupling ends far above any's.
    let mut turn = sums::Pair::default();
    for (f, h) in lows.iter().filter(real) {
        turn.add(1.0, [1.0 / f, *f], h.im / h.re);
    }
    let coupling = turn.solve().map_or(0.0, |[hz, _]| hz.abs());
    if begins > 100.0 && coupling > 2.0 * COUPLING_HZ {
        return None;
    }
    let mut db: Vec<f64> = lows.iter().map(|(_, h)| 20.0 * h.norm().log10()).collect();
    Some(sums::median(&mut db))
}

/// Whether a raw ratio keeps its size over the lows, whatever its phase: that of a signal to itself, come late.
pub fn keeps_its_size(points: impl Iterator<Item = (f64, Complex64)>) -> bool {
    const BAND_HZ: Range<f64> = 60.0..900.0;
    const WITHIN_DB: f64 = 1.0;
    let mut db: Vec<f64> = points
        .filter(|p| BAND_HZ.contains(&p.0))
        .map(|(_, h)| 20.0 * h.norm().log10())
        .collect();
    let middle = sums::median(&mut db);
    db.len() >= 40 && db.iter().filter(|v| (*v - middle).abs() < WITHIN_DB).count() * 10 >= db.len() * 9
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

    /// 96 kHz, rising through a resonance at 20 kHz whose crests are too short to lie flat, twice.
    fn resonance(top: f32) -> Vec<f32> {
        let noise = |i: usize| ((i * 7919 % 104_729) as f32 / 104_729.0 - 0.5) * 2e-5;
        let one = |i: usize| {
            let t = i as f64 / 40_000.0;
            let height = 0.3 / (1.0 + (8.0 * (t - 0.5)).powi(2));
            (height * (1.17 * i as f64 + 4e-6 * (i * i) as f64).sin()) as f32
        };
        let loud = (0..80_000).map(|i| one(i % 40_000).clamp(-top, top));
        let quiet = std::iter::repeat_n(0.0, 20_000);
        quiet.chain(loud).enumerate().map(|(i, v)| v + noise(i)).collect()
    }

    #[test]
    fn short_tops_are_found_by_their_number() {
        let of = |top: f32| clipping_over_noise(&resonance(top), 2f64.powi(-23), 96_000.0);
        for top in [0.28, 0.295, 0.298] {
            let found = of(top);
            assert!(
                found.samples > 20 && (found.at - f64::from(top)).abs() < 1e-3,
                "{top}: {found:?}"
            );
        }
        for top in [0.2999, 1.0] {
            assert_eq!(of(top), Clipping::default(), "{top}");
        }
    }

    #[test]
    fn a_crest_that_comes_again_with_each_period_is_no_flat_top() {
        let period: Vec<f32> = (0..4_000)
            .map(|i| {
                (0.2 * (i as f32 * 0.7).sin() + 0.1 * (i as f32 * 1.3).sin()) * (1.0 + 0.1 * (i as f32 * 0.01).sin())
            })
            .collect();
        let x: Vec<f32> = std::iter::repeat_n(0.0, 8_000)
            .chain(period.iter().copied().cycle().take(100_000))
            .collect();
        assert_eq!(clipping_over_noise(&x, 2f64.powi(-23), 48_000.0), Clipping::default());
    }

    #[test]
    fn a_channel_that_stands_still_alone_has_lost_samples() {
        let step = 2f64.powi(-23);
        let x = sine(997.0, 0.5, 48_000.0, step);
        let mut y = sine(997.0, 0.1, 48_000.0, step);
        assert!(held(&[&y, &x], &(0..48_000), step).is_empty());
        for (at, count, value) in [(10_007, 5, 0.0), (20_003, 40, 0.0), (30_000, 12, y[30_000])] {
            y[at..at + count].fill(value);
        }
        assert_eq!(held(&[&y, &x], &(0..48_000), step).len(), 3);
        // Cut-off tops stand still as well, and are no gap; nor is a drive that ends.
        let flat: Vec<f32> = x.iter().map(|v| v.clamp(-0.4, 0.35)).collect();
        assert!(held(&[&flat], &(0..48_000), step).is_empty());
        let mut ends = x;
        ends[24_000..].fill(0.0);
        assert!(held(&[&ends], &(0..48_000), step).is_empty());
    }
}
