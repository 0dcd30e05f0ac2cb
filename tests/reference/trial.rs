//! Takes of known truth, made in memory by the thousand, and the bound (Cramer and Rao) that belongs to each.
//!
//! Nothing of the program makes the answer: it is the drive's spectrum times the closed response. Only the drive is the
//! program's, and the functions that mark lines, since the bound has to leave out the same bins.

use std::f64::consts::TAU;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use coilwright::analysis::chain::Chain;
use coilwright::analysis::{self, Analysis, Choice, Options};
use coilwright::capture::{Provenance, Take};
use coilwright::estimate::Estimate;
use coilwright::rig::Rig;
use coilwright::stimulus::{self, Settings, Shape};
use coilwright::transfer::bins::{Bins, Record};
use coilwright::transfer::{lines, span};
use nalgebra::DMatrix;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rustfft::{Fft, FftPlanner};

pub const RATE: u32 = 48_000;
const FS: f64 = RATE as f64;
const J: Complex64 = Complex64::new(0.0, 1.0);
const ONE: Complex64 = Complex64::new(1.0, 0.0);
/// The reference hears the drive from a wire, so it is cleaner than the pickup by so much.
const REFERENCE_CLEANER_DB: f64 = 20.0;
/// Silence after the drive's file, for the latency.
const MORE_S: f64 = 0.06;
/// Room for what the AC coupling remembers, so that the transform's wrap brings nothing back.
const PAD_S: f64 = 1.0;

/// Coils, latencies and clocks that a case takes turns with: f0, Q, latency in seconds, ppm.
const COILS: [(f64, f64, f64, f64); 4] = [
    (4187.33, 2.49039, 0.012_345_6, 3.7),
    (2613.0, 3.9, 0.031_207_3, -24.0),
    (7206.0, 1.15, 0.004_001_9, 61.0),
    (3311.0, 1.6, 0.020_613_1, -0.4),
];

/// What the rig file says of the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// No rig: the AC coupling is unknown.
    Nothing,
    /// The corners as they are.
    Corners,
    /// Nominal values with tolerances; each take has a true rig drawn from them.
    Tolerances,
}

/// One line of a table.
#[derive(Debug, Clone, Copy)]
pub struct Case {
    pub shape: Shape,
    pub channels: u32,
    pub snr_db: f64,
    pub hum: bool,
    pub told: Told,
    pub seconds: f64,
}

impl Case {
    pub fn name(&self) -> String {
        let shape = match self.shape {
            Shape::Sweep => "sweep",
            Shape::Noise => "noise",
        };
        let told = match self.told {
            Told::Nothing => "corners unknown",
            Told::Corners => "corners stated",
            Told::Tolerances => "rigs drawn",
        };
        let hum = if self.hum { "hum" } else { "no hum" };
        format!("{} ch, {shape}, {:.0} dB, {hum}, {told}", self.channels, self.snr_db)
    }
}

/// The bench as it truly is.
#[derive(Debug, Clone, Copy)]
struct Truth {
    f0: f64,
    q: f64,
    /// Seconds.
    gain: f64,
    /// The exciter's corner as an inverse frequency; zero where the reference reads the current.
    inverse_corner: f64,
    ac_pickup: f64,
    ac_reference: f64,
    ac_output: f64,
    /// Channel 1 after channel 2.
    delay: f64,
    latency: f64,
    ppm: f64,
}

fn coupling(corner: f64, f: f64) -> Complex64 {
    (ONE - J * (corner / f)).inv()
}

impl Truth {
    /// From what the exciter hears (two channels: at the reference) to the pickup channel, the delay left out.
    fn pickup(&self, f: f64) -> Complex64 {
        let x = f / self.f0;
        let exciter = ONE + J * (f * self.inverse_corner);
        J * TAU * f * self.gain / ((ONE - x * x + J * x / self.q) * exciter) * coupling(self.ac_pickup, f)
    }
}

/// Transforms of one length, planned once.
struct Plan {
    length: usize,
    forward: Arc<dyn Fft<f64>>,
    inverse: Arc<dyn Fft<f64>>,
    /// Of the convolution that moves a spectrum to the samples of another clock.
    wide: usize,
    wide_forward: Arc<dyn Fft<f64>>,
    wide_inverse: Arc<dyn Fft<f64>>,
}

