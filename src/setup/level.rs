//! How strong may the drive be? One level after the other, from silence up, until an input runs short of room or bends.
//!
//! Bending is read from a tone: the harmonics of what the reference hears are the output's; those of the pickup's channel,
//! less what the output's harmonics make there by the linear way (known from the sweeps of the same take), are its input's.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::Complex64;

use crate::capture::Take;
use crate::stimulus::probe::{HARMONICS, Probe, TONE_HZ};
use crate::transfer::faults;

/// One level tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub level_dbfs: f64,
    /// Peaks at the inputs; `None` where nothing but zeros came.
    pub pickup_dbfs: Option<f64>,
    pub reference_dbfs: Option<f64>,
    pub pickup_clips: bool,
    pub reference_clips: bool,
    /// Harmonics over the tone, all together, of what the reference hears.
    pub output_bends: Bend,
    /// The same of the pickup's input alone.
    pub input_bends: Bend,
    /// The tone stands out at the pickup, and at the reference where the rig has one.
    pub pickup_heard: bool,
    pub reference_heard: bool,
    /// Peaks of the silence before the signal.
    pub pickup_quiet_dbfs: Option<f64>,
    pub reference_quiet_dbfs: Option<f64>,
    /// The pickup's input gets what the reference's gets, at all frequencies alike: there is no pickup between.
    pub one_signal: bool,
}

/// A distortion in dB re the tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bend {
    Seen(f64),
    /// Hidden below the noise, which stands so high.
    Below(f64),
    /// The tone itself is not heard.
    Unknown,
}

impl Bend {
    fn above(self, limit: f64) -> bool {
        matches!(self, Bend::Seen(db) if db > limit)
    }

    /// As it is seen, or as high as the noise stands that may hide it.
    pub fn at_most(self) -> Option<f64> {
        match self {
            Bend::Seen(db) | Bend::Below(db) => Some(db),
            Bend::Unknown => None,
        }
    }
}

/// What is asked of a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The drive goes no higher.
    pub most_dbfs: f64,
    /// Neither input's peak goes higher.
    pub room_dbfs: f64,
    /// Distortion from here on is no clean drive.
    pub bend_db: f64,
}

impl Default for Limits {
    /// Room of 6 dB at the inputs, 1 % of distortion (choices).
    fn default() -> Self {
        Limits {
            most_dbfs: -12.0,
            room_dbfs: -6.0,
            bend_db: -40.0,
        }
    }
}

/// Why no stronger level is tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The limit that was set.
    Limit,
    /// No room at the pickup's input, or at the reference's.
    PickupRoom,
    ReferenceRoom,
    /// The output bends, or the pickup's input.
    OutputBends,
    InputBends,
    /// Nothing comes back, though the level is one that should be heard.
    NothingHeard,
    /// Both inputs have one signal.
    NoPickup,
}

/// What comes after a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Next {
    Try(f64),
    Stop(End),
}

pub const FIRST_DBFS: f64 = -60.0;
/// From here on a lead that is dead must not be driven harder.
const MUST_BE_HEARD_DBFS: f64 = -24.0;
const FAR_DB: f64 = 12.0;
const NEAR_DB: f64 = 6.0;
/// Above this level steps are the smaller ones.
const CAREFUL_DBFS: f64 = -36.0;
/// A peak this far above that of the silence grows with the drive, to [`SHORT_DB`].
const CLEAR_DB: f64 = 30.0;
const SHORT_DB: f64 = 0.5;
/// A step smaller than this is none.
const LEAST_DB: f64 = 0.5;

impl Step {
    /// Clean by the limits: this level may be used.
    pub fn clean(&self, limits: &Limits) -> bool {
        let room = |peak: Option<f64>| peak.is_none_or(|p| p <= limits.room_dbfs + 0.1);
        !self.pickup_clips
            && !self.reference_clips
            && room(self.pickup_dbfs)
            && room(self.reference_dbfs)
            && !self.output_bends.above(limits.bend_db)
            && !self.input_bends.above(limits.bend_db)
            && self.pickup_heard
            && self.reference_heard
            && !self.one_signal
    }

