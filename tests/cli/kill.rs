//! The plug pulled, or the disk full, at a chosen operation on files: what is there afterwards, and whether work goes on.
//!
//! `strace` counts the operations of a run and then, in another run of the same, kills at one of them or lets it fail.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::bench::{Folder, Made, names};

/// A bench whose takes cost little: short, of a narrow band, with noise in which a fit is soon found.
pub const QUICK: [&str; 12] = [
    "--source",
    "sim",
    "--rate",
    "48k",
    "--seconds",
    "0.2",
    "--from",
    "100",
    "--to",
    "15k",
    "--sim",
    "r=6k l=2.4H cs=120p noise=-60dBFS",
];
const RIG: &str = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100.0\ninductance_h = 0.0005\n\
                   [interface]\noutput = \"built-in bench\"\n";

/// A command that is stopped on its way, and one that goes on with what it left.
pub struct Job {
    pub name: &'static str,
    pub args: Vec<String>,
    pub keys: &'static str,
    pub next: Vec<String>,
    pub next_keys: &'static str,
    /// Folders in which the next one writes, so that nothing half written may be left there.
    pub tidied: &'static [&'static str],
    /// What else is not as it should be after the next one.
    pub held: fn(&Folder) -> Vec<String>,
}

pub fn all(args: &[&str]) -> Vec<String> {
    args.iter().map(|a| (*a).to_owned()).collect()
}

fn sound(args: &[&str]) -> Vec<String> {
    all(&[args, &QUICK].concat())
}

