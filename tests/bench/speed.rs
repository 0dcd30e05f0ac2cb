//! How long the program takes and how much memory, as a user meets it: whole processes, from a file to a record.
//!
//!     cargo bench --bench speed            all figures
//!     cargo bench --bench speed -- plots   those whose name holds the word
//!     cargo bench --bench speed -- takes DIR   only writes the takes, for a profiler
//!     cargo bench --bench speed -- floor TAKE  only reads and transforms one, for compare.py beside this
//!
//! Every figure stands beside what nobody can avoid, measured in the same run: reading the file and transforming two
//! channels. The ratio to that travels between machines, milliseconds do not.

use std::f64::consts::TAU;
use std::ffi::OsString;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use coilwright::capture::wav;
use coilwright::fft;
use coilwright::stimulus::{self, Settings};
use num_complex::Complex64;

const PROGRAM: &str = env!("CARGO_BIN_EXE_coilwright");
const RATE: u32 = 96_000;
const F0: f64 = 3512.0;
const Q: f64 = 2.2;
/// Takes in the batch.
const BATCH: usize = 8;

fn main() {
    let mut args = std::env::args_os().skip(1).filter(|a| a != "--bench");
    let first = args.next();
    match first.as_ref().and_then(|a| a.to_str()) {
        Some("child-program") => return child(|| run_program(args.collect())),
        Some("child-floor") => return child(|| floor(Path::new(&args.next().expect("a take")))),
        Some("floor") => return floor(Path::new(&args.next().expect("a take"))),
        Some("takes") => return make_takes(Path::new(&args.next().expect("a folder"))),
        _ => {}
    }
    let wanted = first.map_or_else(String::new, |a| a.to_string_lossy().into_owned());
    let place = tempfile::tempdir().expect("a folder");
    let at = |name: &str| place.path().join(name);
    let made = Instant::now();
    make_takes(place.path());
    println!(
        "takes of 4 s and 1 s of silence at {RATE} Hz, made in {:.1} s; {} processor(s)\n",
        made.elapsed().as_secs_f64(),
        std::thread::available_parallelism().map_or(0, usize::from)
    );

    let take = at("take.wav");
    let floor = Figure::of_itself("child-floor", &[take.clone().into()]);
    let bench = Bench { wanted, floor };
    println!(
        "{:<34}{:>11}{:>9}{:>9}{:>9}",
        "", "processor", "elapsed", "ratio", "memory"
    );
    bench.show("reading and two transforms", &bench.floor.clone(), Limit::NONE);

    let analyze = |more: &[&str]| -> Vec<OsString> {
        let mut args: Vec<OsString> = vec!["analyze".into()];
        args.extend(more.iter().map(OsString::from));
        args
    };
    let on = |file: &Path, more: &[&str]| {
        let mut args = analyze(&["--json"]);
        args.push(file.into());
        args.extend(more.iter().map(OsString::from));
        args
    };
    let drive = at("drive.wav");
    let drive = drive.to_str().expect("a plain path");
    let two = on(&take, &[]);
    check(&two, 1);
    bench.run("two channels", &two, Limit::new(150.0, 60.0));
    bench.run(
        "two channels, plots",
        &with_out(&two, &at("out")),
        Limit::new(400.0, f64::INFINITY),
    );
    bench.run("two channels, drive file", &on(&take, &["--drive", drive]), Limit::NONE);
    for (name, file) in [("one channel", "one.wav"), ("one channel, 40 ppm", "clock.wav")] {
        let args = on(&at(file), &["--drive", drive]);
        check(&args, 1);
        bench.run(name, &args, Limit::NONE);
    }
    let mut batch = analyze(&["--json"]);
    batch.extend((0..BATCH).map(|n| at(&format!("lot-{n}.wav")).into_os_string()));
    check(&batch, BATCH);
    bench.run(&format!("{BATCH} takes at once"), &batch, Limit::NONE);
    bench.run(
        &format!("{BATCH} takes at once, plots"),
        &with_out(&batch, &at("lots")),
        Limit::NONE,
    );
    std::fs::create_dir(at("measured")).expect("a folder");
    bench.reading("last sample to reading, and to end", &take, &at("measured"));
    bench.run("--version", &["--version".into()], Limit::new(10.0, f64::INFINITY));
}

