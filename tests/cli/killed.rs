//! The plug pulled in the middle of everything.

use std::process::Stdio;
use std::time::{Duration, Instant};

use crate::bench::{Folder, SHORT, names};
use crate::screens::RIG;

/// In the order in which they are written.
const KEPT: [&str; 5] = ["drive.wav", "asked.json", "take.wav", "record.json", "response.svg"];

#[test]
fn a_folder_with_a_record_is_whole_whenever_the_program_was_killed() {
    let f = Folder::new();
    let args = [
        "measure",
        "--pickup",
        "trial",
        "--source",
        "sim",
        "--rate",
        "48k",
        "--seconds",
        "0.7",
        "--sim",
        "hum=-40dB",
    ];
    let run = || {
        let mut c = f.command(&args);
        c.stdout(Stdio::null()).stderr(Stdio::null());
        c.spawn().unwrap()
    };
    // How long it takes when left alone, so that kills fall everywhere.
    let start = Instant::now();
    assert!(run().wait().unwrap().success());
    let whole = start.elapsed();
    let mut killed = 0;
    for i in 0..20 {
        let mut child = run();
        // Half of them at any moment, the others when a certain file has just appeared.
        let moment = Instant::now() + whole.mul_f64(f64::from(i) / 20.0);
        let name = KEPT[i as usize / 2 % KEPT.len()];
        let there = || {
            let takes = names(&f.path("trial"));
            takes
                .iter()
                .filter(|n| f.path("trial").join(n).join(name).exists())
                .count()
        };
        let before = there();
        let until = || {
            if i % 2 == 0 {
                Instant::now() >= moment
            } else {
                there() > before
            }
        };
        while !until() && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_micros(100));
        }
        // SIGKILL: nothing can be tidied up.
        child.kill().unwrap();
        killed += u32::from(child.wait().unwrap().code().is_none());
    }
    assert!(killed >= 10, "only {killed} of 20 were killed in time");
    let with_take = |n: &String| f.path("trial").join(n).join("take.wav").exists();
    let takes: Vec<String> = f.list("trial").into_iter().filter(with_take).collect();
    let finished = |n: &&String| f.path("trial").join(n).join("record.json").exists();
    let before = takes.iter().filter(finished).count();
    assert!(before < takes.len(), "none was killed between take and record");
    // A take is finished by the next command, and what was not drawn is drawn.
    f.run(&["analyze", "trial"]).ended(0);
    for number in takes {
        let folder = format!("trial/{number}");
        f.record(&folder);
        for wav in ["take.wav", "drive.wav"] {
            let reader = hound::WavReader::open(f.path(&folder).join(wav)).unwrap();
            assert_eq!(
                u64::from(reader.duration()),
                f.record(&folder)["capture"]["frames"].as_u64().unwrap()
            );
        }
        assert!(f.bytes(&format!("{folder}/response.svg")).ends_with(b"</svg>\n"));
        let mut png = png::Decoder::new(std::io::Cursor::new(f.bytes(&format!("{folder}/response.png"))))
            .read_info()
            .unwrap();
        let mut pixels = vec![0; png.output_buffer_size()];
        png.next_frame(&mut pixels).unwrap();
        let drive: serde_json::Value = serde_json::from_slice(&f.bytes(&format!("{folder}/drive.json"))).unwrap();
        assert_eq!(drive["rate_hz"], 48_000);
    }
    // What is left of killed ones stands in nobody's way.
    assert!(run().wait().unwrap().success());
    let last = f.list("trial").pop().unwrap();
    f.record(&format!("trial/{last}"));
}

