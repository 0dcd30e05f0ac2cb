//! From a take to everything that a record says of it: spectra, noise, fit, faults, findings.

use std::ops::Range;

use num_complex::Complex64;
use serde::{Deserialize, Serialize};

use crate::capture::Take;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::fit::{self, Fitted, Setup};
use crate::record::knock::REFERENCE_HZ;
use crate::record::{CaptureSummary, Code, Curve, Finding, Fit, Level, Resonance, Verdict};
use crate::transfer::bins::{Bins, Record};
use crate::transfer::lines::{self, Hum};
use crate::transfer::{faults, noise, span};

pub mod chain;
pub mod compose;
pub mod curve;
pub mod findings;
mod judge;
mod one;
mod open;
pub mod repeats;

use chain::Chain;

/// What is asked of an analysis besides the take.
#[derive(Debug, Clone)]
pub struct Options<'a> {
    pub chain: &'a Chain,
    /// The drive file's first channel at the take's rate; needed for one-channel takes.
    pub drive: Option<&'a [f32]>,
    pub model: Choice,
}

/// Which model the user wants as the headline of plot and peak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Choice {
    /// The better one by the information criterion.
    #[default]
    Better,
    SecondOrder,
    Eddy,
}

/// Everything measured from one take, in the record's own terms.
#[derive(Debug, Clone)]
pub struct Analysis {
    pub capture: CaptureSummary,
    pub resonance: Option<Resonance>,
    pub fit: Option<Fit>,
    pub curve: Option<Curve>,
    /// Channel 1 over the reference, or over the drive file, at 1 kHz, in dB, as the samples show it; null where the take was
    /// rejected or says nothing there.
    pub answer_db: Option<Estimate>,
    pub findings: Vec<Finding>,
    pub verdict: Verdict,
    pub notes: Vec<String>,
}

/// Local scatter of the residuals, in units of the silence's noise, below which that noise is not the drive's.
const NOISE_TOO_LARGE: f64 = 0.5;
/// Shorter than this is no take.
const SHORTEST_S: f64 = 0.25;
/// Beyond this neither pickups nor sound cards behave as the model says.
const TOP_HZ: f64 = 22_000.0;
/// Below this the AC coupling is all there is.
const BOTTOM_HZ: f64 = 15.0;

/// Analyses a take.
pub fn analyse(take: &Take, options: &Options) -> Result<Analysis> {
    let rate = f64::from(take.rate_hz);
    let frames = take.pickup.len();
    if (frames as f64) < SHORTEST_S * rate {
        return Err(Failure::new(
            format!("the take is too short: {frames} samples"),
            "record the whole test signal with silence around it",
        ));
    }
    let mut work = Work::new(take, options);
    if let Some(first) = take.provenance.trouble.first() {
        // What the sound system reported while recording voids the take, whatever the samples look like.
        work.capture.dropouts += take.provenance.trouble.len() as u64;
        work.findings
            .push(findings::sound_trouble(first, take.provenance.cause));
    }
    work.clipping();
    match &take.reference {
        Some(reference) => work.two_channel(reference),
        None => {
            let drive = options.drive.ok_or_else(|| {
                Failure::new(
                    "a one-channel take needs the signal that was played",
                    "give --drive drive.wav",
                )
            })?;
            work.one_channel(drive);
        }
    }
    Ok(work.finish())
}

/// A take under analysis.
pub(crate) struct Work<'a> {
    take: &'a Take,
    options: &'a Options<'a>,
    rate: f64,
    /// Converter step as the samples show it.
    step: f64,
    /// Where the band begins at the earliest.
    bottom_hz: f64,
    findings: Vec<Finding>,
    notes: Vec<String>,
    capture: CaptureSummary,
    resonance: Option<Resonance>,
    fit: Option<Fit>,
    curve: Option<Curve>,
    answer_db: Option<Estimate>,
}

/// Where a take is cut, and what is silence in it.
pub(crate) struct Cut {
    pub record: Record,
    pub active: Option<Range<usize>>,
    pub silences: Vec<Range<usize>>,
    /// The silences less the bursts in them.
    pub quiet: Vec<Range<usize>>,
    pub bursts: Vec<f64>,
}