impl Job {
    pub fn same(name: &'static str, args: Vec<String>, tidied: &'static [&'static str]) -> Job {
        Job {
            name,
            next: args.clone(),
            args,
            keys: "",
            next_keys: "",
            tidied,
            held: |_| Vec::new(),
        }
    }
}

/// What keeps what was measured, read and said.
pub fn keepers() -> Vec<Job> {
    let tray = sound(&[
        "tray",
        "--lot",
        "lot",
        "--rig",
        "north.toml",
        "--load",
        "none",
        "--columns",
        "ohms by A",
    ]);
    let sitting = sound(&[
        "potting",
        "--sitting",
        "dip",
        "p",
        "--stays",
        "s",
        "--rig",
        "north.toml",
        "--load",
        "none",
    ]);
    let note = ["note", "a", "--ohms", "6k by A", "--text", "as wound"];
    vec![
        Job {
            name: "tray",
            next: tray.clone(),
            args: tray,
            // Measured and read, noted, measured again and read, taken back, skipped.
            keys: "\n6.0k\nn good\nr\n6.1k\nu\ns\nq\n",
            next_keys: "\n6.2k\nq\n",
            tidied: &["lot"],
            held: |_| Vec::new(),
        },
        Job {
            // Of another noise, so that no take is the same one.
            next: [sitting.clone(), all(&["--seed", "2"])].concat(),
            next_keys: "\n\n\n\n\n\n",
            keys: "\n6.0k\n\n\n\n\n\n",
            held: every_laying_is_read,
            ..Job::same("sitting", sitting, &["dip"])
        },
        Job::same("note", all(&note), &["a"]),
        Job::same(
            "repeats",
            sound(&["measure", "--pickup", "m", "--rig", "north.toml", "--repeats", "2"]),
            &[],
        ),
        Job {
            // The same take is no check twice.
            next: sound(&["rig", "check", "--rig", "north.toml", "--seed", "3"]),
            ..Job::same(
                "check",
                sound(&["rig", "check", "--rig", "north.toml", "--seed", "2"]),
                &["."],
            )
        },
    ]
}

/// Each was laid down three times before the wax and read, whenever it was cut off.
fn every_laying_is_read(f: &Folder) -> Vec<String> {
    let half = f.path("dip/before");
    let folders = if half.is_dir() { names(&half) } else { Vec::new() };
    let read = |of: &str| {
        let own = |n: &&String| n.split('-').next() == Some(of) && half.join(n).join("record.json").is_file();
        folders.iter().filter(own).count()
    };
    let counted = ["p", "s"].map(read);
    match counted.iter().all(|n| *n >= 3) {
        true => Vec::new(),
        false => vec![format!("readings of p and s before the wax: {counted:?}")],
    }
}

/// Everything else that writes.
pub fn writers() -> Vec<Job> {
    let on = ["--rig", "south.toml", "--source", "sim"];
    let set_up = |args: &[&str]| all(&[args, &on].concat());
    vec![
        Job::same("knock", sound(&["measure", "--pickup", "k", "--knock", "3"]), &[]),
        Job::same(
            "level",
            set_up(&["rig", "level", "--sim", "r=6k l=2.4H cs=120p", "--limit", "-48dBFS"]),
            &["."],
        ),
        Job::same("inputs", set_up(&["rig", "inputs", "--sim", "wire"]), &["."]),
        Job::same(
            "repeat",
            all(&["rig", "repeat", "--rig", "north.toml", "a", "c"]),
            &["."],
        ),
        Job::same(
            "new",
            all(&[
                "rig",
                "new",
                "r.toml",
                "--reference",
                "current",
                "--series",
                "123.8",
                "--inductance",
                "217u",
            ]),
            &[],
        ),
        Job::same(
            "standard",
            all(&["standard", "a", "c", "--allow", "f0=2% q=8%", "--out", "s.toml"]),
            &[],
        ),
        Job::same(
            "potting",
            all(&[
                "potting",
                "a",
                "--after",
                "c",
                "--rig",
                "north.toml",
                "--keep",
                "--out",
                "pot",
            ]),
            &[],
        ),
        Job::same("compare", all(&["compare", "a", "b", "--out", "cmp"]), &[]),
        Job::same(
            "coil",
            all(&["coil", "a", "b", "--ohms", "6k", "--out", "coil.toml"]),
            &[],
        ),
        Job::same("use", all(&["use", "--room", "21C", "--columns", "ohms by A"]), &[]),
        Job::same("drive", all(&["drive", "--seconds", "0.3", "--out", "drive.wav"]), &[]),
        Job::same(
            "analyze",
            all(&["analyze", "a/take.wav", "--rig", "north.toml", "--out", "an"]),
            &[],
        ),
    ]
}

/// A rig with a witness that was checked once, and records to note, compare and judge.
pub fn workshop() -> Folder {
    static MADE: Made = Made::new();
    Folder::like(&MADE, set_up)
}

fn set_up() -> Folder {
    let f = Folder::quick();
    f.write(
        "north.toml",
        format!("{RIG}[witness]\nname = \"witness one\"\n").as_bytes(),
    );
    // What sets a rig up makes another rig of it.
    f.write("south.toml", RIG.as_bytes());
    for (name, load, seed) in [("a", "none", "1"), ("b", "cap=470p", "2"), ("c", "none", "3")] {
        let args = [
            "measure",
            "--pickup",
            "x",
            "--rig",
            "north.toml",
            "--load",
            load,
            "--out",
            name,
            "--seed",
            seed,
        ];
        f.run(&[&args[..], &QUICK].concat()).ended(0);
    }
    let check = ["rig", "check", "--rig", "north.toml", "--seed", "9"];
    f.run(&[&check[..], &QUICK].concat()).ended(0);
    f
}

/// One operation of a run that changes files or says something: which system call, and the how-manieth of its name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    call: String,
    number: usize,
    /// For messages.
    shown: String,
    /// One that a full disk lets fail.
    takes_room: bool,
}

impl Step {
    pub fn takes_room(&self) -> bool {
        self.takes_room
    }
}

/// Later and later from one to the next, past the end too; odd steps, so that no moment is always the same.
pub fn moment(turn: usize, whole: Duration) -> Stop {
    Stop::After(whole.mul_f64((turn as f64 * 0.618_034).fract()))
}

