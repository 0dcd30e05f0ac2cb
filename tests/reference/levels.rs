//! Levels in dBFS: 0 dBFS is the rms of a sine at full scale (AES17), so a square of full scale reads +3.01.

use crate::bench::Folder;
use crate::near;

fn samples(wav: &[u8]) -> [Vec<f64>; 2] {
    let reader = hound::WavReader::new(wav).unwrap();
    assert_eq!(reader.spec().channels, 2);
    let full = 2f64.powi(i32::from(reader.spec().bits_per_sample) - 1);
    let all: Vec<f64> = reader
        .into_samples::<i32>()
        .map(|s| f64::from(s.unwrap()) / full)
        .collect();
    [0, 1].map(|n| all.iter().skip(n).step_by(2).copied().collect())
}

/// 20 log10 of the rms over that of a full-scale sine.
fn dbfs(x: &[f64]) -> f64 {
    let power = x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64;
    10.0 * (2.0 * power).log10()
}

/// Power of x from 0 to `top`, by a transform written out: the lines k/T up to there.
fn dbfs_below(x: &[f64], rate: f64, top: f64) -> f64 {
    let n = x.len() & !1;
    let mut plan = rustfft::FftPlanner::new();
    let mut bins: Vec<num_complex::Complex64> = x[..n].iter().map(|v| (*v).into()).collect();
    plan.plan_fft_forward(n).process(&mut bins);
    let last = (top / rate * n as f64) as usize;
    let power: f64 = bins[1..=last].iter().map(|b| 2.0 * b.norm_sqr()).sum::<f64>() / (n as f64).powi(2);
    10.0 * (2.0 * power).log10()
}

#[test]
fn noise_and_hum_of_a_take_are_as_loud_as_they_were_asked_for() {
    let f = Folder::new();
    let noise = "silent unplugged noise=-70dBFS noise-reference=-60dBFS flicker=0Hz hum=none";
    f.measure(&["--sim", noise, "--out", "noise"]).ended(1);
    let [p, r] = samples(&f.bytes("noise/take.wav"));
    // 81 158 samples, of which 20 of 24 kHz count: sd of the power sqrt(2/(81158 x 20/24)) = 0.54 % or 0.024 dB; four of them.
    near("noise", dbfs_below(&p, 48e3, 20e3), -70.0, 0.1);
    near("noise of the reference", dbfs_below(&r, 48e3, 20e3), -60.0, 0.1);
    // White: all of the band has 24/20 of it.
    near("noise to 24 kHz", dbfs(&p), -70.0 + 10.0 * 1.2f64.log10(), 0.1);
    let hum = "silent unplugged noise=-250dBFS hum=-30dBFS mains=50Hz";
    f.measure(&["--sim", hum, "--out", "hum"]).ended(1);
    let [p, _] = samples(&f.bytes("hum/take.wav"));
    // Whole periods of 50 Hz.
    near("hum", dbfs(&p[..960 * 80]), -30.0, 1e-3);
}

#[test]
fn peaks_are_against_full_scale_and_a_sweeps_rms_is_a_sines() {
    let f = Folder::new();
    for level in ["-3dBFS", "-12", "-31.7dBFS"] {
        let want: f64 = level.trim_end_matches("dBFS").parse().unwrap();
        let out = format!("d{level}.wav");
        f.run(&["drive", "--level", level, "--out", &out]).ended(0);
        let reader = hound::WavReader::open(f.path(&out)).unwrap();
        let x: Vec<f64> = reader
            .into_samples::<i32>()
            .map(|s| f64::from(s.unwrap()) / 8_388_608.0)
            .collect();
        let top = x.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        near("peak", 20.0 * top.log10(), want, 1e-3);
        // Constant amplitude but for its ends: as loud as a sine of that peak.
        let sounding = &x[(0.65 * 48e3) as usize..(3.3 * 48e3) as usize];
        near("rms", dbfs(sounding), want, 0.2);
    }
    // A take's peak likewise; without a rig and AC coupling the reference of the bench is the output itself, but for its mean.
    let sim = "noise=-250dBFS hum=none m=1uH ac-reference=0Hz ac-output=0Hz latency=0s";
    let record = f
        .measure(&["--sim", sim, "--level", "-20dBFS", "--json"])
        .ended(0)
        .json();
    near("take", record["capture"]["peak_dbfs"].as_f64().unwrap(), -20.0, 0.02);
}

/// The ratio that the record gives as snr_db, from what was put in: energies of answer and noise within an octave about f0.
#[test]
fn the_signal_to_noise_ratio_is_that_of_what_was_put_in() {
    let f = Folder::new();
    let pickup = "r=6k l=2.4H cs=120p flicker=0Hz hum=none";
    let load = "res=200k cap=500p";
    let sim = |noise: &str| format!("{pickup} noise={noise}");
    let noisy = f
        .measure(&["--sim", &sim("-70dBFS"), "--load", load, "--out", "noisy", "--json"])
        .ended(0)
        .json();
    f.measure(&["--sim", &sim("-250dBFS"), "--load", load, "--out", "clean"])
        .ended(0);
    let [clean, _] = samples(&f.bytes("clean/take.wav"));
    // ngspice 39, fixtures/spice/rlc.json, third row.
    let f0 = 4187.330865;
    let octave = |x: &[f64]| {
        let power = |top: f64| 10f64.powf(dbfs_below(x, 48e3, top) / 10.0);
        power(f0 * 2f64.sqrt()) - power(f0 / 2f64.sqrt())
    };
    let noise = 1e-7 * (f0 * (2f64.sqrt() - 0.5f64.sqrt())) / 20e3;
    let want = 10.0 * (octave(&clean) / noise).log10();
    near("snr_db", noisy["capture"]["snr_db"].as_f64().unwrap(), want, 0.5);
}
