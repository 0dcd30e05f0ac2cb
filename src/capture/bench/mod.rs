//! The built-in bench: pickup, exciter, sound card and mains as a calculation.
//!
//! The drive's spectrum, on the input's clock, is multiplied by the analogue response of the whole circuit at each bin of
//! a zero-padded record, so the result is that of the continuous circuit, sampled: no filter is approximated. Noise, hum
//! and faults are added afterwards. The same spec, request and seed give the same take, bit for bit.

use std::f64::consts::TAU;
use std::thread;
use std::time::{Duration, Instant};

use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::{Capture, Progress, Provenance, Request, Rounds, Take, silence};
use crate::failure::{Failure, Result};
use crate::fft;
use crate::network::Load;
use crate::parallel;
use crate::rig::Rig;

mod blemish;
mod circuit;
mod spec;
mod tap;
#[cfg(test)]
mod tests;
mod words;

use circuit::Circuit;
use spec::QUIET_HUM_DBFS;
pub use spec::Spec;

/// As the record names it.
pub const DEVICE: &str = "built-in bench";

/// Bins that are worked out in one go.
const PIECE: usize = 1024;

/// A bench ready to play and record.
#[derive(Debug, Clone)]
pub struct Bench {
    pub spec: Spec,
    circuit: Circuit,
    one_channel: bool,
    seed: u64,
    /// Takes so far: each has noise of its own.
    takes: u64,
    /// Of the last drive that was played; hum is counted from it.
    answer_rms: f64,
    /// Taps to come in the take.
    tapping: u32,
}

/// Which random numbers are drawn, so that a hum more leaves the noise as it was.
#[derive(Clone, Copy)]
enum Draw {
    PickupNoise,
    ReferenceNoise,
    Hum,
    Knock,
    Tap,
}

impl Bench {
    /// Without a rig: a current reference, and an input that loads nothing. What the rig file states of the input's AC
    /// coupling, delay and gain is so, unless `spec` says otherwise. Fails where `spec` is no bench.
    pub fn new(spec: Spec, rig: Option<&Rig>, load: Option<&Load>, one_channel: bool, seed: u64) -> Result<Self> {
        spec.check()?;
        Ok(Bench {
            circuit: Circuit::new(&spec, rig, load),
            spec,
            one_channel,
            seed,
            takes: 0,
            answer_rms: 0.0,
            tapping: 0,
        })
    }

    fn random(&self, what: Draw) -> ChaCha8Rng {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        rng.set_stream(self.takes * 16 + what as u64);
        rng
    }

    /// Spectrum of the drive as it plays, on the input's clock; k = 0..=n/2 of a record of `n` frames.
    fn played(&self, drive: &[f32], n: usize) -> Vec<Complex64> {
        let card = &self.spec.card;
        let signal: Vec<f64> = match card.third_harmonic_db {
            Some(db) => blemish::third_harmonic(drive, blemish::ratio(db)),
            None => drive.iter().map(|v| f64::from(*v)).collect(),
        };
        if card.clock_ppm == 0.0 {
            return fft::forward(signal.into_iter(), n, n / 2 + 1);
        }
        // Samples come every 1/(1 + ppm) of the input's periods: the same sum, on a grid stretched by as much, and each
        // sample counts for as much less.
        let pace = 1.0 / (1.0 + 1e-6 * card.clock_ppm);
        let step = TAU / n as f64 * pace;
        let mut bins = fft::chirp_z(&signal, n / 2 + 1, step);
        bins.iter_mut().for_each(|b| *b *= pace);
        bins
    }

    /// Both channels before noise, `frames` long, the pickup first.
    fn answer(&self, drive: &[f32], rate: f64, frames: usize) -> [Vec<f64>; 2] {
        let rest = self.spec.card.latency_s + self.circuit.settling_s();
        let n = fft::good_length(frames.max(drive.len()) + (rest * rate).ceil() as usize);
        let played = self.played(drive, n);
        self.respond(&played, n, rate).map(|mut x| {
            x.truncate(frames);
            x
        })
    }

