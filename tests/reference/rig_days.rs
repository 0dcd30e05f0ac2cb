//! The limits of `rig check` over days of known kinds: how often a rig that is the same is called another, from the second day on;
//! how soon a fault is found; and whether a step among the first twenty is named. Nothing of the program makes the days.

use coilwright::estimate::Estimate;
use coilwright::record::RigSummary;
use coilwright::shop::witness::history::{Check, History, Quantity};
use coilwright::shop::witness::judging::{Expected, Judgement};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use crate::joint_sim::{Draw, Numbers};

const YEAR: usize = 250;
const HISTORIES: usize = 60;
/// f0 and Q (relative), level, noise and hum (dB) of one day.
const SD: [f64; 5] = [1e-3, 0.01, 0.15, 1.0, 2.0];
const F0: usize = 0;

/// How the days of a quantity go, in standard deviations of one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Days {
    Normal,
    /// First-order autoregression.
    Carried(f64),
    Laplace,
    /// Student's t of three degrees of freedom.
    Student3,
    /// Normal ones on a yearly swing whose own standard deviation is that of a day.
    Swing,
}

/// Of one quantity.
struct Line {
    days: Days,
    last: f64,
    phase: f64,
}

impl Line {
    fn new(days: Days, draw: &mut Draw) -> Line {
        Line {
            days,
            last: draw.normal(),
            phase: std::f64::consts::PI * draw.even(),
        }
    }

    fn next(&mut self, day: usize, draw: &mut Draw) -> f64 {
        let z = draw.normal();
        match self.days {
            Days::Normal => z,
            Days::Carried(by) => {
                self.last = by * self.last + (1.0 - by * by).sqrt() * z;
                self.last
            }
            Days::Laplace => {
                // Of an even number from -1 to 1: its sign, and an exponential deviate.
                let even = draw.even();
                -(1.0 - even.abs()).ln() / 2f64.sqrt() * even.signum()
            }
            Days::Student3 => {
                let squares: f64 = (0..3).map(|_| draw.normal().powi(2)).sum();
                z / squares.sqrt()
            }
            Days::Swing => z + 2f64.sqrt() * (std::f64::consts::TAU * day as f64 / YEAR as f64 + self.phase).sin(),
        }
    }
}

fn check(day: usize, off: [f64; 5]) -> Check {
    let e = |v: f64| Estimate::new(v, 1e-6, 1e-6);
    Check {
        id: format!("c{day}"),
        taken_at: format!("day {day:06}"),
        peak_hz: None,
        f0_hz: e(4000.0 * off[0].exp()).unwrap(),
        q: e(2.5 * off[1].exp()).unwrap(),
        level_db: e(-40.0 + off[2]),
        polarity: 1,
        sign: None,
        snr_db: None,
        noise_dbfs: Some(-90.0 + off[3]),
        hum_db: None,
        hum_dbfs: Some(-90.0 + off[4]),
        mains_hz: None,
        clock_ppm: None,
        temperature_c: None,
        entered: Default::default(),
        folder: None,
        simulated: false,
        at: None,
        go: true,
    }
}

/// What is usual of a witness with 500 pF across it that is laid down for each check.
const EXPECTED: Expected = Expected {
    f0: 2.2e-3,
    q: 0.011,
    level_db: 0.32,
};

/// One rig over so many days, as each check is judged; `fault`: what is off, in standard deviations of a day.
pub fn live(days: Days, n: usize, draw: &mut Draw, fault: impl Fn(usize) -> [f64; 5]) -> Vec<Judgement> {
    let mut lines: Vec<Line> = SD.iter().map(|_| Line::new(days, draw)).collect();
    let mut h = History::new(&RigSummary::default(), "tin");
    let mut out = Vec::new();
    for day in 0..n {
        let off = fault(day);
        let mut one = [0.0; 5];
        for (i, line) in lines.iter_mut().enumerate() {
            one[i] = SD[i] * (line.next(day, draw) + off[i]);
        }
        let mut c = check(day, one);
        let j = h.judge(&c, &EXPECTED);
        c.go = j.go();
        h.checks.push(c);
        out.push(j);
    }
    out
}

fn percent(n: usize, of: usize) -> f64 {
    100.0 * n as f64 / of as f64
}

