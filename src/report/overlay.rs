//! The plot of several records in one field.

use super::family::{self, Sheetful};
use super::lay::Item;
use super::plot::Series;
use super::sheet::Plot;
use super::words;
use crate::failure::Result;
use crate::record::Record;
use crate::shop::yardstick::Quantity;

pub use super::family::MOST;

/// What 0 dB is for each curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Align {
    /// Each record's own level at low frequency.
    #[default]
    LowFrequency,
    /// The first record's level at low frequency: shows the coupling from the exciter too. Where a level is not known,
    /// as `LowFrequency`.
    Coupling,
}

/// Overlays up to [`MOST`] records; of more, the rest is counted in the caption.
pub fn compare_plot(records: &[Record], align: Align) -> Result<Plot> {
    let shown = records.get(..MOST).unwrap_or(records);
    let heading = match (shown.len(), records.len()) {
        (n, all) if all > n => format!("The first {n} of {all} responses"),
        (n, _) => format!("{n} responses"),
    };
    let remark = match align {
        Align::LowFrequency => "0 dB: each one's level at low frequency",
        Align::Coupling => {
            "0 dB: A's level at low frequency; levels are coupling from the exciter, not loudness from a string"
        }
    };
    let item = |(r, apart): (&Record, Option<String>)| {
        let (line, peak) = trace(r, records.first(), align);
        // Where all are, the stamp says it, and the names need the room.
        let mark = r.is_simulated() && !shown.iter().all(Record::is_simulated);
        Item {
            name: words::name(r) + &words::of(apart, |a| format!(", {a}")),
            mark: if mark { " (simulated)" } else { "" }.into(),
            numbers: intervals(r).unwrap_or_else(|| words::headline(r)),
            short_numbers: words::headline(r),
            line,
            peak,
            ..Item::default()
        }
    };
    family::draw(&Sheetful {
        title: format!("Responses of {}", words::list(shown.iter().map(words::name))),
        heading,
        remark: remark.into(),
        vertical: "response (dB)",
        simulated: records.iter().any(Record::is_simulated),
        // More than three lie too close for the eye.
        closer: shown.len() > 3,
        nothing: "No curve to show: none of the records has a reading",
        items: shown.iter().zip(words::told_apart(shown)).map(item).collect(),
    })
}

type Curve = Vec<(f64, f64)>;

/// The curve as aligned, and its peak.
fn trace(record: &Record, first: Option<&Record>, align: Align) -> (Curve, Option<(f64, f64)>) {
    let reading = record.reading();
    let peak = reading.and_then(|r| Some((r.peak_hz?.value, r.peak_db?.value)));
    let peak = peak.filter(|p| p.0.is_finite() && p.1.abs() < 1e4);
    let level = |r: &Record| r.reading().and_then(|x| x.level_db).map(|l| l.value);
    let shift = match align {
        Align::LowFrequency => None,
        Align::Coupling => first.and_then(|f| Some(level(record)? - level(f)?)),
    };
    let shift = shift.filter(|s| s.abs() < 1e4).unwrap_or(0.0);
    let line = match (reading, &record.curve) {
        (Some(_), Some(c)) => Series::new(c).measured.iter().map(|p| (p.0, p.1 + shift)).collect(),
        _ => vec![],
    };
    (line, peak.map(|p| (p.0, p.1 + shift)))
}

fn intervals(record: &Record) -> Option<String> {
    let (peak, q) = (words::peak_intervals(record)?, words::shown(record, Quantity::Q)?);
    Some(format!("peak {peak}, Q {q} {}", words::mark([record])))
}

#[cfg(test)]
mod tests {
    use super::super::palette::SERIES;
    use super::super::samples::{self, Recipe};
    use super::*;

    fn several(n: usize, spread: f64) -> Vec<Record> {
        let names = [
            "Bridge no. 1",
            "Bridge no. 2",
            "Neck, 42 wire",
            "Neck, 43 wire",
            "A long name of a pickup that goes on and on",
            "Öl-getränkt",
            "no. 7",
        ];
        (0..n)
            .map(|i| {
                Recipe {
                    name: names[i % names.len()],
                    f0: 3500.0 * (1.0 + spread * (i as f64 - n as f64 / 2.0)),
                    q: 2.9 - 0.12 * i as f64,
                    scatter_db: 0.02,
                    seed: i as u64 + 1,
                    ..Recipe::default()
                }
                .record()
            })
            .collect()
    }

