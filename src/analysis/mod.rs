//! From a take to everything that a record says of it: spectra, noise, fit, faults, findings.

use serde::{Deserialize, Serialize};

use crate::capture::Take;
use crate::estimate::Estimate;
use crate::failure::{Failure, Result};
use crate::record::{Budget, CaptureSummary, Code, Curve, Finding, Fit, Level, Resonance, Verdict};
use crate::transfer::align::Place;
use crate::transfer::{span, sums};

mod budget;
pub mod chain;
pub mod compose;
pub mod curve;
pub mod findings;
mod fits;
mod judge;
mod one;
mod open;
mod prepare;
mod reading;
pub mod repeats;
mod slips;
mod time;
mod ways;

use chain::Chain;
use fits::Fits;
use prepare::Prepared;

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
    /// The plainest that follows the take.
    #[default]
    Better,
    SecondOrder,
    #[serde(alias = "eddy")]
    Turn,
    Metal,
    #[serde(rename = "metal+loop")]
    MetalLoop,
}

/// Everything measured from one take, in the record's own terms.
#[derive(Debug, Clone, Default)]
pub struct Analysis {
    pub capture: CaptureSummary,
    pub resonance: Option<Resonance>,
    pub fit: Option<Fit>,
    pub budget: Option<Budget>,
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
        work.out.capture.dropouts += take.provenance.trouble.len() as u64;
        work.raise(findings::sound_trouble(first, take.provenance.cause));
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
struct Work<'a> {
    take: &'a Take,
    options: &'a Options<'a>,
    rate: f64,
    /// Converter step as the samples show it.
    step: f64,
    /// Where the band begins at the earliest.
    bottom_hz: f64,
    /// Where the drive file arrived, as the reference channel tells it.
    place: Option<Place>,
    out: Analysis,
}

impl<'a> Work<'a> {
    fn new(take: &'a Take, options: &'a Options<'a>) -> Self {
        let top = take
            .reference
            .as_deref()
            .map_or(0.0, sums::peak)
            .max(sums::peak(&take.pickup));
        let capture = CaptureSummary {
            rate_hz: take.rate_hz,
            channels: 1 + u32::from(take.reference.is_some()),
            frames: take.pickup.len() as u64,
            peak_dbfs: (top > 0.0).then(|| 20.0 * f64::from(top).log10()),
            ..CaptureSummary::default()
        };
        Work {
            take,
            options,
            rate: f64::from(take.rate_hz),
            step: effective_step(take),
            bottom_hz: BOTTOM_HZ,
            place: None,
            out: Analysis {
                capture,
                notes: take.provenance.notes.clone(),
                ..Analysis::default()
            },
        }
    }

    fn raise(&mut self, finding: Finding) {
        self.out.findings.push(finding);
    }

    fn note(&mut self, text: &str) {
        self.out.notes.push(text.into());
    }

    /// Whether a finding of this kind has been raised, above a note.
    fn raised(&self, code: Code) -> bool {
        findings::warned(&self.out.findings, &[code])
    }

    fn rejected(&self) -> bool {
        self.out.findings.iter().any(|f| f.level == Level::Reject)
    }

    fn two_channel(&mut self, reference: &[f32]) {
        let pickup = &self.take.pickup;
        let (no_reference, no_pickup) = (all_alike(reference), all_alike(pickup));
        if no_reference {
            self.raise(findings::reference_missing());
        }
        if no_pickup {
            self.raise(findings::no_signal());
        }
        if no_reference || no_pickup {
            return;
        }
        let active = span::active(reference, self.rate);
        let pauses = active.as_ref().map(|a| span::pauses(reference, a, self.rate));
        let cut = self.cut(active, pauses.unwrap_or_default());
        let x = cut.record.transform(reference, cut.keep);
        let y = cut.record.transform(pickup, cut.keep);
        let mut prepared = self.prepare(cut, x, y);
        if let Some(drive) = self.options.drive {
            self.clock_of_reference(reference, drive);
        }
        self.measure(&mut prepared);
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
        let choice = self.choice();
        let mut fits = Fits::of(p, choice);
        // A silence louder than the drive's own time says nothing about the drive: the residuals are asked instead.
        if p.noise_from_silence && fits.as_ref().is_some_and(|f| f.best().scatter < NOISE_TOO_LARGE) {
            p.noise_from_silence = false;
            fits = Fits::of(p, choice);
        }
        match fits {
            Some(fits) => self.report(p, &fits),
            None => self.raise(findings::no_fit(self.heard(p))),
        }
    }

    /// Which models are tried: of a clipped take none but the plain one, since no coil makes what clipping does.
    fn choice(&self) -> Choice {
        match self.options.model {
            Choice::Better if self.raised(Code::Clipped) => Choice::SecondOrder,
            asked => asked,
        }
    }

    fn finish(self) -> Analysis {
        // Samples that are missing look like a clock that runs fast.
        let drift = !self.raised(Code::Dropout);
        let mut out = self.out;
        out.findings.retain(|f| drift || f.code != Code::ClockDrift);
        // What bends a take looks like anything, and so like inputs that are not alike.
        let bent = [
            Code::Clipped,
            Code::Distorted,
            Code::GainDrift,
            Code::Dropout,
            Code::CoilsCancel,
        ];
        if findings::warned(&out.findings, &bent) {
            let told = |f: &Finding| !matches!(f.code, Code::InputsDiffer | Code::ReferenceLeak);
            out.findings.retain(told);
        }
        out.findings
            .sort_by_key(|f| (std::cmp::Reverse(f.level), findings::place(f.code)));
        findings::name_the_cause(&mut out.findings);
        out.verdict = Verdict::from_findings(&out.findings);
        if out.verdict == Verdict::Rejected {
            out.resonance = None;
            out.budget = None;
            out.answer_db = None;
        }
        out.notes.dedup();
        out
    }
}

fn all_alike(x: &[f32]) -> bool {
    x.iter().all(|v| *v == x[0])
}

/// The converter's real step: a 24-bit file may hold 16-bit samples.
fn effective_step(take: &Take) -> f64 {
    let step = |bits: i32| 2f64.powi(-bits);
    let fits = |bits: &i32| {
        let k = 2f64.powi(*bits) as f32;
        let whole = |x: &f32| (x * k).fract() == 0.0;
        take.step < step(*bits) && take.pickup.iter().all(whole) && take.reference.iter().flatten().all(whole)
    };
    [15, 23].into_iter().find(fits).map_or(take.step, step)
}
