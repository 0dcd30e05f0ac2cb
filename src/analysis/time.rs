//! What the residual along time says: lost samples, knocks, and tops that are bent.

use std::ops::Range;

use num_complex::Complex64;

use super::Work;
use super::findings::{self, Fell};
use super::prepare::Prepared;
use crate::fit::{self, Fitted};
use crate::record::{Code, Level};
use crate::transfer::bins::Bins;
use crate::transfer::timeline::{Event, Seen, Timeline};
use crate::transfer::{faults, lines, sums};

/// A knock lies where the answer is strongest where it reaches this part of its peak within so many seconds.
const LOUDEST: f32 = 0.97;
const NEAR_S: f64 = 0.02;
/// Events this close after another belong to it.
const RINGS_S: f64 = 0.3;
/// Events this weak against the strongest are none of their own.
const STRAY: f64 = 0.01;
/// Residual power while the drive is on over that in the silence: the answer is bent.
const DISTORTED: f64 = 6.0;
/// Mean square of a misfit, in units of the noise, that is worth taking off.
const MISFIT: f64 = 1.2;
/// A gain that moves by less is nobody's business.
const GAIN_DB: f64 = 0.1;
/// Mean square of what is left over, freed from a smooth misfit and in units of the noise, that none explains.
const UNEVEN: f64 = 1.2;
/// A clock difference of this size that comes with an event is lost samples.
const NO_CLOCK_PPM: f64 = 600.0;
/// Share of the answer's power that may be distortion before the take is refused.
const BADLY_BENT: f64 = 0.01;

impl Work<'_> {
    /// `left_out`: the bins where a line stands.
    pub(super) fn judge_time(&mut self, p: &Prepared, left_out: &[bool], better: &Fitted) {
        let (seen, scatter) = self.seen(p, left_out, better);
        let Seen {
            events,
            loud_over_silent,
            loud_share,
            gain_db,
        } = seen;
        if let Some(db) = gain_db.filter(|db| *db > GAIN_DB) {
            self.raise(findings::gain_drift(db));
        }
        let loud = loud_over_silent.is_some_and(|x| x > DISTORTED) && scatter > 2.0;
        let bent = loud || on_the_drives_own(p, left_out);
        let badly = bent && loud_share > BADLY_BENT;
        // What comes again with the drive is its doing.
        let (recurring, mut knocks): (Vec<Event>, Vec<Event>) = events.into_iter().partition(|e| e.recurs);
        let clipped = self.out.capture.clipped_samples > 0;
        // A residual that is nowhere calm holds no events; nor is there any where tops are flat or the gain moved.
        if badly || clipped || gain_db.is_some() {
            knocks.clear();
        }
        // Samples that both channels lost alike leave little more than a knock does, and a clock that no interface has; between
        // the sweeps nothing but that clock.
        let slipped = self.out.capture.clock_ppm.is_some_and(|ppm| ppm.abs() > NO_CLOCK_PPM);
        let at_tops = !recurring.is_empty() && recurring.iter().all(|e| self.loudest_near(e.start_s));
        // What comes again and follows the drive smoothly is the model's misfit, not a bend.
        let again = !recurring.is_empty() && (at_tops || scatter > UNEVEN);
        if (bent || again) && knocks.is_empty() && !clipped && gain_db.is_none() {
            let level = if badly { Level::Reject } else { Level::Warning };
            let lost = self.lost_for_a_clock(slipped);
            self.out.capture.dropouts += u64::from(lost.is_some());
            self.raise(match (lost, at_tops) {
                (Some(level), _) => findings::lost_somewhere(level),
                (None, true) => findings::overloaded(level),
                (None, false) => findings::distorted(level),
            });
        }
        let held = self.held(p);
        let (splices, knocks): (Vec<Event>, Vec<Event>) = knocks.into_iter().partition(|e| e.splice || slipped);
        let first_held = held.first().map(|i| *i as f64 / self.rate);
        let first_splice = splices.first().map(|e| e.start_s);
        let first = first_splice.into_iter().chain(first_held).reduce(f64::min);
        if let Some(first) = first.filter(|_| !self.raised(Code::Dropout)) {
            let count = splices.len().max(held.len());
            self.out.capture.dropouts += count as u64;
            self.raise(findings::dropout(count, first, Level::Warning));
        }
        // The edges of a stretch that stood still are no knocks either.
        let apart = if held.is_empty() { apart(&knocks) } else { Vec::new() };
        if let Some((strongest, _)) = apart.iter().copied().reduce(|a, b| if b.1 > a.1 { b } else { a }) {
            let fell = match self.loudest_near(strongest) {
                true => Fell::Loudest,
                false => Fell::Answer,
            };
            self.raise(findings::transient(strongest, apart.len(), fell));
        } else if let Some(at) = p.cut.bursts.first() {
            self.raise(findings::transient(*at, 1, Fell::Silence));
        }
    }

    /// How bad it is where lost samples look like a clock and a misfit that comes with the drive: few of them in a take of one
    /// channel, or more than any clock explains.
    fn lost_for_a_clock(&self, slipped: bool) -> Option<Level> {
        let drifts = self.out.findings.iter().any(|f| f.code == Code::ClockDrift);
        match self.take.reference {
            None => (drifts || slipped).then_some(Level::Reject),
            Some(_) => slipped.then_some(Level::Warning),
        }
    }

    /// What the residual shows once the misfit of the model is taken off it, and its mean square then, in units of the noise.
    fn seen(&self, p: &Prepared, left_out: &[bool], better: &Fitted) -> (Seen, f64) {
        let (bins, record) = (&p.bins, &p.cut.record);
        let [low, high] = p.setup.band;
        let answer = |i: usize| match bins.freq(i) >= low && bins.freq(i) <= high {
            true => bins.y[i] - better.residuals[i],
            false => Complex64::new(0.0, 0.0),
        };
        let answer: Vec<Complex64> = (0..bins.len()).map(answer).collect();
        let inside = bins.inside(p.setup.band);
        let residuals = freed(bins, inside.clone(), better);
        let variance = |i: usize| fit::bin_variance(bins, i, better.response(bins.freq(i))) * bins.energy / bins.length;
        let used = inside.filter(|i| bins.used[*i]);
        let (sum, count) = used.fold((0.0, 0.0), |(s, n), i| {
            (s + residuals[i].norm_sqr() / variance(i), n + 1.0)
        });
        let seconds = |frames: usize| frames as f64 / self.rate;
        let timeline = Timeline {
            bins,
            residuals: &residuals,
            answer: &answer,
            lines: left_out,
            ringing: &|i| better.shape(bins.freq(i)) / better.theta[0],
            band: p.setup.band,
            origin_s: seconds(record.range.start),
            length_s: seconds(record.range.len()),
            taper_s: [seconds(record.taper_in), seconds(record.taper_out)],
        };
        (timeline.look(self.span(p)), sum / f64::max(count, 1.0))
    }

    /// The seconds of the take in which events are looked for.
    fn span(&self, p: &Prepared) -> Range<f64> {
        let (frames, record) = (self.take.pickup.len(), &p.cut.record);
        let seconds = |frames: usize| frames as f64 / self.rate;
        // Where the take is cut within the signal, the cut itself would look like an event.
        let margin = |tapered: usize| seconds(tapered).min(0.03) + 0.002;
        let silence_first = p.cut.silences.first().is_some_and(|s| s.start == 0);
        let start = match &p.cut.active {
            Some(a) if silence_first => seconds(a.start),
            _ => seconds(record.range.start) + margin(record.taper_in),
        };
        let end = match &p.cut.active {
            Some(a) if a.end < frames => seconds(a.end),
            _ => seconds(frames) - margin(record.taper_out),
        };
        start..end
    }

    /// Where the take stands still.
    fn held(&self, p: &Prepared) -> Vec<usize> {
        let mut channels = vec![self.take.pickup.as_slice()];
        channels.extend(self.take.reference.as_deref());
        let active = p.cut.active.as_ref();
        active.map_or_else(Vec::new, |a| faults::held(&channels, a, self.step))
    }

    /// Whether the pickup's channel reaches its peak about this time of the take.
    fn loudest_near(&self, at_s: f64) -> bool {
        let x = &self.take.pickup;
        let at = |s: f64| ((s * self.rate).max(0.0) as usize).min(x.len());
        sums::peak(&x[at(at_s - NEAR_S)..at(at_s + NEAR_S)]) >= LOUDEST * sums::peak(x)
    }
}

