//! The live path, over a sound server in user space with a pickup between its ends. See README.md here.

use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

mod bench;
mod busy;
mod child;
mod silence;
mod tape;
mod watched;
mod whole;

use bench::{Bench, INPUT, OUTPUT};
use child::{Job, Outcome};

const F0: f64 = 4200.0;
const Q: f64 = 2.5;
const LEVEL: f64 = 0.05;

/// Noise, the same every time, between silences of half a second: any shift of one sample shows.
fn drive(rate: u32, seconds: f64) -> Vec<f32> {
    let quiet = rate as usize / 2;
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut low = 0.0;
    let mut drive = vec![0.0; quiet];
    drive.extend((0..(seconds * f64::from(rate)) as usize).map(|_| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        low = 0.5 * low + 0.2 * ((state >> 40) as f32 / (1 << 23) as f32 - 1.0);
        low
    }));
    drive.extend(vec![0.0; quiet]);
    drive
}

/// Runs the library in a child process that sees the bench alone.
struct Running {
    child: Child,
    start: Instant,
    outcome: std::path::PathBuf,
}

fn launch(bench: &Bench, job: &Job) -> Running {
    let outcome = bench.dir().join("outcome.json");
    let _ = std::fs::remove_file(&outcome);
    let file = bench.dir().join("job.json");
    std::fs::write(&file, serde_json::to_string(job).unwrap()).unwrap();
    let me = std::env::current_exe().unwrap();
    let mut command: Command = bench.command(me);
    command.args([
        "--exact",
        "child::works",
        "--ignored",
        "--nocapture",
        "--test-threads=1",
    ]);
    command.env("COILWRIGHT_LIVE_JOB", &file).stdout(Stdio::null());
    command.stderr(std::fs::File::create(bench.dir().join("stderr")).unwrap());
    Running {
        child: command.spawn().unwrap(),
        start: Instant::now(),
        outcome,
    }
}

