//! Which model: its own parameters, how far they may go, and what keeps the weak ones in place.

use super::param::Param;

/// What is about the coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Metal {
    None,
    /// One shorted turn.
    Turn,
    /// A core that flux diffuses into.
    Core,
    /// A core, and a cover or baseplate besides.
    CoreAndSheet,
}

/// A model of the pickup's own response.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    pub metal: Metal,
    /// Another coil in series, with a capacitance of its own.
    pub other: bool,
}

impl Kind {
    /// The second-order model.
    pub const PLAIN: Kind = Kind::of(Metal::None);

    pub const fn of(metal: Metal) -> Kind {
        Kind { metal, other: false }
    }

    pub fn is_plain(self) -> bool {
        self == Kind::PLAIN
    }

    /// The pickup's own parameters, in their order.
    pub fn params(self) -> Vec<Param> {
        let mut all = vec![Param::Gain, Param::B1, Param::B2];
        // One turn is one pole and one zero: its share of L, its share of the EMF and its time constant are not told apart.
        if self.metal == Metal::Turn {
            all.extend([Param::Pole, Param::Zero]);
        }
        if self.metal >= Metal::Core {
            all.extend([Param::CoreL, Param::CoreEmf, Param::CoreLnTau, Param::CoreLnA]);
        }
        if self.metal == Metal::CoreAndSheet {
            all.extend([Param::SheetL, Param::SheetEmf, Param::SheetLnTau]);
        }
        if self.other {
            all.extend([Param::OtherSize, Param::OtherSlope, Param::OtherLnB3, Param::OtherLnB4]);
        }
        all
    }
}

/// A rung of the ladder: a model of the pickup, and whether a lead or lag between the inputs is fitted with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rung {
    pub kind: Kind,
    pub shift: bool,
}

impl Rung {
    pub const PLAIN: Rung = Rung {
        kind: Kind::PLAIN,
        shift: false,
    };
}

/// How far a parameter may go, down and up, and a prior so weak that it only keeps directions in place that a curve does not tell.
/// `f_ref`: the model's reference frequency in hertz.
pub(super) fn range(param: Param, f_ref: f64) -> (f64, f64, Option<(f64, f64)>) {
    let within = |lower, upper, mean, sd| (lower, upper, Some((mean, sd)));
    let free = |lower, upper| (lower, upper, None);
    match param {
        Param::B1 => free(2e-3, 1e3),
        Param::B2 => free(1e-5, 1e5),
        Param::Pole => free(0.0, 50.0),
        Param::Zero => free(-50.0, 50.0),
        // Shares below nought are not passive, and buy nothing.
        Param::CoreL | Param::CoreEmf => within(0.0, 0.98, 0.3, 0.5),
        Param::CoreLnTau => within(3e-7f64.ln(), 0.05f64.ln(), 1e-4f64.ln(), 3.0),
        Param::CoreLnA => within(-6.0, 6.0, 0.0, 2.0),
        Param::SheetL => within(0.0, 0.5, 0.05, 0.2),
        Param::SheetEmf => within(0.0, 0.9, 0.1, 0.3),
        Param::SheetLnTau => within(3e-7f64.ln(), 3e-4f64.ln(), 1e-5f64.ln(), 1.5),
        Param::OtherSize => within(-0.5, 0.5, 0.0, 0.2),
        Param::OtherSlope => within(-0.3, 0.3, 0.0, 0.1),
        Param::OtherLnB3 => within(4e-4f64.ln(), 1.0, (0.2 * f_ref / 9.5e3).ln(), 1.5),
        Param::OtherLnB4 => {
            let ln_b4 = |hz: f64| 2.0 * (f_ref / hz).ln();
            within(ln_b4(20e3), ln_b4(5e3), ln_b4(9.5e3), 1.0)
        }
        _ => free(f64::NEG_INFINITY, f64::INFINITY),
    }
}
