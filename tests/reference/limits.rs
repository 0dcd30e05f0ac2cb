//! The tables of `cargo bench --bench limits` in small: rms error over the bound, bias, and what the 95 % intervals hold.

use coilwright::stimulus::Shape;

use crate::near;
use crate::trial::{Case, Outcome, Told, Trial, summary};

/// As the bench has its cases, only shorter, so that there can be some. With n takes the rms has a standard deviation of
/// 1/sqrt(2n), the mean 1/sqrt(n), a coverage sqrt(0.95 x 0.05/n); four of each are allowed about the bench's targets.
fn hold(case: Case, takes: usize) {
    let mut trial = Trial::new(case);
    let bins = trial.find_bounds();
    // The bound is of the lines that the program used: else it would be another bound.
    near("bins used over bins counted", bins, 1.0, 0.01);
    let all: Vec<Outcome> = trial.outcomes(0..takes);
    let n = takes as f64;
    for (i, name) in ["f0", "Q"].into_iter().enumerate() {
        let s = summary(&all, i);
        println!(
            "{}, {name}: rms error over bound {:.3}, over u {:.3}, bias {:+.2}, coverage {:.1} %",
            case.name(),
            s.efficiency.value,
            s.stated.value,
            s.bias.value,
            100.0 * s.coverage.value
        );
        assert_eq!((s.takes, s.refused), (takes, 0), "{name}");
        // From the bound itself, a little less for what the weak prior knows of the corners, to a tenth above it.
        near(
            &format!("{name}: rms error over bound"),
            s.efficiency.value,
            1.0,
            0.1 + 4.0 / (2.0 * n).sqrt(),
        );
        near(&format!("{name}: bias"), s.bias.value, 0.0, 4.0 / n.sqrt());
        near(
            &format!("{name}: coverage"),
            s.coverage.value,
            0.95,
            4.0 * (0.95 * 0.05 / n).sqrt(),
        );
        near(
            &format!("{name}: rms error over u"),
            s.stated.value,
            1.0,
            4.0 / (2.0 * n).sqrt(),
        );
    }
}

#[test]
fn two_channels_under_hum_reach_the_bound() {
    hold(
        Case {
            shape: Shape::Sweep,
            channels: 2,
            snr_db: 40.0,
            hum: true,
            told: Told::Nothing,
            seconds: 0.5,
        },
        160,
    );
}

#[test]
fn one_channel_reaches_the_bound_with_latency_and_clock_unknown() {
    hold(
        Case {
            shape: Shape::Noise,
            channels: 1,
            snr_db: 40.0,
            hum: false,
            told: Told::Nothing,
            seconds: 0.5,
        },
        80,
    );
}
