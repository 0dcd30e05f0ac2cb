use super::keys::Key;
use super::*;

const FULL: &str = r#"
name = "north bench"
[exciter]
reference = "voltage"
series_ohm = 100.0
inductance_h = 0.0005
source_ohm = 0.0
sense_ohm = 100.0
series_tolerance = 0.0
inductance_tolerance = 0.0
sign = 1
[input]
resistance_ohm = 1.0e6
capacitance_f = 60e-12
lead_capacitance_f = 90e-12
ac_pickup_hz = 2.7
ac_pickup_tolerance_hz = 0.1
ac_reference_hz = 3.6
ac_reference_tolerance_hz = 0.1
ac_output_hz = 2.0
ac_output_tolerance_hz = 0.1
delay_s = 0.0
delay_tolerance_s = 1e-7
gain_db = 0.0
gain_tolerance_db = 0.01
resistance_tolerance = 0.01
capacitance_tolerance_f = 1e-12
[mains]
frequency_hz = 50
[witness]
name = "witness one"
load = "cap=470p"
winding_f = 120e-12
place = "fixed"
[interface]
output = "one"
input = "two"
rate_hz = 96000
pickup_channel = 1
reference_channel = 2
range = "instrument"
inputs_measured = "2026-01-31"
level_dbfs = -12.5
[setup]
phantom = "off"
[pack]
interface = "two inputs, label A"
"#;
const LEAST: &str = "[exciter]\nreference = \"voltage\"\nseries_ohm = 100\ninductance_h = 0.0005\n";

fn refused(text: &str) -> String {
    match Rig::parse(text, "bench") {
        Ok(_) => panic!("was read:\n{text}"),
        Err(e) => e.to_string(),
    }
}

#[test]
fn reads_every_key_and_leaves_nothing_to_note() {
    let rig = Rig::parse(FULL, "bench").unwrap();
    assert_eq!(rig.name, "north bench");
    assert_eq!(rig.exciter.series_ohm, 100.0);
    assert_eq!(rig.exciter.sign, Some(1));
    assert_eq!(rig.input.as_ref().unwrap().load_f(), 150e-12);
    assert_eq!(rig.mains.as_ref().unwrap().frequency_hz, Some(50.0));
    for one_channel in [false, true] {
        assert_eq!(rig.notes(one_channel), [""; 0]);
    }
    // The list of keys and the type agree: every key but the name comes back in the summary.
    let summary = rig.summary();
    let mut listed: Vec<String> = KEYS
        .iter()
        .filter(|k| ["exciter", "input", "mains"].contains(&k.table))
        .map(Key::full_name)
        .collect();
    listed.sort();
    assert_eq!(summary.values.keys().cloned().collect::<Vec<_>>(), listed);
    assert_eq!(summary.values["exciter.reference"], "voltage");
    assert_eq!(summary.values["input.capacitance_f"], 60e-12);
    assert!(summary.given && summary.name.as_deref() == Some("north bench"));
    assert_eq!(summary.hash.as_deref(), Some(rig.content_hash()));
}

#[test]
fn the_least_that_a_rig_must_say() {
    let rig = Rig::parse(LEAST, "bench").unwrap();
    assert_eq!(rig.name, "bench");
    assert_eq!(rig.summary().values.len(), 3);
    let notes = rig.notes(false).join("\n");
    for want in [
        "series_tolerance not stated: taken as exact",
        "inductance_tolerance not stated: taken as exact",
        "sign not stated: polarity is not referenced",
        "no [input]: taken to load nothing",
    ] {
        assert!(notes.contains(want), "{notes}");
    }
    assert!(!notes.contains("source_ohm"));
    assert!(rig.notes(true).iter().any(|n| n.contains("source_ohm not stated")));
    // An empty file of the format's other tables is as good as none.
    let rig = Rig::parse(&format!("{LEAST}[input]\n[mains]\n"), "bench").unwrap();
    assert!(rig.notes(false).iter().any(|n| n.contains("resistance_ohm not stated")));
}

