use super::*;

/// A response of Q 0.5, 1/(1 + f/f0)^2 in power, is 3 dB down at f0 sqrt(10^(3/20) - 1).
#[test]
fn three_decibels_down() {
    let f: Vec<f64> = (0..240).map(|i| 20.0 * 2f64.powf(f64::from(i) / 24.0)).collect();
    let mag = |f: &f64| -20.0 * (1.0 + (f / 3000.0).powi(2)).log10();
    let mut curve = Curve {
        mag_db: f.iter().map(mag).collect(),
        u_db: vec![0.01; f.len()],
        freq_hz: f,
        ..Curve::default()
    };
    let want = 3000.0 * (10f64.powf(3.0 / 20.0) - 1.0).sqrt();
    let got = curve.down_hz(3.0).unwrap().value;
    assert!((got / want - 1.0).abs() < 2e-4, "{got}, not {want}");
    // Noise at the low end is no fall.
    (curve.mag_db[1], curve.u_db[1]) = (-9.0, 5.0);
    assert_eq!(curve.down_hz(3.0).unwrap().value, got);
    assert_eq!(curve.down_hz(300.0), None);
    assert_eq!(Curve::default().down_hz(3.0), None);
}
