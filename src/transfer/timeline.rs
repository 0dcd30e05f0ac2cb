//! The residual along time: knocks, lost samples, and an answer that is bent where it is loud.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::Complex64;

use super::bins::Bins;
use super::gain;
use super::sums::{self, median};
use crate::fft;

/// Something in the residual that lasts a short time only.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Seconds from the take's first sample.
    pub start_s: f64,
    pub end_s: f64,
    /// Energy over the noise's in the same time.
    pub strength: f64,
    /// The residual there is a free ringing of the pickup: samples are missing, repeated or zeroed.
    pub splice: bool,
    /// It comes again, the same, where the drive repeats itself: no knock does.
    pub recurs: bool,
}

/// What the residual along time holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Seen {
    pub events: Vec<Event>,
    /// Residual power while the drive is on, over that in the silence: distortion where it is far above 1.
    pub loud_over_silent: Option<f64>,
    /// Residual power over the answer's where both are loud.
    pub loud_share: f64,
    /// By how many decibels the gain moved while the drive played, where that is what the residual tells.
    pub gain_db: Option<f64>,
}

/// The residual along time, whitened, against the answer, whitened alike.
pub struct Timeline<'a> {
    pub bins: &'a Bins,
    pub residuals: &'a [Complex64],
    /// H X per bin.
    pub answer: &'a [Complex64],
    /// Bins left out because a line stands there.
    pub lines: &'a [bool],
    /// 1/(1 + b1 s + b2 s^2) at a bin: the pickup's own ringing. Asked for only where there is an event.
    pub ringing: &'a dyn Fn(usize) -> Complex64,
    pub band: [f64; 2],
    /// Seconds from the take's start to the record's, and the record's length.
    pub origin_s: f64,
    pub length_s: f64,
    /// Seconds at its start and end where the record is tapered.
    pub taper_s: [f64; 2],
}

const WINDOW_S: f64 = 0.001;
/// Less than this between drive and record's end is no silence.
const CUT_S: f64 = 0.05;
/// Two events this close are at the same place.
const NEAR_S: f64 = 0.005;
const NEIGHBOURHOOD_S: f64 = 0.05;
/// Windows in which a pickup rings on.
const RINGS: usize = 10;
/// Power over what is expected that makes an event; a window of white noise with 20 kHz holds 40 degrees of freedom.
const EVENT: f64 = 10.0;

impl Timeline<'_> {
    /// Looks for events within `span` (seconds from the take's start).
    pub fn look(&self, span: Range<f64>) -> Seen {
        let Some(course) = Course::new(self) else {
            return Seen::default();
        };
        let mut residual = course.in_time(|i| self.residuals[i]);
        let answer = course.in_time(|i| self.answer[i]);
        let gain = gain::Gain::of(&residual, &answer, course.frames(&span), course.window);
        if let Some(gain) = &gain {
            gain.take_off(&mut residual, &answer);
        }
        let (power, answer) = (course.power(&residual), course.power(&answer));
        let inside = |w: &usize| span.contains(&course.centre(*w));
        let mut loud: Vec<f64> = (0..power.len()).filter(inside).map(|w| power[w]).collect();
        let mut answers: Vec<f64> = (0..answer.len()).filter(inside).map(|w| answer[w]).collect();
        let mut silent: Vec<f64> = (0..power.len())
            .filter(|w| course.silent(*w, &span))
            .map(|w| power[w])
            .collect();
        // A sweep is loud for a small part of its time only.
        let high = |v: &mut [f64]| sums::ranked(v, v.len() * 15 / 16);
        Seen {
            loud_over_silent: (silent.len() >= 32).then(|| high(&mut loud) / high(&mut silent).max(f64::MIN_POSITIVE)),
            loud_share: high(&mut loud) / high(&mut answers).max(f64::MIN_POSITIVE),
            events: course.events(&residual, course.hot(&power, &answer, &span), &course.frames(&span)),
            gain_db: gain.map(|g| g.moved_db()),
        }
    }
}

