//! Samples lost or repeated in a one-channel take, where there is no reference to lose them too.

use std::f64::consts::TAU;
use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::Work;
use super::fits::Fits;
use crate::capture::{Provenance, Take};
use crate::fft;
use crate::fit::Fitted;
use crate::transfer::align::{Drive, Place};
use crate::transfer::hear::{self, Search};
use crate::transfer::looks::Seen;

/// A take that is cut within the drive misses what the AC coupling remembers of what came before.
const CUT_BOTTOM_HZ: f64 = 120.0;
/// A piece of a sweep is narrow, and chance gives it more: its score has to be so many times as high.
const SURELY: f64 = 4.0;
/// In so many pieces the drive is looked for one by one.
const PIECES: usize = 8;

impl Work<'_> {
    /// Where samples are lost or repeated in a take that the model does not follow; the time.
    pub(super) fn lost(&self, (drive, search): (&Drive, &Search), at: Place, whole: Option<&Fits>) -> Option<f64> {
        self.torn(drive, search)
            .or_else(|| self.slipped_against_half(drive, at, whole))
    }

    /// Whether two pieces of the drive arrived at delays that no clock brings about. Returns the time at which the later one
    /// was heard.
    fn torn(&self, drive: &Drive, search: &Search) -> Option<f64> {
        let (frames, active) = (self.take.pickup.len() as f64, &drive.active);
        let size = active.len().div_ceil(PIECES);
        let near = 0.03 * self.rate;
        let heard = |start: usize| {
            let end = (start + size).min(active.end);
            let found = search.piece(start..end)?;
            // A piece that the take does not hold as a whole is cut, not torn.
            let inside = found.latency + start as f64 > -near && found.latency + end as f64 <= frames + near;
            (inside && found.score > SURELY * hear::HEARD).then_some((start, found.latency))
        };
        let heard: Vec<(usize, f64)> = active.clone().step_by(size).filter_map(heard).collect();
        let period = search.period().map_or(0.0, |p| p as f64);
        heard.windows(2).find_map(|pair| {
            let [(a, early), (b, late)] = [pair[0], pair[1]];
            let clock_can = 500e-6 * (b - a + size) as f64 + 0.002 * self.rate;
            // By a whole period of the drive is no other place.
            let mut apart = (early - late).abs();
            if period > 0.0 {
                apart = (apart - period * (apart / period).round()).abs();
            }
            (apart > clock_can).then(|| ((late + b as f64) / self.rate).max(0.0))
        })
    }

    /// A slip that the clock took up, since each frequency came once before and once after it: a whole that fits badly while
    /// half of it fits well, and against that half the other arrives at another delay. Returns the time.
    fn slipped_against_half(&self, drive: &Drive, at: Place, whole: Option<&Fits>) -> Option<f64> {
        let Range { start, end } = drive.active;
        let centre = (start + end) / 2;
        let all = self.take.pickup.len();
        let border = (at.seen_from(centre as f64).arrival.max(0.0) as usize).min(all);
        let halves = [(0..border, start..centre), (border..all, centre..end)];
        halves.into_iter().find_map(|(frames, played)| {
            let take = Take {
                pickup: self.take.pickup[frames.clone()].to_vec(),
                reference: None,
                provenance: Provenance::default(),
                ..*self.take
            };
            let mut half = Work::new(&take, self.options);
            half.bottom_hz = CUT_BOTTOM_HZ;
            // Neither delay nor clock of the whole is to be believed.
            let found = Search::new(&take.pickup, drive)?.piece(played.clone())?;
            let middle = 0.5 * (played.start + played.end) as f64;
            let place = Place {
                middle,
                arrival: found.latency + middle,
                ppm: 0.0,
            };
            let mut laid = half.place(drive, place, false)?;
            let fits = half.settle(drive, &mut laid)?;
            let better = whole.is_none_or(|w| fits.best().scatter < 0.7 * w.best().scatter);
            if !better && laid.prepared.noise_from_silence {
                return None;
            }
            laid.place.arrival += frames.start as f64;
            let place = laid.place.seen_from(at.middle);
            let lags = self.lags(drive, place, fits.best());
            let at = step(&lags, 1.0 / self.rate).or_else(|| gone(&lags, frames.start == 0))?;
            Some((place.arrival / self.rate + at).max(0.0))
        })
    }

    /// Whether the take slips against the drive somewhere: samples lost or repeated. Returns the time.
    pub(super) fn slipped(&self, drive: &Drive, at: Place, fits: &Fits) -> Option<f64> {
        // A look that would add up at another delay but does not at this one; several side by side, since one may err.
        let mut slips = self.lags(drive, at, fits.best());
        slips.retain(|l| l.best > 0.8 && l.here < 0.7 * l.best);
        (slips.len() >= 3).then(|| (at.arrival / self.rate + slips[0].time).max(0.0))
    }

    /// How well each look adds up at its best delay within 4 ms, and at the one that was fitted.
    fn lags(&self, drive: &Drive, at: Place, fit: &Fitted) -> Vec<Lag> {
        let looks = Seen::new(drive, 10_000.0).at(&self.take.pickup, at.arrival - at.middle, at.ppm);
        let [first, second, ..] = looks.freq[..] else {
            // Of one frequency no delay can be told.
            return Vec::new();
        };
        let spacing = second - first;
        let turn = |f: &f64| {
            let h = fit.response(*f).conj();
            h / h.norm().max(f64::MIN_POSITIVE)
        };
        let sum = Sum {
            freq: &looks.freq,
            turns: looks.freq.iter().map(turn).collect(),
            spacing,
            // A fine part of the highest note's period: of a narrow look the next period stands nearly as high.
            length: fft::good_length(32 * (looks.freq[looks.freq.len() - 1] / spacing) as usize),
        };
        let looks = looks.time.iter().zip(&looks.cross);
        looks.map(|(t, c)| sum.lag(*t, c)).collect()
    }
}