#[derive(Debug, Clone)]
pub enum Stop {
    Kill(Step),
    After(Duration),
    FullDisk(Step),
}

const CALLS: &str = "openat,mkdir,mkdirat,write,writev,pwrite64,fsync,fdatasync,rename,renameat,renameat2,link,linkat,unlink,\
                     unlinkat,ftruncate,fchmod";

/// Without it nothing here can be tried, and that is no success.
pub fn strace_is_there() {
    let there = Command::new("strace").arg("-V").stdout(Stdio::null()).status();
    assert!(
        there.is_ok_and(|s| s.success()),
        "strace is missing: tests/run installs it"
    );
}

/// One that this process may run on.
fn processor() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let list = status.lines().find_map(|l| l.strip_prefix("Cpus_allowed_list:"));
    let first = list.unwrap_or("0").trim().split(|c: char| !c.is_ascii_digit()).next();
    first.unwrap_or("0").to_owned()
}

/// Everything that a run does to files and says, in its order.
pub fn steps(base: &Folder, job: &Job) -> Vec<Step> {
    let f = base.copy();
    let log = f.path("trace");
    let flags = [
        "-f",
        "-qq",
        "-y",
        "-s",
        "0",
        "-o",
        log.to_str().unwrap(),
        "-e",
        &format!("trace={CALLS}"),
    ];
    let out = run(&f, Some(&flags), &job.args, job.keys, None);
    assert!(
        matches!(out.status.code(), Some(0 | 1 | 3)),
        "{}: {}",
        job.name,
        said(&out)
    );
    let mut counts = BTreeMap::new();
    let mut list = Vec::new();
    let trace = String::from_utf8_lossy(&f.bytes("trace")).into_owned();
    for line in trace.lines() {
        let (thread, rest) = line.split_once(' ').unwrap();
        let Some((call, told)) = rest.trim_start().split_once('(') else {
            continue;
        };
        let number = counts.entry((thread.to_owned(), call.to_owned())).or_insert(0usize);
        *number += 1;
        let made = told.contains("O_CREAT") || told.contains("O_TRUNC");
        if call == "openat" && !made || told.contains("EEXIST") {
            continue;
        }
        // What is said goes elsewhere than to the disk.
        let speech = matches!(told.as_bytes().first(), Some(b'1' | b'2'));
        list.push(Step {
            call: call.to_owned(),
            number: *number,
            shown: rest.trim().chars().take(160).collect(),
            takes_room: !speech && !matches!(call, "unlink" | "unlinkat" | "fchmod"),
        });
    }
    list
}

pub fn said(out: &Output) -> String {
    format!(
        "{}\n{}",
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    )
}

pub fn run(f: &Folder, traced: Option<&[&str]>, args: &[String], keys: &str, kill: Option<Duration>) -> Output {
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let plain = f.command(&args);
    let mut command = match traced {
        None => plain,
        Some(flags) => {
            // On one processor: operations are counted by thread, and there all are the first one's.
            let mut c = Command::new("taskset");
            c.args(["-c", &processor(), "strace"])
                .args(flags)
                .arg(plain.get_program())
                .args(&args)
                .current_dir(f.path(""));
            c.env_clear().env("TZ", "UTC").env("PATH", "/usr/bin:/bin");
            c
        }
    };
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let begun = Instant::now();
    let mut child = command.spawn().unwrap();
    // It may end before it has read anything.
    let _ = child.stdin.take().unwrap().write_all(keys.as_bytes());
    if let Some(after) = kill {
        while begun.elapsed() < after && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_micros(200));
        }
        // SIGKILL: nothing can be tidied up.
        let _ = child.kill();
    }
    child.wait_with_output().unwrap()
}

/// How long a run takes when left alone.
pub fn whole_time(base: &Folder, job: &Job) -> Duration {
    let f = base.copy();
    let begun = Instant::now();
    let out = run(&f, None, &job.args, job.keys, None);
    assert!(
        matches!(out.status.code(), Some(0 | 1 | 3)),
        "{}: {}",
        job.name,
        said(&out)
    );
    begun.elapsed()
}

