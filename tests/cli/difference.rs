//! What `compare` says of two readings: different, the same, or that nobody can tell.

use serde_json::Value;

use crate::bench::Folder;
use crate::screens::RIG;

/// A bench with its rig, and the same pickup as often as is asked for, with so many picofarads in its winding.
fn bench(takes: &[(&str, u32)]) -> Folder {
    let f = Folder::new();
    f.write("north.toml", RIG.as_bytes());
    f.run(&["use", "--rig", "north.toml", "--load", "res=250k cap=100p"])
        .ended(0);
    for (seed, (out, pf)) in takes.iter().enumerate() {
        let sim = format!("r=6k l=2.4H cs={pf}p");
        f.measure(&["--sim", &sim, "--seed", &seed.to_string(), "--out", out])
            .ended(0);
    }
    f
}

fn difference(f: &Folder, more: &[&str]) -> Value {
    let run = f.run(&[&["compare", "--json"][..], more].concat()).ended(0);
    run.json()["differences"][0].clone()
}

fn says(d: &Value, answer: &str, words: &[&str]) {
    assert_eq!(d["answer"], answer, "{d}");
    let text = d["text"].as_str().unwrap();
    for w in words {
        assert!(text.contains(w), "{text} has no {w:?}");
    }
}

/// Whether what matters, and what laying down does, are usual values in all that was judged.
#[track_caller]
fn usual(d: &Value, matters: bool, laying: bool) {
    let judged = d["quantities"].as_array().unwrap();
    assert!(!judged.is_empty());
    for j in judged {
        assert_eq!(
            (&j["matters_usual"], &j["usual"]["laying"]),
            (&matters.into(), &laying.into()),
            "{d}"
        );
    }
}

#[test]
fn three_answers_and_what_decided() {
    let f = bench(&[("a", 120), ("again", 120), ("small", 126), ("large", 150)]);
    let again = difference(&f, &["a", "again"]);
    says(&again, "same", &["the same: peak (0.00 ± 0.4", " %, 1 % matters)"]);
    usual(&again, true, true);
    // In its place it is told a hundred times finer, and nothing of how it was laid down is in it.
    let in_place = difference(&f, &["a", "again", "--in-place"]);
    says(&in_place, "same", &["the same: peak (0.00 ± 0.01 %, 1 % matters)"]);
    usual(&in_place, true, false);
    let shown = |more: &[&str]| f.run(&[&["compare"][..], more].concat()).ended(0).flat();
    assert!(shown(&["a", "again"]).contains("what matters (`use --matters`), laying down (`rig repeat`)"));
    assert!(!shown(&["a", "again", "--in-place"]).contains("laying down"));
    let u = |d: &Value| d["peak_hz"]["u"].as_f64().unwrap();
    assert!(u(&in_place) < 0.02 * u(&again), "{again} {in_place}");
    // 6 pF of some 375 are 0.7 % in the peak.
    let small = difference(&f, &["a", "small"]);
    says(
        &small,
        "cannot-tell",
        &["cannot tell: peak (-0.7", "1 % matters; `rig repeat` may tell)"],
    );
    usual(&small, true, true);
    let large = difference(&f, &["a", "large"]);
    says(
        &large,
        "different",
        &["different: peak 180 Hz lower (-3.5", "cannot tell: Q (+2.7"],
    );
    let details = f.run(&["compare", "a", "large", "--details"]).ended(0).out;
    assert!(
        details.contains("+0.22 ± 0.29 dB") && details.contains("Bonferroni"),
        "{details}"
    );

    // What matters to the shop decides.
    f.run(&["use", "--matters", "peak=2% f0=2%"]).ended(0);
    let small = difference(&f, &["a", "small"]);
    says(
        &small,
        "same",
        &["the same: peak 38 Hz lower (-0.7", "less than the 2 % that matter"],
    );
    f.run(&["use", "--matters", "peak=0.1% f0=0.1% q=5% height=0.5dB level=2dB"])
        .ended(0);
    let small = difference(&f, &["a", "small"]);
    says(
        &small,
        "different",
        &["different: peak 38 Hz lower (-0.7", "0.1 % matters)"],
    );
    usual(&small, false, true);
    assert!(shown(&["a", "small"]).contains("usual values stand for laying down (`rig repeat`)"));
    f.run(&["use", "--forget", "matters"]).ended(0);
    assert_eq!(difference(&f, &["a", "small"])["answer"], "cannot-tell");
}