/// The residuals, what the model misses smoothly taken off: a sweep passing it would look like an event. With one channel a misfit
/// may have bent the clock as well, and what that leaves is not smooth.
fn freed(bins: &Bins, inside: Range<usize>, better: &Fitted) -> Vec<Complex64> {
    let mut residuals = better.residuals.clone();
    if better.smooth_chi2.max(better.scatter) <= MISFIT {
        return residuals;
    }
    let mut own = lines::without_misfit(bins, &residuals, inside.clone());
    if let Some(clock) = &bins.x_clock {
        let moved: Vec<Complex64> = (0..bins.len())
            .map(|i| better.response(bins.freq(i)) * clock[i])
            .collect();
        let moved = lines::without_misfit(bins, &moved, inside.clone());
        let (mut along, mut all) = (0.0, f64::MIN_POSITIVE);
        for (k, i) in inside.clone().enumerate().filter(|(_, i)| bins.used[*i]) {
            along += (moved[k].conj() * own[k]).re / bins.syy[i];
            all += moved[k].norm_sqr() / bins.syy[i];
        }
        own.iter_mut().zip(&moved).for_each(|(e, m)| *e -= along / all * m);
    }
    residuals[inside].copy_from_slice(&own);
    residuals
}

/// Whether what is left over stands on many of the drive's own lines: no mains hum does, and it was not in the silence.
fn on_the_drives_own(p: &Prepared, left_out: &[bool]) -> bool {
    const MANY: usize = 10;
    let band = p.bins.inside(p.setup.band);
    let own = band.clone().filter(|i| left_out[*i] && !p.lines[*i]).count();
    own * MANY > band.len()
}

/// When knocks came that have nothing to do with each other, and how strong they were. One knock rings and comes back from the
/// walls; and where one is strong, what the fit lost by it is seen elsewhere.
fn apart(knocks: &[Event]) -> Vec<(f64, f64)> {
    let strongest = knocks.iter().map(|e| e.strength).fold(0.0, f64::max);
    let mut apart: Vec<(f64, f64)> = Vec::new();
    let mut rung_out = f64::NEG_INFINITY;
    for e in knocks.iter().filter(|e| e.strength > STRAY * strongest) {
        match apart.last_mut() {
            Some((_, strength)) if e.start_s <= rung_out + RINGS_S => *strength = strength.max(e.strength),
            _ => apart.push((e.start_s, e.strength)),
        }
        rung_out = e.end_s;
    }
    apart
}