/// What came of one.
#[derive(Debug, Default)]
pub struct Outcome {
    /// It was killed, or refused, before its end.
    pub stopped: bool,
    pub complaints: Vec<String>,
}

/// Stops a job in a copy of the workshop, goes on, and looks.
pub fn tried(base: &Folder, job: &Job, stop: &Stop) -> Outcome {
    let f = base.copy();
    let inject = |step: &Step, what: &str| {
        let expression = format!("inject={}:{what}:when={}", step.call, step.number);
        let trace = format!("trace={}", step.call);
        let flags = ["-f", "-qq", "-o", "/dev/null", "-e", &trace, "-e", &expression];
        run(&f, Some(&flags), &job.args, job.keys, None)
    };
    let out = match stop {
        Stop::Kill(step) => inject(step, "signal=SIGKILL"),
        Stop::FullDisk(step) => inject(step, "error=ENOSPC"),
        Stop::After(moment) => run(&f, None, &job.args, job.keys, Some(*moment)),
    };
    let mut bad = half_written(&f);
    if let Stop::FullDisk(_) = stop {
        bad.extend(told_badly(&out));
    }
    bad.extend(told_in_vain(&f, &out));
    bad.extend(unfinished(&f));
    let next = run(&f, None, &job.next, job.next_keys, None);
    // A place that is taken since it was finished is no fault of what comes after.
    let finished = said(&next).contains("is there already") || said(&next).contains("holds a record already");
    if !matches!(next.status.code(), Some(0 | 1 | 3)) && !finished {
        bad.push(format!(
            "the next command ended with {:?}: {}",
            next.status,
            said(&next).trim()
        ));
    }
    bad.extend(half_written(&f));
    bad.extend(told_in_vain(&f, &out));
    bad.extend(records_without_takes(&f));
    bad.extend(lot_disagrees(&f));
    bad.extend(history_disagrees(&f));
    bad.extend((job.held)(&f));
    for folder in job.tidied {
        // Where nothing was to be written there, there is no folder.
        let left = if f.path(folder).is_dir() {
            names(&f.path(folder))
        } else {
            Vec::new()
        };
        let left: Vec<&String> = left
            .iter()
            .filter(|n| n.starts_with('.') && n.ends_with(".tmp"))
            .collect();
        if !left.is_empty() {
            bad.push(format!("left in {folder}: {left:?}"));
        }
    }
    Outcome {
        stopped: out.status.code().is_none() || matches!(stop, Stop::FullDisk(_)),
        complaints: bad.into_iter().map(|b| format!("{} {stop:?}: {b}", job.name)).collect(),
    }
}

/// Many at a time; the complaints, and how many were stopped on their way.
pub fn tried_all(base: &Folder, list: &[(&Job, Stop)]) -> (usize, Vec<String>) {
    let (at, stopped, bad) = (AtomicUsize::new(0), AtomicUsize::new(0), Mutex::new(Vec::new()));
    std::thread::scope(|s| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            s.spawn(|| {
                while let Some((job, stop)) = list.get(at.fetch_add(1, Ordering::Relaxed)) {
                    let outcome = tried(base, job, stop);
                    stopped.fetch_add(usize::from(outcome.stopped), Ordering::Relaxed);
                    bad.lock().unwrap().extend(outcome.complaints);
                }
            });
        }
    });
    (stopped.into_inner(), bad.into_inner().unwrap())
}

/// A full disk is said in one line, and never ends in a panic.
fn told_badly(out: &Output) -> Vec<String> {
    let err = String::from_utf8_lossy(&out.stderr);
    let mut bad = Vec::new();
    if out.status.code().is_none_or(|c| c > 3) || err.contains("panicked") {
        bad.push(format!("ended with {:?}: {err}", out.status));
    }
    if out.status.code() == Some(2) && (!err.lines().any(|l| l.starts_with("coilwright: ")) || !out.stdout.is_empty()) {
        bad.push(format!("status 2 without a line, or with a result: {}", said(out)));
    }
    bad
}

