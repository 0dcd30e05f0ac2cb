//! A sound card in user space with a pickup between output and input, for one test: starts it, tells what a child process
//! needs to find it, stops it when dropped.
//!
//! The audio library reads its configuration once per process, so a program under test always runs as a child with
//! `Bench::command`; nothing sets variables in the running test.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process};

const NEEDS: &str =
    "apt-get install -y --no-install-recommends pulseaudio pulseaudio-utils libasound2-plugins python3-numpy";

pub struct Bench {
    dir: tempfile::TempDir,
    env: Vec<(String, String)>,
    _turn: File,
}

/// Benches that run at a time on this machine, whichever test process they are for. Each takes a twentieth of a processor
/// and mostly waits for sound to pass; many would starve each other where takes are read.
const TURNS: usize = 2;

/// The device names of the bench.
pub const OUTPUT: &str = "bench_out";
pub const INPUT: &str = "bench_in";

fn script() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/live/virtual-bench")
}

/// What is missing to run a bench, if anything.
fn missing() -> Option<String> {
    let runs = |program: &str, arg: &str| {
        Command::new(program)
            .arg(arg)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|s| s.success())
    };
    for (program, arg) in [
        ("bash", "--version"),
        ("pulseaudio", "--version"),
        ("pactl", "--version"),
    ] {
        if !runs(program, arg) {
            return Some(program.into());
        }
    }
    let numpy = Command::new("/usr/bin/python3")
        .args(["-c", "import numpy"])
        .stderr(Stdio::null())
        .status();
    if !numpy.is_ok_and(|s| s.success()) {
        return Some("numpy for /usr/bin/python3".into());
    }
    let plugin = std::fs::read_dir("/usr/lib")
        .into_iter()
        .flatten()
        .flatten()
        .any(|d| d.path().join("alsa-lib/libasound_module_pcm_pulse.so").exists())
        || Path::new("/usr/lib/alsa-lib/libasound_module_pcm_pulse.so").exists();
    (!plugin).then(|| "the ALSA plugin for pulse".into())
}

fn turn() -> File {
    let place = |i| std::env::temp_dir().join(format!("coilwright-live-tests.{i}.lock"));
    let mut files: Vec<File> = (0..TURNS)
        .map(|i| File::create(place(i)).expect("lock file of the live tests"))
        .collect();
    // Waits for other tests, but not for ever.
    for _ in 0..6000 {
        for i in 0..TURNS {
            match files[i].try_lock() {
                Ok(()) => return files.swap_remove(i),
                Err(TryLockError::WouldBlock) => {}
                Err(TryLockError::Error(e)) => panic!("{}: {e}", place(i).display()),
            }
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    panic!(
        "{}: other live tests hold their turns for ten minutes",
        place(0).display()
    );
}

impl Bench {
    /// A bench at `rate`, with options of pickup.py. `None`, and a loud line, where packages are missing; with
    /// COILWRIGHT_REQUIRE_LIVE=1 that is a failure instead.
    pub fn start(rate: u32, options: &[&str]) -> Option<Bench> {
        Bench::start_as("float32le", rate, options)
    }

    /// The same with the sample format of the server: float32le, s32le or s16le.
    pub fn start_as(format: &str, rate: u32, options: &[&str]) -> Option<Bench> {
        if let Some(missing) = missing() {
            let line = format!("LIVE TEST SKIPPED: {missing} is missing; {NEEDS}");
            assert!(
                std::env::var_os("COILWRIGHT_REQUIRE_LIVE").is_none_or(|v| v != "1"),
                "{line}"
            );
            // Past the test harness, which keeps the output of tests that pass to itself.
            use std::io::Write;
            let _ = writeln!(std::io::stderr(), "\n*** {line} ***\n");
            return None;
        }
        let turn = turn();
        let dir = tempfile::tempdir().expect("directory for the bench");
        let place = dir.path().join("b");
        let mut start = Command::new("bash");
        start
            .arg(script())
            .args(["start", "--rate", &rate.to_string(), "--format", format, "--dir"]);
        // Files that options name lie beside the bench.
        start.arg(&place).arg("--").args(options).current_dir(dir.path());
        let out = start.output().expect("virtual-bench starts");
        let said = String::from_utf8_lossy(&out.stdout);
        assert!(
            out.status.success(),
            "virtual-bench: {said} {}",
            String::from_utf8_lossy(&out.stderr)
        );
        let line = said
            .lines()
            .find_map(|l| l.strip_prefix("export "))
            .expect("environment of the bench");
        let env = line
            .split_whitespace()
            .filter_map(|pair| pair.split_once('='))
            .map(|(k, v)| (k.to_owned(), v.to_owned()))
            .collect();
        Some(Bench { dir, env, _turn: turn })
    }

    /// A command that finds the bench as its only sound card.
    pub fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
        let mut command = Command::new(program);
        command.envs(self.env.iter().map(|(k, v)| (k, v)));
        command
    }

    /// Adds to the ALSA configuration that children read.
    pub fn configure(&self, text: &str) {
        let path = self.dir.path().join("b/asound.conf");
        let mut all = std::fs::read_to_string(&path).expect("configuration of the bench");
        all.push_str(text);
        std::fs::write(&path, all).expect("configuration of the bench");
    }

    /// For files of the test; goes away with the bench.
    pub fn dir(&self) -> &Path {
        self.dir.path()
    }

    /// What "pickup" or "pulse" has logged so far.
    pub fn log(&self, of: &str) -> String {
        std::fs::read_to_string(self.dir.path().join("b").join(format!("{of}.log"))).unwrap_or_default()
    }

    fn pid(&self, of: &str) -> Option<Pid> {
        let pid = std::fs::read_to_string(self.dir.path().join("b").join(format!("{of}.pid"))).ok()?;
        Pid::from_raw(pid.trim().parse().ok()?)
    }

    fn signal(&self, of: &str, signal: Signal) {
        kill_process(self.pid(of).expect("a bench that runs"), signal).expect("a signal is sent");
    }

    /// The sound server is gone from one moment to the next.
    pub fn kill_server(&self) {
        self.signal("pulse", Signal::KILL);
    }

    /// The sound server hangs (until the bench is dropped).
    pub fn freeze_server(&self) {
        self.signal("pulse", Signal::STOP);
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        if let Some(pid) = self.pid("pulse") {
            let _ = kill_process(pid, Signal::CONT);
        }
        let mut stop = Command::new("bash");
        stop.arg(script())
            .args(["stop", "--dir"])
            .arg(self.dir.path().join("b"));
        let _ = stop.stdout(Stdio::null()).stderr(Stdio::null()).status();
    }
}
