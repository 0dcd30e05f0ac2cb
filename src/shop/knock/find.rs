//! Where the taps are, which of them can be used, and where it is quiet.

use super::band::{Band, FLANK_S};
use crate::record::knock::LeftOut;
use crate::transfer::faults;

/// A tap's level is its rms over so long from the tap on.
pub const WINDOW_S: f64 = 0.25;
/// After so long a tap has died away, as far as the noise goes.
const TAIL_S: f64 = 0.35;
/// The envelope's block.
const BLOCK_S: f64 = 0.005;
/// Blocks of a bounce: what comes within so many of a tap's first belongs to it.
const BOUNCE: usize = 12;
/// A tap's block has so many times the power of the quiet ones (12 dB).
const ABOVE: f64 = 16.0;
/// ... rises over all of the 60 ms before, and over the 10 ms before, by so much: beats of two modes do not do both.
const RISE: f64 = 1.5;
const STEEP: f64 = 8.0;
/// Blocks at either end that are not looked at: there the hum begins and ends, and rings in the filters.
const AT_ENDS: usize = 6;
/// A tap weaker than the third strongest by so much (26 dB) is a rod that was put down.
const WEAKEST: f64 = 1.0 / 400.0;
/// Taps nearer than this spoil each other.
pub const APART_S: f64 = 0.5;
/// At full scale, as near as converters get.
const FULL: f64 = 0.999;

/// All that stands out, taps or not, and those that are taps.
#[derive(Default)]
pub struct Found {
    pub events: Vec<Event>,
    pub taps: Vec<Event>,
}

/// Something that stands out: when, the first block of its, and its power in its loudest block.
#[derive(Debug, Clone, Copy)]
pub struct Event {
    pub at_s: f64,
    first: usize,
    power: f64,
}

/// `least` is the power that rounding alone leaves.
pub fn taps(band: &Band, least: f64) -> Found {
    let block = ((BLOCK_S * band.rate) as usize).max(1);
    let mean_square = |c: &[f64]| c.iter().map(|v| v * v).sum::<f64>() / block as f64;
    let power: Vec<f64> = band.bare.chunks_exact(block).map(mean_square).collect();
    let mut sorted = power.clone();
    sorted.sort_by(f64::total_cmp);
    let Some(quiet) = sorted.get(sorted.len() / 4) else {
        return Found::default();
    };
    let threshold = ABOVE * quiet.max(least);
    let mut events: Vec<Event> = Vec::new();
    let last = power.len().saturating_sub(AT_ENDS);
    for (i, p) in power.iter().enumerate().take(last).skip(AT_ENDS) {
        let before = power.get(i.saturating_sub(BOUNCE)..i).unwrap_or_default();
        let highest = before.iter().copied().fold(0.0, f64::max);
        let lowest = before.iter().rev().take(2).copied().fold(f64::INFINITY, f64::min);
        if !(*p > threshold && *p > RISE * highest && *p > STEEP * lowest) {
            continue;
        }
        match events.last_mut() {
            Some(e) if i - e.first <= BOUNCE => e.power = e.power.max(*p),
            _ => events.push(Event {
                at_s: start(band, i * block, block),
                first: i,
                power: *p,
            }),
        }
    }
    let mut powers: Vec<f64> = events.iter().map(|e| e.power).collect();
    powers.sort_by(|a, b| b.total_cmp(a));
    let least = powers.get(2).or(powers.last()).map_or(0.0, |p| p * WEAKEST);
    Found {
        taps: events.iter().filter(|e| e.power >= least).copied().collect(),
        events,
    }
}

/// The tap's beginning, in seconds: where the signal first has a tenth of the height that it soon gets.
fn start(band: &Band, at: usize, block: usize) -> f64 {
    let from = at.saturating_sub(block);
    let to = (at + 4 * block).min(band.bare.len());
    let near = band.bare.get(from..to).unwrap_or_default();
    let top = near.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let first = near.iter().position(|v| v.abs() >= 0.1 * top).unwrap_or(block);
    (from + first) as f64 / band.rate
}

/// Why a tap cannot be used; `None` where it can, as far as the samples tell.
pub fn left_out(found: &Found, tap: &Event, seconds: f64, flat: &[(usize, usize)], rate: f64) -> Option<LeftOut> {
    let at = tap.at_s;
    // What is weaker by as much as a rod that is put down adds less than 0.02 dB.
    let spoils = |e: &Event| e.at_s != at && (e.at_s - at).abs() < APART_S && e.power > WEAKEST * tap.power;
    if found.events.iter().any(spoils) {
        return Some(LeftOut::Overlap);
    }
    if at < FLANK_S + 0.03 || at + WINDOW_S + 0.02 > seconds {
        return Some(LeftOut::Cut);
    }
    let window = ((at - 0.005) * rate) as usize..((at + WINDOW_S) * rate) as usize;
    let clipped = flat.iter().any(|(a, b)| *a < window.end && *b > window.start);
    clipped.then_some(LeftOut::Clipped)
}

/// Stretches of samples at full scale, or at the flat top that the recording as a whole has.
pub fn flat(samples: &[f32], step: f64) -> Vec<(usize, usize)> {
    // Noise of common inputs rides on a flat top.
    let spread = step.max(1e-4);
    let clipping = faults::clipping(samples, spread);
    let top = match clipping.runs {
        0 => FULL,
        _ => (clipping.at - 2.0 * spread).min(FULL),
    };
    let mut out: Vec<(usize, usize)> = Vec::new();
    for (i, _) in samples.iter().enumerate().filter(|(_, v)| f64::from(v.abs()) >= top) {
        match out.last_mut() {
            Some(run) if run.1 + 1 >= i => run.1 = i + 1,
            _ => out.push((i, i + 1)),
        }
    }
    out
}

/// Starts of windows that no tap touches, each with room for the flank before it.
pub fn quiet(found: &Found, seconds: f64) -> Vec<f64> {
    let mut out = Vec::new();
    let times = found.events.iter().map(|e| e.at_s);
    // What stands at the recording's ends counts as a tap that has long died away.
    let starts = std::iter::once(-TAIL_S).chain(times.clone());
    for (a, b) in starts.zip(times.chain([seconds])) {
        let mut at = a + TAIL_S + FLANK_S + 0.01;
        while at + WINDOW_S < b - 0.03 {
            out.push(at);
            at += WINDOW_S;
        }
    }
    out
}