/// Spectra with all that was found about the noise, ready to be fitted.
pub(crate) struct Prepared {
    pub bins: Bins,
    pub record: Record,
    pub setup: Setup,
    pub active: Option<Range<usize>>,
    pub silences: Vec<Range<usize>>,
    pub noise_from_silence: bool,
    /// Band in which the drive has power.
    pub driven: [f64; 2],
    /// Times in seconds at which something knocked in the silences.
    pub bursts: Vec<f64>,
    /// Bins where a line stands, as far as is known.
    pub lines: Vec<bool>,
}

/// Second-order fit, eddy fit if it came to one, and the lines left out of both.
pub(crate) struct Fits {
    pub second: Fitted,
    pub eddy: Option<Fitted>,
    pub delta_bic: Option<f64>,
    pub lines: Vec<bool>,
    pub hum: Option<Hum>,
}

impl<'a> Work<'a> {
    fn new(take: &'a Take, options: &'a Options<'a>) -> Self {
        let peak = |x: &[f32]| x.iter().fold(0f32, |m, v| m.max(v.abs()));
        let top = peak(&take.pickup).max(take.reference.as_deref().map_or(0.0, peak));
        Work {
            take,
            options,
            rate: f64::from(take.rate_hz),
            step: effective_step(take),
            bottom_hz: BOTTOM_HZ,
            findings: Vec::new(),
            notes: take.provenance.notes.clone(),
            capture: CaptureSummary {
                rate_hz: take.rate_hz,
                channels: 1 + u32::from(take.reference.is_some()),
                frames: take.pickup.len() as u64,
                peak_dbfs: (top > 0.0).then(|| 20.0 * f64::from(top).log10()),
                ..CaptureSummary::default()
            },
            resonance: None,
            fit: None,
            curve: None,
            answer_db: None,
        }
    }

    fn rejected(&self) -> bool {
        self.findings.iter().any(|f| f.level == Level::Reject)
    }

    fn two_channel(&mut self, reference: &[f32]) {
        let take = self.take;
        let rate = self.rate;
        let quiet = |x: &[f32]| x.iter().all(|v| *v == x[0]);
        if quiet(reference) {
            self.findings.push(findings::reference_missing());
        }
        if quiet(&take.pickup) {
            self.findings.push(findings::no_signal());
        }
        if quiet(reference) || quiet(&take.pickup) {
            return;
        }
        let active = span::active(reference, rate);
        let pauses = active
            .as_ref()
            .map_or_else(Vec::new, |a| span::pauses(reference, a, rate));
        let cut = self.cut(active, pauses);
        let keep = self.keep(&cut.record);
        let x = cut.record.transform(reference, keep);
        let y = cut.record.transform(&take.pickup, keep);
        let mut prepared = self.prepare(cut, x, y, Some(reference), false);
        if let Some(drive) = self.options.drive {
            self.clock_of_reference(reference, drive);
        }
        self.measure(&mut prepared);
    }

    /// The stretch of the take that is transformed: the drive and some silence, but no knock in the silence.
    fn cut(&self, active: Option<Range<usize>>, pauses: Vec<Range<usize>>) -> Cut {
        let frames = self.take.pickup.len();
        let silences: Vec<Range<usize>> = active
            .as_ref()
            .map(|a| span::silences(a, pauses, frames, self.rate))
            .unwrap_or_default();
        let bursts = faults::bursts_in_silence(&self.take.pickup, &silences, self.rate, self.step * self.step / 12.0);
        // Long enough that even a knock has rung out.
        let at: Vec<usize> = bursts.iter().map(|t| (t * self.rate) as usize).collect();
        let quiet = span::without(&silences, &at, (0.04 * self.rate) as usize);
        let mut limits = 0..frames;
        if let Some(a) = &active {
            for at in &bursts {
                let at = (at * self.rate) as usize;
                let clear = (0.04 * self.rate) as usize;
                if at < a.start {
                    limits.start = limits.start.max((at + clear).min(a.start));
                } else if at > a.end {
                    limits.end = limits.end.min(at.saturating_sub(clear).max(a.end));
                }
            }
        }
        Cut {
            record: Record::around(active.as_ref(), &limits, self.rate),
            active,
            silences,
            quiet,
            bursts,
        }
    }

