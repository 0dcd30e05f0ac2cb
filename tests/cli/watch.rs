//! A pickup watched on the built-in bench: lines, keys, records, what goes wrong.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Stdio};

use serde_json::Value;

use crate::bench::{Folder, Run, measured};

const WATCH: [&str; 4] = ["watch", "neck-7", "--source", "sim"];

fn keys(f: &Folder, more: &[&str], keys: &str) -> Run {
    f.typed(&[&WATCH[..], more].concat(), keys)
}

/// Each key waits for what the one before it asked for.
#[test]
fn what_is_held_and_kept_agrees_with_the_records() {
    let f = Folder::new();
    let run = keys(&f, &["--json", "--over", "1s"], " k\x1b[D\x1b[D\x1b[D\x1b[A ncable\nkq").ended(0);
    let watched = run.json();
    assert_eq!(watched["schema"], "coilwright/watch/1");
    let held = watched["held"].as_array().unwrap();
    let marks: Vec<&str> = held.iter().map(|h| h["mark"].as_str().unwrap()).collect();
    assert_eq!(marks, ["A", "B"]);
    assert_eq!(held[0]["name"], "vol=250k@1 cable=3m@100p/m");
    assert_eq!(held[1]["name"], "cable");
    let kept = watched["kept"].as_array().unwrap();
    assert_eq!(kept.len(), 2);
    for (i, k) in kept.iter().enumerate() {
        let folder = k["folder"].as_str().unwrap();
        let record = f.record(folder);
        assert_eq!(record["id"], k["id"]);
        assert_eq!(k["agrees"], true, "{k}");
        // Three standard uncertainties of both, told by the record and by what was seen.
        for (quantity, place) in [
            ("f0_hz", "/resonance/f0_hz"),
            ("q", "/resonance/q"),
            ("peak_hz", "/resonance/peak_hz"),
        ] {
            let take = measured(&record, place).unwrap();
            let live = &k["live"][quantity];
            let (value, u) = (live["value"].as_f64().unwrap(), live["u"].as_f64().unwrap());
            assert!(
                (take.value - value).abs() <= 3.0 * take.u.hypot(u),
                "{i} {quantity}: {record}"
            );
        }
    }
    // The pot and the cable that were turned are what the second record says.
    let load = |folder: &Value| f.record(folder.as_str().unwrap())["load"]["text"].clone();
    assert_eq!(load(&kept[0]["folder"]), "vol=250k@1 cable=3m@100p/m");
    assert_eq!(load(&kept[1]["folder"]), "vol=250k@0.85 cable=4m@100p/m");
    // More cable: the peak lies lower, by far more than its uncertainty.
    let d = &held[0]["difference"]["f0_hz"];
    assert!(d["value"].as_f64().unwrap() < -50.0 * d["u"].as_f64().unwrap(), "{d}");
}

/// Not a terminal: a line for each reading, and the end in words.
#[test]
fn without_a_terminal_there_is_a_line_for_each_reading() {
    let f = Folder::new();
    let run = f.typed(&["watch", "--source", "sim", "--for", "3s"], " k").ended(0);
    let lines: Vec<&str> = run.out.lines().collect();
    assert_eq!(lines[0], "moving");
    assert!(lines[1].ends_with("(moved just now)"), "{}", run.out);
    let steady: Vec<&&str> = lines
        .iter()
        .filter(|l| l.starts_with("Peak") && !l.contains("moved"))
        .collect();
    assert!(steady.len() >= 3 && steady[0].contains("± "), "{}", run.out);
    assert!(lines.last().unwrap().starts_with("A  vol=250k@1"), "{}", run.out);
    // Without a name nothing is kept.
    assert!(run.err.contains("Headphones off"), "{}", run.err);
    assert_eq!(f.list(""), [""; 0]);
}

#[test]
fn what_cannot_be_watched_is_said_in_one_line() {
    let f = Folder::new();
    let refused = |more: &[&str], words: &[&str]| keys(&f, more, "q").refused(words);
    refused(&["--over", "30s"], &["--over 30 s", "0.4 s to 10 s"]);
    for never in ["-1", "1e30"] {
        refused(&["--for", never], &["no time to watch"]);
    }
    refused(&["--port", "80"], &["--page"]);
    f.run(&["use", "--channels", "pickup=1"]).ended(0);
    refused(&[], &["the reference", "measure"]);
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    f.run(&["use", "--forget", "channels"]).ended(0);
    refused(
        &["--page", "--port", &port],
        &["cannot be served", &port, "leave --port out"],
    );
}

