//! Files that cannot be used, and files that look so but can.

use crate::bench::{Folder, wav_float, wav_header};
use crate::screens::RIG;

/// Every way of using a take has to refuse it alike.
fn refused_everywhere(f: &Folder, take: &str, words: &[&str]) {
    let before = f.list("");
    for json in [&[][..], &["--json"]] {
        f.run(&[&["analyze", take, "--out", "result"], json].concat())
            .refused(words);
        f.run(&[&["analyze", take, take, "--out", "result"], json].concat())
            .refused(&["none of 2 takes", take]);
    }
    // Nothing half written, not even a folder.
    assert_eq!(f.list(""), before, "{take}");
}

#[test]
fn files_that_are_no_takes() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    let good = f.bytes("one/take.wav");
    let mut samples = vec![0.1f32; 96_000];
    let with = |samples: &mut Vec<f32>, at: usize, x: f32| {
        samples[at] = x;
        let w = wav_float(2, 48_000, samples);
        samples[at] = 0.1;
        w
    };
    let eight = [wav_header(1, 2, 48_000, 8, 96_000), vec![128; 96_000]].concat();
    let compressed = [wav_header(2, 2, 48_000, 16, 96_000), vec![0; 96_000]].concat();
    let double = [wav_header(3, 2, 48_000, 64, 800_000), vec![0; 800_000]].concat();
    let slow = [wav_header(1, 2, 8_000, 16, 96_000), vec![0; 96_000]].concat();
    let none = wav_header(1, 2, 48_000, 16, 0);
    let mut no_format = good.clone();
    no_format[12..16].copy_from_slice(b"fmz ");
    for (name, bytes, words) in [
        ("empty.wav", vec![], &["empty.wav is empty"][..]),
        ("cut-3.wav", good[..3].to_vec(), &["ends within its header"]),
        ("cut-11.wav", good[..11].to_vec(), &["ends within its header"]),
        ("cut-20.wav", good[..20].to_vec(), &["ends within its header"]),
        ("cut-40.wav", good[..40].to_vec(), &["cut-40.wav"]),
        (
            "text.wav",
            b"Dear Sir or Madam, the take is enclosed.\n".to_vec(),
            &["is not a WAV file", "16, 24 or 32-bit"],
        ),
        ("zeros.wav", vec![0; 10_000], &["is not a WAV file"]),
        ("no-format.wav", no_format, &["no-format.wav"]),
        ("eight.wav", eight, &["8-bit"]),
        ("compressed.wav", compressed, &["compressed"]),
        ("double.wav", double, &["64-bit float"]),
        ("slow.wav", slow, &["8000 Hz", "44.1 to 192 kHz"]),
        ("no-samples.wav", none, &["no samples"]),
        (
            "nan.wav",
            with(&mut samples, 1000, f32::NAN),
            &["no number", "frame 500"],
        ),
        (
            "inf.wav",
            with(&mut samples, 1001, f32::NEG_INFINITY),
            &["no number", "frame 500"],
        ),
        (
            "one-sample.wav",
            wav_float(2, 48_000, &[0.1, 0.2]),
            &["too short", "1 sample"],
        ),
        ("short.wav", wav_float(2, 48_000, &samples[..2000]), &["too short"]),
    ] {
        f.write(name, &bytes);
        refused_everywhere(&f, name, words);
    }
    refused_everywhere(&f, "none.wav", &["none.wav", "check the path"]);
    std::fs::create_dir(f.path("folder.wav")).unwrap();
    for args in [
        &["analyze", "folder.wav"][..],
        &["analyze", "folder.wav", "--out", "result"],
    ] {
        f.run(args).refused(&["folder.wav", "give a file"]);
    }
}

