//! From samples to bins that can be fitted: where the take is cut, its spectra, their noise, and the band.

use std::ops::Range;

use num_complex::Complex64;

use super::fits::noise_from_residuals;
use super::{TOP_HZ, Work};
use crate::fit::Setup;
use crate::transfer::bins::{Bins, Record};
use crate::transfer::{faults, noise, span};

/// Where a take is cut, and what is silence in it.
pub(super) struct Cut {
    pub record: Record,
    /// Bins worth keeping: up to the top of what is fitted.
    pub keep: usize,
    pub active: Option<Range<usize>>,
    pub silences: Vec<Range<usize>>,
    /// The silences less the bursts in them.
    quiet: Vec<Range<usize>>,
    /// Times in seconds at which something knocked in the silences.
    pub bursts: Vec<f64>,
}

/// Spectra with all that was found about the noise, ready to be fitted.
pub(super) struct Prepared {
    pub cut: Cut,
    pub bins: Bins,
    pub setup: Setup,
    pub noise_from_silence: bool,
    /// Band in which the drive has power.
    pub driven: [f64; 2],
    /// Bins where a line stands, as far as is known.
    pub lines: Vec<bool>,
}

impl Work<'_> {
    /// The stretch of the take that is transformed: the drive and some silence, but no knock in the silence.
    pub(super) fn cut(&self, active: Option<Range<usize>>, pauses: Vec<Range<usize>>) -> Cut {
        let frames = self.take.pickup.len();
        let silences = match &active {
            Some(a) => span::silences(a, pauses, frames, self.rate),
            None => Vec::new(),
        };
        let bursts = faults::bursts_in_silence(&self.take.pickup, &silences, self.rate, self.floor());
        let at: Vec<usize> = bursts.iter().map(|t| (t * self.rate) as usize).collect();
        // Long enough that even a knock has rung out.
        let clear = (0.04 * self.rate) as usize;
        let mut limits = 0..frames;
        if let Some(a) = &active {
            for at in &at {
                if *at < a.start {
                    limits.start = limits.start.max((at + clear).min(a.start));
                } else if *at > a.end {
                    limits.end = limits.end.min(at.saturating_sub(clear).max(a.end));
                }
            }
        }
        let record = Record::around(active.as_ref(), &limits, self.rate);
        Cut {
            keep: record.bins_up_to(TOP_HZ.min(0.45 * self.rate) * 1.02, self.rate),
            record,
            active,
            quiet: span::without(&silences, &at, clear),
            silences,
            bursts,
        }
    }

    /// Variance per sample that the converter's rounding leaves.
    fn floor(&self) -> f64 {
        self.step * self.step / 12.0
    }

    /// Puts spectra and noise together and finds the band in which there is something to fit.
    pub(super) fn prepare(&self, cut: Cut, x: Vec<Complex64>, y: Vec<Complex64>) -> Prepared {
        let (pickup, reference) = (&self.take.pickup, self.take.reference.as_deref());
        let noise = noise::from_silences(pickup, reference, &cut.quiet, self.rate, self.floor());
        let n = y.len();
        let mut bins = Bins::new(&cut.record, x, y, self.rate);
        match &noise {
            Some(noise) => bins.set_noise(noise),
            // Until a fit has told answer from noise, all of it may be noise.
            None => {
                let all = bins.y.clone();
                noise_from_residuals(&mut bins, &all, &vec![false; n]);
            }
        }
        let driven = driven_band(&bins);
        let top = driven[1].min(TOP_HZ).min(0.45 * self.rate);
        let one_channel = reference.is_none();
        let setup = self
            .options
            .chain
            .setup(one_channel, [driven[0].max(self.bottom_hz), top]);
        let mut p = Prepared {
            cut,
            setup,
            noise_from_silence: noise.is_some(),
            driven,
            // Lines seen in the silence: left out before any fit, so that strong hum spoils none.
            lines: match &noise {
                Some(noise) => (0..n).map(|i| noise.has_line(bins.freq(i))).collect(),
                None => vec![false; n],
            },
            bins,
        };
        let mask = p.lines.clone();
        p.leave_out(&mask);
        p
    }
}

impl Prepared {
    /// Uses the bins of the band where the reference stands clear of its own noise, but those of the lines.
    pub(super) fn leave_out(&mut self, lines: &[bool]) {
        let ([low, high], bins) = (self.setup.band, &mut self.bins);
        for (i, line) in lines.iter().enumerate() {
            let f = bins.freq(i);
            let clear = bins.x[i].norm_sqr() > 10.0 * bins.sxx[i] * bins.energy;
            bins.used[i] = f >= low && f <= high && clear && !line;
        }
    }
}

/// Where the drive has power: density within 27 dB of its top, or of its top per octave (sweeps and pink noise).
fn driven_band(bins: &Bins) -> [f64; 2] {
    let step = 2f64.powf(1.0 / 12.0);
    let mut groups: Vec<(f64, f64)> = Vec::new();
    let mut f = 8.0;
    while f < bins.freq(bins.len().saturating_sub(1)) {
        let next = f * step;
        let a = bins.index_of(f);
        let b = bins.index_of(next).max(a + 1).min(bins.len());
        let power = (a..b).map(|i| bins.x[i].norm_sqr()).sum::<f64>() / (b - a).max(1) as f64;
        let noise = bins.sxx[a] * bins.energy;
        groups.push((f, if power > 10.0 * noise { power } else { 0.0 }));
        f = next;
    }
    let top = groups.iter().map(|g| g.1).fold(0.0, f64::max);
    let top_octave = groups.iter().map(|g| g.1 * g.0).fold(0.0, f64::max);
    let strong = |g: &&(f64, f64)| g.1 > 0.0 && (g.1 > 2e-3 * top || g.1 * g.0 > 2e-3 * top_octave);
    let low = groups.iter().find(strong).map_or(0.0, |g| g.0);
    let high = groups.iter().rev().find(strong).map_or(0.0, |g| g.0 * step);
    [low, high]
}