#[test]
fn the_rigs_own_study_is_in_interval_record_and_answer() {
    let f = bench(&[("a", 120), ("b", 120)]);
    assert_eq!(f.record("a")["resonance"]["u_lay"], Value::Null);
    assert_eq!(f.record("a")["resonance"]["definition"], "plain");
    f.run(&["rig", "repeat", "a", "b"]).ended(0);
    // As if of many pickups.
    let mut study: Value = serde_json::from_slice(&f.bytes("north.repeat.json")).unwrap();
    for (part, sd) in [("f0", 0.004), ("q", 0.001), ("peak_db", 0.01), ("level_db", 0.01)] {
        study[part]["sd"] = sd.into();
        study[part]["freedom"] = 20.into();
    }
    study["freedom"] = 20.into();
    f.write("north.repeat.json", study.to_string().as_bytes());
    let run = f.measure(&["--sim", "r=6k l=2.4H cs=120p", "--out", "c"]).ended(0);
    let r = f.record("c");
    let (lay, f0) = (&r["resonance"]["u_lay"], &r["resonance"]["f0_hz"]["value"]);
    assert!(
        (lay["f0_hz"].as_f64().unwrap() / f0.as_f64().unwrap() - 0.004).abs() < 1e-9,
        "{lay}"
    );
    assert_eq!(r["resonance"]["u_day"], Value::Null);
    // t of 20 degrees of freedom is 2.086 (tables): 45 Hz of 5420.
    assert!(run.out.contains("f0 5420 ± 45 Hz (95 %)\n"), "{}", run.out);
    assert!(!run.out.contains("usual"), "{}", run.out);
    // Records from before the study are judged by it too.
    let d = difference(&f, &["a", "b"]);
    assert!(
        (d["peak_hz"]["u"].as_f64().unwrap() / (5108.0 * 0.004 * 2f64.sqrt()) - 1.0).abs() < 0.02,
        "{d}"
    );
    says(&d, "cannot-tell", &["the same: Q ("]);
    usual(&d, true, false);
    let shown = f.run(&["compare", "a", "b"]).ended(0).out;
    assert!(
        shown.contains("what matters (`use --matters`)") && !shown.contains("laying down (`"),
        "{shown}"
    );
    // A study that cannot be read is said, and usual values stand in.
    f.write("north.repeat.json", b"{}");
    let run = f.run(&["compare", "a", "b"]).ended(0);
    assert!(run.err.contains("usual values for what the rig does") && run.err.contains("north.repeat.json"));
    let run = f.measure(&["--sim", "r=6k l=2.4H cs=120p", "--out", "d"]).ended(0);
    assert!(
        run.out.contains("(95 %, usual)") && run.out.contains("north.repeat.json"),
        "{}",
        run.out
    );
}

#[test]
fn without_a_peak_nothing_poses_as_one() {
    let f = Folder::new();
    let run = f.measure(&["--load", "cap=500p res=10k", "--out", "a"]).ended(0);
    assert!(run.out.contains("Peak        no peak; 3 dB down at 1.0"), "{}", run.out);
    assert!(
        !run.out.contains("Resonance") && !run.out.contains("\nQ "),
        "{}",
        run.out
    );
    let svg = String::from_utf8(f.bytes("a/response.svg")).unwrap();
    assert!(
        svg.contains("no peak; 3 dB down at 1.0") && !svg.contains("f0"),
        "{svg}"
    );
    let run = f
        .measure(&["--load", "cap=500p res=10k", "--out", "b", "--details"])
        .ended(0);
    assert!(run.out.contains("f0, Hz      5169"), "{}", run.out);
    let table = f.run(&["compare", "a", "b"]).ended(0).out;
    assert!(
        table.contains("A   no peak; 3 dB down at 1.0") && !table.contains("5169"),
        "{table}"
    );
}

/// Takes of one pickup in strong noise: the digits of where it falls are those that the noise leaves, and the interval below it
/// holds the place that the wiring is predicted to fall at.
#[test]
fn where_it_falls_has_digits_that_its_noise_allows() {
    let f = Folder::new();
    // `loads` of this coil under this load: 3 dB below the level at 10 Hz.
    let predicted = 3.283;
    for seed in ["1", "2", "3", "4"] {
        let sim = "r=6k l=2.4H cs=120p loss=none m=0.03m noise=-60dBFS hum=none";
        let args = [
            "--sim",
            sim,
            "--load",
            "cap=500p res=33k",
            "--seed",
            seed,
            "--out",
            seed,
        ];
        let out = f.measure(&args).ended(0).out;
        let mut lines = out.lines().skip_while(|l| !l.starts_with("Peak"));
        let digits = lines
            .next()
            .unwrap()
            .strip_prefix("Peak        no peak; 3 dB down at 3.");
        assert!(
            digits.is_some_and(|d| d.strip_suffix(" kHz").is_some_and(|d| d.len() == 1)),
            "{out}"
        );
        let interval = lines.next().unwrap().trim().strip_suffix(" kHz (95 %, usual)").unwrap();
        let (value, half) = interval.split_once(" ± ").unwrap();
        let [value, half] = [value, half].map(|t| t.parse::<f64>().unwrap());
        assert!((value - predicted).abs() < half && half < 0.3, "{out}");
    }
}