impl Plan {
    fn new(frames: usize) -> Self {
        let mut planner = FftPlanner::new();
        let good = |n: usize| coilwright::fft::good_length(n);
        let length = good(frames + (PAD_S * FS) as usize) & !1;
        let wide = good(length + frames);
        Plan {
            length,
            forward: planner.plan_fft_forward(length),
            inverse: planner.plan_fft_inverse(length),
            wide,
            wide_forward: planner.plan_fft_forward(wide),
            wide_inverse: planner.plan_fft_inverse(wide),
        }
    }

    /// Real signal of which the half spectrum is given: bins 0 to length/2.
    fn back(&self, half: impl Fn(usize) -> Complex64, frames: usize) -> Vec<f64> {
        let n = self.length;
        let mut all = vec![Complex64::new(0.0, 0.0); n];
        for k in 1..n / 2 {
            // Twice the half: the real part is the whole signal.
            all[k] = 2.0 * half(k);
        }
        self.inverse.process(&mut all);
        all[..frames].iter().map(|v| v.re / n as f64).collect()
    }

    /// The same at the samples m (1 + ppm 1e-6): sums of chirps after Bluestein, k m = (k^2 + m^2 - (m - k)^2)/2.
    fn back_at(&self, half: impl Fn(usize) -> Complex64, frames: usize, ppm: f64) -> Vec<f64> {
        let (n, w) = (self.length, self.wide);
        let angle = 0.5 * TAU * (1.0 + ppm * 1e-6) / n as f64;
        let chirp = |i: usize| Complex64::from_polar(1.0, (angle * (i * i) as f64) % TAU);
        let zero = Complex64::new(0.0, 0.0);
        let mut a = vec![zero; w];
        for k in 1..n / 2 {
            a[k] = 2.0 * half(k) * chirp(k);
        }
        let mut b = vec![zero; w];
        for m in 0..frames {
            b[m] = chirp(m).conj();
        }
        for k in 1..n / 2 {
            b[w - k] = chirp(k).conj();
        }
        self.wide_forward.process(&mut a);
        self.wide_forward.process(&mut b);
        a.iter_mut().zip(&b).for_each(|(a, b)| *a *= b);
        self.wide_inverse.process(&mut a);
        (0..frames)
            .map(|m| (a[m] * chirp(m)).re / (w as f64 * n as f64))
            .collect()
    }
}

/// A take without noise.
#[derive(Clone)]
struct Clean {
    truth: Truth,
    pickup: Vec<f64>,
    reference: Option<Vec<f64>>,
    noise_pickup: f64,
    noise_reference: f64,
    /// rms of the answer while it lasts: what hum is measured against.
    loudness: f64,
}

/// A case made ready: takes come out of it by number, always the same.
pub struct Trial {
    coils: Vec<(f64, f64, f64, f64)>,
    pub case: Case,
    rig: Option<Rig>,
    drive: Vec<f32>,
    drive_bins: Vec<Complex64>,
    plan: Plan,
    frames: usize,
    clean: Vec<Clean>,
    /// Bound of f0 and Q for each of `clean`, once it was asked for.
    bounds: Vec<[f64; 2]>,
    seed: u64,
}

/// What one take came to.
#[derive(Debug, Clone, Copy)]
pub struct Outcome {
    pub truth: [f64; 2],
    /// Standard deviations at the bound; NaN where none was asked for.
    pub bound: [f64; 2],
    pub read: Option<[Estimate; 2]>,
}

const SERIES_OHM: f64 = 100.0;
const SOURCE_OHM: f64 = 32.0;
const INDUCTANCE: f64 = 5e-4;
const SERIES_TOLERANCE: f64 = 0.02;
const INDUCTANCE_TOLERANCE: f64 = 0.05;
const CORNER_TOLERANCE: f64 = 0.4;
const DELAY_TOLERANCE: f64 = 1e-6;
const AC_PICKUP: f64 = 2.7;
const AC_REFERENCE: f64 = 3.6;
const AC_OUTPUT: f64 = 1.9;

