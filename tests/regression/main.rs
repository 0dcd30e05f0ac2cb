//! Inputs that once did harm, and for a few seconds many more like them.
//!
//! fixtures/regression/TARGET holds one file for each input; every one goes through the entry point of that name. The same
//! files are then mutated at random, from a fixed seed, for some seconds each. More of it, in one target:
//!
//!     COILWRIGHT_FUZZ_SECONDS=600 COILWRIGHT_FUZZ_SEED=7 cargo test --test regression mutated_rig
//!
//! What breaks is kept in target/tmp, ready to be moved to the fixtures. With a nightly compiler and cargo-fuzz:
//!
//!     cargo +nightly fuzz run --fuzz-dir tests/fuzz wav tests/fuzz/corpus/wav fixtures/regression/wav

use std::cell::Cell;
use std::path::{Path, PathBuf};
use std::sync::Once;
use std::time::{Duration, Instant};

#[path = "../fuzz/src/lib.rs"]
mod entries;
mod mutate;

use entries::{ENTRIES, Entry};
use mutate::Mutator;

/// An input that keeps a processor longer hangs, for whoever waits (the build of the tests is the slow one).
const SLOW: Duration = Duration::from_secs(20);

/// How long this thread has been computing, where the system tells; others on the machine do not count.
fn computed(since: Instant) -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|t| t.split(' ').next()?.parse().ok());
    nanoseconds.map_or_else(|| since.elapsed(), Duration::from_nanos)
}

fn entry(name: &str) -> Entry {
    ENTRIES
        .iter()
        .find(|e| e.0 == name)
        .expect("an entry point of that name")
        .1
}

/// All kept inputs of a target.
fn kept(name: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/regression")
        .join(name);
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    assert!(!files.is_empty(), "{} is empty", folder.display());
    files
        .into_iter()
        .map(|f| (f.clone(), std::fs::read(f).unwrap()))
        .collect()
}

thread_local! {
    /// Panics of this thread are expected, caught and counted; shown one by one they would bury what is told at the end.
    static CAUGHT: Cell<bool> = const { Cell::new(false) };
}

fn keep_quiet_about_the_caught() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !CAUGHT.get() {
                usual(info);
            }
        }));
    });
}

/// Runs one input: whether it was taken, or the message of a panic or of a hang.
fn run(entry: Entry, input: &[u8]) -> Result<bool, String> {
    let begun = Instant::now();
    let before = computed(begun);
    keep_quiet_about_the_caught();
    CAUGHT.set(true);
    let ended = std::panic::catch_unwind(|| entry(input));
    CAUGHT.set(false);
    match ended {
        Err(e) => {
            let text = e.downcast_ref::<String>().cloned();
            Err(text
                .or(e.downcast_ref::<&str>().map(|s| s.to_string()))
                .unwrap_or_default())
        }
        Ok(taken) => match computed(begun).saturating_sub(before) {
            spent if spent > SLOW => Err(format!("took {spent:?}")),
            _ => Ok(taken),
        },
    }
}

fn replay(name: &str) {
    let entry = entry(name);
    let bad: Vec<String> = kept(name)
        .iter()
        .filter_map(|(file, input)| Some(format!("{}: {}", file.display(), run(entry, input).err()?)))
        .collect();
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

fn setting(name: &str, or: u64) -> u64 {
    std::env::var(name).map_or(or, |v| v.parse().expect("a number"))
}

fn mutated(name: &str) {
    let entry = entry(name);
    let seeds: Vec<Vec<u8>> = kept(name).into_iter().map(|k| k.1).collect();
    let seed = setting("COILWRIGHT_FUZZ_SEED", 1);
    let limit = Duration::from_secs(setting("COILWRIGHT_FUZZ_SECONDS", 3));
    let mut mutator = Mutator::new(seed, name, seeds);
    let (begun, mut runs, mut taken, mut bad) = (Instant::now(), 0u64, 0u64, Vec::new());
    while begun.elapsed() < limit && bad.len() < 20 {
        let input = mutator.next();
        runs += 1;
        let why = match run(entry, &input) {
            Ok(so) => {
                taken += u64::from(so);
                continue;
            }
            Err(why) => why,
        };
        // The same failure many times over is one.
        let kind: String = why.chars().filter(|c| !c.is_ascii_digit()).take(40).collect();
        if bad.iter().any(|b: &(String, String)| b.0 == kind) {
            continue;
        }
        let file = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{seed}-{runs}"));
        std::fs::write(&file, &input).unwrap();
        let told: String = why.chars().take(1500).collect();
        bad.push((kind, format!("{}: {told}", file.display())));
    }
    println!(
        "{name}: {runs} inputs in {:.1?}, {taken} of them taken, seed {seed}",
        begun.elapsed()
    );
    assert!(taken > 0 || !bad.is_empty(), "nothing got past the first check");
    let list: Vec<String> = bad.into_iter().map(|b| b.1).collect();
    assert!(list.is_empty(), "{}", list.join("\n"));
}

macro_rules! target {
    ($name:literal, $replayed:ident, $mutated:ident) => {
        #[test]
        fn $replayed() {
            replay($name);
        }

        #[test]
        fn $mutated() {
            mutated($name);
        }
    };
}

target!("wav", replayed_wav, mutated_wav);
target!("rig", replayed_rig, mutated_rig);
target!("load", replayed_load, mutated_load);
target!("record", replayed_record, mutated_record);
target!("analysis", replayed_analysis, mutated_analysis);
target!("wiring", replayed_wiring, mutated_wiring);
target!("coil", replayed_coil, mutated_coil);
target!("checks", replayed_checks, mutated_checks);
target!("tray", replayed_tray, mutated_tray);
target!("notes", replayed_notes, mutated_notes);
target!("use", replayed_use, mutated_use);
target!("repeat", replayed_repeat, mutated_repeat);
target!("standard", replayed_standard, mutated_standard);
target!("wax", replayed_wax, mutated_wax);
target!("sitting", replayed_sitting, mutated_sitting);

/// No folder without a target, no target without a folder.
#[test]
fn every_folder_is_replayed() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/regression");
    let mut folders: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap())
        .filter(|e| e.path().is_dir())
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    let mut names: Vec<String> = ENTRIES.iter().map(|e| e.0.to_owned()).collect();
    folders.sort();
    names.sort();
    assert_eq!(folders, names);
}

/// The checks of the entry points see what they are there for, and a panic is caught and told.
#[test]
fn harm_is_noticed() {
    assert_eq!(run(|b| b.is_empty(), b""), Ok(true));
    assert_eq!(run(|b| panic!("{} bytes", b.len()), b"ab"), Err("2 bytes".into()));
}