    /// Distortion that the noise may hide, where that is more than is allowed; `None` where it is shown to be less.
    pub fn hidden(&self, limits: &Limits) -> Option<f64> {
        self.at_most().filter(|db| *db > limits.bend_db)
    }

    /// The larger of both distortions, or of the noise that may hide one; `None` where a tone is not heard.
    pub fn at_most(&self) -> Option<f64> {
        // One channel's is told with the output's.
        let input = match self.reference_dbfs {
            Some(_) => self.input_bends.at_most()?,
            None => f64::NEG_INFINITY,
        };
        Some(self.output_bends.at_most()?.max(input))
    }

    /// Held against the step before: a peak that rose by less than the drive has met an end, wherever that lies. Sweeps peak where
    /// the pickup resonates, and the tone says nothing of that.
    pub fn after(mut self, before: &Step) -> Step {
        let drive = self.level_dbfs - before.level_dbfs;
        // Noise adds to a small peak more than to a large one: only what stands clear of it is compared.
        let short = |was: Option<f64>, quiet: Option<f64>, now: Option<f64>| match (was, now) {
            (Some(was), Some(now)) => was - quiet.unwrap_or(-200.0) > CLEAR_DB && now - was < drive - SHORT_DB,
            _ => false,
        };
        self.pickup_clips |= short(before.pickup_dbfs, before.pickup_quiet_dbfs, self.pickup_dbfs);
        self.reference_clips |= short(before.reference_dbfs, before.reference_quiet_dbfs, self.reference_dbfs);
        self
    }

    /// The next level, or why there is none.
    pub fn next(&self, limits: &Limits) -> Next {
        if self.one_signal {
            return Next::Stop(End::NoPickup);
        }
        let short = |clips: bool, peak: Option<f64>| clips || peak.is_some_and(|p| p > limits.room_dbfs - LEAST_DB);
        if short(self.pickup_clips, self.pickup_dbfs) {
            return Next::Stop(End::PickupRoom);
        }
        if short(self.reference_clips, self.reference_dbfs) {
            return Next::Stop(End::ReferenceRoom);
        }
        if self.output_bends.above(limits.bend_db) {
            return Next::Stop(End::OutputBends);
        }
        if self.input_bends.above(limits.bend_db) {
            return Next::Stop(End::InputBends);
        }
        if self.level_dbfs >= MUST_BE_HEARD_DBFS && !(self.pickup_heard && self.reference_heard) {
            return Next::Stop(End::NothingHeard);
        }
        let stride = if self.level_dbfs < CAREFUL_DBFS {
            FAR_DB
        } else {
            NEAR_DB
        };
        // Never into the stops: what room is left is known.
        let left = [self.pickup_dbfs, self.reference_dbfs]
            .into_iter()
            .flatten()
            .map(|p| limits.room_dbfs - p)
            .fold(f64::INFINITY, f64::min);
        let next = (self.level_dbfs + stride.min(left)).min(limits.most_dbfs);
        if next - self.level_dbfs < LEAST_DB {
            Next::Stop(End::Limit)
        } else {
            Next::Try(next)
        }
    }
}

