//! The units of the trade, their names and their prefixes.

/// What a number is a measure of; decides which unit names and prefixes are understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    Ohm,
    Farad,
    Henry,
    Hertz,
    Second,
    Metre,
    /// Degrees Celsius; Fahrenheit is converted.
    Celsius,
    /// Level relative to full scale: AES17, 0 dBFS is a full-scale sine.
    Dbfs,
    Decibel,
    /// Capacitance of a cable per length.
    FaradPerMetre,
    /// Of a potentiometer, 0 to 1, 1 = fully clockwise.
    Rotation,
    /// A ratio: 100ppm, 5%, 0.05.
    Relative,
}

use Unit::*;

/// In the order in which a foreign unit name is tried.
pub(super) const ALL: [Unit; 12] = [
    Metre,
    Ohm,
    Farad,
    Henry,
    Hertz,
    Second,
    Celsius,
    Dbfs,
    Decibel,
    FaradPerMetre,
    Relative,
    Rotation,
];

/// Letters of the prefixes as they are written, and their powers of ten.
const PREFIXES: [(&str, i32); 8] = [
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
    ("T", 12),
];

const MICRO_SIGN: char = '\u{b5}';
const GREEK_MU: char = '\u{3bc}';

impl Unit {
    /// With its article, as an error message calls it.
    pub(super) fn quantity(self) -> &'static str {
        match self {
            Ohm => "a resistance",
            Farad => "a capacitance",
            Henry => "an inductance",
            Hertz => "a frequency",
            Second => "a time",
            Metre => "a length",
            Celsius => "a temperature",
            Dbfs => "a level",
            Decibel => "a ratio in dB",
            FaradPerMetre => "a capacitance per length",
            Rotation => "a rotation",
            Relative => "a ratio",
        }
    }

    /// What would have been understood.
    pub(super) fn examples(self) -> &'static str {
        match self {
            Ohm => "write ohms as 250k, 4k7, 1M, 470R or 470",
            Farad => "write farads as 470p, 22n, 0.022u, 2n2 or 470e-12",
            Henry => "write henries as 2.4H, 2.4 or 500mH",
            Hertz => "write hertz as 3.5kHz, 3k5 or 3500",
            Second => "write seconds as 3, 3s, 33us or 2min",
            Metre => "write a length as 5m, 50cm or 18ft",
            Celsius => "write a temperature as 21C, 21 or 70F",
            Dbfs => "write a level as -6dBFS or -6",
            Decibel => "write decibels as 3dB or 3",
            FaradPerMetre => "write a capacitance per length as 100p/m or 30p/ft",
            Rotation => "write a rotation as 0...1 or 0%...100%",
            Relative => "write a ratio as 0.05, 5% or 100ppm",
        }
    }

    /// Accepted names, compared without regard to case. Units that take prefixes only.
    pub(super) fn names(self) -> &'static [&'static str] {
        match self {
            Ohm => &["\u{3a9}", "\u{2126}", "ohms", "ohm", "r"],
            Farad => &["farad", "f"],
            Henry => &["henry", "h"],
            Hertz => &["hertz", "hz"],
            Second => &["sec", "s"],
            Metre => &["m"],
            _ => &[],
        }
    }

    /// As written after a value.
    pub(super) fn symbol(self) -> &'static str {
        match self {
            Ohm => "\u{3a9}",
            Farad => "F",
            Henry => "H",
            Hertz => "Hz",
            Second => "s",
            Metre => "m",
            Celsius => "\u{b0}C",
            Dbfs => "dBFS",
            Decibel => "dB",
            FaradPerMetre => "F/m",
            Rotation | Relative => "",
        }
    }

    /// Whether a prefix of this power of ten makes sense with the unit: a kilofarad or a nanohertz is a slip.
    pub(super) fn takes_prefix(self, exp: i32) -> bool {
        match self {
            Ohm | Hertz => exp >= -3,
            Farad | Second => exp <= 0,
            Henry => exp <= 3,
            Metre => (-9..=3).contains(&exp),
            _ => exp == 0,
        }
    }

    /// The prefix, as a power of ten, to write a number with whose first digit stands for 10^exp.
    pub(super) fn written_prefix(self, value: f64, exp: i32) -> i32 {
        let (low, high) = match self {
            Ohm | Hertz => (0, 12),
            Farad | FaradPerMetre => (-12, 0),
            Henry | Second => (-9, 0),
            Metre => (-6, 0),
            _ => (0, 0),
        };
        if value == 0.0 {
            return 0;
        }
        (exp.div_euclid(3) * 3).clamp(low, high)
    }

    pub(super) fn may_be_negative(self) -> bool {
        matches!(self, Second | Celsius | Dbfs | Decibel | Relative)
    }
}

/// The power of ten of a prefix letter. Capital K is kilo, since no kelvin is about; m is milli, M is mega.
pub(super) fn prefix_exponent(c: char) -> Option<i32> {
    let c = match c {
        'K' => 'k',
        MICRO_SIGN | GREEK_MU => 'u',
        c => c,
    };
    PREFIXES.iter().find(|p| p.0.starts_with(c)).map(|p| p.1)
}

pub(super) fn prefix_letter(exp: i32) -> &'static str {
    PREFIXES.iter().find(|p| p.1 == exp).map_or("", |p| p.0)
}