impl Running {
    fn wait(mut self, limit: Duration) -> (ExitStatus, Option<Outcome>, Duration) {
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                let outcome = std::fs::read(&self.outcome)
                    .ok()
                    .map(|b| serde_json::from_slice(&b).unwrap());
                return (status, outcome, self.start.elapsed());
            }
            if self.start.elapsed() > limit {
                let _ = self.child.kill();
                let _ = self.child.wait();
                panic!("no end after {limit:?}");
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

fn run(bench: &Bench, job: &Job) -> Outcome {
    let (status, outcome, _) = launch(bench, job).wait(Duration::from_secs(40));
    assert!(status.success(), "{status}: {}", said(bench));
    outcome.expect("an outcome")
}

/// As [`run`], once more and once again where the sound system reported trouble or lost samples in silence: on a busy machine it may.
fn run_calmly(bench: &Bench, job: &Job) -> Outcome {
    let mut outcome = run(bench, job);
    for _ in 0..2 {
        let whole = job
            .reference_channel
            .map_or(Ok(0), |_| continuous(&outcome.reference, &job.drive, job.rate_hz));
        if outcome.trouble.is_empty() && whole.is_ok() {
            break;
        }
        println!("not calm: {:?}, {whole:?}", outcome.trouble);
        outcome = run(bench, job);
    }
    outcome
}

/// What the child wrote on standard error.
fn said(bench: &Bench) -> String {
    std::fs::read_to_string(bench.dir().join("stderr")).unwrap()
}

/// Where in `take` the part `drive[from..from + n]` lies, between `lo` and `hi`: least sum of squares.
fn place(take: &[f32], drive: &[f32], from: usize, n: usize, lo: usize, hi: usize) -> (usize, f64) {
    let part = &drive[from..from + n];
    (lo..hi.min(take.len().saturating_sub(n)))
        .map(|at| {
            let miss: f64 = part
                .iter()
                .zip(&take[at..])
                .map(|(a, b)| f64::from(a - b).powi(2))
                .sum();
            (at, miss)
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap()
}

/// Latency of the reference in samples, if it is the drive without a sample lost; else in words what is wrong.
fn continuous(reference: &[f32], drive: &[f32], rate: u32) -> Result<usize, String> {
    let quiet = rate as usize / 2;
    let (at, _) = place(reference, drive, quiet, 512, quiet, quiet + rate as usize);
    let latency = at - quiet;
    let body = quiet..drive.len() - quiet;
    let off = |i: usize| reference.get(i + latency).is_none_or(|r| (r - drive[i]).abs() > 2e-4);
    match body.clone().find(|&i| off(i)) {
        None => Ok(latency),
        Some(i) => Err(format!("off from drive sample {i} of {body:?} on, latency {latency}")),
    }
}

type Complex = rustfft::num_complex::Complex<f64>;

/// The pickup as pickup.py has it: current reference, level at 1 kHz.
fn formula(f: f64) -> Complex {
    let x = f / F0;
    Complex::new(0.0, LEVEL * f / 1000.0) / Complex::new(1.0 - x * x, x / Q)
}

/// How far the response pickup/reference is from the formula, relative, in a band of 2 % around each frequency: the whole
/// take is one spectrum, silence to silence.
fn misses(pickup: &[f32], reference: &[f32], rate: u32, frequencies: &[f64]) -> Vec<f64> {
    let n = pickup.len();
    let spectrum = |x: &[f32]| {
        let mut x: Vec<_> = x.iter().map(|&v| Complex::new(f64::from(v), 0.0)).collect();
        rustfft::FftPlanner::new().plan_fft_forward(n).process(&mut x);
        x
    };
    let (y, x) = (spectrum(pickup), spectrum(reference));
    let bin = |f: f64| (f * n as f64 / f64::from(rate)).round() as usize;
    let miss = |&f: &f64| {
        let (mut measured, mut expected) = (Complex::default(), 0.0);
        for k in bin(0.98 * f)..=bin(1.02 * f) {
            let model = formula(k as f64 * f64::from(rate) / n as f64) * x[k];
            measured += y[k] * model.conj();
            expected += model.norm_sqr();
        }
        (measured / expected - 1.0).norm()
    };
    frequencies.iter().map(miss).collect()
}

/// A clean take: no trouble, channel 2 is the drive sample for sample, channel 1 over it is the pickup.
fn check_clean(outcome: &Outcome, job: &Job) {
    assert_eq!(outcome.failure, None);
    assert_eq!(outcome.trouble, Vec::<String>::new());
    let (rate, drive) = (job.rate_hz, &job.drive);
    assert_eq!(outcome.pickup.len(), outcome.reference.len());
    assert!(outcome.pickup.len() >= drive.len());
    let latency = continuous(&outcome.reference, drive, rate).unwrap();
    assert!(latency > 0 && latency < rate as usize / 2, "latency {latency}");
    let misses = misses(
        &outcome.pickup,
        &outcome.reference,
        rate,
        &[300.0, 1000.0, 3000.0, F0, 6000.0, 12000.0],
    );
    println!(
        "{rate} Hz: latency {:.1} ms, off by {misses:?}",
        1e3 * latency as f64 / f64::from(rate)
    );
    assert!(misses.iter().all(|m| *m < 5e-3), "{misses:?}");
    assert!(outcome.fractions.windows(2).all(|w| w[0] <= w[1]) && outcome.fractions.last() == Some(&1.0));
    assert!(outcome.fractions.len() > 10, "progress is told often enough");
    let loudest = outcome.reference.iter().fold(0.0_f32, |a, x| a.max(x.abs()));
    assert!((outcome.peaks[1] - loudest).abs() < 1e-6, "peaks of the progress");
}

/// Patient, so that on a busy machine it is not the bench that loses samples.
const PICKUP: [&str; 6] = ["--f0", "4200", "--q", "2.5", "--play-ms", "250"];

#[test]
fn default_devices_at_48_khz() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let job = Job::take(48_000, drive(48_000, 1.5));
    check_clean(&run_calmly(&bench, &job), &job);
    assert_eq!(said(&bench), "", "nothing is printed");
}

#[test]
fn named_devices_at_96_khz() {
    let Some(bench) = Bench::start(96_000, &PICKUP) else {
        return;
    };
    for (output, input) in [(OUTPUT, "alsa:bench_in"), ("Bench Output (virtual)", "bench input")] {
        let job = Job::take(96_000, drive(96_000, 1.0)).on(output, input);
        let outcome = run_calmly(&bench, &job);
        check_clean(&outcome, &job);
        let device = outcome.device.unwrap();
        assert!(device.contains(OUTPUT) && device.contains(INPUT), "{device}");
    }
}

#[test]
fn every_common_rate() {
    for rate in [44_100, 88_200, 176_400, 192_000] {
        let Some(bench) = Bench::start(rate, &PICKUP) else {
            return;
        };
        let job = Job::take(rate, drive(rate, 0.5));
        check_clean(&run_calmly(&bench, &job), &job);
    }
}

#[test]
fn channels_as_told() {
    let Some(bench) = Bench::start(48_000, &[&PICKUP[..], &["--swap"]].concat()) else {
        return;
    };
    let mut job = Job::take(48_000, drive(48_000, 0.5));
    (job.pickup_channel, job.reference_channel) = (2, Some(1));
    check_clean(&run_calmly(&bench, &job), &job);
    // One channel.
    (job.pickup_channel, job.reference_channel) = (1, None);
    let outcome = run_calmly(&bench, &job);
    assert_eq!(
        (outcome.failure, outcome.trouble.len(), outcome.reference.len()),
        (None, 0, 0)
    );
    continuous(&outcome.pickup, &job.drive, 48_000).unwrap();
}

#[test]
fn silence_is_a_take() {
    let Some(bench) = Bench::start(48_000, &["--silence"]) else {
        return;
    };
    let job = Job::take(48_000, drive(48_000, 0.5));
    let outcome = run_calmly(&bench, &job);
    assert_eq!((outcome.failure, outcome.trouble.len()), (None, 0));
    continuous(&outcome.reference, &job.drive, 48_000).unwrap();
    assert!(outcome.pickup.iter().all(|x| x.abs() < 1e-4));
}

#[test]
fn lost_samples_show_in_the_reference() {
    let Some(bench) = Bench::start(48_000, &["--drop-after", "0.5", "--drop", "64"]) else {
        return;
    };
    let job = Job::take(48_000, drive(48_000, 1.5));
    let outcome = run(&bench, &job);
    assert_eq!(outcome.failure, None);
    let (reference, drive) = (&outcome.reference, &job.drive);
    continuous(reference, drive, 48_000).unwrap_err();
    let early = place(reference, drive, 24_500, 512, 24_000, 48_000).0 - 24_500;
    let later = place(reference, drive, 80_000, 512, 79_000, 104_000).0 - 80_000;
    assert_eq!(early - later, 64);
}

#[test]
fn a_bench_gone_in_mid_take_is_trouble() {
    let Some(bench) = Bench::start(48_000, &["--stop-after", "0.6"]) else {
        return;
    };
    let outcome = run(&bench, &Job::take(48_000, drive(48_000, 2.0)));
    assert_eq!(outcome.failure, None);
    assert!(
        outcome.trouble.iter().any(|t| t.contains("fell silent")),
        "{:?}",
        outcome.trouble
    );
}

#[test]
fn a_killed_server_ends_the_take_soon() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let running = launch(&bench, &Job::take(48_000, drive(48_000, 8.0)));
    std::thread::sleep(Duration::from_millis(3000));
    bench.kill_server();
    let killed = running.start.elapsed();
    let (status, outcome, end) = running.wait(Duration::from_secs(20));
    let outcome = outcome.unwrap();
    println!(
        "ended {:?} after the server: {:?} {:?}",
        end - killed,
        outcome.failure,
        outcome.trouble
    );
    assert!(status.success() && outcome.failure.is_none());
    assert!(
        outcome.trouble[0].starts_with("the sound system has stopped: the take ends at "),
        "{:?}",
        outcome.trouble
    );
    assert!(
        outcome.pickup.len() > 48_000 && outcome.pickup.len() < 5 * 48_000,
        "what was recorded is kept"
    );
    assert!(end - killed < Duration::from_secs(5));
    assert_eq!(said(&bench), "", "nothing is printed");
}

#[test]
fn a_frozen_server_ends_the_take_soon() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let running = launch(&bench, &Job::take(48_000, drive(48_000, 8.0)));
    std::thread::sleep(Duration::from_millis(2500));
    bench.freeze_server();
    let frozen = running.start.elapsed();
    let (status, outcome, end) = running.wait(Duration::from_secs(20));
    let outcome = outcome.unwrap();
    println!(
        "ended {:?} after the server: {:?} {:?}",
        end - frozen,
        outcome.failure,
        outcome.trouble
    );
    assert!(status.success() && outcome.failure.is_none());
    assert!(
        outcome.trouble[0].starts_with("the sound system has stopped"),
        "{:?}",
        outcome.trouble
    );
    assert!(end - frozen < Duration::from_secs(8));
}

#[test]
fn a_server_frozen_from_the_start_is_told() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    bench.freeze_server();
    for job in [Job::take(48_000, drive(48_000, 0.5)), Job::ask(48_000)] {
        let (_, outcome, end) = launch(&bench, &job).wait(Duration::from_secs(20));
        let failure = outcome.unwrap().failure.unwrap();
        assert!(failure.starts_with("the sound system does not answer"), "{failure}");
        assert!(end < Duration::from_secs(13), "{end:?}");
    }
}