#[test]
fn a_long_header_before_a_short_file_is_used_with_a_note() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    let whole = f
        .run(&["analyze", "one/take.wav", "--pickup", "a", "--json"])
        .ended(0)
        .json();
    let mut long = f.bytes("one/take.wav");
    let data = long.windows(4).position(|w| w == b"data").unwrap() + 4;
    // Nearly 4 GB, of which half a megabyte is there: the memory must not be asked for them.
    long[data..data + 4].copy_from_slice(&0xffff_fff0u32.to_le_bytes());
    f.write("long.wav", &long);
    let run = f.run(&["analyze", "long.wav", "--pickup", "a", "--json"]).ended(0);
    let record = run.json();
    let notes = record["notes"].to_string();
    assert!(notes.contains("shorter than its header says"), "{notes}");
    for part in ["resonance", "curve", "fit", "findings"] {
        assert_eq!(record[part], whole[part]);
    }
    let run = f.run(&["analyze", "long.wav", "--pickup", "a"]).ended(0);
    assert!(run.out.contains("shorter than its header says"), "{}", run.out);
    // Cut in the middle of a frame of the tail: what is whole counts.
    f.write("cut.wav", &long[..long.len() - 3001]);
    let record = f.run(&["analyze", "cut.wav", "--json"]).ended(0).json();
    assert_eq!(
        record["capture"]["frames"].as_u64(),
        whole["capture"]["frames"].as_u64().map(|n| n - 501)
    );
}

#[test]
fn chunks_that_say_nothing_to_us_are_skipped() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    let plain = f.bytes("one/take.wav");
    let (head, rest) = plain.split_at(12);
    // An odd length and its pad byte.
    let odd = [head, b"LIST\x05\0\0\0abcde\0", rest, b"cue \x03\0\0\0xyz\0"].concat();
    f.write("odd.wav", &odd);
    let a = f
        .run(&["analyze", "one/take.wav", "--pickup", "a", "--json"])
        .ended(0)
        .json();
    let b = f
        .run(&["analyze", "odd.wav", "--pickup", "a", "--json"])
        .ended(0)
        .json();
    assert_eq!((&a["resonance"], &a["curve"]), (&b["resonance"], &b["curve"]));
    assert_eq!(a["notes"], b["notes"]);
}

#[test]
fn one_channel_needs_the_drive_that_was_played() {
    let f = Folder::new();
    f.measure(&["--channels", "pickup=1", "--out", "one"]).ended(0);
    f.run(&["drive", "--rate", "96k", "--seconds", "0.7", "--out", "other.wav"])
        .ended(0);
    f.write("text.wav", b"no samples here");
    let take = "one/take.wav";
    for (drive, words) in [
        (None, &["one channel", "--drive drive.wav"][..]),
        (Some("other.wav"), &["96000 Hz", "48000 Hz", "played for this take"]),
        (Some("none.wav"), &["none.wav", "check the path"]),
        (Some("text.wav"), &["text.wav is not a WAV file"]),
    ] {
        let given: Vec<&str> = drive.map_or(vec![], |d| vec!["--drive", d]);
        f.run(&[&["analyze", take, "--out", "result"], &given[..]].concat())
            .refused(words);
        assert!(!f.path("result").exists());
    }
    // A description beside the drive is not needed.
    std::fs::copy(f.path("one/drive.wav"), f.path("alone.wav")).unwrap();
    let record = f
        .run(&["analyze", take, "--drive", "alone.wav", "--json"])
        .ended(0)
        .json();
    assert!(record["drive"].is_null());
    // Channels that are not there.
    f.run(&["analyze", take, "--channels", "pickup=1,reference=2"])
        .refused(&["1 channel", "reference"]);
    f.run(&["analyze", take, "--channels", "pickup=3"])
        .refused(&["1 channel", "pickup"]);
}