    /// Bins worth keeping: up to the top of what is fitted.
    fn keep(&self, record: &Record) -> usize {
        let top = TOP_HZ.min(0.45 * self.rate) * 1.02;
        ((top / self.rate * record.length as f64) as usize + 2).min(record.length / 2)
    }

    /// Puts spectra and noise together and finds the band in which there is something to fit.
    fn prepare(
        &self,
        cut: Cut,
        x: Vec<Complex64>,
        y: Vec<Complex64>,
        reference: Option<&[f32]>,
        one_channel: bool,
    ) -> Prepared {
        let take = self.take;
        let Cut {
            record,
            active,
            silences,
            quiet,
            bursts,
        } = cut;
        let floor = self.step * self.step / 12.0;
        let noise = noise::from_silences(&take.pickup, reference, &quiet, self.rate, floor);
        let n = y.len();
        let mut bins = Bins {
            spacing_hz: self.rate / record.length as f64,
            first: 0,
            x,
            y,
            x_clock: None,
            syy: vec![1.0; n],
            sxx: vec![0.0; n],
            syx: vec![Complex64::new(0.0, 0.0); n],
            used: vec![false; n],
            length: record.length as f64,
            energy: record.energy(),
        };
        match &noise {
            Some(noise) => bins.set_noise(noise),
            // Until a fit has told answer from noise, all of it may be noise.
            None => {
                let all = bins.y.clone();
                noise_from_residuals(&mut bins, &all, &vec![false; n]);
            }
        }
        let driven = driven_band(&bins);
        let band = [
            driven[0].max(self.bottom_hz),
            driven[1].min(TOP_HZ).min(0.45 * self.rate),
        ];
        let setup = self.options.chain.setup(one_channel, band);
        let mut p = Prepared {
            bins,
            record,
            setup,
            active,
            silences,
            noise_from_silence: noise.is_some(),
            driven,
            bursts,
            lines: Vec::new(),
        };
        p.use_band();
        // Lines seen in the silence: left out before any fit, so that strong hum spoils none.
        p.lines = match &noise {
            Some(noise) => (0..n).map(|i| noise.has_line(p.bins.freq(i))).collect(),
            None => vec![false; n],
        };
        let mask = p.lines.clone();
        p.leave_out(&mask);
        p
    }

    /// Fits, judges, and fills in the record's parts.
    fn measure(&mut self, p: &mut Prepared) {
        if !self.something_there(p) {
            return;
        }
        // A take that is lost is asked for its plugs all the same: they come first.
        if self.misplugged(p) || self.rejected() {
            return;
        }
        let wanted = self.options.model == Choice::Eddy;
        let mut fits = fit_all(p, wanted);
        // A silence louder than the drive's own time says nothing about the drive: the residuals are asked instead.
        if p.noise_from_silence && fits.as_ref().is_some_and(|f| f.best().scatter < NOISE_TOO_LARGE) {
            p.noise_from_silence = false;
            fits = fit_all(p, wanted);
        }
        let Some(fits) = fits else {
            self.findings.push(findings::no_fit(self.heard(p)));
            return;
        };
        self.report(p, &fits, false);
    }

    fn finish(mut self) -> Analysis {
        if self.raised(Code::Dropout) {
            // Samples that are missing look like a clock that runs fast.
            self.findings.retain(|f| f.code != Code::ClockDrift);
        }
        self.findings
            .sort_by_key(|f| (std::cmp::Reverse(f.level), findings::place(f.code)));
        findings::name_the_cause(&mut self.findings);
        let verdict = Verdict::from_findings(&self.findings);
        if verdict == Verdict::Rejected {
            self.resonance = None;
            self.answer_db = None;
        }
        self.notes.dedup();
        Analysis {
            capture: self.capture,
            resonance: self.resonance,
            fit: self.fit,
            curve: self.curve,
            answer_db: self.answer_db,
            findings: self.findings,
            verdict,
            notes: self.notes,
        }
    }
}

