//! Shop statistics against published worked examples. Each has its source beside it.

use coilwright::stats::course;
use coilwright::stats::gauge;
use coilwright::stats::paired::{Paired, equivalence};
use coilwright::stats::tolerance::two_sided;

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
