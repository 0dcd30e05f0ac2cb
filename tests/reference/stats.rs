//! Shop statistics against published worked examples. Each has its source beside it.

use coilwright::stats::chart::{Ewma, Individuals, capability, run_length};
use coilwright::stats::gauge;
use coilwright::stats::paired::{Paired, agreement};
use coilwright::stats::tolerance::{grubbs, grubbs_critical, one_sided, two_sided, two_sided_howe};

use crate::near;

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: centre 50.81, mean moving range 1.8778, limits 55.8041 and
/// 45.8159 with d2 printed as 1.128; with d2 = 2/sqrt(pi) 55.8024 and 45.8176 (run).
#[test]
fn individuals_chart() {
    let x = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let c = Individuals::of(&x).unwrap();
    near("centre", c.centre, 50.81, 5e-6);
    near("moving range", c.moving_range, 1.8778, 5e-5);
    let [lower, upper] = c.limits(3.0);
    near("upper", upper, 55.8024, 6e-5);
    near("lower", lower, 45.8176, 6e-5);
    near(
        "upper as printed",
        c.centre + 3.0 * c.moving_range / 1.128,
        55.8041,
        6e-5,
    );
    assert_eq!(Individuals::of(&[1.0]), None);
}

/// The same, 6.3.2.4: lambda 0.3, s 2.0539, target 50, k 3: 52.5884 and 47.4115; first averages of its data 50.60, 49.52.
#[test]
fn ewma_chart() {
    let e = Ewma {
        lambda: 0.3,
        target: 50.0,
        sigma: 2.0539,
    };
    let [lower, upper] = e.limits(3.0);
    near("upper", upper, 52.5884, 1e-4);
    near("lower", lower, 47.4115, 1e-4);
    let z = e.run(&[52.0, 47.0, 53.0]);
    for (got, want) in z.iter().zip([50.60, 49.52, 50.56]) {
        near("average", *got, want, 0.006);
    }
    // From the first value on: lambda times the whole; after many, the asymptote.
    near("first", e.limits_after(1, 3.0)[1] - 50.0, 3.0 * 2.0539 * 0.3, 1e-12);
    near("later", e.limits_after(60, 3.0)[1], upper, 1e-9);
}

/// Mean run lengths of a chart with limits at 3 sigma: 370.4 without a shift (textbooks), 43.9 for one sigma, 6.3 for two
/// (memory).
#[test]
fn run_lengths() {
    near("none", run_length(3.0, 0.0), 370.4, 0.05);
    near("one", run_length(3.0, 1.0), 43.9, 0.05);
    near("two", run_length(3.0, 2.0), 6.30, 0.005);
}

/// The same Handbook, 6.1.6: USL 20, LSL 8, mean 16, s 2: Cp 1.0, Cpk 0.6667.
#[test]
fn capabilities() {
    let [cp, cpk] = capability(16.0, 2.0, 8.0, 20.0);
    near("Cp", cp, 1.0, 1e-12);
    near("Cpk", cpk, 0.6667, 5e-5);
}

/// The same, 7.2.6.3: N 43, 90 % with 99 %: k2 2.2173 by Howe (exact 2.2228), k1 1.8752. Factors 95/95 two-sided by
/// integration (run; the first four agree with a published table).
#[test]
fn tolerance_factors() {
    near("Howe", two_sided_howe(43, 0.9, 0.99).unwrap(), 2.2173, 1e-3);
    near("exact", two_sided(43, 0.9, 0.99).unwrap(), 2.2228, 6e-5);
    near("one-sided", one_sided(43, 0.9, 0.99).unwrap(), 1.8752, 6e-4);
    for (n, k) in [(5, 5.0769), (10, 3.3934), (20, 2.7603), (30, 2.5549), (50, 2.3816)] {
        near("95/95", two_sided(n, 0.95, 0.95).unwrap(), k, 6e-5);
    }
    assert_eq!(two_sided(1, 0.95, 0.95), None);
}