    /// What answers a spectrum of a record of `n` frames that repeats itself, the pickup first.
    fn respond(&self, played: &[Complex64], n: usize, rate: f64) -> [Vec<f64>; 2] {
        let latency = self.spec.card.latency_s;
        let spacing = rate / n as f64;
        let at = |k: usize, x: Complex64| {
            let f = k as f64 * spacing;
            // Where the circuit says nothing (direct current into nothing but capacitors), nothing comes.
            let h = self.circuit.respond(&self.spec, f);
            let x = x * Complex64::from_polar(blemish::anti_alias(f, rate), -TAU * ((f * latency) % 1.0));
            let finite = |c: Complex64| if c.is_finite() { c } else { Complex64::new(0.0, 0.0) };
            h.map(|h| finite(h * x))
        };
        let pieces: Vec<(usize, &[Complex64])> = played.chunks(PIECE).enumerate().collect();
        let both = parallel::each(&pieces, |(i, piece)| {
            let bins = piece.iter().enumerate().map(|(j, x)| at(i * PIECE + j, *x));
            bins.collect::<Vec<_>>()
        });
        [0, 1].map(|channel| {
            let bins: Vec<Complex64> = both.iter().flatten().map(|b| b[channel]).collect();
            fft::inverse(&bins, n)
        })
    }

    fn add_hum(&self, pickup: &mut [f64], rate: f64, answer_rms: f64) {
        let m = &self.spec.mains;
        let total = match (m.hum_db, m.hum_dbfs) {
            (Some(db), _) => answer_rms * blemish::ratio(db),
            (None, Some(dbfs)) => blemish::rms_of(dbfs),
            // Two coils the opposite way round are there to cancel most of it.
            (None, None) => {
                let left = if self.spec.second_coil.is_some() { 0.05 } else { 1.0 };
                left * blemish::rms_of(QUIET_HUM_DBFS)
            }
        };
        let shape = |f: f64| self.circuit.coils_only(&self.spec, f);
        let mut rng = self.random(Draw::Hum);
        let hum = blemish::hum(&mut rng, pickup.len(), rate, self.circuit.mains_hz, total, shape);
        pickup.iter_mut().zip(hum).for_each(|(x, h)| *x += h);
    }

    fn add_noise(&self, x: &mut [f64], rate: f64, dbfs: f64, what: Draw) {
        let noise = blemish::noise(&mut self.random(what), x.len(), rate, dbfs, self.spec.card.flicker_hz);
        x.iter_mut().zip(noise).for_each(|(x, n)| *x += n);
    }

    /// What comes to both inputs, the pickup first: the answer, and whatever else reaches them.
    fn before_converters(&mut self, drive: &[f32], rate: f64) -> [Vec<f64>; 2] {
        let faults = &self.spec.faults;
        // Lost samples do not end the take sooner.
        let recorded = drive.len() + faults.drop_samples as usize * faults.drop_s.len();
        let [mut pickup, mut reference] = self.answer(drive, rate, recorded);
        if faults.reference_unplugged {
            reference.fill(0.0);
        }
        if self.tapping == 0 {
            self.answer_rms = blemish::rms(&pickup);
        }
        self.add_hum(&mut pickup, rate, self.answer_rms);
        if !(faults.silent || faults.open_winding) {
            let tap = &self.spec.tap;
            tap.add(&mut pickup, &mut self.random(Draw::Tap), rate, self.tapping);
        }
        let mut rng = self.random(Draw::Knock);
        for t in &faults.knock_s {
            blemish::add_knock(&mut pickup, &mut rng, rate, *t, blemish::ratio(faults.knock_dbfs));
        }
        [pickup, reference]
    }

    /// What both converters make of what comes to them, the pickup's channel first.
    fn convert(&self, [pickup, reference]: [Vec<f64>; 2], rate: f64, frames: usize) -> [Vec<f32>; 2] {
        let (card, faults) = (&self.spec.card, &self.spec.faults);
        let clip = |dbfs: Option<f64>| dbfs.map_or(1.0, blemish::ratio);
        let (clip_p, clip_r) = (clip(card.clip_dbfs), clip(card.clip_reference_dbfs));
        let levels = [card.noise_dbfs, card.noise_reference_dbfs.unwrap_or(card.noise_dbfs)];
        let convert = |mut x: Vec<f64>, clip: f64, dbfs: f64, what: Draw| {
            // What runs out of room lies before the converter; the converter's own noise comes after.
            x.iter_mut().for_each(|v| *v = v.clamp(-clip, clip));
            self.add_noise(&mut x, rate, dbfs, what);
            blemish::drop_samples(&mut x, &faults.drop_s, faults.drop_samples as usize, rate, frames);
            blemish::convert(&x, card.bits)
        };
        let pickup = convert(pickup, clip_p, levels[0], Draw::PickupNoise);
        let reference = convert(reference, clip_r, levels[1], Draw::ReferenceNoise);
        match faults.swapped {
            true => [reference, pickup],
            false => [pickup, reference],
        }
    }

