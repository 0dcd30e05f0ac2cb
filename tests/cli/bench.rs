//! A folder of its own for each test, and the program run in it.

#![allow(dead_code, reason = "each of the test programs uses its share")]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{LazyLock, OnceLock};

use serde_json::Value;

/// The published schema of records, which the tests hold against the program's types.
pub const SCHEMA_FILE: &str = "docs/record.schema.json";

/// Everything about a record that the published schema does not allow.
pub fn complaints(record: &Value) -> Vec<String> {
    static SCHEMA: LazyLock<jsonschema::Validator> = LazyLock::new(|| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(SCHEMA_FILE);
        let schema = serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
        jsonschema::validator_for(&schema).unwrap()
    });
    let errors = SCHEMA.iter_errors(record);
    errors.map(|e| format!("{}: {e}", e.instance_path())).collect()
}

/// A record is one that the schema allows, and one that the program itself reads without losing any of it.
#[track_caller]
pub fn hold(record: &Value) {
    assert_eq!(complaints(record), Vec::<String>::new());
    let bytes = serde_json::to_vec(record).unwrap();
    let read = coilwright::record::store::parse(&bytes, "record.json".as_ref()).unwrap();
    let read = serde_json::to_value(read).unwrap();
    assert!(is_in(record, &read), "{record}\nwas read as\n{read}");
}

/// Whether all of a record is in what was read of it; of a record of old that has fields more, empty ones.
fn is_in(record: &Value, read: &Value) -> bool {
    match (record, read) {
        (Value::Object(a), Value::Object(b)) => {
            a.iter().all(|(key, value)| b.get(key).is_some_and(|r| is_in(value, r)))
        }
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(x, y)| is_in(x, y)),
        _ => record == read,
    }
}

/// Removed with everything in it when dropped.
pub struct Folder {
    dir: tempfile::TempDir,
}

/// How a run of the program ended.
#[derive(Debug)]
pub struct Run {
    pub status: i32,
    pub out: String,
    pub err: String,
}

/// The built-in bench, as quick as may be.
pub const SHORT: [&str; 6] = ["--source", "sim", "--rate", "48k", "--seconds", "0.7"];

/// What can be made anew at any time lies here, and is no part of what a command has written.
const CACHE: &str = ".cache";

/// Files of a folder, kept in memory.
pub type Made = OnceLock<Vec<(PathBuf, Vec<u8>)>>;

impl Folder {
    pub fn new() -> Self {
        Folder {
            dir: tempfile::tempdir().unwrap(),
        }
    }

    /// In memory where that can be had: many files are made in it.
    pub fn quick() -> Self {
        let dir = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir());
        Folder { dir: dir.unwrap() }
    }

    /// Another one with the same in it.
    pub fn copy(&self) -> Self {
        let other = Folder::quick();
        copy(self.dir.path(), other.dir.path());
        other
    }

    /// A new one with what was made once for all tests of this process: measuring it anew for each took most of their time.
    pub fn like(made: &'static Made, make: impl FnOnce() -> Folder) -> Self {
        let f = Folder::new();
        for (name, bytes) in made.get_or_init(|| files(make().dir.path())) {
            let path = f.dir.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        }
        f
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: &[u8]) {
        std::fs::write(self.path(name), bytes).unwrap();
    }

    pub fn bytes(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    /// Names of everything in a folder, sorted.
    pub fn list(&self, name: &str) -> Vec<String> {
        names(&self.path(name))
    }

    /// The program, with the folder as its working folder and nothing from the tester's own surroundings.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = self.here(env!("CARGO_BIN_EXE_coilwright"));
        command.args(args);
        command
    }

    /// A line as it would be typed into a shell that knows the program.
    pub fn shell(&self, line: &str) -> Command {
        let program = Path::new(env!("CARGO_BIN_EXE_coilwright")).parent().unwrap();
        let mut command = self.here("sh");
        command.env("PATH", format!("{}:/usr/bin:/bin", program.display()));
        command.args(["-c", line]);
        command
    }

    fn here(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command.current_dir(self.dir.path());
        command.env_clear().env("TZ", "UTC").env("PATH", "/usr/bin:/bin");
        command.env("XDG_CACHE_HOME", self.path(CACHE));
        command.stdin(Stdio::null());
        command
    }

    pub fn run(&self, args: &[&str]) -> Run {
        Run::of(&mut self.command(args))
    }

    /// With this typed, line by line, and then the end.
    pub fn typed(&self, args: &[&str], keys: &str) -> Run {
        Folder::type_into(self.command(args), keys)
    }

    pub fn type_into(mut command: Command, keys: &str) -> Run {
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        // It may end before it has read anything.
        let _ = child.stdin.take().unwrap().write_all(keys.as_bytes());
        Run::from(child.wait_with_output().unwrap())
    }

    /// One take of the built-in bench, as quick as may be.
    pub fn measure(&self, more: &[&str]) -> Run {
        let args = ["measure", "--pickup", "trial"];
        self.run(&[&args[..], &SHORT, more].concat())
    }

    /// The same of a pickup of this name and kind, into this folder.
    pub fn take(&self, pickup: &str, sim: &str, out: &str, more: &[&str]) -> Run {
        let args = ["measure", "--pickup", pickup, "--sim", sim, "--out", out];
        self.run(&[&args[..], &SHORT, more].concat())
    }

    /// A record that lies in the folder, held against the schema.
    pub fn record(&self, folder: &str) -> Value {
        let record = serde_json::from_slice(&self.bytes(&format!("{folder}/record.json"))).unwrap();
        hold(&record);
        record
    }
}