/// Grubbs' test on the uranium data of the same Handbook (1.3.5.17.1): G 2.4687, critical 2.032. One-sided 5 % points for 8, 10,
/// 20, 30 (run).
#[test]
fn outliers() {
    let (g, i) = grubbs(&[199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]).unwrap();
    near("G", g, 2.4687, 1e-4);
    assert_eq!(i, 7);
    near("critical", grubbs_critical(8, 0.05).unwrap(), 2.032, 5e-4);
    for (n, want) in [(8, 2.0317), (10, 2.1761), (20, 2.5566), (30, 2.7451)] {
        near("critical", grubbs_critical(n, 0.05).unwrap(), want, 6e-5);
    }
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
    near("equivalence", p.equivalence(2.5).p, 0.021117, 6e-7);
    assert!(Paired::of(&[1.0]).is_none());
}

/// Peak expiratory flow by two meters (Bland and Altman, Lancet 1986, n 17): bias -2.118, sd 38.765, limits -78.10 and 73.86.
#[test]
fn agreement_of_two_instruments() {
    let large = [
        494.0, 395.0, 516.0, 434.0, 476.0, 557.0, 413.0, 442.0, 650.0, 433.0, 417.0, 656.0, 267.0, 478.0, 178.0, 423.0,
        427.0,
    ];
    let mini = [
        512.0, 430.0, 520.0, 428.0, 500.0, 600.0, 364.0, 380.0, 658.0, 445.0, 432.0, 626.0, 260.0, 477.0, 259.0, 350.0,
        451.0,
    ];
    let ([bias, sd], [low, high]) = agreement(&large, &mini).unwrap();
    near("bias", bias, -2.118, 6e-4);
    near("sd", sd, 38.765, 6e-4);
    near("low", low, -78.10, 6e-3);
    near("high", high, 73.86, 6e-3);
}

/// AIAG, Measurement Systems Analysis, 4th ed.: published analysis of variance (interaction pooled) and the same not pooled
/// (own calculation, statsmodels alike).
#[test]
fn crossed_gauge_study() {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/gauge/crossed.csv")).unwrap();
    let mut x = vec![vec![vec![0.0; 3]; 3]; 10];
    for line in text.lines().skip(1).filter(|l| !l.trim().is_empty()) {
        let f: Vec<&str> = line.trim().split(',').collect();
        let part: usize = f[0].parse().unwrap();
        let hand = "ABC".find(f[1]).unwrap();
        let trial: usize = f[2].parse().unwrap();
        x[part - 1][hand][trial - 1] = f[3].parse().unwrap();
    }
    let pooled = gauge::crossed(&x, true).unwrap();
    for (name, got, want) in [
        ("EV", pooled.equipment, 0.199933),
        ("AV", pooled.appraiser, 0.226838),
        ("GRR", pooled.gauge, 0.302373),
        ("PV", pooled.part, 1.042327),
    ] {
        near(name, got, want, 2e-6);
    }
    near("TV", pooled.total, 1.085, 6e-4);
    let whole = gauge::crossed(&x, false).unwrap();
    for (name, got, want) in [
        ("EV", whole.equipment, 0.21443),
        ("AV", whole.appraiser, 0.22830),
        ("GRR", whole.gauge, 0.31322),
        ("PV", whole.part, 1.04339),
        ("TV", whole.total, 1.08939),
    ] {
        near(name, got, want, 6e-6);
    }
    for (got, want) in whole.squares.iter().zip([88.361934, 3.167262, 0.358982, 2.758933]) {
        near("squares", *got, want, 6e-7);
    }
    near("F", whole.interaction, 0.4337, 6e-5);
    let parts: Vec<Vec<f64>> = x.iter().flatten().cloned().collect();
    let (sd, freedom) = gauge::within(&parts).unwrap();
    near("within", sd, whole.equipment, 1e-12);
    assert_eq!(freedom, 60);
}