/// Reads one step from its take.
pub fn read(take: &Take, probe: &Probe) -> Step {
    let rate = f64::from(take.rate_hz);
    let peak = |x: &[f32]| {
        let top = x.iter().fold(0f32, |m, v| m.max(v.abs()));
        (top > 0.0).then(|| 20.0 * f64::from(top).log10())
    };
    let clips = |x: &[f32]| {
        let top = x.iter().fold(0f32, |m, v| m.max(v.abs()));
        top >= 0.9999 || faults::clipping_over_noise(x, take.step, rate).runs > 0
    };
    let reference = take.reference.as_deref();
    let both = [Some(&take.pickup[..]), reference];
    let late = lateness(both.into_iter().flatten(), probe);
    let tone = shifted(&probe.tone, late, take.pickup.len());
    let sweeps = shifted(&probe.sweeps, late, take.pickup.len());
    // Clear of the tone's first samples, were the latency off by a few milliseconds.
    let until = tone.start.saturating_sub(take.rate_hz as usize / 50);
    let quiet = |x: &'_ [f32]| -> Vec<f32> { x.get(..until).unwrap_or(&[]).to_vec() };
    let lines = |x: &[f32]| Lines::of(x.get(tone.clone()).unwrap_or(&[]), rate);
    let pickup = lines(&take.pickup);
    let mut one_signal = false;
    let (output_bends, input_bends, heard) = match reference {
        Some(r) => {
            let reference = lines(r);
            let way: Vec<Complex64> = (0..HARMONICS)
                .map(|k| linear(&take.pickup, r, &sweeps, rate, (k + 1) as f64 * TONE_HZ))
                .collect();
            let own: Vec<Complex64> = (0..HARMONICS)
                .map(|k| {
                    pickup.at[k]
                        - if k == 0 {
                            Complex64::new(0.0, 0.0)
                        } else {
                            way[k] * reference.at[k]
                        }
                })
                .collect();
            one_signal = pickup.heard() && reference.heard() && flat(&way);
            let through = reference.floor * way.iter().map(|h| h.norm()).fold(0.0, f64::max);
            (
                bend(&reference.at, reference.floor),
                bend(&own, pickup.floor.hypot(through)),
                reference.heard(),
            )
        }
        // One channel cannot tell the output's bending from the input's.
        None => (bend(&pickup.at, pickup.floor), Bend::Unknown, true),
    };
    Step {
        level_dbfs: probe.level_dbfs,
        pickup_dbfs: peak(&take.pickup),
        reference_dbfs: reference.and_then(peak),
        pickup_quiet_dbfs: peak(&quiet(&take.pickup)),
        reference_quiet_dbfs: reference.and_then(|r| peak(&quiet(r))),
        pickup_clips: clips(&take.pickup),
        reference_clips: reference.is_some_and(clips),
        output_bends,
        input_bends,
        pickup_heard: pickup.heard(),
        reference_heard: heard,
        one_signal,
    }
}

/// Whether the tone does not go on as it began, on any channel: samples are missing or doubled, whatever the sound system reports.
/// Its phase stands still from part to part, or climbs evenly where two clocks differ; a loss makes it step.
pub fn broken(take: &Take, probe: &Probe) -> bool {
    let both = || {
        [Some(&take.pickup[..]), take.reference.as_deref()]
            .into_iter()
            .flatten()
    };
    let late = lateness(both(), probe);
    let rate = f64::from(take.rate_hz);
    let length = probe.tone.len() / PARTS;
    let tone = shifted(&probe.tone, late, take.pickup.len());
    let parts = |x: &[f32], within: Range<usize>| -> Vec<Complex64> {
        let starts = within.step_by(length.max(1)).filter(|s| s + length <= x.len());
        starts
            .map(|s| {
                tone_at(&x[s..s + length], rate, TONE_HZ)
                    * Complex64::from_polar(1.0, -TAU * ((TONE_HZ * s as f64 / rate) % 1.0))
            })
            .collect()
    };
    both().any(|x| {
        // Clear of the tone's ends, and of its start in the silence before it.
        let sounds = parts(x, tone.start + length / 2..tone.end.saturating_sub(length));
        let silence = parts(x, 0..tone.start.saturating_sub(2 * length));
        let weakest = sounds.iter().map(|z| z.norm()).fold(f64::INFINITY, f64::min);
        let noise = silence.iter().map(|z| z.norm()).fold(0.0, f64::max);
        let climbs: Vec<Complex64> = sounds.windows(2).map(|w| w[1] / w[0]).collect();
        let mut angles: Vec<f64> = climbs.iter().map(|c| (c / climbs[0]).arg()).collect();
        angles.sort_by(f64::total_cmp);
        let middle = angles.get(angles.len() / 2).copied().unwrap_or(0.0);
        let off = angles.iter().map(|a| (a - middle).abs()).fold(0.0, f64::max);
        off > STEP_RAD.max(CERTAIN * noise / weakest)
    })
}

