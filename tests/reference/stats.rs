//! Shop statistics against published worked examples. Each has its source beside it.

use coilwright::stats::gauge;
use coilwright::stats::individuals::Chart;
use coilwright::stats::odd::{limit, odd};
use coilwright::stats::paired::{Paired, equivalence};
use coilwright::stats::tolerance::{two_sided, two_sided_jointly};
use coilwright::stats::trend::Trend;
use coilwright::stats::two::{Apart, Sample};
use coilwright::stats::{course, mean, sd};

use crate::near;

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: lambda 0.3, target 50; first averages of its data 50.60, 49.52, 50.56.
#[test]
fn weighted_averages() {
    let data = [52.0, 47.0, 53.0];
    for (n, want) in [(1, 50.60), (2, 49.52), (3, 50.56)] {
        near("average", course::average(0.3, 50.0, &data[..n]), want, 0.006);
    }
}

/// The same Handbook, 7.2.6.3: N 43, 90 % with 99 %: 2.2228. Factors 95/95 two-sided by
/// integration (run; the first four agree with a published table).
#[test]
fn tolerance_factors() {
    near("exact", two_sided(43, 0.9, 0.99).unwrap(), 2.2228, 6e-5);
    for (n, k) in [(5, 5.0769), (10, 3.3934), (20, 2.7603), (30, 2.5549), (50, 2.3816)] {
        near("95/95", two_sided(n, 0.95, 0.95).unwrap(), k, 6e-5);
    }
    assert_eq!(two_sided(1, 0.95, 0.95), None);
}

/// R's `sleep` data (Student 1908): paired t -4.0621, df 9, p 0.002833; equivalence within 2.5: p 0.021117 (statsmodels).
#[test]
fn paired_differences() {
    let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    let d: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let p = Paired::of(&d).unwrap();
    near("t", p.mean / p.se, -4.0621, 6e-5);
    assert_eq!(p.n, 10);
    near("p", p.p(), 0.002833, 6e-7);
    near("equivalence", equivalence(p.mean, p.se, 9.0, 2.5), 0.021117, 6e-7);
    assert!(Paired::of(&[1.0]).is_none());
}

/// The same Handbook, 6.3.2.2 (from memory): ten flow rates, mean 50.81, mean moving range 1.8778, limits 45.8159 and 55.8041.
#[test]
fn individuals_chart() {
    let chart = Chart::of(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]).unwrap();
    near("centre", chart.centre, 50.81, 1e-9);
    near("moving range", 1.128 * chart.sd, 1.8778, 6e-5);
    let [low, high] = chart.limits();
    near("lower", low, 45.8159, 6e-5);
    near("upper", high, 55.8041, 6e-5);
    assert!(chart.holds(55.80) && !chart.holds(55.81) && !chart.holds(45.81) && Chart::of(&[1.0]).is_none());
}

/// The same Handbook, 1.3.5.17.1 (from memory): eight uranium readings of Tietjen and Moore (1972); G 2.4687, upper one-sided 5 %
/// point 2.0317. Its two-sided one: Grubbs and Beck (1972), 2.126.
#[test]
fn one_odd_value() {
    let data = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let found = odd(&data, 0.05);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].at, 7);
    near("G", found[0].far, 2.4687, 1e-4);
    near("one-sided", limit(8, 0.05), 2.0317, 6e-4);
    // Published with three decimals, cut off.
    near("two-sided", found[0].limit, 2.126, 1e-3);
    // The other side is as far.
    let other: Vec<f64> = data.iter().map(|v| -v).collect();
    assert_eq!(odd(&other, 0.05), found);
}

/// The same Handbook, 1.3.5.17.3 (from memory): Rosner's (1983) 54 values, of which three are odd though Grubbs' test of one finds
/// none: R 3.118, 2.942, 3.179, 2.810 against 3.158, 3.151, 3.143, 3.136.
#[test]
fn odd_values_that_hide_each_other() {
    let data = [
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70,
        1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40,
        2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
    ];
    let found = odd(&data, 0.05);
    assert_eq!(found.iter().map(|o| o.at).collect::<Vec<_>>(), [53, 52, 51]);
    for (o, (far, limit)) in found.iter().zip([(3.118, 3.158), (2.942, 3.151), (3.179, 3.143)]) {
        near("R", o.far, far, 1e-3);
        near("limit", o.limit, limit, 1e-3);
    }
}