#[test]
fn corner_of_the_exciter() {
    let rig = |text: &str| Rig::parse(text, "bench").unwrap();
    // 100 ohm, 0.5 mH: 31830.99 Hz (1/pi times 1e5); 32 ohm of source resistance add 32 %.
    let v = rig(&format!(
        "{LEAST}source_ohm = 32\nseries_tolerance = 0.03\ninductance_tolerance = 0.04\n"
    ));
    assert!((v.corner_hz(false).unwrap() - 31_830.988_618).abs() < 1e-6);
    assert!((v.corner_hz(true).unwrap() - 1.32 * 31_830.988_618).abs() < 1e-6);
    // 3 % and 4 % make 5 %.
    assert!((v.corner_u_hz(false).unwrap() - 0.05 * 31_830.988_618).abs() < 1e-6);
    let u1 = (0.03f64 / 1.32).hypot(0.04) * 1.32 * 31_830.988_618;
    assert!((v.corner_u_hz(true).unwrap() - u1).abs() < 1e-6);
    assert_eq!(rig(LEAST).corner_u_hz(false), None);
    let current = rig(&LEAST.replace("voltage", "current"));
    assert_eq!(current.corner_hz(false), None);
    assert!(current.corner_hz(true).is_some());
    assert_eq!(current.sense_ohm(), 100.0);
    let straight = rig(&LEAST.replace("0.0005", "0"));
    assert_eq!((straight.corner_hz(false), straight.corner_hz(true)), (None, None));
    assert_eq!(rig(&LEAST.replace("0.0005", "1e-308")).corner_hz(false), None);
}

#[test]
fn names_the_key_of_what_no_rig_can_have() {
    let with = |line: &str| {
        let (table, rest) = line.split_once('.').unwrap();
        let key = rest.split(' ').next().unwrap();
        let (mut out, mut at) = (String::new(), "");
        for l in FULL.lines() {
            if l.starts_with('[') {
                at = l.trim_matches(['[', ']']);
            }
            let same = at == table && l.split(' ').next() == Some(key);
            out.push_str(if same { rest } else { l });
            out.push('\n');
        }
        if !FULL.contains(&format!("\n{key} ")) {
            out = out.replace(&format!("[{table}]"), &format!("[{table}]\n{rest}"));
        }
        out
    };
    for (line, remedy) in [
        ("exciter.series_ohm = -100.0", "from 0.001"),
        ("exciter.series_ohm = 0", "from 0.001"),
        ("exciter.series_ohm = 1e-308", "from 0.001"),
        ("exciter.series_ohm = nan", "from 0.001"),
        ("exciter.series_ohm = inf", "from 0.001"),
        ("exciter.series_ohm = \"100\"", "a number from 0.001"),
        ("exciter.series_ohm = true", "a number from 0.001"),
        ("exciter.series_ohm = [100.0]", "a number from 0.001"),
        ("exciter.reference = \"volts\"", "\"voltage\", \"current\""),
        ("exciter.reference = 1", "\"voltage\", \"current\""),
        ("exciter.inductance_h = -0.0005", "from 0"),
        ("exciter.source_ohm = -1", "from 0"),
        ("exciter.series_tolerance = 0.51", "from 0 to 0.5"),
        ("exciter.inductance_tolerance = -0.01", "from 0 to 0.5"),
        ("exciter.sign = 0", "1 or -1"),
        ("exciter.sign = 2", "1 or -1"),
        ("exciter.sign = 1.0", "1 or -1"),
        ("exciter.colour = 1", "in [exciter] there are reference, series_ohm"),
        ("input.resistance_ohm = 0", "from 0.001"),
        ("input.capacitance_f = 60", "60 pF is 60e-12"),
        ("input.lead_capacitance_f = -1e-12", "60 pF is 60e-12"),
        ("input.ac_pickup_hz = 15.1", "from 0 to 15"),
        ("input.ac_reference_hz = -0.1", "from 0 to 15"),
        ("input.ac_output_tolerance_hz = 16", "from 0 to 15"),
        ("input.delay_s = 1", "0.1"),
        ("input.gain_db = 200", "-120 to 120"),
        ("input.gain_tolerance_db = -1", "from 0 to 12"),
        ("interface.rate_hz = 48000.5", "whole hertz"),
        ("interface.pickup_channel = 0", "from 1 to 64"),
        ("interface.level_dbfs = 3", "from -100 to 0"),
        ("mains.frequency_hz = 39.9", "from 40 to 70"),
        ("mains.frequency_hz = 400", "from 40 to 70"),
    ] {
        let e = refused(&with(line));
        let key = line.split(' ').next().unwrap();
        assert!(
            e.starts_with("rig bench: ") && e.contains(key) && e.contains(remedy),
            "{line}: {e}"
        );
        assert!(!e.contains('\n'));
    }
    for good in [
        "exciter.sign = -1",
        "exciter.series_tolerance = 0.5",
        "input.ac_pickup_hz = 15",
        "mains.frequency_hz = 70.0",
        "mains.frequency_hz = 40",
        "exciter.inductance_h = 0",
    ] {
        assert!(Rig::parse(&with(good), "bench").is_ok(), "{good}");
    }
}

