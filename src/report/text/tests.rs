use std::path::PathBuf;

use super::super::samples::{self, Recipe};
use super::*;
use crate::record::{Code, Drive, Finding, PeakFrom, Repeat};
use crate::record::{Level, Record, Verdict};
use crate::report::difference_words;
use crate::shop::difference::{How, compare};

fn files() -> Vec<PathBuf> {
    [
        "record.json",
        "response.svg",
        "response.png",
        "take.wav",
        "drive.wav",
        "drive.json",
    ]
    .iter()
    .map(|f| PathBuf::from("bench/Bridge/0001").join(f))
    .collect()
}

fn detailed() -> Style {
    Style {
        details: true,
        ..Style::default()
    }
}

fn full() -> Record {
    let mut r = samples::eddy();
    r.pickup.over = Some("first coil".into());
    r.pickup.r_ohm = Some(6050.0);
    r.pickup.temperature_c = Some(23.0);
    r.pickup.r20_ohm = Some(5979.5);
    r.pickup.note = Some("second try, new bobbin".into());
    r.notes = vec!["exciter.series_ohm taken as exact: the rig states no tolerance".into()];
    r.drive = Some(Drive {
        shape: "sweep".into(),
        rate_hz: 96_000,
        seconds: 3.0,
        from_hz: 20.0,
        to_hz: 20_000.0,
        level_dbfs: -12.0,
        seed: None,
    });
    r.capture.latency_s = Some(0.0123);
    r.capture.clock_ppm = Some(-41.3);
    r.capture.mains_hz = Some(49.98);
    r.repeats = [2899.0, 2901.0]
        .map(|f| Repeat {
            f0_hz: samples::e(f, 2.0, 0.5),
            q: samples::e(1.4, 0.005, 0.002),
            peak_hz: Some(samples::e(f - 400.0, 2.0, 0.5)),
            peak_db: None,
            mutual_h: None,
        })
        .to_vec();
    r
}

/// With where it lies.
fn whole(record: &Record, style: Style) -> String {
    measure_text(record, style) + &written_text(&files(), style)
}

#[test]
fn clean_reading() {
    insta::assert_snapshot!(whole(&Recipe::default().record(), Style::default()));
}

#[test]
fn everything_known_with_details() {
    insta::assert_snapshot!(whole(&full(), detailed()));
}

#[test]
fn rejected_take() {
    let text = measure_text(&samples::rejected(), Style::default());
    assert!(text.contains("no reading, measure again: "));
    insta::assert_snapshot!(text);
}

#[test]
fn simulated_without_rig_and_peak() {
    let mut r = Recipe {
        q: 0.6,
        ..Recipe::default()
    }
    .record();
    r.notes = vec![
        "simulated".into(),
        "no rig given: f0 and Q may be off by the exciter's corner".into(),
    ];
    r.capture.simulated = true;
    r.rig = Default::default();
    r.load = None;
    if let Some(x) = r.resonance.as_mut() {
        x.polarity_referenced = false;
    }
    insta::assert_snapshot!(measure_text(&r, Style::default()));
}

#[test]
fn peak_off_the_curve_other_polarity_narrow() {
    let mut r = Recipe {
        scatter_db: 0.6,
        ..Recipe::default()
    }
    .record();
    if let Some(x) = r.resonance.as_mut() {
        x.polarity = -1;
        x.peak_from = PeakFrom::Curve;
    }
    r.findings = vec![Finding {
        code: Code::LowSnr,
        level: Level::Warning,
        text: "the noise alone leaves f0 uncertain by 0.6 %; turn the exciter up or bring it nearer".into(),
    }];
    r.verdict = Verdict::from_findings(&r.findings);
    let style = Style {
        width: 50,
        ..Style::default()
    };
    insta::assert_snapshot!(whole(&r, style));
}

