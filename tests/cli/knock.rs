//! Taps, through the commands.

use serde_json::Value;

use crate::bench::{Folder, measured, wav_float};
use crate::potting::rested;
use crate::screens::{RIG, shows};

fn notes(record: &Value) -> String {
    record["notes"].to_string()
}

#[test]
fn taps_are_kept_and_give_the_same_figures_again() {
    for channels in ["pickup=1,reference=2", "pickup=1"] {
        let f = Folder::new();
        f.write("north.toml", RIG.as_bytes());
        let rig = ["--rig", "north.toml", "--channels", channels];
        let args = [&["--knock", "6", "--repeats", "2", "--out", "one", "--json"][..], &rig].concat();
        let record = f.measure(&args).ended(0).json();
        let files = f.list("one");
        for name in [
            "knock.wav",
            "knock.svg",
            "knock.png",
            "take.wav",
            "take-2.wav",
            "record.json",
        ] {
            assert!(files.contains(&name.to_string()), "{files:?}");
        }
        let knock = &record["knock"];
        assert_eq!(
            (&knock["taps"], &knock["used"], &knock["take"]),
            (&6.into(), &6.into(), &"knock.wav".into())
        );
        let args = [
            "analyze",
            "one/take.wav",
            "--drive",
            "one/drive.wav",
            "--knock-take",
            "one/knock.wav",
            "--json",
        ];
        let again = f.run(&[&args[..], &rig, &["--out", "again"]].concat()).ended(0).json();
        assert_eq!(&again["knock"], knock);
        assert_eq!(again, f.record("again"));
        // What `measure` kept beside its take is found by itself.
        let found = f.run(&[&args[..4], &["--json"], &rig].concat()).ended(0).json();
        assert_eq!(&found["knock"], knock);
        assert!(f.list("again").contains(&"knock.svg".to_string()));
    }
}

#[test]
fn what_was_tapped_is_what_is_read() {
    let f = Folder::new();
    let sim = "tap=700/12m/-40,2.6k/5m/-46 tap-scatter=1 tap-pace=1.1";
    let record = f
        .measure(&["--sim", sim, "--knock", "12", "--out", "one", "--json"])
        .ended(0)
        .json();
    let peaks = record["knock"]["peaks"].as_array().unwrap();
    assert_eq!(peaks.len(), 2, "{peaks:?}");
    for (i, hz, tau) in [(0, 700.0, 12e-3), (1, 2600.0, 5e-3)] {
        for (what, truth) in [("hz", hz), ("decay_s", tau)] {
            let e = measured(&record, &format!("/knock/peaks/{i}/{what}")).unwrap();
            assert!(
                (e.value - truth).abs() < 3.0 * e.u && e.u < 0.02 * truth,
                "{what} {truth}: {e:?}"
            );
        }
    }
    // Ten decibels less on the pickup, or ten more in the drive, are seen for what they are.
    let level = |sim: &str, more: &[&str]| {
        let args = [&["--sim", sim, "--knock", "12", "--json"][..], more].concat();
        let record = f.measure(&args).ended(0).json();
        measured(&record, "/knock/level_db").unwrap().value
    };
    let here = level(sim, &["--out", "two"]);
    let weaker = level(&sim.replace("-40", "-50").replace("-46", "-56"), &["--out", "three"]);
    assert!((here - weaker - 10.0).abs() < 0.05, "{here} {weaker}");
    let softer = level(sim, &["--level", "-22dBFS", "--out", "four"]);
    assert!((here - softer).abs() < 0.02, "{here} {softer}");
}

#[test]
fn taps_that_cannot_be_read_leave_a_note_and_no_figure() {
    let f = Folder::new();
    for (i, (sim, words)) in [
        ("tap=none", "0 of 0 taps usable, 3 are needed"),
        ("tap-pace=0.3", "less than half a second apart"),
        ("tap=700/12m/20", "clipped: tap lighter"),
        ("tap=700/12m/-120", "taps must stand out of the noise"),
        ("silent", "no reading at 1 kHz"),
    ]
    .into_iter()
    .enumerate()
    {
        let out = format!("n{i}");
        let run = f.measure(&["--sim", sim, "--knock", "5", "--out", &out, "--json"]);
        let record = run.json();
        assert_eq!(run.status, i32::from(sim == "silent"), "{sim}");
        assert!(record.get("knock").is_none(), "{sim}");
        assert!(notes(&record).contains(words), "{sim}: {}", notes(&record));
        let files = f.list(&out);
        assert!(
            files.contains(&"knock.wav".into()) && !files.contains(&"knock.svg".into()),
            "{files:?}"
        );
    }
    let run = f.measure(&["--sim", "tap-bounce=40m", "--knock", "6", "--out", "bounce", "--json"]);
    assert_eq!(run.ended(0).json()["knock"]["used"], 6);
}

