//! How often a lot without fault has an odd one or a drift, and how often they are found; how often an experiment's answer is wrong.
//! Nothing of the program makes the pickups.

use std::sync::LazyLock;

use coilwright::estimate::Estimate;
use coilwright::record::{Record, store};
use coilwright::shop::difference::How;
use coilwright::shop::experiment::{self, Made};
use coilwright::shop::order::document::{LotDocument, OfLot, Told};
use coilwright::shop::order::lot;
use coilwright::shop::yardstick::{Answer, Matters};
use coilwright::stats::odd::odd;
use coilwright::stats::trend::Trend;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use crate::joint_sim::{Draw, Numbers};

const TRIALS: usize = 4000;
/// Of whole lots and groups.
const LOTS: usize = 400;
/// How pickups made alike scatter: peak, Q and ohms (relative), level (dB).
const MADE: [f64; 4] = [0.008, 0.03, 0.01, 0.4];
/// What laying one down does, as is usual: the meter's is a guess.
const LAID: [f64; 4] = [0.0015, 0.01, 0.002, 0.3];

fn draw(seed: u64) -> Draw {
    Draw(ChaCha8Rng::seed_from_u64(seed))
}

/// In a hundred.
fn share(of: usize, hits: impl Fn(usize) -> bool) -> f64 {
    100.0 * (0..of).filter(|i| hits(*i)).count() as f64 / of as f64
}

/// By four standard deviations of such a count no more than it may be.
#[track_caller]
fn at_most(what: &str, got: f64, percent: f64, of: usize) {
    let by_chance = 4.0 * (percent * (100.0 - percent) / of as f64).sqrt();
    println!("{what}: {got:.1} % of {of} ({percent} %)");
    assert!(got <= percent + by_chance, "{what}: {got} %");
}

/// Clean lots have an odd one, and a drift, as often as was asked for.
#[test]
fn clean_samples_are_clean() {
    for n in [6, 12, 24] {
        let mut d = draw(n as u64);
        let all: Vec<Vec<f64>> = (0..TRIALS).map(|_| (0..n).map(|_| d.normal()).collect()).collect();
        for level in [0.05, 0.01] {
            let named = share(TRIALS, |i| !odd(&all[i], level).is_empty());
            at_most(&format!("odd of {n}"), named, 100.0 * level, TRIALS);
            let placed = |i: usize| {
                all[i]
                    .iter()
                    .enumerate()
                    .map(|(k, v)| (k as f64, *v))
                    .collect::<Vec<_>>()
            };
            let drifts = share(TRIALS / 4, |i| Trend::of(&placed(i)).unwrap().p < level);
            at_most(&format!("drift of {n}"), drifts, 100.0 * level, TRIALS / 4);
        }
        // The interval of the slope holds what is: none.
        let held = share(TRIALS / 4, |i| {
            let placed: Vec<_> = all[i].iter().enumerate().map(|(k, v)| (k as f64, *v)).collect();
            let [from, to] = Trend::of(&placed).unwrap().slope_95;
            from <= 0.0 && 0.0 <= to
        });
        assert!(held >= 93.5, "slopes of {n}: {held} %");
    }
}

fn record(name: &str, values: [f64; 4]) -> Record {
    static BARE: LazyLock<Record> = LazyLock::new(|| {
        let file = include_bytes!("../../fixtures/records/0.1.0/record.json");
        let curve = None;
        Record {
            curve,
            ..store::parse(file, "record.json".as_ref()).unwrap()
        }
    });
    let mut r = BARE.clone();
    (r.id, r.pickup.name) = (name.into(), name.into());
    let [peak, q, ohms, level] = values;
    (r.pickup.r_ohm, r.pickup.temperature_c) = (Some(ohms), Some(20.0));
    let x = r.resonance.as_mut().unwrap();
    let e = |v: f64, u: f64| Estimate::new(v, u, u);
    (x.peak_hz, x.level_db, x.peak_db) = (e(peak, 1e-4 * peak), e(level, 5e-3), None);
    (x.f0_hz, x.q) = (e(1.05 * peak, 0.1).unwrap(), e(q, 1e-3 * q).unwrap());
    r
}

/// One pickup, made and laid down; `up`: by how much it differs, as each is compared.
fn pickup(name: &str, up: [f64; 4], d: &mut Draw) -> Record {
    let mut z = [0.0; 4];
    for i in 0..4 {
        z[i] = up[i] + MADE[i] * d.normal() + LAID[i] * d.normal();
    }
    let [peak, q, ohms, level] = z;
    record(
        name,
        [4000.0 * peak.exp(), 2.5 * q.exp(), 8000.0 * ohms.exp(), -46.0 + level],
    )
}

fn read(n: u32, d: &mut Draw, up: impl Fn(u32) -> [f64; 4]) -> LotDocument {
    let all: Vec<(u32, Record)> = (1..=n).map(|i| (i, pickup(&format!("a-{i:02}"), up(i), d))).collect();
    lot("a", &all, &Matters::default()).unwrap()
}