/// Adds an output folder, a new one for each run.
fn with_out(args: &[OsString], out: &Path) -> Vec<OsString> {
    [args, &["--out".into(), out.into()]].concat()
}

// ---- what is measured ----

/// Mean of some runs of one command.
#[derive(Clone)]
struct Figure {
    processor_ms: f64,
    elapsed_ms: f64,
    memory_mb: f64,
}

struct Limit {
    processor_ms: f64,
    memory_mb: f64,
}

impl Limit {
    const NONE: Limit = Limit::new(f64::INFINITY, f64::INFINITY);

    const fn new(processor_ms: f64, memory_mb: f64) -> Limit {
        Limit {
            processor_ms,
            memory_mb,
        }
    }
}

struct Bench {
    wanted: String,
    floor: Figure,
}

impl Bench {
    fn run(&self, name: &str, args: &[OsString], limit: Limit) {
        if name.contains(&self.wanted) {
            self.show(name, &Figure::of_program(args), limit);
        }
    }

    /// `measure` of a recording, where the reading of the file and the start of the process stand for the way from the sound card:
    /// from the last sample to the reading on the screen, and from there to the end with its pictures.
    fn reading(&self, name: &str, take: &Path, out: &Path) {
        if !name.contains(&self.wanted) {
            return;
        }
        let mut times: Vec<[f64; 2]> = (0..RUNS)
            .map(|n| told_and_ended(take, &out.join(n.to_string())))
            .collect();
        times.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let [told, ended] = times[RUNS / 2];
        let word = if told <= READING_MS { "within" } else { "ABOVE" };
        println!("{name:<34}{told:>17.0} ms, {ended:.0} ms  {word} {READING_MS} ms");
    }

    fn show(&self, name: &str, f: &Figure, limit: Limit) {
        let word = |value: f64, limit: f64, unit: &str| match (limit.is_finite(), value <= limit) {
            (false, _) => String::new(),
            (true, true) => format!("  within {limit} {unit}"),
            (true, false) => format!("  ABOVE {limit} {unit}"),
        };
        println!(
            "{name:<34}{:>8.1} ms{:>6.0} ms{:>9.2}{:>6.1} MB{}{}",
            f.processor_ms,
            f.elapsed_ms,
            f.processor_ms / self.floor.processor_ms,
            f.memory_mb,
            word(f.processor_ms, limit.processor_ms, "ms"),
            word(f.memory_mb, limit.memory_mb, "MB"),
        );
    }
}

/// The middle one of so many runs.
const RUNS: usize = 15;
/// Of the reading after the last sample.
const READING_MS: f64 = 300.0;

/// Milliseconds until the first words of the reading, and until the end.
fn told_and_ended(take: &Path, out: &Path) -> [f64; 2] {
    let begun = Instant::now();
    let mut child = Command::new(PROGRAM)
        .args(["analyze", "--pickup", "x"])
        .arg(take)
        .arg("--out")
        .arg(out)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program");
    let mut screen = child.stdout.take().expect("a pipe");
    screen.read_exact(&mut [0]).expect("a reading");
    let told = begun.elapsed();
    std::io::copy(&mut screen, &mut std::io::sink()).expect("the rest");
    assert!(child.wait().expect("an end").success());
    [told, begun.elapsed()].map(|t| t.as_secs_f64() * 1e3)
}

impl Figure {
    fn of_program(args: &[OsString]) -> Figure {
        let mut inner = vec!["child-program".into()];
        inner.extend(numbered(args, u32::MAX));
        let memory_mb = peak_mb(&inner);
        Figure::timed(memory_mb, |n| {
            let mut command = Command::new(PROGRAM);
            command.args(numbered(args, n));
            command
        })
    }

    /// Of this very program as its own child.
    fn of_itself(mode: &str, args: &[OsString]) -> Figure {
        let args = [&[mode.into()], args].concat();
        let memory_mb = peak_mb(&args);
        Figure::timed(memory_mb, |_| {
            let mut command = Command::new(std::env::current_exe().expect("this program"));
            command.args(&args);
            command
        })
    }

