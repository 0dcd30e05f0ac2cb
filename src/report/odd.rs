//! Records as nobody would make them: nothing in this module may panic on one, and no line may grow too long.

use std::path::PathBuf;

use proptest::prelude::*;

use super::knock_plot;
use super::overlay::{Align, compare_plot};
use super::plot::response_plot;
use super::samples::Recipe;
use super::sheet::Plot;
use super::text::{Style, batch_text, compare_text, measure_text, written_text};
use crate::estimate::Estimate;
use crate::record::knock::{Knock, KnockPeak, KnockSpectrum, LeftOut, Tap};
use crate::record::*;
use crate::report::difference_words;
use crate::shop::difference::{How, compare};
use crate::wrap::columns;

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -50.0..50.0f64,
        4 => 10.0..30_000.0f64,
        1 => prop::sample::select(vec![0.0, -0.0, 1e-300, 1e300, -1e300, f64::MAX, f64::MIN_POSITIVE, 1e12, -1e7]),
        1 => any::<f64>().prop_filter("as JSON has it", |x| x.is_finite()),
    ]
}

fn estimate() -> impl Strategy<Value = Estimate> {
    (number(), number(), number()).prop_map(|(value, u, n)| Estimate {
        value,
        u: u.abs(),
        u_noise: n.abs(),
    })
}

fn word() -> impl Strategy<Value = String> {
    prop_oneof![
        3 => "[ a-z0-9.,;:-]{0,30}",
        1 => "\\PC{0,40}",
        1 => any::<String>(),
        1 => Just("x".repeat(300)),
        1 => Just("<&\">' \u{0} \u{1b}[31m \u{ffff} \u{202e} 磁気 ±µΩ".to_string()),
    ]
}

fn column(sorted: bool) -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(number(), 0..60).prop_map(move |mut v| {
        if sorted {
            v.iter_mut().for_each(|x| *x = x.abs());
            v.sort_by(f64::total_cmp);
        }
        v
    })
}

fn curve() -> impl Strategy<Value = Option<Curve>> {
    let odd = (
        any::<bool>().prop_flat_map(column),
        column(false),
        column(false),
        column(false),
    )
        .prop_map(|(freq_hz, mag_db, u_db, model_db)| Curve {
            freq_hz,
            mag_db,
            phase_deg: vec![],
            u_db,
            model_db,
        });
    prop_oneof![
        1 => Just(None),
        1 => Just(Some(Curve::default())),
        3 => odd.prop_map(Some),
        3 => (20.0..40_000.0f64, 0.01..1000.0f64, 0.0..20.0f64)
            .prop_map(|(f0, q, scatter_db)| Recipe { f0, q, scatter_db, ..Recipe::default() }.record().curve),
    ]
}

prop_compose! {
    fn resonance()(
        f0_hz in estimate(), q in estimate(), peak_hz in prop::option::of(estimate()),
        peak_db in prop::option::of(estimate()), mutual_h in prop::option::of(estimate()),
        level_db in prop::option::of(estimate()), polarity in any::<i8>(), polarity_referenced in any::<bool>(),
        from_curve in any::<bool>(), corr_f0_q in number(),
    ) -> Resonance {
        let peak_from = if from_curve { PeakFrom::Curve } else { PeakFrom::Model };
        Resonance { f0_hz, q, local: false, corr_f0_q, peak_hz, peak_db, peak_from, mutual_h, polarity, polarity_referenced, level_db,
            definition: Definition::Plain, u_lay: None, u_day: None }
    }
}

prop_compose! {
    fn fit()(
        a in number(), b in number(), bins in any::<u64>(), chi in number(), rms in number(),
        eddy in prop::option::of((estimate(), estimate(), estimate(), estimate(), number(), number())),
        name in word(), u in prop::option::of(number()),
    ) -> Fit {
        Fit {
            model: if eddy.is_some() { Model::Eddy } else { Model::SecondOrder },
            plain: None,
            shift_s: None,
            band_hz: [a, b],
            bins,
            reduced_chi2: chi,
            rms_residual_db: rms,
            eddy: eddy.map(|(f0_hz, q, pole_s, zero_s, delta_bic, reduced_chi2)| Eddy {
                f0_hz, q, pole_s, zero_s, delta_bic, reduced_chi2,
            }),
            nuisance: [(name.clone(), Nuisance { value: a, u })].into(),
            noise_from: name,
        }
    }
}

fn finding() -> impl Strategy<Value = Finding> {
    let code = prop::sample::select(vec![
        Code::Hum,
        Code::NoSignal,
        Code::PoorFit,
        Code::NoPeak,
        Code::InputLoading,
    ]);
    let level = prop::sample::select(vec![Level::Note, Level::Warning, Level::Reject]);
    (code, level, word()).prop_map(|(code, level, text)| Finding { code, level, text })
}