#[test]
fn what_does_not_go_together_is_refused() {
    let f = Folder::new();
    f.measure(&["--knock", "3", "--out", "one"]).ended(0);
    let file = ["analyze", "one/take.wav"];
    f.run(&[&file[..], &["--knock-take", "none.wav"]].concat())
        .refused(&["none.wav"]);
    f.run(&[
        "analyze",
        "one/take.wav",
        "one/take.wav",
        "--knock-take",
        "one/knock.wav",
    ])
    .refused(&["--knock-take belongs to one take", "one by one"]);
    let mut bad = vec![0.0f32; 96_000];
    bad[500] = f32::NAN;
    f.write("nan.wav", &wav_float(1, 48_000, &bad));
    f.run(&[&file[..], &["--knock-take", "nan.wav"]].concat())
        .refused(&["no number"]);
    for n in ["2", "51", "many"] {
        assert_eq!(f.measure(&["--knock", n]).status, 2);
    }
    // A recording of taps is not overwritten.
    f.measure(&["--out", "one"]).refused(&["is there already"]);
    std::fs::create_dir(f.path("half")).unwrap();
    f.write("half/knock.wav", b"kept");
    f.measure(&["--out", "half"])
        .refused(&["knock.wav", "is there already"]);
    // Silence as long as one likes is no tap.
    f.write("still.wav", &wav_float(1, 48_000, &vec![0.0; 480_000]));
    let run = f.run(&["analyze", "one/take.wav", "--knock-take", "still.wav", "--json"]);
    assert!(notes(&run.ended(0).json()).contains("0 of 0 taps usable"));
}

#[test]
fn the_screens_tell_of_taps() {
    let f = Folder::new();
    shows("measure-knock", &f.measure(&["--knock", "6", "--out", "one"]));
    let run = f.measure(&["--knock", "6", "--sim", "tap-pace=0.55", "--details", "--out", "two"]);
    shows("measure-knock-details", &run);
    f.record("one");
}

#[test]
fn potting_tells_how_much_quieter_it_became() {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    let take = |out: &str, sim: &str, more: &[&str]| {
        let args = [&["--rig", "north.toml", "--sim", sim, "--out", out][..], more].concat();
        f.measure(&args).ended(0);
    };
    let loose = "r=6k l=2.4H cs=120p tap=620/18m/-44,2.3k/6m/-50";
    let waxed = "r=6k l=2.4H cs=124p tap=640/9m/-58,2.4k/4m/-62";
    take("before", loose, &["--knock", "8"]);
    take("after", waxed, &["--knock", "8"]);
    take("untapped", waxed, &[]);
    let potting = |after: &str, more: &[&str]| f.run(&rested("before", after, more)).ended(0);
    let pair = potting("after", &["--json"]).json()["pairs"][0].clone();
    let (e, untapped) = (
        &pair["knock_db"],
        potting("untapped", &["--json"]).json()["pairs"][0].clone(),
    );
    assert!(
        (-19.0..-13.0).contains(&e["value"].as_f64().unwrap()) && e["u"].as_f64().unwrap() < 2.0,
        "{e}"
    );
    assert!(pair["knock_text"].as_str().unwrap().contains("quieter than before"));
    assert!(untapped["knock_db"].is_null() && untapped["knock_text"].is_null());
    assert_eq!(
        (&pair["verdict"], &pair["text"]),
        (&untapped["verdict"], &untapped["text"])
    );
    shows("potting-knock", &potting("after", &[]));
    let warm = [
        "potting",
        "before",
        "--after",
        "after",
        "--rig",
        "north.toml",
        "--rested",
        "1h",
        "--json",
    ];
    assert!(f.run(&warm).ended(1).json()["pairs"][0]["knock_db"].is_null());
}