fn several() -> Vec<Record> {
    vec![
        Recipe::default().record(),
        full(),
        samples::rejected(),
        samples::simulated(),
        Recipe {
            name: "Neck coil, wound by hand with the machine's counter broken",
            q: 0.6,
            ..Recipe::default()
        }
        .record(),
    ]
}

#[test]
fn comparison() {
    let records = several();
    let mut c = compare(&records, &How::default()).unwrap();
    difference_words::put(&mut c, &records);
    insta::assert_snapshot!(compare_text(&records, &c, Style::default()));
    insta::assert_snapshot!(compare_text(&records, &c, detailed()));
}

#[test]
fn batch() {
    let failed = [(
        PathBuf::from("takes/empty.wav"),
        "no sample in it; record it again".to_string(),
    )];
    insta::assert_snapshot!(batch_text(&several(), &failed, Style::default()));
    let narrow = Style {
        width: 60,
        ..Style::default()
    };
    insta::assert_snapshot!(batch_text(&several(), &[], narrow));
}

#[test]
fn colour_changes_no_letter() {
    let style = Style {
        colour: true,
        ..detailed()
    };
    let painted = whole(&full(), style);
    assert!(painted.contains("\u{1b}["));
    assert_eq!(
        anstream::adapter::strip_str(&painted).to_string(),
        whole(&full(), detailed())
    );
}

#[test]
fn no_statistics_on_the_normal_screen() {
    let text = whole(&full(), Style::default()).to_lowercase();
    for word in ["chi", "bic", "sigma", "u_noise", "standard", "degree", "bins", "corr"] {
        assert!(!text.contains(word), "{word} in\n{text}");
    }
}

#[test]
fn a_name_cannot_steer_the_terminal() {
    let mut r = Recipe::default().record();
    r.pickup.name = "evil\u{1b}[2J\nname\u{7}".into();
    r.notes = vec!["a\u{1b}]0;b".into()];
    r.id = "\u{9b}31m".into();
    let files = [PathBuf::from("a\u{1b}b/c.json")];
    let text = measure_text(&r, detailed()) + &written_text(&files, detailed());
    assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
    assert!(text.starts_with("evil [2J name\n"));
}

/// What the page of symptoms calls by a name in quotes is called so on the screen, and none is missing.
#[test]
fn symptoms_are_named_as_they_are_shown() {
    let page = include_str!("../../../docs/day/symptoms.md");
    let schema: serde_json::Value = serde_json::from_str(include_str!("../../../docs/record.schema.json")).unwrap();
    for code in schema["$defs"]["Code"]["enum"].as_array().unwrap() {
        let name = crate::report::words::finding(serde_json::from_value(code.clone()).unwrap());
        assert!(page.contains(&format!("\"{name}\"")), "{name}");
    }
}

/// Said once a day: what is the same from reading to reading is one line, what is new stands out, and `--details` has all.
#[test]
fn what_was_said_today_is_one_line() {
    let mut r = samples::simulated();
    let note = |text: &str| Finding {
        code: Code::Hum,
        level: Level::Note,
        text: text.into(),
    };
    r.findings = vec![note(
        "mains hum (50.01 Hz and multiples) at -51 dB of the pickup's signal",
    )];
    let said = said_of(&r).collect();
    r.findings = vec![note(
        "mains hum (49.98 Hz and multiples) at -47 dB of the pickup's signal",
    )];
    r.notes.push("only the first two of four channels are used".into());
    let again = measure_text_after(&r, Style::default(), &said);
    assert!(
        !again.contains("-47 dB") && again.contains("as earlier today: mains hum"),
        "{again}"
    );
    assert!(again.contains("only the first two of four channels"), "{again}");
    let all = measure_text_after(&r, detailed(), &said);
    assert!(all.contains("-47 dB") && !all.contains("as earlier today"), "{all}");
    // A warning is never one of them.
    r.findings[0].level = Level::Warning;
    assert!(measure_text_after(&r, Style::default(), &said).contains("-47 dB"));
}