prop_compose! {
    fn knock()(
        taps in any::<u32>(), used in any::<u32>(), level_db in estimate(), noise_db in number(),
        peaks in prop::collection::vec((estimate(), estimate(), prop::option::of(estimate())), 0..7),
        taken in prop::collection::vec((number(), prop::option::of(estimate()), 0usize..5), 0..4),
        freq_hz in any::<bool>().prop_flat_map(column), columns in prop::collection::vec(column(false), 3),
    ) -> Knock {
        let why = [None, Some(LeftOut::Overlap), Some(LeftOut::Clipped), Some(LeftOut::Cut), Some(LeftOut::Weak)];
        Knock {
            taps, used, level_db, noise_db,
            peaks: peaks.into_iter().map(|(hz, level_db, decay_s)| KnockPeak { hz, level_db, decay_s }).collect(),
            single: taken.into_iter().map(|(at_s, level_db, i)| Tap { at_s, level_db, left_out: why[i] }).collect(),
            spectrum: KnockSpectrum {
                freq_hz, level_db: columns[0].clone(), u_db: columns[1].clone(), noise_db: columns[2].clone(),
            },
            take: None,
        }
    }
}

prop_compose! {
    fn record()(
        words in prop::collection::vec(word(), 8), numbers in prop::collection::vec(prop::option::of(number()), 8),
        resonance in prop::option::weighted(0.8, resonance()), fit in prop::option::of(fit()), curve in curve(),
        findings in prop::collection::vec(finding(), 0..4), verdict in prop::option::of(Just(Verdict::Ok)),
        given in any::<bool>(), load in any::<bool>(), knock in prop::option::of(knock()),
    ) -> Record {
        let mut r = Recipe::default().record();
        let w = |i: usize| words[i].clone();
        r.pickup = Pickup {
            name: w(0), over: Some(w(1)), note: Some(w(2)),
            r_ohm: numbers[0], temperature_c: numbers[1], r20_ohm: numbers[2],
            ohmmeter: None,
            stage: None,
            by: Some(w(5)),
        };
        r.taken_at = w(3);
        r.id = w(4);
        r.rig.given = given;
        r.rig.name = Some(w(5));
        r.load = load.then(|| LoadSummary { text: w(6) });
        r.notes = vec![w(7)];
        r.capture.snr_db = numbers[3];
        r.capture.hum_db = numbers[4];
        r.capture.latency_s = numbers[5];
        r.capture.clock_ppm = numbers[6];
        r.capture.mains_hz = numbers[7];
        r.resonance = resonance;
        r.fit = fit;
        r.curve = curve;
        r.knock = knock;
        r.verdict = verdict.unwrap_or(Verdict::from_findings(&findings));
        r.findings = findings;
        r
    }
}

fn lines_fit(text: &str, style: Style) {
    for line in text.lines() {
        assert!(columns(line) <= style.usable(), "{line:?}");
        assert!(!line.chars().any(char::is_control), "{line:?}");
    }
}

/// Balanced elements, no bare ampersand, no character that XML forbids.
pub fn well_formed(svg: &str) {
    let mut open = Vec::new();
    let mut rest = svg;
    while let Some(start) = rest.find('<') {
        let text = &rest[..start];
        for tail in text.split('&').skip(1) {
            let entity = tail.split(';').next().unwrap_or("");
            assert!(["amp", "lt", "gt", "quot", "apos"].contains(&entity), "&{entity}");
        }
        let end = start + rest[start..].find('>').expect("an element that ends");
        let tag = &rest[start + 1..end];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name));
        } else if !tag.ends_with('/') {
            open.push(tag.split_whitespace().next().unwrap_or("").to_string());
        }
        rest = &rest[end + 1..];
    }
    assert!(open.is_empty(), "{open:?}");
    let forbidden = |c: char| (c < ' ' && !"\t\n\r".contains(c)) || c == '\u{fffe}' || c == '\u{ffff}';
    assert!(!svg.contains(forbidden));
    assert!(!svg.contains("NaN") && !svg.contains("inf\""));
}

fn drawn(plot: &Plot) {
    well_formed(&plot.svg);
    assert!(plot.png.starts_with(b"\x89PNG"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn screens(records in prop::collection::vec(record(), 1..5), colour in any::<bool>(), width in 0usize..200) {
        for details in [false, true] {
            let style = Style { colour: false, width, details };
            for r in &records {
                lines_fit(&measure_text(r, style), style);
                measure_text(r, Style { colour, ..style });
            }
            lines_fit(&written_text(&[PathBuf::from("a/b.json"), PathBuf::from("a/c.svg")], style), style);
            lines_fit(&batch_text(&records, &[(PathBuf::from("x.wav"), "why".into())], style), style);
            if let Ok(mut c) = compare(&records, &How::default()) {
                difference_words::put(&mut c, &records);
                lines_fit(&compare_text(&records, &c, style), style);
                let json = serde_json::to_string(&c).unwrap();
                let null = json.contains("\"value\":null");
                prop_assert!(!null);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 20, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn plots(records in prop::collection::vec(record(), 0..14)) {
        for r in records.iter().take(2) {
            drawn(&response_plot(r).unwrap());
            if let Some(k) = &r.knock {
                drawn(&knock_plot::taps(r, k).unwrap());
            }
        }
        for align in [Align::LowFrequency, Align::Coupling] {
            drawn(&compare_plot(&records, align).unwrap());
        }
    }
}