/// A rig with a witness, a standard, a coil file and records to compare.
fn workshop() -> Folder {
    let f = Folder::new();
    let more = "[witness]\nname = \"tin one\"\n";
    f.write("north.toml", format!("{RIG}{more}").as_bytes());
    // What sets a rig up makes another rig of it.
    f.write("south.toml", RIG.as_bytes());
    for (name, load, seed) in [("a", "none", "1"), ("b", "cap=470p", "2"), ("c", "none", "3")] {
        let args = [
            &[
                "measure",
                "--pickup",
                "x",
                "--sim",
                SIM,
                "--rig",
                "north.toml",
                "--load",
                load,
                "--out",
                name,
                "--seed",
                seed,
            ][..],
            &SHORT,
        ];
        f.run(&args.concat()).ended(0);
    }
    f.run(&["standard", "a", "--allow", "f0=2% q=8%", "--out", "neck.toml"])
        .ended(0);
    f
}

const SIM: &str = "r=6k l=2.4H cs=120p noise=-80dBFS";

/// Every command that writes, killed at any moment, 200 times in all: rig file, history, records, notes and tray are whole.
#[test]
fn whatever_is_killed_leaves_whole_files() {
    let f = workshop();
    let sound = |args: &[&str]| -> Vec<String> { [args, &SHORT].concat().iter().map(|a| (*a).to_string()).collect() };
    let plain = |args: &[&str]| -> Vec<String> { args.iter().map(|a| (*a).to_string()).collect() };
    // "#" stands for a number that is new each time.
    let commands: Vec<(Vec<String>, &str)> = vec![
        (
            sound(&["measure", "--pickup", "m", "--sim", SIM, "--rig", "north.toml"]),
            "",
        ),
        (
            sound(&[
                "measure",
                "--pickup",
                "k",
                "--sim",
                SIM,
                "--rig",
                "north.toml",
                "--knock",
                "3",
            ]),
            "",
        ),
        (
            sound(&["rig", "check", "--rig", "north.toml", "--sim", SIM, "--out", "w#"]),
            "",
        ),
        (
            plain(&[
                "rig",
                "level",
                "--rig",
                "south.toml",
                "--source",
                "sim",
                "--sim",
                SIM,
                "--limit",
                "-48dBFS",
            ]),
            "",
        ),
        (
            plain(&[
                "rig",
                "inputs",
                "--rig",
                "south.toml",
                "--source",
                "sim",
                "--sim",
                "wire",
            ]),
            "",
        ),
        (plain(&["rig", "repeat", "--rig", "north.toml", "a", "c"]), ""),
        (
            plain(&[
                "rig",
                "new",
                "r#.toml",
                "--reference",
                "current",
                "--series",
                "123.8",
                "--inductance",
                "217u",
            ]),
            "",
        ),
        (
            sound(&[
                "tray",
                "--lot",
                "lot",
                "--standard",
                "neck.toml",
                "--sim",
                SIM,
                "--columns",
                "ohms by A",
                "--rig",
                "north.toml",
                "--load",
                "none",
            ]),
            "\n6.0k\nn good\n\n\nr\n6.1k\nq\n",
        ),
        (plain(&["note", "a", "--ohms", "6k by A"]), ""),
        (
            plain(&["standard", "a", "c", "--allow", "f0=2% q=8%", "--out", "s#.toml"]),
            "",
        ),
        (
            plain(&[
                "potting",
                "a",
                "--after",
                "c",
                "--rig",
                "north.toml",
                "--keep",
                "--out",
                "pot#",
            ]),
            "",
        ),
        (plain(&["compare", "a", "b", "--out", "cmp#"]), ""),
        (plain(&["coil", "a", "b", "--ohms", "6k", "--out", "coil#.toml"]), ""),
        (plain(&["use", "--room", "21C", "--columns", "ohms by A"]), ""),
        (plain(&["drive", "--seconds", "0.7", "--out", "drive#.wav"]), ""),
        (
            plain(&["analyze", "a/take.wav", "--rig", "north.toml", "--out", "an#"]),
            "",
        ),
    ];
    let mut number = 0;
    let mut start = |i: usize| {
        number += 1;
        let (args, keys) = &commands[i];
        let args: Vec<String> = args.iter().map(|a| a.replace('#', &number.to_string())).collect();
        let mut c = f.command(&args.iter().map(String::as_str).collect::<Vec<_>>());
        c.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = c.spawn().unwrap();
        let _ = std::io::Write::write_all(&mut child.stdin.take().unwrap(), keys.as_bytes());
        child
    };
    let mut whole = Vec::new();
    for i in 0..commands.len() {
        let begin = Instant::now();
        let status = start(i).wait().unwrap();
        whole.push(begin.elapsed());
        assert!(matches!(status.code(), Some(0 | 1)), "{:?}: {status}", commands[i].0);
    }
    let mut killed = 0;
    for turn in 0..200 {
        let i = turn % commands.len();
        let mut child = start(i);
        // Later and later from turn to turn, past the end too; odd steps, so that no moment is always the same.
        let share = (turn as f64 * 0.618_034).fract();
        let moment = Instant::now() + whole[i].mul_f64(share);
        while Instant::now() < moment && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_micros(100));
        }
        child.kill().unwrap();
        killed += u32::from(child.wait().unwrap().code().is_none());
        // What is written over would hide what was wrong; what is written once stays to be looked at.
        if turn % 40 == 39 {
            everything_is_whole(&f);
        } else {
            the_rewritten_is_whole(&f);
        }
    }
    assert!(killed >= 100, "only {killed} of 200 were killed in time");
    // And everything still goes.
    for i in 0..commands.len() {
        let status = start(i).wait().unwrap();
        assert!(matches!(status.code(), Some(0 | 1)), "{:?}: {status}", commands[i].0);
    }
    let notes = f.list("a").iter().filter(|n| n.starts_with("note-")).count();
    assert!(notes >= 2, "{notes}");
}