fn any(d: &LotDocument, of: impl Fn(&Told) -> bool) -> bool {
    d.quantities.iter().filter_map(|q: &OfLot| q.told.as_ref()).any(of)
}

/// Whole lots, four quantities together: at most one clean lot of twenty has an odd one, and as many a drift; one of twelve that is
/// off by six times what they scatter by, two such, and a drift of four times that are found.
#[test]
fn lots() {
    for n in [6, 12, 24] {
        let mut d = draw(100 + u64::from(n));
        let clean: Vec<LotDocument> = (0..LOTS).map(|_| read(n, &mut d, |_| [0.0; 4])).collect();
        at_most("odd", share(LOTS, |i| any(&clean[i], |t| !t.odd.is_empty())), 5.0, LOTS);
        at_most("drift", share(LOTS, |i| any(&clean[i], |t| t.trend.told)), 5.0, LOTS);
    }
    let far = |by: f64| [by * MADE[0], 0.0, 0.0, 0.0];
    let mut d = draw(7);
    let mut found = |n: u32, up: &dyn Fn(u32) -> [f64; 4], named: &dyn Fn(&LotDocument) -> bool| {
        let all: Vec<LotDocument> = (0..LOTS).map(|_| read(n, &mut d, up)).collect();
        share(LOTS, |i| named(&all[i]))
    };
    let odd = |d: &LotDocument, numbers: &[u32]| {
        let peak = d.quantities[0].told.as_ref().unwrap();
        numbers.iter().all(|n| peak.odd.iter().any(|o| o.number == *n))
    };
    let first = |d: &LotDocument| d.look_first.as_ref().is_some_and(|f| f.number == 5);
    let one = found(12, &|i| if i == 5 { far(6.0) } else { [0.0; 4] }, &|d| {
        odd(d, &[5]) && first(d)
    });
    let two = found(24, &|i| if i % 12 == 5 { far(6.0) } else { [0.0; 4] }, &|d| {
        odd(d, &[5, 17])
    });
    let drift = found(24, &|i| far(4.0 * f64::from(i) / 24.0), &|d| {
        d.quantities[0].told.as_ref().unwrap().trend.told
    });
    println!("found: one odd of twelve {one} %, two of 24 {two} %, a drift over 24 {drift} %");
    assert!(one >= 70.0 && two >= 79.0 && drift >= 95.0, "{one} {two} {drift}");
}

fn groups(n: u32, up: [f64; 4], d: &mut Draw) -> (Answer, Vec<(String, Answer)>) {
    let mut side = |letter: char, turns: &str, up: [f64; 4]| -> Vec<Made> {
        let one = |i: u32| Made {
            recipe: [("turns".to_owned(), turns.to_owned())].into(),
            record: pickup(&format!("{letter}-{i}"), up, d),
        };
        (0..n).map(one).collect()
    };
    let (a, b) = (side('a', "8000", [0.0; 4]), side('b', "8400", up));
    let c = experiment::of_groups(&a, &b, &How::default())
        .unwrap()
        .comparisons
        .remove(0);
    let each = c
        .effects
        .iter()
        .map(|e| (e.judged.quantity.code().to_owned(), e.judged.answer));
    (c.answer, each.collect())
}

/// Groups that differ by what matters, or by nothing, are called different in at most one of twenty; those that differ by what
/// matters in one quantity, the same in at most one of twenty; three times what matters is found.
#[test]
fn experiments() {
    const MATTERS: [f64; 4] = [0.01, 0.05, 0.02, 2.0];
    for n in [3, 8] {
        let mut d = draw(200 + u64::from(n));
        let none: Vec<_> = (0..LOTS).map(|_| groups(n, [0.0; 4], &mut d)).collect();
        at_most(
            "no difference called one",
            share(LOTS, |i| none[i].0 == Answer::Different),
            5.0,
            LOTS,
        );
        let edge: Vec<_> = (0..LOTS).map(|_| groups(n, MATTERS, &mut d)).collect();
        at_most(
            "what just matters called different",
            share(LOTS, |i| edge[i].0 == Answer::Different),
            5.0,
            LOTS,
        );
        for quantity in ["peak", "q", "ohms", "level"] {
            let same = |i: usize| edge[i].1.iter().any(|(q, a)| q == quantity && *a == Answer::Same);
            at_most(
                &format!("{quantity} that just matters called the same"),
                share(LOTS, same),
                5.0,
                LOTS,
            );
        }
        let thrice: Vec<_> = (0..LOTS).map(|_| groups(n, MATTERS.map(|m| 3.0 * m), &mut d)).collect();
        let found = share(LOTS, |i| thrice[i].0 == Answer::Different);
        println!("three times what matters, {n} a side: {found} %");
        assert!(found >= if n > 3 { 95.0 } else { 50.0 });
    }
}
