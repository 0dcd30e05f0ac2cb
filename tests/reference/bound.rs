//! The scatter of f0 and Q against the bound that no unbiased estimate can beat (Cramer and Rao), and what the program says
//! of its own uncertainty against the scatter.
//!
//! Fisher information of H X in noise: F_ij = 2 Re sum conj(dH_i X) (dH_j X)/s2, s2 = E|n|^2 (any textbook on estimation).

use std::f64::consts::TAU;

use coilwright::analysis::chain::Chain;
use coilwright::analysis::{self, Choice, Options};
use coilwright::capture::bench::{Bench, Spec};
use coilwright::capture::{Capture, Request};
use coilwright::estimate::Estimate;
use coilwright::fit::model::{Fixed, Param, f0_q};
use coilwright::fit::{self, Known, Nuisance, Setup};
use coilwright::network::Load;
use coilwright::rig::Rig;
use coilwright::stimulus::{self, Settings, Shape};
use coilwright::transfer::bins::Bins;
use nalgebra::{Matrix4, SMatrix};
use num_complex::Complex64;

use crate::near;

const J: Complex64 = Complex64::new(0.0, 1.0);

/// Second-order response g/(1 - x^2 + jx/Q) and its derivatives by ln g, f0, Q.
fn response(g: f64, f0: f64, q: f64, f: f64) -> (Complex64, [Complex64; 3]) {
    let x = f / f0;
    let d = 1.0 - x * x + J * x / q;
    let h = g / d;
    (
        h,
        [h, -h * (2.0 * x * x - J * x / q) / (d * f0), h * (J * x / q) / (d * q)],
    )
}

/// An anchor computed with numpy and confirmed there by a Monte Carlo of the maximum-likelihood fit (spread over bound 0.97 to
/// 1.02): f0 4187.331 Hz, Q 2.49039, g 0.97, delay 0.2 ms free, 100 to 15 000 Hz in steps of 20 Hz, s2 = 1e-4.
#[test]
fn the_fits_covariance_is_the_bound() {
    let (f0, q, g, delay, s2) = (4187.331, 2.49039, 0.97, 2e-4, 1e-4);
    let (first, count) = (5, 746);
    let freq = |i: usize| (first + i) as f64 * 20.0;
    // The program's response is one to the current: the reference is divided by jw, so that g stands alone.
    let x: Vec<Complex64> = (0..count).map(|i| (J * TAU * freq(i)).inv()).collect();
    let y = (0..count)
        .map(|i| response(g, f0, q, freq(i)).0 * Complex64::from_polar(1.0, -TAU * freq(i) * delay))
        .collect();
    let bins = Bins {
        spacing_hz: 20.0,
        first,
        x,
        y,
        x_clock: None,
        syy: vec![s2; count],
        sxx: vec![0.0; count],
        syx: vec![Complex64::new(0.0, 0.0); count],
        used: vec![true; count],
        length: 1.0,
        energy: 1.0,
    };
    let setup = Setup {
        fixed: Fixed::default(),
        nuisance: vec![Nuisance {
            param: Param::Delay,
            start: delay,
            lower: -0.01,
            upper: 0.01,
            prior: None,
            known: Known::Weakly,
        }],
        band: [100.0, 15_000.0],
        shift: None,
    };
    let fitted = fit::second_order(&bins, &setup).unwrap();
    let index = |p: Param| fitted.model.index(p).unwrap();
    let (gain, b1, b2, late) = (
        index(Param::Gain),
        index(Param::B1),
        index(Param::B2),
        index(Param::Delay),
    );
    let f_ref = fitted.model.f_ref;
    let theta = &fitted.theta;
    let (got_f0, got_q) = f0_q(f_ref, theta[b1], theta[b2]);
    near("f0", got_f0, f0, 1e-5);
    near("Q", got_q, q, 1e-8);
    near("g", theta[gain], g, 1e-9);
    near("delay", theta[late], delay, 1e-12);
    // From the program's own parameters to f0 and Q by differences.
    let slope = |i: usize, pick: &dyn Fn((f64, f64)) -> f64| {
        let step = 1e-6 * theta[i];
        let at = |s: f64| {
            let v = |j: usize| theta[j] + if i == j { s } else { 0.0 };
            pick(f0_q(f_ref, v(b1), v(b2)))
        };
        (at(step) - at(-step)) / (2.0 * step)
    };
    let gradient = |pick: &dyn Fn((f64, f64)) -> f64| [slope(b1, pick), slope(b2, pick)];
    let (df, dq) = (gradient(&|p| p.0), gradient(&|p| p.1));
    let c = &fitted.noise;
    let cov = |a: [f64; 2], b: [f64; 2]| {
        let at = [b1, b2];
        (0..2)
            .flat_map(|i| (0..2).map(move |j| (i, j)))
            .map(|(i, j)| a[i] * b[j] * c[(at[i], at[j])])
            .sum::<f64>()
    };
    let (sf, sq) = (cov(df, df).sqrt(), cov(dq, dq).sqrt());
    // To a unit of the last digit printed.
    near("sd of f0", sf, 0.44673, 1e-5);
    near("sd of Q", sq, 1.30094e-3, 1e-8);
    near("sd of g", c[(gain, gain)].sqrt(), 3.5207e-4, 1e-8);
    near("correlation of f0 and Q", cov(df, dq) / (sf * sq), -0.204, 1e-3);
    // And all of it once more from the sums written out.
    let mut f = Matrix4::zeros();
    for i in 0..count {
        let (h, [dg, df0, dq]) = response(g, f0, q, freq(i));
        let d = [dg / g, -J * TAU * freq(i) * h, df0, dq];
        add_information(&mut f, &d, s2);
    }
    let bound = f.try_inverse().unwrap();
    near("bound of f0 over the fit's", bound[(2, 2)].sqrt() / sf, 1.0, 1e-6);
    near("bound of Q over the fit's", bound[(3, 3)].sqrt() / sq, 1.0, 1e-6);
}

