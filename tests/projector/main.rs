//! The page for a projector in a real browser: what it shows is what the bench shows, it moves as that does, and whoever looks
//! disturbs nobody. Loudly skipped where the browser is missing.

#![cfg(unix)]

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::{Duration, Instant};

use driver::{Browser, Driver, missing};
use serde_json::Value;

mod driver;

const FIGURES: &str = "return [...document.querySelectorAll('#figures .within')].map((e) => e.textContent)";
const STEADY: &str = "return document.body.className === 'steady'";
/// Frequency of the highest point of the curve that is drawn, by the page's own grid: its first upright line
/// stands at 200 Hz, its last at 20 kHz.
const TOP: &str = "const grid = [...document.querySelectorAll('#picture .grid')].filter((l) => l.getAttribute('x1') === l.getAttribute('x2'));
    const at = (line) => Number(line.getAttribute('x1'));
    const d = document.querySelector('#picture .now').getAttribute('d');
    const points = d.slice(1).split(/[ML]/).map((p) => p.split(' ').map(Number));
    const top = points.reduce((a, b) => (b[1] < a[1] ? b : a));
    return 200 * Math.pow(100, (top[0] - at(grid[0])) / (at(grid[grid.length - 1]) - at(grid[0])))";

/// `watch --page` with its lines and its keys.
struct Watched {
    child: Child,
    keys: ChildStdin,
    lines: Arc<Mutex<Vec<String>>>,
    address: String,
    _folder: tempfile::TempDir,
}

impl Watched {
    fn start(name: &str) -> Watched {
        let folder = tempfile::tempdir().unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilwright"));
        command
            .args(["watch", name, "--source", "sim", "--page"])
            .current_dir(folder.path());
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = BufReader::new(child.stderr.take().unwrap()).lines();
        let address = said.find_map(|l| {
            let line = l.unwrap();
            line.find("http://").map(|at| line[at..].trim().to_owned())
        });
        std::thread::spawn(move || said.for_each(drop));
        let (lines, out) = (Arc::new(Mutex::new(Vec::new())), child.stdout.take().unwrap());
        let into = lines.clone();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines() {
                into.lock().unwrap().push(line.unwrap());
            }
        });
        Watched {
            keys: child.stdin.take().unwrap(),
            child,
            lines,
            address: address.unwrap(),
            _folder: folder,
        }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
    }

    fn lines(&self) -> Vec<String> {
        self.lines.lock().unwrap().clone()
    }

    /// Kilobytes that the program has in memory.
    fn memory_kb(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap();
        let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:")).unwrap();
        line.split_whitespace().next().unwrap().parse().unwrap()
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// One test at a time: what either asks of two processors would starve the other.
static ALONE: Mutex<()> = Mutex::new(());

/// A browser to look with, or a loud line.
fn driver() -> Option<(Driver, MutexGuard<'static, ()>)> {
    let Some(what) = missing() else {
        let alone = ALONE.lock().unwrap_or_else(|e| e.into_inner());
        return Some((Driver::start(), alone));
    };
    let required = std::env::var_os("COILWRIGHT_REQUIRE_PAGE").is_some_and(|v| v == "1");
    assert!(!required, "{what} is missing");
    // Past the harness, which keeps what a passing test says to itself.
    let _ = writeln!(
        std::io::stderr(),
        "\nSKIPPED, {what} is missing: the page was not looked at in a browser\n"
    );
    None
}

fn texts(value: &Value) -> Vec<String> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_str().unwrap().to_owned())
        .collect()
}

/// What the page shows is a line of the terminal's, all figures of it; and its curve is that of these figures.
fn shows_what_the_bench_shows(watched: &Watched, browser: &Browser) -> f64 {
    browser.until("steady", STEADY);
    let figures = texts(&browser.tell(FIGURES));
    let start = Instant::now();
    while !watched
        .lines()
        .iter()
        .rev()
        .any(|l| figures.iter().all(|f| l.contains(f)))
    {
        assert!(
            start.elapsed() < Duration::from_secs(5),
            "{figures:?} in none of {:?}",
            watched.lines()
        );
        std::thread::sleep(Duration::from_millis(50));
    }
    let peak = figures[0].split(' ').next().unwrap().parse::<f64>().unwrap();
    let peak = if figures[0].contains("kHz") {
        1000.0 * peak
    } else {
        peak
    };
    let top = browser.tell(TOP).as_f64().unwrap();
    assert!((top / peak - 1.0).abs() < 0.03, "{top} {peak}");
    peak
}

