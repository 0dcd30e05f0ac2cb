//! What the numbers and the samples say about the take: findings, and the record's figures of signal and noise.

use num_complex::Complex64;

use super::Work;
use super::budget::Distance;
use super::findings::{self, Softer};
use super::fits::Fits;
use super::prepare::Prepared;
use super::reading::Held;
use super::ways::Way;
use crate::fit::Fitted;
use crate::fit::group::{self, Group};
use crate::fit::natural::{Meaning, Resonance};
use crate::record::{Code, Level};
use crate::transfer::{faults, span, sums};

/// Where the noise is told for comparing takes of one rig: clear of rumble and of the converter's filter.
const NOISE_HZ: [f64; 2] = [100.0, 10_000.0];
/// Coherence of an answer that nobody would call weak: about 20 dB over what is just heard.
const CLEARLY_HEARD: f64 = 100.0;
/// Distances of the two ways below this are nobody's business.
const FAR_F0_PERCENT: f64 = 0.1;
const FAR_Q_PERCENT: f64 = 1.0;
/// A signal that is this much weaker on one input than on the other leaks into it.
const LEAK_DB: f64 = 40.0;

impl Work<'_> {
    pub(super) fn clipping(&mut self) {
        let take = self.take;
        let channels = [("pickup", Some(&take.pickup)), ("reference", take.reference.as_ref())];
        for (name, x) in channels {
            let Some(x) = x else { continue };
            let tops = faults::clipping_over_noise(x, self.step, self.rate);
            if tops.runs == 0 {
                continue;
            }
            let active = span::active(x, self.rate).map_or(x.len(), |a| a.len());
            let share = tops.samples as f64 / active.max(1) as f64;
            let softer = match take.provenance.file {
                _ if tops.at > 0.98 => Softer::AtInput,
                None => Softer::AtOutput,
                Some(_) => Softer::AtPlayer,
            };
            let level = if share > 0.01 { Level::Reject } else { Level::Warning };
            self.out.capture.clipped_samples += tops.samples;
            self.raise(findings::clipped(name, &tops, softer, level));
        }
    }

    /// Whether the answer stands well above the noise: what cannot be read is then not too weak.
    pub(super) fn heard(&self, p: &Prepared) -> bool {
        coherence(p) > CLEARLY_HEARD
    }

    /// Whether the pickup channel answers to the reference at all; raises the finding if not.
    pub(super) fn something_there(&mut self, p: &Prepared) -> bool {
        let band = p.setup.band;
        let empty = p.bins.used_count() < 64 || band[1] < 2.0 * band[0];
        let take = self.take;
        let driven = take.reference.as_ref().is_none_or(|r| {
            // What is this weak leaks over from the pickup; and hum or noise alone never pauses.
            rms(r) > rms(&take.pickup) * 10f64.powf(-LEAK_DB / 20.0) && (p.cut.active.is_some() || followed(p))
        });
        if driven && !empty && coherence(p) > 1.0 {
            return true;
        }
        match &take.reference {
            Some(r) if !driven || p.cut.active.is_none() || empty => {
                // Both silent, or nothing that looks like a drive: the reference is the first thing to look at.
                let pickup_alive = span::active(&take.pickup, self.rate).is_some();
                let reference_alive = rms(r) > 1e-3 && rms(r) > 10.0 * rms(&take.pickup);
                if pickup_alive || !reference_alive {
                    self.raise(findings::reference_missing());
                }
                if !pickup_alive {
                    self.raise(findings::no_signal());
                }
            }
            _ => self.raise(findings::no_signal()),
        }
        false
    }

    /// Whether the plugs show in the raw ratio: it stays where a pickup's rises, or falls; raises the finding if so.
    pub(super) fn misplugged(&mut self, p: &Prepared) -> bool {
        let [low, high] = p.setup.band;
        let groups: Vec<Group> = group::gather(&p.bins, [low, high.min(1600.0)])
            .into_iter()
            .filter(|g| g.coherence > 0.5)
            .collect();
        // The upper half alone must fall too: a knock or hum may bend the lower.
        let falls = |band: std::ops::Range<f64>| {
            let raw = groups.iter().map(|g| (g.f, g.h, g.weight));
            faults::slope_db_per_octave(raw, band).is_some_and(|(s, u)| s + 4.0 * u < -3.0)
        };
        let found = match faults::constant_db(groups.iter().map(|g| (g.f, g.h))) {
            // As little comes through a broken winding.
            Some(db) if db > -LEAK_DB => findings::same_on_both(),
            None if falls(80.0..900.0) && falls(300.0..900.0) => findings::channels_swapped(),
            _ => return false,
        };
        self.raise(found);
        true
    }

    /// Whether a one-channel take holds the drive as it was played, with no coil in between.
    pub(super) fn drive_itself(&self, p: &Prepared) -> bool {
        let [low, high] = p.setup.band;
        let groups = group::gather(&p.bins, [low, high.min(1000.0)]);
        faults::keeps_its_size(groups.iter().filter(|g| g.coherence > 0.5).map(|g| (g.f, g.h)))
    }

    /// Whether the model that is shown can be believed: it follows the curve, and its nearest rival says the same.
    pub(super) fn judge_fit(&mut self, held: &Held, next: &Distance, peak: Option<f64>) {
        let top = peak.unwrap_or(next.f0_hz);
        let whole = held.miss(50.0, 18e3);
        // What is missed above the resonance moves neither it nor the peak.
        let near = held.miss(top / 4.0, 1.6 * top);
        let gross = near.matters() && (near.beyond_noise_db > 0.06 || near.beyond_noise_deg > 0.4);
        let apart = [next.f0_percent, next.q_percent];
        if gross || apart[0] > 1.0 || apart[1] > 5.0 {
            self.raise(findings::poor_fit(&whole, apart, Level::Warning));
        } else if whole.matters() {
            self.raise(findings::poor_fit(&whole, apart, Level::Note));
        }
    }

    /// Whether the take read against the drive file says the same: a skew or a roll-off of one input moves f0, the pickup heard on
    /// the reference Q.
    pub(super) fn judge_ways(&mut self, way: Option<&Way>, natural: &Resonance) {
        let Some(way) = way.filter(|_| natural.meaning != Meaning::Local) else {
            return;
        };
        let (f0, q) = (way.f0_from(natural.f0), way.q_from(natural.q));
        let percent = |by: f64, of: f64| 100.0 * by / of;
        let (f0_percent, q_percent) = (percent(f0.by, natural.f0.value), percent(q.by, natural.q.value));
        let f0_off = f0.clear() && f0_percent.abs() > FAR_F0_PERCENT;
        let q_off = q.clear() && q_percent.abs() > FAR_Q_PERCENT;
        // In units of what matters: what is more of the one is that.
        if q_off && (!f0_off || q_percent.abs() / FAR_Q_PERCENT > f0_percent.abs() / FAR_F0_PERCENT) {
            self.raise(findings::reference_leak(q_percent));
        } else if f0_off {
            self.raise(findings::inputs_differ(f0_percent));
        }
    }

    /// `f0` of the resonance; `peak`: where it is.
    pub(super) fn judge_edge(&mut self, p: &Prepared, f0: f64, peak: Option<f64>) {
        let [low, high] = p.driven;
        // Without a peak only a resonance far outside says anything.
        let (f, beyond, edge) = match peak {
            Some(hz) => (hz, 1.0, 1.12),
            None => (f0, 1.5, 1.5),
        };
        if f > high * beyond || f < low / beyond {
            self.raise(findings::peak_outside(f, p.driven, Level::Reject));
        } else if f > high / edge || f < low * edge {
            self.raise(findings::peak_outside(f, p.driven, Level::Warning));
        }
    }

    /// Signal, noise and hum, `f0` hertz being the resonance.
    pub(super) fn judge_noise(&mut self, p: &Prepared, fits: &Fits, better: &Fitted, f0: f64) {
        let (bins, [low, high]) = (&p.bins, p.setup.band);
        let frames = self.take.pickup.len() as f64;
        let answer = |i: usize| (bins.y[i] - better.residuals[i]).norm_sqr();
        let between = |from: f64, to: f64| bins.index_of(from.max(low))..bins.index_of(to.min(high));
        let half = std::f64::consts::SQRT_2;
        let (mut signal, mut noise) = (0.0, 0.0);
        for i in between(f0 / half, f0 * half).filter(|i| !fits.lines[*i]) {
            signal += answer(i);
            noise += bins.syy[i] * frames;
        }
        if signal > 0.0 && noise > 0.0 {
            self.out.capture.snr_db = Some(10.0 * (signal / (noise * better.excess())).log10());
        }
        // Mean square of what has this sum over its bins, one-sided, against that of a full-scale sine (AES17).
        let dbfs = |power: f64| 10.0 * (power * 2.0 / bins.length / 0.5).log10();
        let whole = between(NOISE_HZ[0], NOISE_HZ[1]);
        let floor: f64 = whole.filter(|i| !fits.lines[*i]).map(|i| bins.syy[i]).sum();
        self.out.capture.noise_dbfs = (floor > 0.0).then(|| dbfs(floor * better.excess()));
        let Some(hum) = fits.hum.filter(|h| h.power > 0.0) else {
            return;
        };
        self.out.capture.hum_dbfs = Some(dbfs(hum.power / bins.energy));
        let total: f64 = between(low, high).map(answer).sum();
        if total > 0.0 {
            // Hum goes on through the silences, the answer does not: both over the whole take.
            let ratio = hum.power / total * frames / bins.energy;
            let db = 10.0 * ratio.log10();
            self.out.capture.hum_db = Some(db);
            self.out.capture.mains_hz = Some(hum.mains_hz);
            // What a knock leaves at low frequency may pass for a comb.
            if (hum.above_signal || ratio > 0.01) && !self.raised(Code::Transient) {
                let level = if ratio > 0.01 { Level::Warning } else { Level::Note };
                self.raise(findings::hum(hum.mains_hz, db, level));
            }
        }
    }
}