impl Prepared {
    /// Uses the bins of the band where the reference stands clear of its own noise.
    pub(crate) fn use_band(&mut self) {
        let band = self.setup.band;
        for i in 0..self.bins.len() {
            let f = self.bins.freq(i);
            let clear = self.bins.x[i].norm_sqr() > 10.0 * self.bins.sxx[i] * self.bins.energy;
            self.bins.used[i] = f >= band[0] && f <= band[1] && clear;
        }
    }

    fn leave_out(&mut self, mask: &[bool]) {
        self.use_band();
        self.bins.used.iter_mut().zip(mask).for_each(|(u, m)| *u &= !m);
    }
}

/// A mask of lines that changes by no more than one bin in so many leaves a fit about where it was.
const NEARLY_ALL: usize = 10;

/// Both models, with lines left out as they show, and the noise from the residuals where there was no silence.
///
/// `wanted`: the eddy model is fitted even where nothing speaks for it.
pub(crate) fn fit_all(p: &mut Prepared, wanted: bool) -> Option<Fits> {
    let rounds = if p.noise_from_silence { 1 } else { 4 };
    let mut mask = p.lines.clone();
    let mut before: Option<(Fitted, Option<Fitted>)> = None;
    for round in 0..rounds {
        let first = fit::second_order(&p.bins, &p.setup)?;
        let better = fit::eddy(&p.bins, &p.setup, &first, wanted).filter(|e| e.cost < first.cost);
        let best = better.as_ref().unwrap_or(&first);
        if !p.noise_from_silence {
            noise_from_residuals(&mut p.bins, &best.residuals, &mask);
        }
        let next = lines::find(&p.bins, &best.residuals, p.setup.band);
        let settled = next == mask;
        let changed = next.iter().zip(&mask).filter(|(a, b)| a != b).count();
        mask = next;
        p.leave_out(&mask);
        if settled && p.noise_from_silence && round == 0 {
            return Some(together(p, first, better, mask));
        }
        let few = changed <= first.bins / NEARLY_ALL;
        before = (p.noise_from_silence && few).then_some((first, better));
    }
    // A few bins fewer move a fit by a part of its uncertainty: no need to look for it all over again.
    let second = before
        .as_ref()
        .and_then(|(first, _)| fit::again(&p.bins, &p.setup, first))
        .or_else(|| fit::second_order(&p.bins, &p.setup))?;
    let eddy = before
        .as_ref()
        .and_then(|(_, better)| better.as_ref())
        .and_then(|b| fit::again(&p.bins, &p.setup, b))
        .or_else(|| fit::eddy(&p.bins, &p.setup, &second, wanted));
    Some(together(p, second, eddy, mask))
}

fn together(p: &Prepared, second: Fitted, eddy: Option<Fitted>, lines: Vec<bool>) -> Fits {
    let delta_bic = eddy.as_ref().map(|e| fit::delta_bic(&second, e));
    let best = eddy
        .as_ref()
        .filter(|_| delta_bic.is_some_and(|d| d < 0.0))
        .unwrap_or(&second);
    let answer = |i: usize| (p.bins.y[i] - best.residuals[i]).norm_sqr();
    let hum = lines::hum(&p.bins, &best.residuals, &lines, answer);
    Fits {
        second,
        eddy,
        delta_bic,
        lines,
        hum,
    }
}

/// Noise where there was no silence: the local power of the residuals.
fn noise_from_residuals(bins: &mut Bins, residuals: &[Complex64], lines: &[bool]) {
    let mut power: Vec<f64> = residuals.iter().map(|r| r.norm_sqr() / bins.energy).collect();
    // Lines are bridged by what was there before, so that hum does not count as noise.
    let typical = |i: usize, power: &[f64]| {
        let half = (30.0 / bins.spacing_hz) as usize + 8;
        let around = (i.saturating_sub(half)..(i + half).min(power.len())).filter(|k| !lines[*k] && power[*k] > 0.0);
        let (sum, n) = around.fold((0.0, 0usize), |(s, n), k| (s + power[k], n + 1));
        if n == 0 { 0.0 } else { sum / n as f64 }
    };
    let original = power.clone();
    for i in (0..power.len()).filter(|i| lines[*i]) {
        power[i] = typical(i, &original);
    }
    let smooth = noise::smooth(&power, bins.spacing_hz);
    let least = smooth.iter().copied().fold(0.0, f64::max) * 1e-12;
    for (s, v) in bins.syy.iter_mut().zip(&smooth) {
        *s = v.max(least).max(f64::MIN_POSITIVE);
    }
    bins.sxx.fill(0.0);
    bins.syx.fill(Complex64::new(0.0, 0.0));
}