fn rig_of(case: &Case) -> Option<Rig> {
    let corners = format!("ac_pickup_hz = {AC_PICKUP}\nac_reference_hz = {AC_REFERENCE}\nac_output_hz = {AC_OUTPUT}\n");
    let text = match case.told {
        Told::Nothing => return None,
        Told::Corners => format!(
            "[exciter]\nreference = \"current\"\nseries_ohm = {SERIES_OHM}\ninductance_h = 0.0\nsource_ohm = 0.0\n\
             [input]\n{corners}"
        ),
        Told::Tolerances => format!(
            "[exciter]\nreference = \"voltage\"\nseries_ohm = {SERIES_OHM}\ninductance_h = {INDUCTANCE}\n\
             source_ohm = {SOURCE_OHM}\nseries_tolerance = {SERIES_TOLERANCE}\n\
             inductance_tolerance = {INDUCTANCE_TOLERANCE}\n[input]\n{corners}\
             ac_pickup_tolerance_hz = {CORNER_TOLERANCE}\nac_reference_tolerance_hz = {CORNER_TOLERANCE}\n\
             ac_output_tolerance_hz = {CORNER_TOLERANCE}\ndelay_s = 0.0\ndelay_tolerance_s = {DELAY_TOLERANCE}\n"
        ),
    };
    Some(Rig::parse(&text, "bench").expect("a rig that can be read"))
}

/// Normal deviates in pairs.
struct Gauss(ChaCha8Rng);

impl Gauss {
    fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn pair(&mut self) -> (f64, f64) {
        let r = (-2.0 * self.uniform().ln()).sqrt();
        let (s, c) = (TAU * self.uniform()).sin_cos();
        (r * c, r * s)
    }

    fn one(&mut self) -> f64 {
        self.pair().0
    }

    fn add(&mut self, x: &mut [f64], sd: f64) {
        for two in x.chunks_mut(2) {
            let (a, b) = self.pair();
            two[0] += sd * a;
            if let Some(v) = two.get_mut(1) {
                *v += sd * b;
            }
        }
    }
}

impl Trial {
    pub fn new(case: Case) -> Self {
        Trial::with_coils(case, COILS.to_vec())
    }

    /// Takes of these resonances in turn: f0, Q, and for one channel latency and clock.
    pub fn with_coils(case: Case, coils: Vec<(f64, f64, f64, f64)>) -> Self {
        let settings = Settings {
            shape: case.shape,
            seconds: case.seconds,
            ..Settings::at_rate(RATE)
        };
        let drive = stimulus::make(&settings).expect("a drive").samples;
        let frames = (drive.len() + (MORE_S * FS) as usize) & !1;
        let plan = Plan::new(frames);
        let mut drive_bins: Vec<Complex64> = drive.iter().map(|v| f64::from(*v).into()).collect();
        drive_bins.resize(plan.length, Complex64::new(0.0, 0.0));
        plan.forward.process(&mut drive_bins);
        // The same names give the same takes, whatever else is run.
        let seed = case.name().bytes().fold(0xcbf2_9ce4_8422_2325u64, |h, b| {
            (h ^ u64::from(b)).wrapping_mul(0x100_0000_01b3)
        });
        let mut trial = Trial {
            rig: rig_of(&case),
            coils,
            case,
            drive,
            drive_bins,
            plan,
            frames,
            clean: Vec::new(),
            bounds: Vec::new(),
            seed,
        };
        trial.clean = trial.coils.iter().map(|c| trial.answer(trial.truth(*c))).collect();
        trial
    }

    fn truth(&self, (f0, q, latency, ppm): (f64, f64, f64, f64)) -> Truth {
        let one = self.case.channels == 1;
        let ohm = SERIES_OHM + if one { SOURCE_OHM } else { 0.0 };
        Truth {
            f0,
            q,
            gain: 0.5 / (TAU * f0 * q),
            inverse_corner: if self.case.told == Told::Tolerances {
                TAU * INDUCTANCE / ohm
            } else {
                0.0
            },
            ac_pickup: AC_PICKUP,
            ac_reference: AC_REFERENCE,
            ac_output: AC_OUTPUT,
            delay: 0.0,
            latency: if one { latency } else { 0.0 },
            ppm: if one { ppm } else { 0.0 },
        }
    }