fn add_information<const N: usize>(f: &mut SMatrix<f64, N, N>, d: &[Complex64; N], s2: f64) {
    for a in 0..N {
        for b in 0..N {
            f[(a, b)] += 2.0 * (d[a].conj() * d[b]).re / s2;
        }
    }
}

const TAKES: usize = 240;
const RATE: u32 = 48_000;
const NOISE_DBFS: f64 = -70.0;
const MUTUAL: f64 = 2e-4;
const RIG: &str = "[exciter]\nreference = \"current\"\nseries_ohm = 100.0\ninductance_h = 0.0005\n\
                   [input]\nac_pickup_hz = 2.7\nac_reference_hz = 3.6\nac_output_hz = 2.0\n";

/// The bound for one take of the bench: gain, f0 and Q unknown, the AC coupling as the rig states it.
fn bound(drive: &[f32], f0: f64, q: f64, g0: f64) -> [f64; 2] {
    let n = drive.len() & !1;
    let mut x: Vec<Complex64> = drive[..n].iter().map(|v| f64::from(*v).into()).collect();
    rustfft::FftPlanner::new().plan_fft_forward(n).process(&mut x);
    // rms of a full-scale sine is 0 dBFS (AES17); the bench states noise from 0 to 20 kHz, and it is white to 24 kHz.
    let density = 0.5 * 10f64.powf(NOISE_DBFS / 10.0) * f64::from(RATE) / 2.0 / 20e3;
    let mut f = SMatrix::<f64, 3, 3>::zeros();
    for (k, x) in x.iter().enumerate().take(n / 2).skip(1) {
        let hz = k as f64 * f64::from(RATE) / n as f64;
        if !(20.0..=20e3).contains(&hz) {
            continue;
        }
        let jw = J * TAU * hz;
        let coupling = |corner: f64| jw / (jw + TAU * corner);
        let reference = x * 100.0 / (100.0 + jw * 0.0005) * coupling(2.0) * coupling(3.6);
        let base = jw * MUTUAL / 100.0 * coupling(2.7) / coupling(3.6);
        let (h, d) = response(g0, f0, q, hz);
        // Both channels are as noisy: Y - H X has the pickup's noise and H times the reference's.
        let s2 = n as f64 * density * (1.0 + (base * h).norm_sqr());
        add_information(&mut f, &d.map(|d| d * base * reference), s2);
    }
    let c = f.try_inverse().unwrap();
    [c[(1, 1)].sqrt(), c[(2, 2)].sqrt()]
}