/// Where the drive has power: density within 27 dB of its top, or of its top per octave (sweeps and pink noise).
fn driven_band(bins: &Bins) -> [f64; 2] {
    let mut groups: Vec<(f64, f64, f64)> = Vec::new();
    let mut f = 8.0;
    while f < bins.freq(bins.len().saturating_sub(1)) {
        let next = f * 2f64.powf(1.0 / 12.0);
        let (a, b) = (
            bins.index_of(f),
            bins.index_of(next).max(bins.index_of(f) + 1).min(bins.len()),
        );
        let power = (a..b).map(|i| bins.x[i].norm_sqr()).sum::<f64>() / (b - a).max(1) as f64;
        let noise = bins.sxx[a] * bins.energy;
        groups.push((f, power, if power > 10.0 * noise { power } else { 0.0 }));
        f = next;
    }
    let top = groups.iter().map(|g| g.2).fold(0.0, f64::max);
    let top_octave = groups.iter().map(|g| g.2 * g.0).fold(0.0, f64::max);
    let strong = |g: &&(f64, f64, f64)| g.2 > 0.0 && (g.2 > 2e-3 * top || g.2 * g.0 > 2e-3 * top_octave);
    let low = groups.iter().find(strong).map_or(0.0, |g| g.0);
    let high = groups
        .iter()
        .rev()
        .find(strong)
        .map_or(0.0, |g| g.0 * 2f64.powf(1.0 / 12.0));
    [low, high]
}

/// Half of the band, as a factor, from which the answer at 1 kHz is taken.
const ABOUT: f64 = 1.05;

/// Size of the response at [`REFERENCE_HZ`] in dB: the model's, brought to the lines measured about it.
fn answer_at_reference(fit: &Fitted) -> Option<Estimate> {
    let f = REFERENCE_HZ;
    let (mut sum, mut weight) = (0.0, 0.0);
    for g in fit.groups.iter().filter(|g| g.f > f / ABOUT && g.f < f * ABOUT) {
        let h = fit.model.response(&fit.theta, g.f).norm();
        let w = g.weight * h * h;
        sum += w * g.h.norm() / h;
        weight += w;
    }
    let value = fit.model.response(&fit.theta, f).norm() * sum / weight;
    // Half of the complex variance lies along the answer.
    let u = (0.5 / weight).sqrt() / (sum / weight);
    estimate(20.0 * value.log10(), 8.686 * u, 8.686 * u)
}

/// The converter's real step: a 24-bit file may hold 16-bit samples.
fn effective_step(take: &Take) -> f64 {
    let fits = |bits: i32| {
        let k = (2f64).powi(bits) as f32;
        let whole = |x: &f32| (x * k).fract() == 0.0;
        take.pickup.iter().all(whole) && take.reference.iter().flatten().all(whole)
    };
    if take.step < (2f64).powi(-15) && fits(15) {
        (2f64).powi(-15)
    } else if take.step < (2f64).powi(-23) && fits(23) {
        (2f64).powi(-23)
    } else {
        take.step
    }
}

pub(crate) fn estimate(value: f64, u: f64, u_noise: f64) -> Option<Estimate> {
    Estimate::new(value, u.max(u_noise), u_noise)
}

impl Fits {
    /// The fit that follows the data best, by the information criterion.
    pub(crate) fn best(&self) -> &Fitted {
        match &self.eddy {
            Some(e) if judge::eddy_is_better(e, self.delta_bic) => e,
            _ => &self.second,
        }
    }
}