/// How the bins of the band are laid along time.
struct Course<'a> {
    of: &'a Timeline<'a>,
    band: Range<usize>,
    /// Length of the transform, and seconds from one of its samples to the next.
    length: usize,
    step_s: f64,
    /// Samples of a window, and those that the record fills.
    window: usize,
    usable: usize,
}

impl<'a> Course<'a> {
    fn new(of: &'a Timeline<'a>) -> Option<Self> {
        let (bins, band) = (of.bins, of.bins.inside(of.band));
        if band.len() <= 17 {
            return None;
        }
        // A shorter transform that still holds the band: the time axis is coarser, nothing is lost.
        let top = bins.first + band.end - 1;
        let length = fft::good_length(2 * top + top / 10);
        let step_s = bins.length / (bins.spacing_hz * bins.length) / length as f64;
        Some(Course {
            of,
            band,
            length,
            step_s,
            window: ((WINDOW_S / step_s).round() as usize).max(4),
            usable: ((of.length_s / step_s) as usize).min(length),
        })
    }

    /// What has this spectrum, whitened, along time.
    fn in_time(&self, spectrum: impl Fn(usize) -> Complex64) -> Vec<f64> {
        let bins = self.of.bins;
        let mut full = vec![Complex64::new(0.0, 0.0); bins.first + self.band.end];
        for i in self.band.clone().filter(|i| !self.of.lines[*i]) {
            full[bins.first + i] = spectrum(i) / (bins.syy[i] * bins.length).max(f64::MIN_POSITIVE).sqrt();
        }
        fft::inverse(&full, self.length)
    }

    /// Mean power of each window.
    fn power(&self, v: &[f64]) -> Vec<f64> {
        let mean = |c: &[f64]| c.iter().map(|x| x * x).sum::<f64>() / c.len() as f64;
        v[..self.usable].chunks(self.window).map(mean).collect()
    }

    /// The samples of a span.
    fn frames(&self, span: &Range<f64>) -> Range<usize> {
        let at = |s: f64| (((s - self.of.origin_s) / self.step_s).max(0.0) as usize).min(self.usable);
        at(span.start)..at(span.end)
    }

    /// After how many seconds the drive repeats itself: the first strong peak of its whitened autocorrelation from a tenth of a
    /// second on.
    fn period_s(&self) -> Option<f64> {
        let bins = self.of.bins;
        let mut power = vec![Complex64::new(0.0, 0.0); bins.first + self.band.end];
        let strongest = self.band.clone().map(|i| bins.x[i].norm_sqr()).fold(0.0, f64::max);
        for i in self.band.clone() {
            let p = bins.x[i].norm_sqr();
            power[bins.first + i].re = if p > 1e-6 * strongest { p.sqrt() } else { 0.0 };
        }
        let r = fft::inverse(&power, self.length);
        let lags = (0.1 / self.step_s) as usize..self.length / 2;
        let highest = |lags: Range<usize>| lags.max_by(|a, b| r[*a].total_cmp(&r[*b]));
        let top = highest(lags.clone()).filter(|i| r[*i] > 0.2 * r[0])?;
        let first = lags.clone().find(|i| r[*i] > 0.8 * r[top])?;
        // The peak itself, not its slope, and between samples.
        let top = highest(first..(first + 8).min(lags.end))?;
        let [l, m, h] = [r[top - 1], r[top], r[top + 1]];
        let bend = 2.0 * m - l - h;
        let between = if bend > 0.0 {
            (0.5 * (h - l) / bend).clamp(-0.5, 0.5)
        } else {
            0.0
        };
        Some((top as f64 + between) * self.step_s)
    }

    /// The residual, so much earlier, and by how many samples that is.
    fn moved(&self, by_s: f64) -> (isize, Vec<f64>) {
        let turn = |i: usize| Complex64::from_polar(1.0, TAU * self.of.bins.freq(i) * by_s);
        let moved = self.in_time(|i| self.of.residuals[i] * turn(i));
        ((by_s / self.step_s).round() as isize, moved)
    }

