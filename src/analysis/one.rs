//! One-channel takes: the drive file stands for the reference; latency and clock are found first, then fitted.

use std::ops::Range;

use super::{Prepared, Work, findings, fit_all};
use crate::fit::model::Param;
use crate::fit::{self, Nuisance, Setup};
use crate::record::Level;
use crate::transfer::{align, fft};

/// Latency left after alignment may be this wrong.
const DELAY_REACH_S: f64 = 0.002;
/// Speeds at which a drive comes back when output and input run at different rates.
const RATES: [f64; 6] = [44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0];
/// Clock differences below this are nobody's business.
const DRIFT_PPM: f64 = 90.0;
/// Scatter of the residuals in units of the noise that no sound take shows.
const BAD: f64 = 3.0;
/// Where the linear term of the clock is exact enough.
const SETTLED_PPM: f64 = 0.02;

impl Work<'_> {
    /// Latency and clock of a take whose reference channel holds the drive.
    pub(super) fn clock_of_reference(&mut self, reference: &[f32], drive: &[f32]) {
        let Some(active) = drive_span(drive, self.rate) else {
            return;
        };
        let Some(coarse) = align::coarse(reference, drive, self.rate, 1.0).filter(|a| a.score > align::HEARD) else {
            self.mismatch(reference, drive, 0.0);
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
            let finding = match self.torn(drive, &active) {
                Some(at) => findings::dropout(1, at, true),
                None => findings::no_fit(),
            };
            self.findings.push(finding);
            return;
        };
        let first = (place.arrival - place.middle / (1.0 + place.ppm * 1e-6)) / self.rate;
        self.set_clock(first, place.ppm);
        let slip = self
            .slipped(drive, &active, place, &fits)
            .or_else(|| self.slipped_against_half(drive, &active, place, fits.best().scatter));
        if let Some(at) = slip {
            self.capture.dropouts += 1;
            self.findings.push(findings::dropout(1, at, true));
        }
        if !self.findings.iter().any(|f| f.level == Level::Reject) {
            self.report(&prepared, &fits, true);
        }
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

    /// Whether the two halves of the drive arrived at different delays: so much is missing that nothing fits any more.
    /// Returns the time at which the second half was heard.
    fn torn(&self, drive: &[f32], active: &Range<usize>) -> Option<f64> {
        let middle = (active.start + active.end) / 2;
        let part = |r: Range<usize>| {
            let mut d = drive.to_vec();
            d[..r.start].fill(0.0);
            d[r.end..].fill(0.0);
            align::coarse(&self.take.pickup, &d, self.rate, 1.0).filter(|a| a.score > align::HEARD)
        };
        let (a, b) = (part(0..middle)?, part(middle..drive.len())?);
        // A take that does not hold the whole drive is cut, not torn.
        let frames = self.take.pickup.len() as f64;
        if a.latency + (active.start as f64) < -0.03 * self.rate
            || b.latency + active.end as f64 > frames + 0.03 * self.rate
        {
            return None;
        }
        let clock_can = 500e-6 * active.len() as f64 + 0.002 * self.rate;
        ((a.latency - b.latency).abs() > clock_can).then(|| (b.latency + middle as f64) / self.rate)
    }

    /// A slip that the clock took up, since each frequency came once before and once after it: a whole that fits badly while
    /// half of it fits well, and against that half the other slips. Returns the time.
    fn slipped_against_half(&self, drive: &[f32], active: &Range<usize>, at: Place, scatter: f64) -> Option<f64> {
        if scatter < BAD {
            return None;
        }
        let centre = (active.start + active.end) / 2;
        [active.start..centre, centre..active.end].into_iter().find_map(|half| {
            let mut part = drive.to_vec();
            part[..half.start].fill(0.0);
            part[half.end..].fill(0.0);
            let middle = 0.5 * (half.start + half.end) as f64;
            let mut place = Place {
                middle,
                arrival: at.arrival + (middle - at.middle) / (1.0 + at.ppm * 1e-6),
                ppm: 0.0,
            };
            let mut prepared = self.place(&part, &half, place)?;
            let fits = self.settle(&part, &half, &mut place, &mut prepared, false)?;
            if fits.best().scatter > 0.2 * scatter {
                return None;
            }
            let whole = Place {
                middle: at.middle,
                arrival: place.arrival + (at.middle - middle) / (1.0 + place.ppm * 1e-6),
                ppm: place.ppm,
            };
            self.slipped(drive, active, whole, &fits)
        })
    }

    /// Whether the take slips against the drive somewhere: samples lost or repeated. Returns the time.
    fn slipped(&self, drive: &[f32], active: &Range<usize>, at: Place, fits: &super::Fits) -> Option<f64> {
        let fit = fits.best();
        let latency = at.arrival - at.middle;
        let looks = align::looks(&self.take.pickup, drive, active, latency, at.ppm, self.rate, 10_000.0);
        // How well each look adds up at its best delay within 4 ms, and at the one that was fitted.
        let mut lags: Vec<(f64, f64, f64)> = Vec::new();
        let (Some(first), Some(spacing)) = (looks.freq.first(), looks.freq.get(1).map(|f| f - looks.freq[0])) else {
            return None;
        };
        let offset = (first / spacing).round() as usize;
        let length = fft::good_length(4 * (self.rate / spacing) as usize);
        let reach = (0.004 * spacing * length as f64) as usize;
        for (t, c) in looks.time.iter().zip(&looks.cross) {
            let mut bins = vec![num_complex::Complex64::new(0.0, 0.0); offset + c.len()];
            let mut all = 0.0;
            for (k, (f, v)) in looks.freq.iter().zip(c).enumerate() {
                let turn = fit.model.response(&fit.theta, *f).conj();
                bins[offset + k] = v * turn / turn.norm().max(f64::MIN_POSITIVE);
                all += v.norm();
            }
            // The inverse transform holds the sum over both signs of the frequency.
            let sums = fft::inverse(&bins, length);
            let scale = 0.5 * length as f64 / f64::max(all, f64::MIN_POSITIVE);
            let best = (0..=reach)
                .chain(length - reach..length)
                .map(|i| sums[i])
                .fold(f64::NEG_INFINITY, f64::max);
            lags.push((*t, best * scale, sums[0] * scale));
        }
        // A look that would add up at another delay but does not at this one; several side by side, since one may err.
        let slips: Vec<f64> = lags
            .iter()
            .filter(|l| l.1 > 0.8 && l.2 < 0.7 * l.1)
            .map(|l| l.0)
            .collect();
        (slips.len() >= 3).then(|| (at.arrival / self.rate + slips[0]).max(0.0))
    }
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
    let upto = |top: f64| Setup {
        band: [p.setup.band[0].max(60.0), p.setup.band[1].min(top)],
        ..p.setup.clone()
    };
    let clocks = |at: f64, reach: f64, step: f64| if clock_known { vec![at] } else { around(at, reach, step) };
    let low = upto(if clock_known { 2_500.0 } else { 1_200.0 });
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
