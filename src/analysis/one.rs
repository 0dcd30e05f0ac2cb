//! One-channel takes: the drive file stands for the reference; latency and clock are found first, then fitted.

use std::f64::consts::TAU;
use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::{Prepared, Work, findings, fit_all};
use crate::capture::{Provenance, Take};
use crate::fft;
use crate::fit::model::Param;
use crate::fit::{self, Nuisance, Setup};
use crate::record::Code;
use crate::transfer::align;

/// Latency left after alignment may be this wrong.
const DELAY_REACH_S: f64 = 0.002;
/// Speeds at which a drive comes back when output and input run at different rates.
const RATES: [f64; 6] = [44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0];
/// Clock differences below this are nobody's business.
const DRIFT_PPM: f64 = 90.0;
/// Scatter of the residuals in units of the noise above which a one-channel take is searched for lost samples.
const DOUBTFUL: f64 = 1.5;
/// A take that is cut within the drive misses what the AC coupling remembers of what came before.
const CUT_BOTTOM_HZ: f64 = 120.0;
/// A piece of a sweep is narrow, and chance gives it more: its score has to be so many times as high.
const SURELY: f64 = 4.0;
/// In so many pieces the drive is looked for one by one.
const PIECES: usize = 8;
/// Where the linear term of the clock is exact enough.
const SETTLED_PPM: f64 = 0.02;

