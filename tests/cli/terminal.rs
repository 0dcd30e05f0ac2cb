//! The tray at a terminal: keys pressed one after the other, as over ssh, on 80 x 24.

use std::fs::File;
use std::io::{Read, Write};
use std::os::fd::OwnedFd;
use std::process::{Child, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};
use serde_json::Value;

use crate::bench::{Folder, SHORT};
use crate::tray::{NECK_12, day, folder};

/// A program at a terminal.
struct Terminal {
    keys: File,
    shown: Arc<Mutex<String>>,
    child: Child,
    /// How much of what was shown has been waited for.
    seen: usize,
}

impl Terminal {
    fn start(f: &Folder, args: &[&str]) -> Terminal {
        Terminal::of_width(f, args, 80)
    }

    fn of_width(f: &Folder, args: &[&str], columns: u16) -> Terminal {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap();
        let slave: OwnedFd = File::options()
            .read(true)
            .write(true)
            .open(name.to_str().unwrap())
            .unwrap()
            .into();
        tcsetwinsize(&slave, size(columns)).unwrap();
        let end = || Stdio::from(slave.try_clone().unwrap());
        let mut command = f.command(args);
        command.stdin(end()).stdout(end()).stderr(end()).env("TERM", "vt100");
        // Left over from another window: the terminal itself is asked.
        command.env("COLUMNS", "160");
        let child = command.spawn().unwrap();
        drop(command);
        drop(slave);
        let keys = File::from(master);
        let (mut screen, shown) = (keys.try_clone().unwrap(), Arc::new(Mutex::new(String::new())));
        let into = shown.clone();
        std::thread::spawn(move || {
            let mut bytes = [0u8; 4096];
            let mut all = Vec::new();
            // At the program's end the terminal answers with an error.
            while let Ok(n @ 1..) = screen.read(&mut bytes) {
                all.extend(&bytes[..n]);
                *into.lock().unwrap() = String::from_utf8_lossy(&all).into_owned();
            }
        });
        Terminal {
            keys,
            shown,
            child,
            seen: 0,
        }
    }

    fn shown(&self) -> String {
        self.shown.lock().unwrap().clone()
    }