/// What the screen said is kept, and is not there.
fn told_in_vain(f: &Folder, out: &Output) -> Vec<String> {
    let said = said(out);
    let mut kept = Vec::new();
    // The prompt after a figure says that it was taken.
    for name in ["lot-01", "lot-01-2"] {
        if said.contains(&format!("*** {name}  ")) {
            kept.push(format!("lot/{name}/record.json"));
        }
    }
    for place in said
        .lines()
        .flat_map(|l| l.trim_start_matches("Written").trim().split(", "))
    {
        if place.ends_with("record.json") || place.ends_with("checks.json") {
            kept.push(place.to_owned());
        }
    }
    kept.retain(|k| !f.path(k).exists());
    // Under whatever number: a figure before it may have been refused.
    if said.contains("noted with number") && !["lot/lot-01", "lot/lot-01-2"].iter().any(|l| noted_good(&f.path(l))) {
        kept.push("the words noted".into());
    }
    kept.iter()
        .map(|k| format!("told as kept, and not there: {k}"))
        .collect()
}

fn noted_good(folder: &Path) -> bool {
    let list = std::fs::read_dir(folder).into_iter().flatten().flatten();
    list.filter_map(|e| json(&e.path())).any(|n| n["text"] == "good")
}

fn json(path: &Path) -> Option<Value> {
    serde_json::from_slice(&std::fs::read(path).ok()?).ok()
}

pub fn list(v: &Value) -> impl Iterator<Item = &Value> {
    v.as_array().into_iter().flatten()
}

/// A record is known to its lot; figures and words stand in the lot and beside the record alike.
fn lot_disagrees(f: &Folder) -> Vec<String> {
    let mut bad = Vec::new();
    let lot = f.path("lot");
    if !lot.exists() {
        return bad;
    }
    let tray = json(&lot.join("tray.json")).unwrap_or_default();
    for folder in names(&lot) {
        let place = lot.join(&folder);
        if !place.join("record.json").exists() {
            continue;
        }
        let Some(entry) = list(&tray["entries"]).find(|e| e["record"] == folder.as_str()) else {
            bad.push(format!("{folder} is unknown to its lot"));
            continue;
        };
        let notes: Vec<Value> = names(&place)
            .iter()
            .filter(|n| n.starts_with("note-"))
            .filter_map(|n| json(&place.join(n)))
            .collect();
        // The last figure of a meter is the one that holds.
        let last = |readings: Vec<&Value>| -> BTreeMap<String, Value> {
            readings
                .into_iter()
                .map(|r| (r["meter"].to_string(), r.clone()))
                .collect()
        };
        let beside = last(notes.iter().flat_map(|n| list(&n["readings"])).collect());
        let there = last(list(&entry["readings"]).collect());
        if beside != there {
            bad.push(format!(
                "{folder}: figures in the lot {there:?}, beside the record {beside:?}"
            ));
        }
        let words = |v: Vec<&Value>| v.iter().filter_map(|t| t.as_str()).collect::<Vec<_>>().join("; ");
        let (there, beside) = (
            words(list(&entry["notes"]).collect()),
            words(notes.iter().map(|n| &n["text"]).collect()),
        );
        if there != beside {
            bad.push(format!(
                "{folder}: words in the lot {there:?}, beside the record {beside:?}"
            ));
        }
    }
    for entry in list(&tray["entries"]) {
        let record = entry["record"].as_str();
        if record.is_some_and(|r| !lot.join(r).join("record.json").exists()) {
            bad.push(format!("the lot names {record:?}, which is not there"));
        }
    }
    bad
}

/// Folders of measurements, however far they came.
fn measured(f: &Folder) -> Vec<PathBuf> {
    let homes = ["m", "k", "witness one", "lot"].map(|h| f.path(h));
    let homes = homes.iter().filter(|h| h.is_dir());
    homes
        .flat_map(|h| names(h).into_iter().map(|n| h.join(n)))
        .filter(|p| p.is_dir())
        .collect()
}