impl Work<'_> {
    /// Latency and clock of a take whose reference channel holds the drive.
    pub(super) fn clock_of_reference(&mut self, reference: &[f32], drive: &[f32]) {
        let Some(active) = drive_span(drive, self.rate) else {
            return;
        };
        let Some(coarse) = align::coarse(reference, drive, self.rate, 1.0).filter(|a| a.score > align::HEARD) else {
            if !self.mismatch(reference, drive, 0.0) {
                let note =
                    "the reference channel does not hold this drive file's signal: latency and clock stay unknown";
                self.notes.push(note.into());
            }
            return;
        };
        let rough = align::looks(reference, drive, &active, coarse.latency, 0.0, self.rate, 5_000.0);
        let ppm = align::clock(&rough).unwrap_or(0.0);
        let coarse = right_period(reference, drive, &active, coarse, ppm, self.rate);
        let looks = align::looks(reference, drive, &active, coarse.latency, ppm, self.rate, 15_000.0);
        if let Some((tau, more)) = align::straight(&looks) {
            let ppm = ppm + more;
            let middle = 0.5 * (active.start + active.end) as f64;
            let first = coarse.latency / self.rate + tau + middle * ppm * 1e-6 / self.rate;
            self.set_clock(first, ppm);
        }
    }

    fn set_clock(&mut self, latency_s: f64, ppm: f64) {
        self.capture.latency_s = Some(latency_s);
        self.capture.clock_ppm = Some(ppm);
        if ppm.abs() >= DRIFT_PPM {
            self.findings.push(findings::clock_drift(ppm));
        }
    }

    /// Looks whether the drive came back at another speed; raises the finding if so.
    fn mismatch(&mut self, heard: &[f32], drive: &[f32], score: f64) -> bool {
        let mut speeds: Vec<f64> = RATES.iter().flat_map(|a| RATES.iter().map(move |b| a / b)).collect();
        speeds.retain(|s| (s - 1.0).abs() > 0.01 && (0.2..5.0).contains(s));
        speeds.sort_by(f64::total_cmp);
        speeds.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-6);
        let best = speeds
            .into_iter()
            .filter_map(|s| align::coarse(heard, drive, self.rate, s).map(|a| (s, a.score)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        match best {
            Some((speed, s)) if s > align::HEARD && s > 2.0 * score => {
                self.findings.push(findings::rate_mismatch(speed));
                true
            }
            _ => false,
        }
    }

    pub(super) fn one_channel(&mut self, drive: &[f32]) {
        let take = &self.take.pickup;
        let Some(active) = drive_span(drive, self.rate) else {
            self.findings.push(findings::reference_missing());
            return;
        };
        if take.iter().all(|v| *v == take[0]) {
            self.findings.push(findings::no_signal());
            return;
        }
        let found = align::coarse(take, drive, self.rate, 1.0);
        let score = found.map_or(0.0, |a| a.score);
        // A drive that was heard at the wrong speed still correlates a little: look for a better one unless it is clear.
        if score < 40.0 && self.mismatch(take, drive, score) {
            return;
        }
        let Some(coarse) = found.filter(|a| a.score > align::HEARD) else {
            self.findings.push(findings::no_signal());
            return;
        };
        let looks = align::looks(take, drive, &active, coarse.latency, 0.0, self.rate, 5_000.0);
        let clock = align::clock(&looks);
        let coarse = right_period(take, drive, &active, coarse, clock.unwrap_or(0.0), self.rate);
        let middle = 0.5 * (active.start + active.end) as f64;
        let mut place = Place {
            middle,
            // The centroid of the correlation is that of the middle of the drive.
            arrival: coarse.latency + middle,
            ppm: clock.unwrap_or(0.0),
        };
        let Some(mut prepared) = self.place(drive, &active, place) else {
            self.findings.push(findings::no_signal());
            return;
        };
        if !self.something_there(&prepared) {
            return;
        }
        let fits = self.settle(drive, &active, &mut place, &mut prepared, clock.is_some());
        // A sweep at the wrong speed is heard all right, only nothing fits.
        let believable = fits.as_ref().is_some_and(|f| f.best().scatter < 30.0) && place.ppm.abs() < 450.0;
        if !believable && self.mismatch(take, drive, score) {
            return;
        }
        let Some(fits) = fits else {
            match self.lost(drive, &active, place, None) {
                Some(at) => self.samples_lost(at),
                None => self.findings.push(findings::no_fit(self.heard(&prepared))),
            }
            return;
        };
        let first = (place.arrival - place.middle / (1.0 + place.ppm * 1e-6)) / self.rate;
        self.set_clock(first, place.ppm);
        // Tops that are cut off make a misfit of their own.
        let doubtful = !self.raised(Code::Clipped) && (!prepared.noise_from_silence || fits.best().scatter > DOUBTFUL);
        let slip = self
            .slipped(drive, &active, place, &fits)
            .or_else(|| doubtful.then(|| self.lost(drive, &active, place, Some(&fits)))?);
        if let Some(at) = slip {
            self.samples_lost(at);
        }
        if !self.rejected() {
            self.report(&prepared, &fits, true);
        }
    }

    fn samples_lost(&mut self, at_s: f64) {
        self.capture.dropouts += 1;
        self.findings.push(findings::dropout(1, at_s, true));
    }

    /// Lays the drive ever closer to where it arrived, until the fit asks for no more, then fits all.
    fn settle(
        &self,
        drive: &[f32],
        active: &Range<usize>,
        place: &mut Place,
        prepared: &mut Prepared,
        clock_known: bool,
    ) -> Option<super::Fits> {
        let (delay, ppm) = search(prepared, clock_known)?;
        place.arrival += delay * self.rate;
        place.ppm += ppm;
        let mut settled = false;
        for _ in 0..8 {
            *prepared = self.place(drive, active, *place)?;
            let fit = fit::second_order(&prepared.bins, &prepared.setup)?;
            let get = |p| fit.model.get(&fit.theta, p).unwrap_or(0.0);
            let ppm = get(Param::Clock);
            if ppm.abs() < SETTLED_PPM {
                settled = true;
                break;
            }
            place.arrival += get(Param::Delay) * self.rate;
            place.ppm += ppm;
        }
        if !settled {
            return None;
        }
        let fits = fit_all(prepared, self.options.model == super::Choice::Eddy)?;
        let best = fits.best();
        let get = |p| best.model.get(&best.theta, p).unwrap_or(0.0);
        // What is left is small enough to be linear.
        place.arrival += get(Param::Delay) * self.rate;
        place.ppm += get(Param::Clock);
        Some(fits)
    }

    /// Spectra with the drive laid where it is taken to have arrived.
    fn place(&self, drive: &[f32], active: &Range<usize>, at: Place) -> Option<Prepared> {
        let slow = 1.0 / (1.0 + at.ppm * 1e-6);
        let in_take = |n: usize| at.arrival + (n as f64 - at.middle) * slow;
        let frames = self.take.pickup.len();
        let start = in_take(active.start).max(0.0) as usize;
        let end = (in_take(active.end).max(0.0) as usize).min(frames);
        if end < start + frames / 50 {
            return None;
        }
        let cut = self.cut(Some(start..end), Vec::new());
        let keep = self.keep(&cut.record);
        let arrival = at.arrival - cut.record.range.start as f64;
        let (x, dx) = align::spectrum(drive, at.middle, arrival, at.ppm, &cut.record, keep);
        let y = cut.record.transform(&self.take.pickup, keep);
        let mut p = self.prepare(cut, x, y, None, true);
        p.bins.x_clock = Some(dx);
        p.setup.nuisance.push(free(Param::Delay, DELAY_REACH_S));
        p.setup.nuisance.push(free(Param::Clock, 50.0));
        Some(p)
    }

    /// Where samples are lost or repeated in a take that the model does not follow; the time.
    fn lost(&self, drive: &[f32], active: &Range<usize>, at: Place, whole: Option<&super::Fits>) -> Option<f64> {
        self.torn(drive, active)
            .or_else(|| self.slipped_against_half(drive, active, at, whole))
    }

    /// Whether two pieces of the drive arrived at delays that no clock brings about. Returns the time at which the later one
    /// was heard.
    fn torn(&self, drive: &[f32], active: &Range<usize>) -> Option<f64> {
        let frames = self.take.pickup.len() as f64;
        let size = active.len().div_ceil(PIECES);
        let heard: Vec<(usize, f64)> = (active.start..active.end)
            .step_by(size)
            .filter_map(|start| {
                let end = (start + size).min(active.end);
                let found = align::coarse(&self.take.pickup, &only(drive, start..end), self.rate, 1.0)?;
                // A piece that the take does not hold as a whole is cut, not torn.
                let inside = found.latency + start as f64 > -0.03 * self.rate
                    && found.latency + end as f64 <= frames + 0.03 * self.rate;
                (inside && found.score > SURELY * align::HEARD).then_some((start, found.latency))
            })
            .collect();
        let period = align::period(drive, self.rate).map_or(0.0, |p| p as f64);
        heard.windows(2).find_map(|pair| {
            let [(a, early), (b, late)] = [pair[0], pair[1]];
            let clock_can = 500e-6 * (b - a + size) as f64 + 0.002 * self.rate;
            // By a whole period of the drive is no other place.
            let apart = (early - late).abs();
            let apart = if period > 0.0 {
                (apart - period * (apart / period).round()).abs()
            } else {
                apart
            };
            (apart > clock_can).then(|| ((late + b as f64) / self.rate).max(0.0))
        })
    }

    /// A slip that the clock took up, since each frequency came once before and once after it: a whole that fits badly while
    /// half of it fits well, and against that half the other arrives at another delay. Returns the time.
    fn slipped_against_half(
        &self,
        drive: &[f32],
        active: &Range<usize>,
        at: Place,
        whole: Option<&super::Fits>,
    ) -> Option<f64> {
        let centre = (active.start + active.end) / 2;
        let all = self.take.pickup.len();
        let border = (at.seen_from(centre as f64).arrival.max(0.0) as usize).min(all);
        let halves = [(0..border, active.start..centre), (border..all, centre..active.end)];
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
            let found = align::coarse(&take.pickup, &only(drive, played.clone()), self.rate, 1.0)?;
            let middle = 0.5 * (played.start + played.end) as f64;
            let mut place = Place {
                middle,
                arrival: found.latency + middle,
                ppm: 0.0,
            };
            let mut prepared = half.place(drive, active, place)?;
            let fits = half.settle(drive, active, &mut place, &mut prepared, false)?;
            let better = whole.is_none_or(|w| fits.best().scatter < 0.7 * w.best().scatter);
            if !better && prepared.noise_from_silence {
                return None;
            }
            place.arrival += frames.start as f64;
            let place = place.seen_from(at.middle);
            let lags = self.lags(drive, active, place, &fits);
            let at = step(&lags, 1.0 / self.rate).or_else(|| gone(&lags, frames.start == 0))?;
            Some((place.arrival / self.rate + at).max(0.0))
        })
    }

    /// Whether the take slips against the drive somewhere: samples lost or repeated. Returns the time.
    fn slipped(&self, drive: &[f32], active: &Range<usize>, at: Place, fits: &super::Fits) -> Option<f64> {
        // A look that would add up at another delay but does not at this one; several side by side, since one may err.
        let slips: Vec<f64> = self
            .lags(drive, active, at, fits)
            .iter()
            .filter(|l| l.best > 0.8 && l.here < 0.7 * l.best)
            .map(|l| l.time)
            .collect();
        (slips.len() >= 3).then(|| (at.arrival / self.rate + slips[0]).max(0.0))
    }

    /// How well each look adds up at its best delay within 4 ms, and at the one that was fitted.
    fn lags(&self, drive: &[f32], active: &Range<usize>, at: Place, fits: &super::Fits) -> Vec<Lag> {
        let fit = fits.best();
        let latency = at.arrival - at.middle;
        let looks = align::looks(&self.take.pickup, drive, active, latency, at.ppm, self.rate, 10_000.0);
        let (Some(first), Some(spacing)) = (looks.freq.first(), looks.freq.get(1).map(|f| f - looks.freq[0])) else {
            return Vec::new();
        };
        let offset = (first / spacing).round() as usize;
        let length = fft::good_length(4 * (self.rate / spacing) as usize);
        let reach = (0.004 * spacing * length as f64) as usize;
        let turns: Vec<Complex64> = looks
            .freq
            .iter()
            .map(|f| fit.model.response(&fit.theta, *f).conj())
            .map(|h| h / h.norm().max(f64::MIN_POSITIVE))
            .collect();
        let one = |time: f64, cross: &[Complex64]| {
            let mut bins = vec![Complex64::new(0.0, 0.0); offset + cross.len()];
            let (mut all, mut squares, mut bent, mut bent_squares) = (0.0, 0.0, 0.0, 0.0);
            for (k, (v, turn)) in cross.iter().zip(&turns).enumerate() {
                bins[offset + k] = v * turn;
                let (w, omega2) = (v.norm(), (TAU * looks.freq[k]).powi(2));
                all += w;
                squares += w * w;
                bent += w * omega2;
                bent_squares += w * w * omega2;
            }
            // The inverse transform holds the sum over both signs of the frequency.
            let sums = fft::inverse(&bins, length);
            let scale = 0.5 * length as f64 / f64::max(all, f64::MIN_POSITIVE);
            let top = (0..=reach)
                .chain(length - reach..length)
                .max_by(|a, b| sums[*a].total_cmp(&sums[*b]))
                .unwrap_or(0);
            let (l, m, r) = (sums[(top + length - 1) % length], sums[top], sums[(top + 1) % length]);
            let bend = 2.0 * m - l - r;
            let between = if bend > 0.0 {
                (0.5 * (r - l) / bend).clamp(-0.5, 0.5)
            } else {
                0.0
            };
            let steps = if top > length / 2 {
                top as f64 - length as f64
            } else {
                top as f64
            } + between;
            let best = m * scale;
            // Variance of the phases from what they lack to add up, over as many as count.
            let phase2 = (1.0 / best.clamp(1e-3, 1.0).powi(2) - 1.0).max(all.powi(-2) * squares * 1e-3);
            Lag {
                time,
                loud: all,
                best,
                here: sums[0] * scale,
                delay_s: steps / (spacing * length as f64),
                u_s: (phase2 * bent_squares).sqrt() / f64::max(bent, f64::MIN_POSITIVE),
            }
        };
        looks.time.iter().zip(&looks.cross).map(|(t, c)| one(*t, c)).collect()
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

/// The drive with all silent but a piece.
fn only(drive: &[f32], piece: Range<usize>) -> Vec<f32> {
    let mut part = vec![0.0; drive.len()];
    part[piece.clone()].copy_from_slice(&drive[piece]);
    part
}

/// A drive that repeats itself correlates at the wrong period too, and under a clock difference even better: of the periods
/// within reach the one at which the looks add up best, counted over those that lie within the take.
fn right_period(
    take: &[f32],
    drive: &[f32],
    active: &Range<usize>,
    found: align::Alignment,
    ppm: f64,
    rate: f64,
) -> align::Alignment {
    /// More periods than this to either side are not tried.
    const MOST: i64 = 12;
    let Some(period) = align::period(drive, rate) else {
        return found;
    };
    let reach = ((active.len() / period) as i64).min(MOST);
    let here = (-reach..=reach).map(|k| found.latency + (k * period as i64) as f64 / (1.0 + ppm * 1e-6));
    let score = |latency: f64| {
        let looks = align::looks(take, drive, active, latency, ppm, rate, 5_000.0);
        align::agreement(&looks, 0.0)
    };
    let best = here.map(|l| (l, score(l))).max_by(|a, b| a.1.total_cmp(&b.1));
    align::Alignment {
        latency: best.map_or(found.latency, |b| b.0),
        ..found
    }
}

/// Where the drive lies: its sample `middle` arrives at `arrival` (samples from the take's start).
#[derive(Debug, Clone, Copy)]
struct Place {
    middle: f64,
    arrival: f64,
    ppm: f64,
}

impl Place {
    /// The same place, told by another sample of the drive.
    fn seen_from(self, middle: f64) -> Place {
        Place {
            middle,
            arrival: self.arrival + (middle - self.middle) / (1.0 + self.ppm * 1e-6),
            ppm: self.ppm,
        }
    }
}

fn free(param: Param, reach: f64) -> Nuisance {
    Nuisance {
        param,
        start: 0.0,
        lower: -reach,
        upper: reach,
        prior: None,
        stated: false,
    }
}

/// The part of a drive file that is not silence: exact, since it is a file and not a recording.
fn drive_span(drive: &[f32], rate: f64) -> Option<Range<usize>> {
    let top = drive.iter().fold(0f32, |m, v| m.max(v.abs()));
    if top <= 0.0 {
        return None;
    }
    let loud = |v: &f32| v.abs() > 1e-3 * top;
    let start = drive.iter().position(loud)?;
    let end = drive.iter().rposition(loud)? + 1;
    let margin = (0.03 * rate) as usize;
    Some(start.saturating_sub(margin)..(end + margin).min(drive.len()))
}

/// Delay in seconds and clock in ppm that let a second-order response explain the lower part of the band best, then more
/// of it. The clock is searched only where the drive played each frequency once and so could not tell it before.
fn search(p: &Prepared, clock_known: bool) -> Option<(f64, f64)> {
    let around = |at: f64, reach: f64, step: f64| -> Vec<f64> {
        let n = (reach / step).round() as i64;
        (-n..=n).map(|i| at + i as f64 * step).collect()
    };
    // The AC coupling turns the phase of the lows much as a clock difference would, where each was played once.
    let bottom = if clock_known { 60.0 } else { 250.0 };
    let upto = |top: f64| Setup {
        band: [p.setup.band[0].max(bottom), p.setup.band[1].min(top)],
        ..p.setup.clone()
    };
    let clocks = |at: f64, reach: f64, step: f64| if clock_known { vec![at] } else { around(at, reach, step) };
    let low = upto(if clock_known { 2_500.0 } else { 2_000.0 });
    let (mut delay, mut ppm) =
        fit::best_delay(&p.bins, &low, &around(0.0, 1.2e-3, 40e-6), &clocks(0.0, 400.0, 25.0), 6)?;
    for (top, reach, step, ppm_reach, ppm_step) in [
        (2_500.0, 60e-6, 10e-6, 30.0, 7.5),
        (7_000.0, 45e-6, 5e-6, 10.0, 2.5),
        (12_000.0, 10e-6, 2.5e-6, 3.0, 1.0),
    ] {
        (delay, ppm) = fit::best_delay(
            &p.bins,
            &upto(top),
            &around(delay, reach, step),
            &clocks(ppm, ppm_reach, ppm_step),
            6,
        )?;
    }
    Some((delay, ppm))
}
