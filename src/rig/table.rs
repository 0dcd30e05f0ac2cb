//! Every key of the rig file, and what may stand there.

use super::keys::{Key, Kind};

const OHM: Kind = Kind::Number("from 0.001 to 1e9 (ohms)", 1e-3..=1e9);
const OHM_OR_ZERO: Kind = Kind::Number("from 0 to 1e9 (ohms)", 0.0..=1e9);
const HENRY: Kind = Kind::Number("from 0 to 0.1 (henries; half a millihenry is 0.0005)", 0.0..=0.1);
const FARAD: Kind = Kind::Number("from 0 to 1e-6 (farads, 60 pF is 60e-12)", 0.0..=1e-6);
const TOLERANCE: Kind = Kind::Number("from 0 to 0.5 (relative, 5 % is 0.05)", 0.0..=0.5);
const CORNER: Kind = Kind::Number("from 0 to 15 (hertz)", 0.0..=15.0);
const DELAY: Kind = Kind::Number("from -0.1 to 0.1 (seconds, 5 us is 5e-6)", -0.1..=0.1);
const DELAY_TOLERANCE: Kind = Kind::Number("from 0 to 0.1 (seconds, 5 us is 5e-6)", 0.0..=0.1);
const GAIN: Kind = Kind::Number("from -120 to 120 (dB)", -120.0..=120.0);
const MAINS: Kind = Kind::Number("from 40 to 70 (hertz)", 40.0..=70.0);
const GAIN_TOLERANCE: Kind = Kind::Number("from 0 to 12 (dB)", 0.0..=12.0);
const RATE: Kind = Kind::Whole("of whole hertz from 44100 to 192000", 44_100.0..=192_000.0);
const CHANNEL: Kind = Kind::Whole("from 1 to 64, as the sockets are counted", 1.0..=64.0);
const LEVEL: Kind = Kind::Number("from -100 to 0 (dBFS)", -100.0..=0.0);

pub(super) const KEYS: [Key; 54] = [
    Key::new("", "name", Kind::Text),
    Key::new("exciter", "reference", Kind::OneOf(&["voltage", "current"])).required(),
    Key::new("exciter", "series_ohm", OHM).required(),
    Key::new("exciter", "inductance_h", HENRY).required(),
    Key::new("exciter", "source_ohm", OHM_OR_ZERO),
    Key::new("exciter", "sense_ohm", OHM),
    Key::new("exciter", "series_tolerance", TOLERANCE),
    Key::new("exciter", "inductance_tolerance", TOLERANCE),
    Key::new("exciter", "sign", Kind::Sign),
    Key::new("input", "resistance_ohm", OHM),
    Key::new("input", "capacitance_f", FARAD),
    Key::new("input", "lead_capacitance_f", FARAD),
    Key::new("input", "ac_pickup_hz", CORNER),
    Key::new("input", "ac_pickup_tolerance_hz", CORNER),
    Key::new("input", "ac_reference_hz", CORNER),
    Key::new("input", "ac_reference_tolerance_hz", CORNER),
    Key::new("input", "ac_output_hz", CORNER),
    Key::new("input", "ac_output_tolerance_hz", CORNER),
    Key::new("input", "delay_s", DELAY),
    Key::new("input", "delay_tolerance_s", DELAY_TOLERANCE),
    Key::new("input", "gain_db", GAIN),
    Key::new("input", "gain_tolerance_db", GAIN_TOLERANCE),
    Key::new("input", "resistance_tolerance", TOLERANCE),
    Key::new("input", "capacitance_tolerance_f", FARAD),
    Key::new("mains", "frequency_hz", MAINS),
    Key::new("", "unit", Kind::Text),
    Key::new("witness", "name", Kind::Text),
    Key::new("witness", "load", Kind::Text),
    Key::new("witness", "winding_f", FARAD),
    Key::new("witness", "place", Kind::OneOf(&["fixed", "anew"])),
    Key::new("interface", "output", Kind::Text),
    Key::new("interface", "input", Kind::Text),
    Key::new("interface", "rate_hz", RATE),
    Key::new("interface", "pickup_channel", CHANNEL),
    Key::new("interface", "reference_channel", CHANNEL),
    Key::new("interface", "range", Kind::Text),
    Key::new("interface", "inputs_measured", Kind::Text),
    Key::new("interface", "loading_measured", Kind::Text),
    Key::new("interface", "level_dbfs", LEVEL),
    Key::new("interface", "level_measured", Kind::Text),
    Key::new("setup", "phantom", Kind::Text),
    Key::new("setup", "monitoring", Kind::Text),
    Key::new("setup", "automatic_gain", Kind::Text),
    Key::new("setup", "enhancement", Kind::Text),
    Key::new("setup", "pads_and_cuts", Kind::Text),
    Key::new("setup", "knobs", Kind::Text),
    Key::new("pack", "interface", Kind::Text),
    Key::new("pack", "exciter", Kind::Text),
    Key::new("pack", "stop", Kind::Text),
    Key::new("pack", "box", Kind::Text),
    Key::new("pack", "leads", Kind::Text),
    Key::new("pack", "witness", Kind::Text),
    Key::new("pack", "meters", Kind::Text),
    Key::new("pack", "other", Kind::Text),
];

/// Whether a rig can have this number; else what is allowed.
pub fn possible(table: &str, key: &str, v: f64) -> std::result::Result<(), &'static str> {
    let key = KEYS.iter().find(|k| k.table == table && k.name == key);
    match key.map(|k| &k.kind) {
        Some(kind @ (Kind::Number(allowed, _) | Kind::Whole(allowed, _))) if !kind.holds(v) => Err(allowed),
        _ => Ok(()),
    }
}
