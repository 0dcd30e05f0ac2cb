//! How an output and an input bend, read from the tone of one level's take.
//!
//! The harmonics of what the reference hears are the output's; those of the pickup's channel, less what the output's harmonics make
//! there by the linear way (known from the sweeps of the same take), are its input's.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::Complex64;

use super::level::{Bend, Side, Step};
use crate::capture::Take;
use crate::stimulus::probe::{HARMONICS, Probe, TONE_HZ};
use crate::transfer::{faults, sums};

/// Reads one step from its take.
pub fn read(take: &Take, probe: &Probe) -> Step {
    let rate = f64::from(take.rate_hz);
    let peak = |x: &[f32]| {
        let top = sums::peak(x);
        (top > 0.0).then(|| 20.0 * f64::from(top).log10())
    };
    let clips = |x: &[f32]| sums::peak(x) >= 0.9999 || faults::clipping_over_noise(x, take.step, rate).runs > 0;
    let reference = take.reference.as_deref();
    let both = [Some(&take.pickup[..]), reference];
    let late = lateness(both.into_iter().flatten(), probe);
    let tone = shifted(&probe.tone, late, take.pickup.len());
    let sweeps = shifted(&probe.sweeps, late, take.pickup.len());
    // Clear of the tone's first samples, were the latency off by a few milliseconds.
    let until = tone.start.saturating_sub(take.rate_hz as usize / 50);
    let side = |x: &[f32], heard: bool| Side {
        peak_dbfs: peak(x),
        quiet_dbfs: peak(x.get(..until).unwrap_or(&[])),
        clips: !x.is_empty() && clips(x),
        heard,
    };
    let lines = |x: &[f32]| Lines::of(x.get(tone.clone()).unwrap_or(&[]), rate);
    let pickup = lines(&take.pickup);
    let mut step = Step {
        level_dbfs: probe.level_dbfs,
        pickup: side(&take.pickup, pickup.heard()),
        reference: side(reference.unwrap_or(&[]), true),
        output_bends: bend(&pickup.at, pickup.floor),
        // One channel cannot tell the output's bending from the input's.
        input_bends: Bend::Unknown,
        one_signal: false,
    };
    if let Some(r) = reference {
        let way = std::array::from_fn(|k| linear(&take.pickup, r, &sweeps, rate, (k + 1) as f64 * TONE_HZ));
        of_two(&mut step, &pickup, &lines(r), way);
    }
    step
}

/// What two channels tell of the tone. `way`: from the reference to the pickup at each harmonic.
fn of_two(step: &mut Step, pickup: &Lines, reference: &Lines, way: [Complex64; HARMONICS]) {
    let mut own = pickup.at;
    for k in 1..HARMONICS {
        own[k] -= way[k] * reference.at[k];
    }
    let through = reference.floor * way.iter().map(|h| h.norm()).fold(0.0, f64::max);
    step.output_bends = bend(&reference.at, reference.floor);
    step.input_bends = bend(&own, pickup.floor.hypot(through));
    step.reference.heard = reference.heard();
    step.one_signal = pickup.heard() && reference.heard() && flat(&way);
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
        let middle = sums::median(&mut angles);
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
    db().fold(f64::NEG_INFINITY, f64::max) - db().fold(f64::INFINITY, f64::min) < FLAT_DB
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
        let floor = sums::median(&mut between);
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
    let sums = sums::running(energies.iter().copied());
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
    use super::super::level::{Bend, End, Limits, Next};
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
        assert!(s.pickup.heard && s.reference.heard && s.clean(&Limits::default()));
        let mut dead = take(&p, 0.0, 0.0, 1e-5);
        let quiet = dead.pickup.clone();
        dead.pickup = quiet.iter().map(|v| if v.abs() > 2e-5 { 0.0 } else { *v }).collect();
        let s = read(&dead, &p);
        assert!(!s.pickup.heard && !s.clean(&Limits::default()), "{s:?}");
        let s = read(
            &Take {
                pickup: vec![0.0; 10],
                reference: None,
                ..dead
            },
            &p,
        );
        assert_eq!((s.pickup.peak_dbfs, s.output_bends), (None, Bend::Unknown));
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
            assert_eq!(s.reference.peak_dbfs.is_some(), channels == 2);
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
            s.pickup.heard && !s.reference.heard && !s.clean(&Limits::default()),
            "{s:?}"
        );
        assert_eq!(s.next(&Limits::default()), Next::Stop(End::NothingHeard));
    }
}