#[test]
fn the_page_shows_what_the_bench_shows_and_moves_with_it() {
    let Some((driver, _alone)) = driver() else { return };
    let mut watched = Watched::start("<b>neck</b> \"7\"");
    let browser = driver.open(&watched.address);
    let first = shows_what_the_bench_shows(&watched, &browser);
    // A name is a name.
    assert_eq!(browser.tell("return document.querySelectorAll('b').length"), 0);
    assert!(
        browser
            .tell("return document.title")
            .as_str()
            .unwrap()
            .starts_with("<b>neck</b> \"7\"")
    );
    watched.press(" ");
    browser.until("held", "return document.querySelectorAll('#held li').length === 1");
    // It lasts for a second, which a busy machine may need to ask once.
    browser.tell(
        "new MutationObserver(() => {
            window.moved ||= document.body.className === 'moving' && !document.querySelector('#figures dd');
        }).observe(document.body, { attributes: true })",
    );
    watched.press("\x1b[A\x1b[A\x1b[A");
    browser.until("moving", "return window.moved === true");
    let then = shows_what_the_bench_shows(&watched, &browser);
    assert!(then < 0.95 * first, "{then} {first}");
    let apart = browser.tell("return document.querySelector('#held li').textContent");
    assert!(apart.as_str().unwrap().contains("lower"), "{apart}");
    // Nothing is asked of anybody else.
    let hosts = "return [...new Set(performance.getEntriesByType('resource').map((e) => new URL(e.name).host))]";
    assert_eq!(
        texts(&browser.tell(hosts)),
        [browser.tell("return location.host").as_str().unwrap()]
    );
    watched.press("q");
    browser.until("ended", "return document.body.className === 'trouble'");
}

#[test]
fn three_at_once_disturb_nobody_and_nothing_grows() {
    let Some((driver, _alone)) = driver() else { return };
    let mut watched = Watched::start("neck-7");
    let browsers: Vec<Browser> = (0..3).map(|_| driver.open(&watched.address)).collect();
    for b in &browsers {
        shows_what_the_bench_shows(&watched, b);
    }
    let nodes = "return document.querySelectorAll('*').length";
    let (before, drawn) = (watched.memory_kb(), browsers[0].tell(nodes));
    let (from, start) = (watched.lines().len(), Instant::now());
    // As often as a browser asks in a minute, besides the three.
    let many =
        "for (let i = 0; i < 300; i++) { const r = new XMLHttpRequest(); r.open('GET', 'now.json', false); r.send(); }
        return true";
    assert_eq!(browsers[0].tell(many), true);
    std::thread::sleep(Duration::from_secs(3).saturating_sub(start.elapsed()));
    let seconds = start.elapsed().as_secs_f64();
    let lines = watched.lines()[from..].to_vec();
    assert!(
        lines.len() as f64 > 3.0 * seconds,
        "{} lines in {seconds} s",
        lines.len()
    );
    assert!(
        lines.iter().all(|l| l.starts_with("Peak") && !l.contains("moved")),
        "{lines:?}"
    );
    assert!(
        watched.memory_kb() < before + 4096,
        "{before} -> {} kB",
        watched.memory_kb()
    );
    browsers[0].until("drawn", STEADY);
    assert_eq!(browsers[0].tell(nodes), drawn);
    // One goes away in the middle; what is kept then is kept.
    drop(browsers);
    watched.press("kq");
    assert_eq!(watched.child.wait().unwrap().code(), Some(0));
    assert!(watched._folder.path().join("neck-7/0001/record.json").exists());
}