#[test]
fn more_channels_than_two() {
    let f = Folder::new();
    f.measure(&["--out", "one"]).ended(0);
    let (pickup, reference) = samples(&f.bytes("one/take.wav"));
    let wide = |order: [usize; 4]| {
        let quiet = 0.0;
        let interleaved: Vec<f32> = pickup
            .iter()
            .zip(&reference)
            .flat_map(|(p, r)| order.map(|i| [*p, *r, quiet, 0.5][i]))
            .collect();
        wav_float(4, 48_000, &interleaved)
    };
    f.write("first.wav", &wide([0, 1, 2, 3]));
    f.write("last.wav", &wide([3, 1, 2, 0]));
    let analyze = |args: &[&str]| {
        f.run(&[&["analyze", "--pickup", "a", "--json"], args].concat())
            .ended(0)
            .json()
    };
    let plain = analyze(&["one/take.wav"]);
    let first = analyze(&["first.wav"]);
    assert_eq!(plain["resonance"]["polarity"], first["resonance"]["polarity"]);
    assert!(
        first["notes"]
            .to_string()
            .contains("4 channels in the file: the first two were used")
    );
    let last = analyze(&["last.wav", "--channels", "pickup=4,reference=2"]);
    assert_eq!(last["resonance"], first["resonance"]);
    assert!(!last["notes"].to_string().contains("channels in the file"));
}

/// The two channels of a take of ours.
pub fn samples(wav: &[u8]) -> (Vec<f32>, Vec<f32>) {
    let mut reader = hound::WavReader::new(wav).unwrap();
    let full = 2f32.powi(i32::from(reader.spec().bits_per_sample) - 1);
    let all: Vec<f32> = match reader.spec().sample_format {
        hound::SampleFormat::Float => reader.samples::<f32>().map(Result::unwrap).collect(),
        hound::SampleFormat::Int => reader.samples::<i32>().map(|s| s.unwrap() as f32 / full).collect(),
    };
    let every = |n: usize| all.iter().skip(n).step_by(2).copied().collect();
    (every(0), every(1))
}

#[test]
fn silence_is_a_take_without_a_reading() {
    let f = Folder::new();
    f.write("silence.wav", &wav_float(2, 48_000, &vec![0.0; 192_000]));
    let run = f
        .run(&["analyze", "silence.wav", "--out", "analysed", "--json"])
        .ended(1);
    let record = run.json();
    assert_eq!(record["verdict"], "rejected");
    assert!(record["capture"]["peak_dbfs"].is_null() && record["resonance"].is_null());
    assert_eq!(record["pickup"]["name"], "silence");
    assert_eq!(f.list("analysed"), ["record.json", "response.png", "response.svg"]);
}

#[test]
fn rigs_that_cannot_be() {
    let f = Folder::new();
    let edit = |from: &str, to: &str| {
        let text = RIG.replacen(from, to, 1);
        assert_ne!(text, RIG, "{from}");
        text.into_bytes()
    };
    for (text, words) in [
        (b"".to_vec(), &["exciter.reference is missing"][..]),
        (b"\xff\xfe\x00rig".to_vec(), &["not a text file"]),
        (b"[exciter\n".to_vec(), &["line 1"]),
        (
            edit("series_ohm = 100.0", "series_ohms = 100.0"),
            &["exciter.series_ohms", "not known"],
        ),
        (edit("[mains]", "[main]"), &["main", "not known"]),
        (edit("\"voltage\"", "\"volts\""), &["exciter.reference", "volts"]),
        (
            edit("series_ohm = 100.0", "series_ohm = \"100\""),
            &["exciter.series_ohm", "number"],
        ),
        (
            edit("series_ohm = 100.0", "series_ohm = -100"),
            &["exciter.series_ohm", "-100"],
        ),
        (edit("series_ohm = 100.0", "series_ohm = nan"), &["exciter.series_ohm"]),
        (edit("series_ohm = 100.0\n", ""), &["exciter.series_ohm is missing"]),
        (
            edit("inductance_h = 0.0005", "inductance_h = 5000"),
            &["exciter.inductance_h", "5000"],
        ),
        (edit("sign = 1", "sign = 2"), &["exciter.sign", "1 or -1"]),
        (
            edit("capacitance_f = 60e-12", "capacitance_f = 60"),
            &["input.capacitance_f", "60e-12"],
        ),
        (
            edit("frequency_hz = 50", "frequency_hz = 400"),
            &["mains.frequency_hz", "400"],
        ),
        (
            edit("series_tolerance = 0.01", "series_tolerance = 5"),
            &["exciter.series_tolerance", "0.05"],
        ),
        (vec![b'#'; 1 << 20], &["rig.toml is larger than"]),
    ] {
        f.write("rig.toml", &text);
        for args in [
            &["measure", "--pickup", "a", "--source", "sim"][..],
            &["analyze", "any.wav"],
        ] {
            f.run(&[args, &["--rig", "rig.toml"]].concat()).refused(words);
        }
        f.run(&["use", "--rig", "rig.toml"]).refused(words);
        assert_eq!(f.list(""), ["rig.toml"]);
    }
}

