//! Copper: how a winding's resistance goes with its temperature.

/// Temperature coefficient of copper's resistance at 20 degC per kelvin (IEC 60028).
pub const PER_K: f64 = 0.00393;
/// Standard uncertainty of a thermometer's reading in kelvins (common practice for a room thermometer).
const THERMOMETER_K: f64 = 1.0;
/// What that leaves open of a resistance, relative.
pub const UNSURE: f64 = PER_K * THERMOMETER_K;

/// Resistance at this temperature over that at 20 degC.
fn over_20(celsius: f64) -> f64 {
    1.0 + PER_K * (celsius - 20.0)
}

/// A reading brought to 20 degC.
pub fn r20(r_ohm: Option<f64>, temperature_c: Option<f64>) -> Option<f64> {
    Some(r_ohm? / over_20(temperature_c?))
}

/// Resistance at one temperature over that at another, with its standard uncertainty: each is a reading of a thermometer. One
/// temperature is one reading, and leaves nothing open.
pub fn warmth(take_c: f64, coil_c: f64) -> (f64, f64) {
    let ratio = over_20(take_c) / over_20(coil_c);
    if take_c == coil_c {
        return (ratio, 0.0);
    }
    let relative = |t: f64| PER_K * THERMOMETER_K / over_20(t);
    (ratio, ratio * relative(take_c).hypot(relative(coil_c)))
}