/// At most three checks of a hundred are false alarms once there are sixty, whatever the days are like; of independent normal ones
/// one.
#[test]
fn rig_days_of_every_kind_raise_few_alarms() {
    println!("false alarms in a hundred checks, days 2 to 20, 21 to 60, and after those for a year:");
    for (i, (days, most)) in [
        (Days::Normal, 1.0),
        (Days::Carried(0.5), 3.0),
        (Days::Carried(0.8), 3.0),
        (Days::Laplace, 3.0),
        (Days::Student3, 3.0),
        (Days::Swing, 3.0),
    ]
    .into_iter()
    .enumerate()
    {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(40 + i as u64));
        let (mut alarms, mut checks) = ([0; 3], [0; 3]);
        for _ in 0..HISTORIES {
            let judged = live(days, 60 + YEAR, &mut draw, |_| [0.0; 5]);
            for (day, j) in judged.iter().enumerate().skip(1) {
                let when = usize::from(day >= 20) + usize::from(day >= 60);
                checks[when] += 1;
                alarms[when] += usize::from(!j.go());
            }
        }
        let rates = [0, 1, 2].map(|k| percent(alarms[k], checks[k]));
        println!("{days:?}: {:.2} {:.2} {:.2}", rates[0], rates[1], rates[2]);
        assert!(rates[2] <= most, "{days:?}: {rates:?}");
    }
}

/// Nobody waits for the twenty-first check: limits are there on the second, and tighter with every one. In standard deviations of a
/// day of f0, where what is usual of rigs is twice what this one does.
#[test]
fn rig_days_limits_grow_tighter() {
    let mut draw = Draw(ChaCha8Rng::seed_from_u64(50));
    let mut sums = [0.0; 5];
    let at = [1, 5, 10, 19, 60];
    for _ in 0..HISTORIES {
        let judged = live(Days::Normal, 61, &mut draw, |_| [0.0; 5]);
        assert!(judged[0].charted.is_empty() && judged[19].provisional() && !judged[21].provisional());
        for (sum, day) in sums.iter_mut().zip(at) {
            *sum += judged[day].get(Quantity::F0).unwrap().half / SD[F0] / HISTORIES as f64;
        }
    }
    println!("half-width of the limits of f0 after {at:?} checks: {sums:.1?} standard deviations of a day");
    assert!(sums.windows(2).all(|w| w[0] > w[1]), "{sums:?}");
    assert!(sums[0] < 40.0 && sums[4] < 5.5, "{sums:?}");
}

/// How many checks a fault of f0 takes that begins after twenty good ones, and after sixty; not one of a hundred histories is left
/// that does not find ten standard deviations at once.
#[test]
fn rig_days_faults_are_found() {
    for after in [20, 60] {
        for (what, fault, within, least) in [
            ("10 sd at once", (|_| 10.0) as fn(usize) -> f64, 1, 99.0),
            ("4 sd from now on", |_| 4.0, 10, 80.0),
            ("0.2 sd more with every check", |n: usize| 0.2 * n as f64, 20, 80.0),
        ] {
            let mut draw = Draw(ChaCha8Rng::seed_from_u64(60 + after as u64));
            let mut found = 0;
            for _ in 0..100 {
                let judged = live(Days::Normal, after + within, &mut draw, |day| {
                    let off = day.checked_sub(after).map_or(0.0, |n| fault(n + 1));
                    [off, 0.0, 0.0, 0.0, 0.0]
                });
                found += usize::from(judged[after..].iter().any(|j| !j.go()));
            }
            println!("after {after} checks, {what}: found within {within} in {found} of 100");
            assert!(f64::from(found as u32) >= least, "{what}");
        }
    }
}

/// A step of f0 by four standard deviations of a day on day 14 of the first twenty: named on the twentieth. Clean histories are
/// accused of one in one of twenty at most, where days are independent.
#[test]
fn rig_days_a_step_among_the_first_is_named() {
    const N: usize = 400;
    let run = |days: Days, by: f64, seed: u64| {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed));
        let named = (0..N).filter(|_| {
            let step = |day: usize| [if day >= 13 { by } else { 0.0 }, 0.0, 0.0, 0.0, 0.0];
            let judged = live(days, 20, &mut draw, step);
            let stepped = judged.last().and_then(|j| j.stepped.as_ref());
            stepped.is_some_and(|s| by == 0.0 || s.quantity == Quantity::F0)
        });
        percent(named.count(), N)
    };
    for (i, days) in [
        Days::Normal,
        Days::Laplace,
        Days::Student3,
        Days::Carried(0.5),
        Days::Carried(0.8),
    ]
    .into_iter()
    .enumerate()
    {
        let (named, accused) = (run(days, 4.0, 70 + i as u64), run(days, 0.0, 80 + i as u64));
        println!("{days:?}: named {named:.1} %, accused {accused:.1} %");
        if !matches!(days, Days::Carried(_)) {
            assert!(named >= 80.0 && accused <= 5.0, "{days:?}: {named} {accused}");
        }
    }
}