/// Hollander and Wolfe, Nonparametric Statistical Methods, 1973: lightness and grade of tuna (example of R's `cor.test`, T 26,
/// p 0.1194), in the order of lightness; and their cloud seeding (memory): score -6, one-sided p 0.117, slope -0.056.
#[test]
fn rank_trend() {
    let of = |y: &[f64]| {
        let all: Vec<(f64, f64)> = y.iter().enumerate().map(|(i, y)| (i as f64, *y)).collect();
        Trend::of(&all).unwrap()
    };
    let tuna = of(&[2.5, 3.1, 4.0, 2.6, 3.6, 2.8, 5.2, 5.0, 3.8]);
    // 26 of the 36 pairs rise.
    assert_eq!(tuna.score, 2.0 * 26.0 - 36.0);
    near("p", tuna.p, 0.1194, 6e-5);
    let seeding = of(&[1.26, 1.27, 1.12, 1.16, 1.03]);
    assert_eq!(seeding.score, -6.0);
    near("one-sided", 0.5 * seeding.p, 0.117, 6e-4);
    near("slope", seeding.slope, -0.05625, 1e-9);
    // Equal values by the normal distribution; exact and normal agree where both hold.
    assert_eq!(of(&[1.0; 9]).p, 1.0);
    let mut long: Vec<f64> = (0..30).map(|i| f64::from(i * 7 % 30) + 0.4 * f64::from(i)).collect();
    let exact = of(&long).p;
    // Two neighbours in size: one pair less that rises or falls.
    let (low, high) = (long[9], long[13]);
    long.iter_mut().filter(|v| **v == high).for_each(|v| *v = low);
    near("with ties", of(&long).p, exact, 0.03);
}

/// The same Handbook, 1.3.5.3 (from memory): AUTO83B, 249 American and 79 Japanese cars; unequal scatters: T -12.94627 with
/// 136.8750 degrees of freedom.
#[test]
fn two_samples() {
    let sample = |n, mean, sd| Sample { n, mean, sd };
    let second = sample(79, 30.48101, Some(6.107710));
    let a = second.apart(&sample(249, 20.14458, Some(6.414700))).unwrap();
    near("T", a.difference / a.se, -12.94627, 6e-5);
    near("freedom", a.freedom, 136.8750, 6e-4);
    // One value alone scatters as the others do.
    let one = sample(1, 1.0, None);
    let want = Apart {
        difference: -1.0,
        se: 2.0 * 1.25f64.sqrt(),
        freedom: 3.0,
    };
    assert_eq!(
        Sample::of(&[2.0]).unwrap().apart(&sample(4, 1.0, Some(2.0))),
        Some(want)
    );
    assert!(one.apart(&one).is_none() && Sample::of(&[]).is_none());
}

/// AIAG, Measurement Systems Analysis, 4th ed.: repeatability of the published crossed study, interaction not pooled (own
/// calculation, statsmodels alike).
#[test]
fn repeatability_of_a_gauge_study() {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/gauge/crossed.csv")).unwrap();
    let mut cells = std::collections::BTreeMap::<(&str, &str), Vec<f64>>::new();
    for line in text.lines().skip(1).filter(|l| !l.trim().is_empty()) {
        let f: Vec<&str> = line.trim().split(',').collect();
        cells.entry((f[0], f[1])).or_default().push(f[3].parse().unwrap());
    }
    let (sd, freedom) = gauge::within(&cells.into_values().collect::<Vec<_>>()).unwrap();
    near("EV", sd, 0.21443, 6e-6);
    assert_eq!(freedom, 60);
}

/// Limits for three quantities together, from twenty good ones: over 2,000 lots they hold 95 % of all such in 95 % of cases, whether
/// the quantities hang together or not; limits for each alone do not.
#[test]
fn limits_of_all_quantities_together() {
    use crate::joint_sim::{Draw, Numbers};
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::SeedableRng;
    const LOTS: usize = 2000;
    let joint = two_sided_jointly(20, 3, 0.95, 0.95).unwrap();
    let alone = two_sided(20, 0.95, 0.95).unwrap();
    assert_eq!(two_sided_jointly(20, 1, 0.95, 0.95), Some(alone));
    for common in [0.0, 0.8f64] {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(21));
        let mut pickup = || {
            let shared = draw.normal();
            let own = (1.0 - common * common).sqrt();
            [0; 3].map(|_| common * shared + own * draw.normal())
        };
        let all: Vec<[f64; 3]> = (0..4000).map(|_| pickup()).collect();
        let mut held = [0; 2];
        for _ in 0..LOTS {
            let lot: Vec<[f64; 3]> = (0..20).map(|_| pickup()).collect();
            let of = |k: usize| {
                let x: Vec<f64> = lot.iter().map(|p| p[k]).collect();
                (mean(&x).unwrap(), sd(&x).unwrap())
            };
            let limits = [of(0), of(1), of(2)];
            for (held, factor) in held.iter_mut().zip([joint, alone]) {
                let within = |p: &&[f64; 3]| (0..3).all(|k| (p[k] - limits[k].0).abs() <= factor * limits[k].1);
                *held += usize::from(all.iter().filter(within).count() as f64 >= 0.95 * all.len() as f64);
            }
        }
        let share = held.map(|n| 100.0 * n as f64 / LOTS as f64);
        println!(
            "common share {common}: joint limits hold in {:.1} %, single ones in {:.1} %",
            share[0], share[1]
        );
        assert!(share[0] >= 95.0 && share[1] < 90.0, "{share:?}");
    }
}