    #[test]
    fn every_record_has_its_letter_and_line() {
        let plot = compare_plot(&several(13, 0.05), Align::LowFrequency).unwrap();
        crate::report::odd::well_formed(&plot.svg);
        assert!(plot.svg.contains("The first 12 of 13 responses"));
        for letter in 'A'..='L' {
            // On the curve and in the legend.
            assert_eq!(plot.svg.matches(&format!(">\n{letter}\n<")).count(), 2, "{letter}");
        }
        for (pen, _) in SERIES {
            let colour = format!(
                "stroke=\"#{:02X}{:02X}{:02X}\"",
                pen.colour.0, pen.colour.1, pen.colour.2
            );
            assert!(plot.svg.contains(&colour), "{colour}");
        }
    }

    #[test]
    fn letters_never_stand_on_each_other() {
        for spread in [0.0, 0.001, 0.03] {
            let svg = compare_plot(&several(12, spread), Align::LowFrequency).unwrap().svg;
            let mut at: Vec<(f64, f64)> = Vec::new();
            for tag in svg.split("<text").skip(1) {
                let words = tag.split_once('>').unwrap().1.split('<').next().unwrap().trim();
                let of = |key: &str| {
                    tag.split(key)
                        .nth(1)
                        .unwrap()
                        .split('"')
                        .next()
                        .unwrap()
                        .parse::<f64>()
                        .unwrap()
                        / 20.0
                };
                if words.len() == 1 && ('A'..='L').contains(&words.chars().next().unwrap()) {
                    at.push((of("x=\""), of("y=\"")));
                }
            }
            assert!(at.len() > 20, "{spread}: {}", at.len());
            for (i, a) in at.iter().enumerate() {
                let apart = |b: &(f64, f64)| (a.0 - b.0).abs() > 2.0 || (a.1 - b.1).abs() > 2.5;
                assert!(at[..i].iter().all(apart), "{spread}: {a:?}");
            }
        }
    }

    #[test]
    fn more_than_three_are_shown_from_near_as_well() {
        let svg = |n| compare_plot(&several(n, 0.05), Align::LowFrequency).unwrap().svg;
        let (three, four) = (svg(3), svg(4));
        assert!(four.contains("each less the first") && four.contains("the peaks from near"));
        assert!(!three.contains("each less the first"));
        assert!(three.contains("height=\"105mm\"") && four.contains("height=\"191mm\""));
    }

    #[test]
    fn series_differ_without_colour() {
        for (i, (a, m)) in SERIES.iter().enumerate() {
            for (b, n) in &SERIES[..i] {
                assert!(m != n);
                assert!(a.dash != b.dash || (a.width - b.width).abs() > 0.2);
            }
        }
    }

    #[test]
    fn levels_are_said_to_be_coupling() {
        let svg = compare_plot(&several(2, 0.1), Align::Coupling).unwrap().svg;
        assert!(svg.contains("coupling from the exciter, not loudness from a string"));
    }

    #[test]
    #[ignore = "writes pictures for the eye"]
    fn gallery() {
        let Ok(dir) = std::env::var("PLOTS") else { return };
        let mut mixed = several(3, 0.1);
        mixed.push(samples::rejected());
        mixed.push(samples::simulated());
        let mut levels = several(3, 0.1);
        levels[1].resonance.as_mut().unwrap().level_db = Some(samples::e(-51.0, 0.1, 0.1));
        let mut wide = several(12, 0.09);
        wide[11] = Recipe {
            f0: 14_000.0,
            q: 9.0,
            ..Recipe::default()
        }
        .record();
        wide[10] = Recipe {
            f0: 19_500.0,
            q: 9.0,
            ..Recipe::default()
        }
        .record();
        for (name, records, align) in [
            ("two", several(2, 0.06), Align::LowFrequency),
            ("twelve", several(12, 0.03), Align::LowFrequency),
            ("wide", wide, Align::LowFrequency),
            ("close", several(12, 0.001), Align::LowFrequency),
            ("mixed", mixed, Align::LowFrequency),
            ("coupling", levels, Align::Coupling),
            (
                "none",
                vec![samples::rejected(), samples::rejected()],
                Align::LowFrequency,
            ),
        ] {
            let t = std::time::Instant::now();
            let plot = compare_plot(&records, align).unwrap();
            eprintln!(
                "{name}: {:?}, svg {} kB, png {} kB",
                t.elapsed(),
                plot.svg.len() / 1000,
                plot.png.len() / 1000
            );
            std::fs::write(format!("{dir}/c-{name}.svg"), plot.svg).unwrap();
            std::fs::write(format!("{dir}/c-{name}.png"), plot.png).unwrap();
        }
    }
}