fn rms(x: &[f32]) -> f64 {
    (sums::squares_about(x, 0.0) / x.len() as f64).sqrt()
}

/// Whether X looks like a drive: its power is spread over more than some mains lines, and Y follows it over most of the band.
fn followed(p: &Prepared) -> bool {
    const LINES: f64 = 100.0;
    // Of few bins chance makes as much.
    const ENOUGH: usize = 8;
    const FOLLOWS: f64 = 0.3;
    let power = (0..p.bins.len())
        .filter(|i| p.bins.used[*i])
        .map(|i| p.bins.x[i].norm_sqr());
    let (sum, squares) = power.fold((0.0, 0.0), |(s, q), x| (s + x, q + x * x));
    let mut coherence: Vec<f64> = group::gather(&p.bins, p.setup.band)
        .iter()
        .filter(|g| g.stop - g.start >= ENOUGH)
        .map(|g| g.coherence)
        .collect();
    sum * sum > LINES * squares && sums::median(&mut coherence) > FOLLOWS
}

/// How clearly Y follows X, in units of what chance gives: above 1 there is an answer.
fn coherence(p: &Prepared) -> f64 {
    let groups = group::gather(&p.bins, p.setup.band);
    let (mut sum, mut n) = (0.0, 0.0);
    let mut rest = &groups[..];
    while let Some(first) = rest.first() {
        // Sixths of an octave: wide enough to gather a weak answer, narrow enough that its phase holds.
        let end = rest.iter().position(|g| g.f > first.f * 1.122).unwrap_or(rest.len());
        let (near, after) = rest.split_at(end.max(1));
        let hw: Complex64 = near.iter().map(|g| g.h * g.weight).sum();
        let w: f64 = near.iter().map(|g| g.weight).sum();
        if w > 0.0 {
            sum += hw.norm_sqr() / w;
            n += 1.0;
        }
        rest = after;
    }
    if n < 4.0 {
        return 0.0;
    }
    // Each term is exponential with mean 1 under no answer; five standard deviations and a little for the noise's own error.
    (sum / n) / (1.3 + 5.0 / f64::sqrt(n))
}