/// A take that was kept and never read is read by `analyze`.
fn unfinished(f: &Folder) -> Vec<String> {
    let kept = |p: &&PathBuf| p.join("take.wav").exists() && !p.join("record.json").exists();
    let list = measured(f);
    // Those of a lot are its tray's to finish.
    let list = list.iter().filter(kept).filter(|p| !p.starts_with(f.path("lot")));
    list.filter_map(|p| {
        let out = run(f, None, &all(&["analyze", &p.display().to_string()]), "", None);
        let done = out.status.success() && p.join("record.json").exists();
        (!done).then(|| format!("{} is not finished: {}", p.display(), said(&out).trim()))
    })
    .collect()
}

/// What a record was read from lies beside it, to its last sample.
fn records_without_takes(f: &Folder) -> Vec<String> {
    let of = |p: &PathBuf| {
        let frames = json(&p.join("record.json"))?["capture"]["frames"].as_u64()?;
        let long = |name: &str| hound::WavReader::open(p.join(name)).map_or(0, |r| u64::from(r.duration()));
        let all = long("take.wav") == frames && long("drive.wav") > 0 && p.join("drive.json").exists();
        (!all).then(|| format!("{} has a record and not all that it was read from", p.display()))
    };
    measured(f).iter().filter_map(of).collect()
}

/// Every check of the history has its record.
fn history_disagrees(f: &Folder) -> Vec<String> {
    if !f.path("witness one").is_dir() {
        return Vec::new();
    }
    let ids: Vec<Value> = names(&f.path("witness one"))
        .iter()
        .filter_map(|n| json(&f.path("witness one").join(n).join("record.json")))
        .map(|r| r["id"].clone())
        .collect();
    if !f.path("north.toml").exists() {
        return Vec::new();
    }
    let history = json(&f.path("north.checks.json")).unwrap_or_default();
    let mut bad: Vec<String> = list(&history["checks"])
        .filter(|c| !ids.contains(&c["id"]))
        .map(|c| format!("check {} has no record", c["id"]))
        .collect();
    if list(&history["checks"]).next().is_none() {
        bad.push("the history is gone".into());
    }
    bad
}

/// No file that has its name is half written: each is of its kind to the end.
fn half_written(f: &Folder) -> Vec<String> {
    let mut bad = Vec::new();
    let mut folders = vec![f.path("")];
    while let Some(folder) = folders.pop() {
        for name in names(&folder) {
            let place = folder.join(&name);
            if place.is_dir() {
                folders.push(place);
            } else if !name.starts_with('.') && !whole(&name, &std::fs::read(&place).unwrap()) {
                // Dots before a name: what is not yet a file, and locks.
                bad.push(format!("{} is half written", place.display()));
            }
        }
    }
    bad
}

fn whole(name: &str, bytes: &[u8]) -> bool {
    match name.rsplit_once('.').map(|n| n.1) {
        Some("json") => serde_json::from_slice::<Value>(bytes).is_ok(),
        Some("toml") => {
            std::str::from_utf8(bytes).is_ok_and(|t| toml::from_str::<toml::Table>(t).is_ok_and(|t| !t.is_empty()))
        }
        Some("wav") => hound::WavReader::new(std::io::Cursor::new(bytes)).is_ok_and(|mut r| {
            let said = r.len() as usize;
            said > 0 && (r.samples::<i32>().filter(Result::is_ok).count() == said || r.spec().bits_per_sample == 32)
        }),
        Some("svg") => bytes.ends_with(b"</svg>\n"),
        // Its last chunk.
        Some("png") => bytes.ends_with(b"IEND\xaeB`\x82"),
        Some("lib" | "cir" | "sub" | "md" | "html" | "csv") => !bytes.is_empty(),
        _ => false,
    }
}