#[test]
fn the_same_rig_file_gives_the_same_hash_and_another_another() {
    let f = Folder::new();
    f.write("a.toml", RIG.as_bytes());
    f.write("b.toml", RIG.as_bytes());
    f.write("c.toml", RIG.replace("0.0005", "0.0006").as_bytes());
    let hash =
        |rig: &str| f.measure(&["--rig", rig, "--json", "--out", &rig[..1]]).ended(0).json()["rig"]["hash"].clone();
    let (a, b, c) = (hash("a.toml"), hash("b.toml"), hash("c.toml"));
    assert!(a.is_string() && a == b && a != c, "{a} {b} {c}");
}

#[test]
fn a_damaged_defaults_file_is_named() {
    let f = Folder::new();
    for (text, words) in [
        ("load = \"vol=\"\n", &["coilwright.toml", "load"][..]),
        ("colour = 1\n", &["coilwright.toml", "colour"]),
        ("room = \"warm\"\n", &["coilwright.toml", "room"]),
        ("rig = \n", &["coilwright.toml", "line 1"]),
        ("rig = \"none.toml\"\n", &["none.toml"]),
        ("channels = \"both\"\n", &["coilwright.toml", "channels"]),
    ] {
        f.write("coilwright.toml", text.as_bytes());
        f.run(&["measure", "--pickup", "a", "--source", "sim"]).refused(words);
        assert_eq!(f.list(""), ["coilwright.toml"]);
        assert_eq!(f.bytes("coilwright.toml"), text.as_bytes());
    }
}

/// An input that bends where the answer is strongest leaves what a knock leaves, and is told from one.
#[test]
fn what_bends_where_the_answer_is_strongest_is_no_knock() {
    let f = Folder::new();
    let codes = |out: &str, sim: &str| -> Vec<String> {
        let sim = format!("r=6k l=2.4H cs=120p noise=-80dBFS {sim}");
        let args = [
            "measure",
            "--pickup",
            "x",
            "--source",
            "sim",
            "--rate",
            "48k",
            "--seconds",
            "2.2",
            "--level",
            "-20dBFS",
            "--sim",
        ];
        f.run(&[&args[..], &[&sim, "--out", out]].concat()).ended(0);
        let record = f.record(out);
        let found = record["findings"].as_array().unwrap().iter();
        found.map(|f| f["code"].as_str().unwrap().to_owned()).collect()
    };
    let bent = codes("bent", "clip=-12.5dBFS");
    assert!(!bent.contains(&"transient".into()), "{bent:?}");
    assert!(
        bent.contains(&"clipped".into()) || bent.contains(&"distorted".into()),
        "{bent:?}"
    );
    let knocked = codes("knocked", "knock=1.2");
    assert!(knocked.contains(&"transient".into()), "{knocked:?}");
}

