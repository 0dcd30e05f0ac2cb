//! The knock: from a recording of taps, exciter silent, to levels, peaks and decays. docs/method.md, section 19.

use crate::analysis::repeats;
use crate::capture::Take;
use crate::estimate::{Estimate, Z95};
use crate::record::knock::{Knock, KnockPeak, KnockSpectrum, LeftOut, Tap};
use crate::stats::{mean, sd};
use band::Band;
use find::{Found, WINDOW_S};
use spectrum::{Maximum, Spectrum};

mod band;
pub mod change;
mod decay;
mod find;
mod spectrum;
#[cfg(test)]
mod tests;

/// The window begins so long before the tap.
const BEFORE_S: f64 = 0.01;
/// A decay is followed so long.
const DECAY_S: f64 = 0.45;
/// What the band's edges and the smoothing may shift a decay by, relative: so it came out without noise from 200 Hz to 3.6 kHz.
const DECAY_U: f64 = 3e-4;
/// Before a decay, for the smoothing.
const LEAD_S: f64 = 0.04;
/// Fewer taps tell no scatter.
pub const LEAST_TAPS: usize = 3;
/// A tap's energy is so many times its uncertainty, or it is lost in the noise.
const CLEAR: f64 = 4.0;
/// Longer recordings are of something else: 50 taps take 80 s.
const LONGEST_S: f64 = 120.0;
/// Decibels of a relative change of an energy.
const DB: f64 = 10.0 / std::f64::consts::LN_10;

/// Below any converter, so that digital silence has a level as well.
const FLOOR_DB: f64 = -300.0;

/// Why there is no knock in the record, for its notes.
pub type NotRead = String;

fn not_read(why: &str) -> NotRead {
    format!("knock not read: {why}")
}

/// Reads a recording of taps. `answer` is what the same channel showed of the exciter at [`crate::record::knock::REFERENCE_HZ`], in dB: channel 1 over
/// the reference, or over the drive file.
pub fn read(take: &Take, answer: Option<Estimate>) -> Result<Knock, NotRead> {
    let answer =
        answer.ok_or_else(|| not_read("there is no reading at 1 kHz to count its level from; measure again"))?;
    if let Some(first) = take.provenance.trouble.first() {
        return Err(not_read(&format!("{first}; tap again")));
    }
    let rate = f64::from(take.rate_hz);
    let samples = take.pickup.as_slice();
    if samples.len() as f64 > LONGEST_S * rate {
        return Err(not_read(&format!(
            "the recording is longer than {LONGEST_S:.0} s; cut it to the taps"
        )));
    }
    let band = Band::of(samples, rate).ok_or_else(|| not_read("the recording is empty; tap again"))?;
    if let Some(i) = samples.iter().position(|v| !v.is_finite()) {
        return Err(not_read(&format!("sample {} is no number; tap again", i + 1)));
    }
    let least = take.step.powi(2) / 12.0;
    let found = find::taps(&band, least);
    Heard::new(samples, take.step, rate, &band, &found)
        .ok_or_else(|| not_read("half a second of quiet between taps was nowhere; tap again, once a second"))?
        .knock(answer)
}

/// One usable tap.
struct Used {
    at_s: f64,
    energy: f64,
    u_energy: f64,
    spectrum: Spectrum,
    ringing: Option<Vec<f64>>,
}

/// What was found in a recording.
struct Heard<'a> {
    band: &'a Band,
    taps: Vec<Tap>,
    used: Vec<Used>,
    quiet: Vec<Vec<f64>>,
    still: Vec<Spectrum>,
    /// Mean energy of a quiet window.
    noise: f64,
}

fn energy(x: &[f64]) -> f64 {
    x.iter().map(|v| v * v).sum()
}

impl<'a> Heard<'a> {
    fn new(samples: &[f32], step: f64, rate: f64, band: &'a Band, found: &Found) -> Option<Self> {
        let starts = find::quiet(found, band.seconds()).into_iter();
        let mut quiet: Vec<Vec<f64>> = starts.filter_map(|at| band.piece(at, WINDOW_S)).collect();
        // What rings on, or a chair, is no noise.
        let mut energies: Vec<f64> = quiet.iter().map(|q| energy(q)).collect();
        energies.sort_by(f64::total_cmp);
        let typical = *energies.get(energies.len().saturating_sub(1) / 2)?;
        quiet.retain(|q| energy(q) <= 3.0 * typical);
        let kept: Vec<f64> = quiet.iter().map(|q| energy(q)).collect();
        let noise = kept.iter().sum::<f64>() / kept.len().max(1) as f64;
        let scatter = (kept.iter().map(|e| (e - noise).powi(2)).sum::<f64>() / kept.len().max(1) as f64).sqrt();
        let flat = find::flat(samples, step);
        let (mut taps, mut used) = (Vec::new(), Vec::new());
        for tap in &found.taps {
            let at = tap.at_s;
            let mut why = find::left_out(found, tap, band.seconds(), &flat, rate);
            if why.is_none() {
                match Used::of(band, at, noise, scatter) {
                    Some(u) => used.push(u),
                    None => why = Some(LeftOut::Weak),
                }
            }
            taps.push(Tap {
                at_s: at,
                level_db: None,
                left_out: why,
            });
        }
        Some(Heard {
            band,
            taps,
            used,
            still: quiet.iter().map(|q| Spectrum::of(q, band.rate)).collect(),
            quiet,
            noise,
        })
    }