/// As short as takes may be, so that there can be many: half a second of noise, both channels, everything as a user has it.
///
/// rms error over the bound: with n takes its own standard deviation is 1/sqrt(2n), 4.6 % here; four of them are allowed.
/// Coverage of the 95 % intervals: sqrt(0.95 x 0.05/n), 1.4 %; likewise.
#[test]
fn the_scatter_of_takes_is_the_bounds_and_the_intervals_hold_what_they_promise() {
    // ngspice 39, fixtures/spice/rlc.json, third row: f0, Q, gain at low frequency.
    let truth = [4187.330865, 2.490390989];
    let g0 = 0.9708737865;
    let rig = Rig::parse(RIG, "bench").unwrap();
    let load: Load = "res=200k cap=500p".parse().unwrap();
    let settings = Settings {
        shape: Shape::Noise,
        seconds: 0.5,
        ..Settings::at_rate(RATE)
    };
    let drive = stimulus::make(&settings).unwrap().samples;
    let bound = bound(&drive, truth[0], truth[1], g0);
    let words = format!("r=6k l=2.4H cs=120p m=0.2mH noise={NOISE_DBFS}dBFS flicker=0Hz hum=none");
    let one = |seed: u64| -> [Estimate; 2] {
        let spec = Spec::parse_words(&words).unwrap();
        let mut bench = Bench::new(spec, Some(&rig), Some(&load), false, seed).unwrap();
        let request = Request {
            rate_hz: RATE,
            drive: drive.clone(),
        };
        let take = bench.take(&request, &mut |_| {}).unwrap();
        let chain = Chain::from(&rig);
        let options = Options {
            chain: &chain,
            drive: None,
            model: Choice::Better,
        };
        let analysis = analysis::analyse(&take, &options).unwrap();
        let r = analysis
            .resonance
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", analysis.findings));
        [r.f0_hz, r.q]
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from).min(4);
    let all: Vec<[Estimate; 2]> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers)
            .map(|w| {
                scope.spawn(move || {
                    (w..TAKES)
                        .step_by(workers)
                        .map(|i| one(1000 + i as u64))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        threads.into_iter().flat_map(|t| t.join().unwrap()).collect()
    });
    assert_eq!(all.len(), TAKES);
    let n = TAKES as f64;
    for (i, name) in ["f0", "Q"].into_iter().enumerate() {
        let errors: Vec<f64> = all.iter().map(|r| r[i].value - truth[i]).collect();
        let mean = errors.iter().sum::<f64>() / n;
        let rms = (errors.iter().map(|e| e * e).sum::<f64>() / n).sqrt();
        let covered = all
            .iter()
            .zip(&errors)
            .filter(|(r, e)| e.abs() <= 1.96 * r[i].u)
            .count() as f64
            / n;
        let stated = all.iter().map(|r| r[i].u_noise).sum::<f64>() / n;
        println!(
            "{name}: {TAKES} takes, bound {:.5}, rms error over bound {:.3}, stated u over bound {:.3}, mean error {:+.2} of its own \
             standard deviations, 95 % intervals hold {:.1} %",
            bound[i],
            rms / bound[i],
            stated / bound[i],
            mean / (bound[i] / n.sqrt()),
            100.0 * covered
        );
        near(
            &format!("{name}: rms error over bound"),
            rms / bound[i],
            1.0,
            4.0 / (2.0 * n).sqrt(),
        );
        near(&format!("{name}: bias"), mean / (bound[i] / n.sqrt()), 0.0, 4.0);
        near(
            &format!("{name}: coverage"),
            covered,
            0.95,
            4.0 * (0.95 * 0.05 / n).sqrt(),
        );
        // The noise is measured from one second of silence, so single values scatter by some per cent; their mean hardly.
        near(&format!("{name}: stated u over bound"), stated / bound[i], 1.0, 0.05);
    }
}
