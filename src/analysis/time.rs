//! What the residual along time says: lost samples, knocks, and tops that are bent.

use std::ops::Range;

use num_complex::Complex64;

use super::Work;
use super::findings::{self, Fell};
use super::prepare::Prepared;
use crate::fit::Fitted;
use crate::record::{Code, Level};
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
/// Share of the answer's power that may be distortion before the take is refused.
const BADLY_BENT: f64 = 0.01;

impl Work<'_> {
    /// `left_out`: the bins where a line stands.
    pub(super) fn judge_time(&mut self, p: &Prepared, left_out: &[bool], better: &Fitted) {
        let Seen {
            mut events,
            loud_over_silent,
            loud_share,
        } = self.seen(p, left_out, better);
        let bent = loud_over_silent.is_some_and(|x| x > DISTORTED) && better.scatter > 2.0;
        let badly = bent && loud_share > BADLY_BENT;
        if badly {
            // A residual that is nowhere calm holds no events.
            events.clear();
        }
        let clipped = self.out.capture.clipped_samples > 0;
        if bent && events.is_empty() && !clipped {
            let level = if badly { Level::Reject } else { Level::Warning };
            self.raise(findings::distorted(level));
        }
        if clipped {
            // Where tops are flat the residual is full of bursts, and they are neither lost samples nor knocks.
            events.clear();
        }
        let held = self.held(p);
        let (splices, knocks): (Vec<Event>, Vec<Event>) = events.into_iter().partition(|e| e.splice);
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
        if let Some(first) = apart.first() {
            let fell = match self.loudest_near(*first) {
                true => Fell::Loudest,
                false => Fell::Answer,
            };
            self.raise(findings::transient(*first, apart.len(), fell));
        } else if let Some(at) = p.cut.bursts.first() {
            self.raise(findings::transient(*at, 1, Fell::Silence));
        }
    }

    fn seen(&self, p: &Prepared, left_out: &[bool], better: &Fitted) -> Seen {
        let (bins, record) = (&p.bins, &p.cut.record);
        let [low, high] = p.setup.band;
        let answer = |i: usize| match bins.freq(i) >= low && bins.freq(i) <= high {
            true => bins.y[i] - better.residuals[i],
            false => Complex64::new(0.0, 0.0),
        };
        let answer: Vec<Complex64> = (0..bins.len()).map(answer).collect();
        // A smooth misfit of the model would look like events where a sweep passes it.
        let mut residuals = better.residuals.clone();
        if better.smooth_chi2 > 1.5 * better.excess() {
            let inside = bins.inside(p.setup.band);
            residuals[inside.clone()].copy_from_slice(&lines::without_misfit(bins, &better.residuals, inside));
        }
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
        timeline.look(self.span(p))
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

/// When knocks came that have nothing to do with each other. One knock rings and comes back from the walls; and where one is
/// strong, what the fit lost by it is seen elsewhere.
fn apart(knocks: &[Event]) -> Vec<f64> {
    let strongest = knocks.iter().map(|e| e.strength).fold(0.0, f64::max);
    let mut apart = Vec::new();
    let mut rung_out = f64::NEG_INFINITY;
    for e in knocks.iter().filter(|e| e.strength > STRAY * strongest) {
        if e.start_s > rung_out + RINGS_S {
            apart.push(e.start_s);
        }
        rung_out = e.end_s;
    }
    apart
}