    fn knock(mut self, answer: Estimate) -> Result<Knock, NotRead> {
        // Rms of the exciter's answer, as energy in a window.
        let full = 0.5 * 10f64.powf(answer.value / 10.0) * (WINDOW_S * self.band.rate).round();
        let level = |e: f64| DB * (e.max(f64::MIN_POSITIVE) / full).ln();
        if self.used.len() < LEAST_TAPS {
            return Err(self.too_few(level(self.noise)));
        }
        let of = |u: &Used| noisy(level(u.energy), DB * u.u_energy / u.energy);
        let own: Vec<Estimate> = self.used.iter().filter_map(of).collect();
        for (u, e) in self.used.iter().zip(&own) {
            let tap = self.taps.iter_mut().find(|t| t.at_s == u.at_s);
            tap.into_iter().for_each(|t| t.level_db = Some(*e));
        }
        let with_answer = |e: Estimate| Estimate::new(e.value, e.u.hypot(answer.u), e.u_noise.hypot(answer.u_noise));
        let mean = plain_mean(&own).and_then(with_answer);
        let level_db = mean.ok_or_else(|| not_read("its level is no number; tap again"))?;
        let maxima = self.maxima().into_iter();
        Ok(Knock {
            taps: self.taps.len() as u32,
            used: self.used.len() as u32,
            level_db,
            noise_db: level(self.noise).max(FLOOR_DB),
            peaks: maxima.filter_map(|m| self.peak(&m, &level, &with_answer)).collect(),
            spectrum: self.spectrum(&level),
            single: self.taps,
            take: None,
        })
    }

    fn too_few(&self, noise_db: f64) -> NotRead {
        let count = |w: LeftOut| self.taps.iter().filter(|t| t.left_out == Some(w)).count();
        let all = [
            (LeftOut::Overlap, "less than half a second apart"),
            (LeftOut::Clipped, "clipped: tap lighter"),
            (LeftOut::Cut, "at the recording's ends"),
            (LeftOut::Weak, "lost in the noise: tap harder"),
        ];
        let told = all.map(|(w, words)| (count(w), words)).into_iter().filter(|t| t.0 > 0);
        let reasons: Vec<String> = told.map(|(n, words)| format!("{n} {words}")).collect();
        let out = if reasons.is_empty() {
            format!(
                "taps must stand out of the noise, which is at {:.0} dB",
                noise_db.max(FLOOR_DB)
            )
        } else {
            reasons.join(", ")
        };
        not_read(&format!(
            "{} of {} taps usable, {LEAST_TAPS} are needed ({out}); tap again",
            self.used.len(),
            self.taps.len()
        ))
    }

    fn maxima(&self) -> Vec<Maximum> {
        let power = spectrum::mean(self.used.iter().map(|u| (&u.spectrum, u.energy)));
        let mut noise = spectrum::mean(self.still.iter().map(|s| (s, 1.0)));
        let weight = self.used.iter().map(|u| 1.0 / u.energy).sum::<f64>() / self.used.len() as f64;
        noise.iter_mut().for_each(|v| *v *= weight);
        let spacing = self.used.first().map_or(1.0, |u| u.spectrum.spacing_hz);
        let typical = |hz: f64| self.used.iter().map(|u| u.spectrum.third(hz) / u.energy).sum::<f64>();
        spectrum::maxima(&power, &noise, spacing, typical)
    }