/// Files that several runs write.
fn the_rewritten_is_whole(f: &Folder) {
    let is_json = |b: &[u8]| serde_json::from_slice::<serde_json::Value>(b).is_ok();
    let is_toml = |b: &[u8]| std::str::from_utf8(b).is_ok_and(|t| toml::from_str::<toml::Table>(t).is_ok());
    for name in ["north.toml", "south.toml", "coilwright.toml"] {
        assert!(is_toml(&f.bytes(name)), "{name} is half written");
    }
    for name in ["north.checks.json", "north.repeat.json", "lot/tray.json"] {
        assert!(is_json(&f.bytes(name)), "{name} is half written");
    }
}

/// No file that has its name is half written: each is of its kind to the end.
fn everything_is_whole(f: &Folder) {
    let mut folders = vec![String::new()];
    while let Some(folder) = folders.pop() {
        for name in f.list(&folder) {
            let place = if folder.is_empty() {
                name.clone()
            } else {
                format!("{folder}/{name}")
            };
            if f.path(&place).is_dir() {
                folders.push(place);
                continue;
            }
            // Dots before a name: what is not yet a file, and locks.
            if name.starts_with('.') {
                continue;
            }
            let bytes = f.bytes(&place);
            let is = match name.rsplit_once('.').map(|n| n.1) {
                Some("json") => serde_json::from_slice::<serde_json::Value>(&bytes).is_ok(),
                Some("toml") => std::str::from_utf8(&bytes).is_ok_and(|t| toml::from_str::<toml::Table>(t).is_ok()),
                Some("wav") => hound::WavReader::new(std::io::Cursor::new(&bytes)).is_ok_and(|mut r| {
                    let said = r.len() as usize;
                    said > 0
                        && (r.samples::<i32>().filter(Result::is_ok).count() == said || r.spec().bits_per_sample == 32)
                }),
                Some("svg") => bytes.ends_with(b"</svg>\n"),
                // Its last chunk.
                Some("png") => bytes.ends_with(b"IEND\xaeB`\x82"),
                Some("lib" | "cir" | "sub" | "md" | "html") => !bytes.is_empty(),
                _ => panic!("{place}: of no known kind"),
            };
            assert!(is, "{place} is half written");
        }
    }
    // A rig file is more than TOML.
    for rig in ["north.toml", "south.toml"] {
        f.run(&["rig", "show", rig]).ended(0);
    }
}