/// An output that takes no float, on a server that works in integers. (ALSA's emulation that this needs loses samples when
/// recording, whatever the program; so the input stays as it is.)
#[test]
fn an_integer_output() {
    for format in ["s32le", "s16le"] {
        let Some(bench) = Bench::start_as(format, 48_000, &PICKUP) else {
            return;
        };
        bench.configure(
            "pcm.whole_out { type linear slave { pcm { type mmap_emul slave.pcm bench_out } format S32_LE }
             hint { show on description \"Whole numbers\" } }",
        );
        let job = Job::take(48_000, drive(48_000, 0.5)).on("whole_out", INPUT);
        check_clean(&run_calmly(&bench, &job), &job);
        let asked = run(
            &bench,
            &Job {
                drive: Vec::new(),
                ..job
            },
        );
        let device = asked
            .devices
            .iter()
            .find(|d| d.id == "alsa:whole_out" && d.direction == "sound output")
            .unwrap();
        assert!(device.selected && !device.default);
        assert!(
            device.formats[0] == "i32" && !device.formats.contains(&"f32".into()),
            "{:?}",
            device.formats
        );
    }
}

#[test]
fn stopped_by_hand() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let mut job = Job::take(48_000, drive(48_000, 8.0));
    job.stop_after_s = Some(2.0);
    let running = launch(&bench, &job);
    let (_, outcome, end) = running.wait(Duration::from_secs(20));
    let failure = outcome.unwrap().failure.unwrap();
    assert!(failure.starts_with("stopped by hand"), "{failure}");
    assert!(end < Duration::from_millis(3500), "{end:?}");
}