/// How the take follows the drive at one time.
struct Lag {
    /// Seconds from the middle of the drive.
    time: f64,
    /// Sum of what there is to add up.
    loud: f64,
    /// How well its frequencies add up at their best delay, of 1.
    best: f64,
    /// The same at the delay that was fitted.
    here: f64,
    /// The best delay after the fitted one, and about its uncertainty.
    delay_s: f64,
    u_s: f64,
}

/// What a look is added up with: at each frequency the answer's phase taken back.
struct Sum<'a> {
    freq: &'a [f64],
    turns: Vec<Complex64>,
    spacing: f64,
    /// Of the transform that adds up at many delays at once.
    length: usize,
}

impl Sum<'_> {
    fn lag(&self, time: f64, cross: &[Complex64]) -> Lag {
        let (length, offset) = (self.length, (self.freq[0] / self.spacing).round() as usize);
        let mut bins = vec![Complex64::new(0.0, 0.0); offset + cross.len()];
        let (mut all, mut squares, mut bent, mut bent_squares) = (0.0, 0.0, 0.0, 0.0);
        for (k, (v, turn)) in cross.iter().zip(&self.turns).enumerate() {
            bins[offset + k] = v * turn;
            let (w, omega2) = (v.norm(), (TAU * self.freq[k]).powi(2));
            all += w;
            squares += w * w;
            bent += w * omega2;
            bent_squares += w * w * omega2;
        }
        // The inverse transform holds the sum over both signs of the frequency.
        let sums = fft::inverse(&bins, length);
        let scale = 0.5 * length as f64 / f64::max(all, f64::MIN_POSITIVE);
        let reach = (0.004 * self.spacing * length as f64) as usize;
        let top = (0..=reach)
            .chain(length - reach..length)
            .max_by(|a, b| sums[*a].total_cmp(&sums[*b]))
            .unwrap_or(0);
        let (l, m, r) = (sums[(top + length - 1) % length], sums[top], sums[(top + 1) % length]);
        let bend = 2.0 * m - l - r;
        let between = match bend > 0.0 {
            true => (0.5 * (r - l) / bend).clamp(-0.5, 0.5),
            false => 0.0,
        };
        // The second half of the transform's delays are those before the fitted one.
        let whole = match top > length / 2 {
            true => top as f64 - length as f64,
            false => top as f64,
        };
        let best = m * scale;
        // Variance of the phases from what they lack to add up, over as many as count.
        let phase2 = (1.0 / best.clamp(1e-3, 1.0).powi(2) - 1.0).max(all.powi(-2) * squares * 1e-3);
        Lag {
            time,
            loud: all,
            best,
            here: sums[0] * scale,
            delay_s: (whole + between) / (self.spacing * length as f64),
            u_s: (phase2 * bent_squares).sqrt() / f64::max(bent, f64::MIN_POSITIVE),
        }
    }
}