/// A pipe that nobody writes to is looked at before it is opened, wherever a file is read.
#[test]
fn pipes_and_devices_are_not_waited_for() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    f.measure(&["--channels", "pickup=1", "--out", "one"]).ended(0);
    std::fs::copy(f.path("one/drive.wav"), f.path("drive.wav")).unwrap();
    for pipe in [
        "pipe",
        "pipe.toml",
        "pipe.wav",
        "pipe.txt",
        "drive.json",
        ".coilwright.toml.lock",
    ] {
        assert!(
            std::process::Command::new("mkfifo")
                .arg(f.path(pipe))
                .status()
                .unwrap()
                .success()
        );
    }
    let take = "one/take.wav";
    let tray = ["tray", "--lot", "a", "--source", "sim"];
    for args in [
        &["analyze", "pipe.wav"][..],
        &["analyze", "/dev/zero"],
        &["analyze", take, "--drive", "pipe.wav"],
        &["measure", "--pickup", "a", "--source", "sim", "--rig", "pipe.toml"],
        &["measure", "--pickup", "a", "--source", "sim", "--sim", "pipe.toml"],
        &["compare", "pipe", "one"],
        &["use", "--rig", "pipe.toml"],
        &["loads", "--coil", "pipe.toml", "--load", "none"],
        &[
            "loads",
            "--r",
            "6k",
            "--l",
            "2.4H",
            "--cs",
            "120p",
            "--load",
            "pipe.toml",
        ],
        &[&tray[..], &["--standard", "pipe.toml"]].concat(),
        &[&tray[..], &["--sim", "pipe.txt"]].concat(),
        // Its lock.
        &["use", "--over", "first coil"],
    ] {
        soon(&f, args).refused(&["is no regular file"]);
    }
    // Of the drive's description nothing is needed.
    soon(&f, &["analyze", take, "--drive", "drive.wav"]).ended(0);
}

/// As run, but what waits for ever, or asks for a gigabyte and a half, fails.
fn soon(f: &Folder, args: &[&str]) -> crate::bench::Run {
    let program = f.command(&[]).get_program().to_owned();
    let mut command = std::process::Command::new("sh");
    command.args(["-c", "ulimit -v 1500000; exec timeout 20 \"$0\" \"$@\""]);
    command.arg(program).args(args).current_dir(f.path("")).env("TZ", "UTC");
    crate::bench::Run::of(command.stdin(std::process::Stdio::null()))
}

/// Large and empty: it is not read to find that out.
#[test]
fn huge_files_are_not_read() {
    let f = Folder::new();
    std::fs::File::create(f.path("huge.wav"))
        .unwrap()
        .set_len(1 << 42)
        .unwrap();
    soon(&f, &["analyze", "huge.wav"]).refused(&["huge.wav is larger than"]);
}

#[test]
fn names_have_no_control_characters() {
    let f = Folder::new();
    let hostile = "neck\u{1b}]0;x\u{7}7";
    let sim = ["--source", "sim"];
    for args in [
        &["measure", "--pickup", hostile][..],
        &["measure", "--pickup", "a", "--over", "two\nlines"],
        &["measure", "--pickup", "a", "--output", hostile],
        &["analyze", "x.wav", "--pickup", hostile],
        &["tray", "--lot", "a", "--over", hostile],
        &["use", "--over", hostile],
        &[
            "standard", "a", "--allow", "f0=1%", "--out", "s.toml", "--name", hostile,
        ],
        &["rig", "new", "r.toml", "--name", hostile],
        &["rig", "new", "r.toml", "--unit", hostile],
        &["rig", "new", "r.toml", "--witness", "tin\tone"],
        &["rig", "new", "r.toml", "--knobs", hostile],
        &["rig", "inputs", "--range", hostile],
    ] {
        let wants_source = ["measure", "tray"].contains(&args[0]);
        let all = [args, if wants_source { &sim[..] } else { &[] }].concat();
        f.run(&all).refused(&["control character"]);
    }
    f.run(&[&["tray", "--lot", hostile], &sim[..]].concat())
        .refused(&["a lot's name"]);
    assert_eq!(f.list(""), [""; 0]);
}
