use super::*;
use crate::estimate::Estimate;
use crate::record::{Code, Cure, Finding, Level};
use crate::shop::figures::sample;

/// Clean scatter about 4 kHz, Q 2.5 and 8 kohm: half a per cent, two, one.
fn at(i: u32) -> [f64; 3] {
    let even = |k: u32| f64::from((i * k + 3) % 13) / 6.0 - 1.0;
    [
        4000.0 * (1.0 + 0.005 * even(5)),
        2.5 * (1.0 + 0.02 * even(7)),
        8000.0 * (1.0 + 0.01 * even(11)),
    ]
}

fn made(n: u32) -> Vec<Made> {
    let one = |i: u32| (i, sample(&format!("neck-12-{i:02}"), 2, at(i)));
    (1..=n).map(one).collect()
}

fn with(n: u32, number: u32, change: impl Fn(&mut Record)) -> LotDocument {
    let mut all = made(n);
    all.iter_mut().filter(|m| m.0 == number).for_each(|m| change(&mut m.1));
    lot("neck-12", &all, &Matters::default()).unwrap()
}

fn first(d: &LotDocument) -> (u32, Why) {
    d.look_first.as_ref().map(|f| (f.number, f.why)).unwrap()
}

fn quantity<'a>(d: &'a LotDocument, code: &str) -> &'a OfLot {
    d.quantities.iter().find(|q| q.quantity.code() == code).unwrap()
}

#[test]
fn a_clean_lot_has_nothing_odd_and_somebody_farthest() {
    let d = with(13, 0, |_| ());
    assert_eq!(first(&d).1, Why::Farthest);
    for q in &d.quantities {
        let told = q.told.as_ref().unwrap();
        assert!(told.odd.is_empty() && !told.trend.told, "{q:?}");
    }
    let ohms = quantity(&d, "ohms");
    assert_eq!(ohms.meter.as_deref(), Some("meter A"));
    // By hand: 13 even steps from -1 to 1 have a standard deviation of sqrt(182/12)/6.
    let sd = 0.01 * (182f64 / 12.0).sqrt() / 6.0;
    assert!((ohms.sd / sd - 1.0).abs() < 0.02, "{ohms:?}");
    let own = ohms.own.unwrap();
    assert!((own.hypot(ohms.measuring) / ohms.sd - 1.0).abs() < 1e-9);
    // All are level alike: measuring may be all of it.
    assert_eq!(quantity(&d, "level").own, None);
}

#[test]
fn an_odd_one_is_looked_at_first() {
    let set = |r: &mut Record, by: f64| {
        let x = r.resonance.as_mut().unwrap();
        x.peak_hz = x.peak_hz.map(|p| Estimate::new(by * p.value, p.u, p.u_noise).unwrap());
    };
    for by in [1.06, 0.94] {
        let d = with(13, 7, |r| set(r, by));
        assert_eq!(first(&d), (7, Why::Odd));
        assert_eq!(d.look_first.unwrap().quantities, [Quantity::Peak]);
    }
    // The same step in a lot that is too small, and in one with a limit that makes it not matter.
    let d = with(5, 3, |r| set(r, 1.06));
    assert!(first(&d) == (3, Why::Farthest) && d.quantities.iter().all(|q| q.told.is_none()));
    let mut all = made(13);
    set(&mut all[6].1, 1.06);
    let wide = Matters::parse("peak=9%").unwrap();
    assert_eq!(first(&lot("a", &all, &wide).unwrap()), (7, Why::OddALittle));
}

/// Equal to the last digit but for one that is a per mille off: no more than measuring does.
#[test]
fn what_measuring_may_have_done_is_not_odd() {
    let mut all: Vec<Made> = (1..=12).map(|i| (i, sample(&format!("a-{i}"), 2, at(0)))).collect();
    all[4].1 = sample("a-5", 2, [at(0)[0] * 1.001, at(0)[1], at(0)[2]]);
    let d = lot("a", &all, &Matters::default()).unwrap();
    assert!(quantity(&d, "peak").told.as_ref().unwrap().odd.is_empty());
}

#[test]
fn the_other_sign_goes_before_all_and_a_warning_asks_for_another_take() {
    let d = with(13, 4, |r| r.resonance.as_mut().unwrap().polarity *= -1);
    assert!(d.turned == [4] && first(&d) == (4, Why::Turned));
    let d = with(13, 4, |r| {
        r.resonance.as_mut().unwrap().polarity *= -1;
        let mut warning = r.findings.first().cloned().unwrap_or(Finding {
            code: Code::Hum,
            level: Level::Warning,
            text: String::new(),
        });
        (warning.code, warning.level, warning.text) = (Code::Hum, Level::Warning, "hum".into());
        assert_eq!(warning.code.cure(), Cure::AnotherTake);
        r.findings = vec![warning];
    });
    assert_eq!(d.look_first.unwrap().measure_again.as_deref(), Some("hum"));
}

#[test]
fn a_lot_that_drifts_says_by_how_much() {
    let mut all = made(13);
    for (i, r) in &mut all {
        *r = sample(
            &r.pickup.name.clone(),
            2,
            [at(*i)[0] * (0.004 * f64::from(*i)).exp(), at(*i)[1], at(*i)[2]],
        );
    }
    let d = lot("a", &all, &Matters::default()).unwrap();
    let trend = quantity(&d, "peak").told.as_ref().unwrap().trend;
    assert!(trend.told && (trend.over_all - 12.0 * 0.004).abs() < 0.006, "{trend:?}");
    assert!(trend.from.unwrap() < 0.048 && trend.to.unwrap() > 0.048);
    assert_eq!(first(&d), (13, Why::Drift));
}

#[test]
fn what_does_not_go_with_the_rest_is_left_out_and_named() {
    let mut all = made(8);
    all[0].1.resonance = None;
    all[1].1.load = None;
    all[2].1.pickup.over = Some("the other coil".into());
    let d = lot("a", &all, &Matters::default()).unwrap();
    assert_eq!(d.left_out.iter().map(|l| l.number).collect::<Vec<_>>(), [1, 2, 3]);
    assert_eq!(d.pickups.len(), 5);
    assert_eq!(d.left_out[0].why, "no reading");
    assert!(d.left_out[1].why.contains("two loads"), "{:?}", d.left_out);
    let e = lot("a", &all[..1], &Matters::default()).unwrap_err().to_string();
    assert!(e.contains("none of the lot has a reading"), "{e}");
    // One alone: nothing to tell.
    let one = lot("a", &all[3..4], &Matters::default()).unwrap();
    assert!(one.quantities.is_empty() && one.look_first.is_none());
}
