//! Histories of a rig in use, and faults in them.

use super::history::{BASELINE, Check, History, Quantity};
use super::judging::{Expected, Judgement, Unjudged};
use crate::estimate::Estimate;
use crate::record::RigSummary;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Noise of a rig in use: f0 0.05 %, Q 0.5 %, level 0.1 dB (assumed), the lead's capacitance 1 pF between days of some 600.
struct Days {
    r: ChaCha8Rng,
    day: usize,
}

/// What is usual of a witness with 600 pF across it that is laid down for each check.
const EXPECTED: Expected = Expected {
    f0: 2e-3,
    q: 0.011,
    level_db: 0.32,
};

fn judged(h: &History, c: &Check) -> Judgement {
    h.judge(c, &EXPECTED)
}

impl Days {
    fn new(seed: u64) -> Self {
        Days {
            r: ChaCha8Rng::seed_from_u64(seed),
            day: 0,
        }
    }

    fn normal(&mut self) -> f64 {
        let mut even = || ((self.r.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
        (-2.0 * even().ln()).sqrt() * (std::f64::consts::TAU * even()).cos()
    }

    /// A check of a rig that is off by so much (relative in f0 and Q, dB in level).
    fn check(&mut self, f0: f64, q: f64, level: f64) -> Check {
        let lead = -0.5 * self.normal() / 600.0;
        self.day += 1;
        let (year, month, day) = (2020 + self.day / 336, 1 + self.day / 28 % 12, 1 + self.day % 28);
        let e = |v: f64, u: f64| Estimate::new(v, u * v.abs(), u * v.abs()).unwrap();
        Check {
            id: String::new(),
            taken_at: format!("{year}-{month:02}-{day:02}T08:00:00Z"),
            peak_hz: None,
            f0_hz: e(4000.0 * (1.0 + f0 + lead + 5e-4 * self.normal()), 5e-5),
            q: e(2.5 * (1.0 + q + 5e-3 * self.normal()), 5e-4),
            level_db: Some(e(-40.0 + level + 0.1 * self.normal(), 1e-4)),
            polarity: 1,
            sign: None,
            snr_db: None,
            noise_dbfs: Some(-90.0 + self.normal()),
            hum_db: None,
            hum_dbfs: Some(-90.0 + 2.0 * self.normal()),
            mains_hz: Some(50.0),
            clock_ppm: None,
            temperature_c: None,
            entered: Default::default(),
            folder: None,
            simulated: false,
            at: None,
            go: true,
        }
    }

    fn history(&mut self, n: usize) -> History {
        let mut h = History::new(&RigSummary::default(), "tin");
        h.checks = (0..n).map(|_| self.check(0.0, 0.0, 0.0)).collect();
        h
    }
}

/// False alarms over ten thousand good checks, each against a baseline of its own or with a long run since.
#[test]
fn at_most_one_false_alarm_in_a_hundred_checks() {
    let mut days = Days::new(5);
    for since in [0, 15] {
        let (mut alarms, n) = (0, 5000);
        for _ in 0..n {
            let h = days.history(BASELINE + since);
            let check = days.check(0.0, 0.0, 0.0);
            alarms += usize::from(!judged(&h, &check).go());
        }
        let share = alarms as f64 / f64::from(n);
        println!("{since} checks after the baseline: {:.2} % false alarms", 100.0 * share);
        assert!(share <= 0.012, "{share}");
    }
}

/// Days until a fault is found; the theory's number beside it is that of known limits.
fn days_until(mut fault: impl FnMut(usize) -> (f64, f64, f64), seed: u64) -> f64 {
    let mut days = Days::new(seed);
    let rounds = 200;
    let mut sum = 0;
    for _ in 0..rounds {
        let mut h = days.history(BASELINE);
        for day in 1..1000 {
            let (f0, q, level) = fault(day);
            let mut c = days.check(f0, q, level);
            let found = !judged(&h, &c).go();
            c.go = !found;
            h.checks.push(c);
            if found {
                sum += day;
                break;
            }
        }
    }
    f64::from(u32::try_from(sum).unwrap()) / f64::from(rounds)
}

/// 50 pF more of lead on 600: f0 4 % down, some forty sigmas: at once. Exciter 3 mm farther: some 3 dB. One input 1 dB down:
/// ten sigmas of level, at once. A drift of 0.1 % a week on a sigma of 0.1 %: five checks a week.
#[test]
fn faults_are_found_as_soon_as_theory_allows() {
    let lead = days_until(|_| (-0.04, 0.01, 0.0), 1);
    let farther = days_until(|_| (0.0, 0.0, -3.0), 2);
    let input = days_until(|_| (0.0, 0.0, -1.0), 3);
    let drift = days_until(|day| (-0.001 * day as f64 / 5.0, 0.0, 0.0), 4);
    println!("days until found: lead {lead}, exciter {farther}, input {input}, drift {drift}");
    assert!((lead, farther) == (1.0, 1.0) && input < 1.1, "{input}");
    // Sigma of f0 is 0.097 %; the average has its lag of four days and
    // limits of some two sigmas: about fifteen days.
    assert!((5.0..20.0).contains(&drift), "{drift}");
}

/// A room of 18 to 26 degrees, and a witness half of whose losses are copper's: no alarm for the weather, one for a joint.
#[test]
fn the_room_is_taken_out_of_q() {
    let mut days = Days::new(11);
    let room = |i: usize| 18.0 + (i * 5 % 9) as f64;
    let warm = |mut c: Check, t: f64| {
        c.temperature_c = Some(t);
        c.q.value *= (-0.5 * 0.00393 * (t - 22.0)).exp();
        c
    };
    let (mut alarms, mut found, n) = (0, 0, 400);
    for _ in 0..n {
        let mut h = days.history(BASELINE);
        for (i, c) in h.checks.iter_mut().enumerate() {
            *c = warm(c.clone(), room(i));
        }
        alarms += usize::from(!judged(&h, &warm(days.check(0.0, 0.0, 0.0), 30.0)).go());
        found += usize::from(!judged(&h, &warm(days.check(0.0, -0.037, 0.0), 22.0)).go());
    }
    println!("{alarms} alarms and {found} joints found of {n}");
    assert!(alarms <= 10 && found > 9 * n / 10, "{alarms} {found}");
    // A warm spell that was given what copper may do leaves nothing behind, and a forgotten room no alarm.
    let mut spell = days.history(BASELINE);
    spell.checks.iter_mut().for_each(|c| c.temperature_c = Some(21.0));
    for (n, room) in [(12, 31.0), (6, 21.0)] {
        for _ in 0..n {
            let mut c = days.check(0.0, 0.0, 0.0);
            c.temperature_c = Some(room);
            assert!(
                judged(&spell, &c).go(),
                "{room}: {:?}",
                judged(&spell, &c).get(Quantity::Q)
            );
            spell.checks.push(c);
        }
    }
    let mut h = days.history(BASELINE);
    for (i, c) in h.checks.iter_mut().enumerate() {
        *c = warm(c.clone(), room(i));
    }
    let mut untold = warm(days.check(0.0, 0.0, 0.0), 26.0);
    untold.temperature_c = None;
    assert!(judged(&h, &untold).go());
    // A steady room tells nothing of it: a warm day is given what copper may do.
    let mut h = days.history(BASELINE);
    h.checks.iter_mut().for_each(|c| c.temperature_c = Some(21.0));
    let mut hot = days.check(0.0, -0.04, 0.0);
    hot.temperature_c = Some(31.0);
    assert!(judged(&h, &hot).go());
    hot.temperature_c = Some(21.0);
    assert!(!judged(&h, &hot).go());
}

#[test]
fn jumps_drifts_and_noise_are_told_apart() {
    let mut days = Days::new(9);
    let h = days.history(BASELINE);
    let mut turned = days.check(0.0, 0.0, 0.0);
    turned.polarity = -1;
    let j = judged(&h, &turned);
    assert!(j.turned && !j.go());
    let jump = judged(&h, &days.check(-0.01, 0.0, 0.0));
    assert!(jump.get(Quantity::F0).unwrap().jumped() && !jump.get(Quantity::Level).unwrap().jumped());
    let mut noisy = days.check(0.0, 0.0, 0.0);
    noisy.noise_dbfs = Some(-70.0);
    assert!(!judged(&h, &noisy).go());
    // Checks of old do not know their noise: those that do judge it.
    let mut old = h.clone();
    old.checks.iter_mut().take(15).for_each(|c| c.noise_dbfs = None);
    let j = judged(&old, &noisy);
    assert!(
        j.get(Quantity::Noise).unwrap().jumped() && j.unjudged.is_empty(),
        "{j:?}"
    );
    old.checks.iter_mut().for_each(|c| c.noise_dbfs = None);
    let j = judged(&old, &noisy);
    assert!(
        j.go()
            && matches!(
                j.unjudged[..],
                [Unjudged {
                    quantity: Quantity::Noise,
                    checks: 0
                }]
            ),
        "{j:?}"
    );
    // The first limits are wide, and there all the same: a forgotten 50 pF, half the coupling.
    let mut young = h.clone();
    for n in [1, 2, 10] {
        young.checks = h.checks[..n].to_vec();
        let j = judged(&young, &days.check(-0.003, 0.01, 0.3));
        assert!(j.go() && j.provisional() && j.charted.len() == 5, "{n}: {j:?}");
        for (f0, level) in [(-0.1, 0.0), (0.0, -6.0)] {
            let j = judged(&young, &days.check(f0, 0.0, level));
            assert!(!j.go() && j.provisional(), "{n}: {j:?}");
        }
    }
    young.checks.clear();
    assert!(judged(&young, &days.check(0.0, 0.0, 0.0)).charted.is_empty());
    let mut quieter = days.check(0.0, 0.0, 0.0);
    quieter.noise_dbfs = Some(-120.0);
    quieter.hum_dbfs = Some(-130.0);
    assert!(judged(&h, &quieter).go());
    quieter.noise_dbfs = Some(-70.0);
    assert!(judged(&h, &quieter).get(Quantity::Noise).unwrap().jumped());
    let b = h.between_days().unwrap();
    assert!(
        b.days == 20 && b.freedom == 19.0 && (0.0006..0.0015).contains(&b.f0) && (0.003..0.008).contains(&b.q),
        "{b:?}"
    );
    // Twenty checks of one afternoon are one day, and on two days they have one degree of freedom.
    let on = |n: usize| {
        let mut some = h.clone();
        for (i, c) in some.checks.iter_mut().enumerate() {
            c.taken_at = format!("2026-01-0{}T08:00:00Z", 1 + i % n);
        }
        some.between_days()
    };
    assert_eq!((on(1), on(2).map(|b| (b.days, b.freedom))), (None, Some((2, 1.0))));
    let text = serde_json::to_vec(&h).unwrap();
    assert_eq!(History::parse("h", &text), Ok(h));
    assert!(
        History::parse("h.json", b"{}")
            .unwrap_err()
            .to_string()
            .starts_with("h.json is no history")
    );
}