/// The tone in so many parts.
const PARTS: usize = 8;
/// One sample lost at 48 kHz is 0.16 rad, half of it in each of two parts (a choice below that).
const STEP_RAD: f64 = 0.05;
/// Noise, and hum near the tone, turn each of two phases by up to this part of the tone; three times for certainty (a choice).
const CERTAIN: f64 = 6.0;

/// A pickup's answer climbs with frequency and falls above its resonance; a wire's stays where it is.
fn flat(way: &[Complex64]) -> bool {
    let db = || way.iter().map(|h| 20.0 * h.norm().log10());
    let (low, high) = (
        db().fold(f64::INFINITY, f64::min),
        db().fold(f64::NEG_INFINITY, f64::max),
    );
    high - low < FLAT_DB
}

const FLAT_DB: f64 = 0.5;

/// Amplitudes of a tone and its multiples, and of what lies between them.
struct Lines {
    at: [Complex64; HARMONICS],
    /// Typical amplitude between the lines.
    floor: f64,
}

/// Of the tone only its middle is looked at, clear of fades and of a latency found to a few milliseconds.
const MIDDLE: Range<f64> = 0.1..0.9;

impl Lines {
    fn of(x: &[f32], rate: f64) -> Lines {
        let n = x.len() as f64;
        let x = &x[(MIDDLE.start * n) as usize..(MIDDLE.end * n) as usize];
        let at = std::array::from_fn(|k| tone_at(x, rate, (k + 1) as f64 * TONE_HZ));
        // Four places round each multiple, clear of its lobe.
        let lobe = 6.0 * rate / x.len().max(1) as f64;
        let mut between: Vec<f64> = (1..=HARMONICS)
            .flat_map(|k| [-3.0, -2.0, 2.0, 3.0].map(|d| tone_at(x, rate, k as f64 * TONE_HZ + d * lobe).norm()))
            .collect();
        between.sort_by(f64::total_cmp);
        let floor = between.get(between.len() / 2).copied().unwrap_or(0.0);
        Lines { at, floor }
    }

    fn heard(&self) -> bool {
        self.at[0].norm() > HEARD * self.floor && self.at[0].norm() > 0.0
    }
}

/// A line counts where it stands so far above what is between the lines.
const HEARD: f64 = 6.0;

/// Amplitude of a tone, through a 4-term Blackman-Harris window (Harris, Proc. IEEE 66, 1978): its side lobes lie 92 dB down.
fn tone_at(x: &[f32], rate: f64, hz: f64) -> Complex64 {
    let n = x.len() as f64;
    let (mut sum, mut weight) = (Complex64::new(0.0, 0.0), 0.0);
    for (i, v) in x.iter().enumerate() {
        let u = TAU * (i as f64 + 0.5) / n;
        let w = 0.35875 - 0.48829 * u.cos() + 0.14128 * (2.0 * u).cos() - 0.01168 * (3.0 * u).cos();
        sum += Complex64::from_polar(w * f64::from(*v), -TAU * ((hz * i as f64 / rate) % 1.0));
        weight += w;
    }
    if weight > 0.0 { 2.0 * sum / weight } else { sum }
}

fn bend(lines: &[Complex64], floor: f64) -> Bend {
    let tone = lines[0].norm();
    if tone <= HEARD * floor || tone == 0.0 {
        return Bend::Unknown;
    }
    let db = |v: f64| 20.0 * (v / tone).max(1e-15).log10();
    let strong = lines[1..].iter().any(|l| l.norm() > HEARD * floor);
    let all = lines[1..].iter().map(|l| l.norm_sqr()).sum::<f64>().sqrt();
    if strong {
        Bend::Seen(db(all))
    } else {
        Bend::Below(db(HEARD * floor.max(1e-15 * tone)))
    }
}