#[test]
fn devices_and_questions_before_any_sound() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    let outcome = run(&bench, &Job::ask(48_000));
    println!("{}", serde_json::to_string_pretty(&outcome.devices).unwrap());
    let device = |direction: &str, id: &str| {
        outcome
            .devices
            .iter()
            .find(|d| d.direction == direction && d.id == format!("alsa:{id}"))
            .unwrap()
    };
    let output = device("sound output", OUTPUT);
    assert_eq!(output.name, "Bench Output (virtual)");
    assert!(!output.default && !output.selected && output.problem.is_none());
    assert_eq!(output.rates_hz, [44_100, 48_000, 88_200, 96_000, 176_400, 192_000]);
    assert!(output.channels.contains(&2) && output.formats[0] == "f32");
    assert!(device("sound input", "default").default && device("sound input", "default").selected);
    assert_eq!(outcome.default_rate_hz, Some(48_000));
    assert_eq!(outcome.failure, None);

    let refused = |change: &dyn Fn(&mut Job)| {
        let mut job = Job::ask(48_000);
        change(&mut job);
        let failure = run(&bench, &job).failure.unwrap();
        println!("{failure}");
        assert!(!failure.contains('\n'));
        failure
    };
    let failure = refused(&|j| j.output = Some("nonesuch".into()));
    assert!(
        failure.starts_with("there is no sound output 'nonesuch'; there is: "),
        "{failure}"
    );
    assert!(failure.contains("alsa:bench_out"));
    let failure = refused(&|j| j.input = Some("bench".into()));
    assert!(failure.starts_with("--input 'bench' fits 2 devices"), "{failure}");
    let failure = refused(&|j| j.rate_hz = 500_000);
    assert!(
        failure.contains("does not run at 500000 Hz; choose --rate among 44100, "),
        "{failure}"
    );
    let failure = refused(&|j| j.pickup_channel = 99);
    assert!(failure.contains("channel 99 is asked for"), "{failure}");
    assert_eq!(said(&bench), "", "nothing is printed");
}

