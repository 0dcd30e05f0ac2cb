//! A standard deviation, and how well it is known.

use serde::Serialize;

use crate::stats::student;

/// A study of fewer degrees of freedom is pooled with the usual value: alone it would be wrong by half as often as not.
const ENOUGH_FREEDOM: f64 = 5.0;

/// Of what a scatter holds a usual value, which promises nothing of this rig.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Usual {
    pub laying: bool,
    pub days: bool,
}

impl Usual {
    pub const LAYING: Usual = Usual {
        laying: true,
        days: false,
    };
    pub const DAYS: Usual = Usual {
        laying: false,
        days: true,
    };

    pub fn any(self) -> bool {
        self.laying || self.days
    }

    pub fn or(self, other: Usual) -> Usual {
        Usual {
            laying: self.laying || other.laying,
            days: self.days || other.days,
        }
    }
}

/// A standard deviation with the degrees of freedom that it was found with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    pub sd: f64,
    pub freedom: f64,
    pub usual: Usual,
}

impl Scatter {
    pub const NONE: Scatter = Scatter::known(0.0);

    /// Without doubt: from the thousands of bins of a take, or stated (JCGM 100:2008, G.4.3).
    pub const fn known(sd: f64) -> Scatter {
        Scatter::studied(sd, f64::INFINITY)
    }

    /// Found by a study of the rig itself.
    pub const fn studied(sd: f64, freedom: f64) -> Scatter {
        Scatter {
            sd,
            freedom,
            usual: Usual {
                laying: false,
                days: false,
            },
        }
    }

    pub fn times(self, k: f64) -> Scatter {
        Scatter {
            sd: k.abs() * self.sd,
            ..self
        }
    }

    /// This study where it is large enough to stand alone, else drawn together with the usual value, each with the weight of its
    /// freedom.
    pub fn or_pooled(self, usual: Scatter) -> Scatter {
        if self.freedom >= ENOUGH_FREEDOM {
            return self;
        }
        let freedom = self.freedom + usual.freedom;
        let sum = self.freedom * self.sd * self.sd + usual.freedom * usual.sd * usual.sd;
        Scatter {
            sd: (sum / freedom).sqrt(),
            freedom,
            usual: self.usual.or(usual.usual),
        }
    }

    /// Independent parts together (Welch and Satterthwaite: JCGM 100:2008, G.2b).
    pub fn sum(parts: &[Scatter]) -> Scatter {
        let there = || parts.iter().filter(|p| p.sd != 0.0);
        let variance: f64 = there().map(|p| p.sd * p.sd).sum();
        let open: f64 = there().map(|p| p.sd.powi(4) / p.freedom).sum();
        Scatter {
            sd: variance.sqrt(),
            freedom: if open == 0.0 {
                f64::INFINITY
            } else {
                variance * variance / open
            },
            usual: there().fold(Usual::default(), |u, p| u.or(p.usual)),
        }
    }

    /// Parts of two readings whose scatter was found by one study: what is wrong with it is wrong with both, so together they
    /// have no more freedom than one. Of two studies that is the safe side.
    pub fn shared(self, other: Scatter) -> Scatter {
        let there = || [self, other].into_iter().filter(|p| p.sd != 0.0);
        Scatter {
            sd: self.sd.hypot(other.sd),
            freedom: there().map(|p| p.freedom).fold(f64::INFINITY, f64::min),
            usual: there().fold(Usual::default(), |u, p| u.or(p.usual)),
        }
    }

    /// Half-width of the interval that misses with this probability, two-sided.
    pub fn half_width(self, risk: f64) -> f64 {
        if self.sd == 0.0 {
            return 0.0;
        }
        student(1.0 - 0.5 * risk, self.freedom) * self.sd
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got} is not {want}");
    }

    /// JCGM 100:2008, G.4.1, example: relative 0.25 %, 0.57 % and 0.82 % of 10, 5 and 15 readings; u_c 1.03 %, 19.0 effective
    /// degrees of freedom, t 2.09, U 2.2 % (95 %).
    #[test]
    fn product_of_three_quantities() {
        let s = Scatter::sum(&[
            Scatter::studied(0.25, 9.0),
            Scatter::studied(0.57, 4.0),
            Scatter::studied(0.82, 14.0),
        ]);
        near(s.sd, 1.03, 0.005);
        near(s.freedom, 19.0, 0.05);
        near(s.half_width(0.05) / s.sd, 2.09, 0.005);
        near(s.half_width(0.05), 2.2, 0.05);
    }

    /// JCGM 100:2008, H.1.6, end gauge: 25 nm (18), 9.7 nm (25.6), 2.9 nm (50), 16.6 nm (2); u_c 32 nm, 16.7 effective degrees of
    /// freedom, and with 16 of them t 2.92 and U 93 nm (99 %).
    #[test]
    fn end_gauge() {
        let s = Scatter::sum(&[
            Scatter::studied(25.0, 18.0),
            Scatter::studied(9.7, 25.6),
            Scatter::studied(2.9, 50.0),
            Scatter::studied(16.6, 2.0),
            Scatter::NONE,
        ]);
        near(s.sd, 32.0, 0.5);
        near(s.freedom, 16.7, 0.1);
        near(Scatter::studied(32.0, 16.0).half_width(0.01), 93.0, 0.5);
    }

    /// JCGM 100:2008, table G.2: t for 95 %, 99 % at these degrees of freedom.
    #[test]
    fn students_t() {
        let infinite = f64::INFINITY;
        for (freedom, t95, t99) in [
            (1.0, 12.71, 63.66),
            (2.0, 4.30, 9.92),
            (5.0, 2.57, 4.03),
            (10.0, 2.23, 3.17),
            (30.0, 2.04, 2.75),
            (50.0, 2.01, 2.68),
            (infinite, 1.960, 2.576),
        ] {
            let s = Scatter::studied(1.0, freedom);
            near(s.half_width(0.05), t95, 0.0051);
            near(s.half_width(0.01), t99, 0.0051);
        }
        assert_eq!(Scatter::studied(0.0, 0.0).half_width(0.05), 0.0);
    }

    #[test]
    fn small_studies_are_pooled() {
        let usual = Scatter {
            usual: Usual::LAYING,
            ..Scatter::studied(1.0, 30.0)
        };
        let small = Scatter::studied(2.0, 2.0).or_pooled(usual);
        near(small.sd, ((2.0 * 4.0 + 30.0) / 32.0f64).sqrt(), 1e-12);
        assert!(small.usual == Usual::LAYING && small.freedom == 32.0);
        let own = Scatter::studied(2.0, 5.0);
        assert_eq!(own.or_pooled(usual), own);
        // One study behind both readings of a difference has its freedom once.
        let both = own.shared(own);
        near(both.sd, 8f64.sqrt(), 1e-12);
        assert_eq!(both.freedom, 5.0);
    }
}