#[test]
fn what_stands_is_named_before_what_is_missing() {
    for (text, want) in [
        (
            "[exciter]\nreference = \"current\"\nseries_ohm = 100\nsense_ohm = 101\ninductance_h = 0\n",
            "exciter.sense_ohm = 101 is above exciter.series_ohm = 100",
        ),
        ("", "exciter.reference is missing; give it as one of voltage, current"),
        ("[exciter]\nreference = \"voltage\"\n", "exciter.series_ohm is missing"),
        (
            "[exciter]\nreference = \"voltage\"\nseries_ohms = 100\n",
            "exciter.series_ohms is not known",
        ),
        ("[mains]\nfrequency_hz = 400\n", "mains.frequency_hz is 400"),
        (
            "[exciter]\n[input]\nresistence_ohm = 1e6\n",
            "input.resistence_ohm is not known",
        ),
        (
            "[inputs]\nresistance_ohm = 1e6\n",
            "inputs is not known; at the top there are name, exciter, input, mains",
        ),
        ("exciter = 3\n", "exciter is 3, not a table"),
        ("[[exciter]]\nseries_ohm = 1\n", "exciter is a list, not a table"),
        ("name = 3\n", "name is 3"),
        ("name = \"\"\n", "name is \"\""),
        ("series_ohm = 100\n", "series_ohm is not known"),
        ("[exciter]\nseries_ohm = \n", "rig bench line 2 cannot be read"),
        ("[exciter]\nsign = 1\nsign = 1\n", "rig bench line 3 cannot be read"),
        (
            "[exciter]\nreference = \"current\"\nseries_ohm = 1\ninductance_h = 0\n[input]\nac_output_tolerance_hz = 1\n",
            "input.ac_output_tolerance_hz stands without input.ac_output_hz",
        ),
    ] {
        let e = refused(text);
        assert!(e.contains(want), "{text}: {e}");
    }
}

#[test]
fn reads_a_file_with_its_stem_hash_and_limit() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("north.toml");
    std::fs::write(&path, LEAST).unwrap();
    let rig = Rig::read(&path).unwrap();
    assert_eq!(rig.name, "north");
    // sha256sum of the same bytes.
    assert_eq!(rig.content_hash(), "de017527e965cbc8");
    assert_eq!(Rig::parse(LEAST, "x").unwrap().content_hash(), rig.content_hash());
    std::fs::write(&path, format!("{LEAST}# moved\n")).unwrap();
    assert_ne!(Rig::read(&path).unwrap().content_hash(), rig.content_hash());
    // As some editors save it.
    std::fs::write(&path, format!("\u{feff}{}", LEAST.replace('\n', "\r\n"))).unwrap();
    assert_eq!(Rig::read(&path).unwrap().exciter, rig.exciter);
    std::fs::write(&path, vec![b'#'; 100_000]).unwrap();
    assert!(Rig::read(&path).unwrap_err().to_string().contains("larger than"));
    std::fs::write(&path, b"\xff\xfe").unwrap();
    assert!(Rig::read(&path).unwrap_err().to_string().contains("not a text file"));
    let e = Rig::read(&dir.path().join("none.toml")).unwrap_err().to_string();
    assert!(e.contains("none.toml") && e.contains("check the path"), "{e}");
}
