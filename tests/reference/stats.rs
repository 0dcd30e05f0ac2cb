//! Shop statistics against published worked examples. Each has its source beside it.

use coilwright::stats::gauge;
use coilwright::stats::paired::{Paired, equivalence};
use coilwright::stats::tolerance::{two_sided, two_sided_jointly};
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
    let t = p.test();
    near("t", t.t, -4.0621, 6e-5);
    assert_eq!(t.freedom, 9.0);
    near("p", t.p, 0.002833, 6e-7);
    near("equivalence", equivalence(p.mean, p.se, 9.0, 2.5).p, 0.021117, 6e-7);
    assert!(Paired::of(&[1.0]).is_none());
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
