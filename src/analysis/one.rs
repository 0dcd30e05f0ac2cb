//! One-channel takes: the drive file stands for the reference; latency and clock are found first, then fitted.

use super::fits::Fits;
use super::prepare::Prepared;
use super::{Work, findings};
use crate::fit::model::Param;
use crate::fit::{self, Fitted, Known, Nuisance, Setup};
use crate::record::{Code, Level};
use crate::transfer::align::{Drive, Laying, Place};
use crate::transfer::bins::Record;
use crate::transfer::hear::{self, Search};
use crate::transfer::looks::{self, Seen};

/// Latency left after alignment may be this wrong.
const DELAY_REACH_S: f64 = 0.002;
/// Speeds at which a drive comes back when output and input run at different rates.
const RATES: [f64; 6] = [44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0];
/// Clock differences below this are nobody's business.
const DRIFT_PPM: f64 = 90.0;
/// A clock found further off than this is a drive at another speed.
const BELIEVABLE_PPM: f64 = 1_400.0;
/// Scatter of the residuals in units of the noise above which a one-channel take is searched for lost samples.
const DOUBTFUL: f64 = 1.5;
/// The same below which nothing can have slipped: three looks of a hundred that do not follow would leave more.
const CALM: f64 = 1.1;
/// Where the linear term of the clock is exact enough.
const SETTLED_PPM: f64 = 0.02;
const MOST_ROUNDS: usize = 8;
/// What a round leaves of the clock's error at most, where there is one clock.
const SLOWEST: f64 = 0.7;

/// A drive laid where it is taken to have arrived, and the spectra with it there.
pub(super) struct Laid {
    pub place: Place,
    pub prepared: Prepared,
    /// Whether the looks told the clock.
    pub clock_known: bool,
    laying: Laying,
}

impl Laid {
    fn in_record(place: Place, record: &Record) -> Place {
        Place {
            arrival: place.arrival - record.range.start as f64,
            ..place
        }
    }

    /// Whether the take is cut within the drive, so that it matters which sample lies in the taper.
    fn is_cut(&self, drive: &Drive) -> bool {
        let record = &self.prepared.cut.record;
        let at = Laid::in_record(self.place, record);
        [drive.active.start, drive.active.end]
            .into_iter()
            .any(|n| record.weight(at.of(n as f64)) < 1.0)
    }

    /// Lays the drive anew a little beside where it was.
    fn move_to(&mut self, place: Place) {
        self.place = place;
        let (x, dx) = self.laying.spectrum(Laid::in_record(place, &self.prepared.cut.record));
        self.prepared.bins.x = x;
        self.prepared.bins.x_clock = Some(dx);
    }
}

