use super::*;
use crate::record::Curve;
use crate::report::samples::e;
use crate::watch::document::{Figures, Held};
use crate::watch::{Pace, Reading, Unread};

fn reading(peak: f64, q: f64) -> Reading {
    let freq_hz: Vec<f64> = (0..180).map(|i| 150.0 * 1.03f64.powi(i)).collect();
    let db = |f: &f64| crate::report::samples::second_order_db(*f, peak, q);
    Reading {
        figures: Figures {
            peak_hz: Some(e(peak, 2.0, 1.0)),
            peak_db: Some(e(8.1, 0.05, 0.02)),
            f0_hz: e(1.04 * peak, 2.0, 1.0),
            q: e(q, 0.01, 0.005),
        },
        curve: Curve {
            mag_db: freq_hz.iter().map(db).collect(),
            freq_hz,
            ..Curve::default()
        },
    }
}

fn held(mark: char, name: &str, peak: f64) -> Held {
    let Reading { figures, curve } = reading(peak, 2.0);
    Held {
        mark,
        name: name.into(),
        figures,
        curve,
        difference: None,
    }
}

fn seen<'a>(pace: Pace, reading: Option<&'a Result<Reading, Unread>>, held: &'a [Held]) -> Seen<'a> {
    Seen {
        pickup: "neck-7",
        simulated: true,
        pace,
        reading,
        held,
        load: Some("vol=250k@1 cable=3m@100p/m"),
        said: "",
    }
}

#[test]
fn while_it_moves_nothing_else_is_said() {
    let reading = Ok(reading(4020.0, 2.5));
    let held = [held('A', "full up", 4300.0)];
    let v = view(&seen(Pace::Moving, Some(&reading), &held));
    assert_eq!((v.state, v.figures.len(), &v.curve), ("moving", 0, &None));
    assert_eq!((line(&v).as_str(), v.held[0].apart.as_str()), ("moving", ""));
    let v = view(&seen(Pace::Settling, Some(&reading), &held));
    assert_eq!((v.state, v.figures.len()), ("settling", 4));
    let text = frame(&v, "", (80, 24)).join("\n");
    // Grey, all of it: nothing is bold but the state.
    assert!(text.contains("\u{1b}[2m") && !text.contains("\u{1b}[1m█"), "{text}");
}

#[test]
fn a_difference_says_which_way_and_how_sure() {
    let reading = Ok(reading(4020.0, 2.5));
    let held = [held('A', "full up", 4300.0)];
    let v = view(&seen(Pace::Steady, Some(&reading), &held));
    assert_eq!(
        v.held[0].apart,
        "peak 280.0 ± 2.8 Hz lower, height unchanged within 0.055 dB, Q 0.500 ± 0.014 higher (95 %)"
    );
    let values: Vec<&str> = v.figures.iter().map(|f| f.value.as_str()).collect();
    assert_eq!(values, ["4.02", "+8.1", "4.181", "2.50"]);
}

#[test]
fn a_frame_keeps_to_its_room() {
    let reading = Ok(reading(4020.0, 2.5));
    let many: Vec<Held> = ('A'..='D')
        .map(|m| held(m, "a name of\u{1b}[2J some length", 3000.0))
        .collect();
    for (width, height) in [(40, 14), (80, 23), (160, 40), (60, 20)] {
        for pace in [Pace::Moving, Pace::Settling, Pace::Steady] {
            for h in [&many[..0], &many[..]] {
                let v = view(&seen(pace, Some(&reading), h));
                let lines = frame(&v, "space hold", (width, height));
                assert!(lines.len() <= height, "{width} {height} {}", lines.len());
                for l in &lines {
                    let bare = anstream::adapter::strip_str(l).to_string();
                    assert!(bare.chars().count() <= width, "{width}: {bare}");
                    assert!(!l.contains("\u{1b}[2J"));
                }
            }
        }
    }
}

#[test]
fn what_is_wrong_is_said_with_what_to_do() {
    for why in [
        Unread::PickupTooLoud,
        Unread::NoReference,
        Unread::NoAnswer,
        Unread::NoResonance,
    ] {
        let reading = Err(why);
        let v = view(&seen(Pace::Steady, Some(&reading), &[]));
        assert_eq!(v.state, "trouble");
        assert!(line(&v).contains(": "), "{}", line(&v));
    }
}