    fn timed(memory_mb: f64, mut command: impl FnMut(u32) -> Command) -> Figure {
        // The first run warms the caches of the disk and tells how many will do.
        let first = Instant::now();
        quietly(&mut command(u32::MAX - 1));
        let runs = (3.0 / first.elapsed().as_secs_f64()).clamp(3.0, 100.0) as u32;
        let (begun, before) = (Instant::now(), children_ms());
        for n in 0..runs {
            quietly(&mut command(n));
        }
        let per = 1.0 / f64::from(runs);
        Figure {
            processor_ms: (children_ms() - before) * per,
            elapsed_ms: begun.elapsed().as_secs_f64() * 1e3 * per,
            memory_mb,
        }
    }
}

/// Output folders must be new each time.
fn numbered(args: &[OsString], n: u32) -> Vec<OsString> {
    let mut args = args.to_vec();
    if let Some(at) = args.iter().position(|a| a == "--out") {
        args[at + 1].push(format!("-{n}"));
    }
    args
}

fn quietly(command: &mut Command) {
    let ended = command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    assert!(ended.as_ref().is_ok_and(|s| s.success()), "{command:?}: {ended:?}");
}

/// Processor time of all children that have ended, threads included, in milliseconds (Linux counts in steps of 10 ms, but
/// adds up exactly, so that a sum over many runs is good).
fn children_ms() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").expect("this needs Linux");
    // Behind the name, which may hold blanks: fields 3 onwards of proc(5); cutime and cstime are 16 and 17.
    let fields: Vec<&str> = stat[stat.rfind(')').expect("a name") + 2..].split(' ').collect();
    fields[13..15]
        .iter()
        .map(|t| t.parse::<f64>().expect("clock ticks"))
        .sum::<f64>()
        * 10.0
}

/// Runs this program in a mode in which it tells its own peak memory at the end.
fn peak_mb(args: &[OsString]) -> f64 {
    let out = Command::new(std::env::current_exe().expect("this program"))
        .args(args)
        .output()
        .expect("a child");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let said = String::from_utf8_lossy(&out.stderr);
    let last = said.lines().last().expect("a figure");
    last.parse::<f64>().expect("kilobytes") / 1e3
}

/// In the child: does the work, then tells the peak memory in kilobytes on standard error.
fn child(work: impl FnOnce()) {
    work();
    let status = std::fs::read_to_string("/proc/self/status").expect("this needs Linux");
    let peak = status
        .lines()
        .find_map(|l| l.strip_prefix("VmHWM:"))
        .expect("peak memory");
    eprintln!("{}", peak.trim().trim_end_matches(" kB"));
}

fn run_program(args: Vec<OsString>) {
    let mut all = vec![OsString::from("coilwright")];
    all.extend(args);
    let status = coilwright::run::run(all, &mut std::io::sink(), &mut std::io::sink());
    assert_eq!(status, coilwright::failure::Status::Done);
}

/// What cannot be avoided: the samples in memory, and both channels as spectra.
fn floor(take: &Path) {
    let take = wav::read_take(take, None).expect("a take");
    let n = fft::good_length(take.pickup.len());
    for channel in [Some(&take.pickup), take.reference.as_ref()].into_iter().flatten() {
        std::hint::black_box(fft::forward(channel.iter().map(|x| f64::from(*x)), n, n / 2));
    }
}

/// A figure counts only if what was computed is right.
fn check(args: &[OsString], takes: usize) {
    let out = Command::new(PROGRAM).args(args).output().expect("the program");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let all: serde_json::Value = serde_json::from_slice(&out.stdout).expect("a document");
    let records = all["records"].as_array().cloned().unwrap_or_else(|| vec![all]);
    assert_eq!(records.len(), takes);
    for r in records {
        let (f0, q) = (&r["resonance"]["f0_hz"]["value"], &r["resonance"]["q"]["value"]);
        let near = |v: &serde_json::Value, to: f64| v.as_f64().is_some_and(|v| (v / to - 1.0).abs() < 2e-3);
        assert!(near(f0, F0) && near(q, Q), "f0 {f0}, Q {q}: {}", r["findings"]);
    }
}

// ---- the takes ----