    /// The truth of one bench out of those that the rig file's tolerances allow.
    fn drawn(&self, mut t: Truth, g: &mut Gauss) -> Truth {
        let one = self.case.channels == 1;
        let ohm = SERIES_OHM * (1.0 + SERIES_TOLERANCE * g.one()) + if one { SOURCE_OHM } else { 0.0 };
        t.inverse_corner = TAU * INDUCTANCE * (1.0 + INDUCTANCE_TOLERANCE * g.one()) / ohm;
        t.ac_pickup += CORNER_TOLERANCE * g.one();
        t.ac_reference += CORNER_TOLERANCE * g.one();
        t.ac_output += CORNER_TOLERANCE * g.one();
        t.delay = DELAY_TOLERANCE * g.one();
        t
    }

    fn hz(&self, k: usize) -> f64 {
        k as f64 * FS / self.plan.length as f64
    }

    fn answer(&self, truth: Truth) -> Clean {
        let (one, frames) = (self.case.channels == 1, self.frames);
        let faster = 1.0 + truth.ppm * 1e-6;
        // Hertz are those of the recording's clock: a line of the drive comes back at a slightly other frequency.
        let heard = |k: usize| {
            let f = self.hz(k) * faster;
            self.drive_bins[k] * coupling(truth.ac_output, f)
        };
        let late = |k: usize, s: f64| Complex64::from_polar(1.0, -(TAU * self.hz(k) * faster * s) % TAU);
        let pickup = if one {
            let half = |k: usize| heard(k) * truth.pickup(self.hz(k) * faster) * late(k, truth.latency);
            self.plan.back_at(half, frames, truth.ppm)
        } else {
            self.plan
                .back(|k| heard(k) * truth.pickup(self.hz(k)) * late(k, truth.delay), frames)
        };
        let reference = (!one).then(|| {
            self.plan
                .back(|k| heard(k) * coupling(truth.ac_reference, self.hz(k)), frames)
        });
        let noise = |x: &[f64], snr_db: f64| (self.density_of(x, truth.f0) * 10f64.powf(-snr_db / 10.0)).sqrt();
        let energy: f64 = pickup.iter().map(|v| v * v).sum();
        Clean {
            truth,
            noise_pickup: noise(&pickup, self.case.snr_db),
            noise_reference: reference
                .as_ref()
                .map_or(0.0, |x| noise(x, self.case.snr_db + REFERENCE_CLEANER_DB)),
            loudness: (energy / (self.case.seconds * FS)).sqrt(),
            pickup,
            reference,
        }
    }

    /// Energy in the octave around f0 as the variance per sample that a white noise over the whole take would need to match it.
    fn density_of(&self, x: &[f64], f0: f64) -> f64 {
        let n = self.plan.length;
        let mut bins: Vec<Complex64> = x.iter().map(|v| (*v).into()).collect();
        bins.resize(n, Complex64::new(0.0, 0.0));
        self.plan.forward.process(&mut bins);
        let half = std::f64::consts::SQRT_2;
        let octave = (1..n / 2).filter(|k| (f0 / half..f0 * half).contains(&self.hz(*k)));
        let (sum, count) = octave.fold((0.0, 0.0), |(s, c), k| (s + bins[k].norm_sqr(), c + 1.0));
        sum / (count * self.frames as f64)
    }

    /// 25 harmonics of a mains frequency near 50 or 60 Hz that wanders by less than 0.1 Hz; the strongest are far above the
    /// answer in their bins.
    fn hum(&self, loudness: f64, g: &mut Gauss) -> Vec<f64> {
        let centre = if g.uniform() < 0.5 { 50.0 } else { 60.0 };
        let mains = centre * (0.99 + 0.02 * g.uniform());
        let (wander, speed, phase) = (0.05 * g.uniform(), 0.1 + 0.4 * g.uniform(), TAU * g.uniform());
        let lines: Vec<Complex64> = (1..=25)
            .map(|k| {
                let size = 0.1 * loudness * (0.2 + 0.8 * g.uniform()) / f64::from(k);
                Complex64::from_polar(size, TAU * g.uniform())
            })
            .collect();
        (0..self.frames)
            .map(|n| {
                let t = n as f64 / FS;
                let turns = mains * t + wander * ((TAU * speed * t + phase).sin()) / (TAU * speed);
                let turn = Complex64::from_polar(1.0, (TAU * turns) % TAU);
                let (mut sum, mut at) = (0.0, ONE);
                for line in &lines {
                    at *= turn;
                    sum += (line * at).re;
                }
                sum
            })
            .collect()
    }