#[test]
fn no_server_no_take() {
    let Some(bench) = Bench::start(48_000, &PICKUP) else {
        return;
    };
    bench.kill_server();
    std::thread::sleep(Duration::from_millis(200));
    let outcome = run(&bench, &Job::take(48_000, drive(48_000, 0.5)));
    let failure = outcome.failure.unwrap();
    println!("{failure}");
    assert!(
        failure.starts_with(
            "the sound system has stopped, or was never started: the sound output 'Default Audio Device' "
        ),
        "{failure}"
    );
    assert_eq!(said(&bench), "", "one line is told, and not by the audio library");
}

/// For measuring stability by hand: COILWRIGHT_LIVE_REPEAT=20 COILWRIGHT_LIVE_RATE=96000 [COILWRIGHT_LIVE_LOAD=2].
#[test]
#[ignore = "a measurement, not a test"]
fn repeat() {
    let number = |name: &str, or: u32| std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(or);
    let (rate, runs, load) = (
        number("COILWRIGHT_LIVE_RATE", 48_000),
        number("COILWRIGHT_LIVE_REPEAT", 20),
        number("COILWRIGHT_LIVE_LOAD", 0),
    );
    let over = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        for _ in 0..load {
            scope.spawn(|| {
                let mut x = 1_u64;
                while !over.load(std::sync::atomic::Ordering::Relaxed) {
                    x = std::hint::black_box(x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1));
                }
            });
        }
        let Some(bench) = Bench::start(rate, &PICKUP) else {
            return;
        };
        let job = Job::take(rate, drive(rate, 2.0));
        let (mut clean, mut latencies) = (0, Vec::new());
        for i in 0..runs {
            let before = (bench.log("pickup").len(), bench.log("pulse").len());
            let outcome = run(&bench, &job);
            let whole = continuous(&outcome.reference, &job.drive, rate);
            if let (None, 0, Ok(latency)) = (&outcome.failure, outcome.trouble.len(), &whole) {
                clean += 1;
                latencies.push(1e3 * *latency as f64 / f64::from(rate));
            } else {
                println!("run {i}: {:?} {:?} {whole:?}", outcome.failure, outcome.trouble);
                // Whether it was the bench that lost samples.
                let logs = (bench.log("pickup"), bench.log("pulse"));
                println!("{}{}", &logs.0[before.0..], &logs.1[before.1..]);
            }
        }
        latencies.sort_by(f64::total_cmp);
        println!(
            "{rate} Hz, load {load}: {clean} of {runs} clean, latency {:.0}...{:.0} ms",
            latencies.first().unwrap_or(&0.0),
            latencies.last().unwrap_or(&0.0)
        );
        over.store(true, std::sync::atomic::Ordering::Relaxed);
    });
}
