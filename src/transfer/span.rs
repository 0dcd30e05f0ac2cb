//! Where in a take the drive is, and where silence.

use std::ops::Range;

use super::sums;

/// Envelope block; one period of 40 Hz, so that the lowest tones do not ripple it much.
const BLOCK_S: f64 = 0.025;
/// Pauses shorter than this belong to the drive.
const JOIN_S: f64 = 0.3;

/// Levels of a channel's blocks and the threshold between silence and drive; `None` where nothing stands out.
fn envelope(x: &[f32], rate_hz: f64) -> Option<(Vec<f64>, f64, usize)> {
    let block = ((BLOCK_S * rate_hz) as usize).max(1);
    if x.len() < 4 * block {
        return None;
    }
    let mean = sums::mean(x);
    let rms = |c: &[f32]| (sums::squares_about(c, mean) / c.len() as f64).sqrt();
    let level: Vec<f64> = x.chunks(block).map(rms).collect();
    let (mut ranks, twentieth) = (level.clone(), level.len() / 20);
    let top = sums::ranked(&mut ranks, level.len() - 1 - twentieth);
    let floor = sums::ranked(&mut ranks, twentieth);
    if top <= 0.0 || top < 4.0 * floor {
        return None;
    }
    // Between floor and top, nearer to the floor: fades and quiet ends belong to the drive.
    Some((level, (3.0 * floor).max(0.003 * top), block))
}

/// The active stretch of a channel, in frames, found from its envelope: from the first to the last part of the drive, pauses
/// between them included; `None` where nothing stands out.
pub fn active(x: &[f32], rate_hz: f64) -> Option<Range<usize>> {
    let (level, threshold, block) = envelope(x, rate_hz)?;
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
    let strongest = runs.iter().map(|r| r.1).fold(0.0, f64::max);
    // A click in the silence is short and weak against the drive.
    let mut parts = runs
        .iter()
        .filter(|r| r.1 > 0.02 * strongest && r.0.len() >= 3)
        .map(|r| &r.0);
    let first = parts.next()?;
    let last = parts.next_back().unwrap_or(first);
    Some(first.start.saturating_sub(1) * block..((last.end + 1) * block).min(x.len()))
}

/// Pauses within the active stretch, in frames, what rings on after the sound left out.
pub fn pauses(x: &[f32], active: &Range<usize>, rate_hz: f64) -> Vec<Range<usize>> {
    let Some((level, threshold, block)) = envelope(x, rate_hz) else {
        return Vec::new();
    };
    let wait = (WAIT_S * rate_hz) as usize + block;
    let mut out = Vec::new();
    let mut quiet: Option<usize> = None;
    for (i, l) in level.iter().enumerate() {
        let at = i * block;
        if *l < threshold && active.contains(&at) {
            quiet.get_or_insert(at);
        } else if let Some(start) = quiet.take() {
            let pause = start + wait..at.saturating_sub(block);
            if pause.len() as f64 > LEAST_PAUSE_S * rate_hz && pause.end < active.end {
                out.push(pause);
            }
        }
    }
    out
}

/// Pauses shorter than this are no silence to measure noise in.
const LEAST_PAUSE_S: f64 = 0.15;
/// The end of a sweep leaves only the AC coupling's slow tail, and that is small; a short wait is enough.
const WAIT_S: f64 = 0.06;

/// The silences: before the active stretch, in its pauses, and after the answer has died away.
pub fn silences(active: &Range<usize>, pauses: Vec<Range<usize>>, frames: usize, rate_hz: f64) -> Vec<Range<usize>> {
    let wait = (WAIT_S * rate_hz) as usize;
    let guard = (0.005 * rate_hz) as usize;
    let before = std::iter::once(0..active.start.saturating_sub(guard));
    let after = std::iter::once((active.end + wait).min(frames)..frames);
    before.chain(pauses).chain(after).filter(|r| !r.is_empty()).collect()
}

/// Silences less what is within `clear` frames of any of the bursts.
pub fn without(silences: &[Range<usize>], bursts: &[usize], clear: usize) -> Vec<Range<usize>> {
    let mut out = silences.to_vec();
    for at in bursts {
        let (from, to) = (at.saturating_sub(clear), at + clear);
        let halves = |r: Range<usize>| [r.start..r.end.min(from).max(r.start), r.start.max(to).min(r.end)..r.end];
        out = out.into_iter().flat_map(halves).filter(|r| !r.is_empty()).collect();
    }
    out
}