    fn peak(
        &self,
        m: &Maximum,
        level: &impl Fn(f64) -> f64,
        with_answer: &impl Fn(Estimate) -> Option<Estimate>,
    ) -> Option<KnockPeak> {
        let still = self.still.iter().map(|s| s.third(m.hz)).sum::<f64>() / self.still.len().max(1) as f64;
        let (mut hz, mut levels) = (Vec::new(), Vec::new());
        for u in &self.used {
            let e = u.spectrum.third(m.hz) - still;
            if e > still * PEAK_CLEAR {
                let share = (still / (u.band_count(m.hz) * e)).sqrt();
                levels.extend(noisy(level(e), DB * 2.0 * share));
            }
            let f = u.spectrum.highest(m.hz, m.width_hz);
            hz.extend(f.and_then(|f| noisy(f.0, 0.5 * m.width_hz / m.clear.sqrt())));
        }
        if levels.len() < LEAST_TAPS.max(self.used.len() / 2) {
            return None;
        }
        // A force that falls or rises by up to 12 dB an octave shifts the maximum by up to half the width squared over it.
        let slope = m.width_hz.powi(2) / (2.0 * m.hz) / 3f64.sqrt();
        let f = plain_mean(&hz)?;
        Some(KnockPeak {
            hz: Estimate::new(f.value, f.u.hypot(slope), f.u_noise)?,
            level_db: plain_mean(&levels).and_then(with_answer)?,
            decay_s: self.decay(f.value),
        })
    }

    fn decay(&self, hz: f64) -> Option<Estimate> {
        let rate = self.band.rate;
        let noise = decay::noise(self.quiet.iter().map(Vec::as_slice), hz, rate);
        let each: Vec<Estimate> = self
            .used
            .iter()
            .filter_map(|u| decay::time_constant(u.ringing.as_deref()?, LEAD_S * rate, hz, rate, noise))
            .filter_map(|(tau, u)| noisy(tau, u))
            .collect();
        if each.len() < LEAST_TAPS.max(self.used.len() / 2) {
            return None;
        }
        let e = plain_mean(&each)?;
        Estimate::new(e.value, e.u.hypot(DECAY_U * e.value), e.u_noise)
    }

    fn spectrum(&self, level: &impl Fn(f64) -> f64) -> KnockSpectrum {
        let mut out = KnockSpectrum::default();
        let half = 2f64.powf(1.0 / 48.0);
        let n = self.used.len() as f64;
        let floored = |e: f64| level(e).max(FLOOR_DB);
        let [mut hz, top] = band::WHOLE_HZ;
        while hz * half <= top {
            let of = |u: &Used| floored(u.spectrum.energy(hz / half, hz * half));
            let each: Vec<f64> = self.used.iter().map(of).collect();
            let (mean, s) = (mean(&each).unwrap_or(FLOOR_DB), sd(&each).unwrap_or(0.0));
            let still: f64 = self.still.iter().map(|q| q.energy(hz / half, hz * half)).sum();
            out.freq_hz.push(hz);
            out.level_db.push(mean);
            out.u_db.push(s * repeats::student(self.used.len()) / Z95 / n.sqrt());
            out.noise_db.push(floored(still / self.still.len().max(1) as f64));
            hz *= half * half;
        }
        out
    }
}

/// A peak's band has at least as much energy from the tap as from the noise.
const PEAK_CLEAR: f64 = 1.0;

impl Used {
    /// `None` where the tap is lost in the noise.
    fn of(band: &Band, at_s: f64, noise: f64, scatter: f64) -> Option<Self> {
        let piece = band.piece(at_s - BEFORE_S, WINDOW_S)?;
        let own = energy(&piece) - noise;
        // Noise in the window's energy: its product with the tap, and its own square.
        let density = noise / (2.0 * WINDOW_S * (band::HIGH_HZ - band::LOW_HZ));
        let u_energy = (4.0 * own.max(0.0) * density).sqrt().hypot(scatter);
        (own > 0.0 && own > CLEAR * u_energy).then(|| Used {
            at_s,
            energy: own,
            u_energy,
            spectrum: Spectrum::of(&piece, band.rate),
            ringing: band.piece(at_s - LEAD_S, LEAD_S + DECAY_S),
        })
    }

    /// Independent numbers of noise in a peak's band.
    fn band_count(&self, hz: f64) -> f64 {
        (2.0 * WINDOW_S * 0.23 * hz).max(1.0)
    }
}

/// All taps count alike: a weak tap is noisier, and weights by noise would make the mean too loud.
fn plain_mean(list: &[Estimate]) -> Option<Estimate> {
    let typical = (list.iter().map(|e| e.u_noise.powi(2)).sum::<f64>() / list.len().max(1) as f64).sqrt();
    let alike: Option<Vec<Estimate>> = list.iter().map(|e| Estimate::new(e.value, e.u, typical)).collect();
    let mean = repeats::mean(&alike?)?;
    // Nothing systematic is in the single ones.
    Estimate::new(mean.value, mean.u_noise, mean.u_noise)
}

/// An estimate of which the noise is all that is known.
fn noisy(value: f64, u: f64) -> Option<Estimate> {
    Estimate::new(value, u, u.max(1e-9 * value.abs()).max(1e-9))
}