    /// Seconds from the take's start to a window's.
    fn start(&self, w: usize) -> f64 {
        self.of.origin_s + w as f64 * self.window as f64 * self.step_s
    }

    fn centre(&self, w: usize) -> f64 {
        self.of.origin_s + (w as f64 + 0.5) * self.window as f64 * self.step_s
    }

    /// Whether a window lies before or after the span, clear of it and of the tapers.
    fn silent(&self, w: usize, span: &Range<f64>) -> bool {
        let (at, of) = (self.centre(w), self.of);
        (at < span.start - 0.01 && at > of.origin_s + of.taper_s[0])
            || (at > span.end + 0.1 && at < of.origin_s + of.length_s - of.taper_s[1])
    }

    /// Stretches of windows in which the residual is far above what is expected, and how far.
    fn hot(&self, power: &[f64], answer: &[f64], span: &Range<f64>) -> Vec<(Range<usize>, f64)> {
        let typical = median(&mut power.to_vec());
        // Share of the answer that the model misses, at the typical time.
        let mut shares: Vec<f64> = power
            .iter()
            .zip(answer)
            .filter(|(_, a)| **a > 30.0 * typical)
            .map(|(r, a)| (r - typical).max(0.0) / a)
            .collect();
        let share = median(&mut shares);
        let half = (NEIGHBOURHOOD_S / WINDOW_S) as usize;
        let mut found: Vec<(Range<usize>, f64)> = Vec::new();
        for (w, p) in power.iter().enumerate() {
            if !span.contains(&self.centre(w)) || *p < EVENT * typical {
                continue;
            }
            let mut near = power[w.saturating_sub(half)..(w + half + 1).min(power.len())].to_vec();
            // What the model misses of the answer rings on after it.
            let lately = answer[w.saturating_sub(RINGS)..=w].iter().copied().fold(0.0, f64::max);
            let expected = median(&mut near).max(typical).max(8.0 * share * lately);
            if *p <= EVENT * expected {
                continue;
            }
            match found.last_mut() {
                // Windows side by side are one event.
                Some((range, s)) if w <= range.end + 2 => {
                    range.end = w + 1;
                    *s = s.max(p / expected);
                }
                _ => found.push((w..w + 1, p / expected)),
            }
        }
        found
    }

    /// `played`: the samples while the drive played.
    fn events(&self, residual: &[f64], hot: Vec<(Range<usize>, f64)>, played: &Range<usize>) -> Vec<Event> {
        if hot.is_empty() {
            return Vec::new();
        }
        let near = |gap: usize| (gap as f64) * self.step_s < CUT_S;
        let edges = [
            if near(played.start) { 0..played.start } else { 0..0 },
            if near(self.usable - played.end) {
                played.end..self.usable
            } else {
                0..0
            },
        ];
        let again = self.period_s().map(|s| [s, -s].map(|s| self.moved(s)));
        let Timeline { bins, ringing, .. } = self.of;
        let templates = [
            self.in_time(ringing),
            self.in_time(|i| ringing(i) * Complex64::new(0.0, bins.freq(i))),
        ];
        let event = |(range, strength): (Range<usize>, f64)| {
            let place = range.start * self.window..range.end * self.window;
            let again = again
                .as_ref()
                .map_or(Again::No, |a| Again::of(residual, a, &place, (played, &edges)));
            let event = Event {
                start_s: self.start(range.start),
                end_s: self.start(range.end),
                strength,
                recurs: false,
                splice: is_ringing(residual, &templates, place),
            };
            (event, again)
        };
        let all: Vec<(Event, Again)> = hot.into_iter().map(event).collect();
        // Of two that are each other's echo the stronger is the cause, or that which is known for one.
        let echo = |(e, again): &(Event, Again)| {
            let Again::TurnedOver { by, stronger } = *again else {
                return false;
            };
            let there = e.start_s + by as f64 * self.step_s;
            let near = |o: &&(Event, Again)| o.0.start_s < there + NEAR_S && o.0.end_s > there - NEAR_S;
            stronger || (!e.splice && all.iter().filter(near).any(|o| o.0.splice))
        };
        // What comes again is in both places, even if one of them is not as clear.
        let steps: Vec<f64> = again.iter().flatten().map(|m| m.0 as f64 * self.step_s).collect();
        let from_there = |e: &Event, o: &(Event, Again)| {
            let at = |by: &f64| (e.start_s - NEAR_S..e.end_s + NEAR_S).contains(&(o.0.start_s + by));
            o.1 == Again::Same && steps.iter().any(at)
        };
        let causes = all.iter().filter(|e| !echo(e));
        let marked = |(e, again): &(Event, Again)| Event {
            recurs: *again == Again::Same || all.iter().any(|o| from_there(e, o)),
            ..e.clone()
        };
        causes.map(marked).collect()
    }
}

