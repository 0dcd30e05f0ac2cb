//! What samples and the clock on the wall tell of a take that nobody reported anything of.

/// Both devices may run at one wrong rate, and then no sample shows it, but the clock on the wall does. Blocks arrive
/// unevenly, so only what no jitter explains is told: the distance of 44.1 from 48 kHz over a few seconds.
pub(super) fn wrong_pace(frames: usize, seconds: f64, rate: f64) -> Option<String> {
    let nominal = frames as f64 / rate;
    ((seconds - nominal).abs() > 0.06 * nominal + 0.1).then(|| {
        let real = frames as f64 / seconds / 1000.0;
        format!(
            "the sound input ran at about {real:.1} kHz, and {:.1} kHz was asked for",
            rate / 1000.0
        )
    })
}

/// A stretch of exact zeros on every channel recorded, after the input has been heard and while the drive still sounds: a
/// converter is never so quiet, so the connection to it is dead. Returns its first frame and its length.
///
/// The drive may hold silence between its parts, and a coarse converter turns that into zeros: only what is longer than
/// any such pause (and than 50 ms) counts.
pub(super) fn silent_gap(drive: &[f32], tracks: &[&[f32]], rate: u32) -> Option<(usize, usize)> {
    let peak = drive.iter().fold(0.0_f32, |a, x| a.max(x.abs()));
    let loud = |x: &f32| x.abs() > 1e-3 * peak;
    let (first, last) = (drive.iter().position(loud)?, drive.iter().rposition(loud)?);
    let pause = longest_run(first..last, |i| !loud(&drive[i])).map_or(0, |(_, n)| n);
    let frames = tracks.iter().map(|t| t.len()).max()?;
    let zero = |i: usize| tracks.iter().all(|t| t.get(i).is_none_or(|x| *x == 0.0));
    let heard = (0..frames).find(|&i| !zero(i))?;
    // The answer comes later than the drive, so up to `last` the drive sounds for certain.
    longest_run(heard.max(first)..frames.min(last), zero).filter(|&(_, n)| n > pause + rate as usize / 20)
}

/// Start and length of the longest run of indices for which `is` holds.
fn longest_run(range: std::ops::Range<usize>, is: impl Fn(usize) -> bool) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let mut run = 0;
    for i in range {
        run = if is(i) { run + 1 } else { 0 };
        if run > best.map_or(0, |(_, n)| n) {
            best = Some((i + 1 - run, run));
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_input_is_told_from_a_pause_of_the_drive() {
        let rate = 1000;
        let mut drive = vec![0.0; 3000];
        for part in [500..1200, 1600..2500] {
            drive[part].fill(0.5);
        }
        let late = |n: usize| -> Vec<f32> { (0..3000).map(|i| if i < n { 0.0 } else { drive[i - n] }).collect() };
        let (alive, quiet) = (late(80), vec![0.0; 3000]);
        assert_eq!(silent_gap(&drive, &[&alive], rate), None);
        assert_eq!(
            silent_gap(&drive, &[&alive, &quiet], rate),
            None,
            "one channel may be dead silent"
        );
        assert_eq!(
            silent_gap(&drive, &[&quiet], rate),
            None,
            "never heard: left to the analysis"
        );
        let mut dead = alive.clone();
        dead[1900..].fill(0.0);
        assert_eq!(silent_gap(&drive, &[&dead], rate), Some((1900, 2499 - 1900)));
        let mut noisy = alive;
        noisy.iter_mut().for_each(|x| *x += 1e-6);
        noisy[1000..1600].fill(0.0);
        assert_eq!(silent_gap(&drive, &[&noisy], rate), Some((1000, 600)));
    }

    #[test]
    fn only_a_pace_that_no_jitter_explains_is_told() {
        assert_eq!(wrong_pace(48_000 * 6, 6.3, 48_000.0), None);
        assert_eq!(wrong_pace(48_000, 1.1, 48_000.0), None);
        let said = wrong_pace(44_100 * 8, 8.0, 48_000.0);
        assert_eq!(
            said.as_deref(),
            Some("the sound input ran at about 44.1 kHz, and 48.0 kHz was asked for")
        );
    }
}