/// Pickup over reference at one frequency, from the sweeps.
fn linear(y: &[f32], x: &[f32], sweeps: &Range<usize>, rate: f64, hz: f64) -> Complex64 {
    let dft = |s: &[f32]| -> Complex64 {
        s.iter()
            .enumerate()
            .map(|(i, v)| Complex64::from_polar(f64::from(*v), -TAU * ((hz * i as f64 / rate) % 1.0)))
            .sum()
    };
    let cut = |s| <[f32]>::get(s, sweeps.clone()).unwrap_or(&[]);
    let (y, x) = (dft(cut(y)), dft(cut(x)));
    let h = y / x;
    if h.is_finite() { h } else { Complex64::new(0.0, 0.0) }
}

fn shifted(r: &Range<usize>, late: usize, frames: usize) -> Range<usize> {
    (r.start + late).min(frames)..(r.end + late).min(frames)
}

/// By how many frames the take runs after the drive: the lag at which the tone fits best. Looked at is the tone's own frequency:
/// a pickup's answer to the sweeps is many times stronger where it resonates.
fn lateness<'a>(channels: impl Iterator<Item = &'a [f32]>, probe: &Probe) -> usize {
    let block = (probe.rate_hz as usize / 200).max(1);
    let rate = f64::from(probe.rate_hz);
    // Each channel counts as much as the other, and one that hears nothing is the same everywhere.
    let mut energies: Vec<f64> = Vec::new();
    for x in channels {
        let own: Vec<f64> = x
            .windows(2 * block)
            .step_by(block)
            .map(|w| tone_at(w, rate, TONE_HZ).norm_sqr())
            .collect();
        let whole = own.iter().sum::<f64>();
        energies.resize(own.len().max(energies.len()), 0.0);
        if whole > 0.0 {
            energies.iter_mut().zip(own).for_each(|(e, o)| *e += o / whole);
        }
    }
    let mut sums = vec![0.0f64];
    for e in &energies {
        sums.push(sums.last().copied().unwrap_or(0.0) + e);
    }
    let blocks = sums.len() - 1;
    let length = probe.tone.len() / block;
    let from = probe.tone.start / block;
    let most = probe.rate_hz as usize / block;
    // Energy inside the tone's place less what lies as long before it.
    let score = |late: usize| {
        let (a, b) = (from + late, from + late + length);
        if b > blocks || a < length / 2 {
            return f64::NEG_INFINITY;
        }
        (sums[b] - sums[a]) - (sums[a] - sums[a - length / 2])
    };
    let best = (0..most).max_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap_or(0);
    best * block
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Provenance;
    use crate::stimulus::probe;

    /// A take of a chain that bends by cubes: `out` before the split, `own` in the pickup's input.
    fn take(p: &Probe, out: f64, own: f64, noise: f64) -> Take {
        let mut seed = 1u64;
        let mut random = move || {
            seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (seed >> 40) as f64 / (1u64 << 24) as f64 - 0.5
        };
        let late = 700;
        let mut reference = vec![0f32; late];
        reference.extend(
            p.samples
                .iter()
                .map(|v| (f64::from(*v) + out * f64::from(*v).powi(3)) as f32),
        );
        // The pickup's channel: a first difference, so that its gain rises with frequency.
        let mut before = 0.0;
        let pickup = reference
            .iter()
            .map(|v| {
                let d = 3.0 * (f64::from(*v) - before);
                before = f64::from(*v);
                (d + own * d.powi(3) + noise * random()) as f32
            })
            .collect();
        let reference = reference
            .iter()
            .map(|v| (f64::from(*v) + noise * random()) as f32)
            .collect();
        Take {
            rate_hz: p.rate_hz,
            pickup,
            reference: Some(reference),
            step: 2f64.powi(-23),
            provenance: Provenance::default(),
        }
    }

    /// A cube's third harmonic is a quarter of the cube of the amplitude: sin^3 = (3 sin - sin 3)/4.
    #[test]
    fn the_bending_of_output_and_input_are_told_apart() {
        let p = probe::at_level(48_000, -6.0).unwrap();
        let a = 10f64.powf(-6.0 / 20.0);
        let third = |c: f64, a: f64| 20.0 * (c * a * a / 4.0 / (1.0 + 0.75 * c * a * a)).log10();
        let s = read(&take(&p, 0.2, 0.0, 1e-6), &p);
        let Bend::Seen(db) = s.output_bends else {
            panic!("{s:?}");
        };
        assert!((db - third(0.2, a)).abs() < 0.2, "{db} {}", third(0.2, a));
        assert!(
            matches!(s.input_bends, Bend::Below(_)) || matches!(s.input_bends, Bend::Seen(x) if x < -60.0),
            "{s:?}"
        );
        let s = read(&take(&p, 0.0, 20.0, 1e-6), &p);
        let w = TAU * TONE_HZ / 48_000.0;
        let d = 3.0 * a * 2.0 * (w / 2.0).sin();
        let Bend::Seen(db) = s.input_bends else {
            panic!("{s:?}");
        };
        assert!((db - third(20.0, d)).abs() < 0.3, "{db} {}", third(20.0, d));
        assert!(!matches!(s.output_bends, Bend::Seen(x) if x > -90.0), "{s:?}");
    }

    #[test]
    fn a_clean_chain_shows_nothing_and_a_dead_lead_is_not_heard() {
        let p = probe::at_level(96_000, -30.0).unwrap();
        let s = read(&take(&p, 0.0, 0.0, 1e-5), &p);
        assert!(matches!(s.output_bends, Bend::Below(db) if db < -60.0), "{s:?}");
        assert!(s.pickup_heard && s.reference_heard && s.clean(&Limits::default()));
        let mut dead = take(&p, 0.0, 0.0, 1e-5);
        let quiet = dead.pickup.clone();
        dead.pickup = quiet.iter().map(|v| if v.abs() > 2e-5 { 0.0 } else { *v }).collect();
        let s = read(&dead, &p);
        assert!(!s.pickup_heard && !s.clean(&Limits::default()), "{s:?}");
        let s = read(
            &Take {
                pickup: vec![0.0; 10],
                reference: None,
                ..dead
            },
            &p,
        );
        assert_eq!((s.pickup_dbfs, s.output_bends), (None, Bend::Unknown));
    }

    fn of_bench(words: &str, p: &Probe, channels: u32) -> Take {
        use crate::capture::bench::{Bench, Spec};
        use crate::capture::{Capture, Request};
        let mut bench = Bench::new(Spec::from_arg(words).unwrap(), None, None, channels == 1, 3).unwrap();
        let request = Request {
            rate_hz: p.rate_hz,
            drive: p.samples.clone(),
        };
        bench.take(&request, &mut |_| ()).unwrap()
    }

    /// A resonant pickup answers the sweeps many times stronger than the tone, and yet the tone is found.
    #[test]
    fn one_channel_is_enough_to_find_the_tone() {
        let p = probe::at_level(48_000, -20.0).unwrap();
        for channels in [1, 2] {
            let s = read(&of_bench("r=6k l=2.4H cs=120p", &p, channels), &p);
            assert!(s.clean(&Limits::default()), "{channels}: {s:?}");
            assert_eq!(s.reference_dbfs.is_some(), channels == 2);
        }
    }

    #[test]
    fn a_wire_in_the_place_of_the_pickup_is_no_pickup() {
        let p = probe::at_level(48_000, -20.0).unwrap();
        let s = read(&of_bench("wire", &p, 2), &p);
        assert_eq!(s.next(&Limits::default()), Next::Stop(End::NoPickup), "{s:?}");
        assert!(!s.clean(&Limits::default()));
    }

    #[test]
    fn lost_samples_break_the_tone_and_hum_and_clocks_do_not() {
        for (dbfs, rate) in [(-48.0, 48_000), (-24.0, 96_000), (-6.0, 48_000)] {
            let p = probe::at_level(rate, dbfs).unwrap();
            for channels in [1, 2] {
                let coil = "r=6k l=2.4H cs=120p";
                for words in ["", "ppm=300", "hum=-20dB", "noise=-80dBFS", "h3=-20dB", "bits=16"] {
                    let t = of_bench(&format!("{coil} {words}"), &p, channels);
                    assert!(!broken(&t, &p), "{dbfs} dBFS, {channels}: {words}");
                }
                for n in [8, 48, 700] {
                    let t = of_bench(&format!("{coil} drop=0.93s drop-samples={n}"), &p, channels);
                    assert!(broken(&t, &p), "{dbfs} dBFS, {channels}: {n}");
                }
            }
        }
        let p = probe::at_level(48_000, -60.0).unwrap();
        assert!(!broken(&of_bench("silent", &p, 2), &p));
    }

    /// Zeros on the reference are a dead reference, not a rig of one channel.
    #[test]
    fn a_silent_reference_is_missed() {
        let p = probe::at_level(48_000, -20.0).unwrap();
        let mut t = of_bench("r=6k l=2.4H cs=120p", &p, 2);
        t.reference = t.reference.map(|r| vec![0.0; r.len()]);
        let s = read(&t, &p);
        assert!(
            s.pickup_heard && !s.reference_heard && !s.clean(&Limits::default()),
            "{s:?}"
        );
        assert_eq!(s.next(&Limits::default()), Next::Stop(End::NothingHeard));
    }

    #[test]
    fn levels_climb_from_silence_and_stop_in_time() {
        let step = |level: f64, peak: f64| Step {
            level_dbfs: level,
            pickup_dbfs: Some(peak),
            reference_dbfs: Some(peak - 3.0),
            pickup_clips: false,
            reference_clips: false,
            output_bends: Bend::Below(-80.0),
            input_bends: Bend::Below(-80.0),
            pickup_heard: true,
            reference_heard: true,
            one_signal: false,
            pickup_quiet_dbfs: None,
            reference_quiet_dbfs: None,
        };
        let limits = Limits::default();
        assert_eq!(step(-60.0, -70.0).next(&limits), Next::Try(-48.0));
        assert_eq!(step(-30.0, -40.0).next(&limits), Next::Try(-24.0));
        assert_eq!(step(-18.0, -40.0).next(&limits), Next::Try(-12.0));
        assert_eq!(step(-12.0, -40.0).next(&limits), Next::Stop(End::Limit));
        // 4 dB of room left: a step of 4 dB.
        assert_eq!(step(-30.0, -10.0).next(&limits), Next::Try(-26.0));
        assert_eq!(step(-26.0, -6.0).next(&limits), Next::Stop(End::PickupRoom));
        let bent = Step {
            output_bends: Bend::Seen(-38.0),
            ..step(-30.0, -40.0)
        };
        assert_eq!(bent.next(&limits), Next::Stop(End::OutputBends));
        assert!(!bent.clean(&limits));
        // Six decibels more drive, four more at the pickup.
        let flat = step(-24.0, -20.0).after(&step(-30.0, -24.0));
        assert!(flat.pickup_clips && !flat.clean(&limits) && flat.next(&limits) == Next::Stop(End::PickupRoom));
        assert!(!step(-24.0, -18.0).after(&step(-30.0, -24.0)).pickup_clips);
        let hidden = Step {
            output_bends: Bend::Below(-30.0),
            ..step(-60.0, -70.0)
        };
        assert!(hidden.hidden(&limits) == Some(-30.0) && hidden.next(&limits) == Next::Try(-48.0));
        assert_eq!(step(-30.0, -40.0).hidden(&limits), None);
        let dead = Step {
            pickup_heard: false,
            ..step(-24.0, -90.0)
        };
        assert_eq!(dead.next(&limits), Next::Stop(End::NothingHeard));
        assert_eq!(
            Step {
                level_dbfs: -30.0,
                ..dead
            }
            .next(&limits),
            Next::Try(-24.0)
        );
    }
}