/// Writes drive.wav, take.wav (two channels), one.wav and clock.wav (one channel) and the lot of a batch.
fn make_takes(place: &Path) {
    let settings = Settings {
        seconds: 4.0,
        ..Settings::at_rate(RATE)
    };
    let drive = stimulus::make(&settings).expect("a drive").samples;
    let put = |name: &str, channels: &[&[f32]]| {
        let file: PathBuf = place.join(name);
        std::fs::write(file, wav::to_bytes(RATE, channels).expect("a file")).expect("a file");
    };
    put("drive.wav", &[&drive]);
    let mut noise = Noise(7);
    let mut record = |x: &[f64]| -> Vec<f32> {
        let full = 8_388_608.0;
        x.iter()
            .map(|v| ((v + 2e-6 * noise.normal()) * full).round() as f32 / full as f32)
            .collect()
    };
    let (pickup, reference) = (answer(&drive), answer_of_reference(&drive));
    put("take.wav", &[&record(&pickup), &record(&reference)]);
    for n in 0..BATCH {
        put(&format!("lot-{n}.wav"), &[&record(&pickup), &record(&reference)]);
    }
    put("one.wav", &[&record(&pickup)]);
    put("clock.wav", &[&record(&resampled(&pickup, 40e-6))]);
}

/// Some milliseconds on the way, as through a sound card.
const LATENCY_S: f64 = 0.0123;

fn filtered(drive: &[f32], h: impl Fn(f64) -> Complex64) -> Vec<f64> {
    let n = fft::good_length(drive.len() + RATE as usize);
    let mut bins = fft::forward(drive.iter().map(|x| f64::from(*x)), n, n / 2 + 1);
    for (k, bin) in bins.iter_mut().enumerate() {
        let f = k as f64 * f64::from(RATE) / n as f64;
        // What lies above the drive's band would ring at the edge.
        let fade = if f > 40e3 { 0.0 } else { 1.0 };
        *bin *= fade * h(f) * Complex64::from_polar(1.0, -TAU * f * LATENCY_S);
    }
    let mut x = fft::inverse(&bins, n);
    x.truncate(drive.len());
    x
}

/// First-order high-pass of the AC coupling.
fn coupling(f: f64, corner: f64) -> Complex64 {
    Complex64::new(0.0, f / corner) / Complex64::new(1.0, f / corner)
}

/// Pickup under a current reference: j f through a second-order low-pass, AC-coupled.
fn answer(drive: &[f32]) -> Vec<f64> {
    filtered(drive, |f| {
        let x = f / F0;
        let pickup = Complex64::new(0.0, 0.05 * f / 1000.0) / Complex64::new(1.0 - x * x, x / Q);
        pickup * coupling(f, 2.7)
    })
}

fn answer_of_reference(drive: &[f32]) -> Vec<f64> {
    filtered(drive, |f| coupling(f, 3.6))
}

/// The same on a clock that runs slower by `off`: sinc interpolation under a window of 64 samples.
fn resampled(x: &[f64], off: f64) -> Vec<f64> {
    const HALF: i64 = 32;
    (0..x.len())
        .map(|n| {
            let t = n as f64 * (1.0 + off);
            let middle = t.floor() as i64;
            (middle - HALF + 1..=middle + HALF)
                .filter(|k| (0..x.len() as i64).contains(k))
                .map(|k| {
                    let d = t - k as f64;
                    let sinc = if d.abs() < 1e-12 {
                        1.0
                    } else {
                        (0.5 * TAU * d).sin() / (0.5 * TAU * d)
                    };
                    let window = 0.5 + 0.5 * (0.5 * TAU * d / HALF as f64).cos();
                    x[k as usize] * sinc * window
                })
                .sum()
        })
        .collect()
}

/// Roughly normal, unit variance, the same every time.
struct Noise(u64);

impl Noise {
    fn normal(&mut self) -> f64 {
        let mut sum = 0.0;
        for _ in 0..4 {
            self.0 ^= self.0 << 13;
            self.0 ^= self.0 >> 7;
            self.0 ^= self.0 << 17;
            sum += (self.0 >> 11) as f64 / (1u64 << 53) as f64 - 0.5;
        }
        sum * 3f64.sqrt()
    }
}