    /// Refuses faults that lie outside the take: they would silently not be there.
    fn check(&self, frames: usize, rate: f64) -> Result<()> {
        self.spec.check()?;
        let length = frames as f64 / rate;
        let f = &self.spec.faults;
        for (name, times) in [("knock", &f.knock_s), ("drop", &f.drop_s)] {
            if let Some(t) = times.iter().find(|t| **t >= length) {
                return Err(Failure::new(
                    format!("bench: {name} at {t} s lies beyond the take of {length:.2} s"),
                    "give a time within the take, from its first sample",
                ));
            }
        }
        Ok(())
    }

    /// The answer to one round of a signal that has gone on for long. Its faults have a time in a take, and this has none.
    fn round(&mut self, round: &[f32], rate: f64) -> [Vec<f32>; 2] {
        let n = round.len();
        let played = fft::forward(round.iter().map(|v| f64::from(*v)), n, n / 2 + 1);
        let [mut pickup, mut reference] = self.respond(&played, n, rate);
        if self.spec.faults.reference_unplugged {
            reference.fill(0.0);
        }
        let answer_rms = blemish::rms(&pickup);
        self.add_hum(&mut pickup, rate, answer_rms);
        let both = self.convert([pickup, reference], rate, n);
        self.takes += 1;
        both
    }
}

/// A round that is played until this is dropped; it lasts as long as it would on a sound card.
struct Running {
    bench: Bench,
    rate: f64,
    round: Vec<f32>,
    due: Instant,
}

impl Rounds for Running {
    fn next(&mut self) -> Result<Vec<[Vec<f32>; 2]>> {
        self.due += Duration::from_secs_f64(self.round.len() as f64 / self.rate);
        let now = Instant::now();
        match self.due.checked_duration_since(now) {
            Some(left) => thread::sleep(left),
            // Whoever reads is slower than the bench: what it missed is never made.
            None => self.due = now,
        }
        Ok(vec![self.bench.round(&self.round, self.rate)])
    }

    fn hang(&mut self, load: &Load) {
        self.bench.circuit.load = load.clone();
    }
}

impl Capture for Bench {
    fn describe(&self) -> String {
        DEVICE.into()
    }

    fn taps(&mut self, rate_hz: u32, count: u32, progress: &mut dyn FnMut(Progress)) -> Result<Take> {
        let usual = self.spec.faults.clone();
        // Their times are those of the measurement's take.
        self.spec.faults.knock_s.clear();
        self.spec.faults.drop_s.clear();
        self.tapping = count;
        let take = self.take(&silence(rate_hz, count), progress);
        self.tapping = 0;
        self.spec.faults = usual;
        take
    }

    fn rounds(&mut self, rate_hz: u32, round: &[f32]) -> Result<Box<dyn Rounds>> {
        self.spec.check()?;
        let mut bench = self.clone();
        bench.spec.faults.drop_s.clear();
        Ok(Box::new(Running {
            bench,
            rate: f64::from(rate_hz),
            round: round.to_vec(),
            due: Instant::now(),
        }))
    }

    fn take(&mut self, request: &Request, progress: &mut dyn FnMut(Progress)) -> Result<Take> {
        let (rate, frames) = (f64::from(request.rate_hz), request.drive.len());
        if frames == 0 || request.rate_hz == 0 {
            return Err(Failure::new(
                "bench: there is nothing to play",
                "make a drive with samples in it",
            ));
        }
        self.check(frames, rate)?;
        progress(Progress::default());
        let [pickup, reference] = self.before_converters(&request.drive, rate);
        let card = &self.spec.card;
        let [pickup, reference] = self.convert([pickup, reference], rate, frames);
        let step = (2f64).powi(1 - card.bits as i32);
        self.takes += 1;
        let peak = |x: &[f32]| x.iter().fold(0f32, |m, v| m.max(v.abs()));
        progress(Progress {
            fraction: 1.0,
            peak_pickup: peak(&pickup),
            peak_reference: if self.one_channel { 0.0 } else { peak(&reference) },
        });
        Ok(Take {
            rate_hz: request.rate_hz,
            pickup,
            reference: (!self.one_channel).then_some(reference),
            step,
            provenance: Provenance {
                simulated: true,
                device: Some(DEVICE.into()),
                notes: vec![format!("simulated pickup: {}", words::pickup(&self.spec))],
                ..Provenance::default()
            },
        })
    }
}