    /// Waits until this is shown after what was waited for before.
    fn until(&mut self, words: &str) -> String {
        let start = Instant::now();
        loop {
            let all = self.shown();
            if let Some(at) = all.get(self.seen..).and_then(|t| t.find(words)) {
                let end = self.seen + at + words.len();
                let part = all[self.seen..end].to_owned();
                self.seen = end;
                return part;
            }
            assert!(start.elapsed() < Duration::from_secs(60), "no {words:?} in {all}");
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    fn resize(&self, columns: u16) {
        tcsetwinsize(&self.keys, size(columns)).unwrap();
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
    }
}

fn size(columns: u16) -> Winsize {
    Winsize {
        ws_col: columns,
        ws_row: 24,
        ws_xpixel: 0,
        ws_ypixel: 0,
    }
}

/// What stands on a line without the ways to write bold and colours.
fn plain(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text.chars();
    while let Some(c) = rest.next() {
        if c == '\u{1b}' {
            rest.by_ref().find(|c| c.is_ascii_alphabetic());
        } else {
            out.push(c);
        }
    }
    out
}

/// A window of 44 columns, drawn wider while the program runs.
#[test]
fn the_screen_takes_the_width_that_the_window_has() {
    let f = folder();
    f.write("day.txt", day().as_bytes());
    let args = [&NECK_12[..], &SHORT, &["--standard", "neck.toml", "--sim", "day.txt"]].concat();
    let mut t = Terminal::of_width(&f, &args, 44);
    let widest = |part: &str| plain(part).lines().map(|l| l.trim_end().chars().count()).max();
    let first = t.until("neck-12-01: lay it down, Enter");
    assert!(widest(&first) <= Some(44), "{first}");
    t.press("\n");
    t.until("PASS ***");
    let second = t.until("neck-12-02: lay it down, Enter");
    assert!(widest(&second) <= Some(44), "{second}");
    t.resize(100);
    t.press("?\n");
    let keys = t.until("neck-12-02: lay it down, Enter");
    assert!((Some(45)..=Some(100)).contains(&widest(&keys)), "{keys}");
    t.press("q\n");
    assert_eq!(t.child.wait().unwrap().code(), Some(0));
}

/// Forty pickups with six faults; in the middle the connection is lost, and the same command goes on.
#[test]
fn a_day_at_the_tray_by_keys() {
    let f = folder();
    f.write("day.txt", day().as_bytes());
    f.run(&["note", "master", "--ohms", "6.00k by meter A"]).ended(0);
    f.run(&[
        "standard",
        "master",
        "--allow",
        "f0=2% q=8% level=2dB",
        "--out",
        "set.toml",
    ])
    .ended(0);
    let more = [
        "--standard",
        "set.toml",
        "--sim",
        "day.txt",
        "--columns",
        "ohms by meter A",
    ];
    let args = [&NECK_12[..], &SHORT, &more].concat();
    let mut t = Terminal::start(&f, &args);
    let fault = |n: u32| {
        [
            (5, "NO READING"),
            (11, "shorted turns"),
            (17, "the other way"),
            (23, "turns missing"),
            (29, "OUTSIDE"),
            (36, "OUTSIDE"),
        ]
        .into_iter()
        .find(|x| x.0 == n)
    };
    let ohms = |n: u32| if n == 23 { "5.40k" } else { "6.00k" };
    let mut whole = String::new();
    for n in 1..=40u32 {
        if n == 20 {
            // The line is cut while somebody types.
            t.press("6.0");
            t.child.kill().unwrap();
            t.child.wait().unwrap();
            whole.push_str(&t.shown());
            t = Terminal::start(&f, &args);
        }
        t.until(&format!("neck-12-{n:02}: lay it down, Enter"));
        t.press("\n");
        let word = fault(n).map_or("PASS", |x| x.1);
        let mut large = t.until(" ***");
        if n == 5 {
            // Nothing is asked of what cannot be read.
            assert!(large.contains("NO READING"), "{large}");
            t.until("neck-12-05: Enter measures it again, s leaves it");
            t.press("s\n");
            continue;
        }
        if n == 36 {
            // Too weak beside the hum, and no better another time.
            assert!(large.contains("MEASURE AGAIN: mains hum"), "{large}");
            t.until("neck-12-36: Enter measures it again, k keeps it, s leaves it");
            t.press("k\n");
            large = t.until(" ***");
        }
        t.until("ohms by meter A (Enter skips):");
        t.press(&format!("{}\n", ohms(n)));
        if n == 23 {
            t.until("far from the others of this lot");
            t.press(&format!("{}\n", ohms(n)));
        }
        let after = t.until(&format!("neck-12-{:02}: lay it down", n + 1));
        t.seen -= format!("neck-12-{:02}: lay it down", n + 1).len();
        let all = plain(&format!("{large}{after}"));
        assert!(all.contains(word), "{n}: {word} not in {all}");
        assert_eq!(all.contains("PASS ***"), fault(n).is_none(), "{n}: {all}");
    }
    t.until("neck-12-41");
    t.press("q\n");
    assert_eq!(t.child.wait().unwrap().code(), Some(3));
    t.until("34 pass, 5 outside, 1 no reading");
    t.until("Written");
    whole.push_str(&t.shown());
    // 80 columns hold every line.
    for line in plain(&whole).lines() {
        assert!(line.trim_end().chars().count() <= 80, "{line:?}");
    }
    let tray: Value = serde_json::from_slice(&f.bytes("neck-12/tray.json")).unwrap();
    assert_eq!(tray["entries"].as_array().unwrap().len(), 40);
    assert_eq!(tray["next"], 41);
    // Nothing measured was lost, nothing asked was forgotten: 39 figures typed.
    let readings = tray["entries"].as_array().unwrap().iter();
    assert_eq!(readings.filter(|e| e["readings"][0]["meter"] == "meter A").count(), 39);
}

/// The picture in its place: figures, curve, keys; the terminal is as it was when it ends, however it ends.
#[test]
fn a_pickup_is_watched_in_its_place() {
    let f = Folder::new();
    for (columns, end) in [(80, "q"), (44, "\u{3}")] {
        let mut t = Terminal::of_width(&f, &["watch", "neck-7", "--source", "sim"], columns);
        let before = rustix::termios::tcgetattr(&t.keys).unwrap().local_modes;
        t.until("M O V I N G");
        t.until("steady");
        assert!(
            !rustix::termios::tcgetattr(&t.keys)
                .unwrap()
                .local_modes
                .contains(rustix::termios::LocalModes::ICANON)
        );
        let frame = t.until("q end");
        let frame = plain(&frame);
        assert!(
            frame.contains("Peak, kHz") && frame.contains("f0, kHz") && frame.contains(" ± "),
            "{frame}"
        );
        assert!(frame.chars().any(|c| ('\u{2801}'..='\u{28ff}').contains(&c)), "{frame}");
        assert!(
            frame
                .lines()
                .all(|l| l.trim_end().chars().count() <= usize::from(columns)),
            "{frame}"
        );
        t.press(" ");
        t.until("A is held");
        t.press("\x1b[D\x1b[D\x1b[D\x1b[D");
        t.until("M O V I N G");
        t.until("steady");
        let moved = plain(&t.until("q end"));
        let held = moved.lines().find(|l| l.starts_with("A  ")).unwrap();
        assert!(held.contains("now "), "{held}");
        t.press(end);
        assert_eq!(t.child.wait().unwrap().code(), Some(0));
        let after = rustix::termios::tcgetattr(&t.keys).unwrap().local_modes;
        assert_eq!(before, after);
    }
    let mut t = Terminal::start(&f, &["watch", "neck-7", "--source", "sim"]);
    let before = rustix::termios::tcgetattr(&t.keys).unwrap().local_modes;
    t.until("steady");
    kill_process(Pid::from_child(&t.child), Signal::TERM).unwrap();
    assert_eq!(t.child.wait().unwrap().code(), Some(0));
    assert_eq!(before, rustix::termios::tcgetattr(&t.keys).unwrap().local_modes);
}