/// The reader of its lines goes away: it ends, and what it kept is there.
/// Keys that are piped in do not wait for ever for something that stands.
#[test]
fn keys_give_up_where_nothing_stands() {
    let run = keys(&Folder::new(), &["--sim", "silent"], "  q");
    assert_eq!(run.status, 2, "{}{}", run.out, run.err);
    assert!(run.err.contains("nothing stood still for 20 s"), "{}", run.err);
}

#[test]
fn a_reader_that_goes_away_ends_it() {
    let f = Folder::new();
    let mut command = f.command(&WATCH);
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    child.stdin.as_mut().unwrap().write_all(b"k").unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let kept = f.path("neck-7/0001/record.json");
    while !kept.exists() {
        lines.next().unwrap().unwrap();
    }
    drop(lines);
    assert_eq!(child.wait().unwrap().code(), Some(0));
    f.record("neck-7/0001");
}

/// A page that is served while this lives.
struct Served {
    child: Child,
    port: u16,
    path: String,
}

impl Served {
    fn start(f: &Folder) -> Served {
        let mut command = f.command(&[&WATCH[..], &["--page"]].concat());
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut said = BufReader::new(child.stderr.take().unwrap()).lines();
        let address = said.find_map(|l| l.unwrap().split("http://127.0.0.1:").nth(1).map(str::to_owned));
        let (port, path) = address.as_ref().unwrap().split_once('/').unwrap();
        let served = Served {
            port: port.parse().unwrap(),
            path: format!("/{path}"),
            child,
        };
        // What comes after is read and let go, so that it never waits for us.
        std::thread::spawn(move || said.for_each(drop));
        served
    }

    fn ask(&self, method: &str, path: &str, host: &str) -> String {
        let mut to = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        write!(
            to,
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
        )
        .unwrap();
        let mut answer = String::new();
        to.read_to_string(&mut answer).unwrap();
        answer
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn the_page_is_for_this_computer_and_for_those_who_know_its_address() {
    let f = Folder::new();
    let (first, second) = (Served::start(&f), Served::start(&f));
    assert_ne!(first.path, second.path);
    assert!(first.path.len() > 24);
    let own = format!("127.0.0.1:{}", first.port);
    let status = |answer: &str| answer.split(' ').nth(1).unwrap_or_default().to_owned();
    let page = first.ask("GET", &first.path, &own);
    assert_eq!(status(&page), "200");
    let headers = page.split("\r\n\r\n").next().unwrap().to_ascii_lowercase();
    assert!(headers.contains("default-src 'none'") && headers.contains("nosniff") && headers.contains("no-store"));
    assert!(headers.contains("cross-origin-resource-policy: same-origin"));
    assert!(!headers.contains("access-control"), "{headers}");
    // Nothing from elsewhere.
    for part in ["", "watch.js", "watch.css"] {
        let text = first.ask("GET", &format!("{}{part}", first.path), &own);
        assert_eq!(status(&text), "200", "{part}");
        let without = text.replace("http://www.w3.org/2000/svg", "");
        assert!(
            !without.contains("http://") && !without.contains("https://") && !without.contains("//cdn"),
            "{part}"
        );
    }
    let now = format!("{}now.json", first.path);
    for (method, path, host, want) in [
        ("GET", now.as_str(), "attacker.example", "403"),
        ("GET", &now, "127.0.0.1", "403"),
        ("GET", "/now.json", &own, "404"),
        ("GET", "/", &own, "404"),
        ("GET", &second.path, &own, "404"),
        ("GET", &format!("{}../../etc/passwd", first.path), &own, "404"),
        ("POST", &now, &own, "405"),
        ("PUT", &first.path, &own, "405"),
        ("OPTIONS", &now, &own, "405"),
    ] {
        assert_eq!(status(&first.ask(method, path, host)), want, "{method} {path} {host}");
    }
    // Bound to the loopback address alone.
    assert!(TcpStream::connect(("127.0.0.2", first.port)).is_err());
}
