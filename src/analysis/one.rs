//! One-channel takes: the drive file stands for the reference; latency and clock are found first, then fitted.

use super::fits::Fits;
use super::prepare::Prepared;
use super::{Work, findings};
use crate::fit::model::Param;
use crate::fit::{self, Known, Nuisance, Setup};
use crate::record::{Code, Level};
use crate::transfer::align::{self, Drive, Looks, Place};

/// Latency left after alignment may be this wrong.
const DELAY_REACH_S: f64 = 0.002;
/// Speeds at which a drive comes back when output and input run at different rates.
const RATES: [f64; 6] = [44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0];
/// Clock differences below this are nobody's business.
const DRIFT_PPM: f64 = 90.0;
/// Scatter of the residuals in units of the noise above which a one-channel take is searched for lost samples.
const DOUBTFUL: f64 = 1.5;
/// Where the linear term of the clock is exact enough.
const SETTLED_PPM: f64 = 0.02;

/// A drive laid where it is taken to have arrived, and the spectra with it there.
pub(super) struct Laid {
    pub place: Place,
    pub prepared: Prepared,
    /// Whether the looks told the clock.
    pub clock_known: bool,
}

impl Work<'_> {
    /// Latency and clock of a take whose reference channel holds the drive.
    pub(super) fn clock_of_reference(&mut self, reference: &[f32], drive: &[f32]) {
        let Some(drive) = Drive::new(drive, self.rate) else {
            return;
        };
        let found = align::coarse(reference, drive.samples, self.rate, 1.0);
        let Some(coarse) = found.filter(|a| a.score > align::HEARD) else {
            if !self.mismatch(reference, drive.samples, 0.0) {
                self.note(
                    "the reference channel does not hold this drive file's signal: latency and clock stay unknown",
                );
            }
            return;
        };
        let (latency, clock) = told(reference, &drive, coarse.latency);
        let ppm = clock.unwrap_or(0.0);
        let looks = Looks::new(reference, &drive, latency, ppm, 15_000.0);
        if let Some((tau, more)) = align::straight(&looks) {
            let ppm = ppm + more;
            self.place = Some(Place {
                middle: drive.middle(),
                arrival: latency + tau * self.rate + drive.middle(),
                ppm,
            });
            let first = latency / self.rate + tau + drive.middle() * ppm * 1e-6 / self.rate;
            self.set_clock(first, ppm);
        }
    }

    fn set_clock(&mut self, latency_s: f64, ppm: f64) {
        self.out.capture.latency_s = Some(latency_s);
        self.out.capture.clock_ppm = Some(ppm);
        if ppm.abs() >= DRIFT_PPM {
            self.raise(findings::clock_drift(ppm));
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
        let better = best.filter(|(_, s)| *s > align::HEARD && *s > 2.0 * score);
        if let Some((speed, _)) = better {
            self.raise(findings::rate_mismatch(speed));
        }
        better.is_some()
    }

    pub(super) fn one_channel(&mut self, drive: &[f32]) {
        let take = &self.take.pickup;
        let Some(drive) = Drive::new(drive, self.rate) else {
            return self.raise(findings::reference_missing());
        };
        if super::all_alike(take) {
            return self.raise(findings::no_signal());
        }
        let found = align::coarse(take, drive.samples, self.rate, 1.0);
        let score = found.map_or(0.0, |a| a.score);
        // A drive that was heard at the wrong speed still correlates a little: look for a better one unless it is clear.
        if score < 40.0 && self.mismatch(take, drive.samples, score) {
            return;
        }
        let heard = found.filter(|a| a.score > align::HEARD);
        let Some(mut laid) = heard.and_then(|a| self.lay(&drive, a.latency)) else {
            return self.raise(findings::no_signal());
        };
        if !self.something_there(&laid.prepared) {
            return;
        }
        let fits = self.settle(&drive, &mut laid);
        let place = laid.place;
        // A sweep at the wrong speed is heard all right, only nothing fits.
        let believable = fits.as_ref().is_some_and(|f| f.best().scatter < 30.0) && place.ppm.abs() < 450.0;
        if !believable && self.mismatch(take, drive.samples, score) {
            return;
        }
        match fits {
            Some(fits) => self.settled(&drive, &laid, &fits),
            None => match self.lost(&drive, place, None) {
                Some(at) => self.samples_lost(at),
                None => self.raise(findings::no_fit(self.heard(&laid.prepared))),
            },
        }
    }

    /// Judges a take whose drive was laid well, and fills in the record's parts.
    fn settled(&mut self, drive: &Drive, laid: &Laid, fits: &Fits) {
        let place = laid.place;
        self.set_clock(place.seen_from(0.0).arrival / self.rate, place.ppm);
        let follows = laid.prepared.noise_from_silence && fits.best().scatter <= DOUBTFUL;
        // Tops that are cut off make a misfit of their own.
        let doubtful = !follows && !self.raised(Code::Clipped);
        let slip = self
            .slipped(drive, place, fits)
            .or_else(|| doubtful.then(|| self.lost(drive, place, Some(fits)))?);
        if let Some(at) = slip {
            self.samples_lost(at);
        }
        if !self.rejected() {
            self.report(&laid.prepared, fits);
        }
    }

    fn samples_lost(&mut self, at_s: f64) {
        self.out.capture.dropouts += 1;
        self.raise(findings::dropout(1, at_s, Level::Reject));
    }

    /// Lays the drive where the looks have it, from where its correlation is highest.
    fn lay(&self, drive: &Drive, latency: f64) -> Option<Laid> {
        let (latency, clock) = told(&self.take.pickup, drive, latency);
        let middle = drive.middle();
        let place = Place {
            middle,
            // The centroid of the correlation is that of the middle of the drive.
            arrival: latency + middle,
            ppm: clock.unwrap_or(0.0),
        };
        Some(Laid {
            place,
            prepared: self.place(drive, place)?,
            clock_known: clock.is_some(),
        })
    }

    /// Lays the drive ever closer to where it arrived, until the fit asks for no more, then fits all.
    pub(super) fn settle(&self, drive: &Drive, laid: &mut Laid) -> Option<Fits> {
        let (delay, ppm) = search(&laid.prepared, laid.clock_known)?;
        laid.place.arrival += delay * self.rate;
        laid.place.ppm += ppm;
        let mut settled = false;
        for _ in 0..8 {
            laid.prepared = self.place(drive, laid.place)?;
            let fit = fit::second_order(&laid.prepared.bins, &laid.prepared.setup)?;
            let ppm = fit.get(Param::Clock).unwrap_or(0.0);
            if ppm.abs() < SETTLED_PPM {
                settled = true;
                break;
            }
            laid.place.arrival += fit.get(Param::Delay).unwrap_or(0.0) * self.rate;
            laid.place.ppm += ppm;
        }
        if !settled {
            return None;
        }
        let fits = Fits::of(&mut laid.prepared, self.options.model)?;
        let best = fits.best();
        // What is left is small enough to be linear.
        laid.place.arrival += best.get(Param::Delay).unwrap_or(0.0) * self.rate;
        laid.place.ppm += best.get(Param::Clock).unwrap_or(0.0);
        Some(fits)
    }

    /// Spectra with the drive laid where it is taken to have arrived.
    pub(super) fn place(&self, drive: &Drive, at: Place) -> Option<Prepared> {
        let in_take = |n: usize| at.of(n as f64).max(0.0) as usize;
        let frames = self.take.pickup.len();
        let (start, end) = (in_take(drive.active.start), in_take(drive.active.end).min(frames));
        if end < start + frames / 50 {
            return None;
        }
        let cut = self.cut(Some(start..end), Vec::new());
        let in_record = Place {
            arrival: at.arrival - cut.record.range.start as f64,
            ..at
        };
        let (x, dx) = align::spectrum(drive.samples, in_record, &cut.record, cut.keep);
        let y = cut.record.transform(&self.take.pickup, cut.keep);
        let mut p = self.prepare(cut, x, y);
        p.bins.x_clock = Some(dx);
        p.setup.nuisance.push(free(Param::Delay, DELAY_REACH_S));
        p.setup.nuisance.push(free(Param::Clock, 50.0));
        Some(p)
    }
}

