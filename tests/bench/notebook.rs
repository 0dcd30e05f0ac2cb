//! A notebook of 100,000 readings of 30,000 pickups: how long its index, its lists and its lives take, by the clock and of a processor.
//! A number after `--` makes it another many. Prints figures and asserts none: machines differ.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use coilwright::book::index::{self, Fresh};
use coilwright::book::row::{Filter, Sort};
use serde_json::{Value, json};

#[path = "../cli/bench.rs"]
mod bench;

const READINGS: usize = 100_000;
/// Three or so readings each, and one with a long life.
const PICKUPS: usize = 30_000;
const LIFE: usize = 200;

/// A reading's place, name and day.
fn of(n: usize) -> (PathBuf, String, String) {
    let (pickup, number) = match n {
        n if n < LIFE => (0, n),
        n => (1 + (n - LIFE) % (PICKUPS - 1), (n - LIFE) / (PICKUPS - 1)),
    };
    let day = format!("20{:02}-{:02}-{:02}", 6 + n % 20, 1 + n % 12, 1 + n % 28);
    (
        Path::new(&format!("coil-{pickup:05}")).join(format!("{:04}", number + 1)),
        format!("coil-{pickup:05}"),
        day,
    )
}

fn write(notebook: &Path, model: &Value, n: usize) -> PathBuf {
    let (path, name, day) = of(n);
    let mut record = model.clone();
    record["id"] = json!(format!("{n:016x}"));
    record["pickup"]["name"] = json!(name);
    record["pickup"]["stage"] = json!(["wound", "after wax", "finished"][n % 3]);
    record["taken_at"] = json!(format!("{day}T10:{:02}:{:02}+00:00", n / 60 % 60, n % 60));
    let peak = 3000.0 + (n * 7919 % 4000) as f64;
    record["resonance"]["peak_hz"]["value"] = json!(peak);
    let folder = notebook.join(path);
    std::fs::create_dir_all(&folder).unwrap();
    let mut bytes = serde_json::to_vec_pretty(&record).unwrap();
    bytes.push(b'\n');
    std::fs::write(folder.join("record.json"), bytes).unwrap();
    folder
}

fn timed<T>(what: &str, work: impl FnOnce() -> T) -> (T, f64) {
    let (begun, before) = (Instant::now(), worked());
    let out = work();
    let s = begun.elapsed().as_secs_f64();
    let cpu = worked() - before;
    println!("{what:<64} {:>9.1} ms {:>9.0} ms of a processor", s * 1e3, cpu * 1e3);
    (out, s)
}

/// Most memory that this process ever had, in megabytes.
fn memory() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM"));
    line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok())
        .unwrap_or(f64::NAN)
        / 1e3
}

/// Processor time of this process and of those that it waited for, in seconds; it travels between busy machines where time does not.
fn worked() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> = stat
        .rsplit(')')
        .next()
        .unwrap_or("")
        .split_whitespace()
        .map(|f| f.parse().unwrap_or(0.0))
        .collect();
    fields.iter().skip(11).take(4).sum::<f64>() / 100.0
}

fn main() {
    let many: usize = std::env::args()
        .skip(1)
        .find_map(|a| a.parse().ok())
        .unwrap_or(READINGS);
    let f = bench::Folder::quick();
    let notebook = f.path("book");
    let cache = f.path("cache");
    f.run(&["measure", "--pickup", "x", "--source", "sim", "--out", "model"])
        .ended(0);
    let model: Value = serde_json::from_slice(&f.bytes("model/record.json")).unwrap();
    println!(
        "{many} readings of {} kB each",
        f.bytes("model/record.json").len() / 1000
    );
    timed("written", || {
        for n in 0..many {
            write(&notebook, &model, n);
        }
    });
    let now = 2_000_000_000;
    let ask = |fresh, at, filter: &Filter| {
        index::asked(&notebook, Some(&cache), fresh, at, |i| i.rows(filter))
            .unwrap()
            .len()
    };
    let list = Filter {
        paper: true,
        ..Filter::default()
    };
    let before = worked();
    let (there, s) = timed("index from nothing", || ask(Fresh::Usual, now, &list));
    let core = worked() - before;
    println!(
        "{:<64} {:>9.0} /s, {:.0} /s and core; {there} pickups",
        "",
        many as f64 / s,
        many as f64 / core
    );
    for (what, filter) in [
        ("list of all pickups, within a minute", list.clone()),
        (
            "sorted by peak",
            Filter {
                sort: Sort::Peak,
                ..list.clone()
            },
        ),
        (
            "names coil-000*",
            Filter {
                names: vec!["coil-000*".into()],
                ..list.clone()
            },
        ),
        (
            "at a stage",
            Filter {
                stage: Some("after wax".into()),
                ..list.clone()
            },
        ),
        (
            "every reading since a day",
            Filter {
                since: Some(1_700_000_000),
                all: true,
                ..list.clone()
            },
        ),
    ] {
        timed(what, || ask(Fresh::Usual, now + 1, &filter));
    }
    let folder = write(&notebook, &model, many);
    timed("one reading of its own entered", || {
        index::enter(&notebook, Some(&cache), &folder)
    });
    timed("nothing changed, looked through", || ask(Fresh::Now, now + 2, &list));
    for n in many + 1..many + 101 {
        write(&notebook, &model, n);
    }
    timed("a hundred copied in by hand, looked through", || {
        ask(Fresh::Now, now + 3, &list)
    });
    println!("{:<64} {:>9.0} MB", "most memory", memory());
    // Whole processes.
    let run = |args: &[&str]| {
        let mut command: Command = f.command(args);
        command.env("XDG_CACHE_HOME", f.path("home"));
        bench::Run::of(&mut command).ended(0)
    };
    f.run(&["use", "--folder", "book"]).ended(0);
    run(&["book", "--json", "coil-00001"]);
    timed("`book --sort peak`, the whole program", || {
        run(&["book", "--sort", "peak", "--json"])
    });
    timed("`book coil-000*`, the whole program", || {
        run(&["book", "coil-000*", "--json"])
    });
    timed("`book` of a life of 200 readings, the whole program", || {
        run(&["book", "coil-00000", "--json"])
    });
}