/// What becomes of a stretch of the residual where the drive repeats itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Again {
    /// Nothing, or the drive is over.
    No,
    /// It comes again: it is the drive's doing, as no knock is.
    Same,
    /// It comes again turned over, so many samples later: one of both is only what the fit, and the misfit that was taken off,
    /// made of the other.
    TurnedOver { by: isize, stronger: bool },
}

impl Again {
    /// Of the residual at `place`; `moved`: the residual one period later, and one earlier.
    /// `edges`: where the record begins or ends within the drive.
    fn of(
        r: &[f64],
        moved: &[(isize, Vec<f64>)],
        place: &Range<usize>,
        (played, edges): (&Range<usize>, &[Range<usize>; 2]),
    ) -> Self {
        const ALIKE: f64 = 0.5;
        // Half as strong may be the same cause; far from it, something else adds to it.
        const FAR_FROM_IT: f64 = 0.1;
        let there = |i: usize, by: isize| i.checked_add_signed(by);
        let mut seen = Vec::new();
        let middle = (place.start + place.end) / 2;
        for (by, m) in moved {
            let (mut ab, mut aa, mut bb) = (0.0, 0.0, f64::MIN_POSITIVE);
            for i in place.clone() {
                (ab, aa, bb) = (ab + r[i] * m[i], aa + r[i] * r[i], bb + m[i] * m[i]);
            }
            let alike = ab / (aa * bb).sqrt();
            let driven = [place.start, middle]
                .into_iter()
                .all(|i| there(i, *by).is_some_and(|i| played.contains(&i)));
            // What a cut through the drive leaves at its edge has an echo too.
            let edge = !driven && there(middle, *by).is_some_and(|i| edges.iter().any(|e| e.contains(&i)));
            if (alike < -ALIKE && driven) || (alike < 0.0 && edge) {
                let stronger = edge || bb > aa;
                return Again::TurnedOver { by: *by, stronger };
            }
            if driven {
                seen.push(alike > ALIKE && bb > FAR_FROM_IT * aa && aa > FAR_FROM_IT * bb);
            }
        }
        match !seen.is_empty() && seen.into_iter().all(|same| same) {
            true => Again::Same,
            false => Again::No,
        }
    }
}

/// Whether the residual between two samples is, in the main, one free ringing that begins there.
fn is_ringing(r: &[f64], templates: &[Vec<f64>; 2], place: Range<usize>) -> bool {
    let n = r.len();
    // Long enough to hold a ringing of a few milliseconds, and what an event of that kind lasts at most.
    let reach = place.len().clamp(200, 600);
    let from = place.start.saturating_sub(reach / 2);
    let seen = &r[from..(place.start + 2 * reach).min(n)];
    let total: f64 = seen.iter().map(|x| x * x).sum();
    let mut best: f64 = 0.0;
    for t0 in from..(place.start + reach).min(n) {
        let mut pair = sums::Pair::default();
        for (k, x) in seen.iter().enumerate() {
            let i = (from + k + n - t0) % n;
            pair.add(1.0, [templates[0][i], templates[1][i]], *x);
        }
        best = best.max(pair.explained().unwrap_or(0.0));
    }
    best > 0.6 * total
}