impl Work<'_> {
    /// Latency and clock of a take whose reference channel holds the drive.
    pub(super) fn clock_of_reference(&mut self, reference: &[f32], drive: &[f32]) {
        let Some(drive) = Drive::new(drive, self.rate) else {
            return;
        };
        let Some(search) = Search::new(reference, &drive) else {
            return;
        };
        let Some(coarse) = search.whole().filter(|a| a.score > hear::HEARD) else {
            if !self.mismatch(&search, 0.0) {
                self.note(
                    "the reference channel does not hold this drive file's signal: latency and clock stay unknown",
                );
            }
            return;
        };
        let (latency, clock) = search.told(coarse.latency);
        let ppm = clock.unwrap_or(0.0);
        let looks = Seen::new(&drive, 15_000.0).at(reference, latency, ppm);
        if !looks.add_up() {
            return self.note("latency and clock stay unknown: the clocks of output and input are too far apart, or samples are missing");
        }
        if let Some((tau, more)) = looks::straight(&looks) {
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
    fn mismatch(&mut self, search: &Search, score: f64) -> bool {
        let mut speeds: Vec<f64> = RATES.iter().flat_map(|a| RATES.iter().map(move |b| a / b)).collect();
        speeds.retain(|s| (s - 1.0).abs() > 0.01 && (0.2..5.0).contains(s));
        speeds.sort_by(f64::total_cmp);
        speeds.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-6);
        let best = search.best_speed(&speeds);
        let better = best.filter(|(_, s)| *s > hear::HEARD && *s > 2.0 * score);
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
        let Some(search) = Search::new(take, &drive) else {
            return self.raise(findings::no_signal());
        };
        let found = search.whole();
        let score = found.map_or(0.0, |a| a.score);
        // A drive that was heard at the wrong speed still correlates a little: look for a better one unless it is clear.
        if score < 40.0 && self.mismatch(&search, score) {
            return;
        }
        let heard = found.filter(|a| a.score > hear::HEARD);
        let Some(mut laid) = heard.and_then(|a| self.lay(&drive, search.told(a.latency))) else {
            return self.raise(findings::no_signal());
        };
        if !self.something_there(&laid.prepared) {
            return;
        }
        if self.drive_itself(&laid.prepared) {
            return self.raise(findings::drive_itself());
        }
        let fits = self.settle(&drive, &mut laid);
        let place = laid.place;
        // A sweep at the wrong speed is heard all right, only nothing fits.
        let believable = fits.as_ref().is_some_and(|f| f.best().scatter < 30.0) && place.ppm.abs() < BELIEVABLE_PPM;
        if !believable && self.mismatch(&search, score) {
            return;
        }
        match fits {
            Some(fits) => self.settled((&drive, &search), &laid, &fits),
            None => match self.lost((&drive, &search), place, None) {
                Some(at) => self.samples_lost(at),
                None => self.raise(findings::no_fit(self.heard(&laid.prepared))),
            },
        }
    }

    /// Judges a take whose drive was laid well, and fills in the record's parts.
    fn settled(&mut self, (drive, search): (&Drive, &Search), laid: &Laid, fits: &Fits) {
        let place = laid.place;
        self.set_clock(place.seen_from(0.0).arrival / self.rate, place.ppm);
        let follows = |most: f64| laid.prepared.noise_from_silence && fits.best().scatter <= most;
        // Tops that are cut off make a misfit of their own.
        let doubtful = !follows(DOUBTFUL) && !self.raised(Code::Clipped);
        let slip = (!follows(CALM))
            .then(|| self.slipped(drive, place, fits))
            .flatten()
            .or_else(|| doubtful.then(|| self.lost((drive, search), place, Some(fits)))?);
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

    /// Lays the drive where the looks have it.
    fn lay(&self, drive: &Drive, (latency, clock): (f64, Option<f64>)) -> Option<Laid> {
        let middle = drive.middle();
        let place = Place {
            middle,
            // The centroid of the correlation is that of the middle of the drive.
            arrival: latency + middle,
            ppm: clock.unwrap_or(0.0),
        };
        self.place(drive, place, clock.is_some())
    }

    /// Lays the drive ever closer to where it arrived, until the fit asks for no more, then fits all.
    pub(super) fn settle(&self, drive: &Drive, laid: &mut Laid) -> Option<Fits> {
        let (delay, ppm) = search(&laid.prepared, laid.clock_known)?;
        let near = by(laid.place, delay * self.rate, ppm);
        match laid.is_cut(drive) {
            true => *laid = self.place(drive, near, laid.clock_known)?,
            false => laid.move_to(near),
        }
        let (mut before, mut last): (Option<Fitted>, f64) = (None, f64::INFINITY);
        for _ in 0..MOST_ROUNDS {
            let Prepared { bins, setup, .. } = &laid.prepared;
            let followed = before.and_then(|f| {
                let theta = fit::follow(bins, setup, &f)?;
                Some(Fitted { theta, ..f })
            });
            let mut fit = followed.or_else(|| fit::second_order(bins, setup))?;
            let ppm = fit.take_over(Param::Clock);
            if ppm.abs() < SETTLED_PPM * fit.excess().sqrt() {
                let fits = Fits::of(&mut laid.prepared, self.choice())?;
                let left = |p: Param| fits.best().get(p).unwrap_or(0.0);
                // What is left is small enough to be linear.
                laid.place = by(laid.place, left(Param::Delay) * self.rate, left(Param::Clock));
                return Some(fits);
            }
            // A take that slips is followed round and round.
            if ppm.abs() > SLOWEST * last {
                return None;
            }
            last = ppm.abs();
            let delay = fit.take_over(Param::Delay);
            laid.move_to(by(laid.place, delay * self.rate, ppm));
            before = Some(fit);
        }
        None
    }

    /// Spectra with the drive laid where it is taken to have arrived.
    pub(super) fn place(&self, drive: &Drive, at: Place, clock_known: bool) -> Option<Laid> {
        let in_take = |n: usize| at.of(n as f64).max(0.0) as usize;
        let frames = self.take.pickup.len();
        let (start, end) = (in_take(drive.active.start), in_take(drive.active.end).min(frames));
        if end < start + frames / 50 {
            return None;
        }
        let cut = self.cut(Some(start..end), Vec::new());
        let in_record = Laid::in_record(at, &cut.record);
        let laying = Laying::new(drive.samples, in_record, &cut.record, cut.keep);
        let (x, dx) = laying.spectrum(in_record);
        let y = cut.record.transform(&self.take.pickup, cut.keep);
        let mut prepared = self.prepare(cut, x, y);
        prepared.bins.x_clock = Some(dx);
        prepared.setup.nuisance.push(free(Param::Delay, DELAY_REACH_S));
        prepared.setup.nuisance.push(free(Param::Clock, 50.0));
        Some(Laid {
            place: at,
            prepared,
            clock_known,
            laying,
        })
    }
}

/// So many samples later, and so much faster.
fn by(place: Place, samples: f64, ppm: f64) -> Place {
    Place {
        arrival: place.arrival + samples,
        ppm: place.ppm + ppm,
        ..place
    }
}

fn free(param: Param, reach: f64) -> Nuisance {
    Nuisance::new(param, 0.0, [-reach, reach], None, Known::Weakly)
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