/// The time from which on the delay stands elsewhere, by a quarter of a sample or more, and not as a clock runs.
fn step(lags: &[Lag], sample_s: f64) -> Option<f64> {
    let loudest = lags.iter().map(|l| l.loud).fold(0.0, f64::max);
    // Where a sweep leaves the looks' band only its window's skirts are seen.
    let sound: Vec<&Lag> = lags
        .iter()
        .filter(|l| l.best > 0.8 && l.u_s < 0.3 * sample_s && l.loud > 0.02 * loudest)
        .collect();
    let weight = |l: &Lag| 1.0 / (l.u_s.powi(2) + (0.02 * sample_s).powi(2));
    // Weighted least squares of a + b t, and of a + b t + s from the k-th on; (cost, s).
    let fitted = |k: Option<usize>| -> Option<(f64, f64)> {
        let size = if k.is_some() { 3 } else { 2 };
        let row = |i: usize| [1.0, sound[i].time, f64::from(u8::from(k.is_some_and(|k| i >= k)))];
        let mut normal = DMatrix::<f64>::zeros(size, size);
        let mut right = DVector::<f64>::zeros(size);
        for (i, l) in sound.iter().enumerate() {
            let (r, w) = (row(i), weight(l));
            for a in 0..size {
                right[a] += w * r[a] * l.delay_s;
                for b in 0..size {
                    normal[(a, b)] += w * r[a] * r[b];
                }
            }
        }
        let x = normal.lu().solve(&right)?;
        let cost = sound.iter().enumerate().map(|(i, l)| {
            let r = row(i);
            let model: f64 = (0..size).map(|a| r[a] * x[a]).sum();
            weight(l) * (l.delay_s - model).powi(2)
        });
        Some((cost.sum(), if size == 3 { x[2] } else { 0.0 }))
    };
    let n = sound.len();
    if n < 6 {
        return None;
    }
    let straight = fitted(None)?.0;
    let (k, (cost, size)) = (1..n)
        .filter_map(|k| Some((k, fitted(Some(k))?)))
        .min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
    let gained = (straight - cost) / (cost / (n - 3) as f64).max(1.0);
    (size.abs() > 0.25 * sample_s && gained > 60.0).then(|| 0.5 * (sound[k - 1].time + sound[k].time))
}

/// The time where looks stop adding up, or begin to, in the half that does not fit: what came there is another part of the
/// drive. `second`: it is the later half.
fn gone(lags: &[Lag], second: bool) -> Option<f64> {
    let half = lags.len().div_ceil(2);
    let follows = |i: usize| lags.get(i).is_none_or(|l| l.here > 0.9);
    // Looks of a sweep's lowest notes add up nowhere: the same time in the sound half tells which those are.
    let twin_is_sound = |i: &usize| {
        let twin = if second { i.checked_sub(half) } else { Some(i + half) };
        twin.is_some_and(|t| t < lags.len() && (t.saturating_sub(1)..=t + 1).all(follows))
    };
    let mut told: Vec<usize> = if second { half..lags.len() } else { 0..half }
        .filter(twin_is_sound)
        .collect();
    // From the outer end inwards: a knock passes, what is lost stays lost.
    if second {
        told.reverse();
    }
    let astray = told.iter().take_while(|i| lags[**i].here < 0.7).count();
    (astray >= 2).then(|| lags[told[astray - 1]].time)
}