impl Run {
    pub fn of(command: &mut Command) -> Self {
        Run::from(command.output().unwrap())
    }

    pub fn from(out: std::process::Output) -> Self {
        Run {
            status: out.status.code().unwrap_or(-1),
            out: String::from_utf8(out.stdout).unwrap(),
            err: String::from_utf8(out.stderr).unwrap(),
        }
    }

    /// It ended as it should; else everything it said is shown.
    #[track_caller]
    pub fn ended(self, status: i32) -> Self {
        assert_eq!(self.status, status, "{}{}", self.out, self.err);
        self
    }

    /// Status 2 as it has to be: nothing on standard output, one line (two at most) on standard error that has all the
    /// words, names the program, and says what to do.
    #[track_caller]
    pub fn refused(self, words: &[&str]) {
        assert_eq!(self.status, 2, "{}{}", self.out, self.err);
        assert_eq!(self.out, "", "{}", self.err);
        let lines = self.err.lines().count();
        assert!((1..=2).contains(&lines) && self.err.ends_with('\n'), "{}", self.err);
        assert!(self.err.starts_with("coilwright: "), "{}", self.err);
        assert!(self.err.contains(';'), "no remedy: {}", self.err);
        assert!(self.err.len() < 500, "{}", self.err);
        for word in words {
            assert!(self.err.contains(word), "\"{word}\" is not in: {}", self.err);
        }
        for never in ["panicked", "RUST_BACKTRACE", "os error", "src/", "Some(", "Err("] {
            assert!(!self.err.contains(never), "{}", self.err);
        }
    }

    /// What it said on standard output, however its lines were broken.
    pub fn flat(&self) -> String {
        flat(&self.out)
    }

    /// The one document on standard output; records in it are held against the schema.
    #[track_caller]
    pub fn json(&self) -> Value {
        let mut documents = serde_json::Deserializer::from_str(&self.out).into_iter::<Value>();
        let first = documents.next().expect("a document").unwrap();
        assert!(documents.next().is_none(), "more than one document: {}", self.out);
        assert!(self.out.ends_with('\n'));
        if first["schema"] == "coilwright/record/1" {
            hold(&first);
        }
        first["records"].as_array().into_iter().flatten().for_each(|r| {
            if first["schema"] == "coilwright/batch/1" {
                hold(r);
            }
        });
        first
    }
}

/// A text however its lines were broken.
pub fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A folder with everything in it.
pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for name in names(from) {
        let (old, new) = (from.join(&name), to.join(&name));
        if old.is_dir() {
            copy(&old, &new);
        } else {
            std::fs::copy(old, new).unwrap();
        }
    }
}

/// Every file below a folder, with its path from there.
fn files(dir: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut out = Vec::new();
    for name in names(dir) {
        let path = dir.join(&name);
        if path.is_dir() {
            out.extend(
                files(&path)
                    .into_iter()
                    .map(|(below, bytes)| (Path::new(&name).join(below), bytes)),
            );
        } else {
            out.push((name.into(), std::fs::read(path).unwrap()));
        }
    }
    out
}

pub fn names(dir: &Path) -> Vec<String> {
    let mut list: Vec<String> = std::fs::read_dir(dir)
        .unwrap_or_else(|e| panic!("{}: {e}", dir.display()))
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != CACHE)
        .collect();
    list.sort();
    list
}

/// A value with its uncertainty.
#[derive(Debug, Clone, Copy)]
pub struct Measured {
    pub value: f64,
    pub u: f64,
    pub u_noise: f64,
}

/// What stands at a place of a record; `None` for null.
pub fn measured(record: &Value, place: &str) -> Option<Measured> {
    let e = record.pointer(place).unwrap_or_else(|| panic!("no {place}"));
    let part = |name: &str| e[name].as_f64().unwrap_or_else(|| panic!("{place}/{name}: {e}"));
    (!e.is_null()).then(|| Measured {
        value: part("value"),
        u: part("u"),
        u_noise: part("u_noise"),
    })
}

pub fn has_finding(record: &Value, code: &str) -> bool {
    let list = record["findings"].as_array().unwrap();
    list.iter().any(|f| f["code"] == code)
}

/// A plain WAV header for what follows; `data` is what it claims of the samples' bytes.
pub fn wav_header(tag: u16, channels: u16, rate: u32, bits: u16, data: u32) -> Vec<u8> {
    let block = channels * bits / 8;
    let mut h = b"RIFF".to_vec();
    h.extend(data.saturating_add(36).to_le_bytes());
    h.extend(b"WAVEfmt ");
    h.extend(16u32.to_le_bytes());
    h.extend(tag.to_le_bytes());
    h.extend(channels.to_le_bytes());
    h.extend(rate.to_le_bytes());
    h.extend((rate * u32::from(block)).to_le_bytes());
    h.extend(block.to_le_bytes());
    h.extend(bits.to_le_bytes());
    h.extend(b"data");
    h.extend(data.to_le_bytes());
    h
}

/// A WAV file of 32-bit float samples, interleaved.
pub fn wav_float(channels: u16, rate: u32, samples: &[f32]) -> Vec<u8> {
    let mut w = wav_header(3, channels, rate, 32, 4 * samples.len() as u32);
    w.extend(samples.iter().flat_map(|s| s.to_le_bytes()));
    w
}