    /// What is added to a clean take: pickup and reference.
    fn blemishes(&self, clean: &Clean, g: &mut Gauss) -> (Vec<f64>, Vec<f64>) {
        let mut y = if self.case.hum {
            self.hum(clean.loudness, g)
        } else {
            vec![0.0; self.frames]
        };
        g.add(&mut y, clean.noise_pickup);
        let mut x = vec![0.0; clean.reference.as_ref().map_or(0, Vec::len)];
        g.add(&mut x, clean.noise_reference);
        (y, x)
    }

    fn generator(&self, number: usize) -> Gauss {
        Gauss(ChaCha8Rng::seed_from_u64(
            self.seed ^ (number as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15),
        ))
    }

    /// Take of that number, and which of the coils it has.
    fn take(&self, number: usize) -> (Take, Truth) {
        let mut g = self.generator(number);
        let known = &self.clean[number % self.coils.len()];
        let drawn = (self.case.told == Told::Tolerances).then(|| self.answer(self.drawn(known.truth, &mut g)));
        let clean = drawn.as_ref().unwrap_or(known);
        let (y, x) = self.blemishes(clean, &mut g);
        let sum = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| (a + b) as f32).collect();
        let take = Take {
            rate_hz: RATE,
            pickup: sum(&clean.pickup, &y),
            reference: clean.reference.as_ref().map(|r| sum(r, &x)),
            step: 2f64.powi(-24),
            provenance: Provenance::default(),
        };
        (take, clean.truth)
    }

    fn analyse(&self, take: &Take) -> Analysis {
        let chain = self.rig.as_ref().map_or_else(Chain::unknown, Chain::from);
        let options = Options {
            chain: &chain,
            drive: (self.case.channels == 1).then_some(&self.drive[..]),
            model: Choice::Better,
        };
        analysis::analyse(take, &options).expect("a take that can be analysed")
    }

    pub fn outcome(&self, number: usize) -> Outcome {
        let (take, truth) = self.take(number);
        let analysis = self.analyse(&take);
        Outcome {
            truth: [truth.f0, truth.q],
            bound: self
                .bounds
                .get(number % self.coils.len())
                .copied()
                .unwrap_or([f64::NAN; 2]),
            read: analysis.resonance.map(|r| [r.f0_hz, r.q]),
        }
    }

    /// Outcomes of the takes in a range, on all processors.
    pub fn outcomes(&self, takes: std::ops::Range<usize>) -> Vec<Outcome> {
        let workers = std::thread::available_parallelism().map_or(1, usize::from);
        let next = AtomicUsize::new(takes.start);
        let mut all: Vec<(usize, Outcome)> = std::thread::scope(|scope| {
            let work = || {
                let mut mine = Vec::new();
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    if i >= takes.end {
                        return mine;
                    }
                    mine.push((i, self.outcome(i)));
                }
            };
            let threads: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
            threads
                .into_iter()
                .flat_map(|t| t.join().expect("a thread that ends"))
                .collect()
        });
        all.sort_by_key(|a| a.0);
        all.into_iter().map(|a| a.1).collect()
    }

    /// Finds the bound of f0 and Q. Unknown with them: the gain, for one channel latency and clock, and the corners of the AC
    /// coupling unless they are stated. Returns the program's bins over those counted here, which should be 1.
    pub fn find_bounds(&mut self) -> f64 {
        // Which lines stand in the way differs from take to take: the mean over a few.
        let draws = if self.case.hum { 8 } else { 1 };
        let (mut ours, mut theirs) = (0.0, 0.0);
        let mut bounds = Vec::new();
        for (c, clean) in self.clean.iter().enumerate() {
            let mut sum = [0.0; 2];
            for draw in 0..draws {
                let number = c + self.coils.len() * draw;
                let (take, _) = self.take(number);
                let Some(fit) = self.analyse(&take).fit else { continue };
                let (bound, bins) = self.bound(clean, fit.band_hz, number);
                sum[0] += bound[0].powi(2);
                sum[1] += bound[1].powi(2);
                ours += bins as f64;
                theirs += fit.bins as f64;
            }
            bounds.push(sum.map(|s| (s / draws as f64).sqrt()));
        }
        self.bounds = bounds;
        theirs / ours
    }

    /// The bound for one take, over the bins of a band that hold no line, and how many those are.
    fn bound(&self, clean: &Clean, band: [f64; 2], number: usize) -> ([f64; 2], usize) {
        let t = &clean.truth;
        let narrow = |x: &[f64]| x.iter().map(|v| *v as f32).collect::<Vec<f32>>();
        let active = match &clean.reference {
            Some(x) => span::active(&narrow(x), FS).expect("a drive"),
            None => {
                let top = self.drive.iter().fold(0f32, |m, v| m.max(v.abs()));
                let loud = |v: &f32| v.abs() > 1e-3 * top;
                let first = self.drive.iter().position(loud).expect("a drive") as f64 + (t.latency - 0.03) * FS;
                let last = self.drive.iter().rposition(loud).expect("a drive") as f64 + (t.latency + 0.03) * FS;
                first as usize..last as usize + 1
            }
        };
        let record = Record::around(Some(&active), &(0..self.frames), FS);
        let keep = (22_400.0 / FS * record.length as f64) as usize;
        let y = record.transform(&narrow(&clean.pickup), keep);
        let x = clean.reference.as_ref().map(|x| record.transform(&narrow(x), keep));
        let (noise_y, noise_x) = self.blemishes(clean, &mut self.generator(number));
        let mut residuals = record.transform(&narrow(&noise_y), keep);
        let spacing = FS / record.length as f64;
        let ratio = |f: f64| t.pickup(f) / coupling(t.ac_reference, f);
        if x.is_some() {
            let of_reference = record.transform(&narrow(&noise_x), keep);
            for k in 1..keep {
                residuals[k] -= ratio(k as f64 * spacing) * of_reference[k];
            }
        }
        // By ppm: what the answer changes by when the output's clock runs a little faster, the response standing still.
        let by_clock: Vec<Complex64> = if self.case.channels == 1 {
            const STEP: f64 = 0.5;
            // The program's latency is that of the middle of the drive; its own choice cannot matter to f0 and Q.
            let at = |ppm: f64| {
                let moved = self.answer(Truth { ppm: t.ppm + ppm, ..*t });
                record.transform(&narrow(&moved.pickup), keep)
            };
            let (more, less) = (at(STEP), at(-STEP));
            more.iter().zip(&less).map(|(a, b)| (a - b) / (2.0 * STEP)).collect()
        } else {
            Vec::new()
        };
        let bins = Bins {
            spacing_hz: spacing,
            first: 0,
            x: x.clone().unwrap_or_else(|| y.clone()),
            y: y.clone(),
            x_clock: None,
            syy: vec![clean.noise_pickup.powi(2); keep],
            sxx: vec![0.0; keep],
            syx: vec![Complex64::new(0.0, 0.0); keep],
            used: vec![true; keep],
            length: record.length as f64,
            energy: record.energy(),
        };
        let line = lines::find(&bins, &residuals, band);
        let count = if self.case.channels == 1 { 5 } else { 3 } + if self.case.told == Told::Nothing { 2 } else { 0 };
        let mut information = DMatrix::<f64>::zeros(count, count);
        let mut used = 0;
        for k in 1..keep {
            let f = k as f64 * spacing;
            let faint = x
                .as_ref()
                .is_some_and(|x| x[k].norm_sqr() <= 10.0 * clean.noise_reference.powi(2) * bins.energy);
            if f < band[0] || f > band[1] || line[k] || faint {
                continue;
            }
            used += 1;
            let u = f / t.f0;
            let d = ONE - u * u + J * u / t.q;
            // Derivatives of ln H by ln gain, f0 and Q.
            let mut by = vec![
                ONE,
                -(2.0 * u * u - J * u / t.q) / (d * t.f0),
                (J * u / t.q) / (d * t.q),
            ];
            if self.case.told == Told::Nothing {
                by.push(-(J * f + t.ac_pickup).inv());
                by.push(if self.case.channels == 1 {
                    -(J * f + t.ac_output).inv()
                } else {
                    (J * f + t.ac_reference).inv()
                });
            }
            let mut by: Vec<Complex64> = by.into_iter().map(|d| d * y[k]).collect();
            if self.case.channels == 1 {
                by.push(-J * TAU * f * y[k] * 1e-6);
                by.push(by_clock[k]);
            }
            let variance =
                record.length as f64 * (clean.noise_pickup.powi(2) + (ratio(f).norm() * clean.noise_reference).powi(2));
            for a in 0..count {
                for b in 0..count {
                    information[(a, b)] += 2.0 * (by[a].conj() * by[b]).re / variance;
                }
            }
        }
        // Scaled before it is inverted: its elements have units of their own.
        let scale: Vec<f64> = (0..count).map(|i| information[(i, i)].sqrt()).collect();
        let scaled = DMatrix::from_fn(count, count, |a, b| information[(a, b)] / (scale[a] * scale[b]));
        let inverse = scaled.cholesky().expect("information about every unknown").inverse();
        ([1, 2].map(|i| inverse[(i, i)].sqrt() / scale[i]), used)
    }
}