/// Latency in samples, and clock difference in ppm where the looks tell it, of a drive whose correlation is highest at `found`.
fn told(take: &[f32], drive: &Drive, found: f64) -> (f64, Option<f64>) {
    let clock = align::clock(&Looks::new(take, drive, found, 0.0, 5_000.0));
    (right_period(take, drive, found, clock.unwrap_or(0.0)), clock)
}

/// A drive that repeats itself correlates at the wrong period too, and under a clock difference even better: of the periods
/// within reach the one at which the looks add up best, counted over those that lie within the take.
fn right_period(take: &[f32], drive: &Drive, found: f64, ppm: f64) -> f64 {
    /// More periods than this to either side are not tried.
    const MOST: i64 = 12;
    let Some(period) = align::period(drive.samples, drive.rate) else {
        return found;
    };
    let reach = ((drive.active.len() / period) as i64).min(MOST);
    let score = |latency: f64| Looks::new(take, drive, latency, ppm, 5_000.0).agreement(0.0);
    (-reach..=reach)
        .map(|k| found + (k * period as i64) as f64 / (1.0 + ppm * 1e-6))
        .map(|latency| (latency, score(latency)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(found, |best| best.0)
}

fn free(param: Param, reach: f64) -> Nuisance {
    Nuisance {
        param,
        start: 0.0,
        lower: -reach,
        upper: reach,
        prior: None,
        known: Known::Weakly,
    }
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
    let lows = if clock_known { 2_500.0 } else { 2_000.0 };
    let (mut delay, mut ppm) = (0.0, 0.0);
    for (top, reach, step, ppm_reach, ppm_step) in [
        (lows, 1.2e-3, 40e-6, 400.0, 25.0),
        (2_500.0, 60e-6, 10e-6, 30.0, 7.5),
        (7_000.0, 45e-6, 5e-6, 10.0, 2.5),
        (12_000.0, 10e-6, 2.5e-6, 3.0, 1.0),
    ] {
        (delay, ppm) = fit::best_delay(
            &p.bins,
            &upto(top),
            &around(delay, reach, step),
            &clocks(ppm, ppm_reach, ppm_step),
        )?;
    }
    Some((delay, ppm))
}
