//! Where in a take the drive is, and where silence.

use std::ops::Range;

/// Envelope block; one period of 40 Hz, so that the lowest tones do not ripple it much.
const BLOCK_S: f64 = 0.025;
/// Pauses shorter than this belong to the drive.
const JOIN_S: f64 = 0.3;

/// The active stretch of a channel, in frames, found from its envelope; `None` where nothing stands out.
pub fn active(x: &[f32], rate_hz: f64) -> Option<Range<usize>> {
    let block = ((BLOCK_S * rate_hz) as usize).max(1);
    if x.len() < 4 * block {
        return None;
    }
    let mean = x.iter().map(|v| f64::from(*v)).sum::<f64>() / x.len() as f64;
    let level: Vec<f64> = x
        .chunks(block)
        .map(|c| (c.iter().map(|v| (f64::from(*v) - mean).powi(2)).sum::<f64>() / c.len() as f64).sqrt())
        .collect();
    let mut sorted = level.clone();
    sorted.sort_by(f64::total_cmp);
    let top = sorted[sorted.len() - 1 - sorted.len() / 20];
    let floor = sorted[sorted.len() / 20];
    if top <= 0.0 || top < 4.0 * floor {
        return None;
    }
    // Between floor and top, nearer to the floor: fades and quiet ends belong to the drive.
    let threshold = (3.0 * floor).max(0.003 * top);
    let mut runs: Vec<(Range<usize>, f64)> = Vec::new();
    let join = (JOIN_S / BLOCK_S) as usize;
    for (i, l) in level.iter().enumerate() {
        if *l < threshold {
            continue;
        }
        match runs.last_mut() {
            Some((r, energy)) if i <= r.end + join => {
                r.end = i + 1;
                *energy += l * l;
            }
            _ => runs.push((i..i + 1, l * l)),
        }
    }
    let (best, _) = runs.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let start = best.start.saturating_sub(1) * block;
    let end = ((best.end + 1) * block).min(x.len());
    Some(start..end)
}

/// The silences around an active stretch: before it, and after the answer has died away.
pub fn silences(active: &Range<usize>, frames: usize, rate_hz: f64) -> [Range<usize>; 2] {
    // The end of a sweep leaves only the AC coupling's slow tail, and that is small; a short wait is enough.
    let wait = (0.06 * rate_hz) as usize;
    let guard = (0.005 * rate_hz) as usize;
    [
        0..active.start.saturating_sub(guard),
        (active.end + wait).min(frames)..frames,
    ]
}