/// A figure with its own standard error.
#[derive(Debug, Clone, Copy)]
pub struct Figure {
    pub value: f64,
    pub error: f64,
}

fn mean(list: &[f64]) -> Figure {
    let n = list.len() as f64;
    let value = list.iter().sum::<f64>() / n;
    let variance = list.iter().map(|v| (v - value).powi(2)).sum::<f64>() / (n - 1.0);
    Figure {
        value,
        error: (variance / n).sqrt(),
    }
}

/// Root mean square.
fn rms(list: &[f64]) -> Figure {
    let square = mean(&list.iter().map(|v| v * v).collect::<Vec<_>>());
    let value = square.value.sqrt();
    Figure {
        value,
        error: square.error / (2.0 * value),
    }
}

/// What many takes say of f0 (0) or Q (1).
pub struct Summary {
    pub takes: usize,
    pub refused: usize,
    /// rms error over the bound.
    pub efficiency: Figure,
    /// Mean error in units of the bound.
    pub bias: Figure,
    /// Share of the 95 % intervals that hold the truth.
    pub coverage: Figure,
    /// rms error in units of the stated u.
    pub stated: Figure,
}

pub fn share(hits: usize, all: usize) -> Figure {
    let p = hits as f64 / all as f64;
    Figure {
        value: p,
        error: (p * (1.0 - p) / all as f64).sqrt(),
    }
}

pub fn summary(all: &[Outcome], which: usize) -> Summary {
    let read: Vec<(&Outcome, Estimate)> = all.iter().filter_map(|o| Some((o, o.read?[which]))).collect();
    let error = |(o, e): &(&Outcome, Estimate)| e.value - o.truth[which];
    let by_bound: Vec<f64> = read.iter().map(|r| error(r) / r.0.bound[which]).collect();
    let by_u: Vec<f64> = read.iter().map(|r| error(r) / r.1.u).collect();
    Summary {
        takes: all.len(),
        refused: all.len() - read.len(),
        efficiency: rms(&by_bound),
        bias: mean(&by_bound),
        coverage: share(by_u.iter().filter(|z| z.abs() <= 1.96).count(), read.len()),
        stated: rms(&by_u),
    }
}

/// Normal deviates by which a pickup moves between takes.
pub struct Shifts(Gauss);

impl Shifts {
    pub fn new() -> Self {
        Shifts(Gauss(ChaCha8Rng::seed_from_u64(77)))
    }

    pub fn next(&mut self) -> f64 {
        self.0.one()
    }
}
