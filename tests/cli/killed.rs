//! The plug pulled in the middle of everything.

use std::process::Stdio;
use std::time::{Duration, Instant};

use crate::bench::{Folder, names};

/// In the order in which they are written.
const KEPT: [&str; 5] = ["take.wav", "drive.wav", "response.svg", "response.png", "record.json"];

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
    for number in f.list("trial") {
        let folder = format!("trial/{number}");
        if !f.path(&folder).join("record.json").exists() {
            continue;
        }
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
